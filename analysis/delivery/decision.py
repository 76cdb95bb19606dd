"""What the readings of one infusion are consistent with: a plain rule.

A finding needs two successive readings beyond the limit on one side. One reading off
with the next one back is a doubtful reading: a driver does not catch up. A last reading
off by itself is a finding that rests on one reading.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from analysis.delivery.noise import FLOW_SD, LIMIT_SD, OFFSET_SD_ML
from analysis.terms import FindingKind

Array = npt.NDArray[Any]

#: Constant ratios of delivered to set volume within 1 +/- this are no event.
RATIO_BAND = 0.10

#: Below this ratio nothing is said to have moved.
STOPPED_RATIO = 0.05

#: A fixed offset up to this is consistent with priming (older sets to 1.5 mL) or with a
#: start-up lag (5 to 75 min, 0.05 to 0.8 mL): common practice, no source.
PRIMING_ML, START_UP_ML = 1.5, 0.85

#: A driver that runs fast within its stated accuracy; anything more is no catching up.
_FASTEST = 1.10
_GRID_H = 0.25
_CHI2_95 = 3.84  # 95 % point of chi-square on one degree of freedom


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """Volume readings of one infusion in order of time; arrays of shape (k,).

    The line starts at elapsed 0 with base_ml; the start reading is not among them.
    """

    elapsed_h: Array
    observed_ml: Array
    expected_ml: Array
    delivered_ml: Array
    sd_ml: Array
    reading_sd_ml: Array
    base_ml: float
    is_floored: bool

    @property
    def residual_ml(self) -> Array:
        """Observed minus expected; positive is behind.

        Returns
        -------
        array of float, shape (k,)
            mL.
        """
        residual: Array = np.round(self.observed_ml - self.expected_ml, 3)
        return residual

    @property
    def side(self) -> Array:
        """Side of the line on which a reading is beyond the limit.

        Returns
        -------
        array of float, shape (k,)
            +1 behind, -1 ahead, 0 within the limit; the limit itself is within.
        """
        residual = self.residual_ml
        beyond = np.abs(residual) > LIMIT_SD * self.sd_ml
        side: Array = np.sign(residual) * beyond
        return side

    def subset(self, keep: Array) -> "Readings":
        """Give some of the readings.

        Parameters
        ----------
        keep : array of bool, shape (k,)
            Which.

        Returns
        -------
        Readings
            In the same order.
        """
        return Readings(
            elapsed_h=self.elapsed_h[keep],
            observed_ml=self.observed_ml[keep],
            expected_ml=self.expected_ml[keep],
            delivered_ml=self.delivered_ml[keep],
            sd_ml=self.sd_ml[keep],
            reading_sd_ml=self.reading_sd_ml[keep],
            base_ml=self.base_ml,
            is_floored=self.is_floored,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One delivery or set-up finding; hours are elapsed, NaN where not known.

    Attributes
    ----------
    kind : FindingKind
        What the readings are consistent with.
    began_h, ended_h : tuple of float
        Earliest and latest.
    first_visible : int
        Position of the first reading beyond the limit.
    largest : int
        Position of the reading with the largest departure.
    volume_ml : float
        Delivered minus set-rate line at that reading; NaN where it cannot be told.
    sd_ml : float
        Its standard deviation.
    rests_on_one : bool
        One reading only, the last.
    ratio : float
        Delivered over set volume, where constant throughout; else NaN.
    """

    kind: FindingKind
    began_h: tuple[float, float]
    ended_h: tuple[float, float]
    first_visible: int
    largest: int
    volume_ml: float
    sd_ml: float
    rests_on_one: bool
    ratio: float = np.nan


@dataclass(frozen=True, slots=True)
class Verdict:
    """The event of an infusion, if any, and its doubtful readings (bool, (k,))."""

    event: Event | None
    is_doubtful: Array


def decide(readings: Readings) -> Verdict:
    """Apply the plain rule to the readings of one infusion.

    Parameters
    ----------
    readings : Readings
        At least one reading, without missing values.

    Returns
    -------
    Verdict
        At most one event; doubtful readings take no part in it.
    """
    side = readings.side
    doubtful = np.zeros(len(side), dtype=bool)
    found = np.zeros(len(side), dtype=bool)
    for first, last in _runs(side):
        match _judge_run(readings, first, last):
            case "event":
                found[first : last + 1] = True
            case "doubtful":
                doubtful[first : last + 1] = True
            case _:
                pass
    event = _classify(readings, found, ~doubtful) if found.any() else None
    return Verdict(event, doubtful)


def _runs(side: Array) -> list[tuple[int, int]]:
    """Give first and last position of each run of readings off on one side."""
    edges = np.flatnonzero(np.diff(side)) + 1
    starts, ends = np.r_[0, edges], np.r_[edges - 1, len(side) - 1]
    return [(int(a), int(b)) for a, b in zip(starts, ends, strict=True) if side[a] != 0]


def _judge_run(readings: Readings, first: int, last: int) -> str:
    """Tell an event from doubtful readings, by what the next reading does."""
    alone = first == last
    if last == len(readings.elapsed_h) - 1:
        return "event"
    residual = readings.residual_ml
    pair_sd = np.hypot(readings.reading_sd_ml[last], readings.reading_sd_ml[last + 1])
    back = abs(residual[last]) - abs(residual[last + 1]) * np.sign(
        residual[last] * residual[last + 1]
    )
    if back <= LIMIT_SD * pair_sd:
        return "nothing" if alone else "event"
    if _line_has_ended(readings, last) and _could_be_driver(readings, last, pair_sd):
        return "event"
    if alone or not _could_be_driver(readings, last, pair_sd):
        return "doubtful"
    return "event"


def _line_has_ended(readings: Readings, last: int) -> bool:
    """Tell whether the next reading is back only since the syringe has emptied."""
    nearly = LIMIT_SD * readings.sd_ml[last + 1]
    return bool(readings.is_floored and readings.expected_ml[last + 1] <= nearly)


def _could_be_driver(readings: Readings, last: int, pair_sd: float) -> bool:
    """Tell whether a driver can move the plunger from one reading to the next one."""
    fell = readings.observed_ml[last] - readings.observed_ml[last + 1]
    hours = readings.elapsed_h[last + 1] - readings.elapsed_h[last]
    total = max(readings.elapsed_h[last + 1], 1e-9)
    by_line = readings.delivered_ml[last + 1] - readings.delivered_ml[last]
    # A gap that was charted as a pause may hold running time that nobody charted.
    set_fall = max(by_line, readings.delivered_ml[last + 1] / total * hours)
    slack = LIMIT_SD * pair_sd
    return bool(-slack <= fell <= _FASTEST * set_fall + slack)


def _classify(readings: Readings, found: Array, good: Array) -> Event | None:
    """Name the event behind the readings `found`, by its shape over good ones."""
    off = np.flatnonzero(found)
    largest = int(off[np.argmax(np.abs(readings.residual_ml[off]))])
    is_behind = bool(readings.residual_ml[largest] > 0)
    fit = _best_fit(readings.subset(good), found[good], is_behind=is_behind)
    if fit is None:
        return None
    is_rise = fit.kind is FindingKind.VOLUME_RISE
    return Event(
        kind=fit.kind,
        began_h=fit.began_h,
        ended_h=fit.ended_h,
        first_visible=int(off[0]),
        largest=largest,
        volume_ml=np.nan if is_rise else float(-readings.residual_ml[largest]),
        sd_ml=float(np.hypot(readings.reading_sd_ml[largest], OFFSET_SD_ML)),
        rests_on_one=len(off) == 1,
        ratio=fit.ratio,
    )


def _best_fit(shape: Readings, found: Array, *, is_behind: bool) -> "_Fit | None":
    """Give the shape that fits best; None for a constant ratio that is no event."""
    special = _rise(shape) or _start_offset(shape, found)
    if special:
        return special
    once = _stall(shape) if is_behind else _surge(shape)
    throughout = _throughout(shape)
    # One reading cannot show a constant ratio, and a ratio of nothing is a stop.
    can_be_throughout = len(found) > 1 and throughout.ratio > STOPPED_RATIO
    best = throughout if can_be_throughout and throughout.cost < once.cost else once
    if np.isfinite(best.ratio) and abs(best.ratio - 1) <= RATIO_BAND:
        return None
    return best


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fit:
    """One shape fitted: weighted squares plus 2 for each constant beyond the first."""

    kind: FindingKind
    cost: float
    began_h: tuple[float, float]
    ended_h: tuple[float, float]
    ratio: float = np.nan


def _rise(shape: Readings) -> _Fit | None:
    """Find the first reading well above the one before: a volume that rose."""
    level, sd = shape.observed_ml, shape.reading_sd_ml
    if shape.is_floored:
        level, sd = np.r_[shape.base_ml, level], np.r_[OFFSET_SD_ML, sd]
    # Reading at another ring of the stopper is worth up to 1.5 mL (common practice).
    least = np.maximum(LIMIT_SD * np.hypot(sd[:-1], sd[1:]), PRIMING_ML)
    up = np.flatnonzero(np.diff(level) > least)
    if not len(up):
        return None
    window = _between(shape, int(up[0]) + (0 if shape.is_floored else 1))
    return _Fit(kind=FindingKind.VOLUME_RISE, cost=0.0, began_h=window, ended_h=window)


def _between(shape: Readings, position: int) -> tuple[float, float]:
    """Give the hours of the reading before `position` and of `position` itself."""
    before = shape.elapsed_h[position - 1] if position else 0.0
    return float(before), float(shape.elapsed_h[position])


def _start_offset(shape: Readings, found: Array) -> _Fit | None:
    """Find a start offset: off by one amount from the first reading on."""
    residual = shape.residual_ml
    amount = residual[0]
    if not -PRIMING_ML <= amount <= START_UP_ML or found.sum() < 2:
        return None
    later = shape.delivered_ml - shape.delivered_ml[0]
    spread = np.sqrt(
        shape.reading_sd_ml**2 + shape.reading_sd_ml[0] ** 2 + (FLOW_SD * later) ** 2
    )
    # An emptied syringe can be no further ahead: its readings say nothing.
    tells = shape.expected_ml > abs(amount) if shape.is_floored else later >= 0
    is_flat = np.abs(residual - amount) <= LIMIT_SD * spread
    if tells.sum() < 2 or not is_flat[tells].all():
        return None
    window = (0.0, float(shape.elapsed_h[0]))
    return _Fit(kind=FindingKind.START_OFFSET, cost=0.0, began_h=window, ended_h=window)


def _predicted(shape: Readings, lost: Array) -> Array:
    """Give the residuals that a lost volume leaves, the syringe never below empty."""
    level = shape.base_ml - shape.delivered_ml + lost
    if shape.is_floored:
        level = np.clip(level, 0, None)
    residual: Array = level - shape.expected_ml
    return residual


def _cost(shape: Readings, lost: Array) -> Array:
    """Give weighted squares of residuals about a shape; the last axis is readings."""
    variance = shape.reading_sd_ml**2 + (OFFSET_SD_ML / 2) ** 2
    off = shape.residual_ml - _predicted(shape, lost)
    cost: Array = (off**2 / variance).sum(-1)
    return cost


def _throughout(shape: Readings) -> _Fit:
    """Fit one constant ratio of delivered to set volume."""
    shares = np.linspace(-2.0, 1.0, 601)  # of the set volume that was not delivered
    cost = _cost(shape, shares[:, None] * shape.delivered_ml)
    best = int(np.argmin(cost))
    slow = shares[best] > 0
    end = float(shape.elapsed_h[-1])
    return _Fit(
        kind=FindingKind.SLOW if slow else FindingKind.OVER_DELIVERY,
        cost=float(cost[best]),
        began_h=(0.0, 0.0),
        ended_h=(end, end),
        ratio=float(1 - shares[best]),
    )


def _stall(shape: Readings) -> _Fit:
    """Fit one stop from a to b, over a grid of quarter hours."""
    last = float(shape.elapsed_h[-1])
    # A row dated far out must not blow the grid up: 400 steps are the most.
    step = max(_GRID_H, last / 400)
    grid = np.unique(np.r_[np.arange(0, last, step), last])
    by_line = np.interp(grid, np.r_[0, shape.elapsed_h], np.r_[0, shape.delivered_ml])
    a, b = np.triu_indices(len(grid), 1)
    stop = np.minimum(by_line[b][:, None], shape.delivered_ml)
    lost = np.clip(stop - by_line[a][:, None], 0, None)
    cost = _cost(shape, lost)
    best = float(cost.min())
    near = cost <= best + _CHI2_95
    begins, ends = grid[a[near]], grid[b[near]]
    # A stop that lasts to the last reading is preferred where the readings allow it
    # and the last two do not fall: nothing shows movement again.
    to_end = bool((ends >= last).any()) and _no_movement_at_end(shape)
    return _Fit(
        kind=FindingKind.STALL_TO_END if to_end else FindingKind.STALL,
        cost=best + 2,
        began_h=(float(begins.min()), float(begins.max())),
        ended_h=(last, np.nan) if to_end else (float(ends.min()), float(ends.max())),
    )


def _no_movement_at_end(shape: Readings) -> bool:
    level = np.r_[shape.base_ml, shape.observed_ml]
    if shape.is_floored and level[-1] <= LIMIT_SD * shape.reading_sd_ml[-1]:
        return False  # it emptied
    by_line = np.r_[0, shape.delivered_ml]
    set_fall = by_line[-1] - by_line[-2]
    fell = level[-2] - level[-1]
    # Nearer to no movement for at least a part of the gap than to full delivery.
    return bool(fell < set_fall - LIMIT_SD * shape.reading_sd_ml[-1])


def _surge(shape: Readings) -> _Fit:
    """Fit one excess within one gap between readings."""
    count = len(shape.elapsed_h)
    after = np.tri(count).T  # row j: readings j and later have the excess
    amounts = np.linspace(0.1, max(shape.base_ml, 1.0), 300)
    lost = -amounts[:, None, None] * after[None, :, :]
    cost = _cost(shape, lost)
    by_gap = cost.min(0)
    best = int(np.argmin(by_gap))
    began = _between(shape, best)
    return _Fit(
        kind=FindingKind.SURGE,
        cost=float(by_gap[best]) + 2,
        began_h=began,
        ended_h=began,
    )
