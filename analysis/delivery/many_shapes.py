"""Log evidence of many shapes at once: `log_likelihood` laid out for speed.

The numbers are those of `likelihood`, with one slip at the most; what differs is that
readings are taken in units of their own standard deviation, that arrays are written
over and not made anew, and that single precision will do. Most of a decision's time is
spent here.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from analysis.delivery.batches import Array, Batch
from analysis.delivery.slips import misread_shares

_LOG_2PI = float(np.log(2 * np.pi))
_ROOT_2PI = float(np.sqrt(2 * np.pi))

#: A level further above empty than so many standard deviations is free to move.
FREE_SD = 4.5

#: No reading is taken to be known any less well from the others.
_LEAST_PRECISION = 1e-6


@dataclass(frozen=True, slots=True)
class Weighed:
    """What readings say of shapes.

    Attributes
    ----------
    log_density : array of float, shape (n, s)
        Log marginal likelihood, with no slip or one.
    terms : array of float, shape (k, n, s)
        Weight of each reading as the one slip, on the scale of `total`.
    total : array of float, shape (n, s)
        Weight of no slip and of each.
    """

    log_density: Array
    terms: Array
    total: Array


def weigh_shapes(batch: Batch, lost: Array, slip_density: Array) -> Weighed:
    """Give the log likelihood of the readings under many shapes.

    Parameters
    ----------
    batch : Batch
        n infusions with k readings each, in single or double precision.
    lost : array of float, shape (k, n, s)
        Volume not delivered by each reading under each of s shapes; negative: given
        beyond the line.
    slip_density : array of float, shape (n, k)
        Density of each reading as a slip.

    Returns
    -------
    Weighed
        In the precision of `batch`.

    Notes
    -----
    See `likelihood.log_likelihood`: Woodbury identity and determinant lemma.
    """
    log_density, off, square, precision = _honest(batch, lost)
    largest = square.max(0)
    own = _slips(batch, slip_density)
    terms, total = _summed(off, square, precision, largest, own)
    largest *= 0.5
    log_density += largest
    log_density += np.log(total)
    return Weighed(log_density, terms, total)


#: A shape that is so much less likely than another, or none, counts for nothing (log).
_HOPELESS = 18.0


def log_weights(
    batch: Batch, lost: Array, slip_density: Array, prior: Array, none: Array
) -> Array:
    """Give the log weight of shapes, as far as they count.

    Parameters
    ----------
    batch : Batch
        As for `weigh_shapes`.
    lost : array of float, shape (k, n, s)
        So.
    slip_density : array of float, shape (n, k)
        So.
    prior : array of float, shape (n, s)
        Log weight of each shape before the readings are looked at.
    none : array of float, shape (n,)
        Log evidence of no event.

    Returns
    -------
    array of float, shape (n, s)
        `prior` and `Weighed.log_density`. What slips add is summed only for shapes that
        may count beside none and beside the likeliest; others have that of no slip,
        which is less.
    """
    log_density, off, square, precision = _honest(batch, lost)
    k, n, _ = lost.shape
    largest = square.max(0)
    own = _slips(batch, slip_density)
    # No reading is likelier a slip than this, at the same square.
    most = (own[1] * _LIKELIEST_MISREAD + own[2]).sum(0) / np.sqrt(precision.min(0))
    np.log1p(most, out=most)
    largest *= 0.5
    most += largest
    log_density += prior
    most += log_density
    least = np.maximum(none, log_density.max(1)) - _HOPELESS
    counts = most > least[:, None]
    at = np.flatnonzero(counts)
    sizes = counts.sum(1)
    flat = (k, -1)
    largest = largest.ravel().take(at)
    off, square, precision = (
        part.reshape(flat).take(at, axis=1) for part in (off, square, precision)
    )
    each = [part.reshape(k, n).repeat(sizes, axis=1) for part in own]
    _, total = _summed(off, square, precision, 2 * largest, each)
    largest += np.log(total)
    log_density.reshape(-1)[at] += largest
    return log_density


def _honest(batch: Batch, lost: Array) -> tuple[Array, Array, Array, Array]:
    """Give the log density of no slip, and of each reading how far it is off.

    Reading minus its mean given all others, the square of that in deviations, and the
    inverse of its variance so; in units of the readings' own sd.
    """
    sd = np.sqrt(batch.variance_ml2)
    away, by_offset, by_flow = _whitened(batch, lost, (1 / sd).T[:, :, None])
    flow_sd = batch.flow_sd[:, None]
    log_density, error, precision = _without_slips(away, by_offset, by_flow, flow_sd)
    log_density *= -0.5
    constant = np.log1p(-batch.slip_share) - np.log(sd) - 0.5 * _LOG_2PI
    log_density += constant.sum(1)[:, None]
    off = np.divide(error, precision, out=by_flow)
    return log_density, off, np.multiply(error, off, out=error), precision


def _without_slips(
    away: Array, by_offset: Array, by_flow: Array, flow_sd: Array
) -> tuple[Array, Array, Array]:
    """Give -2 log density but for constants, error, and precision of each reading.

    In units of the readings' own sd, but for the flow, which has its own beside it; the
    arrays given are written over: error is in the place of the first, precision in that
    of the second.
    """
    aa = 1 + _dot(by_offset, by_offset)
    ab = _dot(by_offset, by_flow) * flow_sd
    bb = 1 + _dot(by_flow, by_flow) * (flow_sd * flow_sd)
    ia, ib = _dot(by_offset, away), _dot(by_flow, away) * flow_sd
    determinant = aa * bb - ab * ab
    # Offset, and what of the flow is not in it, as two shared errors of size one.
    scale = 1 / np.sqrt(aa)
    other = np.sqrt(aa / determinant)
    slope = ab / aa * other
    first, second = ia * scale, ib * other - ia * slope
    square = _dot(away, away) - first * first - second * second
    spare = by_offset * slope
    by_flow *= other * flow_sd
    by_flow -= spare
    by_offset *= scale
    np.multiply(by_offset, first, out=spare)
    away -= spare
    np.multiply(by_flow, second, out=spare)
    away -= spare
    by_offset *= by_offset
    by_flow *= by_flow
    by_offset += by_flow
    precision = np.subtract(1, by_offset, out=by_offset)
    np.clip(precision, _LEAST_PRECISION, 1, out=precision)
    return square + np.log(determinant), away, precision


def _dot(one: Array, other: Array) -> Array:
    total: Array = np.einsum("kns,kns->ns", one, other)
    return total


def _whitened(batch: Batch, lost: Array, own: Array) -> tuple[Array, Array, Array]:
    """Give reading minus mean, and what offset and flow do to it, in its own sd.

    A flow of one, and less volume left (the sign of the flow is nothing to its spread).
    A syringe that may be empty is not free: the mean of max(0, level) and its slope.
    """
    given = np.subtract(batch.delivered_ml.T[:, :, None], lost, order="C")
    start = batch.base_ml + batch.offset_ml
    # The most that a level can spread bounds where the floor matters.
    widest = np.hypot(batch.offset_sd_ml, batch.flow_sd * batch.base_ml)
    most = np.minimum(start - FREE_SD * widest, batch.base_ml)
    most = np.where(batch.is_floored, most, np.inf).astype(given.dtype)
    near = given > most[:, None]
    at = np.flatnonzero(near)
    low = given.reshape(-1).take(at)
    by_offset = np.empty_like(given)
    by_offset[...] = own * batch.offset_sd_ml[:, None]
    given *= own
    away = given + (batch.observed_ml.T - start)[:, :, None] * own
    by_flow = np.clip(given, 0, np.inf, out=given)
    if len(at):
        k, n, s = lost.shape
        sizes = np.diff(np.searchsorted(at, s * np.arange(k * n + 1)))
        parts = _near_empty(batch, low, sizes.reshape(k, n))
        for every, part in zip((away, by_offset, by_flow), parts, strict=True):
            every.reshape(-1)[at] = part
    return away, by_offset, by_flow


def _near_empty(batch: Batch, given: Array, sizes: Array) -> tuple[Array, Array, Array]:
    """Give `_whitened` where a syringe may be empty; so many volumes a reading."""
    k, n = sizes.shape

    def each(values: Array) -> Array:
        whole = np.broadcast_to(values, (k, n)).reshape(-1)
        return np.repeat(whole, sizes.reshape(-1))

    own = each(1 / np.sqrt(batch.variance_ml2).T)
    offset_sd, flow_sd = each(batch.offset_sd_ml), each(batch.flow_sd)
    level = each(batch.base_ml + batch.offset_ml) - given
    by_flow = np.clip(given, 0, each(batch.base_ml), out=given)
    spread = by_flow * flow_sd
    spread *= spread
    spread += offset_sd * offset_sd
    np.sqrt(spread, out=spread)
    level /= spread
    free, mean = _floored(level)
    mean *= spread
    free *= own
    away = each(batch.observed_ml.T) - mean
    away *= own
    by_flow *= free
    free *= offset_sd
    return away, free, by_flow


def _floored(score: Array) -> tuple[Array, Array]:
    """Give the slope and the mean of max(0, x), x normal with mean `score` and sd 1.

    In single precision straight lines between points 1/64 apart will do: they are off
    by 1e-5 at the most.
    """
    if score.dtype == np.float64:
        free = ndtr(score)
        return free, score * free + np.exp(-0.5 * score * score) / _ROOT_2PI
    place = (score + FREE_SD) * _A_UNIT
    np.clip(place, 0, len(_POINTS) - 1, out=place)
    at = place.astype("int16")
    place -= at
    free, mean = (part.take(at) + place * step.take(at) for part, step in _LINES)
    # Further above empty it is free.
    return free, np.maximum(mean, score, out=mean)


#: Points of `_floored`, its values there, and the steps to the next.
_A_UNIT = 64
_POINTS = np.linspace(-FREE_SD, FREE_SD, int(2 * FREE_SD * _A_UNIT) + 1)
_LINES = tuple(
    (values.astype("float32"), np.diff(values, append=values[-1:]).astype("float32"))
    for values in (
        ndtr(_POINTS),
        _POINTS * ndtr(_POINTS) + np.exp(-0.5 * _POINTS**2) / _ROOT_2PI,
    )
)


#: Share among slips of the likeliest misreading.
_LIKELIEST_MISREAD = float(misread_shares(np.dtype("float64")).max())


def _slips(batch: Batch, slip_density: Array) -> tuple[Array, Array, Array]:
    """Give the sd of readings, their odds of a slip, and what these are worth.

    Of shape (k, n, 1); worth over that of an honest reading of precision 1, but for
    misreadings by whole mL, which hang on the volume.
    """
    sd = np.sqrt(batch.variance_ml2)
    odds = batch.slip_share / (1 - batch.slip_share)
    worth = slip_density * odds * sd * _ROOT_2PI
    parts = (part.T[:, :, None].astype(sd.dtype) for part in (sd, odds, worth))
    one, two, three = parts
    return one, two, three


def _summed(
    off: Array, square: Array, precision: Array, largest: Array, own: Sequence[Array]
) -> tuple[Array, Array]:
    """Give the weight of each reading as the one slip, and of all and of none.

    Over that of the largest square; readings may be off by 1,000 deviations. `off` and
    `square` are written over.
    """
    terms = _as_slip(off, precision, *own)
    square -= largest
    square *= 0.5
    terms *= np.exp(square, out=square)
    total = np.exp(-0.5 * largest)
    total += terms.sum(0)
    return terms, total


def _as_slip(
    off: Array, precision: Array, sd: Array, odds: Array, worth: Array
) -> Array:
    """Give the weight of each reading as a slip: `slips.slip_weight` times its odds.

    `off` and `precision` are in units of the reading's own sd.
    """
    # A misreading up or down is as likely: its size alone counts.
    off *= sd
    far = np.abs(off, out=off)
    whole = np.rint(far)
    np.clip(whole, 1, 10, out=whole)
    share = misread_shares(off.dtype).take(whole.astype("int8"))
    far -= whole
    far *= 1 / sd
    far *= far
    far *= precision
    far *= -0.5
    misread = np.exp(far, out=far)
    misread *= share
    misread *= odds
    weight = np.sqrt(precision, out=whole)
    np.divide(worth, weight, out=weight)
    weight += misread
    return weight
