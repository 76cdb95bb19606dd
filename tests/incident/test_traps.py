"""Trap cases of the trade that concern one infusion under review.

Common practice, no source; the naive answer stands beside each.
"""

from pathlib import Path

import pytest

from analysis.incident import facts, sections
from tests.incident.reviewed import RATE, others, review, text_of
from tests.tiny import syringe


def test_a_rate_change_breaks_the_line_and_is_no_stop(tmp_path: Path) -> None:
    # Naive: one line of 0.667 mL/h, 1.66 mL behind at 20 h.
    rows = syringe(
        {0: 16.0, 4: 13.3, 10: 9.3, 15: 6.8, 20: 4.3},
        set_rate_ml_h=RATE,
        entries={10: "rate_change"},
        cells={hour: {"set_rate_ml_h": 0.5} for hour in (10, 15, 20)},
    )
    incident = review(tmp_path, [*rows, *others()])
    assert facts.delivery_finding(incident) is None
    last = facts.course(incident).readings[-1]
    assert last.expected_ml == pytest.approx(16 - 0.667 * 10 - 0.5 * 10)
    drawn = facts.drawn(incident)
    assert drawn.is_one_line is False
    assert "was not as prescribed" in text_of(sections.plot(incident).html)


def test_a_wet_dressing_on_a_perfect_line_leaves_what_was_received_unknown(
    tmp_path: Path,
) -> None:
    # Naive: delivered as planned.
    rows = syringe(
        {0: 16.0, 4: 13.3, 8: 10.7, 12: 8.0, 16: 5.3, 20: 2.7},
        set_rate_ml_h=RATE,
        cells={
            4: {"site_signs": "none"},
            8: {"site_signs": "redness"},
            16: {"site_signs": "leakage;redness"},
        },
    )
    incident = review(tmp_path, [*rows, *others()])
    assert facts.delivery_finding(incident) is None
    [(what, said)] = facts.beyond_the_plunger(incident)
    assert what == "leakage charted"
    # The last dry check is that of 8 h: at 12 h nobody charted the site.
    assert said.startswith("2 Jun 02:03 (checks.csv:6)")
    assert said.endswith("without it, 1 Jun 18:03 (checks.csv:4)")
    assert said in text_of(sections.first_screen(incident).html)


def test_an_alarm_of_a_block_came_later_than_the_block(tmp_path: Path) -> None:
    # Naive: 0.3 mL missed, by the volumes.
    rows = syringe(
        {0: 16.0, 4: 13.3, 4.5: 13.3, 8: 11.0, 12: 8.3},
        set_rate_ml_h=RATE,
        cells={4: {"alarm": "Occlusion"}, 4.5: {"action": "line straightened"}},
    )
    incident = review(tmp_path, [*rows, *others()])
    [(what, said)] = facts.beyond_the_plunger(incident)
    assert what == "alarm of a block charted"
    # 0.3 to 1.0 mL of storage at 0.667 mL/h.
    assert "1 Jun 14:03 (checks.csv:3)" in said
    assert "27 to 90 min" in said


def test_a_pause_on_purpose_is_shown_and_is_no_stop(tmp_path: Path) -> None:
    # Naive: a stall, a missed dose.
    rows = syringe(
        {0: 16.0, 4: 13.3, 8: 13.3, 12: 10.7, 16: 8.0, 20: 5.4},
        set_rate_ml_h=RATE,
        entries={4: "pause", 8: "resume"},
        cells={4: {"note": "held for over-sedation"}},
    )
    incident = review(tmp_path, [*rows, *others()])
    assert facts.delivery_finding(incident) is None
    said = [(one.source, one.said) for one in facts.traces(incident)]
    assert said == [
        ("checks.csv:3", "pause charted"),
        ("checks.csv:4", "resume charted"),
    ]
    assert "held for over-sedation" in text_of(sections.timeline(incident).html)


def test_a_driver_programmed_anew_is_on_its_new_line(tmp_path: Path) -> None:
    # Naive: slow ever after. 10.7 mL over a fresh 24 h are 0.446 mL/h.
    rows = syringe(
        {0: 16.0, 4: 13.3, 8: 10.7, 12: 8.9, 16: 7.1, 20: 5.3},
        set_rate_ml_h=RATE,
        entries={8: "rate_change"},
        cells={hour: {"set_rate_ml_h": 0.446} for hour in (8, 12, 16, 20)},
    )
    incident = review(tmp_path, [*rows, *others()])
    assert facts.delivery_finding(incident) is None
    assert facts.drawn(incident).is_one_line is False


def test_volume_left_at_a_death_is_not_under_delivery(tmp_path: Path) -> None:
    # Naive: checks missed, 10 mL not delivered.
    rows = syringe(
        {0: 16.0, 4: 13.3, 8: 10.7, 9: 10.0},
        set_rate_ml_h=RATE,
        entries={9: "end"},
        cells={9: {"note": "died"}},
    )
    incident = review(tmp_path, [*rows, *others()])
    assert facts.delivery_finding(incident) is None
    course = facts.drawn(incident).course
    assert course is not None
    assert (course.missed_h, course.late_h, course.last_h) == ((), (), 9.0)
    assert "end charted" in text_of(sections.first_screen(incident).html)
