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


def widened(
    limit: np.ndarray, target: np.ndarray, tau_squared: np.ndarray
) -> np.ndarray:
    """Move exact 99.8 % or 95 % limits outwards by a spread between wards.

    Parameters
    ----------
    limit : array of float, shape (n,)
        Exact limits.
    target : array of float, shape (n,)
        Proportion expected.
    tau_squared : array of float, shape (n,)
        Variance between wards on the arcsine scale, times the square of the normal
        quantile that belongs to the limit.

    Returns
    -------
    array of float, shape (n,)
        Never nearer to the target than `limit`, and within 0 to 1.
    """
    centre = arcsine(target)
    distance = arcsine(limit) - centre
    reach = np.sign(limit - target) * np.sqrt(distance**2 + tau_squared)
    moved: np.ndarray = np.sin(np.clip(centre + reach, 0.0, np.pi / 2)) ** 2
    return moved


def limit_pair(
    size: np.ndarray,
    target: np.ndarray,
    tau_squared: np.ndarray | float = 0.0,
    *,
    level: float = OUTER,
) -> tuple[np.ndarray, np.ndarray]:
    """Give the lower and upper funnel limit of wards.

    Parameters
    ----------
    size : array of float, shape (n,)
        Independent units of each ward; rounded to whole ones, at least 1.
    target : array of float, shape (n,)
        Proportion expected.
    tau_squared : array of float, shape (n,)
        Variance between wards on the arcsine scale; 0 gives the exact limits.
    level : float
        Two-sided probability between the limits.

    Returns
    -------
    low, high : arrays of float, shape (n,)
        Proportions.
    """
    tail = (1 - level) / 2
    size = np.maximum(np.round(size), 1)
    low, high = (binomial_limit(size, target, q) for q in (tail, 1 - tail))
    extra = stats.norm.isf(tail) ** 2 * np.asarray(tau_squared, float)
    if not np.any(extra > 0):
        return low, high
    return widened(low, target, extra), widened(high, target, extra)


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
        spreads = {"": 0.0} | ({"wide_": self.tau_squared} if self.is_widened else {})
        for name, tau_squared in spreads.items():
            for level, word in ((INNER, "95"), (OUTER, "998")):
                pair = limit_pair(table["size"], target, tau_squared, level=level)
                table[f"{name}low_{word}"], table[f"{name}high_{word}"] = pair
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
