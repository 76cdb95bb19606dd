"""Seeded check logs of an invented health service, and the truth planted in them.

Infusions are simulated on their true volume in true time; each ward then reads and
writes them by its own habits. What was planted stands in two truth tables beside the
log. Service, wards, patients, drivers and staff are invented; base rates are plausible
(trade usage, common practice, no source) and are not tuned to any way of detecting.

Every share and every error is an argument: `WardHabits` and `Planting` as they come are
a ward without error and a log with nothing planted in it.
"""

import bisect
import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from pathlib import Path
from typing import TypeVar
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from analysis import columns
from analysis.terms import (
    EndReason,
    Entry,
    FindingKind,
    LineKind,
    RemovalReason,
    SiteSign,
    SolutionAppearance,
    YesNo,
)

ZONE = ZoneInfo("Europe/London")
SERVICE = "Quillmoor and Sallowdene Health Service"
NO_EVENT = "none"

T = TypeVar("T")

_HOUR = 60
_DAY = 24 * _HOUR
#: Life of an extension set that the invented service works to [h].
_SET_LIFE_H = 72.0
#: Treatments begin this long before the log, so that its first days are not empty.
_LEAD_DAYS = 12
#: A delivery event needs an infusion that ran at least this long [h].
SHORTEST_WITH_EVENT_H = 3.0

TRUTH_INFUSIONS = (
    "infusion_id",
    "kind",
    "onset",
    "ended",
    "volume_ml",
    "hours_equivalent",
    "factor",
    "flow_factor",
    "start_offset_ml",
)
TRUTH_OTHER = (
    "kind",
    "file",
    "line",
    "ward",
    "patient_id",
    "infusion_id",
    "line_id",
    "began",
    "ended",
    "hours",
    "written",
    "truth",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class WardHabits:
    """How one ward works and writes; as it comes, a ward without any error.

    Attributes
    ----------
    name, prefix : str
        Ward name, and the letters its infusion ids and staff codes start with.
    infusions_per_month : float
        Average number of syringes started in 30.4 days.
    mean_syringes : float
        Average number of syringes of a treatment; at least 1.
    start_volumes_ml : tuple of float
        Volumes charted at the start, drawn with equal chance [mL].
    reading_step_ml : float
        Step that volumes are read to [mL]; 0 writes three decimals.
    time_step_min : int
        Step that times of checks are written to [min]; it divides 60.
    rate_step_ml_h : float
        Step of the rate display [mL/h]; the driver itself runs at volume / duration.
    reading_error_ml, time_error_min : float
        Standard deviations of an honest reading and of an honest time.
    flow_sd, driver_sd : float
        Standard deviations of the flow factor, of an infusion and of a driver.
    offset_ml, offset_sd_ml : float
        Mean and standard deviation of true minus charted start volume [mL].
    lag_h : float
        Mean start-up lag [h]; no lag is longer than 1 h.
    planned_h, check_every_h : float
        What an infusion is planned to last, and the time between plain checks [h].
    is_visiting : bool
        A community team: seen at the start, perhaps in the evening, and at the change.
    early_check_share : float
        Share of infusions with a first check within the hour.
    spread_min : float
        Standard deviation of the time between checks [min].
    late_share, lapse_share, night_lapse_share : float
        Chances that a check is late, or left out by day and by night (0 to 6 h).
    missing_volume_share, blank_share : float
        Chances that a volume, or one of the other observations, is left blank.
    late_set_share : float
        Chance that a due change of the extension set is put off to the next syringe.
    site_life_days : float
        Scale of the time to a site reaction [d]; 0: there is none.
    metal_share : float
        Share of metal cannulas, which react twice as soon.
    staff : int
        Number of staff codes.
    has_line_ids, has_dates_alone : bool
        Writes ids of sets and cannulas (else yes/no), and only the day of their change.
    has_delivered, has_recorded_at : bool
        Writes the volume delivered, and when the row was written.
    """

    name: str
    prefix: str
    infusions_per_month: float
    mean_syringes: float = 4.5
    start_volumes_ml: tuple[float, ...] = (16.0,)
    reading_step_ml: float = 0.0
    time_step_min: int = 1
    rate_step_ml_h: float = 0.01
    reading_error_ml: float = 0.0
    time_error_min: float = 0.0
    flow_sd: float = 0.0
    driver_sd: float = 0.0
    offset_ml: float = 0.0
    offset_sd_ml: float = 0.0
    lag_h: float = 0.0
    planned_h: float = 24.0
    check_every_h: float = 4.0
    is_visiting: bool = False
    early_check_share: float = 0.0
    spread_min: float = 0.0
    late_share: float = 0.0
    lapse_share: float = 0.0
    night_lapse_share: float = 0.0
    missing_volume_share: float = 0.0
    blank_share: float = 0.0
    late_set_share: float = 0.0
    site_life_days: float = 0.0
    metal_share: float = 0.0
    staff: int = 6
    has_line_ids: bool = True
    has_dates_alone: bool = False
    has_delivered: bool = False
    has_recorded_at: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Planting:
    """What is planted; as it comes, nothing.

    Attributes
    ----------
    event_share : float
        Chance of a delivery event in an infusion that ended within the log, with its
        end charted, and ran for `SHORTEST_WITH_EVENT_H` or longer.
    event_weights : tuple of (FindingKind, float)
        Kinds of delivery event and their relative frequency.
    slip_share : float
        Chance of a charting slip in an infusion with a plain check that has a volume.
    gap_share : float
        Chance of 1 to 5 h without a syringe between two syringes of a treatment.
    early_change_share, pause_share, rate_change_share : float
        Chances in an infusion, all charted.
    death_share, stop_share, lost_end_share : float
        How treatments end; the rest run their last syringe to its end. ``lost_end``:
        the chart simply stops.
    transfer_share, second_driver_share : float
        Chances in a treatment.
    unreadable_times, unreadable_volumes, exact_duplicates, awkward_notes : int
        Faulty rows and cells, and notes that look like markup or a formula.
    """

    event_share: float = 0.0
    event_weights: tuple[tuple[FindingKind, float], ...] = (
        (FindingKind.STALL, 0.36),
        (FindingKind.STALL_TO_END, 0.18),
        (FindingKind.SLOW, 0.16),
        (FindingKind.OVER_DELIVERY, 0.12),
        (FindingKind.SURGE, 0.11),
        (FindingKind.VOLUME_RISE, 0.07),
    )
    slip_share: float = 0.0
    gap_share: float = 0.0
    early_change_share: float = 0.0
    pause_share: float = 0.0
    rate_change_share: float = 0.0
    death_share: float = 0.0
    stop_share: float = 0.0
    lost_end_share: float = 0.0
    transfer_share: float = 0.0
    second_driver_share: float = 0.0
    unreadable_times: int = 0
    unreadable_volumes: int = 0
    exact_duplicates: int = 0
    awkward_notes: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class SyntheticLog:
    """A log and the truth behind it; every cell is text, as it stands in the file.

    Attributes
    ----------
    checks, infusions, lines : DataFrame
        The canonical tables, with the columns of `analysis.columns`, in order.
    truth_infusions : DataFrame
        One row an infusion, columns `TRUTH_INFUSIONS`. ``volume_ml`` is the largest
        departure of the volume delivered, by the plunger, that the event alone made
        (negative: behind; a refill reads as behind by what was added);
        ``hours_equivalent`` is its size over the rate first set.
    truth_other : DataFrame
        One row a thing planted elsewhere, columns `TRUTH_OTHER`; ``line`` counts the
        header as 1. ``began`` and ``ended`` are true times, not as the ward wrote them:
        of a reaction, its onset and the first check that recorded it.
    """

    checks: pd.DataFrame
    infusions: pd.DataFrame
    lines: pd.DataFrame
    truth_infusions: pd.DataFrame
    truth_other: pd.DataFrame


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plan:
    """What all steps need; times are whole minutes since 1970, UTC."""

    rng: np.random.Generator
    wards: Sequence[WardHabits]
    planting: Planting
    first: int
    end: int

    def chance(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def between(self, low: float, high: float) -> float:
        return float(low + (high - low) * self.rng.random())

    def pick(self, items: Sequence[T]) -> T:
        return items[int(self.rng.random() * len(items))]


@dataclass(slots=True, kw_only=True)
class _Driver:
    number: str
    factor: float
    free_at: int


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stay:
    """One treatment by one driver."""

    patient: str
    place: int
    start: int
    syringes: int
    fate: EndReason | None
    moves_at: int
    moves_to: int

    def place_at(self, minute: int) -> int:
        return self.place if minute < self.moves_at else self.moves_to


@dataclass(frozen=True, slots=True, kw_only=True)
class _Event:
    kind: FindingKind
    onset_h: float
    end_h: float
    factor: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Syringe:
    """One syringe run as it truly was; hours count from its start."""

    stay: _Stay
    driver: _Driver
    start: int
    hours: float
    planned_h: float
    fate: EndReason | None
    start_ml: float
    offset_ml: float
    flow: float
    lag_h: float
    pause: tuple[float, float] | None
    new_rate: tuple[float, float] | None
    event: _Event | None

    @property
    def rate(self) -> float:
        return self.start_ml / self.planned_h

    @property
    def end(self) -> int:
        return self.start + round(self.hours * _HOUR)

    @property
    def size_ml(self) -> float:
        return 10.0 if self.start_ml < 10 else 20.0 if self.start_ml <= 18 else 30.0

    def rate_at(self, hour: float) -> float:
        """Give the rate that is set, and 0 while paused or not yet moving [mL/h]."""
        if hour < self.lag_h or (self.pause and self.pause[0] <= hour < self.pause[1]):
            return 0.0
        if self.new_rate and hour >= self.new_rate[0]:
            return self.new_rate[1]
        return self.rate


@dataclass(slots=True, kw_only=True, eq=False)
class _Row:
    syringe: _Syringe
    minute: int
    written: int
    entry: Entry
    place: int
    cells: dict[str, str] = field(default_factory=dict)


@dataclass(slots=True, kw_only=True)
class _Line:
    kind: LineKind
    stay: _Stay
    place: int
    fitted: int
    line_id: str = ""
    material: str = ""
    location: str = ""
    reacts_at: int = 0
    falls_at: int = 0
    signs: str = ""
    is_seen: bool = False
    removed: int | None = None
    reason: str = ""


@dataclass(slots=True, kw_only=True)
class _Truth:
    """One row of truth_other before ids and lines of the file are known."""

    kind: str
    row: _Row | None = None
    syringe: _Syringe | None = None
    line: _Line | None = None
    began: int | None = None
    ended: int | None = None
    hours: float | None = None
    written: str = ""
    truth: str = ""


# Treatments and syringes --------------------------------------------------------------


def _fate(plan: _Plan) -> EndReason | None:
    """Draw how a treatment ends; None: the chart simply stops."""
    planting, draw = plan.planting, plan.rng.random()
    limits = list(
        itertools.accumulate(
            (planting.death_share, planting.stop_share, planting.lost_end_share)
        )
    )
    fates = (EndReason.DIED, EndReason.STOPPED, None, EndReason.COMPLETED)
    return fates[bisect.bisect_right(limits, draw)]


def _stays(plan: _Plan) -> list[_Stay]:
    """Draw the treatments of all wards, in order of their start."""
    stays = []
    homes = [k for k, ward in enumerate(plan.wards) if not ward.is_visiting]
    begin = plan.first - _LEAD_DAYS * _DAY
    codes = itertools.count(1)
    for place, ward in enumerate(plan.wards):
        spacing = ward.mean_syringes * 30.4 * _DAY / ward.infusions_per_month
        for k in range(int((plan.end - begin) / spacing) + 1):
            stays += _stay(
                plan, place, begin + (k + plan.rng.random()) * spacing, homes
            )
    stays.sort(key=lambda stay: stay.start)
    # Codes carry no order: multiplying modulo a prime scatters them.
    known: dict[str, str] = {}
    for stay in stays:
        if stay.patient not in known:
            known[stay.patient] = f"Q{next(codes) * 7919 % 99991:05d}"
    return [replace(stay, patient=known[stay.patient]) for stay in stays]


def _stay(plan: _Plan, place: int, arrival: float, homes: list[int]) -> list[_Stay]:
    """Draw one treatment, and a second driver beside it for some."""
    ward = plan.wards[place]
    # Treatments begin in the day.
    start = int(arrival // _DAY * _DAY + plan.between(8.5, 17) * _HOUR)
    syringes = 1 + int(plan.rng.poisson(ward.mean_syringes - 1))
    others = [k for k in homes if k != place]
    moves = not ward.is_visiting and bool(others)
    moves = plan.chance(plan.planting.transfer_share) and moves and syringes > 1
    stay = _Stay(
        patient=f"{place}:{arrival!r}",
        place=place,
        start=start,
        syringes=syringes,
        fate=_fate(plan),
        moves_at=start + int(plan.between(0.2, syringes - 0.5) * _DAY)
        if moves
        else plan.end + 400 * _DAY,
        moves_to=plan.pick(others) if moves else place,
    )
    if not plan.chance(plan.planting.second_driver_share):
        return [stay]
    # Both drivers of a patient run on to the end: nobody dies twice.
    stay = replace(stay, fate=EndReason.COMPLETED)
    return [stay, replace(stay, start=start + int(plan.between(15, 50)))]


def _take_driver(plan: _Plan, pools: list[list[_Driver]], stay: _Stay) -> _Driver:
    """Take a driver that is free from the ward's shelf, or a new one."""
    free = [driver for driver in pools[stay.place] if driver.free_at <= stay.start]
    if free:
        return plan.pick(free)
    count = sum(map(len, pools))
    factor = 1 + plan.wards[stay.place].driver_sd * plan.rng.standard_normal()
    driver = _Driver(
        number=f"{(17 + count * 389) % 10000:04d}", factor=float(factor), free_at=0
    )
    pools[stay.place].append(driver)
    return driver


def _chain(
    plan: _Plan, stay: _Stay, driver: _Driver, truths: list[_Truth]
) -> list[_Syringe]:
    """Draw the successive syringes of one treatment."""
    chain: list[_Syringe] = []
    start = stay.start
    for k in range(stay.syringes):
        ward = plan.wards[stay.place_at(start)]
        is_last = k == stay.syringes - 1
        syringe = _syringe(plan, ward, (stay, driver, start), is_last=is_last)
        chain.append(syringe)
        pause = 10.0 if ward.spread_min == 0 else plan.between(5, 18)
        if not is_last and plan.chance(plan.planting.gap_share):
            pause = plan.between(60, 300)
            truths.append(
                _Truth(
                    kind="gap_between_syringes",
                    syringe=syringe,
                    began=syringe.end,
                    ended=syringe.end + int(pause),
                    hours=int(pause) / _HOUR,
                )
            )
        start = syringe.end + int(pause)
    driver.free_at = chain[-1].end + 4 * _HOUR
    return chain


def _length(plan: _Plan, ward: WardHabits, fate: EndReason | None) -> float:
    """Draw the hours from start to end or change."""
    if fate in {EndReason.DIED, EndReason.STOPPED, None}:
        return plan.between(2, ward.planned_h - 0.5)
    if fate is EndReason.CHANGED_EARLY:
        # A visiting team comes at about the same time every day.
        return plan.between(20 if ward.is_visiting else 5, ward.planned_h - 2)
    # Changed shortly before it is empty, seldom after.
    early = plan.between(-0.2, 2.2) * ward.spread_min
    return ward.planned_h - early / _HOUR


def _syringe(
    plan: _Plan,
    ward: WardHabits,
    owner: tuple[_Stay, _Driver, int],
    *,
    is_last: bool,
) -> _Syringe:
    """Draw one syringe run, with what happened to it."""
    stay, driver, start = owner
    planting, rng = plan.planting, plan.rng
    is_early = plan.chance(planting.early_change_share)
    usual = EndReason.CHANGED_EARLY if is_early else EndReason.COMPLETED
    fate = stay.fate if is_last else usual
    hours = round(_length(plan, ward, fate) * _HOUR) / _HOUR
    start_ml = plan.pick(ward.start_volumes_ml)
    pause = new_rate = None
    if plan.chance(planting.pause_share) and hours > 8:
        begun = plan.between(2, hours - 4)
        pause = (begun, begun + plan.between(0.6, 2.5))
        hours = min(hours + pause[1] - pause[0], 26.0)
    elif plan.chance(planting.rate_change_share) and hours > 8:
        # Slower, so that the syringe lasts: what is left at the change is discarded.
        slower = round(start_ml / ward.planned_h * plan.between(0.6, 0.85), 2)
        new_rate = (plan.between(3, hours - 4), slower)
    event = None
    # The end as it will be written, rounded to the ward's step, is within the log.
    latest = plan.end - ward.time_step_min // 2
    is_whole = start >= plan.first and start + round(hours * _HOUR) < latest
    if is_whole and fate and hours >= SHORTEST_WITH_EVENT_H:
        event = _event(plan, hours) if plan.chance(planting.event_share) else None
    if fate is EndReason.COMPLETED:
        hours = _until_empty(plan, hours, start, event)
    half_step = ward.reading_step_ml / 2
    offset = ward.offset_ml + ward.offset_sd_ml * rng.standard_normal()
    return _Syringe(
        stay=stay,
        driver=driver,
        start=start,
        hours=round(hours * _HOUR) / _HOUR,
        planned_h=ward.planned_h,
        fate=fate,
        start_ml=start_ml,
        offset_ml=float(offset) + plan.between(-half_step, half_step),
        flow=float(driver.factor + ward.flow_sd * rng.standard_normal()),
        lag_h=min(1.0, ward.lag_h * float(rng.standard_exponential())),
        pause=pause,
        new_rate=new_rate,
        event=event,
    )


def _until_empty(plan: _Plan, hours: float, start: int, event: _Event | None) -> float:
    """Let a third of the syringes that stopped for a while run on until empty."""
    if event is None or event.kind is not FindingKind.STALL:
        return hours
    longer = hours + min(event.end_h - event.onset_h, 4.0)
    # An infusion with an event ends within the log, however its end is rounded.
    is_whole = start + longer * _HOUR < plan.end - 30
    return longer if plan.chance(1 / 3) and is_whole else hours


def _event(plan: _Plan, hours: float) -> _Event:
    """Draw a delivery event in an infusion of so many hours."""
    kinds, weights = zip(*plan.planting.event_weights, strict=True)
    limits = list(itertools.accumulate(weights))
    draw = plan.rng.random() * limits[-1]
    kind = kinds[min(bisect.bisect_right(limits, draw), len(kinds) - 1)]
    onset, end, factor = 0.0, hours, 0.0
    if kind is FindingKind.STALL:
        length = plan.between(1, min(6, hours - 1.5))
        onset = plan.between(0.25, hours - length - 0.75)
        end = onset + length
    elif kind is FindingKind.STALL_TO_END:
        onset = plan.between(0.15, 0.85) * hours
    elif kind is FindingKind.SLOW:
        factor = plan.between(0.5, 0.88)
    elif kind is FindingKind.OVER_DELIVERY:
        factor = plan.between(1.12, 1.8)
    elif kind is FindingKind.SURGE:
        onset = plan.between(0.05, 0.65) * hours
        end = min(onset + plan.between(1, 3), hours)
        factor = plan.between(2.5, 6)
    else:
        onset = end = plan.between(0.4, 0.85) * hours
        factor = 1.0
    return _Event(kind=kind, onset_h=onset, end_h=end, factor=factor)


def _curve(syringe: _Syringe, event: _Event | None) -> tuple[np.ndarray, np.ndarray]:
    """Give the true volume in the barrel as corners of a line.

    Parameters
    ----------
    syringe : _Syringe
        The run.
    event : _Event or None
        The event to take into account.

    Returns
    -------
    hours, ml : arrays of float, shape (n,)
        Corners, in order of time; between them the volume falls evenly.
    """
    corners = {0.0, min(syringe.lag_h, syringe.hours), syringe.hours}
    for pair in (syringe.pause, syringe.new_rate and (syringe.new_rate[0],)):
        corners.update(pair or ())
    if event:
        corners.update((event.onset_h, event.end_h))
    volume = full = syringe.start_ml + syringe.offset_ml
    hours, volumes = [0.0], [volume]
    for begin, end in itertools.pairwise(sorted(corners)):
        middle = (begin + end) / 2
        rate = syringe.rate_at(middle) * syringe.flow
        if event and event.onset_h <= middle < event.end_h:
            rate *= event.factor
        if rate * (end - begin) > volume:
            hours.append(begin + volume / rate)
            volumes.append(0.0)
        volume = max(0.0, volume - rate * (end - begin))
        hours.append(end)
        volumes.append(volume)
        if event and event.kind is FindingKind.VOLUME_RISE and end == event.onset_h:
            volume = full
            hours.append(end + 1e-6)
            volumes.append(volume)
    return np.array(hours), np.array(volumes)


def _event_volume(syringe: _Syringe) -> float:
    """Give the largest departure that the event alone made [mL]; negative: behind."""
    with_hours, with_ml = _curve(syringe, syringe.event)
    without_hours, without_ml = _curve(syringe, None)
    both = np.union1d(with_hours, without_hours)
    departure = np.interp(both, without_hours, without_ml) - np.interp(
        both, with_hours, with_ml
    )
    return float(departure[np.argmax(np.abs(departure))])


# Rows of the check log ----------------------------------------------------------------


def _local_hour(minute: int) -> int:
    return datetime.fromtimestamp(minute * 60, ZONE).hour


def _checks_between(plan: _Plan, syringe: _Syringe) -> list[int]:
    """Draw when the plain checks of one syringe were made."""
    ward = plan.wards[syringe.stay.place_at(syringe.start)]
    if ward.is_visiting:
        evening = syringe.start + int(plan.between(6.5, 9.5) * _HOUR)
        has_visit = plan.chance(0.5) and evening < syringe.end - _HOUR
        return [evening] if has_visit else []
    made = []
    if plan.chance(ward.early_check_share):
        made.append(syringe.start + int(plan.between(25, 60)))
    last = syringe.start
    while True:
        ward = plan.wards[syringe.stay.place_at(last)]
        last = _next_check(plan, ward, last)
        if last >= syringe.end - _HOUR * (ward.spread_min > 0):
            return [minute for minute in made if minute < syringe.end - 10]
        made.append(last)


def _next_check(plan: _Plan, ward: WardHabits, last: int) -> int:
    """Draw when the next check is made, unless it is late or left out."""
    wait = ward.check_every_h * _HOUR + ward.spread_min * plan.rng.standard_normal()
    if plan.chance(ward.late_share):
        wait += plan.between(30, 160)
    made = last + max(45, round(wait))
    while True:
        is_night = _local_hour(made) < 6
        if not plan.chance(ward.night_lapse_share if is_night else ward.lapse_share):
            return made
        wait = ward.spread_min * plan.rng.standard_normal()
        made += round(ward.check_every_h * _HOUR) + round(wait)


def _moments(plan: _Plan, syringe: _Syringe) -> list[tuple[int, Entry]]:
    """Give when rows were written for one syringe, and what they record."""
    marks = []
    if syringe.pause:
        marks += list(zip(syringe.pause, (Entry.PAUSE, Entry.RESUME), strict=True))
    if syringe.new_rate:
        marks.append((syringe.new_rate[0], Entry.RATE_CHANGE))
    rows = [(syringe.start + round(h * _HOUR), entry) for h, entry in marks]
    taken = [minute for minute, _ in rows]
    # A row about a change stands for the check that was near it.
    rows += [
        (minute, Entry.CHECK)
        for minute in _checks_between(plan, syringe)
        if all(abs(minute - other) > 45 for other in taken)
    ]
    is_charted = syringe.fate is not None
    if syringe.fate is EndReason.DIED:
        is_charted = plan.chance(0.5)
    rows.append((syringe.start, Entry.START))
    if is_charted:
        rows.append((syringe.end, Entry.END))
    return sorted(rows)


def _number(value: float) -> str:
    """Write a number as people do: at most three decimals, no trailing zeros."""
    return f"{round(value, 3) + 0.0:.3f}".rstrip("0").rstrip(".")


def _to_step(value: float, step: float) -> float:
    return round(value / step) * step if step else value


def _written(plan: _Plan, ward: WardHabits, minute: int, entry: Entry) -> int:
    """Give the minute that is written for a row."""
    step = ward.time_step_min
    if entry is Entry.CHECK:
        minute += round(ward.time_error_min * plan.rng.standard_normal())
    elif entry not in {Entry.START, Entry.END}:
        step = min(step, 5)
    return (minute + step // 2) // step * step


def _rows(plan: _Plan, syringe: _Syringe) -> list[_Row]:
    """Write the rows of one syringe as its ward would."""
    hours, ml = _curve(syringe, syringe.event)
    rows = []
    for minute, entry in _moments(plan, syringe):
        place = syringe.stay.place_at(minute)
        ward = plan.wards[place]
        row = _Row(
            syringe=syringe,
            minute=minute,
            written=_written(plan, ward, minute, entry),
            entry=entry,
            place=place,
        )
        volume = float(np.interp((minute - syringe.start) / _HOUR, hours, ml))
        row.cells = _state_cells(plan, row, volume) | _look_cells(plan, row)
        rows.append(row)
    return rows


def _read(plan: _Plan, row: _Row, volume: float) -> float:
    """Read a volume off the barrel; never below 0 or above the barrel [mL]."""
    ward = plan.wards[row.place]
    if row.entry is Entry.START:
        return row.syringe.start_ml
    noisy = volume + ward.reading_error_ml * plan.rng.standard_normal()
    return float(np.clip(_to_step(noisy, ward.reading_step_ml), 0, row.syringe.size_ml))


def _state_cells(plan: _Plan, row: _Row, volume: float) -> dict[str, str]:
    """Write what the driver shows: rate, volumes, battery, running light, alarm."""
    syringe, ward = row.syringe, plan.wards[row.place]
    hour = (row.minute - syringe.start) / _HOUR
    rate = syringe.rate
    if syringe.new_rate and hour >= syringe.new_rate[0] - 1e-9 - 0.5 / _HOUR:
        rate = syringe.new_rate[1]
    read = _read(plan, row, volume)
    is_blank = row.entry is Entry.CHECK and plan.chance(ward.missing_volume_share)
    cells = {
        "set_rate_ml_h": _number(_to_step(rate, ward.rate_step_ml_h)),
        "volume_remaining_ml": "" if is_blank else _number(read),
    }
    if ward.has_delivered and not is_blank:
        given = max(0.0, syringe.start_ml + syringe.offset_ml - volume)
        cells["volume_delivered_ml"] = _number(_to_step(given, ward.reading_step_ml))
    if not plan.chance(ward.blank_share):
        used = (row.minute - syringe.stay.start) / _HOUR % 96
        cells["battery_pct"] = str(int(99 - 0.75 * used))
    if volume <= 0 and plan.chance(0.5):
        return cells | {"running": str(YesNo.NO), "alarm": "end of infusion"}
    return cells | _running_cells(plan, syringe, hour)


def _running_cells(plan: _Plan, syringe: _Syringe, hour: float) -> dict[str, str]:
    event, cells = syringe.event, {"running": str(YesNo.YES)}
    stalls = {FindingKind.STALL, FindingKind.STALL_TO_END}
    if event is None or event.kind not in stalls or hour < event.onset_h:
        return cells
    if hour < event.end_h or event.kind is FindingKind.STALL_TO_END:
        if plan.chance(0.5):
            cells["running"] = str(YesNo.NO)
        if plan.chance(0.35):
            cells["alarm"] = "occlusion"
    elif hour < event.end_h + 4 and plan.chance(0.4):
        cells["action"] = "line straightened, driver restarted"
    return cells


def _look_cells(plan: _Plan, row: _Row) -> dict[str, str]:
    """Write what the nurse looked at, who looked, and when it was written."""
    ward = plan.wards[row.place]
    staff = [f"{ward.prefix}{k:02d}" for k in range(1, ward.staff + 1)]
    cells = {"checked_by": plan.pick(staff)}
    if not plan.chance(ward.blank_share):
        cells["solution_appearance"] = str(
            SolutionAppearance.CLOUDY
            if plan.chance(0.004)
            else SolutionAppearance.CLEAR
        )
    if not plan.chance(ward.blank_share):
        cells["lockbox_locked"] = str(YesNo.NO if plan.chance(0.015) else YesNo.YES)
    if not plan.chance(ward.blank_share):
        cells["label_present"] = str(YesNo.YES)
    if row.entry is Entry.START and not plan.chance(ward.blank_share):
        cells["second_checked_by"] = plan.pick(staff)
    if plan.chance(0.02):
        cells["note"] = plan.pick(_NOTES)
    return cells


_NOTES = (
    "settled, family with patient",
    "driver moved to other side of bed",
    "extension looped and taped",
    "seen with night nurse",
    "dressing dry",
)

# Charting slips -----------------------------------------------------------------------


def _swapped(text: str) -> str:
    """Swap the first two different digits that stand side by side; '' if none do."""
    places = [k for k, sign in enumerate(text) if sign.isdigit()]
    for one, two in itertools.pairwise(places):
        if text[one] != text[two]:
            signs = list(text)
            signs[one], signs[two] = text[two], text[one]
            return "".join(signs)
    return ""


def _slipped(plan: _Plan, kind: str, above: str, honest: str) -> str:
    """Give the reading as a slip would write it; '' where that slip cannot be."""
    if kind == "slip_copied":
        return above
    if kind == "slip_digits":
        return _swapped(honest)
    if kind == "slip_decimal":
        value = float(honest)
        return _number(value * 10 if value < 2 else value / 10)
    wrong = float(honest) + plan.pick((-5, -3, -2, -1, 1, 2, 3, 5))
    return _number(wrong) if wrong >= 0 else ""


_SLIPS = (
    ("slip_copied", 0.40),
    ("slip_whole_ml", 0.27),
    ("slip_digits", 0.13),
    ("slip_decimal", 0.12),
    ("slip_time", 0.08),
)


def _slip(plan: _Plan, rows: list[_Row]) -> _Truth | None:
    """Plant one charting slip in the rows of a syringe, if there is a row for it."""
    places = [
        k
        for k in range(1, len(rows))
        if rows[k].entry is Entry.CHECK
        and rows[k].cells["volume_remaining_ml"]
        and plan.first <= rows[k].written < plan.end
    ]
    if not places or not plan.chance(plan.planting.slip_share):
        return None
    place = plan.pick(places)
    row = rows[place]
    limits = list(itertools.accumulate(weight for _, weight in _SLIPS))
    draw = plan.rng.random() * limits[-1]
    kind = _SLIPS[min(bisect.bisect_right(limits, draw), len(_SLIPS) - 1)][0]
    if kind == "slip_time":
        return _time_slip(plan, row)
    honest = row.cells["volume_remaining_ml"]
    above = [r.cells["volume_remaining_ml"] for r in rows[:place]][-1]
    wrong = _slipped(plan, kind, above, honest)
    # A slip that changes nothing, or leaves the barrel, becomes a misread whole mL.
    while not wrong or wrong == honest or float(wrong) > row.syringe.size_ml:
        kind = "slip_whole_ml"
        wrong = _slipped(plan, kind, above, honest)
    row.cells["volume_remaining_ml"] = wrong
    return _Truth(kind=kind, row=row, written=wrong, truth=honest)


def _time_slip(plan: _Plan, row: _Row) -> _Truth:
    """Plant a time that is off by an hour, half a day or a day."""
    honest = row.written
    shifts = [
        shift
        for shift in (-_DAY, -_DAY // 2, -_HOUR, _HOUR, _DAY // 2)
        if plan.first <= honest + shift < plan.end
    ]
    row.written = honest + plan.pick(shifts)
    texts = _local([row.written, honest])
    return _Truth(kind="slip_time", row=row, written=texts[0], truth=texts[1])


# Extension sets and cannulas ----------------------------------------------------------


_SIGNS = (
    (SiteSign.REDNESS,),
    (SiteSign.REDNESS, SiteSign.SWELLING),
    (SiteSign.SWELLING, SiteSign.HARDNESS),
    (SiteSign.PAIN,),
    (SiteSign.REDNESS, SiteSign.PAIN),
    (SiteSign.LEAKAGE,),
    (SiteSign.BLEEDING,),
)
_LOCATIONS = ("chest", "chest", "abdomen", "abdomen", "upper arm", "thigh", "back")


def _new_set(stay: _Stay, place: int, minute: int) -> _Line:
    return _Line(kind=LineKind.EXTENSION_SET, stay=stay, place=place, fitted=minute)


def _new_cannula(plan: _Plan, stay: _Stay, place: int, minute: int) -> _Line:
    """Fit a cannula, and draw when it will react or come out by itself."""
    ward, never = plan.wards[place], plan.end + 400 * _DAY
    is_metal = plan.chance(ward.metal_share)
    life = ward.site_life_days / (2 if is_metal else 1)
    reacts = float(plan.rng.weibull(1.5)) * life
    falls = float(plan.rng.standard_exponential()) * 4 * life
    signs = [str(sign) for sign in plan.pick(_SIGNS)]
    return _Line(
        kind=LineKind.CANNULA,
        stay=stay,
        place=place,
        fitted=minute,
        material="metal" if is_metal else "plastic",
        location=plan.pick(_LOCATIONS),
        reacts_at=minute + int(reacts * _DAY) if life else never,
        falls_at=minute + int(falls * _DAY) if life else never,
        signs=";".join(signs),
    )


@dataclass(slots=True, kw_only=True)
class _Fitted:
    """The set and the cannula in use, and all there were."""

    extension: _Line
    cannula: _Line
    lines: list[_Line]

    def change(self, old: _Line, new: _Line, reason: str) -> None:
        old.removed, old.reason = new.fitted, reason
        self.lines.append(new)
        if new.kind is LineKind.CANNULA:
            self.cannula = new
        else:
            self.extension = new


def _fit(plan: _Plan, rows: list[_Row], truths: list[_Truth]) -> list[_Line]:
    """Walk through the rows of one treatment; fit, look at and change its lines."""
    first, last = rows[0], rows[-1]
    stay = first.syringe.stay
    begun = first.minute - 10
    extension = _new_set(stay, first.place, begun)
    cannula = _new_cannula(plan, stay, first.place, begun)
    fitted = _Fitted(extension=extension, cannula=cannula, lines=[extension, cannula])
    for row in rows:
        _change_set(plan, row, fitted)
        _look_at_site(plan, row, fitted, truths)
    syringe = last.syringe
    if syringe.fate is not None:
        is_dead = syringe.fate is EndReason.DIED
        reason = RemovalReason.DIED if is_dead else RemovalReason.END_OF_TREATMENT
        for line in (fitted.extension, fitted.cannula):
            line.removed = max(syringe.end, line.fitted) + 10
            line.reason = str(reason)
    return fitted.lines


def _change_set(plan: _Plan, row: _Row, fitted: _Fitted) -> None:
    """Change the extension set with a syringe if it would not last to the next."""
    if row.entry is Entry.START and row.minute > row.syringe.stay.start:
        ward = plan.wards[row.place]
        age = (row.minute - fitted.extension.fitted) / _HOUR
        is_due = age + ward.planned_h > _SET_LIFE_H
        if is_due and not plan.chance(ward.late_set_share):
            new = _new_set(row.syringe.stay, row.place, row.minute)
            fitted.change(fitted.extension, new, str(RemovalReason.ROUTINE))
            if not ward.has_line_ids:
                row.cells["line_changed"] = str(YesNo.YES)
    ward = plan.wards[row.place]
    if ward.has_line_ids:
        row.cells["line_id"] = str(id(fitted.extension))
    else:
        row.cells.setdefault("line_changed", str(YesNo.NO))


def _look_at_site(
    plan: _Plan, row: _Row, fitted: _Fitted, truths: list[_Truth]
) -> None:
    """Write what the site looked like; re-site where it must be."""
    ward, cannula = plan.wards[row.place], fitted.cannula
    row.cells["site_location"] = cannula.location
    is_looked_at = not plan.chance(ward.blank_share)
    is_reacting = row.minute >= cannula.reacts_at
    if is_looked_at:
        minor = SiteSign.BRUISING if plan.chance(0.01) else SiteSign.NONE
        row.cells["site_signs"] = cannula.signs if is_reacting else str(minor)
    if ward.has_line_ids:
        row.cells["site_id"] = str(id(cannula))
    else:
        row.cells["site_changed"] = str(YesNo.NO)
    is_seen = is_looked_at and is_reacting
    if is_seen and not cannula.is_seen:
        cannula.is_seen = True
        truths.append(_reaction(row, cannula))
    reason = _reason_to_resite(row, cannula, is_seen=is_seen)
    if reason is None or row.entry is Entry.END:
        return
    if reason is RemovalReason.REACTION and plan.chance(0.2):
        return  # left until the next check
    new = _new_cannula(plan, row.syringe.stay, row.place, row.minute + 5)
    fitted.change(cannula, new, str(reason))
    if not ward.has_line_ids:
        row.cells["site_changed"] = str(YesNo.YES)


def _reaction(row: _Row, cannula: _Line) -> _Truth:
    return _Truth(
        kind="site_reaction",
        row=row,
        line=cannula,
        began=cannula.reacts_at,
        ended=row.minute,
        hours=(row.minute - cannula.reacts_at) / _HOUR,
        truth=cannula.signs,
    )


def _reason_to_resite(
    row: _Row, cannula: _Line, *, is_seen: bool
) -> RemovalReason | None:
    if is_seen:
        return RemovalReason.REACTION
    if row.minute >= cannula.falls_at:
        return RemovalReason.DISLODGED
    is_old = row.minute - cannula.fitted > 7 * _DAY
    return RemovalReason.ROUTINE if is_old and row.entry is Entry.START else None


# Tables -------------------------------------------------------------------------------


def _local(minutes: Sequence[int | None]) -> list[str]:
    """Write minutes since 1970, UTC, as local wall-clock times; '' for None.

    An offset is written within an hour that comes twice, and nowhere else.
    """
    if not minutes:
        return []
    seconds = np.array([-1 if m is None else m for m in minutes], dtype="int64") * 60
    local = pd.to_datetime(seconds, unit="s", utc=True).tz_convert(ZONE)
    wall = local.tz_localize(None)
    is_twice = wall.tz_localize(ZONE, ambiguous="NaT", nonexistent="NaT").isna()
    plain = wall.strftime("%Y-%m-%dT%H:%M")
    texts = []
    for k, minute in enumerate(minutes):
        offset = local[k].isoformat()[-6:] if is_twice[k] else ""
        texts.append("" if minute is None else plain[k] + offset)
    return texts


def _frame(rows: Iterable[dict[str, str]], names: Sequence[str]) -> pd.DataFrame:
    cells = [[row.get(name, "") for name in names] for row in rows]
    return pd.DataFrame(cells, columns=list(names), dtype="str")


@dataclass(slots=True, kw_only=True)
class _Service:
    """All that was simulated, before it is written."""

    rows: list[_Row] = field(default_factory=list)
    lines: list[_Line] = field(default_factory=list)
    truths: list[_Truth] = field(default_factory=list)
    syringes: list[_Syringe] = field(default_factory=list)


def _simulate(plan: _Plan) -> _Service:
    service = _Service()
    pools: list[list[_Driver]] = [[] for _ in plan.wards]
    for stay in _stays(plan):
        driver = _take_driver(plan, pools, stay)
        chain = _chain(plan, stay, driver, service.truths)
        rows_of_stay = []
        for syringe in chain:
            rows = _rows(plan, syringe)
            if syringe.start >= plan.first and (slip := _slip(plan, rows)):
                service.truths.append(slip)
            rows_of_stay += rows
        service.lines += _fit(plan, rows_of_stay, service.truths)
        service.rows += rows_of_stay
        service.syringes += chain
    return service


def make_log(
    *,
    rng: np.random.Generator,
    wards: Sequence[WardHabits],
    first_day: date,
    days: int,
    planting: Planting,
) -> SyntheticLog:
    """Make a check log with its truth.

    Parameters
    ----------
    rng : Generator
        Source of all chance; the same state gives the same log.
    wards : sequence of WardHabits
        The wards, names and prefixes all different.
    first_day : date
        First day of the log (Europe/London). Syringes started earlier are not in it.
    days : int
        Length of the log [d]; what runs at its end has no end in the log.
    planting : Planting
        What is planted, and how often.

    Returns
    -------
    SyntheticLog
        Tables of text cells, sorted by ward, patient and time.
    """
    midnight = datetime(first_day.year, first_day.month, first_day.day, tzinfo=ZONE)
    last = date.fromordinal(first_day.toordinal() + days)
    end = datetime(last.year, last.month, last.day, tzinfo=ZONE)
    plan = _Plan(
        rng=rng,
        wards=wards,
        planting=planting,
        first=int(midnight.timestamp()) // 60,
        end=int(end.timestamp()) // 60,
    )
    return _tables(plan, _simulate(plan))


def _in_log(plan: _Plan, row: _Row) -> bool:
    return row.syringe.start >= plan.first and row.written < plan.end


def _tables(plan: _Plan, service: _Service) -> SyntheticLog:
    """Cut what was simulated to the days of the log, number it and write it."""
    rows = [row for row in service.rows if _in_log(plan, row)]
    rows.sort(
        key=lambda row: (
            plan.wards[row.place].name,
            row.syringe.stay.patient,
            row.minute,
            row.syringe.driver.number,
        )
    )
    _name_lines(service.lines, rows)
    kept = {id(row.syringe): row.syringe for row in rows}
    syringes = [syringe for syringe in service.syringes if id(syringe) in kept]
    ids = _infusion_ids(plan, syringes)
    truths = service.truths + _gaps(plan, rows) + _overdue(plan, service.lines)
    truths += _courses(plan, syringes)
    _write_rows(plan, rows, ids)
    slips = {id(truth.row) for truth in truths if truth.written}
    truths += _spoil(plan, rows, slips)
    file_lines = {id(row): k + 2 for k, row in enumerate(rows)}
    return SyntheticLog(
        checks=_frame((row.cells for row in rows), columns.CHECKS.names),
        infusions=_infusions(plan, syringes, ids),
        lines=_lines(plan, service.lines),
        truth_infusions=_truth_infusions(syringes, ids),
        truth_other=_truth_other(plan, truths, ids, file_lines),
    )


def _infusion_ids(plan: _Plan, syringes: list[_Syringe]) -> dict[int, str]:
    """Give ids to the syringes of each ward in order of their start."""
    counts = dict.fromkeys(range(len(plan.wards)), 0)
    ids = {}
    for syringe in sorted(syringes, key=lambda s: (s.start, s.driver.number)):
        place = syringe.stay.place_at(syringe.start)
        counts[place] += 1
        ids[id(syringe)] = f"{plan.wards[place].prefix}-{counts[place]:04d}"
    return ids


def _name_lines(lines: list[_Line], rows: list[_Row]) -> None:
    """Give ids to the lines that the log names, in order of fitting."""
    used = {row.cells.get(name, "") for row in rows for name in ("line_id", "site_id")}
    names = {}
    named = [line for line in lines if str(id(line)) in used]
    named.sort(key=lambda line: (line.fitted, line.stay.patient, str(line.kind)))
    counts = {LineKind.EXTENSION_SET: 0, LineKind.CANNULA: 0}
    for line in named:
        counts[line.kind] += 1
        letters = "XS" if line.kind is LineKind.EXTENSION_SET else "CN"
        line.line_id = names[str(id(line))] = f"{letters}{counts[line.kind]:04d}"
    for row in rows:
        for name in ("line_id", "site_id"):
            if name in row.cells:
                row.cells[name] = names[row.cells[name]]


def _write_rows(plan: _Plan, rows: list[_Row], ids: dict[int, str]) -> None:
    """Fill the cells that place a row: ward, patient, infusion, driver, entry, time."""
    times = _local([row.written for row in rows])
    for row, time in zip(rows, times, strict=True):
        row.cells |= {
            "ward": plan.wards[row.place].name,
            "patient_id": row.syringe.stay.patient,
            "infusion_id": ids[id(row.syringe)],
            "driver_id": row.syringe.driver.number,
            "entry": str(row.entry),
            "checked_at": time,
        }
    filed = [row for row in rows if plan.wards[row.place].has_recorded_at]
    later = [
        row.minute
        + int(8 * plan.rng.standard_exponential())
        + (int(plan.between(120, 300)) if plan.chance(0.04) else 0)
        for row in filed
    ]
    for row, time in zip(filed, _local(later), strict=True):
        row.cells["recorded_at"] = time


_AWKWARD = (
    "=2 syringes left in the drawer, counted with night nurse",
    "line < 72 h & dressing dry <seen with family>",
    '+ mouth care given; asked for "no visitors", back at 18:00',
)
_NOT_TIMES = ("", "2026-09-31T14:15", "night round")


def _spoil(plan: _Plan, rows: list[_Row], slips: set[int]) -> list[_Truth]:
    """Plant faulty rows and cells, and awkward notes; puts duplicates into `rows`."""
    planting = plan.planting
    plain = [row for row in rows if _is_plain(row) and id(row) not in slips]
    counts = (
        planting.unreadable_times,
        planting.unreadable_volumes,
        planting.exact_duplicates,
        planting.awkward_notes,
    )
    order = plan.rng.permutation(len(plain))[: sum(counts)]
    chosen = iter([plain[k] for k in order])
    truths = []
    for k, row in enumerate(itertools.islice(chosen, counts[0])):
        text = _NOT_TIMES[k % len(_NOT_TIMES)]
        truth = row.cells["checked_at"]
        row.cells["checked_at"] = text
        truths.append(_Truth(kind="fault_time", row=row, written=text, truth=truth))
    for row in itertools.islice(chosen, counts[1]):
        truth = row.cells["volume_remaining_ml"]
        row.cells["volume_remaining_ml"] = "see chart"
        truths.append(
            _Truth(kind="fault_volume", row=row, written="see chart", truth=truth)
        )
    truths += [_duplicate(rows, row) for row in itertools.islice(chosen, counts[2])]
    for k, row in enumerate(itertools.islice(chosen, counts[3])):
        row.cells["note"] = _AWKWARD[k % len(_AWKWARD)]
        truths.append(_Truth(kind="awkward_note", row=row, written=row.cells["note"]))
    return truths


def _is_plain(row: _Row) -> bool:
    is_check = row.entry is Entry.CHECK and row.syringe.event is None
    return is_check and bool(row.cells["volume_remaining_ml"])


def _duplicate(rows: list[_Row], row: _Row) -> _Truth:
    again = _Row(
        syringe=row.syringe,
        minute=row.minute,
        written=row.written,
        entry=row.entry,
        place=row.place,
        cells=dict(row.cells),
    )
    rows.insert(rows.index(row) + 1, again)
    return _Truth(kind="fault_duplicate", row=again)


def _gaps(plan: _Plan, rows: list[_Row]) -> list[_Truth]:
    """List the times between two rows of a syringe that were longer than 4.5 h."""
    truths = []
    by_syringe: dict[int, list[_Row]] = {}
    for row in rows:
        by_syringe.setdefault(id(row.syringe), []).append(row)
    for group in by_syringe.values():
        group.sort(key=lambda row: row.minute)
        for one, two in itertools.pairwise(group):
            hours = (two.minute - one.minute) / _HOUR
            is_paused = one.entry is Entry.PAUSE
            is_visit = plan.wards[two.place].is_visiting
            if hours > 4.5 and not is_paused and not is_visit:
                kind = "long_gap" if one.place == two.place else "hand_over_gap"
                truths.append(
                    _Truth(
                        kind=kind,
                        row=two,
                        began=one.minute,
                        ended=two.minute,
                        hours=hours,
                    )
                )
    return truths


def _overdue(plan: _Plan, lines: list[_Line]) -> list[_Truth]:
    """List the extension sets of the log that were in use for longer than 72 h.

    A team that writes no ids has them here without an id; those fitted before the log
    began are left out.
    """
    truths = []
    for line in lines:
        is_seen = line.line_id or (
            not plan.wards[line.place].has_line_ids and line.fitted >= plan.first
        )
        if line.kind is LineKind.CANNULA or not is_seen:
            continue
        until = min(line.removed or plan.end, plan.end)
        hours = (until - line.fitted) / _HOUR
        is_known = line.removed is not None
        if hours > _SET_LIFE_H and is_known:
            truths.append(
                _Truth(
                    kind="line_overdue",
                    line=line,
                    began=line.fitted,
                    ended=until,
                    hours=hours,
                )
            )
    return truths


def _courses(plan: _Plan, syringes: list[_Syringe]) -> list[_Truth]:
    """List what is charted or left out about the course of a syringe."""
    truths = []
    for syringe in syringes:
        kinds = {
            "pause": syringe.pause is not None,
            "rate_change": syringe.new_rate is not None,
            "transfer": syringe.start < syringe.stay.moves_at <= syringe.end < plan.end,
            "end_not_recorded": syringe.fate is None and syringe.end < plan.end,
        }
        truths += [
            _Truth(kind=kind, syringe=syringe) for kind, is_so in kinds.items() if is_so
        ]
    return truths


_CONTENTS = (
    "morphine sulfate 20 mg; midazolam 10 mg",
    "morphine sulfate 15 mg; metoclopramide 30 mg",
    "oxycodone 20 mg; haloperidol 2.5 mg",
    "morphine sulfate 30 mg; glycopyrronium 0.6 mg; midazolam 15 mg",
    "oxycodone 10 mg; cyclizine 150 mg",
)


def _infusions(
    plan: _Plan, syringes: list[_Syringe], ids: dict[int, str]
) -> pd.DataFrame:
    """Write `infusions`, in order of id."""
    started, ended = [], []
    for syringe in syringes:
        ward = plan.wards[syringe.stay.place_at(syringe.start)]
        started.append(_written(plan, ward, syringe.start, Entry.START))
        end = _written(plan, ward, syringe.end, Entry.END)
        is_known = syringe.fate is not None and end < plan.end
        ended.append(end if is_known else None)
    rows: list[dict[str, str]] = []
    for syringe, start, over in zip(
        syringes, _local(started), _local(ended), strict=True
    ):
        ward = plan.wards[syringe.stay.place_at(syringe.start)]
        is_cyclizine = int(syringe.stay.patient[1:]) % len(_CONTENTS) == 4
        rows.append(
            {
                "infusion_id": ids[id(syringe)],
                "ward": ward.name,
                "patient_id": syringe.stay.patient,
                "driver_id": syringe.driver.number,
                "started_at": start,
                "planned_duration_h": _number(syringe.planned_h),
                "start_volume_ml": _number(syringe.start_ml),
                "made_up_to_ml": _number(min(syringe.start_ml + 0.5, syringe.size_ml)),
                "syringe_size_ml": _number(syringe.size_ml),
                "diluent": "water for injections"
                if is_cyclizine
                else "sodium chloride 0.9%",
                "contents": _CONTENTS[int(syringe.stay.patient[1:]) % len(_CONTENTS)],
                "ended_at": over,
                "end_reason": str(syringe.fate) if over else "",
            }
        )
    rows.sort(key=lambda row: row["infusion_id"])
    return _frame(rows, columns.INFUSIONS.names)


def _lines(plan: _Plan, lines: list[_Line]) -> pd.DataFrame:
    """Write `lines`, in order of id; a line still in use has no removal."""
    named = sorted((line for line in lines if line.line_id), key=lambda n: n.line_id)
    fitted = _local([line.fitted for line in named])
    is_out = [line.removed is not None and line.removed < plan.end for line in named]
    removed = _local(
        [line.removed if out else None for line, out in zip(named, is_out, strict=True)]
    )
    rows: list[dict[str, str]] = []
    for k, line in enumerate(named):
        ward = plan.wards[line.place]
        digits = 10 if ward.has_dates_alone else None
        gauge = {"metal": "25", "plastic": "24"}.get(line.material, "")
        rows.append(
            {
                "line_id": line.line_id,
                "patient_id": line.stay.patient,
                "ward": ward.name,
                "kind": str(line.kind),
                "location": line.location,
                "material": line.material,
                "gauge": gauge,
                "inserted_at": fitted[k][:digits],
                "removed_at": removed[k][:digits],
                "removal_reason": line.reason if is_out[k] else "",
            }
        )
    return _frame(rows, columns.LINES.names)


def _truth_infusions(syringes: list[_Syringe], ids: dict[int, str]) -> pd.DataFrame:
    """Write `truth_infusions`, in order of id."""
    with_event = [(syringe, syringe.event) for syringe in syringes if syringe.event]
    onsets = _local([s.start + round(e.onset_h * _HOUR) for s, e in with_event])
    ends = _local([s.start + round(e.end_h * _HOUR) for s, e in with_event])
    events = {}
    for (syringe, event), onset, ended in zip(with_event, onsets, ends, strict=True):
        volume = _event_volume(syringe)
        events[id(syringe)] = {
            "kind": str(event.kind),
            "onset": onset,
            "ended": ended,
            "volume_ml": f"{volume:.3f}",
            "hours_equivalent": f"{abs(volume) / syringe.rate:.3f}",
            "factor": f"{event.factor:.3f}",
        }
    rows = [
        {
            "infusion_id": ids[id(syringe)],
            "flow_factor": f"{syringe.flow:.4f}",
            "start_offset_ml": f"{syringe.offset_ml:.3f}",
        }
        | events.get(id(syringe), {"kind": NO_EVENT})
        for syringe in syringes
    ]
    rows.sort(key=lambda row: row["infusion_id"])
    return _frame(rows, TRUTH_INFUSIONS)


def _truth_other(
    plan: _Plan, truths: list[_Truth], ids: dict[int, str], file_lines: dict[int, int]
) -> pd.DataFrame:
    """Write `truth_other`; leaves out what lies outside the log."""
    kept = []
    for truth in truths:
        syringe = truth.row.syringe if truth.row else truth.syringe
        is_outside = truth.row is not None and id(truth.row) not in file_lines
        is_unknown = syringe is not None and id(syringe) not in ids
        is_later = truth.began is not None and truth.began >= plan.end
        if not (is_outside or is_unknown or is_later):
            kept.append(truth)
    began = _local([truth.began for truth in kept])
    ended = _local([truth.ended for truth in kept])
    rows = [
        _truth_row(plan, truth, ids, file_lines) | {"began": one, "ended": two}
        for truth, one, two in zip(kept, began, ended, strict=True)
    ]
    rows.sort(key=lambda row: (row["kind"], row["line"].zfill(9), row["infusion_id"]))
    return _frame(rows, TRUTH_OTHER)


def _truth_row(
    plan: _Plan, truth: _Truth, ids: dict[int, str], file_lines: dict[int, int]
) -> dict[str, str]:
    syringe = truth.row.syringe if truth.row else truth.syringe
    if syringe:
        stay, minute = syringe.stay, syringe.start
        place = truth.row.place if truth.row else stay.place_at(minute)
    elif truth.line:
        stay, place = truth.line.stay, truth.line.place
    return {
        "kind": truth.kind,
        "file": "checks.csv" if truth.row else "",
        "line": str(file_lines[id(truth.row)]) if truth.row else "",
        "ward": plan.wards[place].name,
        "patient_id": stay.patient,
        "infusion_id": ids[id(syringe)] if syringe else "",
        "line_id": truth.line.line_id if truth.line else "",
        "hours": "" if truth.hours is None else f"{truth.hours:.2f}",
        "written": truth.written,
        "truth": truth.truth,
    }


def write_log(log: SyntheticLog, folder: Path) -> None:
    """Write a log and its truth as five CSV files (UTF-8, line feeds).

    Parameters
    ----------
    log : SyntheticLog
        What to write.
    folder : Path
        An existing folder; files of the same names are replaced.
    """
    frames = {
        "checks": log.checks,
        "infusions": log.infusions,
        "lines": log.lines,
        "truth_infusions": log.truth_infusions,
        "truth_other": log.truth_other,
    }
    for name, frame in frames.items():
        frame.to_csv(
            folder / f"{name}.csv", index=False, encoding="utf-8", lineterminator="\n"
        )


# The demo log -------------------------------------------------------------------------


DEMO_SEED = 20260917
DEMO_FIRST_DAY = date(2026, 8, 30)
DEMO_DAYS = 65

#: The wards of the invented service; they differ in size and habits.
WARDS = (
    WardHabits(
        name="Lapwing Ward",
        prefix="LAP",
        infusions_per_month=68,
        start_volumes_ml=(14.0, 15.0, 16.0, 16.0, 17.0, 18.0),
        reading_step_ml=1.0,
        time_step_min=60,
        reading_error_ml=0.2,
        time_error_min=3,
        flow_sd=0.016,
        driver_sd=0.012,
        offset_ml=-0.1,
        offset_sd_ml=0.2,
        lag_h=0.2,
        early_check_share=0.3,
        spread_min=18,
        late_share=0.06,
        lapse_share=0.025,
        night_lapse_share=0.16,
        missing_volume_share=0.04,
        blank_share=0.08,
        late_set_share=0.08,
        site_life_days=9,
        metal_share=0.2,
        staff=18,
    ),
    WardHabits(
        name="Harebell Unit",
        prefix="HAR",
        infusions_per_month=50,
        start_volumes_ml=(14.5, 15.5, 16.0, 16.5, 17.0, 22.0),
        reading_step_ml=0.5,
        time_step_min=15,
        reading_error_ml=0.15,
        time_error_min=3,
        flow_sd=0.016,
        driver_sd=0.012,
        offset_ml=-0.1,
        offset_sd_ml=0.18,
        lag_h=0.15,
        early_check_share=0.5,
        spread_min=20,
        late_share=0.08,
        lapse_share=0.03,
        night_lapse_share=0.08,
        missing_volume_share=0.03,
        blank_share=0.04,
        late_set_share=0.04,
        site_life_days=12,
        metal_share=0.1,
        staff=14,
    ),
    WardHabits(
        name="Skylark Ward",
        prefix="SKY",
        infusions_per_month=40,
        start_volumes_ml=(14.4, 15.2, 15.8, 16.0, 16.3, 17.1),
        reading_step_ml=0.1,
        time_step_min=1,
        reading_error_ml=0.03,
        time_error_min=2,
        flow_sd=0.016,
        driver_sd=0.012,
        offset_ml=-0.1,
        offset_sd_ml=0.15,
        lag_h=0.15,
        early_check_share=0.8,
        spread_min=14,
        late_share=0.04,
        lapse_share=0.01,
        night_lapse_share=0.03,
        missing_volume_share=0.02,
        blank_share=0.02,
        late_set_share=0.02,
        site_life_days=13,
        staff=12,
        has_delivered=True,
        has_recorded_at=True,
    ),
    WardHabits(
        name="Teasel Ward",
        prefix="TEA",
        infusions_per_month=20,
        start_volumes_ml=(8.5, 15.0, 15.5, 16.0, 17.5),
        reading_step_ml=0.5,
        time_step_min=5,
        reading_error_ml=0.15,
        time_error_min=3,
        flow_sd=0.016,
        driver_sd=0.012,
        offset_ml=-0.15,
        offset_sd_ml=0.2,
        lag_h=0.15,
        early_check_share=0.4,
        spread_min=22,
        late_share=0.10,
        lapse_share=0.04,
        night_lapse_share=0.20,
        missing_volume_share=0.06,
        blank_share=0.12,
        late_set_share=0.10,
        site_life_days=10,
        metal_share=0.3,
        staff=9,
        has_dates_alone=True,
    ),
    WardHabits(
        name="Bramble Annexe",
        prefix="BRA",
        infusions_per_month=5,
        mean_syringes=3.0,
        start_volumes_ml=(15.0, 16.0, 17.0),
        reading_step_ml=1.0,
        time_step_min=15,
        reading_error_ml=0.2,
        time_error_min=3,
        flow_sd=0.016,
        driver_sd=0.012,
        offset_ml=-0.1,
        offset_sd_ml=0.2,
        lag_h=0.2,
        spread_min=20,
        late_share=0.08,
        lapse_share=0.03,
        night_lapse_share=0.10,
        missing_volume_share=0.04,
        blank_share=0.06,
        late_set_share=0.05,
        site_life_days=10,
        staff=6,
    ),
    WardHabits(
        name="Sallowdene Home Team",
        prefix="SAL",
        infusions_per_month=18,
        mean_syringes=6.0,
        start_volumes_ml=(15.0, 16.0, 17.0, 17.5),
        reading_step_ml=0.5,
        time_step_min=5,
        reading_error_ml=0.15,
        time_error_min=3,
        flow_sd=0.016,
        driver_sd=0.012,
        offset_ml=-0.1,
        offset_sd_ml=0.2,
        lag_h=0.15,
        is_visiting=True,
        spread_min=30,
        missing_volume_share=0.05,
        blank_share=0.10,
        late_set_share=0.10,
        site_life_days=12,
        staff=7,
        has_line_ids=False,
    ),
)

DEMO_PLANTING = Planting(
    event_share=0.065,
    slip_share=0.05,
    gap_share=0.04,
    early_change_share=0.06,
    pause_share=0.02,
    rate_change_share=0.015,
    death_share=0.55,
    stop_share=0.15,
    lost_end_share=0.05,
    transfer_share=0.06,
    second_driver_share=0.04,
    unreadable_times=3,
    unreadable_volumes=3,
    exact_duplicates=2,
    awkward_notes=3,
)


def demo_log() -> SyntheticLog:
    """Make the log that stands in ``synthetic_data``: September and October 2026.

    Returns
    -------
    SyntheticLog
        The same every time.

    Notes
    -----
    The seed is the first from 20260901 on whose log holds every kind of event and slip,
    185 to 215 infusions in either month, and rows in both passes of the hour that comes
    twice; nothing else was looked at.
    """
    return make_log(
        rng=np.random.default_rng(DEMO_SEED),
        wards=WARDS,
        first_day=DEMO_FIRST_DAY,
        days=DEMO_DAYS,
        planting=DEMO_PLANTING,
    )
