"""Where a line of months must be split: from there on something else is measured.

A ward that moves from a scale read to whole mL to a display read to tenths has fewer
delivery findings afterwards, and nothing about its deliveries has changed. One policy
judges the whole log, the months before a new policy among them, so that no policy
splits a line within one audit.
"""

import numpy as np
import pandas as pd

from analysis.delivery.noise import VOLUME_STEPS_ML, coarsest_step
from analysis.lookup import written
from analysis.terms import ALL, Entry

#: Fewer readings than this do not show a step.
FEWEST_READINGS = 15

#: Steps so many times as coarse, or as fine, are another way of reading.
_FACTOR = 1.99

#: Days of a part of a month, to see whether the step changed within it.
_DAYS = 7


def reading_steps(readings: pd.DataFrame) -> pd.DataFrame:
    """Find how fine each ward reads volumes, month by month.

    Parameters
    ----------
    readings : DataFrame
        The readings table. Start rows are left out: a start volume is made up and not
        read. Where a row has no volume remaining, the volume delivered is taken.

    Returns
    -------
    DataFrame
        ward, month, readings, step_ml, coarsest_ml, in order; months of fewer than
        fifteen readings are left out. ``step_ml`` is the coarsest step on which nearly
        all readings of the month lie, ``coarsest_ml`` that of its most coarsely read
        week: in a month within which the step changed, the two differ.
    """
    read = readings[readings["entry"] != Entry.START]
    volume = read["volume_remaining_ml"].fillna(read["volume_delivered_ml"])
    table = pd.DataFrame(
        {
            "ward": read["ward"].astype("str"),
            "month": read["month"].astype("str"),
            "week": (read["checked_at"].dt.day - 1) // _DAYS,
            "volume": volume.astype("float64"),
        }
    ).dropna()
    keys = ["ward", "month"]
    months = _steps(table, keys)
    weeks = _steps(table, [*keys, "week"])["step_ml"].groupby(level=keys).max()
    months["coarsest_ml"] = weeks.reindex(months.index).fillna(months["step_ml"])
    return months.reset_index()


def _steps(table: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    by = table.groupby(keys)["volume"]
    found = pd.DataFrame(
        {
            "readings": by.size(),
            "step_ml": by.agg(lambda part: coarsest_step(part, VOLUME_STEPS_ML)),
        }
    )
    return found[found["readings"] >= FEWEST_READINGS].astype({"step_ml": "float64"})


def reading_splits(readings: pd.DataFrame) -> pd.DataFrame:
    """Find the months from which a ward reads volumes in another step.

    Parameters
    ----------
    readings : DataFrame
        The readings table.

    Returns
    -------
    DataFrame
        ward, month, split (in words), in order. A line is split before the month; a
        month within which the step changed is split off on both sides. Months before
        and after a split are no comparison: what changed is the measurement.
    """
    steps = reading_steps(readings)
    rows = [
        (ward, month, words)
        for ward, own in steps.groupby("ward")
        for month, words in _ward_splits(own)
    ]
    return pd.DataFrame(rows, columns=["ward", "month", "split"], dtype="str")


def _ward_splits(own: pd.DataFrame) -> list[tuple[str, str]]:
    """Give the splits of one ward, whose months are in order."""
    month, step = own["month"].tolist(), own["step_ml"].to_numpy(float)
    mixed = own["coarsest_ml"].to_numpy(float) > _FACTOR * step
    found: dict[str, str] = {}
    for k in np.flatnonzero(np.abs(np.log(step[1:] / step[:-1])) > np.log(_FACTOR)) + 1:
        before, after = step[k - 1], step[k]
        found[month[k]] = (
            f"volumes read in steps of {after:g} mL from here, of {before:g} mL before"
        )
        # The month of the change is the finer one: it holds readings of both steps.
        is_finer_now = after < before
        if is_finer_now and mixed[k] and k + 1 < len(month):
            found[month[k]] = (
                f"volumes read in steps of {before:g} mL and of {after:g} mL"
            )
            found[month[k + 1]] = f"volumes read in steps of {after:g} mL from here"
        if not is_finer_now and mixed[k - 1] and k > 1:
            found[month[k - 1]] = (
                f"volumes read in steps of {before:g} mL and of {after:g} mL"
            )
    return sorted(found.items())


#: Days of a month that are there for the next one, or the one before, and no month
#: (README: export a few days either side of the month).
OVERLAP = pd.Timedelta(days=7)


def months_held(checks: pd.DataFrame) -> pd.MultiIndex:
    """List the months that a log holds of each ward.

    Parameters
    ----------
    checks : DataFrame
        Accepted rows in order of time, at least one: ward, and checked_at in the
        policy's zone.

    Returns
    -------
    MultiIndex
        (ward, YYYY-MM), "all" among the wards: every month of which the log spans more
        than seven days, and in which the ward has a row. A few days either side are
        exported to judge what crosses into the month, and are no month to compare one
        with. Checks that fell due in a month of which nothing was exported are missing
        from the log, whoever made them.
    """
    local = checks["checked_at"].dt.tz_localize(None)
    first, last = local.iloc[0], local.iloc[-1]
    spanned = {
        str(month)
        for month in pd.period_range(first, last, freq="M")
        if min(last, (month + 1).start_time) - max(first, month.start_time) > OVERLAP
    }
    rows = pd.DataFrame(
        {
            "ward": checks["ward"].astype("str"),
            "month": written(checks["checked_at"], "%Y-%m"),
        }
    ).drop_duplicates()
    rows = rows[rows["month"].isin(spanned)]
    every = pd.concat([rows, rows.assign(ward=ALL)]).drop_duplicates()
    return pd.MultiIndex.from_frame(every.sort_values(["ward", "month"]))
