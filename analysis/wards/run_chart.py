"""Run charts: whether a line of months strays from its centre by more than chance.

Two rules: an unusually long run of points on one side (a shift), and unusually few
crossings of the centre. A rule on trends is left out: it finds next to nothing.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy import stats

#: Fewer useful points than this show no pattern.
FEWEST_USEFUL = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Runs:
    """Runs about a centre.

    Attributes
    ----------
    useful : int
        Points off the centre; those on it, and gaps, take no part.
    longest, longest_limit : int
        Longest run, and the longest that chance allows.
    crossings, crossings_limit : int
        Times the line crosses the centre, and the fewest that chance allows.
    in_long_run : array of bool, shape (n,)
        Points of runs longer than the limit.
    """

    useful: int
    longest: int
    longest_limit: int
    crossings: int
    crossings_limit: int
    in_long_run: np.ndarray

    @property
    def is_judged(self) -> bool:
        """True from ten useful points.

        Returns
        -------
        bool
            With fewer, nothing is said.
        """
        return self.useful >= FEWEST_USEFUL

    @property
    def has_few_crossings(self) -> bool:
        """True where there are enough points and too few crossings.

        Returns
        -------
        bool
            The limit itself is allowed.
        """
        return self.is_judged and self.crossings < self.crossings_limit


def longest_limit(useful: int) -> int:
    """Give the longest run that chance allows.

    Parameters
    ----------
    useful : int
        Useful points, 1 or more.

    Returns
    -------
    int
        log2(n) + 3, rounded.

    Notes
    -----
    Schilling MF (2012) Am Stat 66:63-66, as used by Anhoej J, Olesen AV (2014) PLoS One
    9:e113825.
    """
    return round(float(np.log2(useful)) + 3)


@cache
def crossings_limit(useful: int) -> int:
    """Give the fewest crossings that chance allows.

    Parameters
    ----------
    useful : int
        Useful points, 1 or more.

    Returns
    -------
    int
        The 5 % point of a binomial of n - 1 trials of one half.

    Notes
    -----
    Chen Z (2010) Qual Saf Health Care 19:e53, as used by Anhoej J, Olesen AV (2014)
    PLoS One 9:e113825.
    """
    return int(stats.binom.ppf(0.05, useful - 1, 0.5)) if useful > 1 else 0


def find_runs(values: np.ndarray, centre: float) -> Runs:
    """Find runs of points on one side of a centre.

    Parameters
    ----------
    values : array of float, shape (n,)
        In order of time; NaN is a gap, over which a run goes on.
    centre : float
        Median or mean; a point on it takes no part and breaks no run.

    Returns
    -------
    Runs
        With no useful point all numbers are 0.
    """
    side = np.sign(np.nan_to_num(np.asarray(values, float) - centre))
    places = np.flatnonzero(side)
    useful = len(places)
    in_long_run = np.zeros(len(side), dtype=bool)
    if not useful:
        return Runs(
            useful=0,
            longest=0,
            longest_limit=0,
            crossings=0,
            crossings_limit=0,
            in_long_run=in_long_run,
        )
    run = np.concatenate([[0], np.cumsum(np.diff(side[places]) != 0)])
    length = np.bincount(run)
    limit = longest_limit(useful)
    if useful >= FEWEST_USEFUL:
        in_long_run[places] = length[run] > limit
    return Runs(
        useful=useful,
        longest=int(length.max()),
        longest_limit=limit,
        crossings=int(run[-1]),
        crossings_limit=crossings_limit(useful),
        in_long_run=in_long_run,
    )
