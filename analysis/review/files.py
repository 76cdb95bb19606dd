"""Working lists that come back from a reviewer, as a workbook or as CSV."""

import re
from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from analysis.errors import InputError
from analysis.intake.files import label_files, read_table
from analysis.intake.raw import RawTable
from analysis.terms import Decision

#: Columns of the working list, in order; the last three are the reviewer's.
LIST_COLUMNS = (
    "finding_id",
    "month",
    "ward",
    "patient",
    "infusion",
    "driver",
    "first_seen",
    "first_row",
    "group",
    "kind",
    "probability",
    "sentence",
    "state",
    "decision",
    "note",
    "initials",
)
_REVIEWERS = ("decision", "note", "initials")
_NEEDED = ("finding_id", "decision")

# An apostrophe that keeps a spreadsheet from taking text for a formula.
_GUARD = r"^'(?='*[=+\-@\t\r])"

# What stands in place of a formula whose value a workbook does not hold.
_NO_VALUE = r"(?i)^=.*, saved without its value$"


def no_decisions() -> pd.DataFrame:
    """Give a list without a row.

    Returns
    -------
    DataFrame
        As `read_decisions`.
    """
    return pd.DataFrame(columns=pd.Index([*LIST_COLUMNS, "source"]), dtype="str")


def read_decisions(paths: Sequence[Path]) -> pd.DataFrame:
    """Read working lists that were given back.

    Parameters
    ----------
    paths : sequence of Path
        Workbooks or CSV files; one named twice is read once.

    Returns
    -------
    DataFrame of str
        A row a row of the lists, decided or not: `LIST_COLUMNS` and source
        (``file:row``). An empty text is a cell that is empty or not there; ``decision``
        is a word of `Decision` or empty.

    Raises
    ------
    InputError
        A file is no working list: it cannot be read, lacks a column, holds a column of
        its own with text, an unknown decision, or a decision without a finding_id. One
        sentence.
    """
    different = list(dict.fromkeys(path.resolve() for path in paths))
    lists = [
        _read(path, label)
        for path, label in zip(different, label_files(different), strict=True)
    ]
    return pd.concat([no_decisions(), *lists], ignore_index=True)


def _read(path: Path, label: str) -> pd.DataFrame:
    locks = (f"~${path.name}", f".~lock.{path.name}#")
    if any(path.with_name(lock).exists() for lock in locks):
        raise InputError(f"{path}: somebody has this open; close it and run again")
    raw = read_table(path, label)
    _check_form(raw, path)
    given = raw.cells.reindex(columns=list(LIST_COLUMNS), fill_value="").fillna("")
    if not raw.is_sheet:
        given = given.replace(_GUARD, "", regex=True)
    given["source"] = [f"{label}:{line}" for line in raw.lines]
    given["finding_id"] = given["finding_id"].str.upper()
    _check_formulas(given, path, raw)
    given["decision"] = _words(given["decision"], path, raw)
    is_nameless = (given["finding_id"] == "") & _is_filled(given)
    if is_nameless.any():
        line = raw.lines[is_nameless].iloc[0]
        msg = f"{path}, row {line}: has a decision or a note and no finding_id"
        raise InputError(f"{msg}; copy the id from the list the report came with")
    return given[given["finding_id"] != ""].astype("str").reset_index(drop=True)


def _check_formulas(given: pd.DataFrame, path: Path, raw: RawTable) -> None:
    for name in _NEEDED:
        is_formula = given[name].str.contains(_NO_VALUE, regex=True)
        if is_formula.any():
            line = raw.lines[is_formula].iloc[0]
            msg = f"{path}, row {line}: {name} is a formula without a value"
            raise InputError(f"{msg}; write the text itself and run again")


def _is_filled(given: pd.DataFrame) -> pd.Series:
    filled: pd.Series = (given[list(_REVIEWERS)] != "").any(axis=1)
    return filled


def _check_form(raw: RawTable, path: Path) -> None:
    absent = [name for name in _NEEDED if name not in raw.cells.columns]
    if absent:
        msg = f"{path}: has no column {' and no column '.join(absent)}"
        raise InputError(f"{msg}; give the review.xlsx or review.csv of a report")
    if raw.broken:
        first = raw.broken[0]
        msg = f"{path}, line {first.line}: {first.why}"
        raise InputError(f"{msg}; correct the line and run again")
    own = raw.cells.drop(columns=[n for n in LIST_COLUMNS if n in raw.cells.columns])
    kept = [name for name in own if (own[name].fillna("") != "").any()]
    if kept:
        msg = f"{path}: has a column '{kept[0]}' of its own, which would be lost"
        raise InputError(f"{msg}; move what it says into note, or delete the column")


def _words(given: pd.Series, path: Path, raw: RawTable) -> pd.Series:
    """Give decisions as words of the list, whatever their case and blanks."""
    said = given.str.casefold().str.replace(re.compile(r"[\s_-]+"), " ", regex=True)
    is_unknown = ~said.str.strip().isin(["", *map(str, Decision)])
    if is_unknown.any():
        line = raw.lines[is_unknown].iloc[0]
        word = given[is_unknown].iloc[0][:40]
        msg = f"{path}, row {line}: '{word}' is no decision"
        raise InputError(f"{msg}; choose one of: {', '.join(Decision)}")
    return said.str.strip()
