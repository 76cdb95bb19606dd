"""Checks on time and covered time: rules of the design, worked by hand."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from tests.tiny import (
    Row,
    after,
    audit,
    kinds,
    moment,
    only,
    policy_but,
    policy_with,
    syringe,
    units_of,
    whole,
)


def round_of(*hours: float, end: bool = True, **columns: Any) -> list[Row]:
    """Give checks at these hours of a reference infusion; the last is an end row."""
    volumes = {h: round(max(16 - h * 16 / 24, 0), 1) for h in hours}
    entries = {hours[-1]: "end"} if end else {}
    return syringe(volumes, entries=entries, set_rate_ml_h=0.667, **columns)


WORKED = (0, 0.5, 4 + 10 / 60, 8 + 55 / 60, 12 + 20 / 60, 20.5, 24)


@pytest.mark.parametrize(
    ("grace", "on_time", "covered_h", "printed"),
    [
        # Trade worked example: gaps 0.50, 3.67, 4.75, 3.42, 8.17, 3.50 h.
        pytest.param(0.5, 4, 20.0833, 83.7, id="grace 0.5 h: 4 of 6, 83.7 per cent"),
        pytest.param(1.0, 5, 20.8333, 86.8, id="grace 1 h: 5 of 6"),
        pytest.param(0.0, 4, 19.0833, 79.5, id="grace 0 h: covered 79.5 per cent"),
    ],
)
def test_the_worked_example_of_gaps(
    tmp_path: Path, grace: float, on_time: int, covered_h: float, printed: float
) -> None:
    found = audit(tmp_path, round_of(*WORKED), policy=policy_but(grace_h=grace))
    covered = whole(found.measures, "covered_time")
    assert covered["numerator"] == pytest.approx(covered_h, abs=5e-4)
    assert covered["denominator"] == pytest.approx(24)
    assert 100 * covered["proportion"] == pytest.approx(printed, abs=0.05)
    checks = whole(found.measures, "checks_on_time")
    # At grace 0 the gap of 8.17 h holds ceil(8.17 / 4) - 1 = 2 checks not on time.
    judged = 7 if grace == 0 else 6
    assert (checks["numerator"], checks["denominator"]) == (on_time, judged)
    also = whole(found.measures, "checks_on_time_grace_1.0")
    assert (also["numerator"], also["denominator"]) == (5, 6)


MINUTE = 1 / 60


@pytest.mark.parametrize(
    ("gap", "outcomes"),
    [
        pytest.param(0.25, ["on time"], id="an early look is a check on time"),
        pytest.param(4.5, ["on time"], id="exactly interval and grace is on time"),
        pytest.param(4.5 + MINUTE, ["late"], id="a minute more is late"),
        pytest.param(6.65, ["late"], id="2.65 h overdue is late"),
        pytest.param(6.67, ["missed"], id="2.67 h overdue is missed"),
        pytest.param(8.5, ["missed"], id="8.5 h holds one missed check"),
        pytest.param(
            8.5 + MINUTE,
            ["late", "missed"],
            id="8.5 h and a minute: one missed, one late",
        ),
        pytest.param(
            12.4, ["missed", "missed"], id="12.4 h holds two, the last 4.4 h overdue"
        ),
        pytest.param(
            13.0, ["late", "missed", "missed"], id="13 h holds two missed and one late"
        ),
    ],
)
def test_a_gap_that_a_check_closes(
    tmp_path: Path, gap: float, outcomes: list[str]
) -> None:
    found = audit(tmp_path, round_of(0, gap))
    units = units_of(found, "checks_on_time")
    assert sorted(units["outcome"]) == outcomes
    # However many were missed in it, a gap is one thing to look at.
    assert kinds(found, "check") == ["check_missed"] * ("missed" in outcomes)


@pytest.mark.parametrize(
    ("gap", "outcomes"),
    [
        pytest.param(4.5, [], id="a short last gap counts nothing"),
        pytest.param(4.6, ["missed"], id="a longer one holds a missed check"),
        pytest.param(9.0, ["missed", "missed"], id="9 h hold two, never late"),
    ],
)
def test_a_last_gap_that_no_check_closes(
    tmp_path: Path, gap: float, outcomes: list[str]
) -> None:
    rows = round_of(0, 4, end=False)
    ended = {
        "infusion_id": "I1",
        "patient_id": "P1",
        "ward": "Alder Ward",
        "ended_at": after("2026-06-01T14:03", gap),
        "end_reason": "stopped",
    }
    found = audit(tmp_path, rows, infusions=[ended])
    units = units_of(found, "checks_on_time")
    assert sorted(units["outcome"].iloc[1:]) == outcomes
    covered = whole(found.measures, "covered_time")
    assert covered["denominator"] == pytest.approx(4 + gap)
    assert covered["numerator"] == pytest.approx(4 + min(gap, 4.5))


@pytest.mark.parametrize(
    ("gap", "said"),
    [
        pytest.param(
            6.67, "No check is charted near the one due 1 Jun 14:03.", id="one missed"
        ),
        pytest.param(
            12.4,
            "No check is charted near the 2 due from 1 Jun 14:03 to 1 Jun 18:03.",
            id="two missed",
        ),
        pytest.param(
            13.0,
            "No check is charted near the 2 due from 1 Jun 14:03 to 1 Jun 18:03.",
            id="two missed and a third late: the late one is not among them",
        ),
    ],
)
def test_the_finding_of_a_gap_says_how_many_checks_are_missing(
    tmp_path: Path, gap: float, said: str
) -> None:
    found = only(audit(tmp_path, round_of(0, gap)), "check_missed")
    assert found["sentence"] == said
    assert found["began_earliest"] == moment("2026-06-01T14:03")
    assert found["hours_equivalent"] == pytest.approx(gap, abs=0.01)
    sources = (found["first_source"], found["last_source"])
    assert sources == ("checks.csv:2", "checks.csv:3")


def test_the_finding_of_a_gap_keeps_its_id_when_a_check_closes_it(
    tmp_path: Path,
) -> None:
    rows = round_of(0, 4, end=False)
    rows += syringe({0: 16.0, 20: 2.7}, patient_id="P2", infusion_id="I2")
    open_ = audit(tmp_path / "a", rows).findings
    closed = audit(tmp_path / "b", [*rows, *round_of(0, 4, 21)[2:]]).findings
    first, second = (
        set(f.loc[(f["kind"] == "check_missed") & (f["infusion_id"] == "I1")]
            ["finding_id"])
        for f in (open_, closed)
    )  # fmt: skip
    assert first == second
    assert len(first) == 1


UNPLACED = " A row that could not be placed, checks.csv:4, lies in this gap."


UNPLACED = " A row that could not be placed, checks.csv:4, lies in this gap."


@pytest.mark.parametrize(
    ("cells", "hour", "said"),
    [
        pytest.param({}, 5, UNPLACED, id="its ward is blank"),
        pytest.param(
            {"infusion_id": None}, 5, UNPLACED,
            id="ward and infusion are blank, the patient is the same",
        ),
        pytest.param({}, 14, "", id="it lies after the gap"),
        pytest.param({"infusion_id": "I7"}, 5, "", id="it is of another infusion"),
        pytest.param(
            {"infusion_id": None, "patient_id": "P7"}, 5, "",
            id="it is of another patient",
        ),
    ],
)  # fmt: skip
def test_a_rejected_row_in_the_gap_is_named(
    tmp_path: Path, cells: Row, hour: float, said: str
) -> None:
    rows = round_of(0, 12, 15.9, 16)
    # An infusion on two wards: nobody can tell the ward of a row without one.
    rows[-1]["ward"] = "Birch Ward"
    stray = {**round_of(0, hour)[1], "entry": "check", "ward": None, **cells}
    found = audit(tmp_path, [*rows[:2], stray, *rows[2:]])
    assert found.rejected["source"].tolist() == ["checks.csv:4"]
    sentence = only(found, "check_missed")["sentence"]
    gap = "No check is charted near the 2 due from 1 Jun 14:03 to 1 Jun 18:03."
    assert sentence == gap + said


MAY_LIE = " A row whose time cannot be read, checks.csv:3, may lie in this gap."


@pytest.mark.parametrize(
    ("place", "cells", "said"),
    [
        pytest.param(1, {}, MAY_LIE, id="between the two rows of the gap"),
        pytest.param(1, {"infusion_id": None}, MAY_LIE, id="its infusion is blank too"),
        pytest.param(0, {}, "", id="before the first"),
        pytest.param(2, {}, "", id="after the second"),
        pytest.param(1, {"infusion_id": "I7"}, "", id="of another infusion"),
    ],
)
def test_a_row_without_a_readable_time_may_lie_in_the_gap_it_stands_in(
    tmp_path: Path, place: int, cells: Row, said: str
) -> None:
    rows = round_of(0, 12, 16)
    stray = {**rows[1], "checked_at": "night round", **cells}
    found = audit(tmp_path, [*rows[:place], stray, *rows[place:]])
    sentence = only(found, "check_missed")["sentence"]
    gap = "No check is charted near the 2 due from 1 Jun 14:03 to 1 Jun 18:03."
    assert sentence == gap + said


def test_a_row_without_a_readable_time_after_the_last_may_lie_in_an_open_gap(
    tmp_path: Path,
) -> None:
    rows = round_of(0, 4, end=False)
    rows.append({**rows[1], "checked_at": "night round"})
    rows += syringe({0: 16.0, 20: 2.7}, patient_id="P2", infusion_id="I2")
    found = audit(tmp_path, rows).findings
    mine = found[(found["infusion_id"] == "I1") & (found["kind"] == "check_missed")]
    assert "time cannot be read, checks.csv:4, may lie" in mine["sentence"].iloc[0]


def test_several_rejected_rows_in_a_gap_are_all_named(tmp_path: Path) -> None:
    rows = round_of(0, 5, 6, 12, 15.9, 16)
    rows[-1]["ward"] = "Birch Ward"
    rows[1]["ward"] = rows[2]["ward"] = None
    sentence = only(audit(tmp_path, rows), "check_missed")["sentence"]
    said = " Rows that could not be placed, checks.csv:3, checks.csv:4, lie in this gap"
    assert said in sentence


def test_a_check_falls_into_the_month_in_which_it_was_due(tmp_path: Path) -> None:
    rows = syringe(
        {0: 16.0, 4: 13.3, 9: 10.0, 12: 8.0},
        start="2026-06-30T18:00",
        entries={12: "end"},
    )
    units = units_of(audit(tmp_path, rows), "checks_on_time").sort_values("due_at")
    assert units["month"].tolist() == ["2026-06", "2026-07", "2026-07"]
    assert units["outcome"].tolist() == ["on time", "late", "on time"]
    assert units["due_at"].iloc[1] == moment("2026-07-01T02:00")


def test_extra_checks_do_not_flatter_covered_time(tmp_path: Path) -> None:
    plain = audit(tmp_path / "a", round_of(0, 4, 12, 16))
    extra = audit(tmp_path / "b", round_of(0, 0.2, 0.4, 0.6, 4, 12, 15.8, 16))
    first, second = (whole(r.measures, "covered_time") for r in (plain, extra))
    assert first["proportion"] == pytest.approx(12.5 / 16)
    assert second["proportion"] == pytest.approx(first["proportion"])


@pytest.mark.parametrize(
    ("own", "outcomes"),
    [
        pytest.param("check_interval_h = 8.0", ["on time"] * 2, id="its own interval"),
        pytest.param("grace_h = 2.0", ["on time"] * 2, id="its own grace"),
        pytest.param("missed_after_h = 1.5", ["missed"] * 2, id="its own missed limit"),
        pytest.param('check_interval_h = "none"', ["no rule set"] * 2, id="no rule"),
    ],
)
def test_the_ward_where_the_check_was_due_decides(
    tmp_path: Path, own: str, outcomes: list[str]
) -> None:
    policy = policy_with(f'\n[wards."Birch Ward"]\nset_by = "test"\n{own}\n')
    rows = round_of(0, 6, 12) + round_of(
        0, 6, 12, ward="Birch Ward", patient_id="P2", infusion_id="I2", driver_id="D2"
    )
    units = units_of(audit(tmp_path, rows, policy=policy), "checks_on_time")
    mine, other = (units[units["ward"] == w] for w in ("Birch Ward", "Alder Ward"))
    assert mine["outcome"].tolist() == outcomes
    assert other["outcome"].tolist() == ["late", "late"]


def test_two_rows_at_one_moment_are_one_visit(tmp_path: Path) -> None:
    rows = round_of(0, 4, 8)
    twin = {**rows[1], "volume_remaining_ml": 13.4}
    found = audit(tmp_path, [*rows[:2], twin, rows[2]])
    assert whole(found.measures, "checks_on_time")["denominator"] == 2
    assert whole(found.measures, "covered_time")["units"] == 2


def test_a_check_without_a_volume_is_still_a_check(tmp_path: Path) -> None:
    rows = round_of(0, 4, 8)
    rows[1]["volume_remaining_ml"] = None
    found = audit(tmp_path, rows)
    assert whole(found.measures, "checks_on_time")["numerator"] == 2


def test_a_pause_that_a_plain_check_finds_on_stays_out(tmp_path: Path) -> None:
    rows = syringe(
        {0: 16.0, 4: 13.3, 6: 13.3, 8: 13.3, 12: 10.7},
        entries={4: "pause", 8: "resume", 12: "end"},
    )
    found = audit(tmp_path, rows)
    covered = whole(found.measures, "covered_time")
    assert (covered["denominator"], covered["excluded"]) == (8.0, 2)


@pytest.mark.parametrize(
    ("patients", "has_interval"),
    [
        pytest.param(9, False, id="nine patients: hours have no interval"),
        pytest.param(10, True, id="ten patients: hours have one"),
    ],
)
def test_covered_time_has_an_interval_from_ten_patients(
    tmp_path: Path, patients: int, *, has_interval: bool
) -> None:
    each: Mapping[int, tuple[float, ...]] = {0: (0, 4, 8), 1: (0, 8, 16)}
    rows = [
        row
        for n in range(patients)
        for row in round_of(
            *each[n % 2], patient_id=f"P{n}", infusion_id=f"I{n}", driver_id=f"D{n}"
        )
    ]
    covered = whole(audit(tmp_path, rows).measures, "covered_time")
    assert covered[["low", "high"]].notna().all() == has_interval
    assert covered["patients"] == patients
    if has_interval:
        assert covered["low"] < covered["proportion"] < covered["high"]


def test_a_gap_without_a_rule_and_a_check_due_at_its_beginning_are_two_units(
    tmp_path: Path,
) -> None:
    policy = policy_with(
        '\n[wards."Birch Ward"]\nset_by = "t"\ncheck_interval_h = "none"\n'
    )
    rows = round_of(0, 4, 8)
    for row in rows[1:]:
        row["ward"] = "Birch Ward"
    units = units_of(audit(tmp_path, rows, policy=policy), "checks_on_time")
    assert sorted(units["outcome"]) == ["hand-over between wards", "no rule set"]
    assert units["unit_id"].is_unique
