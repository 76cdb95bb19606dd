"""Which infusions are seen to be uneventful before any event is laid on them.

Most infusions are, and laying a few hundred shapes on each of them is most of the work.
"""

from dataclasses import dataclass

import numpy as np

from analysis.delivery.batches import Array, Batch
from analysis.delivery.likelihood import Gaussian, gaussian, one_slip
from analysis.delivery.slips import slip_density

#: Near an empty syringe a level is taken to be free to move by this at the least.
_LEAST_FREE = 0.3

#: Less than this is nothing given [mL].
_LEAST_GIVEN_ML = 0.01

#: A reading so many standard deviations from what the others let expect may be a slip.
_LIKE_A_SLIP = 2.5

#: Readings x shapes at once: what a processor's own memory holds.
_AT_ONCE = 200_000

#: Without a reading a shape must keep this share of what it weighs to be looked for in
#: the others.
_LEFT = 1e-3


@dataclass(frozen=True, slots=True)
class Fit:
    """How well a multiple of each shape fits the readings.

    Attributes
    ----------
    shape : array of float, shape (k, n, m)
        The shapes.
    score, information : array of float, shape (n, m)
        Of the multiple, at none.
    by_loading : tuple of array, shape (n, m) each
        Shapes times the loadings of offset and flow.
    """

    shape: Array
    score: Array
    information: Array
    by_loading: tuple[Array, Array]


def most_for_an_event(batch: Batch, clear: float) -> Array:
    """Give the log ratio of the best event to none, about the most there can be.

    Parameters
    ----------
    batch : Batch
        n infusions with k readings each.
    clear : float
        Where the readings bound the ratio below this, whatever the event, that bound
        will do.

    Returns
    -------
    array of float, shape (n,)
        Before the price of having looked at many shapes, so that the log odds of an
        event are less; what the rows' other cells say is not in it.

    Notes
    -----
    Each shape of an event is near a step in a gap, a step about a reading, a stop from
    a reading on or a syringe empty too early, of some size. Against none its log
    likelihood is at most half the square of its best fit in standard deviations, with
    all readings or without any one of them that is a slip; none has the same choice.
    Tests compare what is passed over with the whole scan, on logs of several settings.
    """
    k = batch.shape[1]
    step = max(1, _AT_ONCE // (k * (6 * k - 1)))
    most = _bound(batch)
    doubt = np.flatnonzero(most >= clear)
    for i in range(0, len(doubt), step):
        own = doubt[i : i + step]
        most[own] = _most(batch.take(own))
    return most


def _bound(batch: Batch) -> Array:
    """Give the log ratio to none that no event can pass, with or without a slip.

    A mean moved in any way gains half the square of the readings at the most, and no
    more than what is left of it where one of them is a slip (Cauchy-Schwarz).
    """
    normal, weight, slip = _none(batch)
    some = np.log1p(weight.sum(0))
    most: Array = 0.5 * normal.square[:, 0] + some - _log_total(slip)
    return most


def _none(batch: Batch) -> tuple[Gaussian, Array, Array]:
    """Give readings with no event, and each as the one slip: odds, and log ratio."""
    n, k = batch.shape
    normal = gaussian(batch, np.zeros((n, 1, k), dtype=batch.base_ml.dtype))
    weight, square = one_slip(batch, normal, slip_density(batch))
    return normal, weight[:, :, 0], np.log(weight[:, :, 0]) + 0.5 * square[:, :, 0]


def _log_total(slip: Array) -> Array:
    """Give the log of no slip and of each."""
    largest = np.clip(slip.max(0), 0, np.inf)
    total: Array = np.log(np.exp(-largest) + np.exp(slip - largest).sum(0))
    total += largest
    return total


def _most(batch: Batch) -> Array:
    normal, weight, slip = _none(batch)
    none = _log_total(slip)
    shape = _nearest_shapes(batch, normal.free)
    fit = score_of(batch, normal, shape)
    event = (0.5 * fit.score**2 / fit.information).max(1)
    # With no reading that looks like a slip, a slip beside an event explains no more.
    some = (slip - np.log(weight)).max(0) > 0.5 * _LIKE_A_SLIP**2
    if some.any():
        without = _fits_without(batch.take(some), normal, fit, some)
        beside = slip[:, some] + without
        event[some] = _log_total(beside - event[some]) + event[some]
    most: Array = event - none
    return most


def _fits_without(batch: Batch, normal: Gaussian, fit: Fit, some: Array) -> Array:
    """Give half the square of the best fit of any shape without each reading, (k, m).

    Of the m infusions that are asked for, which `batch` has alone.
    """
    a, b = (loading[:, some, 0] for loading in normal.loadings)
    aa, ab, bb = (part[some, 0] for part in normal.inner)
    shape, score, information = (
        fit.shape[:, some],
        fit.score[some],
        fit.information[some],
    )
    by_a, by_b = (part[some] for part in fit.by_loading)
    inverse = 1 / batch.variance_ml2.T
    best = np.empty_like(inverse)
    for j in range(len(best)):
        # Each shape times the reading's row of the inverse covariance.
        cross = shape[j] * inverse[j][:, None]
        cross -= by_a * (a[j] * aa + b[j] * ab)[:, None]
        cross -= by_b * (a[j] * ab + b[j] * bb)[:, None]
        precision = normal.precision[j, some]
        off = normal.error[j, some, 0][:, None] / precision
        less = information - cross**2 / precision
        tells = less > _LEFT * information
        other = (score - cross * off) ** 2 / np.where(tells, less, 1)
        best[j] = (0.5 * other * tells).max(1)
    return best


def _nearest_shapes(batch: Batch, free: Array) -> Array:
    """Give how much higher each reading is, up to its size, shape (k, n, 6 k - 1).

    Steps before and about readings, stops to the end and of a gap, and syringes that
    were empty too early: at once, or by running too fast. A step moves a level as far
    as it is free to move.
    """
    n, k = batch.shape
    kind = free.dtype
    steps = np.tri(k, dtype=kind)
    about = np.where(np.eye(k, dtype=bool), kind.type(0.5), steps)[:, :-1]
    free = np.maximum(free, _LEAST_FREE)
    floor = np.where(batch.is_floored, 0.0, -np.inf).astype(kind)[:, None]
    held = batch.base_ml[:, None]
    left = np.maximum(held - batch.delivered_ml, floor)
    before = np.concatenate([held, left[:, :-1]], axis=1)
    # Volumes given only can be run out of no syringe.
    drop = np.clip(left, 0, np.inf)
    shapes = np.empty((k, n, 6 * k - 1), dtype=kind)
    np.multiply(free, steps[:, None], out=shapes[:, :, :k])
    np.multiply(free, about[:, None], out=shapes[:, :, k : 2 * k - 1])
    stops = shapes[:, :, 2 * k - 1 : 3 * k - 1]
    np.subtract(before, left.T[:, :, None], out=stops)
    np.clip(stops, 0, np.inf, out=stops)
    drop = drop.T[:, :, None]
    np.multiply(drop, steps[:, None], out=shapes[:, :, 3 * k - 1 : 4 * k - 1])
    # Empty by the reading that it is named after.
    faster = drop[:, :, 0].T / np.maximum(batch.delivered_ml, _LEAST_GIVEN_ML)
    given = batch.delivered_ml.T[:, :, None]
    np.minimum(given * faster, drop, out=shapes[:, :, 4 * k - 1 : 5 * k - 1])
    # A stop that fills a gap, and the line after it, which may empty the syringe.
    gap = np.diff(batch.delivered_ml, axis=1, prepend=0)
    late = shapes[:, :, 5 * k - 1 :]
    np.maximum((held - batch.delivered_ml).T[:, :, None] + gap, floor, out=late)
    late -= left.T[:, :, None]
    late *= steps[:, None]
    return shapes


def score_of(batch: Batch, normal: Gaussian, shape: Array) -> Fit:
    """Give score and information of the size of each shape.

    Parameters
    ----------
    batch : Batch
        n infusions with k readings each.
    normal : Gaussian
        Of the readings with no event, s = 1.
    shape : array of float, shape (k, n, m)
        Volumes lost by each reading, as far as the level is free.

    Returns
    -------
    Fit
        Score over the root of information is standard normal where nothing happened.
    """
    a, b = (loading[:, :, 0] for loading in normal.loadings)
    aa, ab, bb = normal.inner
    by_a, by_b = (np.einsum("knm,kn->nm", shape, loading) for loading in (a, b))
    square = np.einsum("knm,knm,nk->nm", shape, shape, 1 / batch.variance_ml2)
    square -= by_a**2 * aa + 2 * by_a * by_b * ab + by_b**2 * bb
    score = np.einsum("knm,kn->nm", shape, normal.error[:, :, 0])
    return Fit(shape, score, np.maximum(square, 1e-9), (by_a, by_b))
