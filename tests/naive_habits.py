"""A slow, obvious recount of charting habits, from the design's text.

As tests/naive_record.py: plain Python on the CSV files, outcomes by unit.
"""

import itertools
import math
from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from tests.naive import LONDON, Cells, Rules, moment
from tests.naive_record import (
    VOLUME_STEPS,
    Outcomes,
    Visit,
    infusions,
    number,
    rates_of,
    start_volume,
    step_of,
    table,
    visits,
    volume,
)


def exact_hour_share(folder: Path, rules: Rules) -> Outcomes:
    """Recount times on the exact hour."""
    return {
        visit.unit: "on the exact hour"
        if visit.time.astimezone(LONDON).minute == 0
        else "another minute"
        for visit in visits(folder, rules)
    }


@dataclass(frozen=True)
class Reading:
    """One volume as it is written, and what the line says there."""

    visit: Visit
    row: Cells
    source: str
    written: float
    seen: float
    base: float
    line: float | None
    has_line: bool
    is_paused: bool


def readings(folder: Path, rules: Rules) -> dict[str, list[Reading]]:
    """Give the readings of every infusion with the set-rate line drawn by hand.

    A charted rate holds until the next; it steps at a rate_change, start or resume row,
    and a step first seen at a check lies anywhere in the gap: half of it on average.
    Between pause and resume the rate is 0.
    """
    of: dict[str, list[Visit]] = defaultdict(list)
    for visit in visits(folder, rules):
        of[visit.name].append(visit)
    known = table(folder)
    found = {}
    for name, mine in of.items():
        rows = [(visit.time, row) for visit in mine for row in visit.rows]
        start, row = start_volume(known[name], rows), known[name]
        hours = row["planned_duration_h"] or rules.limit(
            "planned_duration_h", row["ward"]
        )
        prescribed = start / float(hours or 0) if start else None
        begun = moment(row["started_at"]) or rows[0][0]
        found[name] = _readings_of(mine, begun, start, prescribed)
    return found


def _readings_of(
    mine: list[Visit],
    begun: datetime,
    start: float | None,
    prescribed: float | None,
) -> list[Reading]:
    rows = [(visit, row) for visit in mine for row in visit.rows]
    rates = rates_of([(visit.time, row) for visit, row in rows])
    charted = [rate for rate in rates if rate is not None]
    rate = charted[0] if charted else prescribed
    before, given, was_paused = begun, 0.0, False
    found: list[Reading] = []
    for (visit, row), own in zip(rows, rates, strict=True):
        here = rate if own is None else own
        goes_on = row["entry"] in {"rate_change", "resume", "start", "syringe_change"}
        is_seen_running = row["running"] == "yes" and row["entry"] != "pause"
        now_paused = was_paused and not goes_on and not is_seen_running
        now_paused = now_paused or row["entry"] == "pause"
        if rate is not None and here is not None:
            hours = max(visit.time, begun) - max(before, begun)
            low = 0.0 if was_paused else rate
            high = rate if goes_on else here
            if was_paused and (goes_on or now_paused):
                high = 0.0
            given += (low + high) / 2 * hours.total_seconds() / 3600
        before, rate = visit.time, here
        left, out = (volume(row[f"volume_{k}_ml"]) for k in ("remaining", "delivered"))
        seen = left if left is not None else (start and out and start - out)
        if seen is not None and found and found[-1].visit is visit:
            found.pop()
        if seen is not None:
            # Without a start volume the line goes through the first reading.
            base = start if start is not None else found[0].base if found else None
            base = seen + given if base is None else base
            found.append(
                Reading(
                    visit=visit,
                    row=row,
                    source="remaining" if left is not None else "delivered",
                    written=left if left is not None else out or 0.0,
                    seen=seen,
                    base=base,
                    line=None if rate is None else max(base - given, 0),
                    has_line=bool(charted) and start is not None,
                    is_paused=was_paused,
                )
            )
        was_paused = now_paused
    return found


def steps(folder: Path, rules: Rules) -> dict[str, float]:
    """Give the step of each ward and kind of reading."""
    read_by: dict[str, list[float]] = defaultdict(list)
    for one in (r for mine in readings(folder, rules).values() for r in mine):
        read_by[one.row["ward"] + one.source].append(one.written)
    return {key: step_of(values, VOLUME_STEPS) for key, values in read_by.items()}


def round_volume_share(folder: Path, rules: Rules) -> Outcomes:
    """Recount volumes that end in .0 or .5."""
    read_by, read_at = defaultdict(list), {}
    for visit in visits(folder, rules):
        for row in visit.rows:
            left = volume(row["volume_remaining_ml"])
            written = volume(row["volume_delivered_ml"]) if left is None else left
            if written and row["entry"] not in {"start", "syringe_change"}:
                key = (row["ward"], left is None)
                read_by[key].append(written)
                read_at[visit.unit] = (key, written)
    found = {}
    for unit, (key, written) in read_at.items():
        is_round = round(written * 100) % 50 == 0
        found[unit] = "ends in .0 or .5" if is_round else "another ending"
        if step_of(read_by[key], VOLUME_STEPS) >= 0.5:
            found[unit] = "read in steps of 0.5 mL or coarser"
    return found


def copied_readings(folder: Path, rules: Rules) -> Outcomes:
    """Recount readings that are the same though the line moved by more than a step."""
    return {
        unit: word or ("same as the reading before" if is_same else "not the same")
        for unit, word, is_same, _ in _copies(folder, rules)
    }


def copied_rows(folder: Path, rules: Rules) -> Outcomes:
    """Recount rows that are the same though the line moved by more than a step."""
    return {
        unit: word or ("whole row as the one before" if is_row else "not the same")
        for unit, word, _, is_row in _copies(folder, rules)
    }


SEEN = (
    *("set_rate_ml_h", "volume_remaining_ml", "volume_delivered_ml"),
    *("display_remaining_ml", "battery_pct", "running", "site_location"),
    *("site_signs", "solution_appearance"),
)


def _copies(folder: Path, rules: Rules) -> list[tuple[str, str, bool, bool]]:
    found, step = [], steps(folder, rules)
    of = infusions(folder)
    for name, mine in readings(folder, rules).items():
        batteries = {row["battery_pct"] for _, row in of[name]} - {""}
        rows = [row for _, row in of[name]]
        for old, new in itertools.pairwise(mine):
            if old.source != new.source:
                continue
            fell = None if old.line is None or new.line is None else old.line - new.line
            moved = step[new.row["ward"] + new.source]
            if new.visit.is_after_end:
                word = "charted after the infusion's end"
            elif new.is_paused:
                word = "paused"
            elif all(row["running"] != "yes" for row in new.visit.rows):
                word = "driver not shown running"
            elif fell is None:
                word = "no set-rate line"
            else:
                is_soon = round(fell, 6) <= moved
                word = "too soon to have moved by a step" if is_soon else ""
            place = rows.index(new.row)
            is_row = (
                len(batteries) > 1
                and bool(new.row["battery_pct"])
                and all(new.row[c] == rows[place - 1][c] for c in SEEN)
            )
            is_same = old.written == new.written
            found.append((new.visit.unit, word, is_same, is_row and is_same))
    return found


def readings_too_close(folder: Path, rules: Rules) -> Outcomes:
    """Recount infusions that lie closer to the line than rounding allows."""
    found, step, known = {}, steps(folder, rules), table(folder)
    for name, mine in readings(folder, rules).items():
        begun = moment(known[name]["started_at"]) or mine[0].visit.time
        closed = [r.visit.time for r in mine if r.row["entry"] == "end"]
        over = closed[-1] if closed else moment(known[name]["ended_at"])
        later = [
            one
            for one in mine
            if one.visit.time > begun
            and one.line != 0
            and not (over and begun <= over < one.visit.time)
        ]
        if later:
            found[name] = _too_close(later, step, rules_charted=mine)
    return found


def _too_close(
    later: list[Reading], step: dict[str, float], *, rules_charted: list[Reading]
) -> str:
    if all(number(one.row["set_rate_ml_h"], 1e-9) is None for one in rules_charted):
        return "no set-rate line"
    if not later[0].has_line:
        return "start volume not charted"
    squares = least = 0.0
    used, before = 0, None
    for one in later:
        mark, line = step[one.row["ward"] + one.source], one.line or 0
        if before is None or round(before - line, 6) >= mark:
            used += 1
            squares += (round(one.seen - line, 3) / mark) ** 2
            least += (line / mark - round(line / mark)) ** 2
        before = line
    if used < 3:
        return "fewer than three readings"
    ball = math.pi ** (used / 2) / math.gamma(used / 2 + 1)
    if ball * least ** (used / 2) <= 0.001:
        return "line lies on the marks at its readings"
    if ball * squares ** (used / 2) <= 0.001:
        return "closer to the line than readings are"
    return "as far from the line as readings are"


def written_in_batches(folder: Path, rules: Rules) -> Outcomes:
    """Recount checks written late together with another of their driver."""
    found, late = {}, []
    for visit in visits(folder, rules):
        interval = rules.limit("check_interval_h", visit.last["ward"])
        times = [t for row in visit.rows if (t := moment(row["recorded_at"]))]
        if interval is None:
            found[visit.unit] = "no rule set"
        elif not times:
            found[visit.unit] = "time of writing not charted"
        else:
            found[visit.unit] = "not written late in a batch"
            if max(times) - visit.time > timedelta(hours=interval):
                late.append((visit.last["driver_id"], max(times), visit.unit))
    for driver, time, unit in late:
        near = [
            other
            for who, when, other in late
            if who == driver and abs(when - time) <= timedelta(minutes=2)
        ]
        if len(near) > 1:
            found[unit] = "written late in a batch"
    return found
