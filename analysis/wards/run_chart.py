"""Run charts: whether a line of months strays from its centre by more than chance.

Two rules: an unusually long run of points on one side (a shift), and unusually few
crossings of the centre. A rule on trends is left out: it finds next to nothing.
"""

from dataclasses import dataclass
from functools import cache
from math import comb

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
    are_rare : bool
        So few crossings are rare among all orders of the same points; asked of those
        of a mean alone.
    in_long_run : array of bool, shape (n,)
        Points of runs longer than the limit, and rare likewise.
    """

    useful: int
    longest: int
    longest_limit: int
    crossings: int
    crossings_limit: int
    are_rare: bool
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
        """True where there are enough points, and crossings too few and rare.

        Returns
        -------
        bool
            The limit itself is allowed.
        """
        is_few = self.is_judged and self.crossings < self.crossings_limit
        return is_few and self.are_rare


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


#: A pattern is told only where so few random orders show it.
_CHANCE = 0.05


def chance_of_run(longest: int, own: int, others: int) -> float:
    """Give the share of random orders in which one side has so long a run.

    Parameters
    ----------
    longest : int
        Length of the run, 1 or more.
    own, others : int
        Points on that side of the centre, and on the other.

    Returns
    -------
    float
        Share of all orders of these points.

    Examples
    --------
    >>> round(chance_of_run(2, 2, 2), 4)
    0.5
    """
    # Others leave places for runs of own points; those with a long one are taken out.
    without = sum(
        (-1) ** j * comb(others + 1, j) * comb(own - j * longest + others, others)
        for j in range(min(others + 1, own // longest) + 1)
    )
    return float(1 - without / comb(own + others, others))


def chance_of_crossings(crossings: int, above: int, below: int) -> float:
    """Give the share of random orders with so few crossings of the centre, or fewer.

    Parameters
    ----------
    crossings : int
        Times the line crosses the centre.
    above, below : int
        Points on each side of it.

    Returns
    -------
    float
        Share of all orders of these points.

    Notes
    -----
    Wald A, Wolfowitz J (1940) Ann Math Stat 11:147-162: one crossing less than runs.

    Examples
    --------
    >>> round(chance_of_crossings(1, 5, 5), 4)
    0.0079
    """
    if not above or not below:
        return 1.0
    orders = 0
    for runs in range(2, crossings + 2):
        more, fewer = (runs + 1) // 2 - 1, runs // 2 - 1
        orders += comb(above - 1, more) * comb(below - 1, fewer)
        orders += comb(above - 1, fewer) * comb(below - 1, more)
    return orders / comb(above + below, above)


def find_runs(values: np.ndarray, centre: float, *, is_mean: bool = False) -> Runs:
    """Find runs of points on one side of a centre.

    Parameters
    ----------
    values : array of float, shape (n,)
        In order of time; NaN is a gap, over which a run goes on.
    centre : float
        Median or mean; a point on it takes no part and breaks no run.
    is_mean : bool
        The centre is a mean, which need not have as many points above as below.

    Returns
    -------
    Runs
        With no useful point all numbers are 0.

    Notes
    -----
    The limits presume as many points above the centre as below. Where most months are
    at nought and few far above, most are below the mean whatever happens. About a mean
    a run, or few crossings, is told only where it is also rare (5 %) among all orders
    of the same points.
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
            are_rare=False,
            in_long_run=in_long_run,
        )
    run = np.concatenate([[0], np.cumsum(np.diff(side[places]) != 0)])
    length = np.bincount(run)
    limit = longest_limit(useful)
    own = side[places]
    many = {1.0: int((own > 0).sum()), -1.0: int((own < 0).sum())}
    if useful >= FEWEST_USEFUL:
        sides = own[np.flatnonzero(np.diff(run, prepend=-1))]
        is_told = [
            size > limit
            and not (is_mean and chance_of_run(size, many[up], many[-up]) > _CHANCE)
            for size, up in zip(length.tolist(), sides.tolist(), strict=True)
        ]
        in_long_run[places] = np.array(is_told)[run]
    crossings = int(run[-1])
    chance = chance_of_crossings(crossings, many[1.0], many[-1.0])
    return Runs(
        useful=useful,
        longest=int(length.max()),
        longest_limit=limit,
        crossings=crossings,
        crossings_limit=crossings_limit(useful),
        are_rare=not (is_mean and chance > _CHANCE),
        in_long_run=in_long_run,
    )
