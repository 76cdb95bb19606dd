"""Facts of a review beside values counted by hand on tiny logs."""

import math
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from analysis.delivery.close import NONE
from analysis.incident import Incident, facts, sections
from analysis.incident.facts.timeline import CHARTED, DUE, REPLACED, ROW
from analysis.incident.possible import POSSIBLE, WORDS
from analysis.report.facts import SETTLES
from analysis.terms import EndKind, FindingKind
from tests.incident.reviewed import (
    RATE,
    STOPPED,
    others,
    review,
    text_of,
    uneventful,
)
from tests.tiny import after, moment, syringe

START = "2026-06-01T10:03"
MADE_UP = {
    "infusion_id": "I1",
    "start_volume_ml": 16,
    "made_up_to_ml": 16.5,
    "syringe_size_ml": 20,
    "planned_duration_h": 24,
    "contents": "morphine 30 mg; midazolam 10 mg",
}


@pytest.fixture(scope="module")
def stopped(tmp_path_factory: pytest.TempPathFactory) -> Incident:
    """Review a stop for eight hours, with an amendment, an alarm and a leak noted."""
    rows = syringe(
        STOPPED,
        set_rate_ml_h=RATE,
        cells={
            0: {"checked_by": "AB", "second_checked_by": "CD", "line_id": "L1"},
            4: {"checked_by": "AB", "line_id": "L1"},
            8: {"checked_by": "EF", "line_id": "L1"},
            12: {"alarm": "occlusion", "running": "no", "checked_by": "CD"},
            16: {"action": "line straightened", "site_signs": "leakage"},
            20: {"note": "settled"},
        },
    )
    # File line 9: the reading of 8 h, corrected.
    rows.append({**rows[2], "volume_remaining_ml": 10.6, "amends": "checks.csv:4"})
    lines = [
        {
            "line_id": "L1",
            "patient_id": "P1",
            "kind": "extension_set",
            "inserted_at": "2026-06-01T09:50",
            "removed_at": "2026-06-02T02:10",
            "removal_reason": "blockage",
        }
    ]
    folder = tmp_path_factory.mktemp("stopped")
    return review(folder, [*rows, *others()], infusions=[MADE_UP], lines=lines)


def test_last_known_good_and_first_known_bad(stopped: Incident) -> None:
    found = facts.course(stopped)
    good, bad = found.last_good, found.first_bad
    assert good is not None
    assert bad is not None
    # 16 - 0.667 x 8 = 10.664 and 16 - 0.667 x 12 = 7.996 by the rate set.
    assert (good.source, good.observed_ml) == ("checks.csv:9", 10.6)
    assert good.off_ml == pytest.approx(10.6 - 10.664)
    assert (bad.source, bad.observed_ml) == ("checks.csv:5", 10.5)
    assert bad.off_ml == pytest.approx(10.5 - 7.996)
    assert bad.hours == pytest.approx(2.504 / 0.667)
    assert bad.off_ml > bad.limit_ml


def test_onset_and_end_hold_what_happened_and_time_unseen_runs_to_the_first_bad(
    stopped: Incident,
) -> None:
    found = facts.course(stopped)
    began, surely, ending, ended = found.window
    # The plateau of 10.5 to 10.6 mL was reached after 8.1 to 8.25 h; 5.34 mL or 8.0 h
    # behind from 20 h on.
    assert began <= moment_at(8.25)
    assert surely >= moment_at(8.1)
    assert ending <= moment_at(16.25) <= ended + pd.Timedelta(minutes=5)
    assert found.unseen_h == pytest.approx(
        (moment_at(12) - began).total_seconds() / 3600
    )
    assert [source for _, source in found.between] == ["checks.csv:9", "checks.csv:5"]


def moment_at(hours: float) -> pd.Timestamp:
    return pd.Timestamp(after(START, hours))


def test_volume_and_drugs_are_shares_of_what_was_made_up(stopped: Incident) -> None:
    [one] = facts.amounts(stopped)
    assert one.kind == FindingKind.STALL
    # Behind by 8.0 - 2.66 = 5.34 mL at 20 h, and 5.2 mL when the line was at 0.
    assert one.volume_ml == pytest.approx(-5.3, abs=0.2)
    assert one.low_ml < one.volume_ml < one.high_ml < 0
    assert one.hours == pytest.approx(-one.volume_ml / 0.667)
    assert one.drugs is not None
    assert one.drugs.whole_ml == 16.5
    morphine, midazolam = one.drugs.drugs
    assert morphine[1] == pytest.approx(-one.volume_ml * 30 / 16.5)
    assert midazolam[1:] == pytest.approx(
        (-one.volume_ml * 10 / 16.5, -one.high_ml * 10 / 16.5, -one.low_ml * 10 / 16.5)
    )


def test_the_volume_is_that_of_the_audit(stopped: Incident) -> None:
    finding = facts.delivery_finding(stopped)
    assert finding is not None
    [one] = facts.amounts(stopped)
    assert one.volume_ml == pytest.approx(finding["volume_ml"])
    assert one.low_ml == pytest.approx(finding["volume_low_ml"])
    assert one.probability == pytest.approx(finding["kind_probability"])


def test_every_row_stands_in_the_timeline_with_its_line(stopped: Incident) -> None:
    moments = facts.timeline(stopped)
    rows = [one.source for one in moments if one.kind == ROW]
    assert rows == [f"checks.csv:{line}" for line in (2, 3, 9, 5, 6, 7, 8)]
    assert [round(one.elapsed_h) for one in moments if one.kind == ROW] == list(STOPPED)
    assert [one.at for one in moments] == sorted(one.at for one in moments)


def test_an_amendment_and_what_it_replaced_are_both_there(stopped: Incident) -> None:
    moments = facts.timeline(stopped)
    [old] = [one for one in moments if one.kind == REPLACED]
    [new] = [one for one in moments if one.amends]
    assert (old.source, old.remaining_ml, old.replaced_by) == (
        "checks.csv:4",
        10.7,
        "checks.csv:9",
    )
    assert (new.source, new.remaining_ml, new.amends) == (
        "checks.csv:9",
        10.6,
        "checks.csv:4",
    )
    assert moments.index(old) == moments.index(new) - 1


def test_a_row_that_could_not_be_placed_is_named_with_its_reason(
    tmp_path: Path,
) -> None:
    rows = syringe({0: 16.0, 4: 13.3, 8: 10.7}, set_rate_ml_h=RATE)
    wrong = {**rows[2], "checked_at": "32/13/2026"}
    rows = [*rows[:2], wrong, {**rows[2], "amends": "checks.csv:4"}]
    incident = review(tmp_path, [*rows, *others()])
    assert incident.unplaced["source"].tolist() == ["checks.csv:4"]
    first = text_of(sections.first_screen(incident).html)
    assert "1 row that may be of this infusion could not be placed" in first
    timeline = text_of(sections.timeline(incident).html)
    assert "replaces checks.csv:4" in timeline
    assert "may belong here: checks.csv:4: " in timeline


def test_staff_are_pseudonyms_in_order_of_appearance(stopped: Incident) -> None:
    assert facts.staff_names(stopped) == {
        "AB": "Staff A",
        "CD": "Staff B",
        "EF": "Staff C",
    }
    rows = [one for one in facts.timeline(stopped) if one.kind == ROW]
    assert [one.staff for one in rows][:4] == [
        "Staff A",
        "Staff A",
        "Staff C",
        "Staff B",
    ]
    assert [one.is_staff_change for one in rows][:4] == [False, False, True, True]
    assert "second checker Staff B" in rows[0].said


def test_lines_charted_elsewhere_are_in_the_timeline(stopped: Incident) -> None:
    charted = [one for one in facts.timeline(stopped) if one.kind == CHARTED]
    # It was fitted before the infusion began.
    assert [one.said for one in charted] == [("extension set L1 removed, blockage",)]
    assert charted[0].source == "lines.csv:2"


def test_what_rows_say_about_the_stop_is_found_with_its_line(stopped: Incident) -> None:
    said = [(one.source, one.said) for one in facts.traces(stopped)]
    assert said == [
        ("checks.csv:5", "alarm: occlusion"),
        ("checks.csv:5", "not running"),
        ("checks.csv:6", "action: line straightened"),
        ("checks.csv:6", "site signs: leakage"),
    ]


def test_explanations_are_ranked_and_add_up_to_one(stopped: Incident) -> None:
    ranked = facts.explanations(stopped)
    assert ranked[0].kind == FindingKind.STALL
    assert [one.probability for one in ranked] == sorted(
        (one.probability for one in ranked), reverse=True
    )
    assert sum(one.probability for one in ranked) == pytest.approx(1)
    assert ranked[0].is_set_out
    assert not any(one.is_set_out for one in ranked[1:])


def test_every_kind_has_words_and_says_what_would_confirm_it() -> None:
    kinds = {NONE, *SETTLES}
    assert set(POSSIBLE) == set(WORDS) == kinds
    for possible in POSSIBLE.values():
        assert len({one.what for one in possible}) == len(possible) >= 2
        assert all(one.chart and one.driver_log and one.bedside for one in possible)


def test_the_plot_has_three_lines_the_readings_and_the_window(
    stopped: Incident,
) -> None:
    course = facts.drawn(stopped).course
    assert course is not None
    assert course.readings["observed_ml"].tolist() == [
        16,
        13.3,
        10.6,
        10.5,
        10.5,
        8,
        5.2,
    ]
    assert course.replaced.to_numpy().tolist() == [[8.0, 10.7]]
    at_12 = course.set_rate.loc[course.set_rate["elapsed_h"] == 12, "volume_ml"]
    assert at_12.unique() == pytest.approx([16 - 0.667 * 12])
    assert course.prescribed.to_numpy()[[0, -1]].tolist() == [[0, 16], [24, 0]]
    fitted = course.fitted.set_index("elapsed_h")["volume_ml"]
    assert fitted.loc[9:15].max() - fitted.loc[9:15].min() < 0.1  # the plateau
    assert fitted.loc[24.0] == pytest.approx(5.2, abs=0.15)
    assert 8 < course.window[1] < course.window[2] < 16.5


def test_steps_name_the_rows_to_read_and_the_times_to_ask_for(
    stopped: Incident,
) -> None:
    steps = dict(facts.next_steps(stopped))
    read = steps["Read on the chart itself:"]
    for part in (
        "checks.csv:9 (last known good)",
        "checks.csv:5 (first known bad)",
        "checks.csv:9 (replaces checks.csv:4)",
    ):
        assert part in read
    asked = steps["Ask for the driver's own log"]
    assert asked.startswith("from 1 Jun 10:03 to 2 Jun 10:03, above all 1 Jun ")
    assert "driver D1" in steps["Keep as found:"]


def test_every_driver_charted_is_kept(stopped: Incident) -> None:
    numbers = ["D1"] * 3 + ["D2"] * (len(stopped.rows) - 3)
    swapped = replace(stopped, rows=stopped.rows.assign(driver_id=numbers))
    kept = dict(facts.next_steps(swapped))["Keep as found:"]
    assert kept.startswith("drivers D1 and D2, ")


def test_times_to_ask_for_name_their_zone_where_the_clocks_change(
    stopped: Incident,
) -> None:
    first = pd.Timestamp("2026-10-25T00:30", tz="Europe/London")
    last = pd.Timestamp("2026-10-25T09:30", tz="Europe/London")
    known = {**stopped.known, "started_at": first, "observed_end": last}
    asked = dict(facts.next_steps(replace(stopped, known=known)))
    assert asked["Ask for the driver's own log"].startswith(
        "from 25 Oct 00:30 BST to 25 Oct 09:30 GMT"
    )


def test_a_window_of_the_whole_infusion_is_asked_for_once(stopped: Incident) -> None:
    first, last = stopped.known["started_at"], stopped.known["observed_end"]
    window = {"began_earliest": first, "ended_latest": last}
    whole = replace(stopped, findings=stopped.findings.assign(**window))
    asked = dict(facts.next_steps(whole))["Ask for the driver's own log"]
    assert asked.startswith("from 1 Jun 10:03 to 2 Jun 10:03: starts, stops, alarms")


def test_a_missed_check_is_due_when_it_fell_due(tmp_path: Path) -> None:
    volumes = {0: 16.0, 4: 13.3, 12: 8.0, 16.6: 4.9, 20: 2.7}
    rows = syringe(volumes, set_rate_ml_h=RATE)
    incident = review(tmp_path, [*rows, *others()])
    # Four hours after the check at 4 h, with 0.5 h grace: missed, since the next came
    # 4 h overdue; that of 16 h was late by 0.6 h.
    course = facts.drawn(incident).course
    assert course is not None
    assert (course.missed_h, course.late_h) == ((8.0,), (16.0,))
    due = [one for one in facts.timeline(incident) if one.kind == DUE]
    assert [one.said[0] for one in due] == [
        "check due; none charted near it",
        "check due; charted late, at the next row",
    ]


def test_a_pause_is_between_its_rows(tmp_path: Path) -> None:
    rows = syringe(
        {0: 16.0, 4: 13.3, 8: 10.7, 10: 10.7, 14: 8.0, 18: 5.4},
        set_rate_ml_h=RATE,
        entries={8: "pause", 10: "resume"},
    )
    incident = review(tmp_path, [*rows, *others()])
    course = facts.drawn(incident).course
    assert course is not None
    assert course.pauses == ((8.0, 10.0),)
    said = [one.said[0] for one in facts.timeline(incident) if one.kind == ROW]
    assert said == ["start", "check", "pause", "resumed", "check", "check"]
    assert facts.delivery_finding(incident) is None


def test_hours_are_true_hours_when_the_clocks_change(tmp_path: Path) -> None:
    # Trade trap 3: Saturday 20:00 to Sunday 08:00 in autumn are 13 h.
    rows = syringe({0: 16.0, 13: 7.3}, start="2026-10-24T20:00", set_rate_ml_h=RATE)
    incident = review(tmp_path, [*rows, *others()])
    last = [one for one in facts.timeline(incident) if one.kind == ROW][-1]
    assert last.at == moment("2026-10-25T08:00")
    assert last.elapsed_h == 13
    assert last.off_ml == pytest.approx(7.3 - (16 - 0.667 * 13))
    assert any("clocks changed" in said for said in facts.cautions(incident))


def test_a_doubtful_reading_is_no_last_known_good(tmp_path: Path) -> None:
    # Trade trap 2: a reading copied from the row above, with the next back on the line.
    volumes = {0: 16.0, 4: 13.3, 8: 13.3, 12: 8.0, 16: 5.3}
    incident = review(tmp_path, [*syringe(volumes, set_rate_ml_h=RATE), *others()])
    assert facts.delivery_finding(incident) is None
    found = facts.course(incident)
    assert [one.observed_ml for one in found.readings] == [16.0, 13.3, 8.0, 5.3]
    [doubtful] = [one for one in facts.timeline(incident) if one.is_doubtful]
    assert doubtful.source == "checks.csv:4"
    first = facts.explanations(incident)[0]
    assert first.kind == NONE
    assert [source for _, source, _ in first.slips] == ["checks.csv:4"]
    assert facts.amounts(incident) == ()


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Incident:
    """Review an infusion of 1 July among others that share something with it."""
    mine = uneventful("I1", patient_id="P1", driver_id="D1", start="2026-07-01T10:00")
    line = {"line_id": "L1", "site_id": "S1"}
    rows = [
        *(row | line for row in mine),
        *uneventful("far", driver_id="D1", start="2026-05-20T10:00"),
        *uneventful("near", driver_id="D1", start="2026-06-15T10:00"),
        *syringe(
            STOPPED,
            start="2026-07-20T10:00",
            infusion_id="stopped",
            patient_id="P9",
            driver_id="D1",
            set_rate_ml_h=RATE,
        ),
        *(
            row | {"site_id": "S1"}
            for row in uneventful(
                "next", patient_id="P1", driver_id="D2", start="2026-07-02T10:00"
            )
        ),
        *others(),
    ]
    return review(tmp_path_factory.mktemp("shared"), rows)


def test_others_share_driver_line_site_or_patient_within_thirty_days(
    shared: Incident,
) -> None:
    found = {one.infusion_id: one for one in facts.others(shared)}
    assert list(found) == ["near", "next", "stopped"]
    assert found["near"].shares == ("driver",)
    assert found["next"].shares == ("cannula", "patient")
    assert [row["kind"] for row in found["stopped"].findings] == ["stall"]


def test_histories_count_before_and_after(shared: Incident) -> None:
    driver, line, site, patient = facts.histories(shared)
    assert (driver.named, driver.before, driver.flagged_before) == ("D1", 1, 0)
    assert (driver.after, driver.flagged_after, driver.evaluable_after) == (1, 1, 1)
    assert (line.named, line.before, line.after) == ("L1", 0, 0)
    assert (site.named, site.after, patient.after) == ("S1", 1, 1)


def test_what_the_log_cannot_show_has_its_own_numbers(stopped: Incident) -> None:
    said = " ".join(facts.cannot_show(stopped))
    # 0.3 and 1.0 mL at 0.667 mL/h: 27 and 90 min.
    assert "27 to 90 min" in said
    assert "Not in this export: the battery" in said
    assert "signs at the site at 6 of 7 rows" in said


def test_without_a_reading_there_is_no_window_and_nothing_is_raised(
    tmp_path: Path,
) -> None:
    rows = syringe({0: None, 4: None, 8: None}, set_rate_ml_h=None)
    incident = review(tmp_path, [*rows, *others()])
    found = facts.course(incident)
    assert (found.readings, found.last_good, found.finding) == ((), None, None)
    assert math.isnan(found.unseen_h)
    assert facts.explanations(incident) == ()
    assert facts.drawn(incident).course is None


def test_of_a_driver_that_may_still_be_on_nobody_is_told_to_leave_it_on(
    stopped: Incident,
) -> None:
    running = {"end_kind": str(EndKind.RUNNING)}
    open_now = replace(stopped, known={**stopped.known, **running})
    assert facts.is_open(open_now)
    said = " ".join(f"{what} {text}" for what, text in facts.next_steps(open_now))
    assert "switch" not in said
    assert "Once it has been taken down and replaced" in said
    assert said.index("First, the patient.") == 0
