"""Intervals for proportions, counts and rates, used by all that follows.

Thin names over statsmodels and scipy: nothing here is our own mathematics but the
effective number behind a proportion of hours.
"""

import numpy as np
import pandas as pd
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

CONFIDENCE = 0.95

#: Fewer patients than this say too little of the variance between patients.
FEWEST_CLUSTERS = 10

Limits = tuple[np.ndarray, np.ndarray]


def wilson(counted: np.ndarray, judged: np.ndarray) -> Limits:
    """Give Wilson's limits for proportions.

    Parameters
    ----------
    counted, judged : array of float, shape (n,)
        Numerators and denominators; they need not be whole, so that a number deflated
        for clustering can be used.

    Returns
    -------
    low, high : arrays of float, shape (n,)
        95 % limits; NaN where nothing was judged.

    Notes
    -----
    Newcombe RG (1998) Stat Med 17:857-872, method 3.
    """
    counted, judged = np.asarray(counted, float), np.asarray(judged, float)
    low, high = np.full(judged.shape, np.nan), np.full(judged.shape, np.nan)
    any_judged = judged > 0
    if any_judged.any():
        low[any_judged], high[any_judged] = proportion_confint(
            counted[any_judged], judged[any_judged], 1 - CONFIDENCE, method="wilson"
        )
    return low, high


def poisson_exact(events: np.ndarray, exposure: np.ndarray) -> Limits:
    """Give exact limits for rates of independent events.

    Parameters
    ----------
    events : array of int, shape (n,)
        Counts.
    exposure : array of float, shape (n,)
        Exposure, in any unit.

    Returns
    -------
    low, high : arrays of float, shape (n,)
        95 % limits per unit of exposure; NaN where there was no exposure.

    Notes
    -----
    Garwood F (1936) Biometrika 28:437-442, by the chi-square quantile.
    """
    events, exposure = np.asarray(events, float), np.asarray(exposure, float)
    tail = (1 - CONFIDENCE) / 2
    # With no event the lower quantile has no degrees of freedom: the limit is 0.
    low = np.where(events > 0, stats.chi2.ppf(tail, np.maximum(2 * events, 1)) / 2, 0.0)
    high = stats.chi2.isf(tail, 2 * events + 2) / 2
    days = np.where(exposure > 0, exposure, np.nan)
    return low / days, high / days


def effective_number(
    numerator: pd.Series, denominator: pd.Series, cluster: pd.Series
) -> float:
    """Give the number of independent yes-or-no units that a ratio of sums is worth.

    A proportion of hours has no count to put into Wilson's formula. Its variance is
    taken over patients by the ratio estimator, and turned into the n for which
    p (1 - p) / n is that variance.

    Parameters
    ----------
    numerator, denominator : Series of float, shape (n,)
        Hours of each unit.
    cluster : Series, shape (n,)
        Patient of each unit.

    Returns
    -------
    float
        NaN with fewer than ten patients, whose variance tells too little, and where the
        ratio is 0, 1 or has no variance.

    Notes
    -----
    Cochran WG (1977) Sampling Techniques, 3rd ed., section 6.5 (from memory).
    """
    sums = (
        pd.DataFrame({"x": numerator, "n": denominator})
        .groupby(cluster.to_numpy())
        .sum()
    )
    clusters, total = len(sums), sums["n"].sum()
    if clusters < FEWEST_CLUSTERS or total <= 0:
        return np.nan
    ratio = sums["x"].sum() / total
    spread = ((sums["x"] - ratio * sums["n"]) ** 2).sum() * clusters / (clusters - 1)
    variance = spread / total**2
    return ratio * (1 - ratio) / variance if variance > 0 else np.nan
