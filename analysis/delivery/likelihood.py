"""Likelihood of readings under a shape, with offset, flow and slips summed out.

Readings of an infusion are taken as level + offset + flow error + reading error: the
start volume is off by N(offset, offset_sd^2), the driver runs at 1 + N(0, flow_sd^2) of
the rate, each reading has its own error. Offset and flow error are shared by all
readings of an infusion: their covariance is diagonal plus rank two, and slips of one or
two readings follow from the same inverse, so that no matrix is ever formed.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from analysis.delivery.batches import Array, Batch
from analysis.delivery.slips import log_slip, with_slips

_LOG_2PI = float(np.log(2 * np.pi))

#: Two slips in one infusion are thought of up to so many readings, and from so many on.
_PAIRS_FROM, _PAIRS_TO = 4, 12


@dataclass(frozen=True, slots=True)
class _Gaussian:
    """Diagonal plus rank two: what is needed of the inverse, shape (n, s, k) each."""

    log_density: Array
    error: Array  # precision-weighted: z = inverse x (reading - mean)
    precision: Array  # diagonal of the inverse
    loadings: tuple[Array, Array]
    inner: tuple[Array, Array, Array]  # inverse of the 2 x 2 matrix: aa, ab, bb


def log_likelihood(
    batch: Batch,
    lost_ml: Array,
    slip_density: Array,
    *,
    offset_ml: float = 0.0,
    pairs: bool = False,
) -> tuple[Array, Array]:
    """Give the log likelihood of the readings under shapes.

    Parameters
    ----------
    batch : Batch
        n infusions with k readings each.
    lost_ml : array of float, shape (n, s, k)
        Volume not delivered by each reading under each of s shapes; negative: given
        beyond the line.
    slip_density : array of float, shape (n, k)
        Density of each reading as a slip.
    offset_ml : float
        Added to the mean offset of the start volume.
    pairs : bool
        Two slips in one infusion are thought of, and not one only.

    Returns
    -------
    total : array of float, shape (n, s)
        Log marginal likelihood.
    slip_probability : array of float, shape (n, s, k)
        Probability of a slip in each reading, under each shape.

    Notes
    -----
    Woodbury identity for the inverse and the matrix determinant lemma (any textbook of
    linear algebra); conditional density of one or two readings from the inverse, as for
    any multivariate normal.
    """
    normal = _gaussian(batch, lost_ml, offset_ml)
    k = lost_ml.shape[-1]
    conditional = 0.5 * (
        np.log(normal.precision) - _LOG_2PI - normal.error**2 / normal.precision
    )
    slip = log_slip(slip_density, normal.error / normal.precision, normal.precision)
    pair = _pairs(normal) if pairs and _PAIRS_FROM <= k <= _PAIRS_TO else None
    share = batch.slip_share
    return with_slips(
        normal.log_density, np.log(share) - np.log1p(-share), conditional, slip, pair
    )


def _gaussian(batch: Batch, lost: Array, offset: float) -> _Gaussian:
    mean, free, given = _mean_level(batch, lost, offset)
    away = batch.observed_ml[:, None, :] - mean
    inverse = 1 / batch.variance_ml2[:, None, :]
    by_offset = batch.offset_sd_ml[:, None, None] * free
    by_flow = -batch.flow_sd[:, None, None] * given * free
    a, b = by_offset * inverse, by_flow * inverse
    aa, ab, bb = (
        1 + (by_offset * a).sum(-1),
        (by_offset * b).sum(-1),
        1 + (by_flow * b).sum(-1),
    )
    determinant = aa * bb - ab**2
    ia, ib = (a * away).sum(-1), (b * away).sum(-1)
    ga, gb = (bb * ia - ab * ib) / determinant, (aa * ib - ab * ia) / determinant
    square = (away**2 * inverse).sum(-1) - (ia * ga + ib * gb)
    log_volume = np.log(batch.variance_ml2).sum(-1)[:, None] + np.log(determinant)
    inner = tuple((x / determinant)[..., None] for x in (bb, -ab, aa))
    taken = a**2 * inner[0] + 2 * a * b * inner[1] + b**2 * inner[2]
    return _Gaussian(
        log_density=-0.5 * (lost.shape[-1] * _LOG_2PI + log_volume + square),
        error=away * inverse - a * ga[..., None] - b * gb[..., None],
        precision=np.maximum(inverse - taken, 1e-9),
        loadings=(a, b),
        inner=(inner[0], inner[1], inner[2]),
    )


def _mean_level(batch: Batch, lost: Array, offset: float) -> tuple[Array, Array, Array]:
    """Give mean level, how free it is to move, and the volume given, (n, s, k) each.

    A syringe that may be empty is not free: the mean of max(0, level) and its slope.
    """
    delivered = batch.delivered_ml[:, None, :]
    base = batch.base_ml[:, None, None]
    floored = batch.is_floored[:, None, None]
    level = base + batch.offset_ml[:, None, None] + offset - delivered + lost
    given = np.clip(delivered - lost, 0, None)
    given = np.where(floored, np.minimum(given, base), given)
    spread = np.hypot(
        batch.offset_sd_ml[:, None, None], batch.flow_sd[:, None, None] * given
    )
    score = level / spread
    free = ndtr(score)
    density = np.exp(-0.5 * score**2) / np.sqrt(2 * np.pi)
    mean = np.where(floored, level * free + spread * density, level)
    return mean, np.where(floored, free, 1.0), given


def _pairs(normal: _Gaussian) -> Array:
    """Give the log density of each two readings given the others."""
    k = normal.precision.shape[-1]
    i, j = np.triu_indices(k, 1)
    a, b = normal.loadings
    aa, ab, bb = normal.inner
    cross = -(
        a[..., i] * a[..., j] * aa
        + (a[..., i] * b[..., j] + b[..., i] * a[..., j]) * ab
        + b[..., i] * b[..., j] * bb
    )
    pi, pj = normal.precision[..., i], normal.precision[..., j]
    zi, zj = normal.error[..., i], normal.error[..., j]
    determinant = np.maximum(pi * pj - cross**2, 1e-12)
    square = (zi**2 * pj - 2 * zi * zj * cross + zj**2 * pi) / determinant
    density: Array = 0.5 * np.log(determinant) - _LOG_2PI - 0.5 * square
    return density
