"""Checks, continuity and lines counted a second time on logs of 2,000 infusions.

About half a minute in all: the slow part is one audit and one plain count of each log.
"""

import csv
from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.audit import run_audit
from analysis.compliance.coded import as_texts
from analysis.policy import Policy
from analysis.synthetic import DEMO_PLANTING, WARDS, make_log, write_log
from tests import naive, naive_continuity
from tests.naive import Cells, Rules, Unit, moment
from tests.tiny import write_csv

DEMO = Path(__file__).parents[1] / "synthetic_data"
TABLES = ("checks.csv", "infusions.csv", "lines.csv")


@dataclass(frozen=True)
class Case:
    """A log in a folder, and the units of its audit."""

    folder: Path
    rules: Rules
    units: pd.DataFrame

    def of(self, measure: str) -> pd.DataFrame:
        """Give the units of one measure."""
        return as_texts(self.units[self.units["measure"] == measure])


def audited(folder: Path) -> Case:
    policy = Policy.load(DEMO / "policy.toml")
    result = run_audit([folder / name for name in TABLES], policy)
    return Case(folder, Rules(DEMO / "policy.toml"), result.units)


def generate(folder: Path) -> None:
    log = make_log(
        rng=np.random.default_rng(2000),
        wards=WARDS,
        first_day=date(2025, 9, 1),
        days=290,
        planting=DEMO_PLANTING,
    )
    write_log(log, folder)


@pytest.fixture(scope="module")
def long(tmp_path_factory: pytest.TempPathFactory) -> Case:
    folder = tmp_path_factory.mktemp("long")
    generate(folder)
    return audited(folder)


@pytest.fixture(scope="module")
def altered(tmp_path_factory: pytest.TempPathFactory) -> Case:
    """Take out ends and drivers, swap drivers, move patients, stop and pause."""
    folder = tmp_path_factory.mktemp("altered")
    generate(folder)
    alter(folder, np.random.default_rng(17))
    return audited(folder)


@pytest.fixture(params=["long", "altered"])
def case(request: pytest.FixtureRequest) -> Case:
    found = request.getfixturevalue(request.param)
    assert isinstance(found, Case)
    return found


# A log with many kinds of end ---------------------------------------------------------


def read_csv(path: Path) -> list[Cells]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def alter(folder: Path, rng: np.random.Generator) -> None:
    """Change what the generated log holds too little of, in its files."""
    table = {row["infusion_id"]: row for row in read_csv(folder / "infusions.csv")}
    of: dict[str, list[Cells]] = defaultdict(list)
    for row in read_csv(folder / "checks.csv"):
        of[row["infusion_id"]].append(row)
    for name, rows in of.items():
        change = CHANGES[int(rng.integers(len(CHANGES)))]
        change(table[name], rows)
    stays: dict[str, list[Cells]] = defaultdict(list)
    for name in sorted(of, key=lambda name: table[name]["started_at"]):
        stays[table[name]["patient_id"]].append(table[name])
    for stay in stays.values():
        if rng.random() < 0.1:
            move(stay[len(stay) // 2 :], of)
    write_csv(folder / "infusions.csv", list(table.values()))
    write_csv(folder / "checks.csv", [row for rows in of.values() for row in rows])


def move(infusions: list[Cells], of: dict[str, list[Cells]]) -> None:
    """Start a patient's later infusions on another ward."""
    for infusion in infusions:
        for row in [infusion, *of[infusion["infusion_id"]]]:
            row["ward"] = "Yarrow Ward"


def as_it_was(_infusion: Cells, _rows: list[Cells]) -> None:
    """Leave it."""


def no_end(infusion: Cells, rows: list[Cells]) -> None:
    """Take out every sign of its end."""
    infusion["ended_at"] = infusion["end_reason"] = ""
    rows[:] = [row for row in rows if row["entry"] != "end"]


def no_driver(infusion: Cells, rows: list[Cells]) -> None:
    """Chart no driver, and no end."""
    no_end(infusion, rows)
    for row in [infusion, *rows]:
        row["driver_id"] = ""


def no_driver_but_an_end(infusion: Cells, rows: list[Cells]) -> None:
    """Chart no driver."""
    for row in [infusion, *rows]:
        row["driver_id"] = ""


def other_driver(infusion: Cells, rows: list[Cells]) -> None:
    """Run it on a driver of its own."""
    for row in [infusion, *rows]:
        row["driver_id"] = f"S{infusion['infusion_id']}"


def other_driver_no_end(infusion: Cells, rows: list[Cells]) -> None:
    """Run it on a driver of its own that nothing ends."""
    no_end(infusion, rows)
    other_driver(infusion, rows)


def stopped(infusion: Cells, _rows: list[Cells]) -> None:
    """Chart it as stopped."""
    infusion["end_reason"] = "stopped"


def transferred(infusion: Cells, _rows: list[Cells]) -> None:
    """Chart it as ended by a transfer."""
    infusion["end_reason"] = "transferred"


def paused_at_last(_infusion: Cells, rows: list[Cells]) -> None:
    """Let its last check be the beginning of a pause."""
    checks = [row for row in rows if row["entry"] == "check"]
    if checks:
        checks[-1]["entry"] = "pause"
        checks[-1]["running"] = "no"


def half_full(infusion: Cells, rows: list[Cells]) -> None:
    """Fill it half, so that it is empty long before it is changed.

    Its rates stay as they are, and where they change there is no volume to tell which
    is right: those are out of what the second count knows.
    """
    if any(row["entry"] == "rate_change" for row in rows):
        return
    if infusion["start_volume_ml"]:
        infusion["start_volume_ml"] = str(float(infusion["start_volume_ml"]) / 2)
    for row in rows:
        row["volume_remaining_ml"] = row["volume_delivered_ml"] = ""
        row["display_remaining_ml"] = ""


def over_early(infusion: Cells, rows: list[Cells]) -> None:
    """End it an hour or more before the next start, by its row and by ended_at."""
    for row in [*rows[2:], infusion]:
        if row.get("entry") == "end" and row["checked_at"]:
            row["checked_at"] = earlier(row["checked_at"])
        if row.get("ended_at"):
            row["ended_at"] = earlier(row["ended_at"])


def earlier(text: str) -> str:
    time = moment(text)
    assert time
    return (time - timedelta(minutes=95)).isoformat()


CHANGES: tuple[Callable[[Cells, list[Cells]], None], ...] = (
    as_it_was,
    as_it_was,
    as_it_was,
    no_end,
    no_driver,
    no_driver_but_an_end,
    other_driver,
    other_driver_no_end,
    stopped,
    transferred,
    paused_at_last,
    half_full,
    over_early,
)


def test_the_altered_log_holds_every_outcome(altered: Case) -> None:
    outcomes = altered.of("syringe_changed_in_time")["outcome"].value_counts()
    assert set(outcomes.index) == {
        "in time",
        "no syringe running",
        "stopped, as charted",
        "hand-over between wards",
        "paused",
        "longer than a whole syringe, no stop charted",
    }
    assert (outcomes >= 2).all(), outcomes


# The counts ---------------------------------------------------------------------------


def counted(units: pd.DataFrame) -> Counter[tuple[str, Unit]]:
    return Counter(
        (name, Unit(outcome, round(x, 4), round(n, 4)))
        for name, outcome, x, n in zip(
            units["infusion_id"],
            units["outcome"],
            units["numerator"].fillna(0),
            units["denominator"].fillna(0),
            strict=True,
        )
    )


@pytest.mark.parametrize(
    ("measure", "recount"),
    [
        pytest.param("covered_time", naive.covered_time, id="covered time"),
        pytest.param("checks_on_time", naive.checks_on_time, id="checks on time"),
        pytest.param(
            "checks_on_time_grace_1.0",
            partial(naive.checks_on_time, grace=1.0),
            id="checks on time at a grace of 1 h",
        ),
    ],
)
def test_checks_of_2000_infusions_agree_unit_by_unit(
    case: Case, measure: str, recount: Callable[..., Counter[tuple[str, Unit]]]
) -> None:
    first, second = counted(case.of(measure)), recount(case.folder, case.rules)
    assert first - second == Counter()
    assert second - first == Counter()
    assert len({name for name, _ in second}) > 1900


def test_changes_of_syringe_agree_one_by_one(case: Case) -> None:
    units = case.of("syringe_changed_in_time").set_index("infusion_id")
    recount = naive_continuity.changes(case.folder, case.rules)
    assert units["outcome"].to_dict() == {k: c.outcome for k, c in recount.items()}
    assert len(recount) > 1400


def test_hours_without_a_syringe_agree_gap_by_gap(case: Case) -> None:
    units = case.of("gap_hours")
    gaps = units[units["unit_id"] != units["infusion_id"]].set_index("infusion_id")
    recount = naive_continuity.changes(case.folder, case.rules)
    long_ones = {name: c for name, c in recount.items() if c.is_gap}
    counts = {
        name: change.hours if change.outcome == "no syringe running" else -1
        for name, change in long_ones.items()
    }
    assert len(counts) > 70
    # A charted time may lie on a second; the line's zero is rounded to one.
    close = partial(pytest.approx, abs=1 / 3600)
    assert gaps["numerator"].fillna(-1).to_dict() == close(counts)
    assert gaps["denominator"].fillna(-1).to_dict() == close(counts)


def test_hours_of_treatment_agree_syringe_by_syringe(case: Case) -> None:
    units = case.of("gap_hours")
    runs = units[units["unit_id"] == units["infusion_id"]].set_index("infusion_id")
    recount = naive_continuity.running_hours(case.folder, case.rules)
    assert runs["denominator"].to_dict() == pytest.approx(recount, abs=1 / 3600)
    assert (runs["numerator"] == 0).all()
    assert len(recount) > 1900


def test_no_two_syringes_have_the_same_next_one(case: Case) -> None:
    units = case.of("syringe_changed_in_time")
    assert units["unit_id"].is_unique
    after = naive_continuity.successors(
        naive_continuity.runs_of(case.folder, case.rules)
    )
    assert len(set(after.values())) == len(after)


@pytest.mark.parametrize(
    ("kind", "measure"),
    [
        pytest.param("extension_set", "lines_changed_in_time", id="extension sets"),
        pytest.param("cannula", "sites_rotated_in_time", id="cannulas"),
    ],
)
def test_lines_of_2000_infusions_agree_one_by_one(
    long: Case, kind: str, measure: str
) -> None:
    limits = {
        "extension_set": ("extension_set_life_h", "extension_set_grace_h"),
        "cannula": ("site_life_h", "site_grace_h"),
    }[kind]
    units = long.of(measure).set_index("unit_id")
    recount = naive.replaced_in_time(long.folder, long.rules, kind, limits)
    assert len(recount) > 500
    assert units.loc[list(recount), "outcome"].to_dict() == {
        name: line.outcome for name, line in recount.items()
    }


def test_overdue_hours_of_2000_infusions_agree_one_by_one(long: Case) -> None:
    units = long.of("overdue_line_hours").set_index("unit_id")
    limits = ("extension_set_life_h", "extension_set_grace_h")
    recount = naive.replaced_in_time(long.folder, long.rules, "extension_set", limits)
    mine = units.loc[list(recount)]
    for column, hours in (
        ("numerator", {name: line.over for name, line in recount.items()}),
        ("denominator", {name: line.in_place for name, line in recount.items()}),
    ):
        second = {name: -1 if h is None else h for name, h in hours.items()}
        assert mine[column].fillna(-1).to_dict() == pytest.approx(second)
    assert mine["numerator"].sum() > 0


def test_planted_gaps_are_found_and_nothing_else(long: Case) -> None:
    truth = pd.read_csv(long.folder / "truth_other.csv")
    planted = set(truth.loc[truth["kind"] == "gap_between_syringes", "infusion_id"])
    units = long.of("syringe_changed_in_time")
    found = set(units.loc[units["outcome"] == "no syringe running", "infusion_id"])
    assert len(planted) > 70
    # A ward that charts to the hour cannot show a gap of little more than an hour.
    hidden = truth[truth["infusion_id"].isin(planted - found)]
    hidden = hidden[hidden["kind"] == "gap_between_syringes"]
    assert set(hidden["ward"]) <= {"Lapwing Ward"}
    assert (hidden["hours"] < 1.5).all()
    # What else is found stayed on long after the 24 h it was made up for.
    table = pd.read_csv(long.folder / "infusions.csv").set_index("infusion_id")
    times = table.loc[list(found - planted), ["started_at", "ended_at"]]
    lasted = pd.to_datetime(times["ended_at"]) - pd.to_datetime(times["started_at"])
    assert len(lasted) <= 3
    assert (lasted > pd.Timedelta(hours=24.5)).all()


def test_rows_of_a_run_are_in_order_of_time_in_the_second_count(long: Case) -> None:
    for span in naive.spans(long.folder, long.rules).values():
        assert all(one[0] <= two[0] for one, two in pairwise(span.rows))
