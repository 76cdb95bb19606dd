"""A slow, obvious recount of set-up and record, from the design's text.

Plain Python on the CSV files, as in tests/naive.py: no pandas, nothing of the package.
Each recount gives the outcome of every unit by name: an infusion, or an infusion and
the moment of a check in UTC. An excluded unit has its reason for outcome.
"""

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from tests.naive import Cells, Rules, Span, check_rows, read, spans

Outcomes = dict[str, str]
VOLUME_STEPS = (1.0, 0.5, 0.25, 0.2, 0.1, 0.05, 0.01)
RATE_STEPS = (1.0, 0.1, 0.01, 0.001)


def number(text: str, low: float = 0, high: float = 1000) -> float | None:
    """Read a number; None for a blank, a word, or what cannot be."""
    try:
        value = float(text)
    except ValueError:
        return None
    return value if low <= value <= high else None


def volume(text: str) -> float | None:
    """Read a volume in a syringe."""
    return number(text, 0, 60)


def step_of(values: list[float], steps: tuple[float, ...]) -> float:
    """Give the coarsest step that at least nine in ten values lie on."""
    for step in steps:
        on = [v for v in values if abs(v / step - round(v / step)) * step < 1e-6]
        if values and len(on) >= 0.9 * len(values):
            return step
    return steps[-1]


def table(folder: Path) -> dict[str, Cells]:
    """Give the infusions table by id."""
    return {row["infusion_id"]: row for row in read(folder / "infusions.csv")}


def infusions(folder: Path) -> dict[str, list[tuple[datetime, Cells]]]:
    """Give the rows of each infusion of the table in order of time."""
    of: dict[str, list[tuple[datetime, Cells]]] = {name: [] for name in table(folder)}
    for time, row in check_rows(folder):
        of.setdefault(row["infusion_id"], []).append((time, row))
    return of


@dataclass(frozen=True)
class Visit:
    """The rows of one infusion at one moment."""

    name: str
    time: datetime
    rows: list[Cells]
    is_after_end: bool

    @property
    def unit(self) -> str:
        """Name of the unit."""
        return f"{self.name} {self.time:%Y-%m-%dT%H:%M:%S}Z"

    @property
    def last(self) -> Cells:
        """Its last row."""
        return self.rows[-1]


def visits(folder: Path, rules: Rules) -> list[Visit]:
    """List the checks that were made."""
    ends = {name: span.end for name, span in spans(folder, rules).items()}
    found = []
    for name, rows in infusions(folder).items():
        moments: dict[datetime, list[Cells]] = defaultdict(list)
        for time, row in rows:
            moments[time].append(row)
        found += [
            Visit(name, time, at, time > ends[name]) for time, at in moments.items()
        ]
    return found


# Set-up -----------------------------------------------------------------------------


def rates_of(rows: list[tuple[datetime, Cells]]) -> list[float | None]:
    """Give the rate charted on each row; None where it is blank or doubtful.

    Doubtful is a rate on one row only whose neighbours (at either end the two next to
    it) agree on another, while the volume fell by that other one.
    """
    own = [number(row["set_rate_ml_h"], 1e-9, 10) for _, row in rows]
    places = [place for place, rate in enumerate(own) if rate is not None]
    doubtful = []
    for i, place in enumerate(places):
        around = [places[j] for j in (i - 1, i + 1) if 0 <= j < len(places)]
        if i in {0, len(places) - 1}:
            near = (1, 2) if i == 0 else (i - 1, i - 2)
            around = [places[j] for j in near if 0 <= j < len(places)]
        rate, others = own[place], {own[j] for j in around}
        is_alone = len(around) == 2 and len(others) == 1 and rate not in others
        if is_alone and rows[place][1]["entry"] in {"check", "start"}:
            after = around[0] if i == len(places) - 1 else around[-1 if i else 0]
            if not _follows(rows, (place, after), (rate or 0, others.pop() or 0)):
                doubtful.append(place)
    return [None if place in doubtful else rate for place, rate in enumerate(own)]


def _follows(
    rows: list[tuple[datetime, Cells]],
    places: tuple[int, int],
    rates: tuple[float, float],
) -> bool:
    first, second = sorted(places)
    hours = (rows[second][0] - rows[first][0]).total_seconds() / 3600
    before, after = (_level(rows[place][1]) for place in (first, second))
    if before is None or after is None:
        return False
    fell = before - after
    return abs(fell - rates[0] * hours) < abs(fell - rates[1] * hours)


def _level(row: Cells) -> float | None:
    left, given = (volume(row[f"volume_{k}_ml"]) for k in ("remaining", "delivered"))
    return left if left is not None else (None if given is None else -given)


def start_volume(row: Cells, rows: list[tuple[datetime, Cells]]) -> float | None:
    """Give the start volume of the table, else of the start row."""
    charted = volume(row["start_volume_ml"])
    starts = [r for _, r in rows if r["entry"] == "start"]
    if charted is None and starts:
        return volume(starts[0]["volume_remaining_ml"])
    return charted


def start_rate(rows: list[tuple[datetime, Cells]]) -> float | None:
    """Give the first rate before any rate change that is not doubtful."""
    for (_, row), rate in zip(rows, rates_of(rows), strict=True):
        if row["entry"] == "rate_change":
            return None
        if rate is not None:
            return rate
    return None


def set_rate_matches(folder: Path, rules: Rules) -> Outcomes:
    """Recount |rate x T / V0 - 1| within tolerance or rounding."""
    found, of, known = {}, infusions(folder), table(folder)
    rates = {name: start_rate(rows) for name, rows in of.items()}
    ward_rates, ward_volumes = defaultdict(list), defaultdict(list)
    for name, row in known.items():
        ward_rates[row["ward"]].append(rates[name])
        ward_volumes[row["ward"]].append(start_volume(row, of[name]))
    for _, row in check_rows(folder):
        ward_volumes[row["ward"]].append(volume(row["volume_remaining_ml"]))
    for name, row in known.items():
        ward, rate = row["ward"], rates[name]
        if rate is None:
            found[name] = "set rate not charted"
        elif not start_volume(row, of[name]):
            found[name] = "start volume not charted"
        else:
            of_ward = [r for r in ward_rates[ward] if r is not None]
            rate_step = min(step_of([rate], RATE_STEPS), step_of(of_ward, RATE_STEPS))
            read_ = [v for v in ward_volumes[ward] if v is not None]
            rounding = (rate_step / 2 / rate, step_of(read_, VOLUME_STEPS))
            bases = (start_volume(row, of[name]), volume(row["made_up_to_ml"]))
            found[name] = _start_rate(row, rate, (bases, rounding), rules)
    return found


def _start_rate(
    row: Cells,
    rate: float,
    known: tuple[tuple[float | None, ...], tuple[float, float]],
    rules: Rules,
) -> str:
    hours = float(
        row["planned_duration_h"] or rules.limit("planned_duration_h", row["ward"]) or 0
    )
    least = rules.raw["set_rate_tolerance_pct"]["value"] / 100
    bases, rounding = known
    words = ("matches", "matches the volume before priming")
    for base, word in zip(bases, words, strict=True):
        if base:
            allowed = max(least, rounding[0] + rounding[1] / base)
            if abs(rate * hours / base - 1) <= allowed + 1e-9:
                return word
    return "does not match"


def start_volume_in_window(folder: Path, rules: Rules) -> Outcomes:
    """Recount the volume made up against the window of its size."""
    windows = {w[0]: w[1:] for w in rules.raw["start_volume_window_ml"]["value"]}
    found = {}
    for name, row in table(folder).items():
        made_up, size = volume(row["made_up_to_ml"]), number(row["syringe_size_ml"])
        if made_up is None:
            found[name] = "volume made up not charted"
        elif size is None:
            found[name] = "syringe size not charted"
        elif size not in windows:
            found[name] = "no window for this syringe size"
        elif made_up < windows[size][0]:
            found[name] = "below the window"
        else:
            is_above = made_up > windows[size][1]
            found[name] = "above the window" if is_above else "in the window"
    return found


def syringe_size_ok(folder: Path, rules: Rules) -> Outcomes:
    """Recount syringes of a size that has a window."""
    sizes = {w[0] for w in rules.raw["start_volume_window_ml"]["value"]}
    found = {}
    for name, row in table(folder).items():
        size = number(row["syringe_size_ml"])
        known = "size of the policy" if size in sizes else "another size"
        found[name] = "syringe size not charted" if size is None else known
    return found


def first_check_in_time(folder: Path, rules: Rules) -> Outcomes:
    """Recount the first row after the start row, within first_check_h + grace."""
    ends, known, found = spans(folder, rules), table(folder), {}
    for name, rows in infusions(folder).items():
        ward = known[name]["ward"]
        due_h = rules.limit("first_check_h", ward)
        starts = [(t, row["ward"]) for t, row in rows if row["entry"] == "start"]
        if due_h is None:
            found[name] = "no rule set"
        elif not starts:
            found[name] = "no start row in the log"
        else:
            limit = due_h + (rules.limit("grace_h", ward) or 0)
            found[name] = _first_check(rows, starts[0], ends[name], (due_h, limit))
    return found


def _first_check(
    rows: list[tuple[datetime, Cells]],
    start: tuple[datetime, str],
    span: Span,
    limits_h: tuple[float, float],
) -> str:
    begun, ward = start
    due, late = (begun + timedelta(hours=h) for h in limits_h)
    later = [(t, row["ward"]) for t, row in rows if begun < t <= span.end]
    if later and [w for t, w in later if t == later[0][0]][-1] != ward:
        return "hand-over between wards"
    if span.end < due or (not later and span.end <= late):
        return {
            "running at the end of the log": "undecided",
            "end not recorded": "end not recorded",
        }.get(span.kind, "ended before it was due")
    if not later:
        return "not made"
    return "in time" if later[0][0] <= late else "late"


def second_checker_recorded(folder: Path, rules: Rules) -> Outcomes:
    """Recount start rows with a second checker who is not the first."""
    found = {}
    for name, rows in infusions(folder).items():
        starts = [row for _, row in rows if row["entry"] == "start"]
        if not starts:
            found[name] = "no start row in the log"
        elif not starts[0]["second_checked_by"]:
            found[name] = "not recorded"
        elif starts[0]["second_checked_by"] == starts[0]["checked_by"]:
            found[name] = "same code as the first checker"
        else:
            found[name] = "recorded"
    assert rules.raw
    return found


# Record -----------------------------------------------------------------------------

SIGNS = {
    *("none", "redness", "swelling", "hardness", "pain", "leakage", "bruising"),
    *("bleeding", "blistering", "other"),
}


def _says(column: str, text: str) -> str:
    """Tell a cell that says something from a blank and from what cannot be read."""
    if not text:
        return "not recorded"
    good = {
        "volume_remaining_ml": volume(text) is not None,
        "volume_delivered_ml": volume(text) is not None,
        "display_remaining_ml": volume(text) is not None,
        "battery_pct": number(text, 0, 100) is not None,
        "site_signs": bool({w.strip() for w in text.split(";")} & SIGNS),
        "solution_appearance": text in {"clear", "cloudy", "crystals", "discoloured"},
        "label_present": text in {"yes", "no"},
        "lockbox_locked": text in {"yes", "no"},
        "checked_by": True,
    }
    return "recorded" if good[column] else "charted, but not readable"


def recorded(folder: Path, rules: Rules, columns: tuple[str, ...]) -> Outcomes:
    """Recount checks that recorded something in one of the columns."""
    found = {}
    for visit in visits(folder, rules):
        said = {_says(c, row[c]) for row in visit.rows for c in columns}
        words = ("recorded", "charted, but not readable", "not recorded")
        found[visit.unit] = next(word for word in words if word in said)
        if visit.is_after_end:
            found[visit.unit] = "charted after the infusion's end"
    return found


def box_locked(folder: Path, rules: Rules) -> Outcomes:
    """Recount the locked case: yes out of yes and no."""
    found = recorded(folder, rules, ("lockbox_locked",))
    for visit in visits(folder, rules):
        said = {row["lockbox_locked"] for row in visit.rows}
        if found[visit.unit] == "recorded":
            found[visit.unit] = "not locked" if "no" in said else "locked"
    return found
