"""The start of each infusion: its row and the look after it, the rate first charted.

And the steps in which rates and volumes are charted, finer than which nothing differs.
"""

import pandas as pd

from analysis.compliance.measure import Basis
from analysis.delivery.noise import VOLUME_STEPS_ML, coarsest_step
from analysis.intake import Log
from analysis.lookup import by_key, by_keys
from analysis.terms import Entry

#: Steps of a charted rate [mL/h]: as many decimals as it has.
_RATE_STEPS = (1.0, 0.1, 0.01, 0.001)


def start_visits(basis: Basis) -> pd.DataFrame:
    """Give each infusion the visit it was started at, with the start row's ward.

    Parameters
    ----------
    basis : Basis
        Log and visits.

    Returns
    -------
    DataFrame
        On the index of the infusions: the visit's place among the units of visits,
        due_at, first_source, last_source, and ward; missing without a start row.
    """
    rows = basis.log.checks[["infusion_id", "entry", "ward"]]
    rows = rows[rows["infusion_id"] != ""]
    is_first = ~rows["infusion_id"].duplicated()
    opens = (rows["entry"] == Entry.START) | (
        (rows["entry"] == Entry.SYRINGE_CHANGE) & is_first
    )
    opening = rows.loc[opens, ["infusion_id", "ward"]]
    opening = opening[~opening["infusion_id"].duplicated()]
    place = basis.visits.places(opening.index)
    visits = basis.visits.units[["due_at", "first_source", "last_source"]].take(place)
    found = visits.set_axis(opening.index).assign(place=place, ward=opening["ward"])
    found = found.set_axis(pd.CategoricalIndex(opening["infusion_id"].array))
    return by_keys(basis.log.infusions.index, found)


def first_after(basis: Basis, started: pd.Series) -> pd.DataFrame:
    """Give the first visit after each infusion's start, up to its observed end.

    Parameters
    ----------
    basis : Basis
        Visits.
    started : Series of Timestamp
        When each infusion was started, by infusion_id; NaT where not known.

    Returns
    -------
    DataFrame
        Indexed by infusion_id: due_at, ward and last_source. Infusions without such a
        visit are not in it.
    """
    visits = basis.visits.units
    start = by_key(visits["infusion_id"], started)
    is_later = ~visits["is_after_end"] & (visits["due_at"] > start)
    later = visits.loc[is_later, ["infusion_id", "due_at", "ward", "last_source"]]
    return later[~later["infusion_id"].duplicated()].set_index("infusion_id")


def start_rates(basis: Basis) -> pd.DataFrame:
    """Give the first rate of each infusion.

    Parameters
    ----------
    basis : Basis
        Log and lines.

    Returns
    -------
    DataFrame
        Indexed by infusion_id: set_rate_ml_h above 0 that is charted before any
        rate_change row and is not doubtful, and its source. Infusions without one are
        not in it.
    """
    rows = basis.log.checks
    is_change = rows["entry"] == Entry.RATE_CHANGE
    is_later = is_change.groupby(rows["infusion_id"], observed=False).cummax()
    doubtful = basis.lines["is_doubtful_rate"].reindex(rows.index, fill_value=False)
    is_start = (rows["set_rate_ml_h"] > 0) & ~is_later & ~doubtful.astype(bool)
    is_start &= rows["infusion_id"] != ""
    found = rows.loc[is_start, ["infusion_id", "set_rate_ml_h", "source"]]
    return found[~found["infusion_id"].duplicated()].set_index("infusion_id")


def rate_step(rate: pd.Series, ward: pd.Series) -> pd.Series:
    """Give the step of each charted rate: its decimals or its ward's.

    Parameters
    ----------
    rate : Series of float, shape (n,)
        As charted [mL/h]; missing where not.
    ward : Series of str, shape (n,)
        Where it was charted.

    Returns
    -------
    Series of float, shape (n,)
        The finer of the two [mL/h].
    """
    of_ward = rate.groupby(ward).agg(lambda part: coarsest_step(part, _RATE_STEPS))
    own = pd.Series(_RATE_STEPS[-1], index=rate.index)
    for step in reversed(_RATE_STEPS):
        is_on = ((rate / step) - (rate / step).round()).abs() < 1e-6
        own = own.mask(is_on, step)
    usual = by_key(ward, of_ward)
    return own.where(own < usual, usual)


def volume_steps(log: Log) -> pd.Series:
    """Give the step in which each ward reads a syringe's volume.

    Parameters
    ----------
    log : Log
        Canonical tables.

    Returns
    -------
    Series of float
        Indexed by ward [mL], of readings and start volumes.
    """
    read = log.checks.loc[log.checks["infusion_id"] != "", ["ward"]]
    read = read.assign(volume=log.checks["volume_remaining_ml"])
    start = log.infusions[["ward"]].assign(volume=log.infusions["start_volume_ml"])
    both = pd.concat([read, start], ignore_index=True)
    by = both.groupby("ward")["volume"]
    return by.agg(lambda part: coarsest_step(part, VOLUME_STEPS_ML))
