"""What holds for rows and stands in none of their cells: headings, titles, names.

A constant of a layout is a value, or says where the value stands: ``(sheet)`` and
``(file)`` are their names, ``(above) Ward`` is beside that word above the header,
``(heading) Ward`` is beside that word in the last row of one cell above a row, and
``(heading)`` is all of that cell.
"""

import re
from collections.abc import Mapping, Sequence
from pathlib import PurePath

import numpy as np
import pandas as pd

from analysis.errors import InputError
from analysis.intake import synonyms
from analysis.intake.profiles import is_written_time
from analysis.intake.raw import RawTable

SHEET, FILE, ABOVE, HEADING = "(sheet)", "(file)", "(above)", "(heading)"

#: Columns without which a row cannot be placed.
_NEEDED = frozenset({"ward", "patient_id"})

_PLACE = re.compile(r"(\([a-z]+\))\s*(.*)", re.S)
_LABELLED = re.compile(r"\s*([^:=]{1,40}?)\s*[:=]\s*(.*?)\s*", re.S)


def is_value_or_place(constant: str) -> bool:
    """Tell whether a constant of a layout is a value, or a place that there is.

    Parameters
    ----------
    constant : str
        As the layout has it.

    Returns
    -------
    bool
        False for a word in brackets that names no place, or a place with a label too
        many or too few.

    Examples
    --------
    >>> [is_value_or_place(c) for c in ("Amber", "(above) Ward", "(above)", "(tab)")]
    [True, True, False, False]
    """
    found = _PLACE.fullmatch(constant)
    if not found:
        return True
    place, label = found.groups()
    if place in (SHEET, FILE):
        return not label
    return place == HEADING or (place == ABOVE and bool(label))


def labels_above(preamble: Sequence[Sequence[str]]) -> dict[str, str]:
    """Give what stands beside each word above a header.

    Parameters
    ----------
    preamble : sequence of sequence of str
        Cells of the records above it.

    Returns
    -------
    dict of str to str
        Value by label, the label as written; of two alike the first counts.

    Examples
    --------
    >>> labels_above([["Chart"], ["Patient no:", "K4", "", "Ward: Amber"]])
    {'Patient no': 'K4', 'Ward': 'Amber'}
    """
    found: dict[str, str] = {}
    for row in preamble:
        filled = [cell for cell in row if cell]
        for i, cell in enumerate(filled):
            if not (parts := _LABELLED.fullmatch(cell)):
                found |= {k: v for k, v in [label_of(cell)] if k and k not in found}
                continue
            beside = filled[i + 1] if i + 1 < len(filled) else ""
            value = parts[2] or ("" if ":" in beside else beside)
            if value:
                found.setdefault(parts[1], value)
        if len(filled) == _A_PAIR and _is_pair(*filled):
            found.setdefault(*filled)
    return found


#: A line of a label and its value, each in a cell, and nothing more.
_A_PAIR = 2
_WIDE = ("ward", "patient_id", "driver_id", "infusion_id")


def _is_pair(label: str, value: str) -> bool:
    """Tell a label and its value from the names of two columns."""
    if ":" in label or not any(is_label_of(label, column) for column in _WIDE):
        return False
    return bool(re.search(r"\d", value)) or not synonyms.named(value)


def headings(cells: pd.DataFrame, times: Sequence[str]) -> pd.Series:
    """Find the rows of one cell, which say something of the rows below them.

    Parameters
    ----------
    cells : DataFrame of str, shape (n, columns)
        The rows.
    times : sequence of str
        Columns of the time of a row; a row with a time is no heading, one with
        another text in place of it is.

    Returns
    -------
    Series of str
        Their one cell, on the index of those rows.
    """
    bare = cells[(cells[list(times)] == "").all(axis=1)] if times else cells
    if times:
        rest = _blank_but(cells, times)
        bare = pd.concat([bare, rest.drop(bare.index, errors="ignore")]).sort_index()
    is_filled = bare != ""
    alone = bare[is_filled.sum(axis=1) == 1]
    is_time = alone[list(times)].map(is_written_time).any(axis=1)
    alone = alone[~is_time.astype(bool)]
    if not len(alone):
        return pd.Series([], dtype="str", index=alone.index)
    return alone.agg("".join, axis=1).astype("str")


def _blank_but(cells: pd.DataFrame, times: Sequence[str]) -> pd.DataFrame:
    """Give the rows that are blank in all columns but these."""
    at = np.arange(len(cells))
    for column in cells.columns.difference(list(times), sort=False):
        at = at[(cells[column].iloc[at] == "").to_numpy()]  # few are left after one
    return cells.iloc[at]


def label_of(heading: str) -> tuple[str, str]:
    """Split a heading into its label and its value; without a label that is empty.

    Parameters
    ----------
    heading : str
        A cell that stands alone.

    Returns
    -------
    label, value : str
        The label is empty where there is none.

    Examples
    --------
    >>> label_of("Ward: Amber"), label_of("Amber"), label_of("Patient K2")
    (('Ward', 'Amber'), ('', 'Amber'), ('Patient', 'K2'))
    """
    parts = _LABELLED.fullmatch(heading)
    if parts and parts[2]:
        return parts[1], parts[2]
    bare = _NO_COLON.fullmatch(heading) if ":" not in heading else None
    if bare and is_label_of(bare[1], "patient_id"):
        return bare[1], bare[2]
    return "", heading.strip()


#: A label and a code behind it, which a year is not: ``Patient K2``.
_NO_COLON = re.compile(
    r"\s*([^\W\d]{2,12}(?: (?:no\.?|id|number))?)\s+((?!20\d\d\s*$)\S*\d\S*)\s*", re.I
)


def is_label_of(label: str, column: str) -> bool:
    """Tell whether a word names a column, by itself.

    Parameters
    ----------
    label : str
        The word.
    column : str
        A canonical column.

    Returns
    -------
    bool
        True where it is so.
    """
    found = synonyms.candidates(label)
    return any(
        c.column == column and c.strength > synonyms.Strength.CONTAINS for c in found
    )


def without_headings(
    raw: RawTable, constants: Mapping[str, str], times: Sequence[str]
) -> tuple[pd.DataFrame, dict[str, pd.Series]]:
    """Take the headings out of the rows, and give what they say of the others.

    Parameters
    ----------
    raw : RawTable
        The table.
    constants : mapping of str to str
        Column to its constant, or to where that stands.
    times : sequence of str
        Columns of the time of a row.

    Returns
    -------
    rows : DataFrame of str
        Rows that are no heading, with their old index.
    given : dict of str to Series of str
        Column to its value for each of these rows; empty above the first heading.

    Raises
    ------
    InputError
        No heading names the ward or the patient that the layout takes from it.
    """
    wanted = {k: v for k, v in constants.items() if v.startswith(HEADING)}
    cells = raw.cells
    if not wanted:
        return cells, {}
    found = headings(cells, times)
    parts = {i: label_of(str(text)) for i, text in found.items()}
    given, used = {}, set[object]()
    for column, where in wanted.items():
        label = synonyms.normal(where.removeprefix(HEADING))
        mine = {
            i: v for i, (name, v) in parts.items() if synonyms.normal(name) == label
        }
        if not mine and len(cells):
            _refuse_lacking(raw, column, "no row of one cell names", where)
        used |= set(mine)
        said = pd.Series(mine, dtype="str").reindex(cells.index)
        given[column] = said.ffill().astype("str").fillna("")
    rows = cells[~cells.index.isin(used)]
    return rows, {k: v.loc[rows.index] for k, v in given.items()}


def constant_of(column: str, where: str, raw: RawTable) -> str:
    """Give the value of a constant that is the same for a whole table.

    Parameters
    ----------
    column : str
        The column it is for.
    where : str
        The value, or where it stands.
    raw : RawTable
        The table.

    Returns
    -------
    str
        The value; empty where the table has none and a row can do without.

    Raises
    ------
    InputError
        The file is no workbook and the layout takes a value from the name of a sheet;
        or nothing above the header names the ward or the patient.
    """
    if where == SHEET:
        if not raw.is_sheet:
            msg = f"{raw.file}: the layout takes {column} from the name of the sheet, "
            raise InputError(f"{msg}and this is no workbook; write the value itself")
        return raw.file.partition("!")[2]
    if where == FILE:
        return PurePath(raw.file.partition("!")[0]).stem
    if where.startswith(ABOVE):
        label = synonyms.normal(where.removeprefix(ABOVE))
        told = labels_above(raw.preamble)
        value = next((v for k, v in told.items() if synonyms.normal(k) == label), "")
        if not value:
            _refuse_lacking(
                raw, column, "nothing above the header stands beside", where
            )
        return value
    return where


def _refuse_lacking(raw: RawTable, column: str, what: str, where: str) -> None:
    """Refuse a table that does not name its ward or patient where a layout says so."""
    if column in _NEEDED:
        label = _PLACE.sub(r"\2", where)
        told = f"'{label}'" if label else column
        msg = f"{raw.file}: {what} {told}, where the layout takes {column} from; "
        raise InputError(f"{msg}correct constants.{column} in the layout")
