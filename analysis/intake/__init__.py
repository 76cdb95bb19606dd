"""CSV exports to canonical tables and a ledger: nothing dropped, nothing corrected."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from analysis.columns import CHECKS, INFUSIONS, LINES, REJECTED, SET_ASIDE
from analysis.errors import InputError
from analysis.intake import ledger
from analysis.intake.canonical import Sheet, Typed, recognise, type_sheets
from analysis.intake.files import label_files, read_table
from analysis.intake.infusions import (
    assign_infusions,
    describe_infusions,
    paused_after,
)
from analysis.intake.order import in_order
from analysis.policy import Policy
from analysis.terms import ALL, BETWEEN_WARDS, Entry

__all__ = ["Log", "read_exports"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Log:
    """What intake made of the exports.

    Attributes
    ----------
    checks : DataFrame
        Accepted rows of the check log in order of time: canonical columns, typed,
        with source, file, line, time_note, infusion_note, is_paused_after. Times are
        datetime64 in the
        policy's zone. Numbers not recorded are NaN, words not recorded are empty.
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
    """

    checks: pd.DataFrame
    infusions: pd.DataFrame
    lines: pd.DataFrame
    account: pd.DataFrame
    rejected: pd.DataFrame
    set_aside: pd.DataFrame
    columns: dict[str, frozenset[str]]
    notes: tuple[str, ...]


def read_exports(paths: Sequence[Path], policy: Policy) -> Log:
    """Read exports of canonical tables, in any mix of files.

    Parameters
    ----------
    paths : sequence of Path
        CSV files; which table each holds is told by its columns.
    policy : Policy
        Gives the time zone.

    Returns
    -------
    Log
        Canonical tables and the ledger. Every row read is accepted, rejected,
        superseded by an amendment, or an exact duplicate.

    Raises
    ------
    InputError
        A file cannot be used as a whole, no file is a check log, or no row of it can
        be placed.
    """
    different = list(dict.fromkeys(path.resolve() for path in paths))
    labels = label_files(different)
    sheets = [
        recognise(read_table(path, label))
        for path, label in zip(different, labels, strict=True)
    ]
    of = {
        t.name: [s for s in sheets if s.table is t] for t in (CHECKS, INFUSIONS, LINES)
    }
    if not of["checks"]:
        msg = f"{', '.join(labels)}: no check log among the files; it is needed"
        raise InputError(f"{msg}, one row a check, with checked_at and a volume")
    infusions = type_sheets(of["infusions"], INFUSIONS, policy.zone)
    placed_by = infusions.rows[_accepted(infusions)]
    checks = type_sheets(of["checks"], CHECKS, policy.zone, placed_by=placed_by)
    lines = type_sheets(of["lines"], LINES, policy.zone)
    _check_any_row(checks, of["checks"])
    return _as_log(sheets, checks, infusions, lines)


def _as_log(
    sheets: Sequence[Sheet], checks: Typed, infusions: Typed, lines: Typed
) -> Log:
    notes: list[str] = []
    rows = checks.rows[_accepted(checks)].copy()
    rows["ward"] = _told_from_totals(rows["ward"], notes)
    fitted = lines.rows[_accepted(lines)].reset_index(drop=True)
    fitted["ward"] = _told_from_totals(fitted["ward"], [])
    rows["entry"] = rows["entry"].mask(rows["entry"] == "", str(Entry.CHECK))
    rows, derived = assign_infusions(in_order(rows))
    rows["is_paused_after"] = paused_after(rows)
    notes += derived + _time_notes(rows) + _unused_columns(sheets)
    notes += _amendment_notes(rows, checks)
    typed = {"checks": checks, "infusions": infusions, "lines": lines}
    account = pd.DataFrame(
        [_account(sheet, typed[sheet.table.name]) for sheet in sheets],
        columns=ledger.ACCOUNT_COLUMNS,
    )
    accepted = pd.concat([t.rows.loc[_accepted(t), "file"] for t in typed.values()])
    ledger.check_balance(account, accepted.value_counts())
    table = infusions.rows[_accepted(infusions)]
    table = table.assign(ward=_told_from_totals(table["ward"], []))
    notes += _disagreements(table)
    return Log(
        checks=rows.drop(columns="row_text"),
        infusions=describe_infusions(rows, table),
        lines=fitted,
        account=account,
        rejected=_rejected(sheets, typed),
        set_aside=_set_aside(typed),
        columns={name: t.columns for name, t in typed.items()},
        notes=tuple(notes),
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


def _disagreements(table: pd.DataFrame) -> list[str]:
    """Say how many infusions stand in several rows that do not say the same."""
    names = [name for name in INFUSIONS.names if name != "infusion_id"]
    said = table.groupby("infusion_id")[names].nunique()
    wrong = said.index[(said > 1).any(axis=1)]
    if not len(wrong):
        return []
    return [
        f"{len(wrong)} infusions stand in several rows of the infusions table that do "
        f"not agree (first: {wrong[0]}); the first value of each column was used."
    ]


def _accepted(typed: Typed) -> pd.Series:
    return ~(typed.is_rejected | typed.is_duplicate | typed.is_superseded)


def _check_any_row(checks: Typed, sheets: Sequence[Sheet]) -> None:
    if _accepted(checks).any():
        return
    files = ", ".join(sheet.raw.file for sheet in sheets)
    if len(checks.rejected):
        first = checks.rejected.iloc[0]
        where = checks.rows.loc[checks.rejected.index[0], "source"]
        msg = f"{files}: none of the {len(checks.rows)} rows can be placed; the first, "
        raise InputError(f"{msg}{where}: {first['sentence']}")
    broken = [b for sheet in sheets for b in sheet.raw.broken]
    if broken:
        msg = f"{files}: none of the {len(broken)} rows can be split into its columns"
        raise InputError(f"{msg}; line {broken[0].line}: {broken[0].why}")
    raise InputError(f"{files}: there is a header but no row; export it with its rows")


def _account(sheet: Sheet, typed: Typed) -> dict[str, object]:
    mine = typed.rows["file"] == sheet.raw.file
    return ledger.account_of(
        sheet.raw,
        sheet.table.name,
        rejected=int((typed.is_rejected & mine).sum()) + len(sheet.raw.broken),
        superseded=int((typed.is_superseded & mine).sum()),
        duplicates=int((typed.is_duplicate & mine).sum()),
    )


def _rejected(sheets: Sequence[Sheet], typed: dict[str, Typed]) -> pd.DataFrame:
    frames = [ledger.broken_entries(sheet.raw) for sheet in sheets]
    frames += [
        ledger.entries(
            t.rejected[~t.rejected.index.duplicated()],
            t.rows["source"],
            t.rows["row_text"],
        )
        for t in typed.values()
    ]
    return ledger.stack(frames, REJECTED)


def _set_aside(typed: dict[str, Typed]) -> pd.DataFrame:
    return ledger.stack(
        [
            ledger.entries(t.set_aside, t.rows["source"], t.rows["row_text"])
            for t in typed.values()
        ],
        SET_ASIDE,
    )


def _time_notes(rows: pd.DataFrame) -> list[str]:
    counts = rows.loc[rows["time_note"] != "", "time_note"].value_counts().sort_index()
    return [f"{count} rows: {note}." for note, count in counts.items()]


def _unused_columns(sheets: Sequence[Sheet]) -> list[str]:
    notes = []
    for sheet in sheets:
        used = set(sheet.headers.values())
        unused = [name for name in sheet.raw.cells.columns if name not in used]
        if unused:
            notes.append(
                f"{sheet.raw.file}: columns read and not used: {', '.join(unused)}."
            )
    return notes


def _amendment_notes(rows: pd.DataFrame, checks: Typed) -> list[str]:
    named = rows.loc[rows["amends"] != "", "amends"]
    unknown = named[~named.isin(set(checks.rows["source"]))]
    if not len(unknown):
        return []
    return [
        f"{len(unknown)} amendments do not name a row of these files as FILE:LINE "
        f"(first: {unknown.iloc[0]}); nothing was superseded by them."
    ]
