"""All hypotheses against the readings of many infusions: log evidence of each."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import logsumexp

from analysis.delivery.batches import Array, Batch, batches
from analysis.delivery.likelihood import log_likelihood
from analysis.delivery.shapes import HYPOTHESES, NO_EVENT, Shapes
from analysis.delivery.slips import slip_density

#: Parts of the time to the last reading on which stops are laid: in a first look at
#: all infusions, and where that leaves an event possible.
COARSE, FINE = 8, 24

#: Log odds of an event, all kinds at equal prior odds, below which the first look is
#: enough: 1 in 100 is far below any threshold.
_CLEAR = -3.5

#: Readings x shapes in memory at once.
_MOST = 3_000_000

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
    """

    table: pd.DataFrame
    slips: pd.Series


def scan(readings: pd.DataFrame) -> Evidence:
    """Weigh every hypothesis for every infusion.

    Parameters
    ----------
    readings : DataFrame
        Readings of evaluable infusions in order of infusion and time, with noise
        (`with_noise`).

    Returns
    -------
    Evidence
        Of every infusion that has a reading.
    """
    ids, tables = [], []
    slips = np.zeros(len(readings))
    shapes = COARSE * (COARSE + 1) // 2
    for batch in batches(readings, _MOST // shapes):
        slip = slip_density(batch)
        none, probability = _no_event(batch, slip)
        slips[batch.row.ravel()] = probability.ravel()
        table = np.column_stack([none, _events(batch, slip, COARSE)])
        rest = _log_odds(table) > _CLEAR
        if rest.any():
            table[rest, 1:] = _finely(batch, rest)
        ids.append(batch.infusion_id)
        tables.append(table)
    names = ["none", *map(str, KINDS)]
    index = pd.Index(np.concatenate(ids) if ids else [], name="infusion_id", dtype=str)
    values = np.concatenate(tables) if tables else np.empty((0, len(names)))
    return Evidence(
        table=pd.DataFrame(values, index=index, columns=names),
        slips=pd.Series(slips, index=readings.index),
    )


def _finely(batch: Batch, which: Array) -> Array:
    """Scan some infusions on the fine grid, a part at a time."""
    at = np.flatnonzero(which)
    _, k = batch.shape
    step = max(1, _MOST // (k * FINE * (FINE + 1) // 2))
    parts = [batch.take(at[i : i + step]) for i in range(0, len(at), step)]
    return np.concatenate([_events(part, slip_density(part), FINE) for part in parts])


def _log_odds(table: Array) -> Array:
    odds: Array = logsumexp(table[:, 1:], axis=1, b=_shares()) - table[:, 0]
    return odds


def _shares() -> Array:
    return np.array([hypothesis.share for hypothesis in HYPOTHESES])


def _no_event(batch: Batch, slip: Array) -> tuple[Array, Array]:
    """Give the log evidence of no event, and the slips it takes; (n,) and (n, k)."""
    totals, slips = [], []
    for way in NO_EVENT:
        lost = (1 - way.ratio) * batch.delivered_ml[:, None, :]
        total, own = log_likelihood(
            batch, lost, slip, offset_ml=way.offset_ml, pairs=True
        )
        totals.append(total[:, 0] + np.log(way.share))
        slips.append(own[:, 0])
    every = np.stack(totals, axis=1)
    evidence = logsumexp(every, axis=1, keepdims=True)
    weight = np.exp(every - evidence)
    probability = (weight[:, :, None] * np.stack(slips, axis=1)).sum(1)
    return evidence[:, 0], probability


def _events(batch: Batch, slip: Array, nodes: int) -> Array:
    """Give the log evidence of each kind, shape (n, kinds)."""
    found = []
    for hypothesis in HYPOTHESES:
        shapes = hypothesis.shapes(batch, nodes)
        found.append(logsumexp(weigh(batch, shapes, slip)[0], axis=1))
    return np.stack(found, axis=1)


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
    total, slips = log_likelihood(batch, shapes.lost_ml, slip)
    return total + shapes.log_weight + shapes.other_log_ratio, slips
