"""What the readings of an infusion are consistent with, and how sure that is.

Every infusion has its probabilities; of those listed, the likeliest kind is looked at
closely: when it can have begun and ended, how much volume it is worth, and which
readings it takes for slips.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from analysis.delivery.batches import Array, Batch, batches
from analysis.delivery.hypotheses import HYPOTHESES
from analysis.delivery.many_shapes import weigh_shapes
from analysis.delivery.noise import LIMIT_SD
from analysis.delivery.runs import runs_of
from analysis.delivery.shapes import Shapes, Told
from analysis.delivery.slips import slip_density
from analysis.lookup import places
from analysis.terms import FindingKind
from analysis.threads import side_by_side

#: Parts of the time to the last reading on which a listed infusion is looked at.
CLOSE = 48

#: Share of the weight outside each end of a window or an interval.
_TAIL = 0.025
_Z = 1.96

#: Volumes that differ by no more than this are the same [mL].
_SAME_ML = 1e-3

#: Readings at once, by how many shapes a close look lays on each: what a processor's
#: own memory holds.
_MOST = {FindingKind.STALL: 100, FindingKind.SURGE: 400}
_MOST_OF_FEW_SHAPES = 1600

_SHAPES = {hypothesis.kind: hypothesis.shapes for hypothesis in HYPOTHESES}


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One delivery or set-up finding; hours are elapsed, NaN where not known.

    Attributes
    ----------
    infusion_id : str
        The infusion.
    kind : FindingKind
        What the readings are consistent with.
    began_h, ended_h : tuple of float
        Earliest and latest.
    first_visible : int
        Position of the first reading that could have shown it.
    largest : int
        Position of the reading with the largest departure.
    volume_ml, volume_low_ml, volume_high_ml : float
        Delivered minus set-rate line at the largest departure, with 95 % limits; NaN
        where it cannot be told.
    slips : array of float, shape (k,)
        Probability of a slip in each reading, given the event.
    ratio : float
        Delivered over set volume, where constant throughout; else NaN.
    probability, kind_probability, rival_probability : float
        Of any event, of this kind, and of the next likeliest kind; NaN for a set-up
        finding.
    rival : str
        The next likeliest kind, or none.
    """

    infusion_id: str
    kind: FindingKind
    began_h: tuple[float, float]
    ended_h: tuple[float, float]
    first_visible: int
    largest: int
    volume_ml: float
    volume_low_ml: float
    volume_high_ml: float
    slips: Array
    ratio: float = np.nan
    probability: float = np.nan
    kind_probability: float = np.nan
    rival: str = ""
    rival_probability: float = np.nan


def events(readings: pd.DataFrame, probability: pd.DataFrame) -> Iterator[Event]:
    """Look closely at infusions that are listed.

    Parameters
    ----------
    readings : DataFrame
        Their readings with noise, in order of infusion and time.
    probability : DataFrame
        Of each kind and of none, by infusion_id (`probabilities`).

    Yields
    ------
    Event
        One an infusion, of its likeliest kind.
    """
    kinds = probability.drop(columns="none")
    values, none = kinds.to_numpy(), probability["none"].to_numpy()
    order = np.argsort(-values, axis=1, kind="stable")
    names = np.array(kinds.columns)
    runs = runs_of(readings["infusion_id"])
    every = pd.Index(readings["infusion_id"].iloc[runs.begins])
    place = places(every, kinds.index)
    first = names[order[place, 0]]
    work = [
        (kind, batch)
        for kind in map(FindingKind, np.unique(first).tolist())
        for batch in batches(
            readings[runs.each(first == str(kind))],
            _MOST.get(kind, _MOST_OF_FEW_SHAPES),
        )
    ]
    found = side_by_side(lambda one: _looked_at(*one), work)
    row_of = dict(zip(every, place.tolist(), strict=True))
    for looked in found:
        for event in looked:
            at = row_of[event["infusion_id"]]
            likeliest, rival = order[at, 0], order[at, 1]
            yield Event(
                **event,
                probability=float(1 - none[at]),
                kind_probability=float(values[at, likeliest]),
                rival=str(names[rival]),
                rival_probability=float(values[at, rival]),
            )


def _looked_at(kind: FindingKind, batch: Batch) -> list[dict[str, Any]]:
    """Look at infusions of one kind: all of `Event` but how probable it is."""
    shapes = _SHAPES[kind](batch, CLOSE)
    weight, slips = _weights(batch, shapes)
    told = shapes.told()
    lost = np.einsum("ns,kns->nk", weight, shapes.lost_ml.transpose(2, 0, 1))
    beyond = np.abs(lost) > LIMIT_SD * np.sqrt(batch.variance_ml2)
    # The first of those that lost the same: later the line itself may be at its end.
    off = np.where(slips < 0.5, np.abs(lost), -1)
    largest = np.argmax(off >= off.max(1, keepdims=True) - _SAME_ML, axis=1)
    seen = np.where(beyond.any(1), beyond.argmax(1), largest)
    ratio = np.einsum("ns,s->n", weight, shapes.ratio)
    volume, low, high = _volumes(batch, shapes, told, weight)
    columns = {
        "infusion_id": batch.infusion_id.tolist(),
        "kind": [kind] * len(seen),
        "began_h": zip(*_window(told.began_h, weight), strict=True),
        "ended_h": zip(*_window(told.ended_h, weight), strict=True),
        "first_visible": seen.tolist(),
        "largest": largest.tolist(),
        "volume_ml": volume.tolist(),
        "volume_low_ml": low.tolist(),
        "volume_high_ml": high.tolist(),
        "slips": list(slips),
        "ratio": ratio.tolist(),
    }
    rows = zip(*columns.values(), strict=True)
    return [dict(zip(columns, row, strict=True)) for row in rows]


def _weights(batch: Batch, shapes: Shapes) -> tuple[Array, Array]:
    """Give the weight of each shape, (n, s), and the probability of slips, (n, k)."""
    lost = shapes.lost_ml.transpose(2, 0, 1).astype("float32")
    slip = slip_density(batch).astype("float32")
    found = weigh_shapes(batch.single(), lost, slip)
    weight = found.log_density + shapes.log_weight + shapes.other_log_ratio
    weight -= weight.max(1, keepdims=True)
    np.exp(weight, out=weight)
    weight /= weight.sum(1, keepdims=True)
    slips = np.einsum("kns,ns->nk", found.terms, (weight / found.total).astype("f4"))
    return weight, slips


def _window(hours: Array, weight: Array) -> tuple[list[float], list[float]]:
    """Give the earliest and latest hour that the weight leaves room for."""
    earliest = _hour(hours[:, :, 0], weight, _TAIL)
    if np.isnan(hours[:, :, 1]).any():
        return earliest.tolist(), [np.nan] * len(hours)
    return earliest.tolist(), _hour(hours[:, :, 1], weight, 1 - _TAIL).tolist()


def _hour(hours: Array, weight: Array, share: float) -> Array:
    """Give the quantile of hours, of which many shapes have the same."""
    # All infusions of a kind have their windows in the same order.
    order = np.argsort(hours.sum(0), kind="stable")
    ordered = hours[0, order]
    begins = np.flatnonzero(np.r_[True, ordered[1:] != ordered[:-1]])
    own = np.add.reduceat(weight.take(order, axis=1), begins, axis=1)
    [found] = _quantiles(hours.take(order[begins], axis=1), own, share)
    return found


def _quantiles(values: Array, weight: Array, *shares: float) -> list[Array]:
    """Give quantiles of each row of values that are in order."""
    reached = np.cumsum(weight, axis=1)
    rows, last = np.arange(len(values)), values.shape[1] - 1
    places = ((reached < share * reached[:, -1:]).sum(1) for share in shares)
    return [values[rows, np.minimum(at, last)] for at in places]


def _volumes(
    batch: Batch, shapes: Shapes, told: Told, weight: Array
) -> tuple[Array, Array, Array]:
    """Give mean and 95 % limits of the volume of each infusion.

    In them are the width of the grid and, where the shape is a volume and not a ratio,
    the flow error of what was not given; a volume that would have emptied the syringe
    is also as uncertain as what it held.
    """
    volume = told.volume_ml
    if np.isnan(volume).any():
        unknown = np.full(len(volume), np.nan)
        return unknown, unknown, unknown
    mean = np.einsum("ns,ns->n", weight, volume)
    grid = batch.elapsed_h[:, -1] / CLOSE * batch.rate_ml_h.max(1) / 2
    order = np.argsort(volume, axis=1)
    ordered = np.take_along_axis(volume, order, axis=1)
    own = np.take_along_axis(weight, order, axis=1)
    low, high = _quantiles(ordered, own, _TAIL, 1 - _TAIL)
    held = np.where(batch.is_floored, batch.base_ml, np.inf)
    sd = np.zeros(len(mean))
    if np.isnan(shapes.ratio).all():
        would_empty = batch.end_delivered_ml >= held
        sd = np.hypot(
            batch.flow_sd * mean, np.where(would_empty, batch.offset_sd_ml, 0.0)
        )
    low = mean - np.hypot(mean - low + grid, _Z * sd)
    high = mean + np.hypot(high - mean + grid, _Z * sd)
    is_behind = mean < 0
    low = np.where(is_behind, low, np.maximum(low, 0.0))
    high = np.minimum(high, np.where(is_behind, 0.0, held))
    return mean, low, high


def is_listed(probability: pd.DataFrame, threshold: float) -> Array:
    """Tell which infusions have an event probable enough to be listed.

    Parameters
    ----------
    probability : DataFrame
        By infusion_id.
    threshold : float
        What must be exceeded.

    Returns
    -------
    array of bool
        In the order of `probability`.
    """
    event = (1 - probability["none"]).round(4)
    return (event > threshold).to_numpy(dtype=bool)
