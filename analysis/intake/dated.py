"""Lines and sites known by a date on each row of a check log: since when they are in.

Rows of one patient with the same date speak of one line; the next date ends it, unless
an older date comes again after it: then two are in at once, and none is known to end.
"""

from dataclasses import replace

import pandas as pd

from analysis.columns import LINES
from analysis.intake import synonyms
from analysis.intake.reading_times import read_times
from analysis.intake.sheet import Sheet
from analysis.intake.so_far import Reading
from analysis.intake.turned import Turned, finished, frame_of, no_fate
from analysis.terms import LineKind

_KINDS = (
    (synonyms.LINE_CHANGED_ON, "line_id", LineKind.EXTENSION_SET),
    (synonyms.SITE_CHANGED_ON, "site_id", LineKind.CANNULA),
)


def read_line_dates(reading: Reading, sheet: Sheet) -> None:
    """Name the line and the site of each row by the date that it gives for them.

    Parameters
    ----------
    reading : Reading
        What was read so far; line_id and site_id are added where the export has none.
    sheet : Sheet
        The table.
    """
    for column, name, kind in _KINDS:
        headers = sheet.layout.columns.get(column, ())
        if not headers:
            continue
        part = Reading()
        read_times(part, column, headers, sheet)
        reading.faults += part.faults
        reading.text[column] = part.text[column]
        if name in reading.text:
            continue
        patient = reading.text.get("patient_id", pd.Series("", sheet.cells.index))
        ident = "derived " + patient + f"/{kind}/" + part.text[column]
        is_known = (part.text[column] != "") & (patient != "")
        reading.text[name] = ident.where(is_known, "").astype("str")
        reading.headers[name] = headers[0]


def lines_of_checks(sheet: Sheet, text: pd.DataFrame, reading: Reading) -> list[Turned]:
    """Give the lines table that the dates of a check log make.

    Parameters
    ----------
    sheet : Sheet
        The table.
    text : DataFrame of str
        Its rows as a canonical text table.
    reading : Reading
        What was read of it (`read_line_dates`).

    Returns
    -------
    list of Turned
        None, or one table with no raw rows of its own: the account has them already.
    """
    parts = [
        _lines(text, reading.text[column], name, str(kind))
        for column, name, kind in _KINDS
        if column in reading.text
    ]
    if not parts:
        return []
    rows = pd.concat(parts, ignore_index=True)
    out = Reading(headers=dict(reading.headers))
    out.text = {name: rows[name].astype("str") for name in LINES.names if name in rows}
    whole = frame_of(out, LINES, rows.index)
    for name in ("file", "line", "source", "is_struck"):
        whole[name] = rows[name]
    bare = replace(
        sheet.raw,
        cells=sheet.raw.cells.iloc[:0],
        lines=sheet.raw.lines.iloc[:0],
        broken=(),
        other_lines=0,
    )
    of_line = pd.Series(rows.index, index=rows["raw_row"], dtype="int64")
    by = {"derived": whole["line_id"]}
    turned = finished(sheet, LINES, out, (whole, of_line, no_fate()), by)
    feeds = of_line.iloc[:0]
    return [replace(turned, raw=bare, feeds=feeds, unused=(), is_beside=True)]


def _lines(text: pd.DataFrame, since: pd.Series, name: str, kind: str) -> pd.DataFrame:
    """Give one row a patient and date: the line that was in since then."""
    told = text[(since != "") & (text["patient_id"] != "") & ~text["is_struck"]]
    is_cannula = kind == str(LineKind.CANNULA)
    rows = pd.DataFrame(
        {
            "line_id": told[name],
            "patient_id": told["patient_id"],
            "ward": told["ward"],
            "kind": kind,
            "location": told["site_location"] if is_cannula else "",
            "inserted_at": since.reindex(told.index),
            "checked_at": told["checked_at"],
            "raw_row": told.index,
        }
    ).join(told[["file", "line", "source", "is_struck"]])
    by = ["patient_id", "inserted_at"]
    last = rows.groupby(by)["checked_at"].transform("max")
    rows = rows.assign(last=last).sort_values([*by, "checked_at"], kind="stable")
    one = rows[~rows.duplicated(by)]
    after = one.groupby("patient_id")[["inserted_at", "checked_at"]].shift(-1)
    is_next = after["inserted_at"].notna() & (one["last"] <= after["checked_at"])
    removed = after["inserted_at"].where(is_next, "").astype("str").fillna("")
    return one.assign(removed_at=removed).drop(columns=["checked_at", "last"])
