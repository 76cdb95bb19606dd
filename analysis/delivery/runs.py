"""Rows of each infusion as runs: sums, shifts and first values without a group-by.

A table in order of infusion and time has the rows of an infusion together. Where each
begins is found once; the rest is arithmetic on whole columns, several times as fast as
grouping a column of text anew for each of them.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from analysis.delivery.batches import Array
from analysis.texts import codes_of


@dataclass(frozen=True, slots=True)
class Runs:
    """m runs among n rows.

    Attributes
    ----------
    begins : array of int, shape (m,)
        First row of each.
    sizes : array of int, shape (m,)
        Rows of each, at least one.
    """

    begins: Array
    sizes: Array

    @property
    def ends(self) -> Array:
        """Last row of each.

        Returns
        -------
        array of int, shape (m,)
            Positions.
        """
        return np.asarray(self.begins + self.sizes - 1)

    def each(self, values: Any) -> Any:
        """Give each row the value of its run.

        Parameters
        ----------
        values : array, shape (m,)
            One a run.

        Returns
        -------
        array, shape (n,)
            One a row.
        """
        return values.repeat(self.sizes)

    def of_rows(self, at: Array) -> Array:
        """Tell which run some rows are in.

        Parameters
        ----------
        at : array of int
            Rows.

        Returns
        -------
        array of int
            Runs, one a row.
        """
        return np.asarray(np.searchsorted(self.begins, at, side="right") - 1)

    def total(self, values: Array) -> Array:
        """Add up each run.

        Parameters
        ----------
        values : array, shape (n,)
            True counts as 1.

        Returns
        -------
        array, shape (m,)
            Sums.
        """
        numbers = values.astype("int64") if values.dtype == bool else values
        return np.add.reduceat(numbers, self.begins) if len(self.begins) else numbers

    def any(self, values: Array) -> Array:
        """Tell which runs have a row that is so.

        Parameters
        ----------
        values : array of bool, shape (n,)
            Rows.

        Returns
        -------
        array of bool, shape (m,)
            Runs.
        """
        return self.total(values) > 0

    def shift(self, values: Array, by: int, fill: Any = np.nan) -> Array:
        """Give each row the value of the row so many before it in its run.

        Parameters
        ----------
        values : array, shape (n,)
            Rows.
        by : int
            Negative: rows after it.
        fill : scalar
            Where the run has no such row.

        Returns
        -------
        array, shape (n,)
            Of the type of `values`.
        """
        out = np.full_like(values, fill)
        if by > 0:
            out[by:] = values[:-by]
            outside = [(self.begins + i)[self.sizes > i] for i in range(by)]
        else:
            out[:by] = values[-by:]
            outside = [(self.ends - i)[self.sizes > i] for i in range(-by)]
        out[np.concatenate(outside)] = fill
        return out

    def cumsum(self, values: Array) -> Array:
        """Add up along each run.

        Parameters
        ----------
        values : array of float, shape (n,)
            NaN makes what follows in its run NaN.

        Returns
        -------
        array of float, shape (n,)
            What each run gives alone, whatever else is in the table.

        Notes
        -----
        Compensated (Kahan 1965, any textbook of numerics), as a group-by adds up.
        """
        out = values.copy()
        at, more = self.begins, self.sizes - 1
        lost = np.zeros(len(at))
        while (has := more > 0).any():
            at, more, lost = at[has] + 1, more[has] - 1, lost[has]
            before = out[at - 1]
            add = values[at] - lost
            out[at] = before + add
            lost = out[at] - before - add
        return out

    def filled(self, values: Array) -> Array:
        """Fill gaps with the value before, else with the first of the run.

        Parameters
        ----------
        values : array of float, shape (n,)
            NaN is a gap.

        Returns
        -------
        array of float, shape (n,)
            NaN where the run has no value.
        """
        rows = np.arange(len(values))
        known = ~np.isnan(values)
        last = np.maximum.accumulate(np.where(known, rows, -1))
        begins = self.each(self.begins)
        first = self.each(self.first_row(known))
        # A run without any has its begin for its first, which is a gap too.
        return np.asarray(values[np.where(last >= begins, last, first)])

    def first_row(self, is_so: Array) -> Array:
        """Give the first row of each run that is so, else its first row.

        Parameters
        ----------
        is_so : array of bool, shape (n,)
            Rows.

        Returns
        -------
        array of int, shape (m,)
            Positions.
        """
        rows = np.where(is_so, np.arange(len(is_so)), len(is_so))
        if not len(self.begins):
            return self.begins
        first = np.minimum.reduceat(rows, self.begins)
        return np.where(first < len(is_so), first, self.begins)

    def last_row(self, is_so: Array) -> Array:
        """Give the last row that is so of each run that has one.

        Parameters
        ----------
        is_so : array of bool, shape (n,)
            Rows.

        Returns
        -------
        array of int, shape (at most m,)
            Positions.
        """
        if not len(self.begins):
            return self.begins
        rows = np.where(is_so, np.arange(len(is_so)), -1)
        last = np.maximum.reduceat(rows, self.begins)
        return np.asarray(last[last >= 0])


def by_ward_and_source(
    rows: pd.DataFrame, most: int
) -> Iterator[tuple[tuple[str, str], int, Array]]:
    """Find the rows of each ward and kind of reading, of a sample of its infusions.

    Parameters
    ----------
    rows : DataFrame
        ward, source and infusion_id, in order of infusion and time.
    most : int
        Infusions in a sample at the most, evenly spread over those of the ward in order
        of their ids: the order of the export plays no part.

    Yields
    ------
    (ward, source), readings, positions
        Sorted; all rows of that kind are counted, those of the sample are given.
    """
    ward, wards = pd.factorize(rows["ward"])
    source, sources = pd.factorize(rows["source"])
    pair = ward * len(sources) + source
    runs = runs_of(rows["infusion_id"])
    run = runs.each(np.arange(len(runs.begins)))
    named = {
        (str(one), str(other)): i * len(sources) + j
        for i, one in enumerate(wards)
        for j, other in enumerate(sources)
    }
    for key in sorted(named):
        mine = np.flatnonzero(pair == named[key])
        if not len(mine):
            continue
        begins = runs_of(run[mine])
        at = np.linspace(0, len(begins.begins) - 1, min(most, len(begins.begins)))
        chosen = np.zeros(len(begins.begins), dtype=bool)
        chosen[at.astype("int64")] = True
        yield key, len(mine), mine[begins.each(chosen)]


def runs_of(keys: pd.Series | Array) -> Runs:
    """Find where runs begin.

    Parameters
    ----------
    keys : Series or array, shape (n,)
        Rows of one run stand together and have the same key.

    Returns
    -------
    Runs
        In the order of the rows.
    """
    codes = codes_of(keys) if isinstance(keys, pd.Series) else keys
    if codes is not None:
        differs = codes[1:] != codes[:-1]
    else:
        cells = pa.array(keys, type=pa.large_string())
        differs = pc.not_equal(cells[1:], cells[:-1]).to_numpy(zero_copy_only=False)
    first = [0] if len(keys) else []
    begins = np.r_[first, np.flatnonzero(differs) + 1].astype("int64")
    return Runs(begins, np.diff(np.r_[begins, len(keys)]))


def in_order(rows: pd.DataFrame) -> pd.DataFrame:
    """Put rows in order of infusion and time.

    Parameters
    ----------
    rows : DataFrame
        infusion_id, checked_at.

    Returns
    -------
    DataFrame
        Rows of one moment stay as they are.
    """
    codes, different = pd.factorize(rows["infusion_id"])
    rank = np.empty(len(different), dtype="int64")
    rank[different.argsort()] = np.arange(len(different))
    codes = rank[codes]
    time = rows["checked_at"]
    if time.is_monotonic_increasing:
        return rows.take(np.argsort(codes, kind="stable"))
    return rows.take(np.lexsort((time.to_numpy("datetime64[us]"), codes)))
