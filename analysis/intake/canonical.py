"""Canonical text tables to typed tables, one kind at a time."""

from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from analysis.columns import CHECKS, INFUSIONS, LINES, Column, Kind, Table
from analysis.intake import cells
from analysis.intake.alike import first_alike
from analysis.intake.amendments import amend_others
from analysis.intake.far import PLACED, far_times
from analysis.intake.reshape import (
    CARRIED,
    DUPLICATE,
    FAULT_COLUMNS,
    NO_PLACE,
    SUPERSEDED,
    Turned,
)
from analysis.intake.times import read_spans, read_times
from analysis.lookup import by_key
from analysis.terms import RejectReason


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """One kind of table, typed, from all files that hold it.

    Attributes
    ----------
    rows : DataFrame
        Canonical columns, typed, with source, file, line and, where a column is a date
        or a date-time, ``<column>_latest``. Of `CARRIED`, those with a value in any
        row.
    rejected, set_aside : DataFrame
        Faults with header, source and row, indexed by row of `rows`.
    is_rejected, is_duplicate, is_superseded : Series of bool
        What became of each row of `rows`; at most one is true.
    columns : frozenset of str
        Canonical columns with a value in any row: one that is there and always empty
        is as absent as one that is not there.
    """

    rows: pd.DataFrame
    rejected: pd.DataFrame
    set_aside: pd.DataFrame
    is_rejected: pd.Series
    is_duplicate: pd.Series
    is_superseded: pd.Series
    columns: frozenset[str]


def type_sheets(
    sheets: Sequence[Turned],
    table: Table,
    zone: ZoneInfo,
    *,
    placed_by: pd.DataFrame | None = None,
) -> Typed:
    """Type all files of one kind.

    Parameters
    ----------
    sheets : sequence of Turned
        Tables that hold `table`; may be empty.
    table : Table
        The kind.
    zone : ZoneInfo
        Zone of times without an offset.
    placed_by : DataFrame, optional
        infusion_id, ward and patient_id known from elsewhere: they place a row whose
        own ward or patient is blank.

    Returns
    -------
    Typed
        Every row of every file, with what became of it.
    """
    text = _stacked([sheet.text for sheet in sheets], _text_names(table))
    if placed_by is not None:
        text = _filled_from_infusion(text, placed_by)
    numbers = first_alike([sheet.identity for sheet in sheets])
    same = pd.Series(numbers, index=text.index)
    is_duplicate = same != np.arange(len(same))
    typed, faults = _typed(text, table, zone)
    faults = [*_turned_faults(sheets), *faults]
    faults.append(_untold(_required_faults(text, table), faults))
    if table.name == CHECKS.name:
        none = pd.Series(data=False, index=text.index)
        stands = ~_superseded(text, same, none)  # what is corrected needs no rejection
        faults.append(far_times(typed.loc[stands, PLACED], text["checked_at"]))
    every = named_faults(faults, sheets, text)
    fatal = every["reason"].isin([str(r) for r in _FATAL]) & every["column"].isin(
        _PLACES[table.name]
    )
    fatal &= ~every.index.isin(text.index[is_duplicate])
    asked = every[fatal]
    asked = asked.assign(
        sentence=asked["sentence"].str.replace(
            "the row is kept without it", "the row cannot be placed", regex=False
        )
    )
    is_rejected = pd.Series(text.index.isin(asked.index), index=text.index)
    kept = ~every.index.isin(asked.index) & ~every.index.isin(text.index[is_duplicate])
    is_superseded = _superseded(text, same, is_rejected) & ~is_rejected & ~is_duplicate
    return Typed(
        rows=typed,
        rejected=asked,
        set_aside=every[kept].sort_index(kind="stable"),
        is_rejected=is_rejected,
        is_duplicate=is_duplicate & ~is_rejected,
        is_superseded=is_superseded,
        columns=frozenset(name for name in table.names if (text[name] != "").any()),
    )


def fates(sheet: Turned, typed: Typed) -> pd.Series:
    """Tell what became of every raw row of one table.

    Parameters
    ----------
    sheet : Turned
        The table.
    typed : Typed
        All tables of its kind, typed.

    Returns
    -------
    Series of category
        On the raw rows: accepted, rejected, superseded or exact duplicate. A raw row
        that feeds several rows is accepted where any of them is.
    """
    mine = typed.rows.index[typed.rows["file"] == sheet.raw.file]
    of_row = np.select(
        [
            typed.is_rejected[mine],
            typed.is_duplicate[mine],
            typed.is_superseded[mine],
        ],
        [3, 2, 1],
        0,
    ).astype("int8")
    fed = pd.Series(of_row[sheet.feeds.to_numpy()], index=sheet.feeds.index)
    if not fed.index.is_unique:
        fed = fed.groupby(level=0).min()  # the best of several fates counts
    known = pd.Index(["accepted", SUPERSEDED, DUPLICATE, "rejected"])
    preset = known.get_indexer(pd.Index(sheet.fate.replace(NO_PLACE, "accepted")))
    told = pd.Series(preset, index=sheet.fate.index, dtype="int8")
    every = pd.concat([fed, told]).reindex(sheet.raw.cells.index)
    return pd.Series(pd.Categorical.from_codes(every, known), index=every.index)


#: Columns without which a row cannot be placed.
_PLACES = {
    CHECKS.name: ("ward", "patient_id", "checked_at"),
    INFUSIONS.name: ("infusion_id",),
    LINES.name: ("patient_id", "kind"),
}

_FATAL = (
    RejectReason.NO_TIME,
    RejectReason.TIME_NOT_READABLE,
    RejectReason.TIME_FAR,
    RejectReason.NO_WARD,
    RejectReason.NO_PATIENT,
    RejectReason.NO_INFUSION,
    RejectReason.NO_LINE_KIND,
    RejectReason.NOT_IN_LIST,
    RejectReason.ERROR_VALUE,
)

_MISSING = {
    "ward": (RejectReason.NO_WARD, "no ward, and nothing else in the row gives it"),
    "patient_id": (
        RejectReason.NO_PATIENT,
        "no patient, and nothing else in the row gives it",
    ),
    "checked_at": (
        RejectReason.NO_TIME,
        "no time of check; it is not guessed from the rows around it",
    ),
    "infusion_id": (RejectReason.NO_INFUSION, "no infusion_id to belong to"),
    "kind": (RejectReason.NO_LINE_KIND, "neither an extension_set nor a cannula"),
}


_PROVENANCE = ("file", "line", "source", "is_struck")


def _text_names(table: Table) -> list[str]:
    return [*table.names, *_PROVENANCE]


def _stacked(frames: Sequence[pd.DataFrame], names: Sequence[str]) -> pd.DataFrame:
    """Put tables one below the other, as text."""
    if not frames:
        empty = pd.DataFrame({name: pd.Series([], dtype="str") for name in names})
        return empty.astype({"line": "int64", "is_struck": "bool"})
    if len(frames) == 1:
        return frames[0][list(names)].reset_index(drop=True)
    return pd.concat(frames, ignore_index=True)[list(names)]


def _offsets(sheets: Sequence[Turned]) -> list[int]:
    """Give where the rows of each table begin in the stack."""
    return list(np.cumsum([0, *(len(sheet.text) for sheet in sheets)]))[:-1]


def _turned_faults(sheets: Sequence[Turned]) -> list[pd.DataFrame]:
    return [
        sheet.faults.set_axis(sheet.faults.index + offset)
        for sheet, offset in zip(sheets, _offsets(sheets), strict=True)
        if len(sheet.faults)
    ]


def named_faults(
    faults: Sequence[pd.DataFrame], sheets: Sequence[Turned], text: pd.DataFrame
) -> pd.DataFrame:
    """Give every fault its header, the cell as it stands in the file, and its row.

    Parameters
    ----------
    faults : sequence of DataFrame
        Faults on the rows of all tables of a kind, one below the other.
    sheets : sequence of Turned
        These tables.
    text : DataFrame
        Their rows; source is used.

    Returns
    -------
    DataFrame
        `FAULT_COLUMNS`.
    """
    some = [f if "header" in f else _named(f, sheets, text) for f in faults if len(f)]
    if not some:
        return pd.DataFrame(columns=FAULT_COLUMNS, dtype="str")
    return pd.concat([f[FAULT_COLUMNS] for f in some])


def _named(
    faults: pd.DataFrame, sheets: Sequence[Turned], text: pd.DataFrame
) -> pd.DataFrame:
    """Put the file's own headers and cells into faults found in typing."""
    header = faults["column"].copy()
    value = faults["value"].copy()
    row = pd.Series("", index=faults.index, dtype="str")
    for sheet, offset in zip(sheets, _offsets(sheets), strict=True):
        mine = (faults.index >= offset) & (faults.index < offset + len(sheet.text))
        row[mine] = sheet.row_text(faults.index[mine] - offset).to_numpy()
        for column in faults.loc[mine, "column"].unique():
            rows = mine & (faults["column"] == column).to_numpy()
            header[rows] = sheet.headers.get(column, column)
            if column in sheet.originals:
                at = faults.index[rows] - offset
                cell = sheet.originals[column].reindex(at).set_axis(faults.index[rows])
                shown = cell.astype("str").fillna("")
                value[rows] = shown.where(shown != "", value[rows]).to_numpy()
    pairs = zip(
        faults["sentence"],
        faults["column"],
        header,
        faults["value"],
        value,
        strict=True,
    )
    sentence = [
        words.replace(column, own, 1).replace(f"'{old}'", f"'{new}'", 1)
        for words, column, own, old, new in pairs
    ]
    return faults.assign(
        header=header,
        value=value,
        sentence=sentence,
        source=text["source"].reindex(faults.index),
        row=row,
    )


def _untold(needed: pd.DataFrame, faults: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Give those cells lacking that no other fault tells of."""
    told = {pair for f in faults for pair in zip(f.index, f["column"], strict=True)}
    pairs = zip(needed.index, needed["column"], strict=True)
    return needed[[pair not in told for pair in pairs]]


def _filled_from_infusion(text: pd.DataFrame, placed_by: pd.DataFrame) -> pd.DataFrame:
    """Fill a blank ward or patient where all that is known of the infusion agrees."""
    text = text.copy()
    columns = ["infusion_id", "ward", "patient_id"]
    every = pd.concat([text[columns], placed_by[columns]], ignore_index=True)
    for name in ("patient_id", "ward"):
        blank = (text[name] == "") & (text["infusion_id"] != "")
        if not blank.any():
            continue
        known = every[(every[name] != "") & (every["infusion_id"] != "")]
        said = known.groupby("infusion_id")[name].agg(["nunique", "first"])
        agreed = said.loc[said["nunique"] == 1, "first"]
        text[name] = text[name].mask(
            blank, by_key(text["infusion_id"], agreed).astype("str").fillna("")
        )
    return text


def _superseded(
    text: pd.DataFrame, same: pd.Series, is_rejected: pd.Series
) -> pd.Series:
    """Mark rows that an accepted row corrects, those these correct, and struck ones.

    Rows of one number in `same` are alike, and what holds for one holds for all.
    A rejected row corrects nothing: what it would have replaced is all there is. Rows
    that name themselves, each other in a ring, or a row of another patient correct
    nothing either.
    """
    struck = text["is_struck"].astype(bool)
    if "amends" not in text.columns or not (text["amends"] != "").any():
        return struck
    of_source = pd.Series(same.to_numpy(), index=text["source"])
    corrects = by_key(text["amends"], of_source).mask(amend_others(text))
    links = pd.DataFrame({"row": same, "corrects": corrects}).dropna()
    stands = ~is_rejected & ~same.isin(links["corrects"])
    reached = set(same[stands])
    corrected: set[float] = set()
    while found := set(links.loc[links["row"].isin(reached), "corrects"]) - corrected:
        corrected |= found
        reached = found
    return same.isin(corrected) | struck


def _required_faults(text: pd.DataFrame, table: Table) -> pd.DataFrame:
    faults = []
    for name in _PLACES[table.name]:
        reason, sentence = _MISSING[name]
        faults.append(
            cells.faults_of(text.loc[text[name] == "", name], name, reason, sentence)
        )
    return pd.concat(faults)


def _typed(
    text: pd.DataFrame, table: Table, zone: ZoneInfo
) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    """Type every column; gives the frame and the faults of its cells."""
    out = text[["source", "file", "line"]]
    optional = CARRIED if table.name == CHECKS.name else ()
    faults = []
    for column in table.columns:
        cell = text[column.name]
        if column.name in optional and not (cell != "").any():
            continue
        match column.kind:
            case Kind.NUMBER:
                out[column.name], bad = cells.read_numbers(cell, column)
            case Kind.CHOICE | Kind.CHOICES:
                out[column.name], bad = cells.read_choices(cell, column)
            case Kind.TIME:
                bad = _time_column(out, text, column, zone)
            case Kind.DAY_OR_TIME:
                earliest, latest = read_spans(cell, zone)
                out[column.name], out[f"{column.name}_latest"] = earliest, latest
                bad = _unreadable(cell[earliest.isna() & (cell != "")], column)
            case _:
                out[column.name], bad = cell, cells.no_faults()
        faults.append(bad)
    return out, faults


def _time_column(
    out: pd.DataFrame, text: pd.DataFrame, column: Column, zone: ZoneInfo
) -> pd.DataFrame:
    """Add a column of times to `out`, and its notes where it is the time of check."""
    cell = text[column.name]
    is_charted = bool((cell != "").any())
    times, notes, is_date = read_times(cell, zone, lambda: _charts(text))
    out[column.name] = times
    if column.name == "checked_at":
        out["time_note"] = notes
    if not is_charted:
        return cells.no_faults()
    bad = _unreadable(cell[times.isna() & ~is_date & (cell != "")], column)
    alone = cells.faults_of(
        cell[is_date],
        column.name,
        RejectReason.TIME_NOT_READABLE,
        f"{column.name} reads '{{value}}', a date without a time of day",
    )
    return pd.concat([bad, alone]) if len(bad) or len(alone) else cells.no_faults()


def _charts(text: pd.DataFrame) -> pd.Series:
    """Give each row the number of its chart: its own where no driver is charted."""
    if "driver_id" not in text.columns:
        return pd.Series(np.arange(len(text)), index=text.index)
    by = text.groupby(["file", "patient_id", "driver_id"], sort=False)
    numbers: pd.Series = by.ngroup()
    return numbers


def _unreadable(bad: pd.Series, column: Column) -> pd.DataFrame:
    return cells.faults_of(
        bad,
        column.name,
        RejectReason.TIME_NOT_READABLE,
        f"{column.name} reads '{{value}}', which is no time of the form "
        "2026-10-31T14:05",
    )
