"""Twenty months with one missing, in a whole report: the line has a gap there."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.audit import AuditResult
from analysis.report import sections
from analysis.report.comparing import wards_and_months
from tests.report.test_report import Page
from tests.tiny import Row, audit, syringe

MISSING = "2025-10"
MONTHS = [str(month) for month in pd.period_range("2025-01", "2026-08", freq="M")]

#: Days on which a month's syringes are started.
DAYS = (2, 5, 8, 11, 14, 30)


def twenty_months() -> list[Row]:
    """Give six syringes a month, the last of each still running as the month ends.

    A second check is late in every syringe of the months to December, and in none
    after: the line has two levels.
    """
    rows: list[Row] = []
    for number, month in enumerate(MONTHS):
        day = dict.fromkeys(DAYS[:5], 10) | {min(DAYS[5], _days(month)): 18}
        for place, (first, hour) in enumerate(day.items()):
            second = 8.9 if number < 12 else 8.0
            volumes = {0: 16.0, 4: 13.3, second: 10.1, 12: 8.0, 16: 5.3, 20: 2.7}
            rows += syringe(
                {**volumes, 24: 0.0},
                start=f"{month}-{first:02}T{hour}:03",
                entries={24: "end"},
                patient_id=f"P{number}-{place}",
                infusion_id=f"I{number}-{place}",
                driver_id=f"D{place}",
            )
    return [row for row in rows if not row["checked_at"].startswith(MISSING)]


def _days(month: str) -> int:
    return int(pd.Period(month).days_in_month)


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> AuditResult:
    return audit(tmp_path_factory.mktemp("gap"), twenty_months())


def line_of(result: AuditResult, measure: str) -> pd.DataFrame:
    own = result.trends
    own = own[(own["measure"] == measure) & (own["ward"] == "all")]
    return own.set_index("month")


def test_checks_that_fell_due_in_the_month_that_is_missing_make_no_point(
    result: AuditResult,
) -> None:
    # The syringe of 30 September ran on into October, and its checks there are not in
    # the export: as units they stand, and no month is made of them.
    own = line_of(result, "checks_on_time")
    assert own.index.tolist() == MONTHS
    assert np.isnan(own.loc[MISSING, ["numerator", "proportion"]].astype(float)).all()
    assert own["proportion"].drop(MISSING).notna().all()
    counted = result.measures
    counted = counted[
        (counted["measure"] == "checks_on_time") & (counted["period"] == MISSING)
    ]
    assert (counted["numerator"] == 0).all()


def test_the_page_shows_a_gap_and_a_run_on_both_sides_of_it(
    result: AuditResult,
) -> None:
    page = Page(wards_and_months(result).html)
    alts = [attrs["alt"] for attrs in page.named("img")]
    [said] = [alt for alt in alts if alt.startswith("Checks on time, by month")]
    assert f"{MISSING} no figure" in said
    assert said.count("no figure") == 1
    assert "trial p' chart" in said
    # One sentence a ward, and one stretch for all months of a run.
    assert (
        "Checks on time: a long run below the centre, 2025-01 to 2025-12; a long run "
        "above the centre, 2026-01 to 2026-08; below the lower limit in 2025-01, "
        "2025-03, 2025-05, 2025-07 to 2025-08, 2025-12; above the upper limit in "
        "2026-01 to 2026-08; few crossings of the centre up to 2026-08."
    ) in page.text
    assert page.text.count("Alder Ward:") == 2  # its signals, its hours of the day


def test_the_month_after_it_has_no_month_before(result: AuditResult) -> None:
    after = replace(result, month="2025-11")
    assert (
        "Nothing can be compared with October 2025"
        in Page(sections.what_changed(after).html).text
    )
    own = result.comparisons[result.comparisons["period"] == "2025-11"]
    assert own["change"].isna().all()


def test_a_month_without_a_row_is_no_column_of_a_ward(result: AuditResult) -> None:
    text = Page(sections.each_ward(replace(result, month="2025-11")).html).text
    assert "September 2025" in text
    assert "October 2025" not in text
