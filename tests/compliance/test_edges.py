"""Bad and thin input to measures: stated, never a crash or a 100 % of nothing."""

from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from analysis.audit import AuditResult
from tests.tiny import Row, after, audit, policy_with, syringe, units_of, whole

START = "2026-06-01T10:03"


def day(start: str, **cells: Any) -> list[Row]:
    """Give a syringe checked every four hours, with its end row at 24 h."""
    volumes = {0: 16.0, 4: 13.3, 8: 10.7, 12: 8.0, 16: 5.3, 20: 2.7, 24: 0.0}
    return syringe(volumes, start=start, entries={24: "end"}, **cells)


def line(result: AuditResult, measure: str, ward: str, period: str) -> pd.DataFrame:
    table = result.measures
    return table[
        (table["measure"] == measure)
        & (table["ward"] == ward)
        & (table["period"] == period)
    ]


def no_share_of_nothing(result: AuditResult) -> None:
    """Assert of every line that it adds up and has no figure without a denominator."""
    table = result.measures
    nothing = ~(table["denominator"] > 0)
    assert table.loc[nothing, ["proportion", "low", "high"]].isna().all().all()
    assert table.loc[~nothing, "proportion"].between(0, 1).all()
    for row in table.to_dict("records"):
        units = units_of(result, row["measure"])
        if row["ward"] != "all":
            units = units[units["ward"] == row["ward"]]
        if row["period"] != "all":
            units = units[units["month"] == row["period"]]
        tally = units["tally"].value_counts()
        assert tally.sum() == row["units"]
        assert tally.get("excluded", 0) == row["excluded"]


def test_twenty_months_with_one_missing(tmp_path: Path) -> None:
    months = list(pd.period_range("2025-01", "2026-08", freq="M"))
    rows: list[Row] = []
    for number, month in enumerate(months):
        if str(month) != "2025-10":
            rows += day(
                f"{month}-10T10:03", infusion_id=f"I{number}", patient_id=f"P{number}"
            )
    found = audit(tmp_path, rows)
    no_share_of_nothing(found)
    periods = set(found.measures["period"]) - {"all"}
    assert len(periods) == 19
    assert "2025-10" not in periods
    assert line(found, "checks_on_time", "all", "2025-10").empty
    assert (whole(found.measures, "checks_on_time")["units"]) == 19 * 6


def test_a_month_in_which_nothing_fell_due(tmp_path: Path) -> None:
    # In July a ward without a rule alone had a syringe.
    rows = day(START) + day(
        "2026-07-10T10:03", ward="Birch Ward", patient_id="P2", infusion_id="I2",
        driver_id="D2",
    )  # fmt: skip
    policy = policy_with(
        '\n[wards."Birch Ward"]\nset_by = "t"\ncheck_interval_h = "none"\n'
    )
    found = audit(tmp_path, rows, policy=policy)
    no_share_of_nothing(found)
    july = line(found, "checks_on_time", "all", "2026-07").iloc[0]
    assert (july["units"], july["excluded"], july["denominator"]) == (6, 6, 0)
    reasons = found.exclusions[found.exclusions["period"] == "2026-07"]
    reasons = reasons[reasons["measure"] == "checks_on_time"]
    assert set(reasons["reason"]) == {"no rule set"}


def test_a_ward_with_one_unit_has_a_count_and_no_percentage(tmp_path: Path) -> None:
    rows = day(START) + syringe(
        {0: 16.0, 4: 13.3}, entries={4: "end"}, ward="Birch Ward", patient_id="P2",
        infusion_id="I2", driver_id="D2",
    )  # fmt: skip
    found = audit(tmp_path, rows)
    no_share_of_nothing(found)
    own = whole(found.measures, "checks_on_time", "Birch Ward")
    assert (own["numerator"], own["denominator"], own["units"]) == (1, 1, 1)
    assert own[["low", "high"]].isna().all()
    shown = whole(found.comparisons, "checks_on_time", "Birch Ward")
    assert shown["shown"] == "counts only"
    assert pd.isna(shown["proportion"])


def test_a_partial_infusion_has_no_due_check_and_not_a_hundred_per_cent(
    tmp_path: Path,
) -> None:
    ended = {
        "infusion_id": "I1", "patient_id": "P1", "ward": "Alder Ward",
        "ended_at": after(START, 3), "end_reason": "died",
    }  # fmt: skip
    found = audit(tmp_path, syringe({0: 16.0}), infusions=[ended])
    no_share_of_nothing(found)
    checks = whole(found.measures, "checks_on_time")
    assert (checks["units"], checks["denominator"]) == (0, 0)
    covered = whole(found.measures, "covered_time")
    assert (covered["numerator"], covered["denominator"]) == (3, 3)


def test_where_all_units_are_excluded_there_is_a_count_of_them_and_no_figure(
    tmp_path: Path,
) -> None:
    rows = syringe(
        {0: 16.0, 4: 16.0, 8: 16.0, 12: 16.0}, entries={0: "pause", 12: "end"}
    )
    found = audit(tmp_path, rows)
    no_share_of_nothing(found)
    for measure in ("covered_time", "checks_on_time"):
        paused = whole(found.measures, measure)
        assert (paused["units"], paused["excluded"], paused["denominator"]) == (3, 3, 0)
    assert whole(found.comparisons, "covered_time")["shown"] == "nothing due"
    hours = whole(found.measures, "gap_hours")
    assert (hours["numerator"], hours["denominator"]) == (0, 0)


@pytest.mark.parametrize(
    ("measure", "words"),
    [
        pytest.param("lines_changed_in_time", "no line_id", id="extension sets"),
        pytest.param("overdue_line_hours", "no line_id", id="hours of extension sets"),
        pytest.param("sites_rotated_in_time", "no site_id", id="cannulas"),
    ],
)
def test_a_column_that_is_always_empty_is_not_in_the_export(
    tmp_path: Path, measure: str, words: str
) -> None:
    empty = {"line_id": None, "line_changed": None, "site_id": None}
    found = audit(tmp_path, day(START, **empty))
    assert words in found.not_in_export[measure]
    absent = whole(found.measures, measure)
    assert (absent["units"], absent["denominator"]) == (0, 0)
    assert pd.isna(absent["proportion"])


def test_a_ward_override_is_that_of_the_ward_where_it_was_due(tmp_path: Path) -> None:
    # The infusion moved at 12 h: gaps of 6 h are late before, and on time after.
    policy = policy_with(
        '\n[wards."Birch Ward"]\nset_by = "t"\ncheck_interval_h = 6.0\n'
    )
    volumes = {0: 16.0, 6: 12.0, 12: 8.0, 12.5: 7.7, 18: 4.0, 24: 0.0}
    rows = syringe(volumes, entries={24: "end"})
    for row in rows[3:]:
        row["ward"] = "Birch Ward"
    found = audit(tmp_path, rows, policy=policy)
    units = units_of(found, "checks_on_time").sort_values("due_at")
    by_ward = units.groupby("ward")["outcome"].agg(list).to_dict()
    assert by_ward == {
        "Alder Ward": ["late", "late"],
        "between wards": ["hand-over between wards"],
        "Birch Ward": ["on time", "on time"],
    }


def test_all_checks_on_the_hour_are_on_time_as_recorded(tmp_path: Path) -> None:
    # Trap: checks at 02:00, 06:00, 10:00 are likely rounds. They count as recorded,
    # and the share of exact hours stands beside them.
    found = audit(tmp_path, day("2026-06-01T10:00"))
    checks = whole(found.measures, "checks_on_time")
    assert (checks["numerator"], checks["denominator"]) == (6, 6)
    hours = whole(found.measures, "exact_hour_share")
    assert hours["numerator"] == hours["denominator"] == 7


def test_a_line_fitted_before_the_month_and_changed_after_it(tmp_path: Path) -> None:
    # Trap: fitted 28 April 10:00, changed 1 May 09:00 at 71 h: in time, in May.
    rows = day("2026-04-28T10:03") + day("2026-04-29T10:13", infusion_id="I2")
    rows += day("2026-04-30T10:23", infusion_id="I3")
    fitted: Row = {
        "line_id": "XS1", "patient_id": "P1", "ward": "Alder Ward",
        "kind": "extension_set", "inserted_at": "2026-04-28T10:00",
    }  # fmt: skip
    changed = {**fitted, "removed_at": "2026-05-01T09:00", "removal_reason": "routine"}
    (unit,) = units_of(
        audit(tmp_path / "a", rows, lines=[changed]), "lines_changed_in_time"
    ).to_dict("records")
    assert (unit["outcome"], unit["month"]) == ("in time", "2026-05")
    # Up to the end of April it is open: neither in time nor overdue.
    april = [row for row in rows if str(row["checked_at"]) < "2026-05-01"]
    (unit,) = units_of(
        audit(tmp_path / "b", april, lines=[fitted]), "lines_changed_in_time"
    ).to_dict("records")
    assert (unit["outcome"], unit["tally"]) == ("undecided", "excluded")
