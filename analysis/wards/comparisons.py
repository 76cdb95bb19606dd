"""Each ward beside the others and beside its own month before, as far as chance allows.

Small wards make extreme proportions. Nothing is ranked; "different" is said of a ward
only where it lies outside limits that know how much wards spread anyway.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from analysis.columns import COMPARISONS
from analysis.compliance import Measure
from analysis.intervals import Proportion, newcombe
from analysis.policy import Policy
from analysis.terms import ALL, Shown
from analysis.wards.funnel import (
    FEWEST_FOR_FUNNEL,
    FEWEST_FOR_SPREAD,
    arcsine,
    is_outside,
    limit_pair,
    moment_tau_squared,
    ward_sizes,
    wide_pair,
)

_DECIMALS = COMPARISONS["proportion"].decimals


def compare_wards(
    measures: pd.DataFrame,
    policy: Policy,
    declared: Sequence[Measure] = (),
    splits: pd.DataFrame | None = None,
    months: pd.MultiIndex | None = None,
) -> pd.DataFrame:
    """Say of each ward and period what may be shown, and whether it stands out.

    Parameters
    ----------
    measures : DataFrame
        The measures table.
    policy : Policy
        Gives the smallest numbers of patients and of units.
    declared : sequence of Measure
        Says which measures are hours, charting habits (never compared) or rest on
        volumes read. Others are taken for counts.
    splits : DataFrame, optional
        ward, month and split of changes of measurement (`reading_splits`): no change
        from the month before is given across one, where the measure rests on volumes
        read.
    months : MultiIndex, optional
        Months that the log holds of each ward (`months_held`): a few days of overlap
        are no month before, nor is a month that was not exported. Without it, all are.

    Returns
    -------
    DataFrame
        The comparisons table. Proportion and limits are blank unless shown; change is
        blank without a month before, and with a gap between the two.

    Notes
    -----
    Limits of hours are reckoned by the independent units the hours are worth. The
    limits of a change take the two months as independent; patients of both make them a
    little too wide.
    """
    table = measures[[n for n in COMPARISONS.names if n in measures]]
    table = table.reset_index(drop=True)
    table["shown"] = _shown(measures, policy)
    hidden = table["shown"] != Shown.PROPORTION
    table.loc[hidden, ["proportion", "low", "high"]] = np.nan
    by_name = {measure.name: measure for measure in declared}
    compared = table[~_is(table, {n for n, m in by_name.items() if m.is_habit})]
    read = {name for name, measure in by_name.items() if measure.from_readings}
    changes = _changes(compared, months)
    if splits is not None:
        changes = changes.loc[
            ~(_is_split(compared, splits) & _is(compared, read)).reindex(changes.index)
        ]
    hours = {name for name, measure in by_name.items() if measure.in_hours}
    table = table.join(changes).join(_limits(compared, hours))
    return table[COMPARISONS.names].sort_values(
        ["measure", "period", "ward"], kind="stable", ignore_index=True
    )


def _is(table: pd.DataFrame, names: set[str]) -> pd.Series:
    return table["measure"].isin(names)


def _shown(measures: pd.DataFrame, policy: Policy) -> np.ndarray:
    judged = measures["units"] - measures["excluded"]
    few = (measures["patients"] < policy.smallest_group_patients) | (
        judged < policy.smallest_group_units
    )
    nothing = ~(measures["denominator"] > 0)
    return np.select(
        [nothing, few],
        [str(Shown.NOTHING_DUE), str(Shown.COUNTS_ONLY)],
        default=str(Shown.PROPORTION),
    )


def _is_split(table: pd.DataFrame, splits: pd.DataFrame) -> np.ndarray:
    """Mark wards' months in which the way of reading changed; any ward's, for all."""
    every = pd.concat([splits[["ward", "month"]], splits[["month"]].assign(ward=ALL)])
    broken = pd.MultiIndex.from_frame(every[["ward", "month"]])
    return pd.MultiIndex.from_frame(table[["ward", "period"]]).isin(broken)


def _changes(table: pd.DataFrame, held: pd.MultiIndex | None) -> pd.DataFrame:
    """Give the change from the month before with Newcombe's limits."""
    is_month = (table["period"] != ALL).to_numpy()
    if held is not None:
        own = pd.MultiIndex.from_frame(table[["ward", "period"]])
        is_month = is_month & own.isin(held)
    months = table[is_month & (table["shown"] == Shown.PROPORTION)]
    keys = pd.MultiIndex.from_frame(months[["measure", "ward", "period"]])
    before = (months["period"].astype("str").to_numpy()).astype("datetime64[M]") - 1
    earlier = months[["proportion", "low", "high"]].astype("float64").set_axis(keys)
    there = months.assign(period=before.astype("str"))[["measure", "ward", "period"]]
    earlier = earlier.reindex(pd.MultiIndex.from_frame(there)).set_axis(months.index)
    low, high = newcombe(_proportion(months), _proportion(earlier))
    return pd.DataFrame(
        {
            "change": months["proportion"].astype("float64") - earlier["proportion"],
            "change_low": low,
            "change_high": high,
        },
        index=months.index,
        dtype="float64",
    )


def _proportion(table: pd.DataFrame) -> Proportion:
    share, low, high = (
        table[name].to_numpy(float) for name in ("proportion", "low", "high")
    )
    return Proportion(share, low, high)


def _limits(table: pd.DataFrame, hours: set[str]) -> pd.DataFrame:
    """Give the 99.8 % funnel limits in force, and whether a ward is outside them."""
    wards = table[table["ward"] != ALL]
    shown = wards[wards["shown"] == Shown.PROPORTION]
    shown = shown.assign(size=ward_sizes(shown, _is(shown, hours)))
    shown = shown[(shown["size"] > 0) & shown["proportion"].between(0, 1)]
    keys = ["measure", "period"]
    by = shown.groupby(keys, sort=False)
    count = by["size"].transform("size")
    shown, count = shown[count >= FEWEST_FOR_FUNNEL], count[count >= FEWEST_FOR_FUNNEL]
    if not len(shown):
        return pd.DataFrame(columns=["limit_low", "limit_high", "different"])
    sums = wards.groupby(keys)[["numerator", "denominator"]].sum()
    centre = (sums["numerator"] / sums["denominator"]).astype("float64")
    spread = {
        key: moment_tau_squared(
            arcsine(part["proportion"].to_numpy(float)), 0.25 / part["size"].to_numpy()
        )
        for key, part in shown[count >= FEWEST_FOR_SPREAD].groupby(keys, sort=False)
    }
    where = pd.MultiIndex.from_frame(shown[keys])
    size, target = shown["size"].to_numpy(float), centre.reindex(where).to_numpy()
    tau_squared = np.array([spread.get(key, np.nan) for key in where])
    low, high = (
        np.where(np.isnan(tau_squared), exact, wide)
        for exact, wide in zip(
            limit_pair(size, target),
            wide_pair(size, target, np.nan_to_num(tau_squared)),
            strict=True,
        )
    )
    found = shown.assign(
        proportion=shown["proportion"].astype("float64").round(_DECIMALS),
        limit_low=low.round(_DECIMALS),
        limit_high=high.round(_DECIMALS),
    )
    found["different"] = is_outside(found).where(count >= FEWEST_FOR_SPREAD)
    return found[["limit_low", "limit_high", "different"]]
