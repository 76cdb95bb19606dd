"""Intervals for proportions, counts and rates, used by all that follows.

Thin names over statsmodels and scipy where they have it; ours are the sums over
patients behind an interval that knows of clustering.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

CONFIDENCE = 0.95

#: Fewer patients than this say too little of the variance between patients.
FEWEST_CLUSTERS = 10

#: Fewer events than this say too little of how they gather in patients.
FEWEST_EVENTS = 5

_NO_SPREAD = 1e-12

Limits = tuple[np.ndarray, np.ndarray]


@dataclass(frozen=True, slots=True)
class Proportion:
    """Proportions and their limits, each an array of shape (n,)."""

    share: np.ndarray
    low: np.ndarray
    high: np.ndarray


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


def rate_ratio_exact(
    events: tuple[np.ndarray, np.ndarray], exposure: tuple[np.ndarray, np.ndarray]
) -> Limits:
    """Give exact conditional limits for ratios of rates of independent events.

    Parameters
    ----------
    events, exposure : pair of arrays, each of shape (n,)
        Counts and exposures of the rates above and below the line.

    Returns
    -------
    low, high : arrays of float, shape (n,)
        95 % limits; NaN where neither rate has an event or one has no exposure, and
        infinite above where the rate below the line has no event.

    Notes
    -----
    Given the total, the events of one rate are binomial; Clopper and Pearson's limits
    of their share are turned into those of the ratio. Rothman KJ, Greenland S (1998)
    Modern Epidemiology, 2nd ed., p. 238.
    """
    above, below = (np.asarray(x, float) for x in events)
    days, other = (np.asarray(t, float) for t in exposure)
    total = above + below
    low, high = np.full(total.shape, np.nan), np.full(total.shape, np.nan)
    known = (total > 0) & (days > 0) & (other > 0)
    if known.any():
        share = proportion_confint(
            above[known], total[known], 1 - CONFIDENCE, method="beta"
        )
        with np.errstate(divide="ignore"):
            low[known], high[known] = (
                other[known] * s / (days[known] * (1 - s)) for s in share
            )
    return low, high


def rate_ratio_p(
    events: tuple[np.ndarray, np.ndarray], exposure: tuple[np.ndarray, np.ndarray]
) -> np.ndarray:
    """Give the exact probability that agrees with the limits of a ratio of rates.

    Parameters
    ----------
    events, exposure : pair of arrays, each of shape (n,)
        As for `rate_ratio_exact`.

    Returns
    -------
    array of float, shape (n,)
        Twice the smaller tail, at most 1: below 0.05 exactly where 1 is outside the
        limits. NaN where neither rate has an event or one has no exposure.

    Notes
    -----
    Fay MP (2010) R Journal 2(1):53-58, the central one of two conventions.
    """
    above, below = (np.asarray(x, float) for x in events)
    days, other = (np.asarray(t, float) for t in exposure)
    total = above + below
    known = (total > 0) & (days > 0) & (other > 0)
    share = np.where(known, days / np.where(known, days + other, 1.0), 0.5)
    tails = (
        stats.binom.cdf(above, total, share),
        stats.binom.sf(above - 1, total, share),
    )
    p = np.minimum(1.0, 2 * np.minimum(*tails))
    return np.where(known, p, np.nan)


def rate_clustered(sums: pd.DataFrame) -> pd.DataFrame:
    """Give rates and limits that know that the events of one patient go together.

    Parameters
    ----------
    sums : DataFrame
        One row a group: events, exposure, patients, and spread: the sum over patients
        of their own term as `patient_terms` gives it, squared.

    Returns
    -------
    DataFrame
        low and high, on the index of `sums`: 95 % limits per unit of exposure, on the
        scale of the logarithm and by Student's t; NaN with fewer than
        `FEWEST_CLUSTERS` patients or `FEWEST_EVENTS` events, and where every patient
        has just the events that the rate expects: limits of no width would follow.

    Notes
    -----
    The variance is that of a Poisson regression with nothing but an intercept, robust
    to clusters, each term taken without its own patient. Bell RM, McCaffrey DF (2002)
    Survey Methodology 28:169-181 (from memory).
    """
    events = sums["events"].where(
        (sums["events"] >= FEWEST_EVENTS) & (sums["patients"] >= FEWEST_CLUSTERS)
    )
    m = sums["patients"]
    # A spread this small beside one event for each patient is rounding.
    spread = sums["spread"].where(sums["spread"] > _NO_SPREAD * m)
    error = np.sqrt((m - 1) / m.where(m > 0) * spread) / events
    reach = stats.t.isf((1 - CONFIDENCE) / 2, m.clip(lower=2) - 1) * error
    rate = events / sums["exposure"].where(sums["exposure"] > 0)
    return pd.DataFrame({"low": rate * np.exp(-reach), "high": rate * np.exp(reach)})


def patient_terms(
    events: pd.Series, exposure: pd.Series, keys: list[pd.Series]
) -> pd.Series:
    """Give how far each patient's events are from those the group's rate expects.

    Parameters
    ----------
    events, exposure : Series, shape (patients,)
        Of each patient within a group.
    keys : list of Series, each of shape (patients,)
        What makes a group.

    Returns
    -------
    Series, shape (patients,)
        Events less expected ones, divided by the share of the exposure that is not the
        patient's own; 0 for a patient who is all of the group.
    """
    both = pd.DataFrame({"events": events, "exposure": exposure})
    whole = both.groupby(keys).transform("sum")
    share = exposure / whole["exposure"].where(whole["exposure"] > 0)
    off = events - whole["events"] * share
    return (off / (1 - share).where(share < 1)).fillna(0.0)


def anova_icc(counted: np.ndarray, judged: np.ndarray) -> float:
    """Give the intraclass correlation of yes-or-no units in clusters, by ANOVA.

    Parameters
    ----------
    counted, judged : array of float, shape (clusters,)
        Units counted and units judged of each cluster; clusters without a unit judged
        take no part.

    Returns
    -------
    float
        Truncated to 0..1; NaN with fewer than two clusters, with one unit a cluster,
        or where all units are alike.

    Notes
    -----
    Ridout MS, Demetrio CGB, Firth D (1999) Biometrics 55:137-148, the ANOVA estimator
    (from memory); worked example in Short MI et al. (2020) Stat Methods Med Res
    29:111-121.
    """
    x, n = np.asarray(counted, float), np.asarray(judged, float)
    x, n = x[n > 0], n[n > 0]
    clusters, total, hits = len(n), n.sum(), x.sum()
    if clusters < 2 or total <= clusters or hits in (0, total):
        return np.nan
    size = (total - (n**2).sum() / total) / (clusters - 1)
    within_sum = hits - (x**2 / n).sum()
    between = ((x**2 / n).sum() - hits**2 / total) / (clusters - 1)
    within = within_sum / (total - clusters)
    spread = between + (size - 1) * within
    return float(np.clip((between - within) / spread, 0, 1)) if spread > 0 else np.nan


def newcombe(p: Proportion, q: Proportion) -> Limits:
    """Give limits for the difference of independent proportions, p - q.

    Parameters
    ----------
    p, q : Proportion
        Proportions with their own Wilson limits; each shape (n,).

    Returns
    -------
    low, high : arrays of float, shape (n,)
        95 % limits; NaN where one of the proportions has none.

    Notes
    -----
    Newcombe RG (1998) Stat Med 17:873-890, method 10: square-and-add of the Wilson
    limits. Written out because limits widened for clustering go in, which a function
    of counts cannot take.
    """
    change = p.share - q.share
    low = change - np.hypot(p.share - p.low, q.high - q.share)
    high = change + np.hypot(p.high - p.share, q.share - q.low)
    return low, high


def hours_worth(sums: pd.DataFrame) -> pd.Series:
    """Give the number of independent yes-or-no units that ratios of hours are worth.

    A proportion of hours has no count to put into Wilson's formula. Its variance is
    taken over patients by the ratio estimator, and turned into the n for which
    p (1 - p) / n is that variance.

    Parameters
    ----------
    sums : DataFrame
        One row a group: numerator, denominator, patients, and the sums over patients
        xx, xn and nn of numerator^2, numerator x denominator and denominator^2.

    Returns
    -------
    Series of float
        On the index of `sums`; NaN with fewer than ten patients, whose variance tells
        too little, and where the ratio is 0, 1 or has no variance.

    Notes
    -----
    Cochran WG (1977) Sampling Techniques, 3rd ed., section 6.5 (from memory).
    """
    total = sums["denominator"].where(sums["denominator"] > 0)
    ratio = sums["numerator"] / total
    squares = sums["xx"] - 2 * ratio * sums["xn"] + ratio**2 * sums["nn"]
    clusters = sums["patients"].where(sums["patients"] >= FEWEST_CLUSTERS)
    # Below this share of the sums the squares are rounding, and there is no variance.
    is_real = squares > 1e-12 * sums["nn"]
    variance = squares.where(is_real) * clusters / (clusters - 1) / total**2
    return (ratio * (1 - ratio) / variance).where(ratio * (1 - ratio) > 0)


def few_clusters(clusters: pd.Series) -> pd.Series:
    """Give the share of an effective number that is left for a variance from few.

    Parameters
    ----------
    clusters : Series of int
        Clusters that a variance was taken over.

    Returns
    -------
    Series of float
        (z / t)^2 at 95 %, t with one degree of freedom less than clusters: 0.75 for
        ten, 0.98 for a hundred; 0 with fewer than two.

    Notes
    -----
    Korn EL, Graubard BI (1998) Survey Methodology 24:193-201 (from memory).
    """
    tail = (1 - CONFIDENCE) / 2
    freedom = clusters.clip(lower=2) - 1
    share = (stats.norm.isf(tail) / stats.t.isf(tail, freedom)) ** 2
    return pd.Series(share, index=clusters.index).where(clusters >= 2, 0.0)
