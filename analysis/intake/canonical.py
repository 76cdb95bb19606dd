"""Raw text tables to typed canonical tables, one kind at a time."""

from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from analysis.columns import CANONICAL, CHECKS, INFUSIONS, LINES, Column, Kind, Table
from analysis.errors import InputError
from analysis.intake import cells
from analysis.intake.files import RawTable, row_text
from analysis.intake.times import read_spans, read_times
from analysis.lookup import by_key
from analysis.terms import RejectReason

_SHOWN = 120  # characters of a header in a message
_VOLUMES = ("volume_remaining_ml", "volume_delivered_ml")


@dataclass(frozen=True, slots=True)
class Sheet:
    """A raw table and the canonical table it holds.

    Attributes
    ----------
    raw : RawTable
        The file.
    table : Table
        What it holds.
    headers : dict of str to str
        Canonical column to the file's own header.
    """

    raw: RawTable
    table: Table
    headers: dict[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """One kind of table, typed, from all files that hold it.

    Attributes
    ----------
    rows : DataFrame
        Canonical columns, typed, with source, file, line, row_text and, where a column
        is a date or a date-time, ``<column>_latest``.
    rejected, set_aside : DataFrame
        Faults, indexed by row of `rows` before rejection.
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


def recognise(raw: RawTable) -> Sheet:
    """Tell by its columns which canonical table a file holds.

    Parameters
    ----------
    raw : RawTable
        A file with canonical headers; case and blanks do not matter.

    Returns
    -------
    Sheet
        The table with the most columns in common.

    Raises
    ------
    InputError
        The file has no canonical columns, or lacks one that its table needs.
    """
    headers = {name.casefold(): name for name in raw.cells.columns if name}
    table = max(CANONICAL, key=lambda t: _likeness(t, set(headers)))
    found = ", ".join(_shown(name) for name in raw.cells.columns[:12])
    if not _likeness(table, set(headers))[0]:
        msg = f"{raw.file}: none of its columns tells which table it is; found {found}"
        raise InputError(f"{msg}; rename the headers as `steadyfall dictionary` shows")
    missing = [c.name for c in table.columns if c.required and c.name not in headers]
    if table is CHECKS and not any(name in headers for name in _VOLUMES):
        missing.append(" or ".join(_VOLUMES))
    if missing:
        msg = f"{raw.file}: looks like a {table.name} table but has no column "
        msg += f"{', '.join(missing)}; found {found}"
        raise InputError(f"{msg}; add the column or rename its header")
    return Sheet(raw, table, {n: headers[n] for n in table.names if n in headers})


def _shown(name: str) -> str:
    """Give a header as a few characters of one line, for a message."""
    line = "".join(c if c.isprintable() else " " for c in name)
    return line if len(line) <= _SHOWN else line[:_SHOWN] + "..."


def _likeness(table: Table, headers: set[str]) -> tuple[int, int]:
    """Count the columns that only this table has, and all it has in common."""
    others = {n for other in CANONICAL if other is not table for n in other.names}
    own = set(table.names) & headers
    return len(own - others), len(own)


def type_sheets(
    sheets: Sequence[Sheet],
    table: Table,
    zone: ZoneInfo,
    *,
    placed_by: pd.DataFrame | None = None,
) -> Typed:
    """Type all files of one kind.

    Parameters
    ----------
    sheets : sequence of Sheet
        Files that hold `table`; may be empty.
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
    text = _stacked(sheets, table)
    if placed_by is not None:
        text = _filled_from_infusion(text, placed_by)
    is_duplicate = text.duplicated(subset=["identity"], keep="first")
    typed, faults = _typed(text, table, zone)
    notes = [_required_faults(text, table), *faults]
    every = pd.concat(notes) if any(map(len, notes)) else cells.no_faults()
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
    is_superseded = _superseded(text, is_rejected) & ~is_rejected & ~is_duplicate
    return Typed(
        rows=typed,
        rejected=asked,
        set_aside=every[kept].sort_index(kind="stable"),
        is_rejected=is_rejected,
        is_duplicate=is_duplicate & ~is_rejected,
        is_superseded=is_superseded,
        columns=frozenset(name for name in table.names if (text[name] != "").any()),
    )


#: Columns without which a row cannot be placed.
_PLACES = {
    CHECKS.name: ("ward", "patient_id", "checked_at"),
    INFUSIONS.name: ("infusion_id",),
    LINES.name: ("patient_id", "kind"),
}

_FATAL = (
    RejectReason.NO_TIME,
    RejectReason.TIME_NOT_READABLE,
    RejectReason.NO_WARD,
    RejectReason.NO_PATIENT,
    RejectReason.NO_INFUSION,
    RejectReason.NO_LINE_KIND,
    RejectReason.NOT_IN_LIST,
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


def _stacked(sheets: Sequence[Sheet], table: Table) -> pd.DataFrame:
    """Put the files one below the other, as text, with source and identity."""
    frames = []
    for sheet in sheets:
        raw = sheet.raw
        frame = pd.DataFrame(
            {
                name: raw.cells[sheet.headers[name]]
                if name in sheet.headers
                else pd.Series("", index=raw.cells.index, dtype="str")
                for name in table.names
            }
        )
        frame["file"] = raw.file
        frame["line"] = raw.lines
        frame["source"] = raw.file + ":" + raw.lines.astype("str")
        frame["row_text"] = pd.Series(
            row_text(raw.cells), index=frame.index, dtype="str"
        )
        frame["identity"] = _identity(sheet)
        frames.append(frame)
    if not frames:
        names = [*table.names, "file", "source", "row_text", "identity"]
        empty = pd.DataFrame({name: pd.Series([], dtype="str") for name in names})
        return empty.assign(line=pd.Series([], dtype="int64"))
    return pd.concat(frames, ignore_index=True)


def _identity(sheet: Sheet) -> pd.Series:
    """Give a key that is equal only for rows alike in every column."""
    cells_ = sheet.raw.cells
    extra = sorted(set(cells_.columns) - set(sheet.headers.values()))
    parts = [
        (name, cells_[sheet.headers[name]])
        for name in sheet.table.names
        if name in sheet.headers
    ] + [(f"+{name}", cells_[name]) for name in extra]
    key = pd.Series("", index=cells_.index, dtype="str")
    for name, column in parts:
        # An empty canonical cell is the same as a column that is not there.
        key = key + ("\x1f" + name + "=" + column).where(column != "", "")
    return key


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


def _superseded(text: pd.DataFrame, is_rejected: pd.Series) -> pd.Series:
    """Mark the rows that an accepted row corrects, and those which these correct.

    A rejected row corrects nothing: what it would have replaced is all there is. Rows
    that name themselves, or each other in a ring, correct nothing either.
    """
    none = pd.Series(data=False, index=text.index)
    if "amends" not in text.columns or not (text["amends"] != "").any():
        return none
    same = text.groupby("identity", sort=False).ngroup()
    of_source = pd.Series(same.to_numpy(), index=text["source"])
    corrects = by_key(text["amends"], of_source)
    links = pd.DataFrame({"row": same, "corrects": corrects}).dropna()
    stands = ~is_rejected & ~same.isin(links["corrects"])
    reached = set(same[stands])
    corrected: set[float] = set()
    while found := set(links.loc[links["row"].isin(reached), "corrects"]) - corrected:
        corrected |= found
        reached = found
    return same.isin(corrected)


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
    out = text[["source", "file", "line", "row_text"]].copy()
    faults = []
    for column in table.columns:
        cell = text[column.name]
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
    if "driver_id" in text.columns:
        chart = text["file"] + "\x1f" + text["patient_id"] + "\x1f" + text["driver_id"]
    else:
        chart = pd.Series(np.arange(len(text)), index=text.index)
    times, notes, is_date = read_times(cell, zone, chart)
    out[column.name] = times
    if column.name == "checked_at":
        out["time_note"] = notes
    bad = _unreadable(cell[times.isna() & ~is_date & (cell != "")], column)
    alone = cells.faults_of(
        cell[is_date],
        column.name,
        RejectReason.TIME_NOT_READABLE,
        f"{column.name} reads '{{value}}', a date without a time of day",
    )
    return pd.concat([bad, alone]) if len(bad) or len(alone) else cells.no_faults()


def _unreadable(bad: pd.Series, column: Column) -> pd.DataFrame:
    return cells.faults_of(
        bad,
        column.name,
        RejectReason.TIME_NOT_READABLE,
        f"{column.name} reads '{{value}}', which is no time of the form "
        "2026-10-31T14:05",
    )
