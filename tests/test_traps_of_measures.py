"""Trap cases of adherence measures, as the report tells them (trade facts, section 11).

Numbers 8, 13, 18 and 21; the others stand in test_traps.py.
"""

import re
from pathlib import Path

import pandas as pd

from analysis.audit import AuditResult
from analysis.report import sections
from analysis.share import summarise
from tests.report.test_report import Page
from tests.tiny import Row, audit, syringe, units_of, whole

VOLUMES = {0: 16.0, 4: 13.3, 8: 10.7, 12: 8.0, 16: 5.3, 20: 2.7, 24: 0.0}
LATE = {0: 16.0, 8: 10.7, 12: 8.0, 16: 5.3, 20: 2.7, 24: 0.0}


def ward(name: str, number: int, *, late: int = 0, **cells: str) -> list[Row]:
    """Give as many infusions of as many patients, some with a late first check."""
    return [
        row
        for place in range(number)
        for row in syringe(
            LATE if place < late else VOLUMES,
            start=f"2026-06-{place + 1:02}T10:03",
            entries={24: "end"},
            ward=name,
            infusion_id=f"{name}{place}",
            patient_id=f"{name}{place}",
            driver_id=f"{name}{place}",
            cells=None,
            **cells,
        )
    ]


def text_of(result: AuditResult) -> str:
    every = (sections.first_screen(result, 12), sections.each_ward(result))
    pages = [Page(part.html) for part in every]
    alts = [attrs["alt"] for page in pages for attrs in page.named("img")]
    return " ".join([*(page.text for page in pages), *alts])


def test_trap_8_two_of_three_is_a_count_and_no_percentage_and_no_place_in_a_list(
    tmp_path: Path,
) -> None:
    rows = ward("Elder Ward", 3, late=1) + ward("Alder Ward", 15, late=2)
    found = audit(tmp_path, rows)
    measure = "first_check_in_time"
    own = whole(found.measures, measure, "Elder Ward")
    assert (own["numerator"], own["denominator"], own["patients"]) == (2, 3, 3)
    shown = whole(found.comparisons, measure, "Elder Ward")
    assert shown["shown"] == "counts only"
    assert pd.isna(shown[["proportion", "low", "high", "different"]]).all()
    text = text_of(found)
    assert "2 of 3" in text
    assert not re.search(r"66\.7|\b67 %", text)
    # Two thirds is the lower figure; the wards stand by their names all the same.
    assert 0 < text.index("Alder Ward") < text.index("Elder Ward")
    assert "wards are not ranked" in text
    # In what may be shared a ward of three patients has no figure of its own.
    groups = summarise(
        found.units, found.infusions, "2026-06", found.policy.smallest_group_patients
    ).groups
    assert groups["Elder Ward"] == groups["Alder Ward"]


def test_trap_13_all_sites_inspected_and_no_reaction_is_no_proof_of_either(
    tmp_path: Path,
) -> None:
    rows = ward("Alder Ward", 12, site_id="S1", site_signs="none")
    found = audit(tmp_path, rows)
    recorded = whole(found.measures, "site_recorded")
    assert recorded["proportion"] == 1
    assert found.rates["events"].sum() == 0
    said = Page(sections.cautions(found).html).text
    assert "A row in the log is not proof that a check was made" in said
    assert "depend on how often and how well sites are looked at" in said
    defined = Page(sections.definitions(found).html).text
    assert "It says nothing of whether the site was looked at" in defined


def test_trap_18_times_on_the_round_hour_are_on_time_as_recorded(
    tmp_path: Path,
) -> None:
    rows = syringe(VOLUMES, start="2026-06-01T10:00", entries={24: "end"})
    found = audit(tmp_path, rows)
    text = text_of(found)
    assert "Checks on time 6 of 6" in text
    assert "Times on the exact hour 7 of 7" in text
    defined = Page(sections.definitions(found).html).text
    assert "times are likely those of the round, and timeliness is as recorded" in (
        defined
    )


def test_trap_21_a_rate_rounded_by_the_display_matches(tmp_path: Path) -> None:
    rows = syringe(VOLUMES, entries={24: "end"}, set_rate_ml_h=0.67)
    (unit,) = units_of(audit(tmp_path, rows), "set_rate_matches").to_dict("records")
    assert (unit["outcome"], unit["tally"]) == ("matches", "counted")
