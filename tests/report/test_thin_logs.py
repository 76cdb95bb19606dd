"""Thin logs in the report: what cannot be shown is said in words, on every page."""

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from analysis.audit import AuditResult
from analysis.policy import Policy
from analysis.report import facts, sections
from analysis.report.comparing import wards_and_months
from tests.report.test_report import Page
from tests.tiny import Row, audit, policy_but, policy_with, syringe

#: The sections that hold measures.
SECTIONS: tuple[Callable[[AuditResult], str], ...] = (
    lambda result: sections.first_screen(result, 12).html,
    lambda result: sections.what_changed(result).html,
    lambda result: sections.each_ward(result).html,
    lambda result: wards_and_months(result).html,
)

BIRCH: dict[str, Any] = {
    "ward": "Birch Ward", "patient_id": "P2", "infusion_id": "I2", "driver_id": "D2",
}  # fmt: skip


def day(start: str = "2026-06-01T10:03", **cells: Any) -> list[Row]:
    """Give a syringe checked every four hours, with its end row at 24 h."""
    volumes = {0: 16.0, 4: 13.3, 8: 10.7, 12: 8.0, 16: 5.3, 20: 2.7, 24: 0.0}
    return syringe(volumes, start=start, entries={24: "end"}, **cells)


def twenty_months() -> list[Row]:
    """Give a syringe a month for twenty months, but for October 2025."""
    months = [
        str(month)
        for month in pd.period_range("2025-01", "2026-08", freq="M")
        if str(month) != "2025-10"
    ]
    return [
        row
        for number, month in enumerate(months)
        for row in day(
            f"{month}-10T10:03", infusion_id=f"I{number}", patient_id=f"P{number}"
        )
    ]


NO_RULE = policy_with(
    '\n[wards."Birch Ward"]\nset_by = "t"\ncheck_interval_h = "none"\n'
)
EXAMPLE = Policy.example()
PAUSED = syringe({0: 16.0, 4: 16.0, 8: 16.0, 12: 16.0}, entries={0: "pause", 12: "end"})

CASES = [
    pytest.param(
        day() + day("2026-07-10T10:03", **BIRCH),
        NO_RULE,
        "2026-07",
        (
            "Birch Ward no rule set no rule set 0 of 1",
            "Alder Ward nothing due nothing due none evaluated",
            "Nothing can be compared with June 2026",
            "No check was due.",
        ),
        id="a month with nothing due",
    ),
    pytest.param(
        day() + syringe({0: 16.0, 4: 13.3}, entries={4: "end"}, **BIRCH),
        EXAMPLE,
        "2026-06",
        (
            "Birch Ward 4.0 of 4.0 h 1 of 1 0 of 1",
            "With fewer than 5 patients, or 10 units (such as checks, or extension "
            "sets) judged, there are counts and no percentage",
            "counts only",
            "a dot and its interval on the first page say all that can be said",
        ),
        id="a ward with one unit",
    ),
    pytest.param(
        PAUSED,
        EXAMPLE,
        "2026-06",
        (
            "Alder Ward nothing due nothing due 0 of 1",
            "Covered time nothing due",
            "not judged in June 2026, and why",
            "paused 3 Covered time; Checks on time",
            "No check was due.",
        ),
        id="all units excluded",
    ),
    pytest.param(
        twenty_months(),
        EXAMPLE,
        "2025-11",
        (
            "Nothing can be compared with October 2025",
            "A line needs two months or more with enough patients and units",
            "Checks on time 6 of 6",
        ),
        id="twenty months with one missing, in the month after it",
    ),
]


@pytest.mark.parametrize(("rows", "policy", "month", "said"), CASES)
def test_the_report_says_in_words_what_it_cannot_show(
    tmp_path: Path, rows: list[Row], policy: Policy, month: str, said: tuple[str, ...]
) -> None:
    result = replace(audit(tmp_path, rows, policy=policy), month=month)
    pages = [Page(render(result)) for render in SECTIONS]
    text = " ".join(page.text for page in pages)
    alts = " ".join(attrs["alt"] for page in pages for attrs in page.named("img"))
    for words in said:
        assert words in text, words
    # A percentage needs five patients, and nothing is said to be so many of none.
    assert not re.search(r"\d of 0(\.0)?(?![\d.])", text + alts)
    shares = re.findall(r"\b\d+(?:\.\d+)? %", text + alts)
    assert set(shares) <= {"95 %"}


def test_why_measures_are_not_in_the_export_is_said_once(tmp_path: Path) -> None:
    result = audit(tmp_path, day())
    text = Page(sections.first_screen(result, 12).html).text
    assert text.count("Not in this export") == 1
    assert text.count("its checks have no running") == 1
    assert (
        "Readings the same as the one before, Rows the same as the one before: "
        "its checks have no running." in text
    )


def test_a_rate_that_the_export_cannot_give_is_said_so_on_every_page(
    tmp_path: Path,
) -> None:
    result = audit(tmp_path, day())
    own = Page(sections.each_ward(result).html).text
    assert "Site reactions not in this export" in own
    assert "nothing observed" not in own
    assert "not in this policy" not in own


def test_what_the_policy_cannot_give_is_not_laid_to_the_export(tmp_path: Path) -> None:
    policy = policy_but(
        reaction_signs="[]", minor_signs="[]", reaction_removal_reasons="[]"
    )
    rows = day(site_id="C1", site_signs="none")
    result = audit(tmp_path, rows, policy=policy)
    first = Page(sections.first_screen(result, 12).html).text
    assert "Not in this policy: Site reactions: by its reaction_signs" in first
    assert re.search(r"(evaluated|of \d+) not in this policy", first)
    assert (
        "Site reactions not in this policy"
        in Page(sections.each_ward(result).html).text
    )


def test_small_wards_have_no_rate_and_one_line_of_hours(tmp_path: Path) -> None:
    site: dict[str, Any] = {
        "site_id": "C1",
        "site_signs": "none",
        "cells": {8: {"site_signs": "redness"}},
    }
    result = audit(tmp_path, day(**site) + day(**BIRCH), policy=EXAMPLE)
    result = replace(result, month="2026-06")
    own = Page(sections.each_ward(result).html).text
    # One reaction in a day would be 1,000 per 1,000 site-days.
    assert re.search(r"Site reactions \d in [\d.]+ counts only", own)
    assert not re.search(r"Site reactions \d in [\d.]+ [\d.]", own)
    text = Page(wards_and_months(result).html).text
    assert text.count("Too few checks or patients") == 2  # all wards, and the rest
    assert re.search(r"Alder Ward, Birch Ward ?: Too few checks", text)


def first_words(result: AuditResult, *, is_recent: bool = False) -> str:
    """Read the first screen."""
    html = sections.first_screen(result, 12, is_recent=is_recent).html
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def test_one_ward_has_no_total_that_says_it_twice(tmp_path: Path) -> None:
    one = audit(tmp_path / "one", day())
    assert facts.is_one_ward(one)
    assert "all wards" not in first_words(one)
    assert "All wards" not in sections.each_ward(one).html
    two = audit(tmp_path / "two", day() + day(**BIRCH))
    assert not facts.is_one_ward(two)
    assert "all wards" in first_words(two)
    assert "All wards together" in sections.each_ward(two).html


def visits(hours: float, *, ward: str, number: int) -> list[Row]:
    """Give infusions that are looked at every so many hours."""
    times = [hours * i for i in range(int(24 / hours) + 1)]
    volumes = {time: round(16 - 0.667 * time, 1) for time in times}
    return [
        row
        for i in range(number)
        for row in syringe(
            volumes,
            start=f"2026-06-{i + 1:02d}T10:03",
            ward=ward,
            infusion_id=f"{ward} {i}",
            patient_id=ward,
            driver_id=ward,
        )
    ]


def test_a_ward_of_another_rhythm_is_asked_for_its_rule(tmp_path: Path) -> None:
    rows = visits(8, ward="Home Team", number=8) + visits(4, ward="Ward 4", number=8)
    result = audit(tmp_path / "log", rows)
    [found] = facts.other_rhythms(result)
    assert (found.ward, found.median_h, found.interval_h) == ("Home Team", 8.0, 4.0)
    assert (
        "Home Team : half of the gaps between its checks are 8.0 h or longer, and the "
        "policy expects a check every 4 h." in first_words(result)
    )
    own = policy_with('\n[wards."Home Team"]\nset_by = "t"\ncheck_interval_h = 8\n')
    assert facts.other_rhythms(audit(tmp_path / "own", rows, policy=own)) == []
    none = policy_with(
        '\n[wards."Home Team"]\nset_by = "t"\ncheck_interval_h = "none"\n'
    )
    assert facts.other_rhythms(audit(tmp_path / "no", rows, policy=none)) == []
    few = audit(tmp_path / "few", visits(8, ward="Home Team", number=6))
    assert facts.other_rhythms(few) == []


def test_missed_checks_of_a_running_infusion_are_one_line_and_no_delivery(
    tmp_path: Path,
) -> None:
    seen = {0: 16.0, 8: 10.7, 16: 5.3}
    result = audit(tmp_path, syringe(seen) + day(**BIRCH))
    said = first_words(result, is_recent=True)
    assert said.count("checks missed, 8.0 h between two checks; 1 other finding") == 1
    assert "checks missed (2 times)" in said
    assert "of delivery" not in said.replace("hours of delivery, between", "")
