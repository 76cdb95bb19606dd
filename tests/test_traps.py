"""Trap cases of the trade: the answer a spreadsheet gives is wrong, this one is right.

The numbers are the traps of the project's trade facts (arithmetic of an invented
reference infusion: 16.0 mL over 24 h).
"""

from pathlib import Path
from typing import Any

import pytest

from analysis.policy import Policy
from tests.tiny import (
    POLICY,
    Row,
    after,
    audit,
    kinds,
    moment,
    only,
    policy_with,
    syringe,
    units_of,
    whole,
)

REFERENCE = {0: 16.0, 4: 13.3, 8: 10.7, 12: 8.0, 16: 5.3, 20: 2.7, 24: 0.0}
CLOSED = {24: "end"}


def test_trap_1_a_line_at_62_h_when_the_log_ends_is_neither_in_time_nor_late(
    tmp_path: Path,
) -> None:
    rows = [
        row
        for day in range(3)
        for row in syringe(
            REFERENCE if day < 2 else {0: 16.0, 4: 13.3, 8: 10.7, 12: 8.0, 14: 6.7},
            start=f"2026-04-{28 + day}T10:00",
            entries=CLOSED,
            infusion_id=f"I{day}",
            line_id="XS1",
        )
    ]
    fitted = {
        "line_id": "XS1",
        "patient_id": "P1",
        "ward": "Alder Ward",
        "kind": "extension_set",
        "inserted_at": "2026-04-28T10:00",
    }
    still = audit(tmp_path / "april", rows, lines=[fitted])
    line = whole(still.measures, "lines_changed_in_time")
    assert (line["units"], line["denominator"], line["excluded"]) == (1, 0, 1)
    (unit,) = units_of(still, "lines_changed_in_time").to_dict("records")
    assert (unit["outcome"], unit["reason"]) == ("undecided", "undecided")

    changed = {**fitted, "removed_at": "2026-05-01T09:00", "removal_reason": "routine"}
    rows += syringe(
        {0: 16.0, 4: 13.3}, start="2026-05-01T10:00", infusion_id="I3", line_id="XS2"
    )
    later = audit(tmp_path / "may", rows, lines=[changed])
    units = units_of(later, "lines_changed_in_time").set_index("unit_id")
    assert units.loc["XS1", "outcome"] == "in time"
    assert units.loc["XS1", "month"] == "2026-05"


def test_trap_2_a_value_carried_down_is_a_doubtful_reading_and_nothing_missed(
    tmp_path: Path,
) -> None:
    volumes = {**REFERENCE, 8: 13.3}
    found = audit(tmp_path, syringe(volumes, entries=CLOSED))
    assert kinds(found) == ["doubtful_reading"]
    slip = only(found, "doubtful_reading")
    assert slip["group"] == "charting"
    assert slip["first_visible"] == moment("2026-06-01T18:03")
    assert "13.3" in slip["sentence"]
    assert found.infusions["kind"].tolist() == [""]
    assert found.readings["doubtful"].tolist().count("yes") == 1


def local_rows(times: dict[str, float], **columns: Any) -> list[Row]:
    return [
        {
            "ward": "Alder Ward",
            "patient_id": "P1",
            "infusion_id": "I1",
            "driver_id": "D1",
            "set_rate_ml_h": 0.667,
            "entry": "check" if i else "start",
            "checked_at": time,
            "volume_remaining_ml": volume,
            **columns,
        }
        for i, (time, volume) in enumerate(times.items())
    ]


# IANA tz database, rule EU: London 2026-03-29 01:00 to 02:00 and 2026-10-25 02:00 to
# 01:00. Wanted: elapsed and expected at the last row, the night's gap, the end.
@pytest.mark.parametrize(
    ("times", "wanted"),
    [
        pytest.param(
            {
                "2026-10-24T20:00": 16.0,
                "2026-10-25T00:00": 13.3,
                "2026-10-25T04:00": 10.0,
                "2026-10-25T08:00": 7.3,
            },
            (13.0, 7.33, 5.0, "2026-10-25T19:00"),
            id="13 h from 20:00 to 08:00 when clocks go back",
        ),
        pytest.param(
            {
                "2026-03-28T20:00": 16.0,
                "2026-03-29T00:00": 13.3,
                "2026-03-29T04:00": 11.3,
                "2026-03-29T08:00": 8.7,
            },
            (11.0, 8.66, 3.0, "2026-03-29T21:00"),
            id="11 h from 20:00 to 08:00 when clocks go forward",
        ),
    ],
)
def test_trap_3_elapsed_hours_are_true_over_a_clock_change(
    tmp_path: Path, times: dict[str, float], wanted: tuple[float, float, float, str]
) -> None:
    elapsed, expected, night_gap, ends = wanted
    rows = local_rows(times)
    # A ward colleague whose chart goes on keeps the log open past the planned end.
    rows += local_rows({"2026-11-02T10:00": 16.0}, patient_id="P2", infusion_id="I2")
    rows[-1]["driver_id"] = "D2"
    follow = local_rows({"2026-10-26T20:00": 16.0}, infusion_id="I3", driver_id="D1")
    found = audit(tmp_path, rows + follow)
    last = found.readings[found.readings["infusion_id"] == "I1"].iloc[-1]
    assert last["elapsed_h"] == elapsed
    assert last["expected_ml"] == pytest.approx(expected, abs=0.01)
    assert abs(last["residual_ml"]) < 0.05
    assert kinds(found, "delivery") == []
    assert kinds(found, "charting") == []
    covered = units_of(found, "covered_time")
    covered = covered[covered["infusion_id"] == "I1"].sort_values("due_at")
    assert covered["denominator"].iloc[1] == night_gap
    end = found.infusions.set_index("infusion_id").loc["I1", "observed_end"]
    assert end == moment(ends)


def test_trap_3_the_hour_that_comes_twice_is_told_apart_by_its_offset(
    tmp_path: Path,
) -> None:
    rows = local_rows(
        {
            "2026-10-24T20:00+01:00": 16.0,
            "2026-10-25T01:30+01:00": 12.3,
            "2026-10-25T01:30+00:00": 11.7,
        }
    )
    found = audit(tmp_path, rows)
    assert found.readings["elapsed_h"].tolist() == [0.0, 5.5, 6.5]


@pytest.mark.parametrize(
    "has_ids",
    [
        pytest.param(True, id="infusion ids charted"),
        pytest.param(False, id="infusion ids derived"),
    ],
)
@pytest.mark.parametrize(
    "entry",
    [
        pytest.param("syringe_change", id="with a syringe_change row"),
        pytest.param("start", id="with a start row"),
    ],
)
def test_trap_4_a_syringe_changed_at_20_h_is_two_infusions_without_a_finding(
    tmp_path: Path, *, has_ids: bool, entry: str
) -> None:
    first = {hour: volume for hour, volume in REFERENCE.items() if hour < 20}
    second = syringe(
        REFERENCE,
        start="2026-06-02T06:03",
        entries={0: entry, 24: "end"},
        infusion_id="I2",
    )
    rows = syringe({**first, 19: 3.3}) + second
    if not has_ids:
        rows = [{**row, "infusion_id": None} for row in rows]
    found = audit(tmp_path, rows)
    infusions = found.infusions.sort_values("started_at")
    assert len(infusions) == 2
    assert kinds(found) == []
    assert infusions["observed_end"].iloc[0] == moment("2026-06-02T06:03")
    wanted = {"syringe_change": "syringe change", "start": "next start"}[entry]
    assert infusions["end_kind"].iloc[0] == wanted
    assert infusions["flow_factor"].iloc[0] == pytest.approx(1.0, abs=0.02)


def test_trap_4_what_the_next_syringe_holds_is_no_reading_of_the_one_before(
    tmp_path: Path,
) -> None:
    first = {hour: volume for hour, volume in REFERENCE.items() if hour < 20}
    rows = syringe({**first, 20: 16.0}, entries={20: "syringe_change"})
    rows += syringe(
        REFERENCE, start="2026-06-02T06:03", entries=CLOSED, infusion_id="I2"
    )
    found = audit(tmp_path, rows)
    assert kinds(found) == []
    residual = found.readings.set_index("source")["residual_ml"]
    assert residual.isna().tolist() == [row is rows[5] for row in rows]


def test_trap_4_a_syringe_change_without_its_row_is_split_by_the_volume(
    tmp_path: Path,
) -> None:
    rows = syringe({**REFERENCE, 20: 16.0, 24: 13.3}, infusion_id=None)
    found = audit(tmp_path, rows)
    assert len(found.infusions) == 2
    assert kinds(found, "delivery") == []


def test_trap_5_a_rate_change_part_way_is_followed_piece_by_piece(
    tmp_path: Path,
) -> None:
    volumes = {0: 16.0, 4: 13.3, 8: 10.7, 10: 9.3, 14: 7.3, 20: 4.3}
    rows = syringe(volumes, set_rate_ml_h=0.667, entries={10: "rate_change", 20: "end"})
    for row in rows[3:]:
        row["set_rate_ml_h"] = 0.50
    found = audit(tmp_path, rows)
    assert found.readings["expected_ml"].iloc[-1] == pytest.approx(4.33, abs=0.005)
    assert found.readings["sd_ml"].iloc[-1] < 0.5
    assert kinds(found, "delivery") == []


@pytest.mark.parametrize(
    "rows_after",
    [
        pytest.param(0, id="nothing charted afterwards"),
        pytest.param(1, id="one row charted after the death"),
    ],
)
def test_trap_9_after_a_death_at_9_h_no_check_is_due_and_the_residue_is_waste(
    tmp_path: Path, rows_after: int
) -> None:
    volumes: dict[Any, float | None] = {0: 16.0, 4: 13.3, 8: 10.7}
    if rows_after:
        volumes[12] = 10.0
    rows = syringe(volumes, line_id="XS1")
    rows += syringe(
        REFERENCE, start="2026-06-03T10:00", infusion_id="I9", driver_id="D9",
        patient_id="P9",
    )  # fmt: skip
    died = {
        "infusion_id": "I1",
        "ward": "Alder Ward",
        "patient_id": "P1",
        "driver_id": "D1",
        "started_at": after("2026-06-01T10:03", 0),
        "planned_duration_h": 24,
        "start_volume_ml": 16.0,
        "ended_at": after("2026-06-01T10:03", 9),
        "end_reason": "died",
    }
    line = {
        "line_id": "XS1",
        "patient_id": "P1",
        "ward": "Alder Ward",
        "kind": "extension_set",
        "inserted_at": "2026-06-01T10:00",
        "removed_at": "2026-06-01T19:30",
        "removal_reason": "died",
    }
    found = audit(tmp_path, rows, infusions=[died], lines=[line])
    mine = found.units[found.units["infusion_id"] == "I1"]
    checks = mine[mine["measure"] == "checks_on_time"]
    assert checks["outcome"].tolist() == ["on time", "on time"]
    assert checks["due_at"].tolist() == [
        moment("2026-06-01T14:03"),
        moment("2026-06-01T18:03"),
    ]
    assert mine[mine["measure"] == "covered_time"]["denominator"].sum() == 9.0
    (unit,) = units_of(found, "lines_changed_in_time").to_dict("records")
    assert unit["outcome"] == "never due"
    own = found.findings[found.findings["patient_id"] == "P1"]
    assert own["kind"].tolist() == ["row_after_end"] * rows_after
    row = found.infusions.set_index("infusion_id").loc["I1"]
    assert (row["end_kind"], row["kind"]) == ("ended_at", "")


@pytest.mark.parametrize(
    ("prime", "findings"),
    [
        pytest.param(0.5, [], id="half a millilitre is within what a start may be off"),
        pytest.param(1.2, ["start_offset"], id="1.2 mL is named as priming"),
    ],
)
def test_trap_10_priming_counted_in_the_start_volume_is_not_over_delivery(
    tmp_path: Path, prime: float, findings: list[str]
) -> None:
    true = {0: 16.0, 1: 15.33, 4: 13.33, 8: 10.67, 12: 8.0, 16: 5.33, 20: 2.67}
    volumes = {h: round(v - prime, 1) if h else v for h, v in true.items()}
    rows = syringe(volumes, set_rate_ml_h=0.667)
    rows += syringe({0: 16.0}, start="2026-06-02T09:10", infusion_id="I2")
    found = audit(tmp_path, rows)
    assert kinds(found, "delivery") == []
    assert kinds(found, "charting") == []
    assert kinds(found, "set_up") == findings
    if findings:
        offset = only(found, "start_offset")
        assert "priming" in offset["sentence"]
        assert offset["volume_ml"] == pytest.approx(prime, abs=0.15)


@pytest.mark.parametrize(
    ("fitted", "removed", "outcome"),
    [
        pytest.param(
            "2026-04-30", "2026-05-03", "indeterminate", id="3 days are 48 to 96 h"
        ),
        pytest.param("2026-04-30", "2026-05-02", "in time", id="2 days are under 72 h"),
        pytest.param("2026-04-30", "2026-05-04", "overdue", id="4 days are over 72 h"),
        pytest.param(
            "2026-10-22", "2026-10-26", "overdue", id="4 days over the clock change"
        ),
        pytest.param(
            "2026-04-30T12:00",
            "2026-05-03T12:00",
            "in time",
            id="changed exactly at the limit",
        ),
        pytest.param(
            "2026-04-30T12:00",
            "2026-05-03T12:01",
            "overdue",
            id="changed one minute after the limit",
        ),
    ],
)
def test_trap_11_dates_alone_are_a_span_and_not_a_time(
    tmp_path: Path, fitted: str, removed: str, outcome: str
) -> None:
    line = {
        "line_id": "XS1",
        "patient_id": "P1",
        "ward": "Alder Ward",
        "kind": "extension_set",
        "inserted_at": fitted,
        "removed_at": removed,
        "removal_reason": "routine",
    }
    rows = syringe(REFERENCE, start=f"{fitted[:10]}T08:00", entries=CLOSED)
    found = audit(tmp_path, rows, lines=[line])
    (unit,) = units_of(found, "lines_changed_in_time").to_dict("records")
    assert unit["outcome"] == outcome
    assert (
        unit["tally"]
        == {
            "in time": "counted",
            "overdue": "not counted",
            "indeterminate": "excluded",
        }[outcome]
    )


def home_team() -> Policy:
    return policy_with(
        '\n[wards."Alder Ward"]\nset_by = "test"\ncheck_interval_h = "none"\n'
    )


def test_trap_12_a_community_team_without_a_rule_is_not_judged_by_the_wards_rule(
    tmp_path: Path,
) -> None:
    found = audit(
        tmp_path,
        syringe({0: 16.0, 24: 0.0}, entries=CLOSED),
        policy=home_team(),
    )
    for measure in ("checks_on_time", "covered_time", "checks_on_time_grace_1.0"):
        line = whole(found.measures, measure)
        assert (line["units"], line["denominator"], line["excluded"]) == (1, 0, 1)
        assert line[["proportion", "low", "high"]].isna().all()
    assert set(found.exclusions["reason"]) == {"no rule set"}
    assert kinds(found) == []


def test_trap_14_a_wet_dressing_is_a_site_event_and_the_line_looks_perfect(
    tmp_path: Path,
) -> None:
    rows = syringe(REFERENCE, entries=CLOSED, site_id="CN1", site_signs="none")
    rows[4]["site_signs"] = "leakage"
    found = audit(tmp_path, rows)
    assert kinds(found) == ["site_reaction"]
    assert found.infusions["kind"].tolist() == [""]
    assert only(found, "site_reaction")["first_visible"] == moment("2026-06-02T02:03")


# Trade arithmetic: middle diameters 15.0 and 19.5 mm, (15.0 / 19.5)^2 = 0.59.
@pytest.mark.parametrize(
    ("scale", "display", "found", "behaviour"),
    [
        pytest.param(
            0.59, 1.0, ["slow"], "set in mL/h", id="the display keeps to the line"
        ),
        pytest.param(
            1.0,
            1 / 0.59,
            [],
            "spreads the travel over the duration",
            id="the scale keeps to the plan",
        ),
    ],
)
def test_trap_15_a_10_ml_syringe_confirmed_as_20_ml_is_seen_by_scale_over_display(
    tmp_path: Path, scale: float, display: float, found: list[str], behaviour: str
) -> None:
    fallen = {hour: 16 / 24 * hour for hour in (0, 3, 6, 9, 12)}
    rows = syringe(
        {hour: round(16 - scale * fell, 1) for hour, fell in fallen.items()},
        set_rate_ml_h=16 / 24,
        cells={
            hour: {"display_remaining_ml": round(16 - display * fell, 1)}
            for hour, fell in fallen.items()
        },
    )
    result = audit(tmp_path, rows)
    assert kinds(result, "delivery") == found
    said = only(result, "scale_and_display")["sentence"]
    assert "a ratio of 0.59" in said
    assert "a 10 mL syringe confirmed as 20 mL" in said
    assert behaviour in said


@pytest.mark.parametrize(
    "reading_step", [pytest.param(0.1, id="display"), pytest.param(0.5, id="scale")]
)
def test_trap_16_a_block_that_the_volumes_show_as_0_3_ml_is_no_event_of_0_3_ml(
    tmp_path: Path, reading_step: float
) -> None:
    # Alarm at 09:10, restarted at 09:40: 0.3 mL behind ever after. How long the patient
    # went without (27 to 90 min before the alarm) is for the review of the infusion,
    # and stands in tests/incident/test_traps.py.
    start, missed = "2026-06-01T18:00", {True: 0.3, False: 0.0}
    hours = (0, 4, 8, 12, 15 + 10 / 60, 15 + 40 / 60, 20, 24)
    volumes = {
        hour: round((16 - 2 / 3 * hour + missed[hour > 15.5]) / reading_step)
        * reading_step
        for hour in hours
    }
    rows = syringe(
        volumes,
        start=start,
        set_rate_ml_h=0.667,
        entries={24: "end"},
        cells={
            hours[4]: {"alarm": "occlusion"},
            hours[5]: {"action": "line straightened, restarted"},
        },
    )
    found = audit(tmp_path, rows)
    assert kinds(found, "delivery") == []
    assert kinds(found, "charting") == []
    assert found.readings["residual_ml"].abs().max() <= 0.5


def test_trap_19_one_site_of_five_syringes_is_one_site_and_five_days(
    tmp_path: Path,
) -> None:
    rows = [
        row
        for day in range(5)
        for row in syringe(
            REFERENCE,
            start=f"2026-06-0{1 + day}T10:00",
            entries=CLOSED,
            infusion_id=f"I{day}",
            site_id="CN1",
            site_signs="none",
        )
    ]
    rows[-1]["site_signs"] = "redness; swelling"
    found = audit(tmp_path, rows)
    rate = whole(found.rates, "site_reactions")
    assert (rate["events"], rate["patients"]) == (1, 1)
    assert rate["exposure_days"] == pytest.approx(5.0)
    # Garwood: one event has limits 0.0253 and 5.57.
    assert rate["rate_per_1000"] == pytest.approx(200)
    assert rate["low"] == pytest.approx(1000 * 0.0253 / 5, abs=0.01)
    assert rate["high"] == pytest.approx(1000 * 5.5716 / 5, abs=0.01)
    assert len(found.infusions) == 5


def test_trap_22_the_gap_across_a_transfer_belongs_to_neither_ward(
    tmp_path: Path,
) -> None:
    rows = syringe(
        {0: 16.0, 3.5: 13.7, 8.5: 10.3, 12: 8.0, 16: 5.3},
        start="2026-06-01T08:00",
        entries={16: "end"},
        cells={hour: {"ward": "Birch Ward"} for hour in (8.5, 12, 16)},
    )
    found = audit(tmp_path, rows)
    for measure in ("checks_on_time", "covered_time"):
        units = units_of(found, measure)
        over = units[units["ward"] == "between wards"]
        assert over["reason"].tolist() == ["hand-over between wards"]
        assert over["tally"].tolist() == ["excluded"]
        for ward, hours in (("Alder Ward", 3.5), ("Birch Ward", 7.5)):
            line = whole(found.measures, measure, ward)
            assert line["excluded"] == 0
            assert line["proportion"] == 1.0
            assert measure != "covered_time" or line["denominator"] == hours
    assert kinds(found) == []


def test_trap_23_a_documented_pause_is_not_a_stall_and_not_counted(
    tmp_path: Path,
) -> None:
    volumes = {0: 16.0, 4: 13.3, 8: 10.7, 12: 10.7, 16: 8.0, 20: 5.3, 28: 0.0}
    rows = syringe(volumes, entries={8: "pause", 12: "resume", 28: "end"})
    for row in rows[3:4]:
        row["note"] = "held, resumed by the prescriber"
    found = audit(tmp_path, rows)
    assert kinds(found, "delivery") == []
    assert kinds(found, "charting") == []
    covered = whole(found.measures, "covered_time")
    assert covered["denominator"] == 24.0
    exclusions = found.exclusions
    paused = exclusions[(exclusions["ward"] == "all") & (exclusions["period"] == "all")]
    assert set(paused["reason"]) == {"paused"}


def test_trap_24_a_driver_set_anew_over_24_h_follows_its_new_line(
    tmp_path: Path,
) -> None:
    volumes = {0: 16.0, 4: 13.3, 8: 10.7, 12: 8.9, 16: 7.1, 20: 5.3, 24: 3.5, 28: 1.7}
    rows = syringe(volumes, entries={8: "rate_change", 28: "end"})
    for row in rows[2:]:
        row["set_rate_ml_h"] = 0.45  # 10.7 mL over 24 h
    found = audit(tmp_path, rows)
    assert kinds(found, "delivery") == []
    assert found.readings["residual_ml"].abs().max() < 0.15


def test_trap_25_a_site_removed_at_20_h_for_redness_is_an_event(
    tmp_path: Path,
) -> None:
    volumes = {h: v for h, v in REFERENCE.items() if h < 20}
    rows = syringe(volumes, site_id="CN1", site_signs="none")
    rows += syringe(
        REFERENCE,
        start="2026-06-02T06:03",
        entries=CLOSED,
        infusion_id="I2",
        site_id="CN2",
        site_signs="none",
    )
    cannula = {
        "line_id": "CN1",
        "patient_id": "P1",
        "ward": "Alder Ward",
        "kind": "cannula",
        "inserted_at": after("2026-06-01T10:03", 0),
        "removed_at": after("2026-06-01T10:03", 20),
        "removal_reason": "reaction",
    }
    found = audit(tmp_path, rows, lines=[cannula], policy=POLICY)
    assert kinds(found) == ["site_reaction"]
    rate = whole(found.rates, "site_reactions")
    assert rate["events"] == 1
    assert rate["exposure_days"] == pytest.approx(20 / 24 + 1)
