"""What holds for rows and stands in none of their cells: headings, titles, names.

A constant of a layout is a value, or says where the value stands: ``(sheet)`` and
``(file)`` are their names, ``(above) Ward`` is beside that word above the header,
``(heading) Ward`` is beside that word in the last row of one cell above a row, and
``(heading)`` is all of that cell.
"""

import re
from collections.abc import Mapping, Sequence
from pathlib import PurePath

import pandas as pd

from analysis.intake import synonyms
from analysis.intake.files import RawTable

SHEET, FILE, ABOVE, HEADING = "(sheet)", "(file)", "(above)", "(heading)"

_LABELLED = re.compile(r"\s*([^:=]{1,40}?)\s*[:=]\s*(.*?)\s*", re.S)


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
                continue
            beside = filled[i + 1] if i + 1 < len(filled) else ""
            value = parts[2] or ("" if ":" in beside else beside)
            if value:
                found.setdefault(parts[1], value)
    return found


def headings(cells: pd.DataFrame, times: Sequence[str]) -> pd.Series:
    """Find the rows of one cell, which say something of the rows below them.

    Parameters
    ----------
    cells : DataFrame of str, shape (n, columns)
        The rows.
    times : sequence of str
        Columns of the time of a row; a row with one is no heading.

    Returns
    -------
    Series of str
        Their one cell, on the index of those rows.
    """
    bare = cells[(cells[list(times)] == "").all(axis=1)] if times else cells
    is_filled = bare != ""
    alone = bare[is_filled.sum(axis=1) == 1]
    if not len(alone):
        return pd.Series([], dtype="str", index=alone.index)
    return alone.agg("".join, axis=1).astype("str")


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
    >>> label_of("Ward: Amber"), label_of("Amber")
    (('Ward', 'Amber'), ('', 'Amber'))
    """
    parts = _LABELLED.fullmatch(heading)
    return (parts[1], parts[2]) if parts and parts[2] else ("", heading.strip())


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
        used |= set(mine)
        said = pd.Series(mine, dtype="str").reindex(cells.index)
        given[column] = said.ffill().astype("str").fillna("")
    rows = cells[~cells.index.isin(used)]
    return rows, {k: v.loc[rows.index] for k, v in given.items()}


def constant_of(where: str, raw: RawTable) -> str:
    """Give the value of a constant that is the same for a whole table.

    Parameters
    ----------
    where : str
        The value, or where it stands.
    raw : RawTable
        The table.

    Returns
    -------
    str
        The value; empty where the table has none.
    """
    if where == SHEET:
        return raw.file.partition("!")[2]
    if where == FILE:
        return PurePath(raw.file.partition("!")[0]).stem
    if where.startswith(ABOVE):
        label = synonyms.normal(where.removeprefix(ABOVE))
        told = labels_above(raw.preamble)
        return next((v for k, v in told.items() if synonyms.normal(k) == label), "")
    return where
