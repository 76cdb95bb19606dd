"""Units of measures to measures: counted + not counted + excluded = all units."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from analysis.columns import EXCLUSIONS, MEASURES, UNITS
from analysis.intervals import effective_number, wilson
from analysis.terms import ALL, BETWEEN_WARDS, Tally

#: Columns that a measure's function gives; measure and month are added here.
UNIT_COLUMNS = [name for name in UNITS.names if name not in ("measure", "month")]


def stack_units(units: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Put the units of all measures together, with measure and month.

    Parameters
    ----------
    units : dict of str to DataFrame
        Units of each measure, columns `UNIT_COLUMNS`; due_at decides the month.

    Returns
    -------
    DataFrame
        Columns of the ``units`` table, sorted by measure and unit.
    """
    frames = [frame.assign(measure=name) for name, frame in units.items() if len(frame)]
    if not frames:
        return pd.DataFrame(columns=UNITS.names)
    every = pd.concat(frames, ignore_index=True)
    every["month"] = every["due_at"].dt.strftime("%Y-%m")
    every = every.sort_values(["measure", "unit_id", "due_at"], kind="stable")
    return every[UNITS.names].reset_index(drop=True)


def measure_units(
    units: pd.DataFrame, names: Sequence[str], in_hours: frozenset[str]
) -> pd.DataFrame:
    """Add up units by ward and period, with Wilson's interval.

    Parameters
    ----------
    units : DataFrame
        As given by `stack_units`.
    names : sequence of str
        Measures in the order wanted; one without units gets a line that says so.
    in_hours : frozenset of str
        Measures whose numerator and denominator are hours: Wilson's formula is given
        the effective number of `effective_number`.

    Returns
    -------
    DataFrame
        The measures table, for every ward and month and for all of them. Intervals
        take no account of clustering in patients but for measures in hours.
    """
    rows = [
        _measure(name, ward, period, group, in_hours)
        for name in names
        for ward, period, group in _groups(units[units["measure"] == name])
        if ward != BETWEEN_WARDS
    ]
    return _with_limits(pd.DataFrame(rows, columns=[*MEASURES.names, "_worth"]))


def count_exclusions(units: pd.DataFrame, names: Sequence[str]) -> pd.DataFrame:
    """Count excluded units by reason, ward and period.

    Parameters
    ----------
    units : DataFrame
        As given by `stack_units`.
    names : sequence of str
        Measures in the order wanted.

    Returns
    -------
    DataFrame
        The exclusions table.
    """
    excluded = units[units["tally"] == Tally.EXCLUDED]
    rows = [
        (name, ward, period, reason, count)
        for name in names
        for ward, period, group in _groups(excluded[excluded["measure"] == name])
        for reason, count in group["reason"].value_counts().sort_index().items()
    ]
    return pd.DataFrame(rows, columns=EXCLUSIONS.names)


def _groups(units: pd.DataFrame) -> list[tuple[str, str, pd.DataFrame]]:
    """Give all units, then each month, then each ward's own, in a fixed order."""
    found = [(ALL, ALL, units)]
    found += [(ALL, str(m), g) for m, g in units.groupby("month")]
    for ward, group in units.groupby("ward"):
        found.append((str(ward), ALL, group))
        found += [(str(ward), str(m), g) for m, g in group.groupby("month")]
    return found


def _measure(
    name: str, ward: str, period: str, units: pd.DataFrame, in_hours: frozenset[str]
) -> dict[str, object]:
    judged = units[units["tally"] != Tally.EXCLUDED]
    numerator, denominator = judged["numerator"].sum(), judged["denominator"].sum()
    worth = denominator
    if name in in_hours:
        worth = effective_number(
            judged["numerator"], judged["denominator"], judged["patient_id"]
        )
    return {
        "measure": name,
        "ward": ward,
        "period": period,
        "units": len(units),
        "numerator": numerator,
        "denominator": denominator,
        "excluded": len(units) - len(judged),
        "patients": judged["patient_id"].nunique(),
        "design_effect": np.nan,
        "_worth": worth,
    }


def _with_limits(measures: pd.DataFrame) -> pd.DataFrame:
    """Add proportion, low and high; blank where nothing was judged."""
    some = measures["denominator"] > 0
    measures["proportion"] = (measures["numerator"] / measures["denominator"]).where(
        some
    )
    worth = measures["_worth"].astype("float64").where(some).fillna(0.0).to_numpy()
    share = measures["proportion"].fillna(0.0).to_numpy(float)
    measures["low"], measures["high"] = wilson(np.minimum(share * worth, worth), worth)
    return measures[MEASURES.names]
