"""How long sites last: curves, medians and tests, by statsmodels wherever it has them.

Times are days since the placement. Sites placed before the log began come in late
(delayed entry) where the day of placement is known; where it is not they take no part,
and are counted by name. Limits take sites as independent of each other.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy import stats
from statsmodels.duration.survfunc import CumIncidenceRight, SurvfuncRight, survdiff

from analysis.intervals import CONFIDENCE
from analysis.sites.episodes import Courses
from analysis.terms import SiteEnd

_REACH: Final = float(stats.norm.isf((1 - CONFIDENCE) / 2))

#: Masses of the interval-censored estimate are taken as found when none changes more.
_STILL: Final = 1e-7
_MOST_ROUNDS: Final = 20_000

#: Outcomes that compete, in the order of their codes from 1.
COMPETING: Final = (
    SiteEnd.REACTION,
    SiteEnd.REMOVAL,
    SiteEnd.END_OF_TREATMENT,
    SiteEnd.DEATH,
)


def site_times(courses: Courses, episodes: pd.DataFrame) -> pd.DataFrame:
    """Give the times of every site at risk whose placement is known.

    Parameters
    ----------
    courses : Courses
        As given by `site_courses`.
    episodes : DataFrame
        As given by `site_episodes`.

    Returns
    -------
    DataFrame
        Indexed by site, times in days since the placement: entry (0 unless it was
        placed before the log began), time, is_reaction, end (`SiteEnd`), clear (last
        known to have had no reaction) and seen (a reaction lies between them; infinite
        without one), gone, leaves, and patient_id, ward, location, material.
    """
    is_in = (episodes["exclusion"] == "") & episodes["placed_at"].notna()
    own, sites = episodes[is_in], courses.sites[is_in]
    placed = own["placed_at"]

    def days(at: pd.Series) -> pd.Series:
        return (at - placed).dt.total_seconds() / 86400

    out = own[["patient_id", "ward", "location", "material", "end"]].copy()
    out["entry"], out["time"] = days(own["starts_at"]), days(own["ends_at"])
    out["is_reaction"] = own["event_at"].notna()
    # What was never seen clear reacted at some time since the placement.
    out["clear"] = days(own["clear_at"]).fillna(0.0).clip(lower=0.0)
    out["seen"] = out["time"].where(out["is_reaction"], np.inf)
    out["gone"], out["leaves"] = days(sites["gone_at"]), sites["leaves"]
    return out[out["time"] > out["entry"]]


def log_log(share: np.ndarray, error: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give limits on the scale log(-log) for a curve between 0 and 1.

    Parameters
    ----------
    share, error : array of float, shape (n,)
        Estimates and their standard errors.

    Returns
    -------
    low, high : arrays of float, shape (n,)
        95 % limits; NaN at 0 and 1, where there are none.

    Notes
    -----
    Kalbfleisch JD, Prentice RL (2002) The Statistical Analysis of Failure Time Data,
    2nd ed. (from memory).
    """
    inside = (share > 0) & (share < 1)
    s = np.where(inside, share, 0.5)
    reach = np.where(inside, _REACH * error / (s * np.abs(np.log(s))), np.nan)
    return s ** np.exp(reach), s ** np.exp(-reach)


def kaplan_meier(times: pd.DataFrame) -> pd.DataFrame:
    """Estimate the share of sites still free of an event.

    Parameters
    ----------
    times : DataFrame
        time and is_event of each site, and entry where sites come in late.

    Returns
    -------
    DataFrame
        One row a time with events, in order: time, at_risk, events, estimate, error
        (Greenwood's), low and high (log-log limits).
    """
    if not times["is_event"].any():
        names = ["time", "at_risk", "events", "estimate", "error", "low", "high"]
        return pd.DataFrame({name: np.array([], float) for name in names})
    curve = _survival(times)
    error = np.nan_to_num(curve.surv_prob_se)
    low, high = log_log(curve.surv_prob, error)
    return pd.DataFrame(
        {
            "time": curve.surv_times,
            "at_risk": curve.n_risk,
            "events": curve.n_events,
            "estimate": curve.surv_prob,
            "error": error,
            "low": low,
            "high": high,
        }
    )


def _survival(times: pd.DataFrame) -> SurvfuncRight:
    entry = times["entry"].to_numpy(float) if "entry" in times else None
    with np.errstate(divide="ignore", invalid="ignore"):
        return SurvfuncRight(
            times["time"].to_numpy(float),
            times["is_event"].to_numpy(int),
            entry=entry,
        )


@dataclass(frozen=True, slots=True)
class Median:
    """A median time and its limits; infinite where the curve does not come so low."""

    days: float
    low: float
    high: float


def median_time(times: pd.DataFrame, scale: str = "cloglog") -> Median:
    """Give the median time to an event.

    Parameters
    ----------
    times : DataFrame
        As for `kaplan_meier`.
    scale : str
        Scale of the limits, as statsmodels calls it.

    Returns
    -------
    Median
        Infinite where fewer than half have had the event; limits NaN without an event.

    Notes
    -----
    Brookmeyer R, Crowley J (1982) Biometrics 38:29-41 (from memory), by statsmodels.
    """
    if not times["is_event"].any():
        return Median(np.inf, np.nan, np.inf)
    curve = _survival(times)
    with np.errstate(divide="ignore", invalid="ignore"):
        low, high = curve.quantile_ci(0.5, 1 - CONFIDENCE, scale)
    middle = curve.quantile(0.5)
    return Median(
        np.inf if np.isnan(middle) else float(middle), float(low), float(high)
    )


@dataclass(frozen=True, slots=True)
class GroupTest:
    """A test of groups of sites against each other."""

    chi_square: float
    freedom: int
    p: float


def log_rank(times: pd.DataFrame, group: pd.Series) -> GroupTest | None:
    """Test whether curves of groups differ by more than chance brings.

    Parameters
    ----------
    times : DataFrame
        As for `kaplan_meier`.
    group : Series
        Group of each site.

    Returns
    -------
    GroupTest or None
        None with fewer than two groups, without an event, or where the events do not
        compare every group with the others: its sites are never at risk beside theirs
        at an event that some of them stay free of.
    """
    groups = group.nunique()
    if groups < 2 or not times["is_event"].any():
        return None
    entry = times["entry"].to_numpy(float) if "entry" in times else None
    if not _are_compared(times, group):
        return None
    chi_square, p = survdiff(
        times["time"].to_numpy(float),
        times["is_event"].to_numpy(int),
        pd.factorize(group)[0],
        entry=entry,
    )
    return GroupTest(float(chi_square), groups - 1, float(p))


def _are_compared(times: pd.DataFrame, group: pd.Series) -> bool:
    """Tell whether the variance of a log-rank test can be turned round.

    It can where events link all groups. One links those with sites at risk just then,
    unless all these sites have it.
    """
    at, events = np.unique(times.loc[times["is_event"], "time"], return_counts=True)
    ends, codes = times["time"].to_numpy(float), pd.factorize(group)[0]
    entry = times["entry"].to_numpy(float) if "entry" in times else None
    at_risk = np.zeros((len(at), codes.max() + 1))
    for place in range(at_risk.shape[1]):
        own = codes == place
        at_risk[:, place] = own.sum() - np.searchsorted(np.sort(ends[own]), at)
        if entry is not None:
            later = np.searchsorted(np.sort(entry[own]), at)
            at_risk[:, place] -= own.sum() - later
    beside = at_risk[at_risk.sum(axis=1) > events] > 0
    linked = (beside.T.astype(float) @ beside) > 0
    for _ in range(len(linked)):
        linked = (linked.astype(float) @ linked) > 0
    return bool(linked.all())


def cumulative_incidence(time: np.ndarray, cause: np.ndarray) -> list[pd.DataFrame]:
    """Estimate how many sites have come to each of several ends that compete.

    Parameters
    ----------
    time : array of float, shape (n,)
        Since the placement; none comes in late.
    cause : array of int, shape (n,)
        0 where the end was not seen, else its code from 1.

    Returns
    -------
    list of DataFrame
        One a code: time, estimate, error, low and high (log-log limits).

    Notes
    -----
    Aalen and Johansen's estimator, by statsmodels. One less the Kaplan-Meier estimate
    would count what can no longer happen.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        found = CumIncidenceRight(np.asarray(time, float), np.asarray(cause, int))
    frames = []
    for share, error in zip(found.cinc, found.cinc_se, strict=True):
        low, high = log_log(share, np.nan_to_num(error, posinf=0.0))
        frames.append(
            pd.DataFrame(
                {
                    "time": found.times,
                    "estimate": share,
                    "error": error,
                    "low": low,
                    "high": high,
                }
            )
        )
    return frames


def self_consistent(clear: np.ndarray, seen: np.ndarray) -> pd.DataFrame:
    """Estimate when events happened that are only known to lie between two looks.

    Parameters
    ----------
    clear, seen : array of float, shape (n,)
        The event is later than the first and not later than the second, which is
        infinite where none was seen.

    Returns
    -------
    DataFrame
        One row an interval that holds some of the probability, in order: low, high,
        mass. Where within an interval it lies the data do not say.

    Notes
    -----
    The self-consistency algorithm of Turnbull BW (1976) J R Stat Soc B 38:290-295
    (from memory), on the innermost intervals; equal pairs are counted once.
    """
    pairs = pd.DataFrame({"clear": clear, "seen": seen}).value_counts().reset_index()
    clear, seen = pairs["clear"].to_numpy(float), pairs["seen"].to_numpy(float)
    weight = pairs["count"].to_numpy(float)
    low, high = _innermost(clear, seen)
    first = np.searchsorted(low, clear, side="left")
    after = np.searchsorted(high, seen, side="right")
    mass = np.full(len(low), 1 / len(low))
    for _ in range(_MOST_ROUNDS):
        heap = np.concatenate([[0.0], np.cumsum(mass)])
        share = weight / np.maximum(heap[after] - heap[first], 1e-300)
        steps = np.bincount(first, share, len(low) + 1)
        steps -= np.bincount(after, share, len(low) + 1)
        renewed = mass * np.cumsum(steps)[:-1] / weight.sum()
        is_still = np.abs(renewed - mass).max() < _STILL
        mass = renewed
        if is_still:
            break
    return pd.DataFrame({"low": low, "high": high, "mass": mass})


def _innermost(clear: np.ndarray, seen: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give intervals (a, b], a an end of "clear", b one of "seen", nothing between."""
    # At equal times an end comes before a beginning: intervals are open below.
    value = np.concatenate([clear, seen])
    begins = np.concatenate([np.ones(len(clear), bool), np.zeros(len(seen), bool)])
    order = np.lexsort((begins, value))
    value, begins = value[order], begins[order]
    inner = np.flatnonzero(begins[:-1] & ~begins[1:])
    return value[inner], value[inner + 1]


def free_at(masses: pd.DataFrame, days: np.ndarray) -> np.ndarray:
    """Read the share still free off the masses of `self_consistent`.

    Parameters
    ----------
    masses : DataFrame
        As given by `self_consistent`.
    days : array of float, shape (n,)
        Times.

    Returns
    -------
    array of float, shape (n,)
        NaN within an interval, where it is not known.
    """
    before = np.concatenate([[0.0], masses["mass"].cumsum().to_numpy()])
    ended = np.searchsorted(masses["high"].to_numpy(), days, side="right")
    begun = np.searchsorted(masses["low"].to_numpy(), days, side="left")
    return np.where(ended == begun, 1 - before[ended], np.nan)
