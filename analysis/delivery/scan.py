"""All hypotheses against the readings of many infusions: log evidence of each."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import logsumexp

from analysis.delivery.batches import Array, Batch, batches
from analysis.delivery.likelihood import (
    Gaussian,
    gaussian,
    log_evidence,
    log_likelihood,
)
from analysis.delivery.shapes import HYPOTHESES, NO_EVENT, Shapes
from analysis.delivery.slips import slip_density
from analysis.workers import Map, one_by_one

#: Parts of the time to the last reading on which stops are laid: at infusions that are
#: not seen to be uneventful, and where that leaves an event possible.
COARSE, FINE = 8, 24

#: An infusion of at least so many readings is seen to be uneventful when none of them
#: is further than so many standard deviations from what the others let expect, and the
#: best fit of no step, stop or ratio is further than so many from none.
_ENOUGH, _READING_SD, _SHAPE_SD = 3, 2.5, 2.0

#: Near an empty syringe a level is taken to be free to move by this at the least.
_LEAST_FREE = 0.3

#: So many infusions seen to be uneventful, of each batch, are looked at all the same:
#: the others have their mean odds.
_LOOKED_AT = 60

#: Log odds of an event, all kinds at equal prior odds, below which the second look is
#: enough: far below any threshold.
_CLEAR = -2.5

#: Where readings are fine, an event may lie between the shapes of the coarse grid and
#: fit none of them. It is looked for on the fine one where a free fit is this many
#: standard deviations from none: less is worth less than 4.5 of log evidence (half the
#: square) before the price of having looked at many shapes.
_FINE_SD = 3.0

#: Readings x shapes at once: what a processor's own memory holds.
_MOST = 60_000

#: Readings in a batch of the first look.
_FIRST = 150_000

KINDS = tuple(hypothesis.kind for hypothesis in HYPOTHESES)


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """Log evidence of each infusion.

    Attributes
    ----------
    table : DataFrame
        Indexed by infusion_id: none, and one column a kind of event; log evidence.
    slips : Series of float
        Probability that a reading is a slip with no event at all, on the index of the
        readings.
    both : Series of float
        Probability that it is one of two slips, so.
    """

    table: pd.DataFrame
    slips: pd.Series
    both: pd.Series


def scan(readings: pd.DataFrame, run: Map = one_by_one) -> Evidence:
    """Weigh every hypothesis for every infusion.

    Parameters
    ----------
    readings : DataFrame
        Readings of evaluable infusions in order of infusion and time, with noise
        (`with_noise`).
    run : Map
        Does one batch after another, or several at once.

    Returns
    -------
    Evidence
        Of every infusion that has a reading.
    """
    ids, tables = [], []
    slips = np.zeros((2, len(readings)))
    for name, row, table, probability in run(_told, batches(readings, _FIRST)):
        slips[:, row.ravel()] = probability.reshape(2, -1)
        ids.append(name)
        tables.append(table)
    names = ["none", *map(str, KINDS)]
    index = pd.Index(np.concatenate(ids) if ids else [], name="infusion_id", dtype=str)
    values = np.concatenate(tables) if tables else np.empty((0, len(names)))
    return Evidence(
        table=pd.DataFrame(values, index=index, columns=names),
        slips=pd.Series(slips[0], index=readings.index),
        both=pd.Series(slips[1], index=readings.index),
    )


def _told(batch: Batch) -> tuple[Array, Array, Array, Array]:
    """Weigh a batch, and give beside the result whose it is and where it belongs."""
    return batch.infusion_id, batch.row, *_weighed(batch)


def _weighed(batch: Batch) -> tuple[Array, Array]:
    """Give the log evidence of none and of each kind, and the slips of no event.

    Slips have the shape (2, n, k): any slip, and one of two.
    """
    n, k = batch.shape
    none, one, two = log_likelihood(batch, np.zeros((n, 1, k)), slip_density(batch))
    table = np.repeat(none + np.log(NO_EVENT[0].share), 1 + len(KINDS), axis=1)
    probability = np.stack([one[:, 0], two[:, 0]])
    clear = is_clear(batch)
    at = np.flatnonzero(clear)
    some = at[np.linspace(0, len(at) - 1, min(_LOOKED_AT, len(at))).astype("int64")]
    look = ~clear
    look[some] = True
    table[look], probability[:, look] = _closely(batch, look)
    odds = table[some, 1:] - table[some, :1]
    others = clear & ~look
    if others.any():
        table[others, 1:] += logsumexp(odds, axis=0) - np.log(len(some))
    return table, probability


def is_clear(batch: Batch) -> Array:
    """Tell which infusions are seen to be uneventful at the first look.

    Parameters
    ----------
    batch : Batch
        n infusions with k readings each.

    Returns
    -------
    array of bool, shape (n,)
        Few readings, and rows that say that the driver had stopped, are never clear.

    Notes
    -----
    Each shape of an event is near a mix of steps in a gap and of stops from a reading
    on. The log evidence of a shape against none is at most half the square of its best
    fit in standard deviations; of an infusion that is clear it is less than 2 before
    the price of having looked at many shapes.
    """
    n, k = batch.shape
    if k < _ENOUGH:
        return np.zeros(n, dtype=bool)
    normal = gaussian(batch, np.zeros((n, 1, k)))
    off = np.abs(normal.error[:, :, 0]) / np.sqrt(normal.precision[:, :, 0])
    said = (batch.stopped_log_ratio <= 0).all(1)
    fits = _nearest_event(batch, normal) >= _SHAPE_SD
    clear: Array = (off.max(0) < _READING_SD) & ~fits & said
    return clear


def _nearest_event(batch: Batch, normal: Gaussian) -> Array:
    """Give the best fit of any step in a gap, or stop from a reading on, shape (n,)."""
    n, k = batch.shape
    steps = np.broadcast_to(np.tri(k)[:, None, :], (k, n, k))
    given = batch.delivered_ml
    before = np.concatenate([np.zeros((n, 1)), given[:, :-1]], axis=1)
    stops = np.clip(given.T[:, :, None] - before, 0, None)
    fit = best_fit(batch, normal, np.concatenate([steps, stops], axis=2))
    nearest: Array = np.abs(fit).max(1)
    return nearest


def best_fit(batch: Batch, normal: Gaussian, shape: Array) -> Array:
    """Give the best multiple of each shape in units of its standard deviation.

    Parameters
    ----------
    batch : Batch
        n infusions with k readings each.
    normal : Gaussian
        Of the readings with no event, s = 1.
    shape : array of float, shape (k, n, m)
        Volumes lost by each reading.

    Returns
    -------
    array of float, shape (n, m)
        Standard normal where nothing happened.
    """
    shape = shape * np.maximum(normal.free, _LEAST_FREE)
    a, b = (loading[:, :, 0] for loading in normal.loadings)
    aa, ab, bb = normal.inner
    by_a, by_b = (np.einsum("knm,kn->nm", shape, loading) for loading in (a, b))
    square = np.einsum("knm,knm,nk->nm", shape, shape, 1 / batch.variance_ml2)
    square = square - (by_a**2 * aa + 2 * by_a * by_b * ab + by_b**2 * bb)
    score = np.einsum("knm,kn->nm", shape, normal.error[:, :, 0])
    fit: Array = score / np.sqrt(np.maximum(square, 1e-9))
    return fit


def _closely(batch: Batch, which: Array) -> tuple[Array, Array]:
    """Weigh all hypotheses for some infusions, a part at a time."""
    some = batch.take(which)
    none, probability = _no_event(some, slip_density(some))
    table = np.column_stack([none, np.zeros((len(none), len(KINDS)))])
    normal = gaussian(some, np.zeros((len(none), 1, some.shape[1])))
    is_fine = _nearest_event(some, normal) > _FINE_SD
    table[~is_fine, 1:] = _scanned(some.take(~is_fine), COARSE)
    is_fine |= _log_odds(table) > _CLEAR
    table[is_fine, 1:] = _scanned(some.take(is_fine), FINE)
    return table, probability


def _scanned(batch: Batch, nodes: int) -> Array:
    """Weigh all kinds on a grid, a part at a time."""
    n, k = batch.shape
    step = max(1, _MOST // (k * nodes * (nodes + 1) // 2))
    parts = [batch.take(slice(i, i + step)) for i in range(0, n, step)]
    found = [_events(part, slip_density(part), nodes) for part in parts]
    return np.concatenate([np.empty((0, len(KINDS))), *found])


def _log_odds(table: Array) -> Array:
    odds: Array = logsumexp(table[:, 1:], axis=1, b=_shares()) - table[:, 0]
    return odds


def _shares() -> Array:
    return np.array([hypothesis.share for hypothesis in HYPOTHESES])


def _no_event(batch: Batch, slip: Array) -> tuple[Array, Array]:
    """Give the log evidence of no event, and its slips; (n,) and (2, n, k)."""
    totals, slips = [], []
    for way in NO_EVENT:
        lost = (1 - way.ratio) * batch.delivered_ml[:, None, :]
        total, one, two = log_likelihood(
            batch, lost, slip, offset_ml=way.offset_ml, pairs=True
        )
        totals.append(total[:, 0] + np.log(way.share))
        slips.append(np.stack([one[:, 0], two[:, 0]]))
    every = np.stack(totals, axis=1)
    evidence = logsumexp(every, axis=1, keepdims=True)
    weight = np.exp(every - evidence)
    probability = np.einsum("nw,tnwk->tnk", weight, np.stack(slips, axis=2))
    return evidence[:, 0], probability


def _events(batch: Batch, slip: Array, nodes: int) -> Array:
    """Give the log evidence of each kind, shape (n, kinds)."""
    found = []
    for hypothesis in HYPOTHESES:
        shapes = hypothesis.shapes(batch, nodes)
        value = log_evidence(batch, shapes.lost_ml, slip)
        value += shapes.log_weight
        value += shapes.other_log_ratio
        found.append(_log_sum(value))
    return np.stack(found, axis=1)


def _log_sum(values: Array) -> Array:
    """Give the log of the sum of exponentials along the second axis."""
    largest = values.max(1)
    # No shape may be possible at all, as of a volume that never rises.
    finite = np.where(np.isfinite(largest), largest, 0.0)
    with np.errstate(divide="ignore"):
        total: Array = np.log(np.exp(values - finite[:, None]).sum(1))
    return total + finite


def weigh(batch: Batch, shapes: Shapes, slip: Array) -> tuple[Array, Array]:
    """Give the log weight of each shape: prior, readings, and the rows' other cells.

    Parameters
    ----------
    batch : Batch
        n infusions.
    shapes : Shapes
        s shapes of one kind.
    slip : SlipDensity
        As given by `slip_density`.

    Returns
    -------
    log_weight : array of float, shape (n, s)
        Adds up to the evidence of the kind.
    slip_probability : array of float, shape (n, s, k)
        As given by `log_likelihood`.
    """
    total, slips, _ = log_likelihood(batch, shapes.lost_ml, slip)
    return total + shapes.log_weight + shapes.other_log_ratio, slips
