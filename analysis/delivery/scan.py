"""All hypotheses against the readings of many infusions: log evidence of each."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import logsumexp

from analysis.delivery.batches import Array, Batch, batches
from analysis.delivery.first_look import most_for_an_event
from analysis.delivery.hypotheses import HYPOTHESES, NO_EVENT
from analysis.delivery.likelihood import log_likelihood
from analysis.delivery.many_shapes import log_weights, weigh_shapes
from analysis.delivery.shapes import Shapes
from analysis.delivery.slips import slip_density
from analysis.workers import Map, one_by_one

#: Parts of the time to the last reading on which stops are laid: at infusions that are
#: not seen to be uneventful, and where that leaves an event possible.
COARSE, FINE = 8, 24

#: An infusion is seen to be uneventful where the best event has no more than this over
#: none in log likelihood, before the price of having looked at many shapes. On logs of
#: all settings of `evaluate` the whole scan gave none of these log odds above 0.6, far
#: below any threshold.
CLEAR = 2.5

#: An infusion of fewer readings is never clear: nothing tells its slips from events.
_ENOUGH = 3

#: So many infusions seen to be uneventful, of each batch, are looked at all the same:
#: the others have their mean odds.
_LOOKED_AT = 60

#: Log odds of a kind among them that count as no more, should one be no such infusion.
_MOST_CLEAR = 0.0

#: Log odds of an event, all kinds at equal prior odds, below which the second look is
#: enough. The fine grid gives at most 3 more where the next rule does not ask for it.
_CLEAR = -2.0

#: Where readings are fine, an event may lie between the shapes of the coarse grid and
#: fit none of them. It is looked for on the fine one where the best event has this over
#: none (as for `CLEAR`), with what the other cells of the rows say for a stop.
_FINE = 3.5

#: Readings x shapes at once: what a processor's own memory holds.
_MOST = 250_000

#: Pairs of readings x ways of no event at once: so.
_MOST_PAIRS = 150_000

#: Shapes are laid for so many times as many infusions at once as are weighed.
_LAID = 4

#: Readings in a batch of the first look.
_FIRST = 100_000

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
    every = list(batches(readings, _FIRST))
    found = run(_weighed, every)
    for batch, (table, probability) in zip(every, found, strict=True):
        slips[:, batch.row.ravel()] = probability.reshape(2, -1)
        ids.append(batch.infusion_id)
        tables.append(table)
    names = ["none", *map(str, KINDS)]
    # In the order of the readings, and no more by number of readings.
    first = np.concatenate([batch.row[:, 0] for batch in every] or [np.empty(0)])
    order = np.argsort(first)
    own = np.concatenate(ids)[order] if ids else np.empty(0)
    index = pd.Index(own, name="infusion_id", dtype=str)
    values = np.concatenate(tables or [np.empty((0, len(names)))])[order]
    return Evidence(
        table=pd.DataFrame(values, index=index, columns=names),
        slips=pd.Series(slips[0], index=readings.index),
        both=pd.Series(slips[1], index=readings.index),
    )


def _weighed(batch: Batch) -> tuple[Array, Array]:
    """Give the log evidence of none and of each kind, and the slips of no event.

    Slips have the shape (2, n, k): any slip, and one of two.
    """
    n, k = batch.shape
    batch = batch.single()
    lost = np.zeros((n, 1, k), dtype=batch.base_ml.dtype)
    none, one, two = log_likelihood(batch, lost, slip_density(batch))
    table = np.repeat(none + np.log(NO_EVENT[0].share), 1 + len(KINDS), axis=1)
    probability = np.stack([one[:, 0], two[:, 0]])
    most = most_for_an_event(batch, CLEAR)
    clear = is_clear(batch, most)
    at = np.flatnonzero(clear)
    some = at[np.linspace(0, len(at) - 1, min(_LOOKED_AT, len(at))).astype("int64")]
    look = ~clear
    look[some] = True
    table[look], probability[:, look] = _closely(batch.take(look), most[look])
    odds = np.minimum(table[some, 1:] - table[some, :1], _MOST_CLEAR)
    others = clear & ~look
    if others.any():
        table[others, 1:] += logsumexp(odds, axis=0) - np.log(len(some))
    return table, probability


def is_clear(batch: Batch, most: Array) -> Array:
    """Tell which infusions are seen to be uneventful at the first look.

    Parameters
    ----------
    batch : Batch
        n infusions with k readings each.
    most : array of float, shape (n,)
        As given by `most_for_an_event`.

    Returns
    -------
    array of bool, shape (n,)
        Few readings, and rows that say that the driver had stopped, are never clear.
    """
    n, k = batch.shape
    if k < _ENOUGH:
        return np.zeros(n, dtype=bool)
    said = (batch.stopped_log_ratio > 0).any(1)
    clear: Array = ~said & (most < CLEAR)
    return clear


def _closely(some: Batch, most: Array) -> tuple[Array, Array]:
    """Weigh all hypotheses for infusions, a part at a time."""
    none, probability = _no_event(some, slip_density(some))
    table = np.column_stack([none, np.zeros((len(none), len(KINDS)))])
    said = np.maximum(some.stopped_log_ratio, 0).sum(1)
    is_fine = most + said > _FINE
    table[~is_fine, 1:] = _scanned(some.take(~is_fine), COARSE, none[~is_fine])
    is_fine |= _log_odds(table) > _CLEAR
    table[is_fine, 1:] = _scanned(some.take(is_fine), FINE, none[is_fine])
    return table, probability


def _scanned(batch: Batch, nodes: int, none: Array) -> Array:
    """Weigh all kinds on a grid, a part at a time; `none` is the evidence of none."""
    n, k = batch.shape
    step = _LAID * max(1, _MOST // (k * nodes * (nodes + 1)))
    slip = slip_density(batch)
    parts = [slice(i, i + step) for i in range(0, n, step)]
    found = [_events(batch.take(part), slip[part], nodes, none[part]) for part in parts]
    return np.concatenate([np.empty((0, len(KINDS))), *found])


def _log_odds(table: Array) -> Array:
    odds: Array = logsumexp(table[:, 1:], axis=1, b=_shares()) - table[:, 0]
    return odds


def _shares() -> Array:
    return np.array([hypothesis.share for hypothesis in HYPOTHESES])


def _no_event(batch: Batch, slip: Array) -> tuple[Array, Array]:
    """Give the log evidence of no event, and its slips; (n,) and (2, n, k)."""
    n, k = batch.shape
    step = max(1, _MOST_PAIRS // (len(NO_EVENT) * k * (k + 1)))
    parts = [slice(i, i + step) for i in range(0, n, step)]
    found = [_all_ways(batch.take(part), slip[part]) for part in parts]
    evidence, slips = zip(*found, strict=True) if found else ((), ())
    return (
        np.concatenate([np.empty(0), *evidence]),
        np.concatenate([np.empty((2, 0, k)), *slips], axis=1),
    )


def _all_ways(batch: Batch, slip: Array) -> tuple[Array, Array]:
    """Weigh all ways to be off the line with no event, side by side."""
    kind = batch.base_ml.dtype
    ratio, offset, share = np.array(
        [(way.ratio, way.offset_ml, way.share) for way in NO_EVENT], dtype=kind
    ).T
    # Readings first, as the likelihood works on them.
    lost = (batch.delivered_ml.T[:, :, None] * (1 - ratio)).transpose(1, 2, 0)
    every, one, two = log_likelihood(batch, lost, slip, offset_ml=offset, pairs=True)
    every += np.log(share)
    evidence = logsumexp(every, axis=1, keepdims=True)
    weight = np.exp(every - evidence)
    slips = [np.einsum("nw,nwk->nk", weight, each) for each in (one, two)]
    return evidence[:, 0], np.stack(slips)


def _events(batch: Batch, slip: Array, nodes: int, none: Array) -> Array:
    """Give the log evidence of each kind, shape (n, kinds)."""
    every = [hypothesis.shapes(batch, nodes) for hypothesis in HYPOTHESES]
    lost = together(every)
    n, _ = batch.shape
    prior = np.empty(lost.shape[1:], dtype=lost.dtype)
    ends = np.cumsum([len(shapes.ratio) for shapes in every]).tolist()
    kinds = [slice(i, j) for i, j in zip([0, *ends], ends, strict=False)]
    for kind, shapes in zip(kinds, every, strict=True):
        np.add(
            shapes.log_weight,
            shapes.other_log_ratio,
            out=prior[:, kind],
            casting="same_kind",
        )
    none = none.astype(lost.dtype)
    step = -(-n // _LAID)
    weight = np.concatenate(
        [
            log_weights(
                batch.take(part), lost[:, part], slip[part], prior[part], none[part]
            )
            for part in (slice(i, i + step) for i in range(0, n, step))
        ]
    )
    return np.stack([_log_sum(weight[:, kind]) for kind in kinds], axis=1)


def together(every: Sequence[Shapes]) -> Array:
    """Put the shapes of all kinds side by side, readings first.

    Parameters
    ----------
    every : sequence of Shapes
        For the same n infusions with k readings each.

    Returns
    -------
    array of float, shape (k, n, s)
        Volumes not delivered by each reading.
    """
    return np.concatenate([s.lost_ml.transpose(2, 0, 1) for s in every], axis=2)


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
    slip : array of float, shape (n, k)
        As given by `slip_density`.

    Returns
    -------
    log_weight : array of float, shape (n, s)
        Adds up to the evidence of the kind.
    slip_probability : array of float, shape (n, s, k)
        As given by `log_likelihood`.
    """
    weighed = weigh_shapes(batch, shapes.lost_ml.transpose(2, 0, 1), slip)
    total = weighed.log_density + shapes.log_weight + shapes.other_log_ratio
    return total, np.moveaxis(weighed.terms / weighed.total, 0, 2)
