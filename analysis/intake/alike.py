"""Rows that are alike in every column, whatever file each stands in."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from analysis.intake.scan import Ints
from analysis.texts import same


def first_alike(tables: Sequence[Mapping[str, pd.Series]]) -> Ints:
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
    >>> first_alike([a, {"x": pd.Series(["1"])}]).tolist()
    [0, 1, 0]
    """
    sizes = [len(next(iter(t.values()))) if t else 0 for t in tables]
    names = sorted({name for table in tables for name in table}, key=_by_telling)
    first: Ints = np.arange(sum(sizes), dtype=np.int64)
    at = first  # rows that may have another alike, and a number for those that may be
    numbers: Ints = np.zeros(len(at), dtype=np.int64)
    most = 1
    for name in names:
        column = _column(tables, sizes, name)
        some = column if len(at) == len(column) else column.iloc[at]
        codes, different = pd.factorize(some)
        numbers, most = told_apart(
            (numbers, most), codes.astype(np.int64), len(different)
        )
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


def told_apart(known: tuple[Ints, int], codes: Ints, count: int) -> tuple[Ints, int]:
    """Give each row a number by the one it has so far and one thing more.

    Parameters
    ----------
    known : tuple of (ndarray of int, shape (n,), int)
        Numbers from 0, and one more than the largest that there may be.
    codes : ndarray of int, shape (n,)
        The thing more, from 0.
    count : int
        How many different codes there may be.

    Returns
    -------
    tuple of (ndarray of int, shape (n,), int)
        Equal where both are, in the order of the numbers known and then of the codes;
        and one more than the largest that there may be.

    Examples
    --------
    >>> told_apart((np.array([0, 1, 1]), 2), np.array([2, 0, 2]), 3)[0].tolist()
    [2, 3, 5]
    """
    numbers, most = known
    if most * count > _MOST:
        numbers, most = _renumbered(numbers)
    return numbers * count + codes, most * count


def numbered(rows: pd.DataFrame, names: Sequence[str]) -> Ints:
    """Give rows a number that is the same for those alike in some columns.

    Parameters
    ----------
    rows : DataFrame, shape (n, ...)
        With these columns.
    names : sequence of str
        What is compared; missing values are like each other.

    Returns
    -------
    ndarray of int, shape (n,)
        Any numbers.

    Examples
    --------
    >>> rows = pd.DataFrame({"a": ["x", "x", "y"], "b": [1, 1, 1]})
    >>> numbered(rows, ["a", "b"]).tolist()
    [0, 0, 1]
    """
    known: tuple[Ints, int] = (np.zeros(len(rows), dtype=np.int64), 1)
    for name in names:
        codes, count = _codes(rows[name])
        known = told_apart(known, codes, max(count, 1))
    return known[0]


def _codes(cells: pd.Series) -> tuple[Ints, int]:
    """Give a number for what each row has, and how many there are."""
    if isinstance(cells.dtype, pd.DatetimeTZDtype) and cells.is_monotonic_increasing:
        step = np.diff(cells.astype("int64").to_numpy()) > 0
        codes = np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(step)])
        return codes[: len(cells)], int(codes[-1]) + 1
    codes, different = pd.factorize(cells, use_na_sentinel=False)
    return codes.astype(np.int64), len(different)


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
        table.get(name, pd.Series(same("", size)))
        for table, size in zip(tables, sizes, strict=True)
    ]
    return parts[0] if len(parts) == 1 else pd.concat(parts, ignore_index=True)


def _renumbered(numbers: Ints) -> tuple[Ints, int]:
    different, codes = np.unique(numbers, return_inverse=True)
    return codes.astype(np.int64), max(len(different), 1)
