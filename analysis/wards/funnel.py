"""Funnel limits: how far wards of each size stray from one proportion by chance.

The inner limits are exact binomial ones and know of chance within a ward alone. The
wider ones add a spread between wards, estimated from the wards themselves, which stands
for all that makes units of one ward alike: patients, staffing, case mix. It replaces a
design effect and is never put on top of one.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from analysis.compliance import Measure
from analysis.terms import ALL, Shown, YesNo

#: Fewer wards than these have no funnel, and no wider limits. With eleven wards or
#: fewer a single ward cannot be further from the mean than 3.09 of the spread it is
#: itself part of: (k - 1) / sqrt(k).
FEWEST_FOR_FUNNEL, FEWEST_FOR_SPREAD = 10, 12

#: Two-sided probabilities of the two pairs of limits.
INNER, OUTER = 0.95, 0.998


def binomial_limit(size: np.ndarray, target: np.ndarray, q: float) -> np.ndarray:
    """Give the exact binomial limit of a proportion, interpolated between counts.

    Parameters
    ----------
    size : array of int, shape (n,)
        Units judged, 1 or more.
    target : array of float, shape (n,)
        Proportion expected, 0 to 1.
    q : float
        Probability of a proportion below the limit.

    Returns
    -------
    array of float, shape (n,)
        Limits, cut at 0.

    Notes
    -----
    Spiegelhalter DJ (2005) Stat Med 24:1185-1202, appendix: with r the smallest count
    whose cumulative probability F reaches q, (r - (F(r) - q) / (F(r) - F(r - 1))) / n.
    """
    size, target = np.broadcast_arrays(size, target)
    count = stats.binom.ppf(q, size, target)
    over = stats.binom.cdf(count, size, target) - q
    part = over / stats.binom.pmf(count, size, target)
    return np.maximum((count - part) / size, 0.0)


def moment_tau_squared(estimates: np.ndarray, variances: np.ndarray) -> float:
    """Give the variance between groups that their spread shows beyond chance.

    Parameters
    ----------
    estimates : array of float, shape (k,)
        One estimate a group, on a scale where they are about normal.
    variances : array of float, shape (k,)
        Variance of each by chance within its group.

    Returns
    -------
    float
        0 where they spread no more than by chance; NaN with fewer than two groups.

    Notes
    -----
    The moment estimator of DerSimonian and Laird, with the published example of
    DerSimonian R, Kacker R (2007) Contemp Clin Trials 28:105-114. No estimate is
    pulled in: an outlying ward widens the limits it is judged by.
    """
    y, weight = np.asarray(estimates, float), 1 / np.asarray(variances, float)
    if len(y) < 2:
        return np.nan
    total = weight.sum()
    mean = (weight * y).sum() / total
    excess = (weight * (y - mean) ** 2).sum() - (len(y) - 1)
    return float(max(excess / (total - (weight**2).sum() / total), 0.0))


def arcsine(share: np.ndarray) -> np.ndarray:
    """Put proportions on the scale where chance spreads them alike: arcsine root.

    Parameters
    ----------
    share : array of float
        Proportions from 0 to 1.

    Returns
    -------
    array of float
        0 to pi/2; the variance by chance is 1 / (4 n) whatever the proportion.
    """
    angles: np.ndarray = np.arcsin(np.sqrt(np.clip(share, 0.0, 1.0)))
    return angles


def _widened(limit: np.ndarray, target: np.ndarray, extra: np.ndarray) -> np.ndarray:
    """Move a limit outwards by squares of distances on the arcsine scale."""
    centre = arcsine(target)
    distance = arcsine(limit) - centre
    reach = np.sign(limit - target) * np.sqrt(distance**2 + extra)
    moved: np.ndarray = np.sin(np.clip(centre + reach, 0.0, np.pi / 2)) ** 2
    return moved


def limit_pair(
    size: np.ndarray, target: np.ndarray, *, level: float = OUTER
) -> tuple[np.ndarray, np.ndarray]:
    """Give the exact lower and upper funnel limit of wards.

    Parameters
    ----------
    size : array of float, shape (n,)
        Independent units of each ward; rounded to whole ones, at least 1.
    target : array of float, shape (n,)
        Proportion expected.
    level : float
        Two-sided probability between the limits.

    Returns
    -------
    low, high : arrays of float, shape (n,)
        Proportions.
    """
    size, tail = np.maximum(np.round(size), 1), (1 - level) / 2
    return binomial_limit(size, target, tail), binomial_limit(size, target, 1 - tail)


def wide_pair(
    size: np.ndarray,
    target: np.ndarray,
    tau_squared: np.ndarray,
    *,
    level: float = OUTER,
) -> tuple[np.ndarray, np.ndarray]:
    """Give the lower and upper funnel limit that know of the spread between wards.

    Parameters
    ----------
    size, target : array of float, shape (n,)
        As for `limit_pair`.
    tau_squared : array of float, shape (n,)
        Variance between wards on the arcsine scale.
    level : float
        Two-sided probability between the limits.

    Returns
    -------
    low, high : arrays of float, shape (n,)
        Never within those of `limit_pair`. The upper one is the lower one of what is
        not counted, so that without a spread a count beyond either has a probability
        of at most the tail: the interpolated upper limit lies below the count that
        reaches it, and would call 100 % different where nearly all wards have 100 %.
    """
    low, high = limit_pair(size, target, level=level)
    mirrored, _ = limit_pair(size, 1 - target, level=level)
    extra = stats.norm.isf((1 - level) / 2) ** 2 * np.asarray(tau_squared, float)
    high = np.maximum(high, 1 - mirrored)
    return _widened(low, target, extra), _widened(high, target, extra)


def effective_size(share: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Give the number of independent units behind a proportion with Wilson limits.

    Hours have no count of their own. Their interval was made with the number of
    independent units they are worth, which is found again from its width.

    Parameters
    ----------
    share, low, high : array of float, shape (n,)
        Proportions and their 95 % limits.

    Returns
    -------
    array of float, shape (n,)
        NaN where there are no limits.
    """
    half = (high - low) / 2
    spread = share * (1 - share)
    # Half the width of Wilson's interval, squared, as a quadratic in z^2 / n.
    a, b, c = half**2 - 0.25, 2 * half**2 - spread, half**2
    root = (-b - np.sqrt(np.maximum(b**2 - 4 * a * c, 0))) / (2 * a)
    size: np.ndarray = stats.norm.isf(0.025) ** 2 / np.where(root > 0, root, np.nan)
    return size


def ward_sizes(table: pd.DataFrame, in_hours: pd.Series) -> pd.Series:
    """Give the number of units that chance is reckoned by, for each row.

    Parameters
    ----------
    table : DataFrame
        Denominator, proportion, low and high of each ward.
    in_hours : Series of bool
        Rows whose denominator is hours.

    Returns
    -------
    Series of float
        Units judged, without a design effect; for hours, the independent units they
        are worth.
    """
    share, low, high = (table[name].to_numpy(float) for name in _INTERVAL)
    worth = pd.Series(effective_size(share, low, high), index=table.index)
    return table["denominator"].astype("float64").where(~in_hours, worth)


_INTERVAL = ("proportion", "low", "high")


@dataclass(frozen=True, slots=True, kw_only=True)
class Funnel:
    """One measure of ten wards or more, in one period.

    Attributes
    ----------
    centre : float
        Proportion of all wards together.
    tau_squared : float
        Spread between wards (variance, arcsine scale); NaN with fewer than twelve.
    in_hours : bool
        Sizes are the independent units that hours are worth, and not units judged.
    wards : DataFrame
        One row a ward that may be shown, in alphabetical order: ward, size, proportion,
        limit_low, limit_high, different.
    """

    centre: float
    tau_squared: float
    in_hours: bool
    wards: pd.DataFrame

    @property
    def is_widened(self) -> bool:
        """True where there are enough wards to tell how much they spread.

        Returns
        -------
        bool
            Only then may a ward be called different.
        """
        return not np.isnan(self.tau_squared)

    def curves(self, sizes: np.ndarray) -> pd.DataFrame:
        """Give the limits for wards of any size.

        Parameters
        ----------
        sizes : array of float, shape (n,)
            Units.

        Returns
        -------
        DataFrame, shape (n, 5) or (n, 9)
            size, low_95, high_95, low_998, high_998, and from twelve wards the same
            four with wide before.
        """
        target = np.full(len(sizes), self.centre)
        table = {"size": np.asarray(sizes, float)}
        levels = ((INNER, "95"), (OUTER, "998"))
        for level, word in levels:
            pair = limit_pair(table["size"], target, level=level)
            table[f"low_{word}"], table[f"high_{word}"] = pair
        for level, word in levels if self.is_widened else ():
            spread = np.full(len(sizes), self.tau_squared)
            pair = wide_pair(table["size"], target, spread, level=level)
            table[f"wide_low_{word}"], table[f"wide_high_{word}"] = pair
        return pd.DataFrame(table)


def funnel_of(
    comparisons: pd.DataFrame, measure: Measure, period: str
) -> Funnel | None:
    """Give the funnel of one measure in one period.

    Parameters
    ----------
    comparisons : DataFrame
        The comparisons table.
    measure : Measure
        Which measure.
    period : str
        A month or ``all``.

    Returns
    -------
    Funnel or None
        None where there is none: fewer than ten wards that may be shown, or a charting
        habit, which is never compared.
    """
    own = comparisons[
        (comparisons["measure"] == measure.name)
        & (comparisons["period"] == period)
        & (comparisons["ward"] != ALL)
    ]
    shown = own[(own["shown"] == Shown.PROPORTION) & own["limit_low"].notna()]
    if len(shown) < FEWEST_FOR_FUNNEL:
        return None
    is_hours = pd.Series(data=measure.in_hours, index=shown.index)
    wards = shown.assign(size=ward_sizes(shown, is_hours)).sort_values("ward")
    columns = ["ward", "size", "proportion", "limit_low", "limit_high", "different"]
    tau_squared = np.nan
    if len(wards) >= FEWEST_FOR_SPREAD:
        tau_squared = moment_tau_squared(
            arcsine(wards["proportion"].to_numpy(float)),
            0.25 / wards["size"].to_numpy(),
        )
    return Funnel(
        centre=float(own["numerator"].sum() / own["denominator"].sum()),
        tau_squared=tau_squared,
        in_hours=measure.in_hours,
        wards=wards[columns].reset_index(drop=True),
    )


def is_outside(table: pd.DataFrame) -> pd.Series:
    """Say of each ward whether it lies outside its limits.

    Parameters
    ----------
    table : DataFrame
        proportion, limit_low and limit_high, to the decimals that are printed.

    Returns
    -------
    Series of str
        yes or no; a limit itself is inside.
    """
    outside = (table["proportion"] < table["limit_low"]) | (
        table["proportion"] > table["limit_high"]
    )
    return outside.map({True: str(YesNo.YES), False: str(YesNo.NO)})
