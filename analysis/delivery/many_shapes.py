"""Log evidence of many shapes at once: `log_likelihood` laid out for speed.

The numbers are those of `likelihood`, with one slip at the most; what differs is that
readings are taken in units of their own standard deviation, that arrays are written
over and not made anew, and that single precision will do. Most of a decision's time is
spent here.
"""

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
    sd = np.sqrt(batch.variance_ml2)
    away, by_offset, by_flow = _whitened(batch, lost, (1 / sd).T[:, :, None])
    log_density, error, precision = _without_slips(away, by_offset, by_flow)
    log_density += 2 * np.log(sd).sum(1)[:, None] + len(lost) * _LOG_2PI
    log_density *= -0.5
    squares = np.divide(error, precision, out=by_flow)
    terms = _as_slip(batch, squares, precision, slip_density)
    squares *= error
    largest = squares.max(0)
    squares -= largest
    squares *= 0.5
    terms *= np.exp(squares, out=squares)
    largest *= 0.5
    total = np.exp(-largest)
    total += terms.sum(0)
    log_density += np.log(total)
    log_density += largest
    log_density += np.log1p(-batch.slip_share).sum(1)[:, None]
    return Weighed(log_density, terms, total)


def _without_slips(
    away: Array, by_offset: Array, by_flow: Array
) -> tuple[Array, Array, Array]:
    """Give -2 log density but for constants, error, and precision of each reading.

    In units of the readings' own sd; the arrays given are written over: error is in the
    place of the first, precision in that of the second.
    """
    aa = 1 + _dot(by_offset, by_offset)
    ab = _dot(by_offset, by_flow)
    bb = 1 + _dot(by_flow, by_flow)
    ia, ib = _dot(by_offset, away), _dot(by_flow, away)
    determinant = aa * bb - ab * ab
    # Offset, and what of the flow is not in it, as two shared errors of size one.
    scale = 1 / np.sqrt(aa)
    other = np.sqrt(aa / determinant)
    slope = ab / aa * other
    first, second = ia * scale, ib * other - ia * slope
    square = _dot(away, away) - first * first - second * second
    spare = by_offset * slope
    by_flow *= other
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
    np.maximum(precision, _LEAST_PRECISION, out=precision)
    return square + np.log(determinant), away, precision


def _dot(one: Array, other: Array) -> Array:
    total: Array = np.einsum("kns,kns->ns", one, other)
    return total


def _whitened(batch: Batch, lost: Array, own: Array) -> tuple[Array, Array, Array]:
    """Give reading minus mean, and what offset and flow do to it, in its own sd.

    A syringe that may be empty is not free: the mean of max(0, level) and its slope.
    """
    given = np.subtract(batch.delivered_ml.T[:, :, None], lost, order="C")
    start = (batch.base_ml + batch.offset_ml)[:, None]
    level = start - given
    held = np.where(batch.is_floored, batch.base_ml, np.inf)[:, None]
    np.maximum(given, 0, out=given)
    np.minimum(given, held, out=given)
    by_flow = given * (own * -batch.flow_sd[:, None])
    by_offset = np.empty_like(level)
    by_offset[...] = own * batch.offset_sd_ml[:, None]
    # In units of how far offset and flow spread it.
    spread = given * batch.flow_sd[:, None]
    spread *= spread
    spread += np.square(batch.offset_sd_ml)[:, None]
    np.sqrt(spread, out=spread)
    score = np.divide(level, spread, out=given)
    if not batch.is_floored.all():
        score += np.where(batch.is_floored, 0.0, np.inf).astype(score.dtype)[:, None]
    near = np.flatnonzero(score < FREE_SD)
    if len(near):
        free, mean = _floored(score.ravel().take(near))
        mean *= spread.ravel().take(near)
        level.reshape(-1)[near] = mean
        by_offset.reshape(-1)[near] *= free
        by_flow.reshape(-1)[near] *= free
    away = np.subtract(batch.observed_ml.T[:, :, None], level, out=level)
    away *= own
    return away, by_offset, by_flow


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
    return free, mean


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


def _as_slip(batch: Batch, off: Array, precision: Array, slip_density: Array) -> Array:
    """Give the weight of each reading as a slip: `slips.slip_weight` times its odds.

    `off` and `precision` are in units of the reading's own sd.
    """
    sd = np.sqrt(batch.variance_ml2).T[:, :, None]
    odds = (batch.slip_share / (1 - batch.slip_share)).T[:, :, None]
    # A misreading up or down is as likely: its size alone counts.
    far = off * sd
    np.abs(far, out=far)
    whole = np.rint(far)
    np.minimum(whole, 10, out=whole)
    np.maximum(whole, 1, out=whole)
    share = misread_shares(off.dtype).take(whole.astype("int8"))
    far -= whole
    far *= 1 / sd
    far *= far
    far *= precision
    far *= -0.5
    misread = np.exp(far, out=far)
    misread *= share
    misread *= odds
    otherwise = slip_density.T[:, :, None] * (odds * sd * _ROOT_2PI)
    weight = np.sqrt(precision, out=whole)
    np.divide(otherwise, weight, out=weight)
    weight += misread
    return weight
