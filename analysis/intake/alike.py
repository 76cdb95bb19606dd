"""Rows that are alike in every column, whatever file each stands in."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from analysis.intake.scan import Ints


def number_alike(tables: Sequence[Mapping[str, pd.Series]]) -> Ints:
    """Give rows a number each, the same to those alike in every column.

    Column by column, and exact: no row is put together to a text, which would take
    several times the memory of the file. A row that differs from all others by what was
    compared so far needs no more.

    Parameters
    ----------
    tables : sequence of mapping of str to Series of str
        The columns that rows of each table are compared by; a column that a table has
        not is empty in all its rows.

    Returns
    -------
    ndarray of int, shape (n,)
        For each row of all tables, one below the other, the place of the first row that
        is alike.

    Examples
    --------
    >>> a = {"x": pd.Series(["1", "1"]), "y": pd.Series(["", "2"])}
    >>> number_alike([a, {"x": pd.Series(["1"])}]).tolist()
    [0, 1, 0]
    """
    sizes = [len(next(iter(t.values()))) if t else 0 for t in tables]
    names = sorted({name for table in tables for name in table}, key=_by_telling)
    first: Ints = np.arange(sum(sizes), dtype=np.int64)
    at = first  # rows that may have another alike, and a number for those that may be
    numbers: Ints = np.zeros(len(at), dtype=np.int64)
    most = 1
    for name in names:
        codes, different = pd.factorize(_column(tables, sizes, name).iloc[at])
        if most * len(different) > _MOST:
            numbers, most = _renumbered(numbers)
        numbers, most = numbers * len(different) + codes, most * len(different)
        if name in _TELLING and name != _TELLING[-1]:
            continue
        ordered = np.sort(numbers)
        twice = ordered[1:][np.diff(ordered) == 0]
        if not len(twice):
            return first
        several = np.isin(numbers, twice)
        at = at[several]
        numbers, most = _renumbered(numbers[several])
    _, place, group = np.unique(numbers, return_index=True, return_inverse=True)
    first[at] = at[place][group]
    return first


#: Columns that tell most rows apart; together they are compared first.
_TELLING = ("infusion_id", "patient_id", "checked_at")

#: Above this a whole number would not hold the product of what is in the columns.
_MOST = 2**62


def _by_telling(name: str) -> tuple[int, str]:
    known = _TELLING.index(name) if name in _TELLING else len(_TELLING)
    return known, name


def _column(
    tables: Sequence[Mapping[str, pd.Series]], sizes: Sequence[int], name: str
) -> pd.Series:
    parts = [
        table.get(name, pd.Series("", index=range(size), dtype="str"))
        for table, size in zip(tables, sizes, strict=True)
    ]
    return parts[0] if len(parts) == 1 else pd.concat(parts, ignore_index=True)


def _renumbered(numbers: Ints) -> tuple[Ints, int]:
    codes, different = pd.factorize(numbers)
    return codes.astype(np.int64), max(len(different), 1)
