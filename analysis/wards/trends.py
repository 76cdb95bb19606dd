"""Lines of months: each measure and rate of each ward, with what may be read from it.

The more months, the more can be said: a plain line from two, shift and crossings rules
from ten useful points, trial control limits from twelve, limits that stand from twenty.
A part of a line is judged by itself (see `analysis.wards.splits`).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from analysis.columns import TRENDS
from analysis.compliance import Measure
from analysis.policy import Policy
from analysis.terms import ALL, Chart, Shown, Signal, YesNo
from analysis.wards.control import FEWEST_SETTLED, FEWEST_TRIAL, control_limits
from analysis.wards.run_chart import find_runs

#: Name of the line of infusions with a delivery finding.
DELIVERY = "delivery_findings"

_DECIMALS = TRENDS["proportion"].decimals


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """What lines of months are made of: output tables of one audit.

    Attributes
    ----------
    comparisons, rates, infusions : DataFrame
        The output tables of these names.
    splits : DataFrame
        ward, month and split, as given by `reading_splits`.
    months : MultiIndex
        Months that the log holds of each ward, as given by `months_held`; others make
        no point.
    """

    comparisons: pd.DataFrame
    rates: pd.DataFrame
    infusions: pd.DataFrame
    splits: pd.DataFrame
    months: pd.MultiIndex


def follow_months(
    lines: Lines, declared: Sequence[Measure], policy: Policy
) -> pd.DataFrame:
    """Give every measure and rate of every ward as a line of months.

    Parameters
    ----------
    lines : Lines
        Tables of the audit.
    declared : sequence of Measure
        Says which measures are rates, charting habits (a plain line, whatever their
        number of months) or rest on volumes read (their lines are split where the way
        of reading changed).
    policy : Policy
        Gives the smallest numbers of patients and of units.

    Returns
    -------
    DataFrame
        The trends table, sorted by measure, ward and month. Months between the first
        and the last of a line without a figure have a row without one: the line has a
        gap there. Besides the measures: site reactions per day, and infusions with a
        delivery finding out of those evaluable. The line of delivery findings rests on
        volumes read, and so do the measures that say so of themselves.
    """
    points = pd.concat(
        [part for part in _points(lines, policy) if len(part)] or [_no_points()]
    )
    keys = pd.MultiIndex.from_frame(points[["ward", "month"]].astype("str"))
    points = points[keys.isin(lines.months)]
    if not len(points):
        return pd.DataFrame(columns=TRENDS.names)
    by_name = {measure.name: measure for measure in declared}
    per = {name for name, m in by_name.items() if m.per_unit}
    rates = per | set(lines.rates["measure"].astype("str"))
    read = {DELIVERY} | {name for name, m in by_name.items() if m.from_readings}
    habits = {name for name, m in by_name.items() if m.is_habit}
    split_at = _split_at(lines.splits)
    series = []
    for (measure, ward), own in _calendars(points):
        judged = _judge(
            own,
            split_at.get(ward, {}) if measure in read else {},
            is_rate=measure in rates,
            is_habit=measure in habits,
        )
        series.append({"measure": measure, "ward": ward} | judged)
    return _stacked(series)


_POINT = ["measure", "ward", "month", "numerator", "denominator", "is_shown"]


def _no_points() -> pd.DataFrame:
    return pd.DataFrame(columns=_POINT)


def _points(lines: Lines, policy: Policy) -> Iterator[pd.DataFrame]:
    """Give the points of all lines, also those too small to be shown."""
    table = lines.comparisons[lines.comparisons["period"] != ALL]
    table = table[table["denominator"] > 0].rename(columns={"period": "month"})
    yield table.assign(is_shown=table["shown"] == Shown.PROPORTION)[_POINT]
    rates = lines.rates[lines.rates["period"] != ALL]
    rates = rates[rates["exposure_days"] > 0].rename(
        columns={
            "period": "month",
            "events": "numerator",
            "exposure_days": "denominator",
        }
    )
    enough = rates["patients"] >= policy.smallest_group_patients
    yield rates.assign(is_shown=enough)[_POINT]
    yield _delivery_points(lines.infusions, policy)


def _delivery_points(infusions: pd.DataFrame, policy: Policy) -> pd.DataFrame:
    """Count infusions with a delivery finding out of those evaluable."""
    judged = infusions[infusions["evaluable"] == YesNo.YES]
    table = pd.DataFrame(
        {
            "ward": judged["ward"].astype("str"),
            "month": judged["month"].astype("str"),
            "patient_id": judged["patient_id"],
            "found": judged["kind"].fillna("") != "",
        }
    )
    levels = [table, table.assign(ward=ALL)]
    by = pd.concat(levels).groupby(["ward", "month"])
    found = pd.DataFrame(
        {
            "numerator": by["found"].sum(),
            "denominator": by.size(),
            "patients": by["patient_id"].nunique(),
        }
    ).reset_index()
    enough = (found["patients"] >= policy.smallest_group_patients) & (
        found["denominator"] >= policy.smallest_group_units
    )
    return found.assign(measure=DELIVERY, is_shown=enough)[_POINT]


def _split_at(splits: pd.DataFrame) -> dict[str, dict[str, str]]:
    """Give the splits of each ward by month; a split of any ward splits that of all."""
    every: dict[str, dict[str, str]] = {ALL: {}}
    for ward, month, words in splits[["ward", "month", "split"]].itertuples(
        index=False
    ):
        every.setdefault(ward, {})[month] = words
        before = every[ALL].get(month)
        said = f"{ward}: {words}"
        every[ALL][month] = f"{before}; {said}" if before else said
    return every


@dataclass(frozen=True, slots=True, kw_only=True)
class _Series:
    """One line: arrays of shape (months,), and a row at every month of its span."""

    months: list[str]
    counted: np.ndarray
    judged: np.ndarray
    is_shown: np.ndarray


def _calendars(points: pd.DataFrame) -> Iterator[tuple[tuple[str, str], _Series]]:
    """Give each line with a place for every month from its first to its last.

    Arrays and not frames: an audit has hundreds of lines of a few months each.
    """
    when = points["month"].astype("str").to_numpy().astype("datetime64[M]")
    first = when.min()
    place = (when - first).astype("int64")
    months = (first + np.arange(place.max() + 1)).astype("str").tolist()
    counted, judged = (
        points[name].to_numpy(float) for name in ("numerator", "denominator")
    )
    is_shown = points["is_shown"].to_numpy(dtype=bool)
    groups = points.reset_index(drop=True).groupby(["measure", "ward"], sort=True)
    for key, rows in groups.indices.items():
        measure, ward = map(str, tuple(key))  # type: ignore[arg-type]
        start, stop = place[rows].min(), place[rows].max() + 1
        grid = np.full((2, stop - start), np.nan)
        shown = np.zeros(stop - start, dtype=bool)
        grid[:, place[rows] - start] = counted[rows], judged[rows]
        shown[place[rows] - start] = is_shown[rows]
        yield (
            (measure, ward),
            _Series(
                months=months[start:stop],
                counted=grid[0],
                judged=grid[1],
                is_shown=shown,
            ),
        )


def _judge(
    line: _Series, breaks: dict[str, str], *, is_rate: bool, is_habit: bool
) -> dict[str, Any]:
    """Add parts, centre, limits, kind of chart and signals to one line."""
    split = _known_splits(line.months, breaks)
    part = np.cumsum([bool(words) for words in split]) + 1
    counted = np.where(line.is_shown, line.counted, np.nan)
    judged = np.where(line.is_shown, line.judged, np.nan)
    parts = [
        _part(
            counted[part == number],
            judged[part == number],
            is_rate=is_rate,
            is_plain=is_habit,
        )
        for number in range(1, part[-1] + 1)
    ]
    return {
        "month": line.months,
        "part": part,
        "split": split,
        "numerator": line.counted,
        "denominator": line.judged,
        "proportion": (counted / judged).round(_DECIMALS),
        **{name: np.concatenate([own[name] for own in parts]) for name in _JUDGED},
    }


#: What is said of a part of a line, month by month.
_JUDGED = ("centre", "low", "high", "chart", "signal")


def _stacked(series: Sequence[dict[str, Any]]) -> pd.DataFrame:
    """Put lines below each other."""
    sizes = [len(line["month"]) for line in series]
    return pd.DataFrame(
        {
            name: np.repeat([line[name] for line in series], sizes)
            if name in {"measure", "ward"}
            else np.concatenate([line[name] for line in series])
            for name in TRENDS.names
        },
        columns=TRENDS.names,
    )


def _known_splits(months: Sequence[str], breaks: dict[str, str]) -> list[str]:
    """Give the words of each month that begins a new part.

    A split in a month without a row of its own counts at the next one; one before the
    line begins splits nothing.
    """
    words = [""] * len(months)
    for month, text in breaks.items():
        place = next((i for i, own in enumerate(months) if own >= month), None)
        if place:
            words[place] = text
    return words


def judge_part(
    counted: np.ndarray, judged: np.ndarray, *, is_rate: bool, is_plain: bool = False
) -> pd.DataFrame:
    """Say how a line of months may be read, and what in it is more than chance.

    Parameters
    ----------
    counted, judged : array of float, shape (n,)
        Numerators and denominators in order of time; NaN is a gap.
    is_rate : bool
        Events over exposure, not units out of units.
    is_plain : bool
        Judge nothing, whatever the number of points.

    Returns
    -------
    DataFrame, shape (n, 5)
        centre, low, high, chart, signal. The run rules are taken about the median of a
        run chart and about the mean of a control chart (`find_runs`).
    """
    return pd.DataFrame(_part(counted, judged, is_rate=is_rate, is_plain=is_plain))


def _part(
    counted: np.ndarray, judged: np.ndarray, *, is_rate: bool, is_plain: bool
) -> dict[str, np.ndarray]:
    share = (counted / np.where(judged > 0, judged, np.nan)).round(_DECIMALS)
    points = int(np.isfinite(share).sum())
    centre, low, high = np.nan, np.full(len(share), np.nan), np.full(len(share), np.nan)
    chart = _plain_chart(points)
    signals: list[list[Signal]] = [[] for _ in share]
    if points >= FEWEST_TRIAL and not is_plain:
        chart = _control_chart(points, is_rate=is_rate)
        limits = control_limits(counted, judged, is_rate=is_rate)
        centre = round(limits.centre, _DECIMALS)
        low, high = limits.low.round(_DECIMALS), limits.high.round(_DECIMALS)
        for place in np.flatnonzero((share < low) | (share > high)):
            signals[place].append(Signal.OUTSIDE)
    elif points >= 2 and not is_plain:
        centre = round(float(np.nanmedian(share)), _DECIMALS)
    runs = find_runs(share, centre, is_mean=points >= FEWEST_TRIAL)
    if runs.is_judged:
        chart = Chart.RUN if chart is Chart.LINE else chart
        for place in np.flatnonzero(runs.in_long_run):
            signals[place].append(Signal.SHIFT)
        if runs.has_few_crossings:
            signals[np.flatnonzero(np.isfinite(share))[-1]].append(Signal.FEW_CROSSINGS)
    # A plain line has no centre: there is nothing to be on either side of.
    level = np.nan if chart is Chart.LINE else centre
    return {
        "centre": np.full(len(share), level),
        "low": low,
        "high": high,
        "chart": np.full(len(share), str(chart), dtype=object),
        "signal": np.array([";".join(found) for found in signals], dtype=object),
    }


def _plain_chart(points: int) -> Chart:
    return (Chart.NONE, Chart.POINT)[points] if points < 2 else Chart.LINE


def _control_chart(points: int, *, is_rate: bool) -> Chart:
    trial, settled = (Chart.TRIAL_U, Chart.U) if is_rate else (Chart.TRIAL_P, Chart.P)
    return settled if points >= FEWEST_SETTLED else trial
