"""How many patients of an extract can be found by whoever holds the charts.

Nobody needs the key of the pseudonyms for that: who has the log can make the rows of
every patient from it, and looks for the same rows in the extract. A patient whose rows
are like no other patient's is found.
"""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from analysis.columns import Kind, Table
from analysis.research.coarsen import OTHER
from analysis.research.columns import EXTRACT_PERIODS, EXTRACT_SITES
from analysis.terms import SiteEnd

#: Columns that stand for a name.
_KEYS: Final = ("site", "patient")

#: What somebody may know who knows no times.
WORDS: Final = {
    "sites": ("ward", "location", "drugs", "material"),
    "periods": ("ward", "drugs", "diluent"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Linkage:
    """How far an extract keeps its patients apart.

    Attributes
    ----------
    patients : int
        Patients in it.
    alone_by_rows : int
        Of them, those whose rows taken together, hours and all, are like no other's.
    alone_by_days : int
        The same if all hours were rounded to whole days.
    alone_by_words : int
        Those whose words alone, all rows taken together, are like no other's.
    rows : int
        Rows in it, of both tables.
    rows_of_few : int
        Of them, those whose words together fewer patients have in that table than
        each combination of ward, location and drugs.
    sites : int
        Sites in it.
    at_ends_of_log : int
        Of them, those in place before the log began, or watched to its end: whoever
        knows its first and last day can date them.
    other : dict of str to float
        Share of sites (of diluent: of periods) whose word is ``other``.
    """

    patients: int
    alone_by_rows: int
    alone_by_days: int
    alone_by_words: int
    rows: int
    rows_of_few: int
    sites: int
    at_ends_of_log: int
    other: dict[str, float]


def linkage(sites: pd.DataFrame, periods: pd.DataFrame, least: int) -> Linkage:
    """Count the patients of an extract who are like no other.

    Parameters
    ----------
    sites, periods : DataFrame
        Tables of an extract.
    least : int
        Patients that each combination of ward, location and drugs has.

    Returns
    -------
    Linkage
        As whoever holds the exports would find them, numbers taken to the decimals
        that are written.
    """
    owner = sites.set_index("site")["patient"]
    periods = periods.assign(patient=periods["site"].map(owner))
    tables = ((sites, EXTRACT_SITES), (periods, EXTRACT_PERIODS))
    every = [_hashed(frame, table, table.names) for frame, table in tables]
    daily = [
        _hashed(in_whole_days(frame), table, table.names) for frame, table in tables
    ]
    words = [_hashed(frame, t, WORDS[t.name]) for frame, t in tables]
    distinct = [each.drop_duplicates() for each in words]
    shared = pd.concat(
        [
            each["row"].map(once["row"].value_counts())
            for each, once in zip(words, distinct, strict=True)
        ]
    )
    is_at_an_end = (sites["entry_h"] > 0) | (
        sites["gone"] == SiteEnd.END_OF_OBSERVATION
    )
    return Linkage(
        patients=int(owner.nunique()),
        alone_by_rows=_alone(every),
        alone_by_days=_alone(daily),
        alone_by_words=_alone(distinct),
        rows=len(shared),
        rows_of_few=int((shared < least).sum()),
        sites=len(sites),
        at_ends_of_log=int(is_at_an_end.sum()),
        other={
            **{name: _share(sites[name]) for name in WORDS["sites"]},
            "diluent": _share(periods["diluent"]),
        },
    )


def in_whole_days(frame: pd.DataFrame) -> pd.DataFrame:
    """Round hours to whole days.

    Parameters
    ----------
    frame : DataFrame
        A table of an extract; hours are in the columns whose names end in ``_h``.

    Returns
    -------
    DataFrame
        Hours are multiples of 24; nothing else is changed.
    """
    hours = [str(name) for name in frame if str(name).endswith("_h")]
    return frame.assign(**{name: (frame[name] / 24).round() * 24 for name in hours})


def _hashed(frame: pd.DataFrame, table: Table, names: Collection[str]) -> pd.DataFrame:
    """Give each row as one number, with its patient."""
    told = {
        column.name: frame[column.name].round(column.decimals)
        if column.kind is Kind.NUMBER
        else frame[column.name]
        for column in table.columns
        if column.name in names and column.name not in _KEYS
    }
    rows = pd.DataFrame({"table": table.name, **told}, index=frame.index)
    number = pd.util.hash_pandas_object(rows, index=False, categorize=True)
    return pd.DataFrame({"patient": frame["patient"], "row": number})


def _alone(parts: list[pd.DataFrame]) -> int:
    """Count patients whose rows are those of nobody else, in whatever order."""
    rows = pd.concat(parts)
    # Sums of 64-bit numbers: that two different sets share one is out of the question.
    sums = rows.groupby("patient", sort=False)["row"].sum().to_numpy(np.uint64)
    _, counts = np.unique(sums, return_counts=True)
    return int((counts == 1).sum())


def _share(words: pd.Series) -> float:
    return float((words == OTHER).mean()) if len(words) else 0.0
