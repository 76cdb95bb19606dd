"""The expected line: what the driver was set to deliver, in true elapsed hours.

The set-rate line is v(t) = max(0, V0 - integral of r). A charted rate holds until the
next; it steps at a rate_change row, and a step first seen at a plain check lies
uniformly in the gap before it. Between pause and resume the rate is 0. Without any rate
the prescribed line, V0 over the planned duration, stands in.
"""

import numpy as np
import pandas as pd

from analysis.delivery.runs import Runs, in_order, runs_of
from analysis.intake.infusions import STEPS_HERE
from analysis.policy import Policy
from analysis.terms import Entry
from analysis.texts import spread

SET_RATE = "set rate"
PRESCRIBED = "prescribed"
_BASES = pd.Index([SET_RATE, PRESCRIBED], dtype="str")
_SOURCES = pd.Index(["remaining", "delivered", ""], dtype="str")

#: A reading does not rise by more unless the syringe is another [mL]: one mark of a
#: scale read in whole millilitres.
_MORE_ML = 1.0

_SECOND = np.timedelta64(1, "s")

#: What the line takes from the rows, and from the infusions.
_CHARTED = [
    "infusion_id",
    "ward",
    "checked_at",
    "entry",
    "set_rate_ml_h",
    "volume_remaining_ml",
    "volume_delivered_ml",
    "is_paused_after",
]
_KNOWN = [
    "ward",
    "started_at",
    "ended_at",
    "first_row",
    "has_start_row",
    "start_volume_ml",
    "planned_duration_h",
]


def expected_lines(
    checks: pd.DataFrame, infusions: pd.DataFrame, policy: Policy
) -> pd.DataFrame:
    """Give the expected line at every row of the check log.

    Parameters
    ----------
    checks : DataFrame
        Accepted rows in order of time.
    infusions : DataFrame
        One row an infusion, indexed by infusion_id.
    policy : Policy
        Gives the planned duration where none is charted.

    Returns
    -------
    DataFrame
        Rows of `checks` that belong to an infusion, with their labels, in order of
        infusion and time: infusion_id, ward,
        source (remaining or delivered, empty without a volume), elapsed_h, rate_ml_h
        (in force just before the row), delivered_ml (by the line, not capped),
        step_variance_ml2 (from rate steps of unknown time), base_ml (volume the line
        starts from; 0 where only delivered volumes are known), is_floored (the line
        stops at an empty syringe), observed_ml, expected_ml, residual_ml (observed
        minus expected: positive is behind), basis (set rate or prescribed),
        is_doubtful_rate, is_zero_rate (charted, but no driver runs at it), is_after_end
        (charted after the end of the run, whose driver it cannot show). NaN where
        something is not recorded.
    """
    rows = in_order(checks.loc[checks["infusion_id"] != "", _CHARTED])
    runs = runs_of(rows["infusion_id"])
    known = infusions[_KNOWN].reindex(rows["infusion_id"].iloc[runs.begins])
    started = runs.each(_instants(known["started_at"]))
    at = _instants(rows["checked_at"])
    elapsed = np.maximum((at - started) / _SECOND / 3600, 0)
    out = rows[["infusion_id", "ward", "checked_at", "entry"]].copy()
    out.insert(2, "elapsed_h", elapsed)
    out["is_start"] = at <= started
    out["is_after_end"] = at > runs.each(_charted_end(rows, runs, known))
    charted = rows["set_rate_ml_h"].to_numpy(float)
    out["is_zero_rate"] = charted == 0
    charted = np.where(charted > 0, charted, np.nan)
    doubtful = _doubtful_rates(runs, elapsed, charted, rows)
    out["is_doubtful_rate"] = doubtful
    rate = runs.filled(np.where(doubtful, np.nan, charted))
    has_rate = ~np.isnan(rate)
    out["basis"] = spread(_BASES.array, (~has_rate).astype("int64"))
    prescribed = runs.each(_prescribed_rate(known, policy).to_numpy(float))
    rate = np.where(has_rate, rate, prescribed)
    _add_delivered(out, runs, rate, rows["is_paused_after"].to_numpy(bool))
    _add_residuals(out, runs, rows, known)
    return out


def _instants(times: pd.Series) -> np.ndarray:
    return times.to_numpy("datetime64[us]")


def delivered_by_end(lines: pd.DataFrame, infusions: pd.DataFrame) -> pd.Series:
    """Give the volume that the line has delivered by the end of each infusion.

    Parameters
    ----------
    lines : DataFrame
        As given by `expected_lines`.
    infusions : DataFrame
        One row an infusion, with started_at and ended_at.

    Returns
    -------
    Series of float
        mL by infusion_id, not capped at the volume in the syringe: at the end that is
        charted, else at the last row.
    """
    own = lines[["infusion_id", "elapsed_h", "delivered_ml", "rate_ml_h"]]
    own = own[~lines["is_after_end"]]
    last = own.iloc[runs_of(own["infusion_id"]).ends].set_index("infusion_id")
    known = infusions[["started_at", "ended_at"]].reindex(last.index)
    hours = (known["ended_at"] - known["started_at"]).dt.total_seconds() / 3600
    more = (hours - last["elapsed_h"]).clip(lower=0).fillna(0)
    return last["delivered_ml"] + more * last["rate_ml_h"]


def _charted_end(rows: pd.DataFrame, runs: Runs, known: pd.DataFrame) -> np.ndarray:
    """Give the end row's time, else ended_at; NaT where neither is charted."""
    charted = known["ended_at"].where(known["ended_at"] >= known["started_at"])
    ends = _instants(charted).copy()
    at = np.flatnonzero(rows["entry"] == Entry.END)
    run = np.searchsorted(runs.begins, at, side="right") - 1
    # Of several the last stays.
    ends[run] = _instants(rows["checked_at"].iloc[at])
    return ends


def _prescribed_rate(infusions: pd.DataFrame, policy: Policy) -> pd.Series:
    planned = infusions["planned_duration_h"].fillna(
        policy.by_ward("planned_duration_h", infusions["ward"])
    )
    start = infusions["start_volume_ml"]
    return start.where(start > 0) / planned


def _doubtful_rates(
    runs: Runs, hours: np.ndarray, charted: np.ndarray, rows: pd.DataFrame
) -> np.ndarray:
    """Mark a rate on one row only that the volumes do not follow.

    The row's neighbours (on the first or last row: the next two on one side) agree on
    another rate, and the volume fell by that one.
    """
    doubtful = np.zeros(len(rows), dtype=bool)
    has = ~np.isnan(charted)
    runs = runs_of(runs.each(np.arange(len(runs.begins)))[has])
    rate, hours = charted[has], hours[has]

    def either(values: np.ndarray, one: int, other: int) -> np.ndarray:
        near = runs.shift(values, one)
        return np.where(np.isnan(near), runs.shift(values, other), near)

    left, right = either(rate, 1, -2), either(rate, -1, 2)
    alone = (left == right) & (rate != left)
    if not alone.any():
        return doubtful
    # Volume remaining up to a constant of the infusion, for differences.
    given = -rows["volume_delivered_ml"].to_numpy(float)[has]
    volume = rows["volume_remaining_ml"].to_numpy(float)[has]
    volume = np.where(np.isnan(volume), given, volume)
    passed = _or(runs.shift(hours, -1) - hours, hours - runs.shift(hours, 1))
    fell = _or(volume - runs.shift(volume, -1), runs.shift(volume, 1) - volume)
    follows = np.abs(fell - rate * passed) < np.abs(fell - left * passed)
    is_plain = rows["entry"].isin([Entry.CHECK, Entry.START]).to_numpy(bool)
    doubtful[has] = alone & ~follows & is_plain[has]
    return doubtful


def _or(values: np.ndarray, others: np.ndarray) -> np.ndarray:
    return np.where(np.isnan(values), others, values)


def _add_delivered(
    out: pd.DataFrame, runs: Runs, rate: np.ndarray, paused: np.ndarray
) -> None:
    """Add rate_ml_h, is_paused (the gap before the row), delivered_ml and its doubt."""
    elapsed = out["elapsed_h"].to_numpy()
    hours = np.maximum(_or(elapsed - runs.shift(elapsed, 1), elapsed), 0)
    before = _or(runs.shift(rate, 1), rate)
    was_paused = runs.shift(paused, 1, fill=False)
    steps_here = out["entry"].isin(STEPS_HERE).to_numpy(bool)
    after = np.where(steps_here, before, rate)
    # A pause that a plain check finds over ended somewhere in the gap.
    found_running = was_paused & ~paused & ~steps_here
    low = np.where(was_paused, 0.0, before)
    high = np.where(was_paused & ~found_running, 0.0, after)
    out["rate_ml_h"] = rate
    out["is_paused"] = was_paused
    out["delivered_ml"] = runs.cumsum((low + high) / 2 * hours)
    out["step_variance_ml2"] = runs.cumsum(((high - low) * hours) ** 2 / 12)


def _add_residuals(
    out: pd.DataFrame, runs: Runs, rows: pd.DataFrame, known: pd.DataFrame
) -> None:
    """Add observed, expected and residual volumes, and what the line starts from."""
    start = known["start_volume_ml"].to_numpy(float)
    has_start = ~np.isnan(start)
    remaining = rows["volume_remaining_ml"].to_numpy(float)
    given = rows["volume_delivered_ml"].to_numpy(float)
    delivered = out["delivered_ml"].to_numpy()
    has_given = ~np.isnan(given)
    observed = _or(remaining, runs.each(start) - given)
    # Without a start volume the line is drawn through the first reading that there is.
    base = _or(start, _first_known(runs, observed + delivered))
    only_given = np.isnan(base) & runs.any(has_given)
    # Volumes given count from 0 at a start row; else from the first that is charted.
    begun = known["has_start_row"] | (known["started_at"] < known["first_row"])
    is_begun = begun.to_numpy(bool)
    given_first = _first_known(runs, delivered - given)
    base = np.where(only_given, np.where(is_begun, 0.0, given_first), base)
    is_given = np.isnan(remaining) & has_given
    codes = np.where(is_given, 1, np.where(np.isnan(remaining), 2, 0))
    out["source"] = spread(_SOURCES.array, codes)
    out["has_start_volume"] = runs.each(has_start | (only_given & is_begun))
    only_given = runs.each(only_given)
    out["is_floored"] = ~only_given
    out["base_ml"] = runs.each(base)
    observed = np.where(only_given, -given, observed)
    out["observed_ml"] = np.where(
        _of_next_syringe(runs, observed, rows["entry"]), np.nan, observed
    )
    line = runs.each(base) - delivered
    out["expected_ml"] = np.where(only_given, line, np.maximum(line, 0))
    out["residual_ml"] = (out["observed_ml"] - out["expected_ml"]).round(3)


def _of_next_syringe(runs: Runs, observed: np.ndarray, entry: pd.Series) -> np.ndarray:
    """Mark volumes that the next syringe has, charted in the row that ends this one."""
    at = np.zeros(len(observed), dtype=bool)
    changes = np.flatnonzero(entry == Entry.SYRINGE_CHANGE)
    if len(changes):
        before = runs.shift(runs.filled(observed), 1)[changes]
        at[changes] = observed[changes] > before + _MORE_ML
    return at


def _first_known(runs: Runs, values: np.ndarray) -> np.ndarray:
    return np.asarray(values[runs.first_row(~np.isnan(values))])
