"""Set-up: how the syringe was filled, set and first looked at, against the policy.

Units are infusions, those that only the infusions table names among them; they belong
to the ward where they were started.
"""

from collections.abc import Callable

import pandas as pd

from analysis.compliance.coded import blank
from analysis.compliance.measure import Basis, Family, Measure, lacks_columns
from analysis.compliance.starts import (
    first_after,
    rate_step,
    start_rates,
    start_visits,
    volume_steps,
)
from analysis.compliance.verdicts import first_true, judged
from analysis.intake import Log
from analysis.lookup import by_key, by_keys
from analysis.policy import Policy
from analysis.terms import (
    BETWEEN_WARDS,
    NO_WARD,
    EndKind,
    Exclusion,
    FirstCheckOutcome,
    RecordOutcome,
    StartRateOutcome,
    StartVolumeOutcome,
    SyringeSizeOutcome,
)


def set_rate_matches(basis: Basis) -> pd.DataFrame:
    """Compare the rate first charted with start volume over planned duration.

    |rate x T / V0 - 1| is at most the larger of the policy's tolerance and half a step
    of the charted rate over the rate, plus the ward's reading step over V0; the bound
    itself passes. The step of a rate is as fine as its own decimals and those of nearly
    all rates of its ward. A reading within one step is no difference (common practice,
    no source).

    Parameters
    ----------
    basis : Basis
        T is the planned duration charted, else the policy's; the rate is the first
        above 0 that is charted before any rate_change row and is not doubtful.

    Returns
    -------
    DataFrame
        One unit an infusion; excluded where rate or start volume is not charted.
    """
    known, rates = basis.log.infusions, start_rates(basis)
    rate = by_key(known.index, rates["set_rate_ml_h"])
    planned = known["planned_duration_h"].fillna(
        basis.policy.by_ward("planned_duration_h", known["ward"])
    )
    rounding = rate_step(rate, known["ward"]) / 2 / rate
    step = by_key(known["ward"], volume_steps(basis.log))

    def fits(volume: pd.Series) -> pd.Series:
        least = basis.policy.set_rate_tolerance_pct / 100
        allowed = (rounding + step / volume).clip(lower=least)
        return (rate * planned / volume - 1).abs().round(9) <= allowed.round(9)

    outcome = first_true(
        known.index,
        (fits(known["start_volume_ml"]), StartRateOutcome.MATCHES),
        (fits(known["made_up_to_ml"]), StartRateOutcome.BEFORE_PRIMING),
        default=StartRateOutcome.DIFFERS,
    )
    reason = first_true(
        known.index,
        (rate.isna(), Exclusion.RATE_NOT_CHARTED),
        (~(known["start_volume_ml"] > 0), Exclusion.START_VOLUME_NOT_CHARTED),
    )
    units = _infusion_units(basis, rates["source"])
    return judged(units, outcome, StartRateOutcome.MATCHES, reason)


def start_volume_in_window(basis: Basis) -> pd.DataFrame:
    """Compare the volume made up with the policy's window for the syringe size.

    Parameters
    ----------
    basis : Basis
        The windows' bounds are inside.

    Returns
    -------
    DataFrame
        One unit an infusion; excluded where the volume made up (before priming) or the
        size is not charted, or the policy has no window for the size.
    """
    known = basis.log.infusions
    low, high = _window(known["syringe_size_ml"], basis.policy)
    volume = known["made_up_to_ml"]
    outcome = first_true(
        known.index,
        (volume < low, StartVolumeOutcome.BELOW),
        (volume > high, StartVolumeOutcome.ABOVE),
        default=StartVolumeOutcome.INSIDE,
    )
    reason = first_true(
        known.index,
        (_without_windows(basis), Exclusion.NO_RULE_SET),
        (volume.isna(), Exclusion.MADE_UP_NOT_CHARTED),
        (known["syringe_size_ml"].isna(), Exclusion.SIZE_NOT_CHARTED),
        (low.isna(), Exclusion.NO_WINDOW),
    )
    units = _infusion_units(basis)
    return judged(units, outcome, StartVolumeOutcome.INSIDE, reason)


def syringe_size_ok(basis: Basis) -> pd.DataFrame:
    """Tell whether the syringe size is one that the policy has a window for.

    Parameters
    ----------
    basis : Basis
        A policy without windows sets no rule.

    Returns
    -------
    DataFrame
        One unit an infusion; excluded where the size is not charted.
    """
    size = basis.log.infusions["syringe_size_ml"]
    low, _ = _window(size, basis.policy)
    outcome = first_true(
        size.index,
        (low.notna(), SyringeSizeOutcome.KNOWN),
        default=SyringeSizeOutcome.OTHER,
    )
    reason = first_true(
        size.index,
        (_without_windows(basis), Exclusion.NO_RULE_SET),
        (size.isna(), Exclusion.SIZE_NOT_CHARTED),
    )
    units = _infusion_units(basis)
    return judged(units, outcome, SyringeSizeOutcome.KNOWN, reason)


def first_check_in_time(basis: Basis) -> pd.DataFrame:
    """Tell whether the first check after the start row came in time.

    It is due first_check_h after the start row, and in time up to the grace later. Any
    row after the start row and up to the observed end is a check. What ended before
    the check was due, or before it was late with none made, takes no part, whether or
    not somebody looked earlier: else only short infusions with a look would count.

    Parameters
    ----------
    basis : Basis
        first_check_h and grace of the ward where the infusion was started.

    Returns
    -------
    DataFrame
        One unit an infusion; one moved to another ward before its first check belongs
        to neither.
    """
    known = basis.log.infusions
    ends = by_keys(known.index, basis.ends[["observed_end", "end_kind"]])
    start = start_visits(basis)
    started = start["due_at"]
    due_after = basis.policy.by_ward("first_check_h", known["ward"])
    grace = basis.policy.by_ward("grace_h", known["ward"])
    due = started + _hours(due_after)
    late_from = started + _hours(due_after + grace)
    first = by_keys(known.index, first_after(basis, started))
    made = first["due_at"]
    outcome = first_true(
        known.index,
        (made <= late_from, FirstCheckOutcome.IN_TIME),
        (made.notna(), FirstCheckOutcome.LATE),
        default=FirstCheckOutcome.NOT_MADE,
    )
    over = ends["observed_end"]
    is_short = (over < due) | ((over <= late_from) & made.isna())
    has_moved = first["ward"].notna() & (first["ward"] != start["ward"])
    reason = first_true(
        known.index,
        (due_after.isna(), Exclusion.NO_RULE_SET),
        (started.isna(), Exclusion.START_NOT_CHARTED),
        (has_moved, Exclusion.HAND_OVER),
        (is_short & (ends["end_kind"] == EndKind.RUNNING), Exclusion.UNDECIDED),
        (
            is_short & (ends["end_kind"] == EndKind.NOT_RECORDED),
            Exclusion.END_NOT_RECORDED,
        ),
        (is_short, Exclusion.ENDED_BEFORE_DUE),
    )
    units = _infusion_units(basis, start["first_source"])
    units["due_at"] = due.fillna(started).fillna(units["due_at"])
    units["ward"] = units["ward"].mask(has_moved, BETWEEN_WARDS)
    units["last_source"] = first["last_source"].fillna(units["first_source"])
    return judged(units, outcome, FirstCheckOutcome.IN_TIME, reason)


def second_checker_recorded(basis: Basis) -> pd.DataFrame:
    """Tell whether the start names a second checker other than the first.

    Parameters
    ----------
    basis : Basis
        The same code in both columns names one person, and is told apart.

    Returns
    -------
    DataFrame
        One unit an infusion; excluded where the log has no start row.
    """
    rows, visits = basis.log.checks, basis.visits
    index = basis.log.infusions.index
    start = start_visits(basis)
    is_named = rows["second_checked_by"] != ""
    is_other = is_named & (rows["second_checked_by"] != rows["checked_by"])
    has_start = start["place"].notna()
    place = start["place"].fillna(0).to_numpy("int64")

    def at_start(is_so: pd.Series) -> pd.Series:
        found = visits.any_of(is_so).to_numpy()
        return has_start & found[place] if len(found) else has_start

    outcome = first_true(
        index,
        (at_start(is_other), RecordOutcome.RECORDED),
        (at_start(is_named), RecordOutcome.SAME_CODE),
        default=RecordOutcome.NOT_RECORDED,
    )
    reason = first_true(
        index,
        (start["due_at"].isna(), Exclusion.START_NOT_CHARTED),
    )
    units = _infusion_units(basis, start["first_source"])
    units["due_at"] = start["due_at"].fillna(units["due_at"])
    units["last_source"] = start["last_source"].fillna(units["first_source"])
    return judged(units, outcome, RecordOutcome.RECORDED, reason)


def _infusion_units(basis: Basis, leading: pd.Series | None = None) -> pd.DataFrame:
    """Give one unit an infusion, dated by its start.

    Its first source is that of `leading`, else its first row; the last is the row that
    describes it in the infusions table, where there is one.
    """
    known = basis.log.infusions
    visits = basis.visits.units
    opening = visits.loc[
        ~visits["infusion_id"].duplicated(), ["infusion_id", "first_source"]
    ].set_index("infusion_id")
    first = by_key(known.index, opening["first_source"])
    if leading is not None:
        first = by_key(known.index, leading).fillna(first)
    described = known["described_at"]
    described = described.where(described != "")
    units = {
        "ward": known["ward"].mask(known["ward"] == "", NO_WARD),
        "patient_id": known["patient_id"],
        "line_id": blank(known.index),
        "due_at": known["started_at"].fillna(known["ended_at"]),
        "first_source": first.fillna(described),
        "last_source": described.fillna(first),
    }
    # Plain columns, all in the order of the infusions: comparing indexes is slow.
    plain = {name: values.array for name, values in units.items()}
    ids = {"unit_id": known.index.astype("str"), "infusion_id": known.index.array}
    return pd.DataFrame({**ids, **plain}, index=known.index)


def _hours(hours: pd.Series) -> pd.Series:
    return pd.to_timedelta((hours * 3600).round(), unit="s")


def _window(size: pd.Series, policy: Policy) -> tuple[pd.Series, pd.Series]:
    """Give the policy's window for each syringe size; NaN where there is none."""
    windows = policy.start_volume_window_ml
    low = size.map({row[0]: row[1] for row in windows}).astype("float64")
    high = size.map({row[0]: row[2] for row in windows}).astype("float64")
    return low, high


def _without_windows(basis: Basis) -> pd.Series:
    """Tell that the policy has no window at all."""
    is_none = not basis.policy.start_volume_window_ml
    return pd.Series(data=is_none, index=basis.log.infusions.index)


def _lacks_rate_or_volume(log: Log) -> str:
    if not log.infusions["start_volume_ml"].notna().any():
        return (
            "Not in this export: it has no start_volume_ml and no start row with a "
            "volume."
        )
    return lacks_columns("checks", "set_rate_ml_h")(log)


def _lacks_volume_or_size(log: Log) -> str:
    lacks: list[Callable[[Log], str]] = [
        lacks_columns("infusions", name)
        for name in ("made_up_to_ml", "syringe_size_ml")
    ]
    return next((why for one in lacks if (why := one(log))), "")


def _lacks_starts(log: Log) -> str:
    if log.infusions["has_start_row"].any():
        return ""
    return "Not in this export: no row of its checks says that an infusion was started."


def _lacks_second_checker(log: Log) -> str:
    return _lacks_starts(log) or lacks_columns("checks", "second_checked_by")(log)


FAMILY = (
    Measure(
        name="set_rate_matches",
        family=Family.SET_UP,
        label="Set rate matches volume over duration",
        unit="infusions",
        meaning="Infusions whose first charted rate, times the planned duration, is "
        "the start volume, within the policy's tolerance or what rounding of the rate "
        "and the reading step of the volume allow, the larger. One that fits only the "
        "volume before priming is not counted, and said apart.",
        find=set_rate_matches,
        lacks=_lacks_rate_or_volume,
    ),
    Measure(
        name="start_volume_in_window",
        family=Family.SET_UP,
        label="Volume made up within its window",
        unit="infusions",
        meaning="Infusions made up, before priming, to a volume within the policy's "
        "window for their syringe size. Not evaluable where the volume made up or the "
        "size is not charted.",
        find=start_volume_in_window,
        lacks=_lacks_volume_or_size,
    ),
    Measure(
        name="syringe_size_ok",
        family=Family.SET_UP,
        label="Syringe size of the policy",
        unit="infusions",
        meaning="Infusions in a syringe of a size that the policy has a window for.",
        find=syringe_size_ok,
        lacks=lacks_columns("infusions", "syringe_size_ml"),
    ),
    Measure(
        name="first_check_in_time",
        family=Family.SET_UP,
        label="First check after the start in time",
        unit="infusions",
        meaning="Infusions whose first row after the start row came within the time "
        "the policy sets for it and the grace. One that ended before its first check "
        "was due is left out.",
        find=first_check_in_time,
        lacks=_lacks_starts,
    ),
    Measure(
        name="second_checker_recorded",
        family=Family.SET_UP,
        label="Second checker recorded at the start",
        unit="starts",
        meaning="Starts that name a second checker. The same code as the first "
        "checker's is said apart and not counted.",
        find=second_checker_recorded,
        lacks=_lacks_second_checker,
    ),
)
