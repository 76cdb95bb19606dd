"""Treatments, drivers and syringes as they truly were, with their events."""

import bisect
import itertools
from dataclasses import replace

from analysis.synthetic.course import (
    DAY,
    HOUR,
    Driver,
    Event,
    Plan,
    Stay,
    Syringe,
    Truth,
)
from analysis.synthetic.habits import SHORTEST_WITH_EVENT_H, WardHabits
from analysis.terms import EndReason, FindingKind

#: Treatments begin this long before the log, so that its first days are not empty.
_LEAD_DAYS = 12


def draw_stays(plan: Plan) -> list[Stay]:
    """Draw the treatments of all wards, in order of their start.

    Parameters
    ----------
    plan : Plan
        What all steps need.

    Returns
    -------
    list of Stay
        One for each treatment and driver; patients have their codes.
    """
    stays = []
    homes = [k for k, ward in enumerate(plan.wards) if not ward.is_visiting]
    begin = plan.first - _LEAD_DAYS * DAY
    codes = itertools.count(1)
    for place, ward in enumerate(plan.wards):
        spacing = ward.mean_syringes * 30.4 * DAY / ward.infusions_per_month
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


def _stay(plan: Plan, place: int, arrival: float, homes: list[int]) -> list[Stay]:
    """Draw one treatment, and a second driver beside it for some."""
    ward = plan.wards[place]
    # Treatments begin in the day.
    start = int(arrival // DAY * DAY + plan.between(8.5, 17) * HOUR)
    syringes = 1 + int(plan.rng.poisson(ward.mean_syringes - 1))
    others = [k for k in homes if k != place]
    moves = not ward.is_visiting and bool(others)
    moves = plan.chance(plan.planting.transfer_share) and moves and syringes > 1
    stay = Stay(
        patient=f"{place}:{arrival!r}",
        place=place,
        start=start,
        syringes=syringes,
        fate=_fate(plan),
        moves_at=start + int(plan.between(0.2, syringes - 0.5) * DAY)
        if moves
        else plan.end + 400 * DAY,
        moves_to=plan.pick(others) if moves else place,
    )
    if not plan.chance(plan.planting.second_driver_share):
        return [stay]
    # Both drivers of a patient run on to the end: nobody dies twice.
    stay = replace(stay, fate=EndReason.COMPLETED)
    return [stay, replace(stay, start=start + int(plan.between(15, 50)))]


def _fate(plan: Plan) -> EndReason | None:
    """Draw how a treatment ends; None: the chart simply stops."""
    planting, draw = plan.planting, plan.rng.random()
    limits = list(
        itertools.accumulate(
            (planting.death_share, planting.stop_share, planting.lost_end_share)
        )
    )
    fates = (EndReason.DIED, EndReason.STOPPED, None, EndReason.COMPLETED)
    return fates[bisect.bisect_right(limits, draw)]


def take_driver(plan: Plan, pools: list[list[Driver]], stay: Stay) -> Driver:
    """Take a driver that is free from the ward's shelf, or a new one.

    Parameters
    ----------
    plan : Plan
        What all steps need.
    pools : list of list of Driver
        Drivers by ward; a new one is added.
    stay : Stay
        The treatment that it is for.

    Returns
    -------
    Driver
        The driver.
    """
    free = [driver for driver in pools[stay.place] if driver.free_at <= stay.start]
    if free:
        return plan.pick(free)
    count = sum(map(len, pools))
    factor = 1 + plan.wards[stay.place].driver_sd * plan.rng.standard_normal()
    driver = Driver(
        number=f"{(17 + count * 389) % 10000:04d}", factor=float(factor), free_at=0
    )
    pools[stay.place].append(driver)
    return driver


def draw_syringes(
    plan: Plan, stay: Stay, driver: Driver, truths: list[Truth]
) -> list[Syringe]:
    """Draw the successive syringes of one treatment.

    Parameters
    ----------
    plan : Plan
        What all steps need.
    stay : Stay
        The treatment.
    driver : Driver
        Its driver; it is taken until after the last syringe.
    truths : list of Truth
        Gaps between syringes are added here.

    Returns
    -------
    list of Syringe
        In order of time.
    """
    chain: list[Syringe] = []
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
                Truth(
                    kind="gap_between_syringes",
                    syringe=syringe,
                    began=syringe.end,
                    ended=syringe.end + int(pause),
                    hours=int(pause) / HOUR,
                )
            )
        start = syringe.end + int(pause)
    driver.free_at = chain[-1].end + 4 * HOUR
    return chain


def _syringe(
    plan: Plan,
    ward: WardHabits,
    owner: tuple[Stay, Driver, int],
    *,
    is_last: bool,
) -> Syringe:
    """Draw one syringe run, with what happened to it."""
    stay, driver, start = owner
    planting, rng = plan.planting, plan.rng
    is_early = plan.chance(planting.early_change_share)
    usual = EndReason.CHANGED_EARLY if is_early else EndReason.COMPLETED
    fate = stay.fate if is_last else usual
    hours = round(_length(plan, ward, fate) * HOUR) / HOUR
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
    is_whole = start >= plan.first and start + round(hours * HOUR) < latest
    if is_whole and fate and hours >= SHORTEST_WITH_EVENT_H:
        event = _event(plan, hours) if plan.chance(planting.event_share) else None
    if fate is EndReason.COMPLETED:
        hours = _until_empty(plan, hours, start, event)
    half_step = ward.reading_step_ml / 2
    offset = ward.offset_ml + ward.offset_sd_ml * rng.standard_normal()
    return Syringe(
        stay=stay,
        driver=driver,
        start=start,
        hours=round(hours * HOUR) / HOUR,
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


def _length(plan: Plan, ward: WardHabits, fate: EndReason | None) -> float:
    """Draw the hours from start to end or change."""
    if fate in {EndReason.DIED, EndReason.STOPPED, None}:
        return plan.between(2, ward.planned_h - 0.5)
    if fate is EndReason.CHANGED_EARLY:
        # A visiting team comes at about the same time every day.
        return plan.between(20 if ward.is_visiting else 5, ward.planned_h - 2)
    # Changed shortly before it is empty, seldom after.
    early = plan.between(-0.2, 2.2) * ward.spread_min
    return ward.planned_h - early / HOUR


def _until_empty(plan: Plan, hours: float, start: int, event: Event | None) -> float:
    """Let a third of the syringes that stopped for a while run on until empty."""
    if event is None or event.kind is not FindingKind.STALL:
        return hours
    longer = hours + min(event.end_h - event.onset_h, 4.0)
    # An infusion with an event ends within the log, however its end is rounded.
    is_whole = start + longer * HOUR < plan.end - 30
    return longer if plan.chance(1 / 3) and is_whole else hours


def _event(plan: Plan, hours: float) -> Event:
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
    return Event(kind=kind, onset_h=onset, end_h=end, factor=factor)
