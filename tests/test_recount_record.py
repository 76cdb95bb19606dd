"""Set-up, record and charting habits counted a second time, unit by unit."""

import csv
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.audit import run_audit
from analysis.compliance.coded import as_texts
from analysis.policy import Policy
from analysis.synthetic import DEMO_PLANTING, WARDS, make_log, write_log
from analysis.terms import Tally
from tests import naive_habits, naive_record
from tests.naive import Cells, Rules
from tests.tiny import write_csv

DEMO = Path(__file__).parents[1] / "synthetic_data"
TABLES = ("checks.csv", "infusions.csv", "lines.csv")


@dataclass(frozen=True)
class Case:
    """A log in a folder, and the units of its audit."""

    folder: Path
    rules: Rules
    units: pd.DataFrame


def audited(folder: Path) -> Case:
    policy = Policy.load(DEMO / "policy.toml")
    result = run_audit([folder / name for name in TABLES], policy)
    return Case(folder, Rules(DEMO / "policy.toml"), result.units)


def generate(folder: Path, days: int = 61) -> None:
    """Write months over the autumn clock change, with another seed than the demo's."""
    log = make_log(
        rng=np.random.default_rng(90210),
        wards=WARDS,
        first_day=date(2025, 10, 3),
        days=days,
        planting=DEMO_PLANTING,
    )
    write_log(log, folder)


@pytest.fixture(scope="module")
def demo() -> Case:
    return audited(DEMO)


@pytest.fixture(scope="module")
def other(tmp_path_factory: pytest.TempPathFactory) -> Case:
    folder = tmp_path_factory.mktemp("generated")
    generate(folder, days=300)
    assert len(read_csv(folder / "infusions.csv")) >= 2000
    return audited(folder)


@pytest.fixture(scope="module")
def altered(tmp_path_factory: pytest.TempPathFactory) -> Case:
    """Change a generated log so that it holds all that these measures tell apart."""
    folder = tmp_path_factory.mktemp("altered")
    generate(folder)
    alter(folder, np.random.default_rng(5))
    return audited(folder)


# A log with many faults -------------------------------------------------------------


def read_csv(path: Path) -> list[Cells]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def alter(folder: Path, rng: np.random.Generator) -> None:
    """Change what the generated log holds too little of, in its files."""
    table = read_csv(folder / "infusions.csv")
    of: dict[str, list[Cells]] = defaultdict(list)
    for row in read_csv(folder / "checks.csv"):
        of[row["infusion_id"]].append(row)
    for infusion in table:
        alter_infusion(infusion, of[infusion["infusion_id"]], rng)
    write_csv(folder / "infusions.csv", table)
    write_csv(folder / "checks.csv", [row for rows in of.values() for row in rows])


def alter_infusion(
    infusion: Cells, rows: list[Cells], rng: np.random.Generator
) -> None:
    """Make at most one change to an infusion, and some to its cells."""
    changes = (
        _no_change,
        _no_change,
        _other_rate,
        _odd_first_rate,
        _no_rate,
        _blank_cells_of_table,
        _no_start_row,
        _no_end,
        _worked_out,
        _written_late,
        _copied_row,
        _moved,
        _two_at_once,
        _primed,
    )
    changes[rng.integers(len(changes))](infusion, rows, rng)
    unreadable = {
        "solution_appearance": "mottled",
        "label_present": "perhaps",
        "lockbox_locked": "perhaps",
        "battery_pct": "250",
        "site_signs": "blurb",
        "volume_remaining_ml": "smudged",
    }
    if rng.random() < 0.2:
        column = list(unreadable)[rng.integers(len(unreadable))]
        rows[rng.integers(len(rows))][column] = unreadable[column]


def _no_change(_: Cells, __: list[Cells], ___: np.random.Generator) -> None:
    return


def _other_rate(_: Cells, rows: list[Cells], rng: np.random.Generator) -> None:
    factor = rng.choice([0.5, 0.9, 0.94, 1.06, 1.1])
    for row in rows:
        row["set_rate_ml_h"] = f"{float(row['set_rate_ml_h']) * factor:.2f}"


def _odd_first_rate(_: Cells, rows: list[Cells], __: np.random.Generator) -> None:
    rows[0]["set_rate_ml_h"] = f"{float(rows[0]['set_rate_ml_h']) * 0.8:.2f}"


def _no_rate(_: Cells, rows: list[Cells], rng: np.random.Generator) -> None:
    for row in rows if rng.random() < 0.5 else rows[:1]:
        row["set_rate_ml_h"] = ""


def _blank_cells_of_table(
    infusion: Cells, rows: list[Cells], rng: np.random.Generator
) -> None:
    names = ("start_volume_ml", "made_up_to_ml", "syringe_size_ml")
    for name in (*names, "planned_duration_h"):
        if rng.random() < 0.5:
            infusion[name] = ""
    if rng.random() < 0.5:
        rows[0]["volume_remaining_ml"] = ""


def _no_start_row(_: Cells, rows: list[Cells], __: np.random.Generator) -> None:
    if len(rows) > 1:
        del rows[0]


def _no_end(infusion: Cells, rows: list[Cells], rng: np.random.Generator) -> None:
    infusion["end_reason"] = infusion["ended_at"] = ""
    kept = int(rng.integers(len(rows)))
    del rows[max(1, kept) :]


def _worked_out(infusion: Cells, rows: list[Cells], _: np.random.Generator) -> None:
    start, begun = float(infusion["start_volume_ml"] or 16), infusion["started_at"]
    for row in rows:
        if row["checked_at"][:1] == "2" and len(row["checked_at"]) == 16:
            hours = _hours(begun, row["checked_at"])
            left = start - float(row["set_rate_ml_h"]) * hours
            row["volume_remaining_ml"] = f"{max(left, 0):.2f}"


def _hours(begun: str, time: str) -> float:
    try:
        span = datetime.fromisoformat(time) - datetime.fromisoformat(begun)
    except ValueError:
        return 0
    return span.total_seconds() / 3600


def _written_late(_: Cells, rows: list[Cells], rng: np.random.Generator) -> None:
    place = int(rng.integers(len(rows)))
    filed = datetime(2025, 12, 24, 8) + timedelta(minutes=int(rng.integers(600)))  # noqa: DTZ001 - local, as written
    for number, row in enumerate(rows[place : place + 3]):
        late = filed + timedelta(minutes=int(rng.choice([0, 2, 3])) * number)
        row["recorded_at"] = late.isoformat(timespec="minutes")


def _copied_row(_: Cells, rows: list[Cells], __: np.random.Generator) -> None:
    for place in range(2, len(rows), 3):
        for name in naive_habits.SEEN:
            rows[place][name] = rows[place - 1][name]


def _moved(_: Cells, rows: list[Cells], __: np.random.Generator) -> None:
    for row in rows[1:]:
        row["ward"] = "Teasel Ward"


def _two_at_once(_: Cells, rows: list[Cells], __: np.random.Generator) -> None:
    twin = {**rows[-1], "entry": "check", "battery_pct": "", "note": "seen twice"}
    twin |= {"site_signs": "none", "lockbox_locked": "no", "volume_remaining_ml": "3"}
    rows.insert(len(rows) - 1, twin)


def _primed(infusion: Cells, _: list[Cells], __: np.random.Generator) -> None:
    if infusion["start_volume_ml"]:
        infusion["start_volume_ml"] = f"{float(infusion['start_volume_ml']) * 0.9:.1f}"


# The second count -------------------------------------------------------------------

Recount = Callable[[Path, Rules], dict[str, str]]

SET_UP: tuple[Recount, ...] = (
    naive_record.set_rate_matches,
    naive_record.start_volume_in_window,
    naive_record.syringe_size_ok,
    naive_record.first_check_in_time,
    naive_record.second_checker_recorded,
)
HABITS: tuple[Recount, ...] = (
    naive_habits.exact_hour_share,
    naive_habits.round_volume_share,
    naive_habits.copied_readings,
    naive_habits.copied_rows,
    naive_habits.readings_too_close,
    naive_habits.written_in_batches,
)
RECORD = {
    "volume_recorded": (
        "volume_remaining_ml",
        "volume_delivered_ml",
        "display_remaining_ml",
    ),
    "site_recorded": ("site_signs",),
    "solution_recorded": ("solution_appearance",),
    "battery_recorded": ("battery_pct",),
    "label_recorded": ("label_present",),
    "checker_recorded": ("checked_by",),
}
RECOUNTS: dict[str, Recount] = {
    **{one.__name__: one for one in (*SET_UP, *HABITS, naive_record.box_locked)},
    **{
        name: partial(naive_record.recorded, columns=columns)
        for name, columns in RECORD.items()
    },
}


@pytest.mark.parametrize("log", ["demo", "other", "altered"])
@pytest.mark.parametrize(
    "measure", [pytest.param(name, id=name.replace("_", " ")) for name in RECOUNTS]
)
def test_a_naive_recount_agrees_unit_by_unit(
    request: pytest.FixtureRequest, log: str, measure: str
) -> None:
    case = request.getfixturevalue(log)
    assert isinstance(case, Case)
    units = as_texts(case.units[case.units["measure"] == measure])
    found = dict(zip(units["unit_id"], units["outcome"], strict=True))
    recount = RECOUNTS[measure](case.folder, case.rules)
    differ = {
        unit: (found.get(unit), recount.get(unit))
        for unit in {*found, *recount}
        if found.get(unit) != recount.get(unit)
    }
    assert differ == {}
    assert len(units) == len(recount) > 200
    is_excluded = units["tally"] == Tally.EXCLUDED
    assert (units["outcome"] == units["reason"]).equals(is_excluded)


@pytest.mark.parametrize(
    ("measure", "outcomes"),
    [
        pytest.param("set_rate_matches", 5, id="rates: each way to fail"),
        pytest.param("first_check_in_time", 6, id="first checks: likewise"),
        pytest.param("second_checker_recorded", 4, id="second checkers: likewise"),
        pytest.param("volume_recorded", 3, id="volumes: recorded, blank, unreadable"),
        pytest.param("box_locked", 4, id="cases: yes, no, blank, unreadable"),
        pytest.param("copied_rows", 5, id="rows: copied and not, and left out"),
        pytest.param("readings_too_close", 5, id="lines: too close and not, left out"),
        pytest.param("written_in_batches", 4, id="writing: late and not, left out"),
    ],
)
def test_the_altered_log_holds_what_is_to_be_told_apart(
    altered: Case, measure: str, outcomes: int
) -> None:
    units = as_texts(altered.units[altered.units["measure"] == measure])
    assert units["outcome"].nunique() >= outcomes, units["outcome"].value_counts()
