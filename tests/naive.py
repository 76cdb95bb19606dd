"""A slow, obvious recount of the main measures, written from the design's text.

Plain Python on the CSV files: no pandas, nothing of the package. It knows only what the
demo log and generated logs hold: infusion ids on every row, start and end rows, no
amendments. Numbers are compared with the audit's unit by unit.
"""

import csv
import math
import tomllib
from collections import Counter, defaultdict
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

LONDON = ZoneInfo("Europe/London")
Cells = dict[str, str]


@dataclass(frozen=True)
class Unit:
    """One unit: what became of it, and its share of the measure."""

    outcome: str
    numerator: float
    denominator: float


@dataclass(frozen=True)
class Span:
    """One infusion: its rows in order, until when observed, whether a row ends it.

    `following` is the next start on its driver (of its patient where no driver is
    charted), and `new_ward` that start's ward where it gives the end and the patient is
    the same.
    """

    rows: list[tuple[datetime, Cells]]
    start: datetime
    end: datetime
    is_closed: bool
    kind: str
    planned: datetime
    following: datetime | None = None
    new_ward: str = ""
    cells: Cells = field(default_factory=dict)


class Rules:
    """The limits of a policy file, a ward's own before the general ones."""

    def __init__(self, path: Path) -> None:
        self.raw = tomllib.loads(path.read_text(encoding="utf-8"))

    def limit(self, name: str, ward: str) -> float | None:
        """Give a limit in hours; None is no rule set."""
        own = self.raw.get("wards", {}).get(ward, {})
        value = own.get(name, self.raw[name]["value"])
        return None if value == "none" else float(value)


def moment(text: str) -> datetime | None:
    """Read a time written with minutes, local or with an offset, as UTC."""
    try:
        time = datetime.fromisoformat(text)
    except ValueError:
        return None
    if len(text) <= 10:
        return None
    if time.tzinfo is None:
        time = time.replace(tzinfo=LONDON)
    return time.astimezone(UTC)


def day_or_moment(text: str) -> tuple[datetime, datetime] | None:
    """Read a time, or a date as the whole of its local day."""
    if not text:
        return None
    exact = moment(text)
    if exact:
        return exact, exact
    day = datetime.fromisoformat(text).replace(tzinfo=LONDON)
    after = (day + timedelta(days=1)).astimezone(UTC)
    return day.astimezone(UTC), after - timedelta(seconds=1)


def read(path: Path) -> list[Cells]:
    """Read one CSV file, exact duplicates once."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return [dict(pairs) for pairs in dict.fromkeys(tuple(r.items()) for r in rows)]


@cache
def check_rows(folder: Path) -> list[tuple[datetime, Cells]]:
    """Give the rows whose time can be read, in order of time.

    When the clocks go back an hour comes twice. A doubled time that stands after a
    later one of its chart is in the second of the two hours, and so are those after it.
    """
    placed: list[tuple[datetime, Cells]] = []
    latest: dict[str, datetime] = {}
    for row in read(folder / "checks.csv"):
        time = moment(row["checked_at"])
        if time is None:
            continue
        before = latest.get(row["infusion_id"])
        again = datetime.fromisoformat(row["checked_at"])
        twice = again.replace(tzinfo=LONDON).utcoffset() != again.replace(
            tzinfo=LONDON, fold=1
        ).utcoffset()  # fmt: skip
        if again.tzinfo is None and twice and before and time < before:
            time += timedelta(hours=1)
        latest[row["infusion_id"]] = time
        placed.append((time, row))
    return sorted(placed, key=lambda pair: pair[0])


@cache
def spans(folder: Path, rules: Rules) -> dict[str, Span]:
    """Find the observed end of every infusion that has rows."""
    of: dict[str, list[tuple[datetime, Cells]]] = defaultdict(list)
    ward_ends: dict[str, datetime] = {}
    for time, row in check_rows(folder):
        of[row["infusion_id"]].append((time, row))
        ward_ends[row["ward"]] = time
    table = {row["infusion_id"]: row for row in read(folder / "infusions.csv")}
    runs = {name: _run(rows, table.get(name, {}), rules) for name, rows in of.items()}
    by_driver: dict[str, list[Span]] = defaultdict(list)
    by_patient: dict[str, list[Span]] = defaultdict(list)
    for run in runs.values():
        by_driver[driver_of(run.rows)].append(run)
        by_patient[run.rows[0][1]["patient_id"]].append(run)
    found = {}
    for name, run in runs.items():
        # On the same driver; of the same patient, where no driver is charted.
        driver, patient = driver_of(run.rows), run.rows[0][1]["patient_id"]
        others = by_driver[driver] if driver else by_patient[patient]
        later = [other for other in others if other.start > run.start]
        following = min(later, key=lambda other: other.start, default=None)
        log_end = ward_ends[run.rows[-1][1]["ward"]]
        found[name] = _observed(run, following, log_end)
    return found


def _run(rows: list[tuple[datetime, Cells]], cells: Cells, rules: Rules) -> Span:
    """Give an infusion as if nothing but its last row ended it."""
    start = moment(cells.get("started_at", "")) or rows[0][0]
    planned = cells.get("planned_duration_h") or rules.limit(
        "planned_duration_h", rows[0][1]["ward"]
    )
    return Span(
        rows=rows,
        start=start,
        end=rows[-1][0],
        is_closed=False,
        kind="end not recorded",
        planned=start + timedelta(hours=float(planned or 0)),
        cells=cells,
    )


def _observed(run: Span, following: Span | None, log_end: datetime) -> Span:
    """Give an infusion with its observed end."""
    ended = [t for t, row in run.rows if row["entry"] == "end"]
    charted = moment(run.cells.get("ended_at", ""))
    run = replace(run, following=following.start if following else None)
    if ended:
        return replace(run, end=ended[-1], is_closed=True, kind="end row")
    if charted and charted >= run.start:
        return replace(run, end=charted, kind="ended_at")
    if following:
        end = min(following.start, max(run.planned, run.rows[-1][0]))
        first, own = following.rows[0][1], run.rows[0][1]
        goes_on = first["patient_id"] == own["patient_id"]
        new_ward = first["ward"] if goes_on else ""
        return replace(run, end=end, kind="next start", new_ward=new_ward)
    if run.planned > log_end:
        return replace(run, end=log_end, kind="running at the end of the log")
    return run


def driver_of(rows: list[tuple[datetime, Cells]]) -> str:
    """Give the driver of an infusion, empty where none is charted."""
    return next((row["driver_id"] for _, row in rows if row["driver_id"]), "")


@dataclass(frozen=True)
class Gap:
    """The time between two looks, or from the last look to the observed end."""

    name: str
    start: datetime
    end: datetime
    is_closed: bool
    excluded: str
    ward: str

    @property
    def hours(self) -> float:
        """Length in hours."""
        return (self.end - self.start).total_seconds() / 3600


def looks_of(span: Span) -> list[tuple[datetime, str, bool]]:
    """Give time, ward and "on a pause from here" of each visit up to the end."""
    looks: list[tuple[datetime, str, bool]] = []
    paused = False
    # A row dated before its own start row is a slip of the date, if few are.
    begun = min((t for t, row in span.rows if row["entry"] == "start"), default=None)
    early = [t for t, _ in span.rows if begun and t < begun]
    is_slip = 2 * len(early) < len(span.rows)
    for time, row in span.rows:
        goes_on = row["entry"] in {"resume", "rate_change", "start", "syringe_change"}
        if goes_on or row["running"] == "yes":
            paused = False
        if row["entry"] == "pause":
            paused = True
        if looks and looks[-1][0] == time:
            looks.pop()
        if time <= span.end and not (is_slip and time in early):
            looks.append((time, row["ward"], paused))
    return looks


def gaps(folder: Path, rules: Rules) -> list[Gap]:
    """List the gaps of every infusion; paused, hand-over and unruled ones by reason."""
    found = []
    for name, span in spans(folder, rules).items():
        looks = looks_of(span)
        last_ward = span.new_ward or looks[-1][1]
        after = [*looks[1:], (span.end, last_ward, False)]
        for (start, ward, stopped), (end, ward_after, _) in zip(
            looks, after, strict=True
        ):
            if end == start:
                continue
            no_rule = rules.limit("check_interval_h", ward) is None
            excluded = "no rule set" if no_rule else ""
            excluded = "paused" if stopped else excluded
            excluded = "hand-over between wards" if ward_after != ward else excluded
            is_closed = end != span.end or span.is_closed or end == looks[-1][0]
            found.append(Gap(name, start, end, is_closed, excluded, ward))
    return found


def covered_time(folder: Path, rules: Rules) -> Counter[tuple[str, Unit]]:
    """Recount covered time: each gap adds min(gap, interval + grace)."""
    units: Counter[tuple[str, Unit]] = Counter()
    for gap in gaps(folder, rules):
        if gap.excluded:
            units[gap.name, Unit(gap.excluded, 0, 0)] += 1
            continue
        allowed = _sum(rules, gap.ward, "check_interval_h", "grace_h")
        covered = min(gap.hours, allowed)
        word = "covered" if gap.hours <= allowed else "partly covered"
        units[gap.name, Unit(word, round(covered, 4), round(gap.hours, 4))] += 1
    return units


def _sum(rules: Rules, ward: str, *names: str) -> float:
    return sum(rules.limit(name, ward) or 0 for name in names)


def checks_on_time(
    folder: Path, rules: Rules, grace: float | None = None
) -> Counter[tuple[str, Unit]]:
    """Recount checks on time, at the ward's grace or at another."""
    units: Counter[tuple[str, Unit]] = Counter()
    for gap in gaps(folder, rules):
        if gap.excluded:
            units[gap.name, Unit(gap.excluded, 0, 0)] += 1
            continue
        interval = _sum(rules, gap.ward, "check_interval_h")
        own = grace if grace is not None else _sum(rules, gap.ward, "grace_h")
        if gap.hours <= interval + own:
            if gap.is_closed:
                units[gap.name, Unit("on time", 1, 1)] += 1
            continue
        # In whole minutes, as the logs are written, so that nothing hangs on a digit.
        over, step = round((gap.hours - own) * 60), round(interval * 60)
        not_on_time = math.ceil(over / step) - 1
        for number in range(1, not_on_time + 1):
            overdue = gap.hours - number * interval
            is_late = (
                number == not_on_time
                and gap.is_closed
                and overdue < _sum(rules, gap.ward, "missed_after_h")
            )
            units[gap.name, Unit("late" if is_late else "missed", 0, 1)] += 1
    return units


FAULTS = {"reaction", "blockage", "leak", "dislodged"}


@dataclass(frozen=True)
class LineAge:
    """What became of one line, and its hours in place and over the limit."""

    outcome: str
    in_place: float | None
    over: float | None


def replaced_in_time(
    folder: Path, rules: Rules, kind: str, limits: tuple[str, str]
) -> dict[str, LineAge]:
    """Recount one kind of the lines table against its life and grace."""
    column = {"extension_set": "line_id", "cannula": "site_id"}[kind]
    seen: dict[str, datetime] = {}
    last_row: dict[str, datetime] = {}
    for time, row in check_rows(folder):
        seen[row[column]] = last_row[row["patient_id"]] = time
    running = {
        span.rows[0][1]["patient_id"]
        for span in spans(folder, rules).values()
        if span.kind.startswith("running")
    }
    found = {}
    for line in read(folder / "lines.csv"):
        if line["kind"] != kind:
            continue
        until = seen.get(line["line_id"], last_row[line["patient_id"]])
        no_rule = rules.limit(limits[0], line["ward"]) is None
        limit = _sum(rules, line["ward"], *limits)
        is_over = line["patient_id"] not in running
        found[line["line_id"]] = (
            LineAge("no rule set", None, None)
            if no_rule
            else _line_age(line, until, limit, is_over=is_over)
        )
    return found


def _line_age(line: Cells, until: datetime, limit: float, *, is_over: bool) -> LineAge:
    """Judge one line by the youngest and the oldest that it can have been."""
    fitted = day_or_moment(line["inserted_at"])
    removed = day_or_moment(line["removed_at"])
    if fitted is None:
        return LineAge("not evaluable", None, None)
    first, last = removed or (until, until)
    youngest = max((first - fitted[1]).total_seconds() / 3600, 0)
    oldest = (last - fitted[0]).total_seconds() / 3600
    ended = line["removal_reason"] in {"end_of_treatment", "died"} or (
        removed is None and is_over
    )
    if youngest > limit:
        word = "overdue"
    elif oldest > limit:
        word = "indeterminate"
    elif ended:
        word = "never due"
    elif removed:
        word = "replaced early" if line["removal_reason"] in FAULTS else "in time"
    else:
        word = "undecided"
    return LineAge(word, youngest, max(youngest - limit, 0))


def sites(folder: Path, rules: Rules) -> dict[str, tuple[str, float]]:
    """Recount sites that are charted by id: what was seen and the days watched.

    Sites that do not count have no days. A date alone is out of what this recount does.
    """
    signs, minor = (
        set(rules.raw[name]["value"]) for name in ("reaction_signs", "minor_signs")
    )
    needed = rules.raw["minor_signs_needed"]["value"]
    reasons = set(rules.raw["reaction_removal_reasons"]["value"])
    rows = check_rows(folder)
    log_start = rows[0][0]
    looks: dict[str, list[tuple[datetime, set[str]]]] = defaultdict(list)
    for time, row in rows:
        words = {word.strip() for word in row["site_signs"].split(";")} - {""}
        looks[row["site_id"]].append((time, words))
    found = {}
    for line in read(folder / "lines.csv"):
        placed, out = moment(line["inserted_at"]), moment(line["removed_at"])
        if line["kind"] != "cannula" or (line["inserted_at"] and not placed):
            continue
        mine = [(t, w) for t, w in looks[line["line_id"]] if out is None or t <= out]
        if not mine:
            continue
        first, last = mine[0][0], mine[-1][0]
        seen = [t for t, w in mine if w & signs or len(w & minor) >= needed]
        if line["removal_reason"] in reasons and out:
            seen.append(out)
        start = placed if placed and placed >= log_start else first
        end = min(seen) if seen else max(out or last, last)
        days = (end - start).total_seconds() / 86400
        if seen and end <= first and not start < first:
            found[line["line_id"]] = ("prevalent", 0.0)
        elif not any(w for _, w in mine) and not line["removal_reason"]:
            found[line["line_id"]] = ("signs not recorded", 0.0)
        else:
            outcome = "reaction" if seen else "no reaction"
            found[line["line_id"]] = (outcome, days)
    return found
