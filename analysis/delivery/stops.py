"""Stops: nothing is delivered between an onset and an end, or from an onset on."""

from dataclasses import dataclass
from functools import cache

import numpy as np

from analysis.delivery.batches import Array, Batch
from analysis.delivery.shapes import Shapes, Told, from_start, held_ml

#: Mean length of a stop that ends [h].
STOP_H = 5.0

#: A stop shorter than this is thought of less, the shorter it is [h].
LEAST_STOP_H = 2.0


@dataclass(frozen=True, slots=True)
class _Stops:
    """Stops between s pairs of nodes; hours and line are those of the nodes."""

    lost_ml: Array
    hours: Array
    line: Array
    other_log_ratio: Array


def _stops(batch: Batch, nodes: int, first: Array, last: Array) -> _Stops:
    parts = np.linspace(0, 1, nodes + 1, dtype=batch.elapsed_h.dtype)
    hours = parts[None, :] * batch.elapsed_h[:, -1:]
    line = batch.line_at(hours)
    # `take` lays rows one after the other, where indexing lays columns so.
    a, b = line.take(first, axis=1), line.take(last, axis=1)
    # Readings first, as the likelihood works on them: nothing is copied there.
    lost = np.minimum(b, batch.delivered_ml.T[:, :, None], order="C")
    lost -= a
    np.maximum(lost, 0, out=lost)
    said = np.zeros_like(a)
    if batch.stopped_log_ratio.any():
        at_node = _said_by(batch, hours)
        said = at_node[:, last] - at_node[:, first]
    return _Stops(
        lost_ml=lost.transpose(1, 2, 0), hours=hours, line=line, other_log_ratio=said
    )


def _said_by(batch: Batch, hours: Array) -> Array:
    """Add up what rows say that stand before each node; the last node has them all."""
    rows = (batch.elapsed_h[:, None, :] < hours[:, :, None]).sum(2)
    rows[:, -1] = batch.shape[1]
    said = np.cumsum(batch.stopped_log_ratio, axis=1)
    return np.take_along_axis(from_start(said), rows, axis=1)


def _volume_between(batch: Batch, stops: _Stops, first: Array, last: Array) -> Array:
    """Give minus what the line delivers between nodes, at most what was held."""
    line = np.minimum(stops.line, held_ml(batch))
    volume: Array = line[:, first] - line[:, last]
    return volume


@cache
def _stretches(nodes: int) -> tuple[Array, Array]:
    """Give first and last node of each stretch that ends before the last node."""
    first, last = np.triu_indices(nodes, 1)
    return first, last


def stalls(batch: Batch, nodes: int) -> Shapes:
    """Lay out stops after which a later reading shows movement again.

    Parameters
    ----------
    batch : Batch
        n infusions.
    nodes : int
        Onset and end lie on so many equal parts of the time to the last reading.

    Returns
    -------
    Shapes
        Onset anywhere with equal chance, length exponential with mean `STOP_H`.
    """
    first, last = _stretches(nodes)
    stops = _stops(batch, nodes, first, last)
    hours = stops.hours
    # Nodes are evenly spaced: a length counts by how many parts it spans.
    length = hours[:, 1:nodes]
    weight = np.exp(-length / STOP_H) * np.minimum(length / LEAST_STOP_H, 1)
    weight /= (weight * np.arange(nodes - 1, 0, -1)).sum(1, keepdims=True)

    def told() -> Told:
        half = hours[:, 1:2] / 2
        return Told(
            _volume_between(batch, stops, first, last),
            _window(hours[:, first], half),
            _window(hours[:, last], half),
        )

    return Shapes(
        lost_ml=stops.lost_ml,
        log_weight=np.log(weight).take(last - first - 1, axis=1),
        other_log_ratio=stops.other_log_ratio,
        ratio=np.full(len(first), np.nan),
        told=told,
    )


def stalls_to_end(batch: Batch, nodes: int) -> Shapes:
    """Lay out stops after which no reading shows movement again.

    Parameters
    ----------
    batch : Batch
        n infusions.
    nodes : int
        As for `stalls`.

    Returns
    -------
    Shapes
        Onset anywhere with equal chance.
    """
    first, last = np.arange(nodes), np.full(nodes, nodes)
    stops = _stops(batch, nodes, first, last)
    n = batch.shape[0]

    def told() -> Told:
        hours = stops.hours
        end = np.full((n, nodes, 2), np.nan)
        end[:, :, 0] = batch.elapsed_h[:, -1:]
        return Told(
            _volume_between(batch, stops, first, last) - _after_last(batch),
            _window(hours[:, first], hours[:, 1:2] / 2),
            end,
        )

    return Shapes(
        lost_ml=stops.lost_ml,
        log_weight=np.full((n, nodes), -np.log(nodes)),
        other_log_ratio=stops.other_log_ratio,
        ratio=np.full(nodes, np.nan),
        told=told,
    )


def _window(hours: Array, half: Array) -> Array:
    return np.stack([np.clip(hours - half, 0, None), hours + half], axis=-1)


def _after_last(batch: Batch) -> Array:
    """Give what the line delivers after the last reading, shape (n, 1)."""
    held = held_ml(batch)
    by_last = batch.delivered_ml[:, -1:]
    by_end = np.maximum(batch.end_delivered_ml[:, None], by_last)
    volume: Array = np.minimum(by_end, held) - np.minimum(by_last, held)
    return volume
