"""Rows that are alike in every column, whatever file each stands in."""

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.intake.scan import Ints


def number_alike(tables: Sequence[Mapping[str, pd.Series]]) -> Ints:
    """Give rows a number each, the same to those alike in every column.

    Column by column, and exact: no row is put together to a text, which would take
    several times the memory of the file.

    Parameters
    ----------
    tables : sequence of mapping of str to Series of str
        The columns that rows of each table are compared by; a column that a table has
        not is empty in all its rows.

    Returns
    -------
    ndarray of int, shape (n,)
        One a row of all tables, one below the other, in order of first appearance.

    Examples
    --------
    >>> a = {"x": pd.Series(["1", "1"]), "y": pd.Series(["", "2"])}
    >>> number_alike([a, {"x": pd.Series(["1"])}]).tolist()
    [0, 1, 0]
    """
    sizes = [len(next(iter(t.values()))) if t else 0 for t in tables]
    names = sorted({name for table in tables for name in table})
    numbers: Ints = np.zeros(sum(sizes), dtype=np.int64)
    for name in names:
        parts = [
            table.get(name, pd.Series("", index=range(size), dtype="str"))
            for table, size in zip(tables, sizes, strict=True)
        ]
        codes, different = _codes(pd.concat(parts, ignore_index=True))
        if different > 1:
            numbers, _ = _codes(pd.Series(numbers * different + codes))
    return numbers


def _codes(column: pd.Series) -> tuple[npt.NDArray[np.int64], int]:
    codes, different = pd.factorize(column)
    return codes.astype(np.int64), len(different)
