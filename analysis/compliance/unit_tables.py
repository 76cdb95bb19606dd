"""Units of all measures, each measure's in a table of its own.

A log of millions of rows has a dozen units a row. Measures that ask the same of every
check share the columns that say which check it was, as long as nobody puts them under
each other; and what tally says is not kept a second and a third time as numbers.
"""

from collections.abc import Iterable, Iterator, Mapping
from types import MappingProxyType
from typing import Self

import numpy as np
import pandas as pd

from analysis.columns import UNITS
from analysis.compliance.coded import blank, in_order, together
from analysis.compliance.measure import TALLY, UNIT_COLUMNS, words
from analysis.terms import Tally

_NUMBERS = ("numerator", "denominator")


class Units:
    """Units of all measures, a table a measure.

    The same units give the same tables whether they were found or read back: `found`
    and `read` make it.

    Parameters
    ----------
    held : mapping of str to DataFrame
        By measure, none empty; numbers that tally says are left out.
    nothing : DataFrame
        The table of a measure without units.
    """

    def __init__(self, held: Mapping[str, pd.DataFrame], nothing: pd.DataFrame) -> None:
        self._held = MappingProxyType({**held})
        self._nothing = nothing

    @classmethod
    def found(cls, units: Iterable[tuple[str, pd.DataFrame]]) -> Self:
        """Hold the units that measures find.

        Parameters
        ----------
        units : iterable of (str, DataFrame)
            Name and units of each measure, columns `UNIT_COLUMNS`; taken one after the
            other, so that not all of them are there in full at once.

        Returns
        -------
        Units
            Measures in the order given, each one's units sorted by unit. due_at decides
            the month. Texts are categorical but for unit_id.
        """
        held = {name: _small(name, frame) for name, frame in units if len(frame)}
        return cls(held, pd.DataFrame(columns=UNITS.names))

    @classmethod
    def read(cls, table: pd.DataFrame) -> Self:
        """Hold units that stand in one table.

        Parameters
        ----------
        table : DataFrame
            The ``units`` table.

        Returns
        -------
        Units
            Measures in the order they first stand in `table`, and each one's units in
            the order they stand in it.
        """
        parts = table.groupby("measure", sort=False, observed=True)
        return cls({str(name): part for name, part in parts}, table.iloc[:0])

    def and_of(self, name: str, units: pd.DataFrame) -> Self:
        """Give these units and those of one measure more, which comes last.

        Parameters
        ----------
        name : str
            A measure that has none here.
        units : DataFrame
            As for `found`.

        Returns
        -------
        Units
            All of them.
        """
        more = {name: _small(name, units)} if len(units) else {}
        return type(self)({**self._held, **more}, self._nothing)

    def __len__(self) -> int:
        """Count the units of all measures.

        Returns
        -------
        int
            Excluded ones among them.
        """
        return sum(map(len, self._held.values()))

    def of(self, measure: str) -> pd.DataFrame:
        """Give the units of a measure.

        Parameters
        ----------
        measure : str
            Its name.

        Returns
        -------
        DataFrame
            Columns of the ``units`` table; no row where there are none.
        """
        held = self._held.get(measure)
        return self._nothing if held is None else _whole(held)

    def tables(self) -> Iterator[pd.DataFrame]:
        """Give the table of each measure that has units, one after the other.

        Returns
        -------
        iterator of DataFrame
            As `of` gives it; whoever keeps none of them needs memory for one.
        """
        return map(_whole, self._held.values())

    def together(self) -> pd.DataFrame:
        """Put the units of all measures under each other.

        Returns
        -------
        DataFrame
            The ``units`` table. Made anew each time, and of many times the size of what
            is held.
        """
        tables = [*self.tables()]
        if not tables:
            return self._nothing
        found = {
            name: together([part[name] for part in tables]) for name in UNITS.names
        }
        return pd.DataFrame(found, copy=False)


def _small(name: str, units: pd.DataFrame) -> pd.DataFrame:
    """Sort units, and leave out what tally says."""
    units = in_order(units)
    columns = {column: units[column].array for column in UNIT_COLUMNS}
    columns["unit_id"] = units["unit_id"].astype("str").array
    for column in ("outcome", "reason"):
        columns[column] = words(units[column]).array
    if _is_said(units):
        for column in _NUMBERS:
            del columns[column]
    codes = np.zeros(len(units), dtype="int8")
    columns["measure"] = pd.Categorical.from_codes(codes, pd.Index([name], dtype="str"))
    columns["month"] = months_of(units["due_at"]).array
    names = [column for column in UNITS.names if column in columns]
    return pd.DataFrame(columns, columns=names, copy=False)


#: What a unit of one count adds, by the code of its tally: counted and judged.
_SAID = {
    column: np.array([value.get(word, np.nan) for word in TALLY.categories])
    for column, value in zip(
        _NUMBERS,
        (
            {Tally.COUNTED: 1.0, Tally.NOT_COUNTED: 0.0},
            {Tally.COUNTED: 1.0, Tally.NOT_COUNTED: 1.0},
        ),
        strict=True,
    )
}


def _is_said(units: pd.DataFrame) -> bool:
    """Tell whether numerator and denominator are what tally says, in every unit."""
    if units["tally"].dtype != TALLY:
        return False
    codes = units["tally"].array.codes
    return all(
        np.array_equal(
            units[column].to_numpy("float64"), said.take(codes), equal_nan=True
        )
        for column, said in _SAID.items()
    )


def _whole(held: pd.DataFrame) -> pd.DataFrame:
    """Give the table of which `_small` left something out."""
    if held["tally"].dtype != TALLY or set(_NUMBERS) <= set(held.columns):
        return held
    codes = held["tally"].array.codes
    numbers = {column: said.take(codes) for column, said in _SAID.items()}
    return held.assign(**numbers)[UNITS.names]


def months_of(times: pd.Series) -> pd.Series:
    """Give the month of each time, YYYY-MM, as codes.

    Parameters
    ----------
    times : Series of datetime64, shape (n,)
        In the policy's zone.

    Returns
    -------
    Series of category, shape (n,)
        In order of time; missing where the time is.
    """
    first, last = (times.agg(end) for end in ("min", "max"))
    if pd.isna(first):
        unknown: pd.Series = blank(times.index).where(times.notna())
        return unknown
    held = pd.period_range(first.tz_localize(None), last.tz_localize(None), freq="M")
    # Midnight may come twice, or not at all, where clocks change on the first.
    begins = held.start_time.tz_localize(
        times.dt.tz, ambiguous=np.ones(len(held), bool), nonexistent="shift_forward"
    )
    codes = begins.searchsorted(times.array, side="right") - 1
    codes[times.isna()] = -1
    kind = pd.CategoricalDtype(pd.Index(held.strftime("%Y-%m"), dtype="str"))
    return pd.Series(pd.Categorical.from_codes(codes, dtype=kind), index=times.index)
