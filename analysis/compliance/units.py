"""Units of measures to measures: counted + not counted + excluded = all units."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from analysis.columns import EXCLUSIONS, MEASURES, UNITS
from analysis.intervals import (
    FEWEST_CLUSTERS,
    anova_icc,
    few_clusters,
    hours_worth,
    wilson,
)
from analysis.lookup import written
from analysis.terms import ALL, BETWEEN_WARDS, Tally

_KEYS = ["measure", "ward", "period"]
_SUMS = ["units", "judged", "numerator", "denominator"]


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
    frames = [
        _in_order(frame).assign(measure=name)
        for name, frame in sorted(units.items())
        if len(frame)
    ]
    if not frames:
        return pd.DataFrame(columns=UNITS.names)
    every = pd.concat(frames, ignore_index=True)
    every["month"] = written(every["due_at"], "%Y-%m")
    return every[UNITS.names]


def _in_order(units: pd.DataFrame) -> pd.DataFrame:
    """Sort units; most measures give them sorted, and sorting texts is slow."""
    ids = units["unit_id"]
    if (ids.iloc[1:].array > ids.iloc[:-1].array).all():
        return units
    return units.sort_values(["unit_id", "due_at"], kind="stable")


def measure_units(
    units: pd.DataFrame, names: Sequence[str], in_hours: frozenset[str]
) -> pd.DataFrame:
    """Add up units by ward and period, with intervals that know of patients.

    Parameters
    ----------
    units : DataFrame
        As given by `stack_units`.
    names : sequence of str
        Measures in the order wanted; one without units gets a line that says so.
    in_hours : frozenset of str
        Measures whose numerator and denominator are hours.

    Returns
    -------
    DataFrame
        The measures table, for every ward and month and for all of them. Wilson's
        limits are widened for clustering in patients: counts by one intraclass
        correlation a measure, over all wards and months together; hours by the ratio
        estimator's variance over patients, taken for no smaller in a ward than in all.
        With fewer than ten patients in all there are no limits.

    Notes
    -----
    The design effect of a ward is sum n (1 + (n - 1) ICC) / sum n over its patients
    (Short MI et al. (2020) Stat Methods Med Res 29:111-121).
    """
    people = _by_patient(units)
    icc = {
        str(name): _icc(group, in_hours=str(name) in in_hours)
        for name, group in people.groupby("measure")
    }
    sums = pd.concat([_add_up(people, period, ward) for period, ward in _LEVELS])
    sums = _with_empty(sums, names)
    sums = sums[(sums["ward"] != BETWEEN_WARDS) & sums["measure"].isin(names)]
    place = {name: i for i, name in enumerate(names)}
    sums = sums.assign(
        place=sums["measure"].map(place),
        is_ward=sums["ward"] != ALL,
        is_month=sums["period"] != ALL,
    ).sort_values(["place", "is_ward", "ward", "is_month", "period"], kind="stable")
    return _with_limits(sums.reset_index(drop=True), icc, in_hours)


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
    excluded = units[(units["tally"] == Tally.EXCLUDED) & units["measure"].isin(names)]
    if not len(excluded):
        return pd.DataFrame(columns=EXCLUSIONS.names)
    counted = pd.concat(
        [
            _labelled(excluded, period, ward)
            .groupby([*_KEYS, "reason"], sort=False)
            .size()
            .rename("units")
            .reset_index()
            for period, ward in _LEVELS
        ]
    )
    place = {name: i for i, name in enumerate(names)}
    order = counted.assign(
        place=counted["measure"].map(place),
        is_ward=counted["ward"] != ALL,
        is_month=counted["period"] != ALL,
    ).sort_values(
        ["place", "is_ward", "ward", "is_month", "period", "reason"], kind="stable"
    )
    return order[EXCLUSIONS.names].reset_index(drop=True)


#: Which of month and ward are kept at each level of adding up.
_LEVELS = ((False, False), (True, False), (False, True), (True, True))


def _labelled(table: pd.DataFrame, by_month: bool, by_ward: bool) -> pd.DataFrame:  # noqa: FBT001 - a level
    out = table.assign(period=table["month"] if by_month else ALL)
    return out if by_ward else out.assign(ward=ALL)


def _by_patient(units: pd.DataFrame) -> pd.DataFrame:
    """Add up units by measure, ward, month and patient."""
    judged = units["tally"] != Tally.EXCLUDED
    table = units[["measure", "ward", "month", "patient_id"]].assign(
        units=1,
        judged=judged.astype("int64"),
        numerator=units["numerator"].astype("float64").where(judged, 0.0),
        denominator=units["denominator"].astype("float64").where(judged, 0.0),
    )
    keys = ["measure", "ward", "month", "patient_id"]
    return table.groupby(keys, sort=False, as_index=False)[_SUMS].sum()


def _add_up(people: pd.DataFrame, by_month: bool, by_ward: bool) -> pd.DataFrame:  # noqa: FBT001 - a level
    """Add patients up to groups, with the sums of squares that intervals need."""
    table = _labelled(people, by_month, by_ward)
    table = table.groupby([*_KEYS, "patient_id"], sort=False, as_index=False)[
        _SUMS
    ].sum()
    x, n = table["numerator"], table["denominator"]
    table = table.assign(
        patients=(table["judged"] > 0).astype("int64"), xx=x * x, xn=x * n, nn=n * n
    )
    columns = [*_SUMS, "patients", "xx", "xn", "nn"]
    return table.groupby(_KEYS, sort=False, as_index=False)[columns].sum()


def _icc(people: pd.DataFrame, *, in_hours: bool) -> float:
    """Give the intraclass correlation of one measure, over all wards and months."""
    sums = people.groupby("patient_id")[["numerator", "denominator"]].sum()
    if in_hours or (sums["denominator"] > 0).sum() < FEWEST_CLUSTERS:
        return np.nan
    icc = anova_icc(sums["numerator"].to_numpy(), sums["denominator"].to_numpy())
    # Units all alike, or one a patient, show no clustering to widen for.
    return 0.0 if np.isnan(icc) else icc


def _with_empty(sums: pd.DataFrame, names: Sequence[str]) -> pd.DataFrame:
    """Add a line for measures without a unit."""
    there = set(sums["measure"])
    empty = pd.DataFrame(
        [
            {"measure": name, "ward": ALL, "period": ALL}
            for name in names
            if name not in there
        ]
    )
    if not len(empty):
        return sums
    every = (
        pd.concat([sums, empty]) if len(sums) else empty.reindex(columns=sums.columns)
    )
    numbers = [*_SUMS, "patients", "xx", "xn", "nn"]
    return every.assign(**{name: every[name].fillna(0) for name in numbers})


def _with_limits(
    sums: pd.DataFrame, icc: dict[str, float], in_hours: frozenset[str]
) -> pd.DataFrame:
    """Add proportion, design effect, low and high; blank where nothing was judged."""
    some = sums["denominator"] > 0
    share = (sums["numerator"] / sums["denominator"]).where(some).astype("float64")
    is_hours = sums["measure"].isin(in_hours)
    effect = 1 + sums["measure"].map(icc).astype("float64") * (
        sums["nn"] / sums["denominator"].where(some) - 1
    )
    worth = (sums["denominator"] / effect).where(~is_hours, _hours(sums))
    worth = worth.where(some)
    filled = worth.fillna(0.0).to_numpy(float)
    part = share.fillna(0.0).to_numpy(float)
    low, high = wilson(np.minimum(part * filled, filled), filled)
    out = sums.assign(
        excluded=sums["units"] - sums["judged"],
        design_effect=effect.where(~is_hours & some),
        proportion=share,
        low=low,
        high=high,
    )
    whole = dict.fromkeys(["units", "excluded", "patients"], "int64")
    return out[MEASURES.names].astype(whole)


def _hours(sums: pd.DataFrame) -> pd.Series:
    """Give the effective number of each group of hours.

    A variance over few patients is often too small by chance, which is seen in the
    coverage of the intervals (`steadyfall evaluate --intervals`): the hours that make
    one independent unit are never taken for fewer in a group than in all together.
    """
    own = hours_worth(sums) * few_clusters(sums["patients"])
    whole = (sums["ward"] == ALL) & (sums["period"] == ALL)
    every = pd.Series(
        (sums["denominator"] / own)[whole].to_numpy(), index=sums.loc[whole, "measure"]
    )
    each = sums["measure"].map(every)
    together = sums["denominator"] / each
    return own.where(own <= together, together.fillna(own))
