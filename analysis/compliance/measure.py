"""What a measure is: one declared thing with its units, in words and in code."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import pandas as pd

from analysis.columns import UNITS
from analysis.compliance.visits import Visits
from analysis.intake import Log
from analysis.policy import Policy
from analysis.terms import Tally

#: Columns that a measure's function gives; measure and month are added to them.
UNIT_COLUMNS = [name for name in UNITS.names if name not in ("measure", "month")]


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


def judged_units(
    units: pd.DataFrame, outcome: pd.Series, *, counted: str, reason: pd.Series
) -> pd.DataFrame:
    """Finish units of one count each: tally, numerator and denominator.

    Parameters
    ----------
    units : DataFrame, shape (n, ...)
        unit_id, ward, patient_id, infusion_id, line_id, due_at, first_source and
        last_source of each unit.
    outcome : Series of str, shape (n,)
        From the measure's closed list.
    counted : str
        The outcome that counts.
    reason : Series of str, shape (n,)
        Why a unit is excluded; empty where it is not.

    Returns
    -------
    DataFrame
        Columns `UNIT_COLUMNS`.
    """
    excluded = reason != ""
    is_counted = (outcome == counted) & ~excluded
    tally = np.select(
        [excluded, is_counted],
        [str(Tally.EXCLUDED), str(Tally.COUNTED)],
        default=str(Tally.NOT_COUNTED),
    )
    one = pd.Series(1.0, index=units.index)
    return units.assign(
        outcome=outcome,
        tally=tally,
        reason=reason,
        numerator=is_counted.astype("float64").mask(excluded),
        denominator=one.mask(excluded),
    )[UNIT_COLUMNS]
