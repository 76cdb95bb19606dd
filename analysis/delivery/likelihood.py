"""Likelihood of readings under a shape, with offset, flow and slips summed out.

Readings of an infusion are taken as level + offset + flow error + reading error: the
start volume is off by N(offset, offset_sd^2), the driver runs at 1 + N(0, flow_sd^2) of
the rate, each reading has its own error. Offset and flow error are shared by all
readings of an infusion: their covariance is diagonal plus rank two, and slips of one or
two readings follow from the same inverse, so that no matrix is ever formed.

Arrays within have the readings first, (k, n, s): sums over readings run along the axis
on which that is fastest.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from analysis.delivery.batches import Array, Batch
from analysis.delivery.slips import slip_weight

_LOG_2PI = float(np.log(2 * np.pi))

#: Two slips in one infusion are thought of up to so many readings, and from so many on.
_PAIRS_FROM, _PAIRS_TO = 2, 12

#: A level further above empty than so many standard deviations is free to move.
_FREE_SD = 4.5


@dataclass(frozen=True, slots=True)
class Gaussian:
    """Readings as a normal with covariance diagonal plus rank two.

    Attributes
    ----------
    log_density, square : array of float, shape (n, s)
        Of all readings together, and the square of their distance from the mean.
    error : array of float, shape (k, n, s)
        Inverse covariance times reading minus mean.
    precision : array of float, shape (k, n, s)
        Diagonal of the inverse covariance.
    loadings : tuple of array, shape (k, n, s) each
        Of offset and flow, over the variance of the reading.
    inner : tuple of array, shape (n, s) each
        Inverse of the 2 x 2 matrix: aa, ab, bb.
    free : array of float, shape (k, n, s)
        How far the level is free to move; less than 1 near an empty syringe.
    """

    log_density: Array
    square: Array
    error: Array
    precision: Array
    loadings: tuple[Array, Array]
    inner: tuple[Array, Array, Array]
    free: Array


def log_likelihood(
    batch: Batch,
    lost_ml: Array,
    slip_density: Array,
    *,
    offset_ml: float | Array = 0.0,
    pairs: bool = False,
) -> tuple[Array, Array, Array]:
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
    offset_ml : float, or array of shape (s,)
        Added to the mean offset of the start volume.
    pairs : bool
        Two slips in one infusion are thought of, and not one only.

    Returns
    -------
    total : array of float, shape (n, s)
        Log marginal likelihood.
    slip_probability : array of float, shape (n, s, k)
        Probability of a slip in each reading, under each shape.
    both : array of float, shape (n, s, k)
        Probability that the reading is one of two slips; 0 where two are not thought
        of.

    Notes
    -----
    Woodbury identity for the inverse and the matrix determinant lemma (any textbook of
    linear algebra); conditional density of one or two readings from the inverse, as for
    any multivariate normal.
    """
    normal = gaussian(batch, lost_ml, offset_ml)
    k = len(normal.error)
    one, square = one_slip(batch, normal, slip_density)
    terms, squares = one, square
    if pairs := pairs and _PAIRS_FROM <= k <= _PAIRS_TO:
        first, second = np.triu_indices(k, 1)
        both, square = _pairs(normal, first, second)
        terms = np.concatenate([one, one[first] * one[second] * both])
        squares = np.concatenate([squares, square])
    value, total = _with_terms(batch, normal, terms, squares)
    each = terms[:k] / total
    both = np.zeros_like(each)
    if pairs:
        for reading in range(k):
            mine = (first == reading) | (second == reading)
            both[reading] = terms[k:][mine].sum(0) / total
        each += both
    return value, np.moveaxis(each, 0, 2), np.moveaxis(both, 0, 2)


def one_slip(batch: Batch, normal: Gaussian, density: Array) -> tuple[Array, Array]:
    """Give the chance of each reading as the one slip, and its square distance.

    Parameters
    ----------
    batch : Batch
        n infusions with k readings each.
    normal : Gaussian
        Of their readings under s shapes.
    density : array of float, shape (n, k)
        As given by `slip_density`.

    Returns
    -------
    weight, square : array of float, shape (k, n, s)
        Odds of a slip times its likelihood over that of an honest reading at its mean,
        and the square of the reading's distance from that, given all others.
    """
    odds = batch.slip_share / (1 - batch.slip_share)
    off = normal.error / normal.precision
    weight = slip_weight(density, off, normal.precision)
    weight *= odds.T[:, :, None]
    off *= normal.error
    return weight, off


def _with_terms(
    batch: Batch, normal: Gaussian, terms: Array, squares: Array
) -> tuple[Array, Array]:
    """Add up no slip and each term; terms are left over the largest, as is the sum.

    Readings may be off by 1,000 deviations.
    """
    largest = squares.max(0)
    squares -= largest
    squares *= 0.5
    terms *= np.exp(squares, out=squares)
    total = np.exp(-0.5 * largest) + terms.sum(0)
    no_slip = np.log1p(-batch.slip_share).sum(1)[:, None]
    return normal.log_density + no_slip + np.log(total) + 0.5 * largest, total


def gaussian(batch: Batch, lost_ml: Array, offset_ml: float | Array = 0.0) -> Gaussian:
    """Give what is needed of the readings' normal distribution under shapes.

    Parameters
    ----------
    batch : Batch
        n infusions with k readings each.
    lost_ml : array of float, shape (n, s, k)
        As for `log_likelihood`.
    offset_ml : float, or array of shape (s,)
        Added to the mean offset of the start volume.

    Returns
    -------
    Gaussian
        Without slips.
    """
    lost = np.moveaxis(lost_ml, 2, 0)
    away, free, given = _away(batch, lost, offset_ml)
    inverse = (1 / batch.variance_ml2).T[:, :, None]
    by_offset = batch.offset_sd_ml[:, None] * free
    by_flow = given
    by_flow *= -batch.flow_sd[:, None]
    by_flow *= free
    a, b = by_offset * inverse, by_flow * inverse
    aa = 1 + _dot(by_offset, a)
    ab = _dot(by_offset, b)
    bb = 1 + _dot(by_flow, b)
    determinant = aa * bb - ab**2
    ia, ib = _dot(a, away), _dot(b, away)
    ga, gb = (bb * ia - ab * ib) / determinant, (aa * ib - ab * ia) / determinant
    away_inverse = away * inverse
    square = _dot(away, away_inverse) - (ia * ga + ib * gb)
    log_volume = np.log(batch.variance_ml2).sum(1)[:, None] + np.log(determinant)
    inner = (bb / determinant, -ab / determinant, aa / determinant)
    away_inverse -= a * ga
    away_inverse -= b * gb
    precision = a * inner[0]
    precision += b * (2 * inner[1])
    precision *= a
    precision += b**2 * inner[2]
    np.subtract(inverse, precision, out=precision)
    return Gaussian(
        log_density=-0.5 * (len(lost) * _LOG_2PI + log_volume + square),
        square=square,
        error=away_inverse,
        precision=np.maximum(precision, 1e-9, out=precision),
        loadings=(a, b),
        inner=inner,
        free=free,
    )


def _dot(one: Array, other: Array) -> Array:
    total: Array = np.einsum("kns,kns->ns", one, other)
    return total


def _away(
    batch: Batch, lost: Array, offset: float | Array
) -> tuple[Array, Array, Array]:
    """Give reading minus mean, how free the level is, and volume given, (k, n, s).

    A syringe that may be empty is not free: the mean of max(0, level) and its slope.
    """
    given = np.subtract(batch.delivered_ml.T[:, :, None], lost, order="C")
    base = batch.base_ml[:, None]
    level = (base + batch.offset_ml[:, None] + offset) - given
    held = np.where(batch.is_floored, batch.base_ml, np.inf)[:, None]
    given = np.clip(given, 0, held, out=given)
    offset_sd, flow_sd = batch.offset_sd_ml[:, None], batch.flow_sd[:, None]
    # The most that a level can spread bounds where the floor matters.
    widest = np.hypot(batch.offset_sd_ml, batch.flow_sd * batch.base_ml)
    bound = np.where(batch.is_floored, _FREE_SD * widest, -np.inf)[:, None]
    near = level < bound
    free = np.ones_like(level)
    if near.any():
        where = np.nonzero(near)
        own = where[1]
        low = level[where]
        spread = np.hypot(offset_sd[own, 0], flow_sd[own, 0] * given[where])
        score = low / spread
        free[where] = ndtr(score)
        density = np.exp(-0.5 * score**2) / np.sqrt(2 * np.pi)
        level[where] = low * free[where] + spread * density
    return batch.observed_ml.T[:, :, None] - level, free, given


def _pairs(normal: Gaussian, first: Array, second: Array) -> tuple[Array, Array]:
    """Give, of each two readings, what makes of two slips the chance of both.

    Scale (over that of two readings taken apart) and square distance of both together,
    given the others, shape (p, n, s).
    """
    a, b = normal.loadings
    aa, ab, bb = normal.inner
    shape = (len(first), *normal.log_density.shape)
    scale = np.empty(shape, dtype=normal.error.dtype)
    square = np.empty_like(scale)
    for at, (i, j) in enumerate(zip(first, second, strict=True)):
        cross = a[i] * (a[j] * aa + b[j] * ab) + b[i] * (a[j] * ab + b[j] * bb)
        pi, pj = normal.precision[i], normal.precision[j]
        zi, zj = normal.error[i], normal.error[j]
        determinant = np.maximum(pi * pj - cross**2, 1e-12)
        scale[at] = np.sqrt(pi * pj / determinant)
        square[at] = (zi**2 * pj + 2 * zi * zj * cross + zj**2 * pi) / determinant
    return scale, square
