"""A slow, obvious recount of changes of syringe, from the words of the measure.

Plain Python on the CSV files: no pandas, nothing of the package. It knows what the
generated logs hold: a start row for every infusion, no doubtful rates.
"""

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from tests.naive import LONDON, Cells, Rules, Span, check_rows, driver_of, spans

HOUR = timedelta(hours=1)
STEPS_HERE = {"rate_change", "resume", "start", "syringe_change"}


@dataclass(frozen=True)
class Run:
    """One syringe: when it started, and when delivery ended."""

    name: str
    patient: str
    driver: str
    span: Span
    ends: datetime
    allowed: float


@dataclass(frozen=True)
class Change:
    """A syringe and the next one of the patient: hours between, and what of it."""

    outcome: str
    hours: float
    is_gap: bool


def number(text: str, high: float) -> float | None:
    """Read a number within its hard limits."""
    try:
        value = float(text)
    except ValueError:
        return None
    return value if 0 <= value <= high else None


def hours(earlier: datetime, later: datetime) -> float:
    """Give the hours between two times."""
    return (later - earlier).total_seconds() / 3600


def runs_of(folder: Path, rules: Rules) -> dict[str, Run]:
    """Find until when each syringe delivered."""
    minutes: dict[str, list[int]] = defaultdict(list)
    for time, row in check_rows(folder):
        minutes[row["ward"]].append(time.astimezone(LONDON).minute)
    hourly = {
        ward
        for ward, of in minutes.items()
        if len(of) >= 20 and sum(m == 0 for m in of) >= 0.9 * len(of)
    }
    steps = reading_steps(folder, rules)
    found = {}
    for name, span in spans(folder, rules).items():
        ward = span.rows[-1][1]["ward"]
        allowed = max(rules.limit("grace_h", ward) or 0, 1.0 if ward in hourly else 0)
        known = span.kind in {"end row", "ended_at", "running at the end of the log"}
        until = span.end if known else span.following
        empty = empty_at(span, until, steps) or span.planned
        late = until is None or hours(empty, until) > allowed
        ends = empty if late or until is None else until
        patient = span.rows[0][1]["patient_id"]
        driver = driver_of(span.rows)
        found[name] = Run(name, patient, driver, span, max(ends, span.start), allowed)
    return found


def reading_steps(folder: Path, rules: Rules) -> dict[str, float]:
    """Find the coarsest step that nine in ten volumes of a ward lie on."""
    read: dict[str, list[float]] = defaultdict(list)
    for span in spans(folder, rules).values():
        start = start_volume(span)
        for _, row in span.rows:
            volume = volume_left(row, start)
            if volume is not None:
                read[row["ward"]].append(volume)
    return {
        ward: next(
            step
            for step in (1.0, 0.5, 0.25, 0.2, 0.1, 0.05, 0.01)
            if sum(abs(v - round(v / step) * step) < 1e-6 for v in volumes)
            >= 0.9 * len(volumes)
        )
        for ward, volumes in read.items()
    }


def start_volume(span: Span) -> float | None:
    """Give the volume at the start: the table leads, then the start row."""
    charted = number(span.cells.get("start_volume_ml", ""), 60)
    if charted is None:
        return number(span.rows[0][1]["volume_remaining_ml"], 60)
    return charted


def volume_left(row: Cells, start: float | None) -> float | None:
    """Give the volume left by a row, also where only what was given is charted."""
    volume = number(row["volume_remaining_ml"], 60)
    given = number(row["volume_delivered_ml"], 60)
    if volume is None and given is not None and start is not None:
        return start - given
    return volume


def empty_at(
    span: Span, until: datetime | None, steps: dict[str, float]
) -> datetime | None:
    """Give when the syringe is empty: the later of its line and its last reading."""
    rows = [(t, row) for t, row in span.rows if until is None or t <= until]
    start = start_volume(span)
    if start is None or not rates_of(rows)[0]:
        return None
    told = [line_empty(rows, start, span.start), reading_empty(rows, start, steps)]
    return max((t for t in told if t), default=None)


def rates_of(rows: list[tuple[datetime, Cells]]) -> list[float]:
    """Give the rate in force at each row: a charted rate holds until the next."""
    shown = [number(row["set_rate_ml_h"], 10) for _, row in rows]
    rate = next((r for r in shown if r), 0.0)
    found = []
    for one in shown:
        rate = one or rate
        found.append(rate)
    return found


def line_empty(
    rows: list[tuple[datetime, Cells]], start: float, began: datetime
) -> datetime | None:
    """Follow the set-rate line to zero; None on a pause that nothing ends."""
    left, at, is_paused = start, began, False
    rates = rates_of(rows)
    rate = rates[0]
    for (time, row), new in zip(rows, rates, strict=True):
        is_plain = row["entry"] not in STEPS_HERE
        paused_after = pauses_after(row, is_paused=is_paused)
        # First seen at a plain check, a step lies anywhere in the time before it.
        first = 0.0 if is_paused else rate
        last = first
        if is_plain and not (is_paused and paused_after):
            last = new
        fall, waited = (first + last) / 2, max(hours(at, time), 0)
        if fall * waited >= left > 0:
            return at + HOUR * (left / fall)
        left -= fall * waited
        at, rate, is_paused = max(time, at), new, paused_after
    return None if is_paused else at + HOUR * (left / rate)


def reading_empty(
    rows: list[tuple[datetime, Cells]], start: float, steps: dict[str, float]
) -> datetime | None:
    """Give when the last reading, at the most it can be, is empty at its rate."""
    is_paused, found = False, None
    for (time, row), rate in zip(rows, rates_of(rows), strict=True):
        is_paused = pauses_after(row, is_paused=is_paused)
        volume = volume_left(row, start)
        if volume and volume > 0:
            most = min(volume + steps[row["ward"]] / 2, start)
            found = None if is_paused else time + HOUR * (most / rate)
    return found


def pauses_after(row: Cells, *, is_paused: bool) -> bool:
    """Tell whether the driver is on a documented pause from this row on."""
    if row["entry"] == "pause":
        return True
    if row["entry"] in STEPS_HERE or row["running"] == "yes":
        return False
    return is_paused


def successors(runs: dict[str, Run]) -> dict[str, str]:
    """Name the syringe that followed each one."""
    after: dict[str, str] = {}
    in_order = sorted(runs.values(), key=lambda run: (run.span.start, run.name))
    for run in in_order:
        own = [
            other
            for other in in_order
            if (other.patient, other.driver) == (run.patient, run.driver)
            and other.span.start > run.span.start
        ]
        if not own or another_between(run, own[0], in_order):
            continue
        # Without a driver, two that run side by side do not follow each other.
        if run.driver or own[0].span.start >= run.ends - HOUR:
            after[run.name] = own[0].name
    # The driver was swapped: a start that follows nothing, after an end that nothing
    # follows.
    for run in in_order:
        if run.name in after.values():
            continue
        ended = [
            other
            for other in in_order
            if other.patient == run.patient
            and other.name not in after
            and other.span.start < run.span.start
            and not other.span.kind.startswith("running")
            and other.ends < run.span.start + HOUR
        ]
        if ended:
            latest = max(other.ends for other in ended)
            last = [other for other in ended if other.ends == latest]
            after[min(last, key=lambda other: other.span.start).name] = run.name
    return after


def another_between(run: Run, own: Run, every: list[Run]) -> bool:
    """Tell whether another driver ran for the patient between two of one driver."""
    return own.span.start - run.ends > HOUR and any(
        other.patient == run.patient
        and other.driver != run.driver
        and run.ends - HOUR <= other.span.start < own.span.start
        and other.ends <= own.span.start + HOUR
        for other in every
    )


def changes(folder: Path, rules: Rules) -> dict[str, Change]:
    """Recount changes of syringe."""
    runs = runs_of(folder, rules)
    found = {}
    for name, following in successors(runs).items():
        run, new = runs[name], runs[following]
        gap = max(hours(run.ends, new.span.start), 0)
        is_gap = gap > run.allowed
        reason = run.span.cells.get("end_reason", "")
        old_ward, new_ward = run.span.rows[-1][1]["ward"], new.span.rows[0][1]["ward"]
        is_paused = False
        for _, row in run.span.rows:
            is_paused = pauses_after(row, is_paused=is_paused)
        stays = old_ward == new_ward
        if reason in {"stopped", "died"} or (reason == "transferred" and stays):
            outcome = "stopped, as charted"
        elif not stays:
            outcome = "hand-over between wards"
        elif is_paused:
            outcome = "paused"
        elif gap > hours(run.span.start, run.span.planned):
            outcome = "longer than a whole syringe, no stop charted"
        else:
            outcome = "no syringe running" if is_gap else "in time"
        found[name] = Change(outcome, gap, is_gap)
    return found


def running_hours(folder: Path, rules: Rules) -> dict[str, float]:
    """Recount the hours that each syringe delivered, without documented pauses."""
    runs = runs_of(folder, rules)
    followed = successors(runs)
    found = {}
    for name, run in runs.items():
        end = run.ends
        if name not in followed and run.span.kind == "end not recorded":
            end = min(end, run.span.end)
        total = hours(run.span.start, end)
        is_paused = False
        times = [t for t, _ in run.span.rows]
        for (time, row), after in zip(run.span.rows, [*times[1:], end], strict=True):
            is_paused = pauses_after(row, is_paused=is_paused)
            if is_paused:
                total -= max(hours(time, min(after, run.ends)), 0)
        found[name] = max(total, 0)
    return found
