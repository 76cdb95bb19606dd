"""What is told of before, during and after a departure agrees with itself."""

from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from analysis.incident import Incident, facts, sections
from analysis.terms import FindingKind
from tests.incident.reviewed import RATE, others, review
from tests.tiny import Row, after, syringe

START = "2026-06-01T10:03"

#: A stop at about 8 h; the last reading at 20 h, the end charted at 24 h.
STANDING = {0: 16.0, 4: 13.3, 8: 10.7, 12: 10.5, 16: 10.4, 20: 10.5}


@pytest.fixture(scope="module")
def standing(tmp_path_factory: pytest.TempPathFactory) -> Incident:
    rows: list[Row] = syringe(STANDING, set_rate_ml_h=RATE)
    rows += [{**rows[-1], "checked_at": after(START, 24), "entry": "end"}]
    rows[-1]["volume_remaining_ml"] = None
    return review(tmp_path_factory.mktemp("standing"), [*rows, *others()])


def test_a_stop_not_seen_to_end_is_drawn_to_the_end_as_its_volume_is_told(
    standing: Incident,
) -> None:
    finding = facts.delivery_finding(standing)
    assert finding is not None
    assert finding["kind"] == FindingKind.STALL_TO_END
    drawn = facts.drawn(standing)
    assert drawn.is_assumed
    assert drawn.course is not None
    fitted, line = drawn.course.fitted, drawn.course.set_rate
    assert fitted["elapsed_h"].iloc[-1] == drawn.course.hatched[1] == 24
    assert fitted["volume_ml"].iloc[-1] == fitted["volume_ml"].iloc[-2]
    # The volume told is what lies between the lines where the hatching ends.
    apart = line["volume_ml"].iloc[-1] - fitted["volume_ml"].iloc[-1]
    assert apart == pytest.approx(finding["volume_ml"], abs=0.1)
    said = sections.plot(standing)._repr_html_()
    assert "as if it stood still until" in " ".join(said.split())


def test_a_finding_of_one_reading_says_so_on_the_first_screen(tmp_path: Path) -> None:
    rows = syringe({0: 16.0, 4: 13.3, 8: 10.7, 20: 10.5}, set_rate_ml_h=RATE)
    incident = review(tmp_path, [*rows, *others()])
    assert facts.delivery_finding(incident) is not None
    said = sections.first_screen(incident)._repr_html_()
    assert "It rests on one reading, the last (checks.csv:5)" in " ".join(said.split())


def test_a_finding_of_more_readings_does_not(standing: Incident) -> None:
    assert "rests on one reading" not in sections.first_screen(standing)._repr_html_()


def test_last_known_good_is_before_the_first_check_that_could_have_shown_it(
    standing: Incident,
) -> None:
    found = standing.findings
    is_own = found["infusion_id"] == standing.infusion_id
    at = pd.Timestamp(after(START, 8))
    seen_at = at.tz_localize(standing.policy.zone) if at.tzinfo is None else at
    early = found.assign(first_visible=found["first_visible"].mask(is_own, seen_at))
    course = facts.course(replace(standing, findings=early))
    assert course.first_visible is not None
    assert course.last_good is not None
    assert course.first_visible.at == seen_at
    assert course.last_good.at < seen_at


def test_of_one_time_charted_the_drivers_log_is_asked_for_around_it(
    tmp_path: Path,
) -> None:
    rows = syringe({0: 16.0}, set_rate_ml_h=RATE)
    incident = review(tmp_path, [*rows, *others()])
    known = {**incident.known, "observed_end": incident.known["started_at"]}
    steps = dict(facts.next_steps(replace(incident, known=known)))
    asked = steps["Ask for the driver's own log"]
    assert asked.startswith("around 1 Jun 10:03, the only time charted, and after it: ")
