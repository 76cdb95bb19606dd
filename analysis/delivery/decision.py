"""What the readings of an infusion are consistent with, and how sure that is.

Every infusion has its probabilities; of those listed, the likeliest kind is looked at
closely: when it can have begun and ended, how much volume it is worth, and which
readings it takes for slips.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields

import numpy as np
import pandas as pd

from analysis.delivery.batches import Array, Batch, batches
from analysis.delivery.noise import LIMIT_SD
from analysis.delivery.scan import weigh
from analysis.delivery.shapes import HYPOTHESES, Shapes
from analysis.delivery.slips import slip_density
from analysis.lookup import are_among
from analysis.terms import FindingKind

#: Parts of the time to the last reading on which a listed infusion is looked at.
CLOSE = 48

#: Share of the weight outside each end of a window or an interval.
_TAIL = 0.025
_Z = 1.96

#: Shapes of less weight play no part in windows and intervals.
_NOTHING = 1e-9

#: Volumes that differ by no more than this are the same [mL].
_SAME_ML = 1e-3

#: Readings in memory at once, times the shapes of a close look.
_MOST = 100

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
    first = pd.Series(names[order[:, 0]], index=kinds.index)
    for name, ids in first.groupby(first).groups.items():
        kind = FindingKind(str(name))
        mine = readings[are_among(readings["infusion_id"], ids)]
        for batch in batches(mine, _MOST):
            slip = slip_density(batch)
            shapes = _SHAPES[kind](batch, CLOSE)
            weight, slips = weigh(batch, shapes, slip)
            weight = np.exp(weight - weight.max(1, keepdims=True))
            weight /= weight.sum(1, keepdims=True)
            for i, at in enumerate(
                kinds.index.get_indexer(pd.Index(batch.infusion_id))
            ):
                likeliest, rival = order[at, 0], order[at, 1]
                own = _Sure(
                    kind=kind,
                    event=float(1 - none[at]),
                    of_kind=float(values[at, likeliest]),
                    rival=str(names[rival]),
                    of_rival=float(values[at, rival]),
                )
                yield _event(
                    batch.take(slice(i, i + 1)),
                    *_of(shapes, i, weight[i]),
                    weight[i] @ slips[i],
                    own,
                )


def _of(shapes: Shapes, i: int, weight: Array) -> tuple[Shapes, Array]:
    """Give the shapes of one infusion that have a weight, and their weights."""
    some = np.flatnonzero(weight > _NOTHING)
    of_each = {
        field.name: getattr(shapes, field.name)[i : i + 1, some]
        for field in fields(Shapes)
        if field.name != "ratio"
    }
    return Shapes(**of_each, ratio=shapes.ratio[some]), weight[some]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sure:
    """Probability of any event, of the likeliest kind and of the next."""

    kind: FindingKind
    event: float
    of_kind: float
    rival: str
    of_rival: float


def _event(
    batch: Batch, shapes: Shapes, weight: Array, slips: Array, sure: _Sure
) -> Event:
    lost = weight @ shapes.lost_ml[0]
    beyond = np.abs(lost) > LIMIT_SD * np.sqrt(batch.variance_ml2[0])
    # The first of those that lost the same: later the line itself may be at its end.
    off = np.where(slips < 0.5, np.abs(lost), -1)
    largest = int(np.argmax(off >= off.max() - _SAME_ML))
    volume, low, high = _volume(batch, shapes, weight)
    return Event(
        infusion_id=str(batch.infusion_id[0]),
        kind=sure.kind,
        began_h=_window(shapes.began_h[0], weight),
        ended_h=_window(shapes.ended_h[0], weight),
        first_visible=int(np.argmax(beyond)) if beyond.any() else largest,
        largest=largest,
        volume_ml=volume,
        volume_low_ml=low,
        volume_high_ml=high,
        slips=slips,
        ratio=_ratio(shapes, weight),
        probability=sure.event,
        kind_probability=sure.of_kind,
        rival=sure.rival,
        rival_probability=sure.of_rival,
    )


def _window(hours: Array, weight: Array) -> tuple[float, float]:
    """Give the earliest and latest hour that the weight leaves room for."""
    earliest = _quantile(hours[:, 0], weight, _TAIL)
    if np.isnan(hours[:, 1]).any():
        return earliest, np.nan
    return earliest, _quantile(hours[:, 1], weight, 1 - _TAIL)


def _quantile(values: Array, weight: Array, share: float) -> float:
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(weight[order])
    at = min(int(np.searchsorted(reached, share * reached[-1])), len(values) - 1)
    return float(values[order[at]])


def _volume(batch: Batch, shapes: Shapes, weight: Array) -> tuple[float, float, float]:
    """Give mean and 95 % limits of the volume.

    In them are the width of the grid and, where the shape is a volume and not a ratio,
    the flow error of what was not given; a volume that would have emptied the syringe
    is also as uncertain as what it held.
    """
    volume = shapes.volume_ml[0]
    if np.isnan(volume).any():
        return np.nan, np.nan, np.nan
    mean = float((weight * volume).sum())
    grid = batch.elapsed_h[0, -1] / CLOSE * batch.rate_ml_h[0].max() / 2
    low, high = (_quantile(volume, weight, s) for s in (_TAIL, 1 - _TAIL))
    held = float(batch.base_ml[0]) if batch.is_floored[0] else np.inf
    sd = 0.0
    if np.isnan(shapes.ratio).all():
        would_empty = float(batch.end_delivered_ml[0]) >= held
        sd = float(
            np.hypot(
                batch.flow_sd[0] * mean, batch.offset_sd_ml[0] if would_empty else 0.0
            )
        )
    low = mean - float(np.hypot(mean - low + grid, _Z * sd))
    high = mean + float(np.hypot(high - mean + grid, _Z * sd))
    if mean < 0:
        return mean, low, min(high, 0.0)
    return mean, max(low, 0.0), min(high, held)


def _ratio(shapes: Shapes, weight: Array) -> float:
    if np.isnan(shapes.ratio).any():
        return np.nan
    return float((weight * shapes.ratio).sum())


def listed(probability: pd.DataFrame, threshold: float) -> Sequence[str]:
    """Give the infusions whose event is probable enough to be listed.

    Parameters
    ----------
    probability : DataFrame
        By infusion_id.
    threshold : float
        What must be exceeded.

    Returns
    -------
    sequence of str
        infusion_id.
    """
    event = (1 - probability["none"]).round(4)
    return list(probability.index[event > threshold])
