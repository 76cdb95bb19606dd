"""Charting habits by ward: quality of the data, neither good nor bad, and no blame.

How times and volumes are written down limits what any other figure can show. Nothing
here is counted by person.
"""

import numpy as np
import pandas as pd

from analysis.compliance.closeness import FALSE_ALARM, FEWEST_READINGS, closeness
from analysis.compliance.coded import blank
from analysis.compliance.digits import VOLUME_COLUMNS, written_volumes
from analysis.compliance.measure import Basis, Family, Measure, lacks_columns
from analysis.compliance.readings import Pairs, once_a_visit, readings_on_line
from analysis.compliance.verdicts import first_true, judged
from analysis.lookup import by_keys
from analysis.terms import Exclusion, HabitOutcome

#: Readings in this step or a coarser one end in .0 or .5 whatever anybody prefers.
_COARSE_ML = 0.5

#: Checks written within so long of each other are one batch.
BATCH = pd.Timedelta(minutes=2)

#: What a row says of the driver and the patient; a copied row repeats all of it.
_SEEN = (
    "set_rate_ml_h",
    "volume_remaining_ml",
    "volume_delivered_ml",
    "display_remaining_ml",
    "battery_pct",
    "running",
    "site_location",
    "site_signs",
    "solution_appearance",
)


def exact_hour_share(basis: Basis) -> pd.DataFrame:
    """Tell which checks are timed on the exact hour; by chance 1 in 60 would be.

    Parameters
    ----------
    basis : Basis
        Visits, by the local clock.

    Returns
    -------
    DataFrame
        One unit a visit, none excluded.
    """
    visits = basis.visits.units
    is_exact = visits["due_at"].dt.minute == 0
    return _judged(
        visits,
        is_exact,
        (HabitOutcome.EXACT_HOUR, HabitOutcome.OTHER_TIME),
        first_true(visits.index),
    )


def written_in_batches(basis: Basis) -> pd.DataFrame:
    """Tell which checks were written late and together with another of their driver.

    Late is more than the ward's check interval after the time of the check; together
    is within `BATCH` of another late one of the same driver (the same infusion, where
    no driver is charted).

    Parameters
    ----------
    basis : Basis
        Visits, recorded_at, and the interval of the ward.

    Returns
    -------
    DataFrame
        One unit a visit; excluded where recorded_at is blank, or the ward has no rule
        for the interval.
    """
    visits, rows = basis.visits.units, basis.log.checks
    written = _written_at(basis)
    interval = basis.policy.by_ward("check_interval_h", visits["ward"])
    lateness = (written - visits["due_at"]).dt.total_seconds()
    is_late = lateness > interval * 3600
    infusion = visits["infusion_id"][is_late].astype("str")
    driver = rows.loc[infusion.index, "run_driver_id"].astype("str")
    owner = ("driver " + driver).where(driver != "", infusion)
    late = pd.DataFrame({"owner": owner, "written": written[is_late]})
    late = late.sort_values(["owner", "written"], kind="stable")
    after = late.groupby("owner")["written"].diff()
    before = after.groupby(late["owner"]).shift(-1)
    near = (after <= BATCH) | (before <= BATCH)
    return _judged(
        visits,
        near.reindex(visits.index, fill_value=False),
        (HabitOutcome.IN_BATCH, HabitOutcome.NOT_IN_BATCH),
        first_true(
            visits.index,
            (interval.isna(), Exclusion.NO_RULE_SET),
            (written.isna(), Exclusion.WRITING_NOT_TIMED),
        ),
    )


def _written_at(basis: Basis) -> pd.Series:
    """Give when each visit was written: the last of its rows, if several were."""
    visits, written = basis.visits, basis.log.checks["recorded_at"]
    found = written.reindex(visits.units.index)
    if len(visits.repeated):
        latest = written.reindex(visits.repeated.index).groupby(visits.repeated).max()
        found.loc[latest.index] = latest
    return found


def round_volume_share(basis: Basis) -> pd.DataFrame:
    """Tell which volumes end in .0 or .5.

    Parameters
    ----------
    basis : Basis
        Log and visits.

    Returns
    -------
    DataFrame
        One unit a visit with a volume of `written_volumes`; excluded where the ward
        reads in steps of 0.5 mL or coarser, so that nothing can be told. Nobody's
        preference gives 1 in 5 where volumes are read to 0.1 mL, 1 in 50 to 0.01 mL.
    """
    rows = basis.log.checks[["infusion_id", *VOLUME_COLUMNS]]
    read = written_volumes(rows[rows["infusion_id"] != ""])
    # In the order of visits, so that units need not be sorted by their names.
    read = read.take(basis.visits.places(read.index).argsort(kind="stable"))
    read, visits = once_a_visit(read, basis.visits)
    halves = read["volume_ml"] * 2
    return _judged(
        visits,
        (halves - halves.round()).abs() < 1e-6,
        (HabitOutcome.ROUND_VOLUME, HabitOutcome.OTHER_VOLUME),
        first_true(
            visits.index, (read["step_ml"] >= _COARSE_ML, Exclusion.COARSE_SCALE)
        ),
    )


def copied_readings(basis: Basis) -> pd.DataFrame:
    """Tell which readings equal the one before though the driver must have moved.

    A reading has something to say where the driver is shown running and the line fell
    by more than one reading step since the reading before it. One that is the same is
    consistent with a copied reading, and with a driver that had stopped.

    Parameters
    ----------
    basis : Basis
        Log, lines and visits.

    Returns
    -------
    DataFrame
        One unit a reading that has one of the same kind before it in its infusion;
        excluded where nothing can be told, by reason.
    """
    pairs = basis.pairs
    return _judged(
        pairs.visits,
        pairs.read["is_same"],
        (HabitOutcome.SAME_READING, HabitOutcome.MOVED),
        _need_not_have_moved(pairs),
    )


def copied_rows(basis: Basis) -> pd.DataFrame:
    """Tell which rows repeat the row before though the driver must have moved.

    Parameters
    ----------
    basis : Basis
        Log, lines and visits.

    Returns
    -------
    DataFrame
        The units of `copied_readings`; counted where the whole row is the same
        (`is_row_repeated`).
    """
    pairs = basis.pairs
    is_repeated = is_row_repeated(basis.log.checks).loc[pairs.read.index]
    return _judged(
        pairs.visits,
        is_repeated & pairs.read["is_same"],
        (HabitOutcome.SAME_ROW, HabitOutcome.MOVED),
        _need_not_have_moved(pairs),
    )


def _need_not_have_moved(pairs: Pairs) -> pd.Series:
    """Say why nothing can be told of a reading that is the same; empty where it can."""
    read = pairs.read
    return first_true(
        read.index,
        (pairs.visits["is_after_end"], Exclusion.AFTER_END),
        (read["is_paused"], Exclusion.PAUSED),
        (~read["is_running"], Exclusion.NOT_SHOWN_RUNNING),
        (read["fell_ml"].isna(), Exclusion.NO_RATE_LINE),
        (read["fell_ml"] <= read["step_ml"], Exclusion.MOVED_TOO_LITTLE),
    )


def is_row_repeated(checks: pd.DataFrame) -> pd.Series:
    """Tell which rows say what the row before them of their infusion says.

    Parameters
    ----------
    checks : DataFrame
        Accepted rows in order of time.

    Returns
    -------
    Series of bool
        On the index of `checks`: all that is seen at a check is the same, the battery
        and a volume are among it, and the battery has had more than one value in that
        infusion.
    """
    of = checks.loc[checks["infusion_id"] != "", ["infusion_id", *_SEEN]]
    by = of.groupby("infusion_id", observed=False)
    same = pd.Series(data=True, index=of.index)
    for name in _SEEN:
        before = by[name].shift()
        same &= (of[name] == before) | (of[name].isna() & before.isna())
    has_volume = of["volume_remaining_ml"].notna() | of["volume_delivered_ml"].notna()
    battery = of["battery_pct"].notna() & (by["battery_pct"].transform("nunique") > 1)
    found = (same & has_volume & battery).reindex(checks.index, fill_value=False)
    return found.astype(bool)


def readings_too_close(basis: Basis) -> pd.DataFrame:
    """Tell which infusions' readings lie closer to the line than readings can.

    A volume read from marks one step apart is off by up to half a step, evenly. Other
    errors add to that and never bring readings nearer to a line that knows nothing of
    them: n readings are all together within r steps of the line (root of the summed
    squares) with a chance of at most the volume of a ball of radius r in n dimensions.
    An infusion counts where that is at most `FALSE_ALARM`: consistent with numbers
    worked out, and not read. A number worked out and then rounded to the ward's marks
    looks like a careful reading, and is not seen.

    Parameters
    ----------
    basis : Basis
        Log, lines and visits.

    Returns
    -------
    DataFrame
        One unit an infusion with a reading after its start; excluded without a
        set-rate line or a start volume, with too few readings, or where the line
        itself lies on the marks at all its readings. Readings between which the line
        fell by less than a step are not independent: the first of them is used.
    """
    read = readings_on_line(basis.lines)
    close = closeness(read)
    opening = read[~read["infusion_id"].duplicated()]
    closing = read[~read["infusion_id"].duplicated("last")]
    ids, source = opening["infusion_id"].array, basis.log.checks["source"]
    known = by_keys(
        pd.CategoricalIndex(ids), basis.log.infusions[["patient_id", "started_at"]]
    )
    units = pd.DataFrame(
        {
            "unit_id": np.asarray(ids.astype("str")),
            "ward": opening["ward"].array,
            "patient_id": known["patient_id"].array,
            "infusion_id": ids,
            "line_id": blank(close.index),
            "due_at": known["started_at"].array,
            "first_source": source.loc[opening.index].array,
            "last_source": source.loc[closing.index].array,
        },
        index=close.index,
    )
    return _judged(
        units,
        close["chance"] <= FALSE_ALARM,
        (HabitOutcome.TOO_CLOSE, HabitOutcome.AS_READ),
        first_true(
            close.index,
            (~close["has_line"], Exclusion.NO_RATE_LINE),
            (~close["has_start_volume"], Exclusion.START_VOLUME_NOT_CHARTED),
            (close["readings"] < FEWEST_READINGS, Exclusion.TOO_FEW_READINGS),
            (close["chance_of_line"] <= FALSE_ALARM, Exclusion.LINE_ON_MARKS),
        ),
    )


def _judged(
    units: pd.DataFrame,
    is_so: pd.Series,
    words: tuple[HabitOutcome, HabitOutcome],
    reason: pd.Series,
) -> pd.DataFrame:
    """Finish units by what they show, and what they do not."""
    outcome = first_true(units.index, (is_so, words[0]), default=words[1])
    return judged(units, outcome, words[0], reason)


_lacks_volumes = lacks_columns("checks", "volume_remaining_ml", "volume_delivered_ml")

FAMILY = (
    Measure(
        name="exact_hour_share",
        family=Family.HABITS,
        label="Times on the exact hour",
        unit="checks",
        meaning="Checks timed on the exact hour; by chance 1 in 60 would be. Where "
        "many are, times are likely those of the round, and timeliness is as recorded.",
        find=exact_hour_share,
        is_habit=True,
    ),
    Measure(
        name="round_volume_share",
        family=Family.HABITS,
        label="Volumes ending in .0 or .5",
        unit="readings",
        meaning="Volumes read that end in .0 or .5. With no digit preferred 1 in 5 "
        "would where volumes are read to 0.1 mL. Wards that read in steps of 0.5 mL or "
        "coarser are left out, and so are start volumes and empty syringes.",
        find=round_volume_share,
        lacks=_lacks_volumes,
        is_habit=True,
        from_readings=True,
    ),
    Measure(
        name="copied_readings",
        family=Family.HABITS,
        label="Readings the same as the one before",
        unit="readings",
        meaning="Of the readings with the driver shown running and more than one step "
        "of movement due by the line since the reading before, those that are the "
        "same. Consistent with a copied reading, and with a driver that had stopped.",
        find=copied_readings,
        lacks=lambda log: (
            lacks_columns("checks", "running")(log) or _lacks_volumes(log)
        ),
        is_habit=True,
        from_readings=True,
    ),
    Measure(
        name="copied_rows",
        family=Family.HABITS,
        label="Rows the same as the one before",
        unit="readings",
        meaning="Of the same readings, those whose whole row is the same, battery "
        "among it, in an infusion whose battery was seen to change.",
        find=copied_rows,
        lacks=lambda log: (
            lacks_columns("checks", "running")(log)
            or _lacks_volumes(log)
            or lacks_columns("checks", "battery_pct")(log)
        ),
        is_habit=True,
        from_readings=True,
    ),
    Measure(
        name="readings_too_close",
        family=Family.HABITS,
        label="Readings closer to the line than readings are",
        unit="infusions",
        meaning="Infusions whose readings lie closer to the set-rate line than the "
        "marks they are read from allow, beyond a chance of 1 in 1,000. Consistent "
        "with numbers worked out and not read.",
        find=readings_too_close,
        lacks=lambda log: (
            _lacks_volumes(log) or lacks_columns("checks", "set_rate_ml_h")(log)
        ),
        is_habit=True,
        from_readings=True,
    ),
    Measure(
        name="written_in_batches",
        family=Family.HABITS,
        label="Checks written late in a batch",
        unit="checks",
        meaning="Checks written more than the check interval after they were made, "
        "within two minutes of another such check of the same driver.",
        find=written_in_batches,
        lacks=lacks_columns("checks", "recorded_at"),
        is_habit=True,
    ),
)
