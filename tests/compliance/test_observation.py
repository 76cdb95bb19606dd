"""Observed ends: how the end of each infusion is known."""

from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from analysis.audit import AuditResult
from tests.tiny import Row, after, audit, kinds, moment, only, syringe, units_of, whole

DAY = {0: 16.0, 4: 13.3, 8: 10.7, 12: 8.0, 16: 5.3, 20: 2.7}
START = "2026-06-01T10:00"


def next_syringe(hours: float, entry: str = "start", **columns: Any) -> list[Row]:
    """Give the next syringe, so many hours after the first one's start."""
    there = pd.Timestamp(after(START, hours)).tz_localize(None).isoformat()
    return syringe(
        {0: 16.0, 4: 13.3, 24: 0.0},
        start=there,
        entries={0: entry, 24: "end"},
        **{"infusion_id": "I2", **columns},
    )


def first_row(result: AuditResult) -> pd.Series:
    table = result.infusions
    return table[table["infusion_id"] == "I1"].iloc[0]


@pytest.mark.parametrize(
    ("rows", "ended_at", "kind", "hours"),
    [
        pytest.param(
            syringe({**DAY, 24: 0.0}, start=START, entries={24: "end"}),
            None,
            "end row",
            24,
            id="an end row",
        ),
        pytest.param(
            syringe({**DAY, 21: 2.0}, start=START, entries={21: "end"}),
            after(START, 23),
            "end row",
            21,
            id="an end row leads over ended_at",
        ),
        pytest.param(
            syringe(DAY, start=START) + next_syringe(22, "syringe_change"),
            None,
            "syringe change",
            22,
            id="the syringe_change row that begins the next syringe",
        ),
        pytest.param(
            syringe(DAY, start=START) + next_syringe(24.5, "syringe_change"),
            None,
            "syringe change",
            24.5,
            id="a syringe_change row later than planned",
        ),
        pytest.param(
            syringe({**DAY, 23: 0.7}, start=START, entries={23: "syringe_change"}),
            None,
            "syringe change",
            23,
            id="a syringe_change row charted under the old syringe",
        ),
        pytest.param(
            syringe(DAY, start=START),
            after(START, 22.5),
            "ended_at",
            22.5,
            id="ended_at",
        ),
        pytest.param(
            syringe(DAY, start=START) + next_syringe(23),
            after(START, 22.5),
            "ended_at",
            22.5,
            id="ended_at leads over the next start",
        ),
        pytest.param(
            syringe(DAY, start=START) + next_syringe(23),
            None,
            "next start",
            23,
            id="the next start on the same driver",
        ),
        pytest.param(
            syringe(DAY, start=START) + next_syringe(40),
            None,
            "next start",
            24,
            id="the next start is never beyond the planned end",
        ),
        pytest.param(
            syringe({**DAY, 26: 0.0}, start=START) + next_syringe(40),
            None,
            "next start",
            26,
            id="but as late as its rows show it running",
        ),
        pytest.param(
            syringe(DAY, start=START)
            + next_syringe(23, driver_id="D1", patient_id="P2"),
            None,
            "next start",
            23,
            id="the driver's next start may be another patient's",
        ),
        pytest.param(
            syringe(DAY, start=START, driver_id=None)
            + next_syringe(23, driver_id=None),
            None,
            "next start",
            23,
            id="without drivers the patient's next start counts",
        ),
        pytest.param(
            syringe(DAY, start=START, driver_id=None) + next_syringe(23),
            None,
            "next start",
            23,
            id="without a driver it is the patient's next start on whatever driver",
        ),
        pytest.param(
            syringe(DAY, start=START)
            + next_syringe(23, driver_id=None, infusion_id="I2"),
            None,
            "end not recorded",
            20,
            id="with a driver a start without one says nothing",
        ),
        pytest.param(
            syringe(DAY, start=START, driver_id=None)
            + next_syringe(23, driver_id=None, patient_id="P2"),
            None,
            "end not recorded",
            20,
            id="without a driver another patient's start says nothing",
        ),
        pytest.param(
            syringe(DAY, start=START)
            + next_syringe(0, infusion_id="I2")
            + next_syringe(23, infusion_id="I3"),
            None,
            "next start",
            23,
            id="two that started at one moment have the same next start",
        ),
        pytest.param(
            syringe(DAY, start=START)
            + next_syringe(23, driver_id="D2", patient_id="P2"),
            None,
            "end not recorded",
            20,
            id="another patient's driver says nothing",
        ),
        pytest.param(
            syringe({0: 16.0, 4: 13.3}, start=START)
            + syringe(
                {0: 16.0, 8: 10.7},
                start=START,
                patient_id="P2",
                infusion_id="I2",
                driver_id="D2",
            ),
            None,
            "running at the end of the log",
            8,
            id="running when its ward's log ends",
        ),
        pytest.param(
            syringe({0: 16.0, 4: 13.3}, start=START)
            + syringe(
                {0: 16.0, 100: 0.0},
                start=START,
                ward="Birch Ward",
                patient_id="P2",
                infusion_id="I2",
                driver_id="D2",
            ),
            None,
            "running at the end of the log",
            4,
            id="another ward's log may go on longer",
        ),
    ],
)
def test_the_end_is_known_by(
    tmp_path: Path, rows: list[Row], ended_at: str | None, kind: str, hours: float
) -> None:
    table = {
        "infusion_id": "I1",
        "patient_id": "P1",
        "ward": "Alder Ward",
        "started_at": after(START, 0),
        "planned_duration_h": 24,
        "ended_at": ended_at,
    }
    row = first_row(audit(tmp_path, rows, infusions=[table]))
    assert row["end_kind"] == kind
    assert row["observed_end"] == pd.Timestamp(after(START, hours)).tz_convert(
        "Europe/London"
    )


def test_the_log_of_a_ward_ends_with_its_last_row_even_if_nobody_can_place_it(
    tmp_path: Path,
) -> None:
    rows = syringe({0: 16.0, 4: 13.3}, start=START)
    stray = {**rows[1], "infusion_id": None, "driver_id": None}
    stray["checked_at"] = after(START, 10)
    row = first_row(audit(tmp_path, [*rows, stray]))
    assert row["observed_end"] == moment("2026-06-01T20:00")


def test_a_change_half_an_hour_after_the_planned_end_closes_the_last_gap(
    tmp_path: Path,
) -> None:
    found = audit(
        tmp_path, syringe(DAY, start=START) + next_syringe(24.5, "syringe_change")
    )
    units = units_of(found, "checks_on_time")
    mine = units[units["infusion_id"] == "I1"]
    assert mine["outcome"].tolist() == ["on time"] * 6


def test_nothing_is_due_after_an_end_that_is_not_recorded(tmp_path: Path) -> None:
    rows = syringe({0: 16.0, 4: 13.3}, start=START)
    rows += next_syringe(200, driver_id="D2", patient_id="P2")
    found = audit(tmp_path, rows)
    assert first_row(found)["end_kind"] == "end not recorded"
    mine = found.units[found.units["infusion_id"] == "I1"]
    covered = mine[mine["measure"] == "covered_time"]
    assert covered["denominator"].tolist() == [4.0]
    assert kinds(found, "continuity") == []


def test_a_running_infusion_is_named_and_its_open_gap_counts_as_time(
    tmp_path: Path,
) -> None:
    rows = syringe({0: 16.0, 4: 13.3}, start=START)
    rows += syringe(
        {0: 16.0, 4: 13.3, 8: 10.7, 14: 6.7},
        start=START,
        patient_id="P2",
        infusion_id="I2",
        driver_id="D2",
    )
    found = audit(tmp_path, rows)
    running = found.findings[found.findings["kind"] == "may_still_be_running"]
    assert set(running["infusion_id"]) == {"I1", "I2"}
    mine = found.units[found.units["infusion_id"] == "I1"]
    assert mine[mine["measure"] == "covered_time"]["denominator"].sum() == 14
    checks = mine[mine["measure"] == "checks_on_time"]
    # 10 h open: ceil((10 - 0.5) / 4) - 1 = 2 checks missed, none late.
    assert sorted(checks["outcome"]) == ["missed", "missed", "on time"]


def test_rows_after_the_end_are_listed_and_no_check_is_due_for_them(
    tmp_path: Path,
) -> None:
    rows = syringe({**DAY, 21: 2.0, 25: 2.0, 29: 2.0}, start=START, entries={21: "end"})
    found = audit(tmp_path, rows)
    assert kinds(found) == ["row_after_end", "row_after_end"]
    assert units_of(found, "covered_time")["denominator"].sum() == 21


def test_rows_after_another_patient_began_on_the_driver_say_so(tmp_path: Path) -> None:
    volumes = {0: 16.0, 4: 13.3, 8: 10.7}
    rows = syringe(volumes, start=START)
    rows += syringe(
        volumes,
        start=after(START, 6)[:16],
        patient_id="P2",
        infusion_id="I2",
    )
    sentence = only(audit(tmp_path, rows), "row_after_end")["sentence"]
    assert "when driver D1 was started for another patient: one of the times, or" in (
        sentence
    )
    ended = syringe({**volumes, 12: 8.0}, start=START, entries={8: "end"})
    sentence = only(audit(tmp_path / "end", ended), "row_after_end")["sentence"]
    assert "driver" not in sentence


def test_two_rows_at_one_moment_after_the_end_are_two_findings(tmp_path: Path) -> None:
    rows = syringe({0: 16.0, 4: 13.3, 8: 13.0}, start=START, entries={4: "end"})
    rows.append({**rows[2], "volume_remaining_ml": 12.9})
    found = audit(tmp_path, rows)
    assert kinds(found) == ["near_duplicate", "row_after_end", "row_after_end"]
    assert found.findings["finding_id"].is_unique


def test_an_end_before_its_start_is_not_believed(tmp_path: Path) -> None:
    table = {
        "infusion_id": "I1",
        "patient_id": "P1",
        "started_at": after(START, 0),
        "ended_at": after(START, -3),
    }
    rows = syringe(DAY, start=START) + next_syringe(23)
    row = first_row(audit(tmp_path, rows, infusions=[table]))
    assert row["end_kind"] == "next start"


def test_an_infusion_without_rows_ends_where_the_next_one_starts(
    tmp_path: Path,
) -> None:
    table = {
        "infusion_id": "I1",
        "patient_id": "P1",
        "ward": "Alder Ward",
        "driver_id": "D1",
        "started_at": after(START, 0),
        "planned_duration_h": 24,
    }
    found = audit(tmp_path, next_syringe(20), infusions=[table])
    row = first_row(found)
    assert (row["end_kind"], row["checks"]) == ("next start", 0)
    assert row["observed_end"] == moment("2026-06-02T06:00")
    assert (row["evaluable"], row["reason"]) == ("no", "no volume reading")


def test_a_row_dated_a_month_late_does_not_outlast_the_next_start(
    tmp_path: Path,
) -> None:
    def row(infusion: str, entry: str, at: str) -> Row:
        return {
            "ward": "Alder Ward",
            "patient_id": "P1",
            "infusion_id": infusion,
            "driver_id": "D1",
            "entry": entry,
            "checked_at": at,
            "volume_remaining_ml": None,
        }

    rows = [
        row("I1", "start", "2026-06-01T10:00"),
        row("I1", "check", "2026-06-01T14:00"),
        row("I1", "check", "2026-07-01T18:00"),
        row("I2", "start", "2026-06-02T10:00"),
        row("I2", "end", "2026-06-03T10:00"),
    ]
    result = audit(tmp_path, rows)
    first = result.infusions.set_index("infusion_id").loc["I1"]
    assert first["end_kind"] == "next start"
    assert f"{first['observed_end']:%Y-%m-%dT%H:%M}" == "2026-06-02T10:00"
    assert only(result, "row_after_end")["first_source"].endswith(":4")


# Gaps at the end of an infusion ------------------------------------------------------


@pytest.mark.parametrize(
    ("rows", "wards"),
    [
        pytest.param(
            next_syringe(22, "syringe_change", ward="Birch Ward"),
            ["between wards"],
            id="a syringe_change row on another ward is a hand-over",
        ),
        pytest.param(
            next_syringe(22, "start", ward="Birch Ward"),
            ["between wards"],
            id="so is a next start of the patient on another ward",
        ),
        pytest.param(
            next_syringe(30, "start", ward="Birch Ward"),
            ["between wards"],
            id="also where that came after the planned end",
        ),
        pytest.param(
            next_syringe(22, "syringe_change"), ["Alder Ward"], id="not on the same"
        ),
        pytest.param(
            next_syringe(22, "start", ward="Birch Ward", patient_id="P2"),
            ["Alder Ward"],
            id="nor where another patient has the driver next",
        ),
    ],
)
def test_the_last_gap_across_a_transfer_belongs_to_neither_ward(
    tmp_path: Path, rows: list[Row], wards: list[str]
) -> None:
    found = audit(tmp_path, syringe(DAY, start=START) + rows)
    for measure in ("covered_time", "checks_on_time"):
        units = units_of(found, measure)
        last = units[units["infusion_id"] == "I1"].sort_values("due_at").tail(1)
        if measure == "covered_time" or wards == ["between wards"]:
            assert last["ward"].tolist() == wards
            is_excluded = last["reason"] == "hand-over between wards"
            assert is_excluded.tolist() == [wards == ["between wards"]]
    old = whole(found.measures, "covered_time", "Alder Ward")
    # Up to its last row, at 20 h, the old ward had it.
    assert old["denominator"] >= 20


def test_a_death_ends_what_is_due(tmp_path: Path) -> None:
    # Trap: died at 9 h with 10 mL left. Checks were due at 4 and 8 h, and no more.
    table = {
        "infusion_id": "I1",
        "patient_id": "P1",
        "ward": "Alder Ward",
        "ended_at": after(START, 9),
        "end_reason": "died",
    }
    rows = syringe({0: 16.0, 4: 13.3, 8: 10.7}, start=START)
    rows += next_syringe(30, patient_id="P2", driver_id="D2")
    found = audit(tmp_path, rows, infusions=[table])
    units = units_of(found, "checks_on_time")
    assert units.loc[units["infusion_id"] == "I1", "outcome"].tolist() == [
        "on time",
        "on time",
    ]
    mine = found.findings[found.findings["infusion_id"] == "I1"]
    assert mine["group"].tolist() == []


def test_each_infusion_has_one_end_and_its_last_gap_counts_once(tmp_path: Path) -> None:
    # The first ends with the next start, the last is not recorded: 23 h and 4 h.
    rows = syringe(DAY, start=START) + next_syringe(23)[:2]
    rows += next_syringe(200, patient_id="P9", driver_id="D9", infusion_id="I9")
    found = audit(tmp_path, rows)
    kinds_of_end = found.infusions.set_index("infusion_id")["end_kind"].to_dict()
    assert kinds_of_end == {
        "I1": "next start", "I2": "end not recorded", "I9": "end row"
    }  # fmt: skip
    units = units_of(found, "covered_time").groupby("infusion_id")["denominator"]
    assert units.sum().to_dict() == {"I1": 23.0, "I2": 4.0, "I9": 24.0}
    assert units_of(found, "covered_time")["unit_id"].is_unique
