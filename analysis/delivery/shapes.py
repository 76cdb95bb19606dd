"""What a kind of event is made of: shapes, each with a prior weight.

A shape says how much was not delivered by each reading. A kind lists shapes over its
onset, duration or size, with a prior weight for each: `stops.py`, `ratios.py`,
`surges.py`, `rises.py`. Weights are stated, not fitted: common practice, no source.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np

from analysis.delivery.batches import Array, Batch


@dataclass(frozen=True, slots=True)
class Told:
    """What s shapes say of n infusions.

    Attributes
    ----------
    volume_ml : array of float, shape (n, s)
        Delivered minus set-rate line at its largest departure, which may come after the
        last reading; NaN where the kind has none.
    began_h, ended_h : array of float, shape (n, s, 2)
        Earliest and latest onset and end that the shape stands for [h]; NaN for an end
        that was not seen.
    """

    volume_ml: Array
    began_h: Array
    ended_h: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Shapes:
    """s shapes of one kind for n infusions with k readings.

    Attributes
    ----------
    lost_ml : array of float, shape (n, s, k)
        Volume not delivered by each reading; negative: given beyond the line.
    log_weight : array of float, shape (n, s)
        Log prior weight within the kind; -inf where a shape cannot be.
    other_log_ratio : array of float, shape (n, s)
        What the other cells of the rows say for the shape.
    ratio : array of float, shape (s,)
        Delivered over set volume, where constant throughout; else NaN.
    told : callable
        Gives volumes and windows: only what is listed is asked for them.
    """

    lost_ml: Array
    log_weight: Array
    other_log_ratio: Array
    ratio: Array
    told: Callable[[], Told]


def from_start(values: Array) -> Array:
    """Put the 0 of the start before what is known at each reading.

    Parameters
    ----------
    values : array of float, shape (n, k)
        At the readings.

    Returns
    -------
    array of float, shape (n, k + 1)
        At the start and at the readings.
    """
    return np.concatenate([np.zeros_like(values[:, :1]), values], axis=1)


@cache
def between(knots: tuple[float, ...], nodes: int) -> Array:
    """Give values along some knots, close where the knots are close.

    Parameters
    ----------
    knots : tuple of float
        In rising order.
    nodes : int
        How many values.

    Returns
    -------
    array of float, shape (nodes,)
        From the first knot to the last.
    """
    place = np.linspace(0, len(knots) - 1, nodes)
    values: Array = np.interp(place, np.arange(len(knots)), knots)
    return values


def log_weights(weight: Array, n: int) -> Array:
    """Give the log of weights that add up to one, the same for each infusion.

    Parameters
    ----------
    weight : array of float, shape (s,)
        Prior weights of shapes, up to a factor.
    n : int
        Infusions.

    Returns
    -------
    array of float, shape (n, s)
        Log prior weights.
    """
    return np.broadcast_to(np.log(weight / weight.sum()), (n, len(weight)))


def held_ml(batch: Batch) -> Array:
    """Give what was in each syringe at the start, which is all it can deliver.

    Parameters
    ----------
    batch : Batch
        n infusions.

    Returns
    -------
    array of float, shape (n, 1)
        [mL]; infinite where volumes are counted up and the start is not known.
    """
    held: Array = np.where(batch.is_floored, batch.base_ml, np.inf)[:, None]
    return held
