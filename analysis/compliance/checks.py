"""Checks: covered time, and checks on time.

A gap is the running time between successive check rows of one infusion, and from its
last row to its observed end. Times are whole seconds.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from analysis.compliance.coded import blank, in_runs
from analysis.compliance.measure import (
    UNIT_COLUMNS,
    Basis,
    Family,
    Measure,
    tallied,
)
from analysis.compliance.verdicts import first_true
from analysis.intake import Log
from analysis.lookup import by_key, by_keys, written
from analysis.policy import Policy
from analysis.terms import (
    BETWEEN_WARDS,
    CheckOutcome,
    Entry,
    Exclusion,
    GapOutcome,
)

_STAMP = (" %Y%m%d", "T%H%M%SZ")

#: Share of an infusion's rows below which they are the fewer.
_FEWER = 0.5


def gaps_between_checks(log: Log, ends: pd.DataFrame, policy: Policy) -> pd.DataFrame:
    """List the gaps between checks of every infusion.

    Parameters
    ----------
    log : Log
        Canonical tables.
    ends : DataFrame
        As given by `observe`.
    policy : Policy
        Gives interval and graces by ward.

    Returns
    -------
    DataFrame
        One row a gap: infusion_id, patient_id, ward (where the check was due, between
        wards across a transfer), from_at, to_at, seconds, is_closed (a check row closes
        it), exclusion (empty, or why it takes no part), interval_s, grace_s,
        missed_after_s, first_source, last_source. Rows at one moment are one visit;
        rows after the observed end make no gap, and none before the start row either,
        if they are the fewer.
    """
    names = ["infusion_id", "patient_id", "ward", "checked_at", "source", "entry"]
    rows = log.checks[[*names, "is_paused_after"]]
    rows = rows[rows["infusion_id"] != ""]
    end = by_key(rows["infusion_id"], ends["observed_end"])
    rows = in_runs(rows[(rows["checked_at"] <= end) & ~_before_start(rows)])
    rows = rows[~rows.duplicated(["infusion_id", "checked_at"], keep="last")]
    run = rows["infusion_id"].cat.codes
    has_next = (run == run.shift(-1)).to_numpy()
    after = {n: rows[n].shift(-1).where(has_next) for n in names[2:5]}
    gaps = pd.DataFrame(
        {
            "infusion_id": rows["infusion_id"],
            "patient_id": rows["patient_id"],
            "ward": rows["ward"],
            "from_at": rows["checked_at"],
            "to_at": after["checked_at"],
            "ward_after": after["ward"],
            "is_paused": rows["is_paused_after"],
            "first_source": rows["source"],
            "last_source": after["source"],
        }
    )
    names = ["observed_end", "is_closed", "ward_of_next"]
    own = by_keys(gaps["infusion_id"], ends[names])
    gaps["is_closed"] = has_next | own["is_closed"]
    # Where the next start gives the end, the gap may straddle a transfer.
    new_ward = own["ward_of_next"].where(~has_next & (own["ward_of_next"] != ""))
    gaps["ward_after"] = gaps["ward_after"].fillna(new_ward)
    gaps["to_at"] = gaps["to_at"].fillna(own["observed_end"])
    gaps["last_source"] = gaps["last_source"].fillna(gaps["first_source"])
    gaps["seconds"] = (gaps["to_at"] - gaps["from_at"]).dt.total_seconds()
    gaps = gaps[gaps["seconds"] > 0].copy()
    crosses = gaps["ward_after"].notna() & (gaps["ward_after"] != gaps["ward"])
    for limit in ("check_interval_h", "grace_h", "missed_after_h"):
        hours = policy.by_ward(limit, gaps["ward"])
        gaps[limit.replace("_h", "_s").replace("check_", "")] = (hours * 3600).round()
    gaps["exclusion"] = first_true(
        gaps.index,
        (crosses, Exclusion.HAND_OVER),
        (gaps["is_paused"], Exclusion.PAUSED),
        (gaps["interval_s"].isna(), Exclusion.NO_RULE_SET),
    )
    gaps.loc[crosses, "ward"] = BETWEEN_WARDS
    return gaps.drop(columns=["ward_after", "is_paused"]).reset_index(drop=True)


def _before_start(rows: pd.DataFrame) -> pd.Series:
    """Mark rows before their infusion's start row: their time is doubtful.

    If they are most of its rows it is the start row's time that is.
    """
    key = rows["infusion_id"]
    starts = rows[rows["entry"] == Entry.START]
    by = starts.groupby("infusion_id", observed=False)
    is_before = rows["checked_at"] < by_key(key, by["checked_at"].min())
    if not is_before.any():
        return is_before
    by_infusion = is_before.groupby(key, observed=False)
    return is_before & (by_infusion.transform("mean") < _FEWER)


def covered_time(gaps: pd.DataFrame) -> pd.DataFrame:
    """Add up covered time: each gap adds min(gap, interval + grace).

    Parameters
    ----------
    gaps : DataFrame
        As given by `gaps_between_checks`.

    Returns
    -------
    DataFrame
        One unit a gap; numerator and denominator in hours.
    """
    limit = gaps["interval_s"] + gaps["grace_s"]
    covered = gaps["seconds"].where(~(gaps["seconds"] > limit), limit)
    covered = covered.where(limit.notna())
    is_whole = covered >= gaps["seconds"]
    outcome = first_true(
        gaps.index, (is_whole, GapOutcome.COVERED), default=GapOutcome.PARTLY_COVERED
    )
    return _units(
        gaps,
        gaps["interval_s"],
        outcome=outcome,
        counted=np.ones(len(gaps), dtype=bool),
        hours=(covered / 3600, gaps["seconds"] / 3600),
    )


def checks_on_time(gaps: pd.DataFrame, grace_h: float | None = None) -> pd.DataFrame:
    """Count checks on time: a gap up to interval + grace closed by a check is one.

    A longer gap of g hours holds ceil((g - grace) / interval) - 1 checks not on time.
    The last of them is late if the closing check came less than missed_after overdue;
    the others, and those of a gap that no check closes, are missed. A short last gap
    that no check closes counts nothing.

    Parameters
    ----------
    gaps : DataFrame
        As given by `gaps_between_checks`.
    grace_h : float, optional
        Another grace than the ward's own [h].

    Returns
    -------
    DataFrame
        One unit a check that was due, or a gap that is excluded.
    """
    grace = (
        gaps["grace_s"]
        if grace_h is None
        else pd.Series(round(grace_h * 3600), index=gaps.index, dtype="float64")
    )
    judged = gaps["exclusion"] == ""
    over = gaps["seconds"] - grace
    intervals = pd.Series(np.ceil(over / gaps["interval_s"]), index=gaps.index)
    not_on_time = intervals.sub(1).clip(lower=0).where(judged, 0).astype("int64")
    is_one = (not_on_time == 0) & (gaps["is_closed"] | ~judged)
    # One line a check: on time, or one of those that a longer gap holds.
    times = not_on_time.where(~is_one, 1)
    each = gaps.loc[gaps.index.repeat(times)]
    order = each.groupby(level=0).cumcount().to_numpy() + 1
    is_on_time = is_one.loc[each.index].to_numpy()
    due_after = order * each["interval_s"]
    overdue = each["seconds"] - due_after
    is_last = order == times.loc[each.index].to_numpy()
    is_late = is_last & each["is_closed"] & (overdue < each["missed_after_s"])
    outcome = first_true(
        each.index,
        (pd.Series(is_on_time), CheckOutcome.ON_TIME),
        (is_late, CheckOutcome.LATE),
        default=CheckOutcome.MISSED,
    )
    one = pd.Series(1.0, index=each.index)
    return _units(
        each,
        due_after,
        outcome=outcome,
        counted=is_on_time,
        hours=(one.where(is_on_time, 0.0), one),
    )


def _units(
    gaps: pd.DataFrame,
    due_after_s: pd.Series,
    *,
    outcome: pd.Series,
    counted: np.ndarray,
    hours: tuple[pd.Series, pd.Series],
) -> pd.DataFrame:
    """Give units of gaps that fall due so many seconds after the gap began.

    What is excluded has its reason as outcome, and adds nothing to either side.
    """
    due = gaps["from_at"] + pd.to_timedelta(due_after_s.fillna(0), unit="s")
    # A gap that takes no part may have no due time of its own: named by its beginning.
    excluded = (gaps["exclusion"] != "").to_numpy()
    stamp = due.mask(excluded, gaps["from_at"]).dt.tz_convert("UTC")
    stamp = written(stamp, *_STAMP)
    if excluded.any():
        stamp[excluded] = " from" + stamp[excluded]
    units = gaps[["ward", "patient_id", "infusion_id", "first_source", "last_source"]]
    return units.assign(
        unit_id=gaps["infusion_id"].astype("str") + stamp,
        line_id=blank(gaps.index),
        due_at=due,
        outcome=outcome.mask(excluded, gaps["exclusion"]),
        tally=tallied(counted, excluded),
        reason=gaps["exclusion"],
        numerator=hours[0].mask(excluded),
        denominator=hours[1].mask(excluded),
    ).reset_index(drop=True)[UNIT_COLUMNS]


COVERED_TIME = Measure(
    name="covered_time",
    family=Family.CHECKS,
    label="Covered time",
    unit="h",
    meaning="Share of running time that lies within the interval and its grace of the "
    "check before it. Each gap between two checks adds at most interval + grace; "
    "paused time and gaps across a transfer are left out. Extra checks cannot "
    "flatter it.",
    find=lambda basis: covered_time(basis.gaps),
    in_hours=True,
)
CHECKS_ON_TIME = Measure(
    name="checks_on_time",
    family=Family.CHECKS,
    label="Checks on time",
    unit="checks",
    meaning="Of the checks that fell due, those made within the interval and its "
    "grace. A longer gap holds as many checks not on time as fell due in it: the last "
    "is late if it came soon enough, the others are missed.",
    find=lambda basis: checks_on_time(basis.gaps),
)


def at_grace(grace_h: float) -> Measure:
    """Give checks on time at another grace than the ward's own.

    Parameters
    ----------
    grace_h : float
        Grace [h].

    Returns
    -------
    Measure
        ``checks_on_time_grace_1.0`` for one hour.
    """

    def find(basis: Basis) -> pd.DataFrame:
        return checks_on_time(basis.gaps, grace_h)

    return Measure(
        name=f"checks_on_time_grace_{grace_h:.1f}",
        family=Family.CHECKS,
        label=f"Checks on time, grace {grace_h:g} h",
        unit="checks",
        meaning=f"As checks on time, with a grace of {grace_h:g} h.",
        find=find,
    )


def checks_family(graces: Sequence[float]) -> tuple[Measure, ...]:
    """List the measures of this file.

    Parameters
    ----------
    graces : sequence of float
        Other graces at which checks on time are shown [h].

    Returns
    -------
    tuple of Measure
        In the order of the report.
    """
    return (COVERED_TIME, CHECKS_ON_TIME, *(at_grace(grace) for grace in graces))
