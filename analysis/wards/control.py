"""Control charts: limits of three standard deviations about the mean of a line.

With hundreds of checks a month the limits by chance alone are too narrow: months differ
by more than that when nothing has happened. The p' and u' charts take how far one month
lies from the next as the measure of what is usual.
"""

from dataclasses import dataclass

import numpy as np

#: Points from which limits are trial ones, and from which they stand.
FEWEST_TRIAL, FEWEST_SETTLED = 12, 20

#: Mean range of two standard normal values, as tables print it.
_D2 = 1.128

_SIGMAS = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlLimits:
    """Limits of a control chart.

    Attributes
    ----------
    centre : float
        Mean: all that was counted over all that was judged.
    low, high : array of float, shape (n,)
        Three standard deviations from it; never below 0, and a proportion's never
        above 1. NaN where nothing was judged.
    sigma_z : float
        How much more (or less) months differ than chance alone would make them.
    """

    centre: float
    low: np.ndarray
    high: np.ndarray
    sigma_z: float


def control_limits(
    counted: np.ndarray, judged: np.ndarray, *, is_rate: bool, is_prime: bool = True
) -> ControlLimits:
    """Give the limits of a p', u', p or u chart.

    Parameters
    ----------
    counted, judged : array of float, shape (n,)
        Units counted and judged, or events and exposure, in order of time; NaN is a
        gap.
    is_rate : bool
        Events over exposure (u), not units out of units (p).
    is_prime : bool
        Widen by how far neighbouring months lie apart; without it, chance alone. A
        c chart is a u chart whose exposures are all 1.

    Returns
    -------
    ControlLimits
        All NaN where nothing was judged.

    Notes
    -----
    Laney DB (2002) Quality Engineering 14:531-537. Since sigma_z is taken from the
    points themselves, the limits of a prime chart are the same whatever unit the
    denominator is in: hours can stand in it as well as counts. A month missing in the
    middle adds no range between the two beside it.
    """
    x, n = np.asarray(counted, float), np.asarray(judged, float)
    is_there = np.isfinite(x) & (n > 0)
    x, n = np.where(is_there, x, np.nan), np.where(is_there, n, np.nan)
    if not is_there.any():
        return ControlLimits(centre=np.nan, low=x, high=x, sigma_z=np.nan)
    centre = float(np.nansum(x) / np.nansum(n))
    sd = np.sqrt((centre if is_rate else max(centre * (1 - centre), 0.0)) / n)
    sigma_z = _sigma_z((x / n - centre) / np.where(sd > 0, sd, 1)) if is_prime else 1.0
    reach = _SIGMAS * sigma_z * sd
    high = centre + reach
    return ControlLimits(
        centre=centre,
        low=np.maximum(centre - reach, 0.0),
        high=high if is_rate else np.minimum(high, 1.0),
        sigma_z=sigma_z,
    )


def _sigma_z(z: np.ndarray) -> float:
    """Give the standard deviation of scores from the ranges of neighbours."""
    ranges = np.abs(np.diff(z))
    ranges = ranges[np.isfinite(ranges)]
    return float(ranges.mean() / _D2) if len(ranges) else 1.0
