"""What a measure is: one declared thing with its units, in words and in code."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import pandas as pd

from analysis import terms
from analysis.columns import UNITS
from analysis.compliance.readings import Pairs
from analysis.compliance.visits import Visits
from analysis.intake import Log
from analysis.policy import Policy
from analysis.terms import Exclusion, Tally

#: Columns that a measure's function gives; measure and month are added to them.
UNIT_COLUMNS = [name for name in UNITS.names if name not in ("measure", "month")]

#: Those of them that say which unit it is.
_WHICH = ("unit_id", "ward", "patient_id", "infusion_id", "line_id", "due_at")
_SOURCES = ("first_source", "last_source")


def _closed_list(*lists: type[StrEnum]) -> pd.CategoricalDtype:
    words = {str(word) for words in lists for word in words}
    return pd.CategoricalDtype(pd.Index(sorted({"", *words}), dtype="str"))


#: Every outcome and every reason for exclusion, as categories; empty for none.
WORDS = _closed_list(
    Exclusion, *(kind for name, kind in vars(terms).items() if name.endswith("Outcome"))
)
TALLY = _closed_list(Tally)


class Family(StrEnum):
    """What measures of one file are about, in the order of the report."""

    CHECKS = "checks"
    CONTINUITY = "continuity"
    LINES = "lines and sites"
    SET_UP = "set-up"
    RECORD = "record"
    HABITS = "charting habits"


@dataclass(frozen=True, slots=True, kw_only=True)
class Basis:
    """What measures are taken from; all frames are read, none is changed.

    Attributes
    ----------
    log : Log
        Canonical tables.
    ends : DataFrame
        Observed ends, as given by `observe`.
    gaps : DataFrame
        As given by `gaps_between_checks`.
    sets, cannulas : DataFrame
        As given by `line_segments`.
    runs, changes : DataFrame
        Syringes and what followed them, as given by `syringe_runs` and
        `syringe_changes`.
    lines : DataFrame
        Set-rate line at each row, as given by `expected_lines`.
    visits : Visits
        Checks that were made, as given by `visits_of`.
    pairs : Pairs
        Readings and the ones before them, as given by `pairs_of`.
    policy : Policy
        The limits in force.
    """

    log: Log
    ends: pd.DataFrame
    gaps: pd.DataFrame
    sets: pd.DataFrame
    cannulas: pd.DataFrame
    runs: pd.DataFrame
    changes: pd.DataFrame
    lines: pd.DataFrame
    visits: Visits
    pairs: Pairs
    policy: Policy


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """One measure.

    Attributes
    ----------
    name : str
        As in measures.csv.
    family : Family
        What it is about.
    label, unit, meaning : str
        A short name, what is counted (plural, or h), and one line on how.
    find : callable
        `Basis` to units: a frame of `UNIT_COLUMNS`, one row a unit.
    lacks : callable
        `Log` to the sentence that says why the export cannot give it; empty if it can.
    in_hours : bool
        Numerator and denominator are hours and not counts of units.
    per : float
        The figure is given per so many of the denominator: 100 for per cent.
    per_unit : str
        What it is given per, in words; empty for a proportion.
    is_habit : bool
        Describes how a ward charts; neither good nor bad, and never compared.
    from_readings : bool
        Rests on volumes read: what it finds depends on how fine they are read, so that
        months before and after a change of reading step are not compared.
    """

    name: str
    family: Family
    label: str
    unit: str
    meaning: str
    find: Callable[[Basis], pd.DataFrame]
    lacks: Callable[[Log], str] = lambda _log: ""
    in_hours: bool = False
    per: float = 100.0
    per_unit: str = ""
    is_habit: bool = False
    from_readings: bool = False


def lacks_columns(table: str, *columns: str) -> Callable[[Log], str]:
    """Give a `Measure.lacks` for a measure that needs one of some columns.

    Parameters
    ----------
    table : str
        Canonical table.
    *columns : str
        Any one of these with a value anywhere in the export is enough.

    Returns
    -------
    callable
        `Log` to a sentence, empty if one of the columns is there.
    """
    listed = " or ".join(columns)

    def lacks(log: Log) -> str:
        if log.columns[table] & set(columns):
            return ""
        return f"Not in this export: its {table} have no {listed}."

    return lacks


def no_units() -> pd.DataFrame:
    """Give a table of no units.

    Returns
    -------
    DataFrame
        Columns `UNIT_COLUMNS`.
    """
    return pd.DataFrame(columns=UNIT_COLUMNS)


def words(values: pd.Series) -> pd.Series:
    """Give outcomes or reasons as codes of the closed lists.

    Parameters
    ----------
    values : Series, shape (n,)
        Words of `WORDS`, as texts or as codes.

    Returns
    -------
    Series of category, shape (n,)
        Of the type `WORDS`.

    Raises
    ------
    ValueError
        A word stands in no list of `terms`.
    """
    if values.dtype == WORDS:
        return values
    said = values.astype("str")
    is_known = said.isin(WORDS.categories)
    if not is_known.all():
        unknown = sorted(set(said[~is_known].fillna("a missing value")))
        msg = f"{unknown} stand in no closed list of outcomes or exclusions"
        raise ValueError(msg)
    return said.astype(WORDS)


def tallied(
    counted: np.ndarray | pd.Series, excluded: np.ndarray | pd.Series
) -> pd.Categorical:
    """Give the tally of units.

    Parameters
    ----------
    counted, excluded : array or Series of bool, shape (n,)
        What is excluded is never counted.

    Returns
    -------
    Categorical, shape (n,)
        Of the type `TALLY`.
    """
    codes = np.where(counted, _PLACE[Tally.COUNTED], _PLACE[Tally.NOT_COUNTED])
    codes = np.where(excluded, _PLACE[Tally.EXCLUDED], codes).astype("int8")
    return pd.Categorical.from_codes(codes, dtype=TALLY)


_PLACE = {str(word): code for code, word in enumerate(TALLY.categories)}


def judged_units(
    units: pd.DataFrame, outcome: pd.Series, *, counted: str, reason: pd.Series
) -> pd.DataFrame:
    """Finish units of one count each: tally, numerator and denominator.

    Parameters
    ----------
    units : DataFrame, shape (n, ...)
        unit_id, ward, patient_id, infusion_id, line_id, due_at, first_source and
        last_source of each unit.
    outcome : Series of str or category, shape (n,)
        From the measure's closed list.
    counted : str
        The outcome that counts.
    reason : Series of str or category, shape (n,)
        Why a unit is excluded; empty where it is not.

    Returns
    -------
    DataFrame
        Columns `UNIT_COLUMNS`.
    """
    said, why = words(outcome).array, words(reason).array
    excluded = np.asarray(why != "")
    is_counted = np.asarray(said == counted) & ~excluded
    found = {
        **{name: units[name].array for name in (*_WHICH, *_SOURCES)},
        "outcome": said,
        "tally": tallied(is_counted, excluded),
        "reason": why,
        "numerator": np.where(excluded, np.nan, is_counted),
        "denominator": np.where(excluded, np.nan, 1.0),
    }
    return pd.DataFrame(found, index=units.index, columns=UNIT_COLUMNS, copy=False)
