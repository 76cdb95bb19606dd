"""Readings of a syringe in the order of its course, held against its line."""

from dataclasses import dataclass

import pandas as pd

from analysis.compliance.coded import in_runs
from analysis.compliance.digits import reading_steps
from analysis.compliance.visits import Visits
from analysis.terms import YesNo


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairs:
    """Readings that have one of the same kind before them in their infusion.

    Attributes
    ----------
    visits : DataFrame, shape (n, ...)
        The visit of each reading, a unit of `Visits`.
    read : DataFrame, shape (n, ...)
        On the index of their rows in the log: is_same (the one before it again),
        is_paused, is_running (the visit saw the light), fell_ml (fall of the line
        between the two; NaN without a line), step_ml (the step the ward reads in).
    """

    visits: pd.DataFrame
    read: pd.DataFrame


def pairs_of(lines: pd.DataFrame, visits: Visits, running: pd.Series) -> Pairs:
    """Pair each reading with the one before it.

    Parameters
    ----------
    lines : DataFrame
        Set-rate line at each row, as given by `expected_lines`, in order of time.
    visits : Visits
        Checks that were made; of the readings of one visit the last is taken.
    running : Series of str
        Running light of each row of the log.

    Returns
    -------
    Pairs
        Readings in order of infusion and time.
    """
    names = ["infusion_id", "ward", "checked_at", "source", "observed_ml"]
    names += ["expected_ml", "is_paused"]
    read, units = once_a_visit(
        in_runs(lines.loc[lines["observed_ml"].notna(), names]), visits
    )
    is_of_kind = read["source"] == read["source"].shift()
    has_before = is_of_kind & (read["infusion_id"] == read["infusion_id"].shift())
    read = pd.DataFrame(
        {
            "is_same": read["observed_ml"].diff() == 0,
            "is_paused": read["is_paused"],
            "fell_ml": -read["expected_ml"].diff().round(6),
            "step_ml": reading_steps(read, read["observed_ml"]),
        }
    )[has_before]
    is_running = visits.any_of(running == YesNo.YES).to_numpy()
    read["is_running"] = is_running[visits.places(read.index)]
    return Pairs(visits=units[has_before], read=read)


def readings_on_line(lines: pd.DataFrame) -> pd.DataFrame:
    """Give the readings after the start that a moving line can be held against.

    Parameters
    ----------
    lines : DataFrame
        Set-rate line at each row, as given by `expected_lines`, in order of time.

    Returns
    -------
    DataFrame
        Columns of `lines`, in order of infusion and time, with step_ml (the step the
        ward reads in) and is_used (the line fell by a step or more since the reading
        before it, or there is none).
    """
    is_read = (lines["source"] != "") & ~lines["is_start"] & ~lines["is_after_end"]
    is_floored = lines["is_floored"] & (lines["expected_ml"] <= 0)
    names = ["infusion_id", "ward", "checked_at", "source", "basis", "observed_ml"]
    names += ["expected_ml", "residual_ml", "has_start_volume"]
    read = in_runs(lines.loc[is_read & ~is_floored, names])
    step = reading_steps(read, read["observed_ml"])
    is_first = ~read["infusion_id"].duplicated()
    fell = -read["expected_ml"].diff()
    is_used = is_first | fell.isna() | (fell.round(6) >= step)
    return read.assign(step_ml=step, is_used=is_used)


def once_a_visit(
    read: pd.DataFrame, visits: Visits
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Keep the last of the readings of one visit.

    Parameters
    ----------
    read : DataFrame
        Readings on the index of their rows in the log, each infusion's in order of
        time.
    visits : Visits
        Checks that were made.

    Returns
    -------
    readings, visits : DataFrame
        On the same index: the readings kept, and the visit of each.
    """
    place = visits.places(read.index)
    if len(visits.repeated):
        is_kept = ~pd.Series(place).duplicated(keep="last").to_numpy()
        read, place = read[is_kept], place[is_kept]
    return read, visits.units.take(place).set_axis(read.index)
