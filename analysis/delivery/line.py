"""The expected line: what the driver was set to deliver, in true elapsed hours.

The set-rate line is v(t) = max(0, V0 - integral of r). A charted rate holds until the
next; it steps at a rate_change row, and a step first seen at a plain check lies
uniformly in the gap before it. Between pause and resume the rate is 0. Without any rate
the prescribed line, V0 over the planned duration, stands in.
"""

import numpy as np
import pandas as pd

from analysis.intake.infusions import STEPS_HERE
from analysis.lookup import by_key
from analysis.policy import Policy
from analysis.terms import Entry

SET_RATE = "set rate"
PRESCRIBED = "prescribed"


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
        Rows of `checks` that belong to an infusion, on their index: infusion_id, ward,
        source (remaining or delivered, empty without a volume), elapsed_h, rate_ml_h
        (in force just before the row), delivered_ml (by the line, not capped),
        step_variance_ml2 (from rate steps of unknown time), base_ml (volume the line
        starts from; 0 where only delivered volumes are known), is_floored (the line
        stops at an empty syringe), observed_ml, expected_ml, residual_ml (observed
        minus expected: positive is behind), basis (set rate or prescribed),
        is_doubtful_rate, is_after_end (charted after the end of the run, whose
        driver it cannot show). NaN where something is not recorded.
    """
    rows = checks[checks["infusion_id"] != ""].sort_values(
        ["infusion_id", "checked_at"], kind="stable"
    )
    key = rows["infusion_id"]
    started = by_key(key, infusions["started_at"])
    elapsed = (rows["checked_at"] - started).dt.total_seconds() / 3600
    out = pd.DataFrame(
        {"infusion_id": key, "ward": rows["ward"], "elapsed_h": elapsed.clip(lower=0)}
    )
    out["checked_at"] = rows["checked_at"]
    out["entry"] = rows["entry"]
    out["is_start"] = rows["checked_at"] <= started
    out["is_after_end"] = rows["checked_at"] > by_key(
        key, _charted_end(rows, infusions)
    )
    charted = rows["set_rate_ml_h"].where(rows["set_rate_ml_h"] > 0)
    out["is_doubtful_rate"] = _doubtful_rates(out, charted, _volume(rows))
    charted = charted.mask(out["is_doubtful_rate"])
    rate = charted.groupby(key).ffill().groupby(key).bfill()
    out["basis"] = np.where(rate.notna(), SET_RATE, PRESCRIBED)
    rate = rate.fillna(by_key(key, _prescribed_rate(infusions, policy)))
    _add_delivered(out, rate, rows["is_paused_after"])
    _add_residuals(out, rows, infusions)
    return out.reindex(checks.index[checks["infusion_id"] != ""])


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
    own = lines[~lines["is_after_end"]]
    last = own[~own.duplicated("infusion_id", keep="last")].set_index("infusion_id")
    known = infusions.reindex(last.index)
    hours = (known["ended_at"] - known["started_at"]).dt.total_seconds() / 3600
    more = (hours - last["elapsed_h"]).clip(lower=0).fillna(0)
    return last["delivered_ml"] + more * last["rate_ml_h"]


def _charted_end(rows: pd.DataFrame, infusions: pd.DataFrame) -> pd.Series:
    """Give the end row's time, else ended_at; NaT where neither is charted."""
    ends = rows[rows["entry"] == Entry.END].groupby("infusion_id")["checked_at"].last()
    charted = infusions["ended_at"]
    charted = charted.where(charted >= infusions["started_at"])
    return ends.reindex(infusions.index).fillna(charted)


def _prescribed_rate(infusions: pd.DataFrame, policy: Policy) -> pd.Series:
    planned = infusions["planned_duration_h"].fillna(
        policy.by_ward("planned_duration_h", infusions["ward"])
    )
    start = infusions["start_volume_ml"]
    return start.where(start > 0) / planned


def _volume(rows: pd.DataFrame) -> pd.Series:
    """Give volume remaining up to a constant of the infusion, for differences."""
    return rows["volume_remaining_ml"].fillna(-rows["volume_delivered_ml"])


def _doubtful_rates(
    out: pd.DataFrame, charted: pd.Series, volume: pd.Series
) -> pd.Series:
    """Mark a rate on one row only that the volumes do not follow.

    The row's neighbours (on the first or last row: the next two on one side) agree on
    another rate, and the volume fell by that one.
    """
    frame = pd.DataFrame(
        {"key": out["infusion_id"], "t": out["elapsed_h"], "r": charted, "v": volume}
    )[charted.notna()]
    by = frame.groupby("key")
    before, after = by["r"].shift(1), by["r"].shift(-1)
    left = before.fillna(by["r"].shift(-2))
    right = after.fillna(by["r"].shift(2))
    alone = (left == right) & (frame["r"] != left)
    if not alone.any():
        return pd.Series(data=False, index=out.index)
    hours = (by["t"].shift(-1) - frame["t"]).fillna(frame["t"] - by["t"].shift(1))
    fell = (frame["v"] - by["v"].shift(-1)).fillna(by["v"].shift(1) - frame["v"])
    follows = (fell - frame["r"] * hours).abs() < (fell - left * hours).abs()
    is_plain = out["entry"].reindex(frame.index).isin([Entry.CHECK, Entry.START])
    doubtful = alone & ~follows & is_plain
    return doubtful.reindex(out.index, fill_value=False)


def _add_delivered(out: pd.DataFrame, rate: pd.Series, paused: pd.Series) -> None:
    """Add rate_ml_h, is_paused (the gap before the row), delivered_ml and its doubt."""
    key = out["infusion_id"]
    hours = out["elapsed_h"].groupby(key).diff().fillna(out["elapsed_h"]).clip(lower=0)
    before = rate.groupby(key).shift().fillna(rate)
    was_paused = paused.groupby(key).shift(fill_value=False).astype(bool)
    steps_here = out["entry"].isin(STEPS_HERE)
    after = before.where(steps_here, rate)
    # A pause that a plain check finds over ended somewhere in the gap.
    found_running = was_paused & ~paused & ~steps_here
    low = before.where(~was_paused, 0.0)
    high = after.where(~was_paused | found_running, 0.0)
    out["rate_ml_h"] = rate
    out["is_paused"] = was_paused
    out["delivered_ml"] = ((low + high) / 2 * hours).groupby(key).cumsum()
    doubt = ((high - low) * hours) ** 2 / 12
    out["step_variance_ml2"] = doubt.groupby(key).cumsum()


def _add_residuals(
    out: pd.DataFrame, rows: pd.DataFrame, infusions: pd.DataFrame
) -> None:
    """Add observed, expected and residual volumes, and what the line starts from."""
    key = out["infusion_id"]
    start = by_key(key, infusions["start_volume_ml"])
    remaining, given = rows["volume_remaining_ml"], rows["volume_delivered_ml"]
    is_given = remaining.isna() & given.notna()
    out["source"] = np.where(
        remaining.notna(), "remaining", np.where(is_given, "delivered", "")
    )
    observed = remaining.fillna(start - given)
    # Without a start volume the line is drawn through the first reading that there is.
    first = (observed + out["delivered_ml"]).groupby(key).transform("first")
    base = start.fillna(first)
    only_given = base.isna() & given.notna().groupby(key).transform("any")
    # Volumes given count from 0 at a start row; else from the first that is charted.
    is_begun = infusions["has_start_row"] | (
        infusions["started_at"] < infusions["first_row"]
    )
    began = by_key(key, is_begun)
    given_first = (out["delivered_ml"] - given).groupby(key).transform("first")
    base = base.mask(only_given, given_first.mask(began, 0.0))
    out["has_start_volume"] = start.notna() | (only_given & began)
    out["is_floored"] = ~only_given
    out["base_ml"] = base
    out["observed_ml"] = observed.mask(only_given, -given)
    line = base - out["delivered_ml"]
    out["expected_ml"] = line.where(only_given, line.clip(lower=0))
    out["residual_ml"] = (out["observed_ml"] - out["expected_ml"]).round(3)
