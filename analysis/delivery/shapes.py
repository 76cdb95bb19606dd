"""What may have happened to an infusion: each kind of event as a family of shapes.

A shape says how much was not delivered by each reading. A family lists shapes over its
onset, duration or size, with a prior weight for each. To add a kind: write its function
and name it in `HYPOTHESES`. Weights are stated, not fitted: common practice, no source.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np

from analysis.delivery.batches import Array, Batch
from analysis.terms import FindingKind


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


#: Mean length of a stop that ends [h].
STOP_H = 5.0

#: A stop shorter than this is thought of less, the shorter it is [h].
LEAST_STOP_H = 2.0

#: Ratios of delivered to set volume; within 0.90 to 1.10 none is an event.
SLOW_RATIOS = (0.03, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.68, 0.75, 0.81, 0.86)
FAST_RATIOS = (1.14, 1.2, 1.28, 1.38, 1.5, 1.7, 2.0, 2.5, 3.5, 6.0)
HARMLESS_RATIOS = (0.91, 0.93, 0.95, 1.05, 1.07, 1.09)

#: Volumes given at once, and volumes added to a syringe [mL].
SURGES_ML = (0.9, 1.3, 1.8, 2.4, 3.2, 4.2, 5.5, 7.5, 10.0, 14.0)
_ADDED_ML = (2.0, 3.0, 4.5, 6.0, 8.0, 10.0, 13.0, 16.0)

#: A rise must raise the reading by more than this [mL].
_LEAST_RISE_ML = 1.0

#: Volumes that differ by less are the same [mL].
_SAME_ML = 1e-4

#: A rise back to a full syringe rather than to some level.
_REFILL = 0.6

#: Parts of a gap after which it was refilled.
_REFILLED = (0.15, 0.5, 0.85)


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
    return np.take_along_axis(_from_start(said), rows, axis=1)


def _volume_between(batch: Batch, stops: _Stops, first: Array, last: Array) -> Array:
    """Give minus what the line delivers between nodes, at most what was held."""
    held = np.where(batch.is_floored, batch.base_ml, np.inf)[:, None]
    line = np.minimum(stops.line, held)
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
            _volume_between(batch, stops, first, last)
            - (_by_end(batch) - _by_last(batch)),
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


def _from_start(values: Array) -> Array:
    """Put the 0 of the start before those of the readings, (n, k) to (n, k + 1)."""
    return np.concatenate([np.zeros_like(values[:, :1]), values], axis=1)


def _window(hours: Array, half: Array) -> Array:
    return np.stack([np.clip(hours - half, 0, None), hours + half], axis=-1)


def _by_end(batch: Batch) -> Array:
    """Give what the line delivers by the end, at most what was held, shape (n, 1)."""
    held = np.where(batch.is_floored, batch.base_ml, np.inf)
    by_end = np.maximum(batch.end_delivered_ml, batch.delivered_ml[:, -1])
    volume: Array = np.minimum(by_end, held)[:, None]
    return volume


def _by_last(batch: Batch) -> Array:
    held = np.where(batch.is_floored, batch.base_ml, np.inf)
    volume: Array = np.minimum(batch.delivered_ml[:, -1], held)[:, None]
    return volume


def slow(batch: Batch, nodes: int) -> Shapes:
    """Lay out slow delivery throughout, at one ratio of the set rate.

    Parameters
    ----------
    batch : Batch
        n infusions.
    nodes : int
        As many ratios, between those of `SLOW_RATIOS`.

    Returns
    -------
    Shapes
        Equal weight.
    """
    ratios = _between(SLOW_RATIOS, nodes)
    return _throughout(batch, ratios, np.gradient(ratios))


def over_delivery(batch: Batch, nodes: int) -> Shapes:
    """Lay out fast delivery throughout, at one ratio of the set rate.

    Parameters
    ----------
    batch : Batch
        n infusions.
    nodes : int
        As many ratios, between those of `FAST_RATIOS`.

    Returns
    -------
    Shapes
        Weight falling with the square of the ratio.
    """
    ratios = _between(FAST_RATIOS, nodes)
    return _throughout(batch, ratios, np.gradient(ratios) / ratios)


@cache
def _between(knots: tuple[float, ...], nodes: int) -> Array:
    """Give so many values along some knots, close where the knots are close."""
    place = np.linspace(0, len(knots) - 1, nodes)
    values: Array = np.interp(place, np.arange(len(knots)), knots)
    return values


def _throughout(batch: Batch, ratio: Array, weight: Array) -> Shapes:
    n, _ = batch.shape
    # Readings first, as the likelihood works on them.
    less = (1 - ratio).astype(batch.delivered_ml.dtype)
    lost = (batch.delivered_ml.T[:, :, None] * less).transpose(1, 2, 0)

    def told() -> Told:
        by_line = np.maximum(
            batch.end_delivered_ml[:, None], batch.delivered_ml[:, -1:]
        )
        held = np.where(batch.is_floored, batch.base_ml, np.inf)[:, None]
        # What is given early is at its most when the syringe empties.
        full = np.where(batch.is_floored, batch.base_ml, 0.0)[:, None]
        emptied = full * (1 - 1 / np.maximum(ratio, 1))
        fast = np.where(ratio * by_line > held, emptied, (ratio - 1) * by_line)
        window = np.zeros((n, len(ratio), 2))
        return Told(
            np.where(ratio > 1, fast, (ratio - 1) * np.minimum(by_line, held)),
            window,
            np.broadcast_to(batch.elapsed_h[:, -1:, None], window.shape),
        )

    return Shapes(
        lost_ml=lost,
        log_weight=_same(weight, n),
        other_log_ratio=np.zeros((n, len(ratio))),
        ratio=ratio,
        told=told,
    )


def _same(weight: Array, n: int) -> Array:
    return np.broadcast_to(np.log(weight / weight.sum()), (n, len(weight)))


def surges(batch: Batch, nodes: int) -> Shapes:
    """Lay out volume given beyond the line within one gap, or about one reading.

    Parameters
    ----------
    batch : Batch
        n infusions.
    nodes : int
        Half as many volumes, between those of `SURGES_ML`.

    Returns
    -------
    Shapes
        Any gap with equal chance; weight falling with the volume.
    """
    n, k = batch.shape
    grid = _surge_grid(k, nodes // 2)
    lost = -(grid.volume_ml * grid.share).astype(batch.elapsed_h.dtype)
    s = lost.shape[1]

    def told() -> Told:
        gap = grid.gap
        hours = _from_start(batch.elapsed_h)
        end = hours[:, np.minimum(gap + np.where(grid.is_about, 2, 1), k)]
        window = np.stack([hours[:, gap], end], axis=-1)
        # No more than is left by the line half-way through the window.
        middle = batch.line_at((hours[:, gap] + end) / 2)
        left = np.where(batch.is_floored, batch.base_ml, np.inf)[:, None] - middle
        volume = np.minimum(grid.volume_ml, np.clip(left, 0, None))
        return Told(volume, window, window)

    return Shapes(
        lost_ml=np.moveaxis(
            np.broadcast_to(lost[:, None], (k, n, lost.shape[1])), 0, 2
        ),
        log_weight=_same(grid.weight, n),
        other_log_ratio=np.zeros((n, s)),
        ratio=np.full(s, np.nan),
        told=told,
    )


@dataclass(frozen=True, slots=True)
class _Surges:
    """Volumes given at once: volume, share of it by each reading, gap, weight.

    A surge is in the gap before a reading, or about it: half by the reading itself.
    """

    volume_ml: Array
    share: Array
    gap: Array
    is_about: Array
    weight: Array


@cache
def _surge_grid(k: int, volumes: int) -> _Surges:
    after = np.triu(np.ones((k, k)))
    about = np.where(np.eye(k, dtype=bool), 0.5, after)[:-1]
    # Row j of `after`: all readings from j on have it; of `about`: half by j itself.
    steps = np.concatenate([after, about])
    sizes = _between(SURGES_ML, volumes)
    return _Surges(
        volume_ml=np.repeat(sizes, len(steps)),
        share=np.tile(steps, (volumes, 1)).T,
        gap=np.tile(np.r_[np.arange(k), np.arange(k - 1)], volumes),
        is_about=np.tile(np.r_[np.zeros(k), np.ones(k - 1)], volumes) > 0,
        weight=np.repeat(np.gradient(sizes) / sizes, len(steps)),
    )


def rises(batch: Batch, nodes: int) -> Shapes:  # noqa: ARG001 - one signature
    """Lay out volume that rose in a gap: a refill, or a change without a row.

    Parameters
    ----------
    batch : Batch
        n infusions.
    nodes : int
        Not used.

    Returns
    -------
    Shapes
        Back to a full syringe at some moment of a gap, or by some volume.
    """
    n, k = batch.shape
    hours = _from_start(batch.elapsed_h)
    width = hours[:, 1:] - hours[:, :-1]
    refills = batch.line_at(
        np.concatenate([hours[:, :-1] + part * width for part in _REFILLED], axis=1)
    )
    added = np.repeat(_ADDED_ML, k).astype(batch.elapsed_h.dtype)
    amount = np.concatenate([refills, np.broadcast_to(added, (n, len(added)))], axis=1)
    gap, has, share = _rise_grid(k)
    before = _from_start(batch.delivered_ml)
    falls = (before[:, 1:] - before[:, :-1]).take(gap, axis=1)
    rises_enough = amount - falls > _LEAST_RISE_ML + _SAME_ML
    weight = np.where(rises_enough, share, 0.0)
    total = weight.sum(1, keepdims=True)
    with np.errstate(divide="ignore"):
        log_weight = np.log(weight / np.where(total > 0, total, 1))

    def told() -> Told:
        window = np.stack([hours[:, gap], hours[:, gap + 1]], axis=-1)
        return Told(np.full(amount.shape, np.nan), window, window)

    return Shapes(
        lost_ml=(amount * has.astype(amount.dtype)[:, None, :]).transpose(1, 2, 0),
        log_weight=log_weight,
        other_log_ratio=np.zeros(amount.shape),
        ratio=np.full(amount.shape[1], np.nan),
        told=told,
    )


@cache
def _rise_grid(k: int) -> tuple[Array, Array, Array]:
    """Give the gap of each rise, which readings have it, (k, s), and its share."""
    refills, others = len(_REFILLED), len(_ADDED_ML)
    gap = np.tile(np.arange(k), refills + others)
    share = np.r_[
        np.full(k * refills, _REFILL / (k * refills)),
        np.full(k * others, (1 - _REFILL) / (k * others)),
    ]
    return gap, np.tri(k)[:, gap], share


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """A kind of event: its share among events and its shapes."""

    kind: FindingKind
    share: float
    shapes: Callable[[Batch, int], Shapes]


HYPOTHESES = (
    Hypothesis(FindingKind.STALL, 0.34, stalls),
    Hypothesis(FindingKind.STALL_TO_END, 0.18, stalls_to_end),
    Hypothesis(FindingKind.SLOW, 0.17, slow),
    Hypothesis(FindingKind.OVER_DELIVERY, 0.13, over_delivery),
    Hypothesis(FindingKind.SURGE, 0.11, surges),
    Hypothesis(FindingKind.VOLUME_RISE, 0.07, rises),
)


@dataclass(frozen=True, slots=True)
class NoEvent:
    """A way to be off the line that is no event: share, start offset, ratio."""

    share: float
    offset_ml: float = 0.0
    ratio: float = 1.0


#: Priming counted in the start volume (older sets to 1.5 mL), a late start or start-up
#: lag (5 to 75 min), and drivers within a tenth of the set rate.
NO_EVENT = (
    NoEvent(0.97),
    *(NoEvent(0.02 / 6, offset_ml=ml) for ml in (-1.5, -1.2, -0.9, -0.6, 0.5, 0.8)),
    *(NoEvent(0.01 / 6, ratio=ratio) for ratio in HARMLESS_RATIOS),
)
