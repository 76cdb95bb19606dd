"""The rows of one syringe, as its ward would write them."""

from datetime import datetime

import numpy as np

from analysis.synthetic.cells import number_text, to_step
from analysis.synthetic.course import HOUR, ZONE, Plan, Row, Syringe
from analysis.synthetic.habits import WardHabits
from analysis.synthetic.volumes import volume_curve
from analysis.terms import EndReason, Entry, FindingKind, SolutionAppearance, YesNo

_NOTES = (
    "settled, family with patient",
    "driver moved to other side of bed",
    "extension looped and taped",
    "seen with night nurse",
    "dressing dry",
)


def chart(plan: Plan, syringe: Syringe) -> list[Row]:
    """Write the rows of one syringe as its ward would.

    Parameters
    ----------
    plan : Plan
        What all steps need.
    syringe : Syringe
        The run.

    Returns
    -------
    list of Row
        In order of time, with the cells of driver, reading and look.
    """
    hours, ml = volume_curve(syringe, syringe.event)
    rows = []
    for minute, entry in _moments(plan, syringe):
        place = syringe.stay.place_at(minute)
        ward = plan.wards[place]
        row = Row(
            syringe=syringe,
            minute=minute,
            written=minute_written(plan, ward, minute, entry),
            entry=entry,
            place=place,
        )
        volume = float(np.interp((minute - syringe.start) / HOUR, hours, ml))
        row.cells = _state_cells(plan, row, volume) | _look_cells(plan, row)
        rows.append(row)
    return rows


def _moments(plan: Plan, syringe: Syringe) -> list[tuple[int, Entry]]:
    """Give when rows were written for one syringe, and what they record."""
    marks = []
    if syringe.pause:
        marks += list(zip(syringe.pause, (Entry.PAUSE, Entry.RESUME), strict=True))
    if syringe.new_rate:
        marks.append((syringe.new_rate[0], Entry.RATE_CHANGE))
    rows = [(syringe.start + round(h * HOUR), entry) for h, entry in marks]
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


def _checks_between(plan: Plan, syringe: Syringe) -> list[int]:
    """Draw when the plain checks of one syringe were made."""
    ward = plan.wards[syringe.stay.place_at(syringe.start)]
    if ward.is_visiting:
        evening = syringe.start + int(plan.between(6.5, 9.5) * HOUR)
        has_visit = plan.chance(0.5) and evening < syringe.end - HOUR
        return [evening] if has_visit else []
    made = []
    if plan.chance(ward.early_check_share):
        made.append(syringe.start + int(plan.between(25, 60)))
    last = syringe.start
    while True:
        ward = plan.wards[syringe.stay.place_at(last)]
        last = _next_check(plan, ward, last)
        if last >= syringe.end - HOUR * (ward.spread_min > 0):
            return [minute for minute in made if minute < syringe.end - 10]
        made.append(last)


def _next_check(plan: Plan, ward: WardHabits, last: int) -> int:
    """Draw when the next check is made, unless it is late or left out."""
    wait = ward.check_every_h * HOUR + ward.spread_min * plan.rng.standard_normal()
    if plan.chance(ward.late_share):
        wait += plan.between(30, 160)
    made = last + max(45, round(wait))
    while True:
        is_night = _local_hour(made) < 6
        if not plan.chance(ward.night_lapse_share if is_night else ward.lapse_share):
            return made
        wait = ward.spread_min * plan.rng.standard_normal()
        made += round(ward.check_every_h * HOUR) + round(wait)


def _local_hour(minute: int) -> int:
    return datetime.fromtimestamp(minute * 60, ZONE).hour


def minute_written(plan: Plan, ward: WardHabits, minute: int, entry: Entry) -> int:
    """Give the minute that is written for a row.

    Parameters
    ----------
    plan : Plan
        What all steps need.
    ward : WardHabits
        Whose clock and habit it is.
    minute : int
        When it was [min since 1970, UTC].
    entry : Entry
        What the row records.

    Returns
    -------
    int
        What is written, to the ward's step [min since 1970, UTC].
    """
    step = ward.time_step_min
    if entry is Entry.CHECK:
        minute += round(ward.time_error_min * plan.rng.standard_normal())
    elif entry not in {Entry.START, Entry.END}:
        step = min(step, 5)
    return (minute + step // 2) // step * step


def _read(plan: Plan, row: Row, volume: float) -> float:
    """Read a volume off the barrel; never below 0 or above the barrel [mL]."""
    ward = plan.wards[row.place]
    if row.entry is Entry.START:
        return row.syringe.start_ml
    noisy = volume + ward.reading_error_ml * plan.rng.standard_normal()
    return float(np.clip(to_step(noisy, ward.reading_step_ml), 0, row.syringe.size_ml))


def _state_cells(plan: Plan, row: Row, volume: float) -> dict[str, str]:
    """Write what the driver shows: rate, volumes, battery, running light, alarm."""
    syringe, ward = row.syringe, plan.wards[row.place]
    hour = (row.minute - syringe.start) / HOUR
    rate = syringe.rate
    if syringe.new_rate and hour >= syringe.new_rate[0] - 1e-9 - 0.5 / HOUR:
        rate = syringe.new_rate[1]
    read = _read(plan, row, volume)
    is_blank = row.entry is Entry.CHECK and plan.chance(ward.missing_volume_share)
    cells = {
        "set_rate_ml_h": number_text(to_step(rate, ward.rate_step_ml_h)),
        "volume_remaining_ml": "" if is_blank else number_text(read),
    }
    if ward.has_delivered and not is_blank:
        given = max(0.0, syringe.start_ml + syringe.offset_ml - volume)
        cells["volume_delivered_ml"] = number_text(to_step(given, ward.reading_step_ml))
    if not plan.chance(ward.blank_share):
        used = (row.minute - syringe.stay.start) / HOUR % 96
        cells["battery_pct"] = str(int(99 - 0.75 * used))
    if volume <= 0 and plan.chance(0.5):
        return cells | {"running": str(YesNo.NO), "alarm": "end of infusion"}
    return cells | _running_cells(plan, syringe, hour)


def _running_cells(plan: Plan, syringe: Syringe, hour: float) -> dict[str, str]:
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


def _look_cells(plan: Plan, row: Row) -> dict[str, str]:
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
