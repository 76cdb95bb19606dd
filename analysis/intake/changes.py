"""A table with a row a change of line or site: each ends the one before it."""

from collections.abc import Iterable

import pandas as pd

from analysis.columns import CHECKS, LINES
from analysis.intake import synonyms, words
from analysis.intake.reading import read_text, read_words
from analysis.intake.reading_times import read_times
from analysis.intake.sheet import Sheet, identity, is_struck
from analysis.intake.so_far import Reading
from analysis.intake.turned import Turned, finished, frame_of, no_fate
from analysis.terms import LineKind
from analysis.texts import same

_KINDS = (
    (synonyms.LINE_CHANGED_ON, LineKind.EXTENSION_SET),
    (synonyms.SITE_CHANGED_ON, LineKind.CANNULA),
)


def turn_changes(sheet: Sheet) -> Turned:
    """Turn dates of changes into lines: a change ends the one before it.

    Parameters
    ----------
    sheet : Sheet
        A table with a row a change, which may date a line, a site or both.

    Returns
    -------
    Turned
        Lines: one for each date of each row, and one without a date for a row that has
        none.
    """
    base = _read_base(sheet)
    rows = ended(_dated_rows(base, sheet))
    neither = sheet.cells.index.difference(pd.Index(rows["raw_row"]))
    rows = pd.concat(
        [rows, pd.DataFrame({"raw_row": neither})], ignore_index=True
    ).fillna("")  # fmt: skip
    raw_row = rows["raw_row"].astype("int64")
    reading = Reading(headers=dict(base.headers))
    reading.text = {n: rows[n].astype("str") for n in LINES.names if n in rows}
    reading.faults = _to_lines(base.faults, raw_row)
    text = frame_of(reading, LINES, rows.index)
    for name, of_row in (
        ("line", sheet.raw.lines),
        ("source", sheet.source),
        ("is_struck", is_struck(sheet)),
    ):
        text[name] = of_row.reindex(raw_row).to_numpy()
    text["file"] = same(sheet.raw.file, len(text))
    text["line_id"] = change_ids(rows)
    feeds = pd.Series(rows.index, index=raw_row.to_numpy(), dtype="int64")
    by = {
        name: cells.reindex(raw_row).set_axis(rows.index)
        for name, cells in identity(sheet).items()
    }
    by["of kind"] = text["kind"]
    return finished(sheet, LINES, reading, (text, feeds, no_fate()), by)


def _read_base(sheet: Sheet) -> Reading:
    """Read what holds for both changes of a row: whose they are, and where."""
    base = Reading()
    columns = sheet.layout.columns
    for name in ("patient_id", "ward", "driver_id"):
        if name in columns:
            read_text(base, CHECKS[name], columns[name], sheet)
        elif name in sheet.given:
            base.text[name] = sheet.given[name]
    if "location" in columns:
        header = columns["location"][0]
        read_words(base, LINES["location"], header, sheet, sheet.cells[header])
    return base


def _dated_rows(base: Reading, sheet: Sheet) -> pd.DataFrame:
    """Give one row a date of a change; the dates are read into `base`."""
    why, is_first = _reasons(base, sheet)
    shared = pd.DataFrame(base.text, index=sheet.cells.index)
    parts = []
    for column, kind in _KINDS:
        if column not in sheet.layout.columns:
            continue
        read_times(base, column, sheet.layout.columns[column], sheet)
        part = shared.assign(
            inserted_at=base.text[column],
            why=why,
            is_first=is_first,
            kind=str(kind),
            raw_row=sheet.cells.index,
        )
        if kind is LineKind.EXTENSION_SET:
            part["location"] = ""
        parts.append(part[base.originals[column] != ""])
    return pd.concat(parts, ignore_index=True)


def _reasons(base: Reading, sheet: Sheet) -> tuple[pd.Series, pd.Series]:
    """Read why something was changed; the first of all ends nothing."""
    cells = sheet.read(synonyms.WHY_CHANGED)
    blank = pd.Series("", index=sheet.cells.index, dtype="str")
    if not cells:
        return blank, pd.Series(data=False, index=blank.index)
    is_first = cells[0].map(
        {c: words.key_of(c) in words.FIRST_OF_ALL for c in cells[0].unique()}
    )
    header = sheet.layout.columns[synonyms.WHY_CHANGED][0]
    part = Reading()
    read_words(
        part, LINES["removal_reason"], header, sheet,
        cells[0].mask(is_first.astype(bool), ""),
    )  # fmt: skip
    base.faults += part.faults
    return part.text["removal_reason"], is_first.astype(bool)


def ended(rows: pd.DataFrame) -> pd.DataFrame:
    """Let each change of a patient, driver and kind end the one before it.

    Parameters
    ----------
    rows : DataFrame
        One row a change: patient_id, driver_id where it is charted, kind, inserted_at,
        why, is_first, raw_row.

    Returns
    -------
    DataFrame
        The same in order of time, with removed_at and removal_reason; empty where
        nothing ends it.
    """
    keys = [k for k in ("patient_id", "driver_id", "kind") if k in rows]
    rows = rows.sort_values(
        ["inserted_at", "raw_row"], kind="stable", ignore_index=True
    )
    later = rows.groupby(keys)[["inserted_at", "why", "is_first"]].shift(-1)
    ends = later["is_first"].eq(False)  # noqa: FBT003 - a comparison, no flag
    rows["removed_at"] = later["inserted_at"].where(ends, "").fillna("")
    rows["removal_reason"] = later["why"].where(ends, "").fillna("")
    return rows


def change_ids(rows: pd.DataFrame) -> pd.Series:
    """Name lines by patient, driver, kind and day of insertion.

    Parameters
    ----------
    rows : DataFrame
        As `ended` gives them.

    Returns
    -------
    Series of str
        An id for each row; rows alike in all four have the same.
    """
    driver = rows["driver_id"].astype("str") if "driver_id" in rows else ""
    key = rows["patient_id"].astype("str") + "/" + driver + "/"
    return "derived " + key + rows["kind"] + "/" + rows["inserted_at"].astype("str")


def _to_lines(faults: Iterable[pd.DataFrame], raw_row: pd.Series) -> list[pd.DataFrame]:
    """Move faults of raw rows to the first line each of them feeds."""
    first = pd.Series(raw_row.index, index=raw_row.to_numpy())
    first = first[~first.index.duplicated()]
    moved = []
    for found in faults:
        column = found["column"].where(
            ~found["column"].isin(synonyms.CHANGE_DATES), "inserted_at"
        )
        moved.append(found.assign(column=column).set_axis(
            first.reindex(found.index).to_numpy()))  # fmt: skip
    return moved
