"""CSV exports to canonical tables and a ledger: nothing dropped, nothing corrected."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from analysis.columns import CHECKS, INFUSIONS, LINES, REJECTED, SET_ASIDE
from analysis.errors import InputError
from analysis.intake import ledger
from analysis.intake.agreement import contradictions
from analysis.intake.amendments import amendment_notes
from analysis.intake.canonical import Typed, fates, type_sheets
from analysis.intake.described import describe_infusions
from analysis.intake.exports import Exports, read_raws, turn_exports
from analysis.intake.infusions import assign_infusions, paused_after
from analysis.intake.layout import Layout
from analysis.intake.line_names import part_lines
from analysis.intake.order import in_order
from analysis.intake.reshape import CARRIED, CHECKS_WIDE, Turned
from analysis.intake.rows import take_rows
from analysis.intake.spans import without_far_times
from analysis.intake.spelling import spellings
from analysis.lookup import by_key
from analysis.memory import give_back
from analysis.policy import Policy
from analysis.terms import ALL, BETWEEN_WARDS, Entry

__all__ = ["Log", "read_exports"]

QUALIFIED = ["source", "column", "value", "qualifier"]
UNREAD = ["source", "column"]
UNPLACED = ["source", "patient_id", "infusion_id", "checked_at"]
SUPERSEDED = [*CHECKS.names, "source"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Log:
    """What intake made of the exports.

    Attributes
    ----------
    checks : DataFrame
        Accepted rows of the check log in order of time: canonical columns, typed,
        with source, file, line, time_note, infusion_note, is_paused_after and
        run_driver_id: the row's own driver, else that of its infusion. Times are
        datetime64 in the policy's zone. Numbers not recorded are
        NaN, words not recorded are empty.
    infusions : DataFrame
        One row a syringe run, indexed by infusion_id (`describe_infusions`).
    lines : DataFrame
        Accepted rows of the lines table; inserted_at and removed_at are the earliest
        possible moment, inserted_at_latest and removed_at_latest the latest.
    account : DataFrame
        One row a file (`ledger.ACCOUNT_COLUMNS`).
    rejected, set_aside : DataFrame
        The ledger: rows that could not be placed, cells that could not be read.
    columns : mapping of str to frozenset of str
        Canonical columns with a value anywhere in the export, by table.
    notes : tuple of str
        What had to be derived or settled, in words.
    qualified : DataFrame
        Numbers charted as about, below, above or between: source, column, value as
        charted, qualifier.
    unread : DataFrame
        Cells of the check log that were set aside: source, and column by its canonical
        name, whatever the file calls it.
    unplaced : DataFrame
        Rejected rows of the check log: source, patient_id, infusion_id, checked_at,
        each as far as it is charted and can be read.
    superseded : DataFrame
        Rows of the check log that an amendment replaced, or that were struck out in
        the file: canonical columns, typed, with source.
    """

    checks: pd.DataFrame
    infusions: pd.DataFrame
    lines: pd.DataFrame
    account: pd.DataFrame
    rejected: pd.DataFrame
    set_aside: pd.DataFrame
    columns: dict[str, frozenset[str]]
    notes: tuple[str, ...]
    qualified: pd.DataFrame = field(
        default_factory=lambda: pd.DataFrame(columns=QUALIFIED, dtype="str")
    )
    unread: pd.DataFrame = field(
        default_factory=lambda: pd.DataFrame(columns=UNREAD, dtype="str")
    )
    unplaced: pd.DataFrame = field(
        default_factory=lambda: pd.DataFrame(columns=UNPLACED, dtype="str")
    )
    superseded: pd.DataFrame = field(
        default_factory=lambda: pd.DataFrame(columns=SUPERSEDED, dtype="str")
    )


def read_exports(
    paths: Sequence[Path], policy: Policy, layout: Layout | None = None
) -> Log:
    """Read the exports of a service, in any mix of files.

    Parameters
    ----------
    paths : sequence of Path
        Delimited text files and workbooks; which table each holds is told by its
        headers and values.
    policy : Policy
        Gives the time zone, where the layout gives none.
    layout : Layout, optional
        How the export maps to the canonical tables; without one, what can be
        recognised safely is.

    Returns
    -------
    Log
        Canonical tables and the ledger. Every row read is accepted, rejected,
        superseded by an amendment, or an exact duplicate.

    Raises
    ------
    InputError
        A file cannot be used as a whole, something in it must be settled first, no
        file is a check log, or most rows of a file cannot be placed.
    """
    exports = turn_exports(read_raws(paths, layout), layout)
    give_back()
    zone = ZoneInfo(layout.zone) if layout and layout.zone else policy.zone
    typed = _typed(exports.tables, zone)
    books = _books(exports, typed)
    del exports  # nothing below needs the files: they take more than the log itself
    give_back()
    kept = {name: _kept(typed.pop(name)) for name in _NAMES}
    return _in_zone(_as_log(kept, books), policy.zone)


def _typed(sheets: Sequence[Turned], zone: ZoneInfo) -> dict[str, Typed]:
    """Type all tables of an export, by what they hold."""
    of = {name: [s for s in sheets if s.table.name == name] for name in _NAMES}
    if not of["checks"]:
        files = ", ".join(dict.fromkeys(s.raw.file for s in sheets))
        msg = f"{files}: no check log among the files; it is needed"
        raise InputError(f"{msg}, one row a check, with checked_at and a volume")
    infusions = type_sheets(of["infusions"], INFUSIONS, zone)
    placed_by = infusions.rows[_accepted(infusions)]
    checks = type_sheets(of["checks"], CHECKS_WIDE, zone, placed_by=placed_by)
    lines = type_sheets(of["lines"], LINES, zone)
    typed = {"checks": checks, "infusions": infusions, "lines": lines}
    return without_far_times(typed, of)


def _books(exports: Exports, typed: dict[str, Typed]) -> dict[str, Any]:
    """Give all of a `Log` that tells of the files and of what was left out."""
    sheets, checks = exports.tables, typed["checks"]
    account = _accounts(sheets, typed)
    rejected = _rejected(sheets, typed)
    _check_any_row(account, rejected, {s.raw.file for s in sheets if _is_checks(s)})
    columns = {name: t.columns & set(_NAMES[name]) for name, t in typed.items()}
    columns["infusions"] |= checks.columns & set(CARRIED)
    return {
        "account": account,
        "rejected": rejected,
        "set_aside": _set_aside(typed),
        "columns": columns,
        "qualified": _qualified(sheets, typed),
        "unread": ledger.stack_frames([checks.set_aside], UNREAD),
        "unplaced": _unplaced(checks),
        "superseded": checks.rows.loc[checks.is_superseded, SUPERSEDED],
        "notes": exports.notes,
        "unused": _unused_columns(sheets),
        "amendments": amendment_notes(
            checks.rows, checks.rows.loc[_accepted(checks), "source"]
        ),
    }


def _kept(typed: Typed) -> pd.DataFrame:
    """Give the accepted rows, with wards told from the words of the tables."""
    is_kept = _accepted(typed).to_numpy()
    if is_kept.all():
        return typed.rows
    return take_rows(typed.rows, np.flatnonzero(is_kept))


def _as_log(kept: dict[str, pd.DataFrame], books: dict[str, Any]) -> Log:
    notes: list[str] = list(books.pop("notes"))
    rows = _ordered(kept.pop("checks"), notes)
    give_back()
    lines = kept["lines"]
    lines = lines.assign(ward=_told_from_totals(lines["ward"], []))
    rows, lines, parted = part_lines(rows, lines)
    rows, derived = assign_infusions(rows)
    rows["is_paused_after"] = paused_after(rows)
    notes += [*parted, *derived, *_time_notes(rows), *books.pop("unused")]
    notes += [*books.pop("amendments"), *spellings(rows)]
    notes += contradictions(rows, kept["infusions"])
    carried = _carried(rows, kept["infusions"])
    carried = carried.assign(ward=_told_from_totals(carried["ward"], []))
    notes += _disagreements(carried)
    rows = rows.drop(
        columns=[n for n in rows if str(n).removesuffix("_latest") in CARRIED]
    )
    described = describe_infusions(rows, carried)
    return Log(
        checks=rows.assign(run_driver_id=_run_drivers(rows, described)),
        infusions=described,
        lines=_with_wards(lines, rows),
        notes=tuple(notes),
        **books,
    )


def _ordered(rows: pd.DataFrame, notes: list[str]) -> pd.DataFrame:
    """Give the rows of the check log in order of time, each with its entry."""
    ward = _told_from_totals(rows["ward"], notes)
    entry = rows["entry"].mask(rows["entry"] == "", str(Entry.CHECK))
    return in_order(rows.assign(ward=ward, entry=entry))


def _run_drivers(rows: pd.DataFrame, infusions: pd.DataFrame) -> pd.Series:
    """Give each row's own driver, else that of its infusion."""
    blank = rows["driver_id"] == ""
    if not blank.any():
        return rows["driver_id"]
    of_run = by_key(rows["infusion_id"], infusions["driver_id"]).astype("str")
    return rows["driver_id"].mask(blank, of_run.fillna(""))


_NAMES = {t.name: t.names for t in (CHECKS, INFUSIONS, LINES)}


def _qualified(sheets: Sequence[Turned], typed: dict[str, Typed]) -> pd.DataFrame:
    """Give the qualified numbers of rows that were accepted."""
    every = ledger.stack_frames([s.qualifiers for s in sheets], QUALIFIED)
    kept = [
        t.rows.loc[_accepted(t) & t.rows["source"].isin(every["source"]), "source"]
        for t in typed.values()
    ]
    return every[every["source"].isin(pd.concat(kept))].reset_index(drop=True)


def _is_checks(sheet: Turned) -> bool:
    return sheet.table.name == CHECKS.name


def _carried(rows: pd.DataFrame, table: pd.DataFrame) -> pd.DataFrame:
    """Add to the infusions table what check rows say of their infusion.

    The table leads; then the first row of each infusion that says something.
    """
    there = [name for name in CARRIED if name in rows]
    is_told = pd.Series(data=False, index=rows.index)
    for name in there:
        is_told |= rows[name].notna() & (rows[name] != "")
    is_told &= rows["infusion_id"] != ""
    if not is_told.any():
        return table
    told = rows[is_told].copy()
    for name in (name for name in table.columns if name not in told):
        none = "" if pd.api.types.is_string_dtype(table[name]) else None
        told[name] = pd.Series(none, index=told.index, dtype=table[name].dtype)
    for name in ("ward", "patient_id", "driver_id"):
        told[name] = ""  # what the checks say of these is taken from them all
    frames = [frame for frame in (table, told[list(table.columns)]) if len(frame)]
    return pd.concat(frames, ignore_index=True)


def _with_wards(lines: pd.DataFrame, checks: pd.DataFrame) -> pd.DataFrame:
    """Give lines without a ward that of their patient, where checks name only one."""
    blank = lines["ward"] == ""
    if not blank.any():
        return lines
    wards = checks.loc[checks["ward"] != "", ["patient_id", "ward"]].drop_duplicates()
    only = wards[~wards["patient_id"].duplicated(keep=False)]
    ward_of = only.set_index("patient_id")["ward"]
    found = by_key(lines["patient_id"], ward_of).astype("str").fillna("")
    return lines.assign(ward=lines["ward"].mask(blank, found))


def _in_zone(log: Log, zone: ZoneInfo) -> Log:
    """Give all times in the policy's zone; the instants stay what they are."""

    def moved(frame: pd.DataFrame) -> pd.DataFrame:
        times = frame.select_dtypes("datetimetz").columns
        return frame.assign(**{n: frame[n].dt.tz_convert(zone) for n in times})

    return replace(
        log,
        checks=moved(log.checks),
        infusions=moved(log.infusions),
        lines=moved(log.lines),
        unplaced=moved(log.unplaced),
        superseded=moved(log.superseded),
    )


def _told_from_totals(wards: pd.Series, notes: list[str]) -> pd.Series:
    """Keep a ward apart from the words that the tables use for totals."""
    clash = wards.isin([ALL, BETWEEN_WARDS])
    if clash.any():
        notes.append(
            f"A ward is called '{wards[clash].iloc[0]}', a word of the tables: "
            "' (ward)' was added to its name."
        )
        return wards.mask(clash, wards + " (ward)")
    return wards


def _disagreements(table: pd.DataFrame) -> list[str]:
    """Say how many infusions stand in several rows that do not say the same."""
    if not len(table):
        return []
    names = [name for name in INFUSIONS.names if name != "infusion_id"]
    known = table[names].mask(table[names].isna() | (table[names] == ""))
    said = known.groupby(table["infusion_id"]).nunique()
    wrong = said.index[(said > 1).any(axis=1)]
    if not len(wrong):
        return []
    return [
        f"{len(wrong)} infusions stand in several rows that describe them and do "
        f"not agree (first: {wrong[0]}); the first value of each column was used."
    ]


def _accepted(typed: Typed) -> pd.Series:
    return ~(typed.is_rejected | typed.is_duplicate | typed.is_superseded)


#: A file of which more than this share is rejected is not what it is taken for.
_MOST_REJECTED = 0.5


def _check_any_row(
    account: pd.DataFrame, rejected: pd.DataFrame, logs: set[str]
) -> None:
    """Refuse files whose rows are mostly rejected, and a log without a row."""
    for row in account.to_dict("records"):
        file, read, lost = row["file"], row["rows_read"], row["rejected"]
        if not read or lost <= _MOST_REJECTED * read:
            continue
        mine = rejected[rejected["source"].str.rpartition(":")[0] == file]
        first = mine.iloc[0]
        which = "none of the" if lost == read else f"{lost} of the"
        able = "can" if lost == read else "cannot"
        msg = f"{file}: {which} {read} rows {able} be placed; the first, "
        msg += f"{first['source']}: {first['sentence']}; mend the export, or name the "
        raise InputError(f"{msg}right columns in a layout")
    if not account.loc[account["file"].isin(logs), "accepted"].sum():
        files = ", ".join(sorted(logs))
        msg = f"{files}: there is a header but no row; export it with its rows"
        raise InputError(msg)


def _unplaced(checks: Typed) -> pd.DataFrame:
    """Give rejected rows as far as they can be read."""
    return checks.rows.loc[checks.is_rejected, UNPLACED].reset_index(drop=True)


def _accounts(sheets: Sequence[Turned], typed: dict[str, Typed]) -> pd.DataFrame:
    rows, accepted = [], {}
    for sheet in (s for s in sheets if not s.is_beside):
        fate = fates(sheet, typed[sheet.table.name])
        counts = fate.value_counts()
        rows.append(
            ledger.account_of(
                sheet.raw,
                sheet.table.name,
                rejected=int(counts.get("rejected", 0)) + len(sheet.raw.broken),
                superseded=int(counts.get("superseded", 0)),
                duplicates=int(counts.get("exact duplicate", 0)),
            )
        )
        accepted[sheet.raw.file] = int(counts.get("accepted", 0))
    account = pd.DataFrame(rows, columns=ledger.ACCOUNT_COLUMNS)
    ledger.check_balance(account, pd.Series(accepted))
    return account


def _rejected(sheets: Sequence[Turned], typed: dict[str, Typed]) -> pd.DataFrame:
    frames = [ledger.broken_entries(sheet.raw) for sheet in sheets]
    frames += [
        ledger.entries(t.rejected[~t.rejected.index.duplicated()])
        for t in typed.values()
    ]
    return ledger.stack(frames, REJECTED)


def _set_aside(typed: dict[str, Typed]) -> pd.DataFrame:
    return ledger.stack(
        [ledger.entries(t.set_aside) for t in typed.values()], SET_ASIDE
    )


def _time_notes(rows: pd.DataFrame) -> list[str]:
    counts = rows.loc[rows["time_note"] != "", "time_note"].value_counts().sort_index()
    return [f"{count} rows: {note}." for note, count in counts.items()]


def _unused_columns(sheets: Sequence[Turned]) -> list[str]:
    return [
        f"{sheet.raw.file}: columns read and not used: {', '.join(sheet.unused)}."
        for sheet in sheets
        if sheet.unused
    ]
