"""Continuity: changes of syringe and gaps, one log with a patient for each case."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from analysis.audit import AuditResult
from tests.tiny import Row, after, audit, policy_with, syringe, units_of, whole

START = "2026-06-01T10:03"
FULL = {0: 16.0, 4: 13.3, 8: 10.7, 12: 8.0, 16: 5.3, 20: 2.7}


@dataclass(frozen=True)
class Case:
    """Rows of one patient, what becomes of each change, and the hours of gaps."""

    rows: list[Row]
    outcomes: dict[str, str]
    gaps: dict[str, float] = field(default_factory=dict)
    kinds: dict[str, str] = field(default_factory=dict)
    table: dict[str, Row] = field(default_factory=dict)


def run(
    name: str,
    at: float = 0,
    volumes: dict[float, float] | None = None,
    end: float | None = None,
    **cells: Any,
) -> list[Row]:
    """Give one syringe, started so many hours after the first, with its end row."""
    shown: dict[Any, float | None] = dict(volumes or FULL)
    if end is not None:
        shown = {h: v for h, v in shown.items() if h < end} | {end: 0.0}
    entries = {end: "end"} if end is not None else {}
    entries.update(cells.pop("entries", {}))
    # Times keep the offset they are written with, so that hours are true hours.
    rows = syringe(
        shown, start=START, entries=entries, infusion_id=name,
        **{"set_rate_ml_h": 0.667, **cells},
    )  # fmt: skip
    for row, hour in zip(rows, shown, strict=True):
        row["checked_at"] = after(START, at + hour)
    return rows


def two(gap: float, **cells: Any) -> list[Row]:
    """Give a syringe that ends at 24 h and the next, so many hours later."""
    return run("a", end=24, **cells) + run("b", 24 + gap, end=24, **cells)


MINUTE = 1 / 60

#: 2.7 mL at 20 h, read to 0.1 mL, may be 2.75 mL: later than 24 h by the line.
EMPTY = 20 + 2.75 / 0.667
ON_D2: dict[str, Any] = {"driver_id": "D2"}
NO_DRIVER: dict[str, Any] = {"driver_id": None}
ON_BIRCH: dict[str, Any] = {"ward": "Birch Ward"}
ON_CEDAR: dict[str, Any] = {"ward": "Cedar Ward"}

CASES = {
    "the next syringe 20 minutes after the end row":
        Case(two(20 * MINUTE), {"a": "in time"}),
    "the next syringe exactly the grace for checks after it":
        Case(two(0.5), {"a": "in time"}),
    "a minute more than the grace":
        Case(two(31 * MINUTE), {"a": "no syringe running"}, {"a": 31 * MINUTE},
             {"a": "no_syringe_running"}),
    "the next syringe 3 h after the end row":
        Case(two(3), {"a": "no syringe running"}, {"a": 3},
             {"a": "no_syringe_running"}),
    "a ward with a longer grace of its own":
        Case(two(1.5, **ON_CEDAR), {"a": "in time"}),
    "a syringe_change row ends the one and starts the next":
        Case(run("a") + run("b", 22, entries={0: "syringe_change"}, end=24),
             {"a": "in time"}),
    "a syringe_change row at 27 h: it was empty from 24 h":
        Case(run("a") + run("b", 27, entries={0: "syringe_change"}, end=24),
             {"a": "no syringe running"}, {"a": 27 - EMPTY},
             {"a": "changed_late"}),
    "an end row at 27 h and the next at once: it was empty from 24 h":
        Case(run("a", end=27) + run("b", 27.1, end=24),
             {"a": "no syringe running"}, {"a": 27.1 - EMPTY},
             {"a": "changed_late"}),
    "no row ends it and the next start is 3 h after it was empty":
        Case(run("a") + run("b", 27, end=24),
             {"a": "no syringe running"}, {"a": 27 - EMPTY},
             {"a": "changed_late"}),
    "no row ends it and the next start is as planned":
        Case(run("a") + run("b", 24, end=24), {"a": "in time"}),
    "changed early with some left":
        Case(run("a", end=18) + run("b", 18.1, end=24), {"a": "in time"}),
    "a rate set lower at 10 h: empty later than planned":
        Case(run("a", volumes={0: 16.0, 4: 13.3, 10: 9.3, 20: 4.3},
                 entries={10: "rate_change"})
             + run("b", 28.5, end=24), {"a": "in time"}),
    "restarted over a fresh 24 h after a flat battery":
        # Trap: 10.7 mL at 0.45 mL/h from 8 h on last until 31.8 h.
        Case(run("a", volumes={0: 16.0, 8: 10.7, 20: 5.3, 28: 1.7},
                 entries={8: "rate_change"})
             + run("b", 31.5, end=24), {"a": "in time"}),
    "a stall: the last reading shows that it was not empty":
        Case(run("a", volumes={0: 16.0, 4: 13.3, 24: 5.3}) + run("b", 27, end=24),
             {"a": "in time"}),
    "stopped as charted and restarted 6 h later":
        Case(two(6), {"a": "stopped, as charted"},
             table={"a": {"end_reason": "stopped"}}),
    "a next start after a charted death":
        Case(two(6), {"a": "stopped, as charted"}, table={"a": {"end_reason": "died"}}),
    "changed early, as charted, goes on":
        Case(two(6), {"a": "no syringe running"}, {"a": 6},
             {"a": "no_syringe_running"},
             {"a": {"end_reason": "changed early"}}),
    "transferred and restarted on the same ward":
        Case(two(6), {"a": "stopped, as charted"},
             table={"a": {"end_reason": "transferred"}}),
    "transferred to another ward":
        Case(run("a", end=24) + run("b", 27, end=24, **ON_BIRCH),
             {"a": "hand-over between wards"}, {"a": 3}, {"a": "no_syringe_running"},
             {"a": {"end_reason": "transferred"}}),
    "to another ward without a gap":
        Case(run("a", end=24) + run("b", 24.2, end=24, **ON_BIRCH),
             {"a": "hand-over between wards"}),
    "back on another ward after more than a whole syringe":
        Case(run("a", end=24) + run("b", 54, end=24, **ON_BIRCH),
             {"a": "hand-over between wards"}, kinds={"a": "no_syringe_running"}),
    "on a documented pause until the next syringe on another ward":
        Case(run("a", entries={20: "pause"}) + run("b", 30, end=24, **ON_BIRCH),
             {"a": "hand-over between wards"}),
    "on a documented pause until the next syringe":
        Case(run("a", entries={20: "pause"}) + run("b", 30, end=24), {"a": "paused"}),
    "a pause that ended before":
        Case(run("a", end=24, entries={8: "pause", 12: "resume"})
             + run("b", 27, end=24), {"a": "no syringe running"}, {"a": 3},
             {"a": "no_syringe_running"}),
    "longer than a whole syringe, and no stop charted":
        Case(two(30), {"a": "longer than a whole syringe, no stop charted"},
             kinds={"a": "no_syringe_running"}),
    "a whole syringe exactly still is a gap":
        Case(two(24), {"a": "no syringe running"}, {"a": 24},
             {"a": "no_syringe_running"}),
    "the driver was swapped":
        Case(run("a", end=24) + run("b", 26, end=24, **ON_D2),
             {"a": "no syringe running"}, {"a": 2}, {"a": "no_syringe_running"}),
    "the new driver was started before the old one was taken off":
        Case(run("a", end=24) + run("b", 23.8, end=24, **ON_D2), {"a": "in time"}),
    "two drivers side by side, each changed in time":
        Case(run("a", end=24) + run("b", 2, end=24, **ON_D2)
             + run("c", 24.1, end=24) + run("d", 26.1, end=24, **ON_D2),
             {"a": "in time", "b": "in time"}),
    "two drivers side by side, one changed late":
        Case(run("a", end=24) + run("b", 2, end=24, **ON_D2)
             + run("c", 29, end=24) + run("d", 26.1, end=24, **ON_D2),
             {"a": "no syringe running", "b": "in time"}, {"a": 5},
             {"a": "no_syringe_running"}),
    "two drivers taken in turns":
        Case(run("a", end=20) + run("b", 20.1, end=20, **ON_D2)
             + run("c", 40.2, end=20) + run("d", 60.3, end=20, **ON_D2),
             {"a": "in time", "b": "in time", "c": "in time"}),
    "one of two drivers is stopped for good":
        Case(run("a", end=24) + run("b", 2, end=24, **ON_D2) + run("c", 24.1, end=24),
             {"a": "in time"}),
    "both of two drivers are swapped":
        Case(run("a", end=24) + run("b", 2, end=24, **ON_D2)
             + run("c", 24.2, end=24, driver_id="D3")
             + run("d", 26.2, end=24, driver_id="D4"),
             {"a": "in time", "b": "in time"}),
    "no driver charted":
        Case(two(3, **NO_DRIVER), {"a": "no syringe running"}, {"a": 3},
             {"a": "no_syringe_running"}),
    "two without a driver side by side do not follow each other":
        Case(run("a", end=24, **NO_DRIVER) + run("b", 5, end=24, **NO_DRIVER), {}),
    "the last syringe of a treatment":
        Case(run("a", end=24), {}),
    "charted by ended_at only":
        Case(run("a") + run("b", 24, end=24), {"a": "no syringe running"}, {"a": 1.5},
             {"a": "no_syringe_running"},
             {"a": {"ended_at": after(START, 22.5)}}),
}  # fmt: skip


def lower_rate(name: str, rows: list[Row]) -> None:
    """Set the lower rate where a case is about one."""
    rates = {"a rate set lower": (10, 0.5), "restarted over": (8, 0.45)}
    for words, (hour, rate) in rates.items():
        if name.startswith(words):
            for row in rows:
                late = row["checked_at"] >= after(START, hour)
                if row["infusion_id"] == "a" and late:
                    row["set_rate_ml_h"] = rate


POLICY = policy_with('\n[wards."Cedar Ward"]\nset_by = "test"\ngrace_h = 2.0\n')


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> AuditResult:
    """Audit one log in which each case is a patient, with drivers of its own."""
    checks: list[Row] = []
    table: list[Row] = []
    for number, (name, case) in enumerate(CASES.items()):
        rows = [dict(row) for row in case.rows]
        lower_rate(name, rows)
        mine = f"{number:02}"
        for row in rows:
            row["patient_id"] = f"P{mine}"
            row["infusion_id"] = f"{mine}{row['infusion_id']}"
            driver = row["driver_id"]
            row["driver_id"] = driver and f"{mine}{driver}"
        checks += rows
        for infusion in sorted({str(row["infusion_id"]) for row in rows}):
            own = case.table.get(infusion[2:], {})
            table.append(
                {"infusion_id": infusion, "patient_id": f"P{mine}", "ended_at": None,
                 "end_reason": "completed", "start_volume_ml": 16.0, **own}
            )  # fmt: skip
    return audit(
        tmp_path_factory.mktemp("many"), checks, infusions=table, policy=POLICY
    )


def of(table: pd.DataFrame, number: int) -> pd.DataFrame:
    return table[table["patient_id"] == f"P{number:02}"]


each_case = pytest.mark.parametrize(
    ("number", "case"),
    [pytest.param(n, c, id=name) for n, (name, c) in enumerate(CASES.items())],
)


@each_case
def test_what_becomes_of_each_change(
    many: AuditResult, number: int, case: Case
) -> None:
    units = of(units_of(many, "syringe_changed_in_time"), number)
    found = dict(zip(units["infusion_id"].str[2:], units["outcome"], strict=True))
    assert found == case.outcomes
    tally = {
        "in time": "counted", "no syringe running": "not counted"
    }  # fmt: skip
    wanted = [tally.get(outcome, "excluded") for outcome in units["outcome"]]
    assert units["tally"].tolist() == wanted


@each_case
def test_the_hours_of_each_gap(many: AuditResult, number: int, case: Case) -> None:
    units = of(units_of(many, "gap_hours"), number)
    gaps = units[units["unit_id"].str.endswith("gap")].set_index("infusion_id")
    counted = gaps[gaps["tally"] == "counted"]
    found = {str(name)[2:]: hours for name, hours in counted["numerator"].items()}
    wanted = {
        name: hours
        for name, hours in case.gaps.items()
        if case.outcomes[name] == "no syringe running"
    }
    assert found == pytest.approx(wanted, abs=0.001)


@each_case
def test_what_a_nurse_must_look_at(many: AuditResult, number: int, case: Case) -> None:
    found = of(many.findings, number)
    found = found[found["group"] == "continuity"]
    found = found[found["kind"] != "may_still_be_running"]
    kinds = dict(zip(found["infusion_id"].str[2:], found["kind"], strict=True))
    assert kinds == case.kinds
    hours = found.set_index("infusion_id")["hours_equivalent"].dropna()
    said = {str(name)[2:]: h for name, h in hours.items()}
    assert said == pytest.approx(case.gaps, abs=0.001)


def number_of(words: str) -> int:
    (found,) = (n for n, name in enumerate(CASES) if name == words)
    return found


@pytest.mark.parametrize(
    ("words", "said"),
    [
        pytest.param(
            "the next syringe 3 h after the end row",
            "This syringe ended 2 Jun 10:03 (end row); the patient's next one started "
            "2 Jun 13:03: 3.0 h with no syringe running.",
            id="an end row",
        ),
        pytest.param(
            "no row ends it and the next start is 3 h after it was empty",
            "This syringe was empty by its set rate 2 Jun 10:10; the patient's next "
            "one started 2 Jun 13:03: 2.9 h with no syringe running.",
            id="empty by its rate",
        ),
        pytest.param(
            "an end row at 27 h and the next at once: it was empty from 24 h",
            "This syringe was empty by its set rate 2 Jun 10:10 and ended 2 Jun 13:03 "
            "(end row); the patient's next one started 2 Jun 13:09: 3.0 h with no "
            "syringe running.",
            id="empty by its rate, taken off later",
        ),
        pytest.param(
            "transferred to another ward",
            "This syringe ended 2 Jun 10:03 (end row); the patient's next one started "
            "2 Jun 13:03: 3.0 h with no syringe running, from Alder Ward to Birch "
            "Ward.",
            id="a hand-over gap",
        ),
        pytest.param(
            "charted by ended_at only",
            "This syringe ended 2 Jun 08:33 (ended_at); the patient's next one started "
            "2 Jun 10:03: 1.5 h with no syringe running.",
            id="ended_at",
        ),
        pytest.param(
            "longer than a whole syringe, and no stop charted",
            "This syringe ended 2 Jun 10:03 (end row); the patient's next one started "
            "3 Jun 16:03, 30 h later, longer than a whole syringe lasts. No stop is "
            "charted; a stop and missing rows look the same, so it is not counted.",
            id="a stop that may not be charted",
        ),
        pytest.param(
            "back on another ward after more than a whole syringe",
            "This syringe ended 2 Jun 10:03 (end row); the patient's next one started "
            "3 Jun 16:03, from Alder Ward to Birch Ward, 30 h later, longer than a "
            "whole syringe lasts. No stop is charted; a stop and missing rows look "
            "the same, so it is not counted.",
            id="a stop, or a hand-over, that may not be charted",
        ),
    ],
)
def test_the_sentence_of_a_gap(many: AuditResult, words: str, said: str) -> None:
    found = of(many.findings, number_of(words))
    found = found[found["group"] == "continuity"]
    assert found["sentence"].tolist() == [said]


def test_a_gap_names_the_last_row_of_one_and_the_first_of_the_next(
    many: AuditResult,
) -> None:
    number = number_of("the next syringe 3 h after the end row")
    found = of(many.findings, number)
    found = found[found["kind"] == "no_syringe_running"]
    rows = of(many.readings, number).set_index("source")["entry"].to_dict()
    assert rows[found["first_source"].iloc[0]] == "end"
    assert rows[found["last_source"].iloc[0]] == "start"


def test_a_hand_over_gap_belongs_to_neither_ward(many: AuditResult) -> None:
    number = number_of("transferred to another ward")
    for measure in ("syringe_changed_in_time", "gap_hours"):
        units = of(units_of(many, measure), number)
        excluded = units[units["tally"] == "excluded"]
        assert excluded["ward"].tolist() == ["between wards"]
    found = of(many.findings, number)
    assert set(found.loc[found["group"] == "continuity", "ward"]) == {"between wards"}


def test_hours_of_treatment_are_those_of_syringes_and_of_gaps(
    many: AuditResult,
) -> None:
    units = of(units_of(many, "gap_hours"), number_of("a pause that ended before"))
    # Two syringes of 24 h, the first with a pause of 4 h, and a gap of 3 h.
    assert units["denominator"].tolist() == [20.0, 3.0, 24.0]
    assert units["numerator"].tolist() == [0.0, 3.0, 0.0]


def test_gap_hours_add_up_and_are_given_per_100_treatment_hours(
    many: AuditResult,
) -> None:
    line = whole(many.measures, "gap_hours")
    counted = sum(
        hours
        for case in CASES.values()
        for name, hours in case.gaps.items()
        if case.outcomes[name] == "no syringe running"
    )
    assert line["numerator"] == pytest.approx(counted, abs=0.01)
    (measure,) = (m for m in many.declared if m.name == "gap_hours")
    assert (measure.per, measure.per_unit) == (100, "100 treatment hours")


# Times, wards and the log's edges -----------------------------------------------------


def chain(starts: Sequence[str], ends: Sequence[str], **cells: Any) -> list[Row]:
    """Give syringes with their start, a check and an end row, by local times."""
    rows: list[Row] = []
    for number, (start, end) in enumerate(zip(starts, ends, strict=True)):
        common = {
            "ward": "Alder Ward", "patient_id": "P1", "driver_id": "D1",
            "infusion_id": f"I{number}", "set_rate_ml_h": 0.667, **cells,
        }  # fmt: skip
        rows.append(
            {**common, "entry": "start", "checked_at": start,
             "volume_remaining_ml": 16.0}
        )  # fmt: skip
        rows.append(
            {**common, "entry": "end", "checked_at": end, "volume_remaining_ml": 0.0}
        )
    return rows


def test_a_gap_over_the_night_the_clocks_go_back_is_counted_in_true_hours(
    tmp_path: Path,
) -> None:
    rows = chain(
        ["2026-10-24T00:33", "2026-10-25T02:33"],
        ["2026-10-25T00:33", "2026-10-26T02:33"],
    )
    found = audit(tmp_path, rows)
    # From 00:33 in summer time to 02:33 in winter time are three hours.
    assert whole(found.measures, "gap_hours")["numerator"] == pytest.approx(3)


def test_a_gap_belongs_to_the_month_in_which_delivery_ended(tmp_path: Path) -> None:
    rows = chain(
        ["2026-06-29T21:33", "2026-07-01T03:33"],
        ["2026-06-30T21:33", "2026-07-02T03:33"],
    )
    found = audit(tmp_path, rows)
    (change,) = units_of(found, "syringe_changed_in_time").to_dict("records")
    assert (change["month"], change["outcome"]) == ("2026-06", "no syringe running")
    months = found.findings.set_index("kind")["month"]
    assert months["no_syringe_running"] == "2026-06"


@pytest.mark.parametrize(
    ("hours", "outcome"),
    [
        pytest.param(1, "in time", id="an hour later: the same moment, rounded"),
        pytest.param(2, "no syringe running", id="two hours later"),
    ],
)
def test_a_ward_that_charts_to_the_hour(
    tmp_path: Path, hours: int, outcome: str
) -> None:
    rows = run("a", volumes={h: 16.0 - h * 16 / 24 for h in range(24)}, end=24)
    rows += run("b", 24 + hours, end=24)
    for row in rows:
        row["checked_at"] = str(row["checked_at"]).replace(":03:00", ":00:00")
    found = audit(tmp_path, rows)
    (unit,) = units_of(found, "syringe_changed_in_time").to_dict("records")
    assert unit["outcome"] == outcome


def test_nothing_follows_what_may_still_be_running(tmp_path: Path) -> None:
    rows = run("a", end=24) + run("b", 26)
    found = audit(tmp_path, rows)
    units = units_of(found, "syringe_changed_in_time")
    assert units["infusion_id"].tolist() == ["a"]
    hours = units_of(found, "gap_hours").set_index("unit_id")["denominator"]
    # The second is observed to the end of the log, its own last row, 20 h on.
    assert hours.to_dict() == {"a": 24.0, "a gap": 2.0, "b": 20.0}


def test_an_end_that_is_not_recorded_has_hours_to_its_last_row(tmp_path: Path) -> None:
    rows = run("a", volumes={0: 16.0, 4: 13.3})
    rows += run("z", 200, end=24, patient_id="P2", driver_id="D2")
    hours = units_of(audit(tmp_path, rows), "gap_hours").set_index("unit_id")
    assert hours.loc["a", "denominator"] == 4.0


def test_a_driver_started_for_another_patient_ends_the_syringe(tmp_path: Path) -> None:
    rows = run("a", volumes={0: 16.0, 4: 13.3, 8: 10.7})
    rows += run("z", 12, end=24, patient_id="P2")
    rows += run("b", 17, end=24, driver_id="D3")
    found = audit(tmp_path, rows)
    (unit,) = units_of(found, "syringe_changed_in_time").to_dict("records")
    assert (unit["infusion_id"], unit["outcome"]) == ("a", "no syringe running")
    kinds = found.findings.set_index("kind")
    assert kinds.loc["no_syringe_running", "hours_equivalent"] == 5.0
    assert "next start on its driver" in str(
        kinds.loc["no_syringe_running", "sentence"]
    )


def test_without_rates_or_volumes_the_planned_end_stands_in(tmp_path: Path) -> None:
    rows = run("a", set_rate_ml_h=None) + run("b", 27, end=24, set_rate_ml_h=None)
    for row in rows:
        row["volume_remaining_ml"] = None
    found = audit(tmp_path, rows)
    gap = whole(found.measures, "gap_hours")
    assert gap["numerator"] == pytest.approx(3)


def test_an_infusion_that_nobody_charted_is_no_gap(tmp_path: Path) -> None:
    # The middle syringe stands in the infusions table only.
    rows = run("a", end=24) + run("c", 48, end=24)
    table: list[Row] = [
        {"infusion_id": "b", "patient_id": "P1", "ward": "Alder Ward",
         "driver_id": "D1", "started_at": after(START, 24), "planned_duration_h": 24}
    ]  # fmt: skip
    found = audit(tmp_path, rows, infusions=table)
    changed = whole(found.measures, "syringe_changed_in_time")
    assert (changed["numerator"], changed["units"]) == (2, 2)
    units = units_of(found, "syringe_changed_in_time").set_index("unit_id")
    assert units.loc["b", "first_source"] == "infusions.csv:2"
