"""Some thirty infusions of one log, each with a rule of the edges, counted by hand.

The check interval is 4 h in Alder Ward and 6 h in Birch Ward, with a grace of 0.5 h; a
check is missed from 2.67 h overdue on; Cedar House has no rule. Hours are those since
each infusion's start.
"""

from pathlib import Path

import pandas as pd
import pytest

from analysis.audit import AuditResult
from analysis.intake import read_exports
from analysis.observation import observe
from analysis.terms import Exclusion
from tests.compliance.cases_by_hand import CASES, Case
from tests.tiny import (
    Row,
    after,
    audit,
    moment,
    only,
    policy_with,
    syringe,
    units_of,
    whole,
)

START = "2026-06-03T08:00"
HOUR = pd.Timedelta(hours=1)

POLICY = policy_with(
    '\n[wards."Birch Ward"]\nset_by = "t"\ncheck_interval_h = 6.0\n'
    '\n[wards."Cedar House"]\nset_by = "t"\ncheck_interval_h = "none"\n'
)


def rows_of(case: Case) -> list[Row]:
    rows = syringe(
        dict.fromkeys(case.rows),
        start=after(START, case.begins)[:19],
        infusion_id=case.name,
        patient_id=case.patient_of or case.name,
        driver_id="" if case.no_driver else case.driver_of or case.name,
        set_rate_ml_h=None,
    )
    ward = case.ward
    for row, what in zip(rows, case.rows.values(), strict=True):
        if what.endswith(" Ward"):
            ward = what
        row["ward"] = ward
        if what in ("pause", "resume", "rate_change", "syringe_change", "end"):
            row["entry"] = what
    return rows


def described(case: Case) -> Row:
    ended = case.ended_at
    return {
        "infusion_id": case.name,
        "patient_id": case.patient_of or case.name,
        "ward": case.ward,
        "ended_at": "" if ended is None else after(START, case.begins + ended),
        "end_reason": case.end_reason,
    }


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("by_hand")


@pytest.fixture(scope="module")
def result(folder: Path) -> AuditResult:
    return audit(
        folder,
        [row for case in CASES for row in rows_of(case)],
        infusions=[described(case) for case in CASES if case.ended_at is not None],
        policy=POLICY,
    )


@pytest.mark.parametrize("case", [pytest.param(c, id=c.name) for c in CASES])
def test_checks_and_covered_time(result: AuditResult, case: Case) -> None:
    covered = units_of(result, "covered_time")
    own = covered[covered["infusion_id"] == case.name]
    assert own["denominator"].sum() == pytest.approx(case.hours)
    assert own["numerator"].sum() == pytest.approx(case.covered)
    checks = units_of(result, "checks_on_time")
    own = checks[checks["infusion_id"] == case.name]
    found = own["outcome"].value_counts()
    counted = tuple(found.get(word, 0) for word in ("on time", "late", "missed"))
    assert counted == (case.on_time, case.late, case.missed)
    reasons = sorted(own.loc[own["tally"] == "excluded", "reason"])
    assert reasons == sorted(map(str, case.excluded))
    assert len(own) == sum(counted) + len(case.excluded)


def test_all_add_up(result: AuditResult) -> None:
    checks = whole(result.measures, "checks_on_time")
    on_time = sum(case.on_time for case in CASES)
    due = on_time + sum(case.late + case.missed for case in CASES)
    assert (checks["numerator"], checks["denominator"]) == (on_time, due)
    assert checks["excluded"] == sum(len(case.excluded) for case in CASES)
    covered = whole(result.measures, "covered_time")
    assert covered["numerator"] == pytest.approx(sum(c.covered for c in CASES))
    assert covered["denominator"] == pytest.approx(sum(c.hours for c in CASES))


@pytest.fixture(scope="module")
def ends(result: AuditResult, folder: Path) -> pd.DataFrame:
    del result  # whose files they are
    names = ("checks.csv", "infusions.csv")
    return observe(read_exports([folder / name for name in names], POLICY), POLICY)


@pytest.mark.parametrize("case", [pytest.param(c, id=c.name) for c in CASES])
def test_until_when_it_is_observed_and_how_that_is_known(
    ends: pd.DataFrame, case: Case
) -> None:
    own = ends.loc[case.name]
    begins = moment(START) + case.begins * HOUR
    hours = (own["observed_end"] - begins) / HOUR
    assert hours == pytest.approx(case.ends)
    assert own["end_kind"] == case.kind


def test_a_check_falls_into_the_month_in_which_it_was_due(result: AuditResult) -> None:
    checks = units_of(result, "checks_on_time")
    own = checks[checks["infusion_id"] == "due on the last evening of a month"]
    assert own["due_at"].dt.strftime("%Y-%m").tolist() == ["2026-06", "2026-07"]
    lines = result.measures.query("measure == 'checks_on_time' and ward == 'all'")
    by_month = lines[lines["period"] != "all"].set_index("period")["denominator"]
    # In July: that one, and two each of the infusions at the end of the log.
    assert by_month["2026-07"] == 1 + 2 + 2


def test_three_changes_of_syringe_and_one_gap(result: AuditResult) -> None:
    changes = units_of(result, "syringe_changed_in_time").set_index("infusion_id")
    assert changes["outcome"].to_dict() == {
        "a change of syringe ends it": "in time",
        "no driver charted: until the patient's next start": "in time",
        "a gap of three hours and a half before the next syringe": "no syringe running",
    }
    assert whole(result.measures, "gap_hours")["numerator"] == pytest.approx(3.5)


def test_first_checks(result: AuditResult) -> None:
    units = units_of(result, "first_check_in_time").set_index("infusion_id")
    late = ["overdue by 2.67 h and by a second less", "a ward of another interval"]
    late.append("a ward without a rule")
    assert sorted(units.index[units["outcome"] == "late"]) == sorted(late)
    assert units.loc["a start alone, ended in the table", "outcome"] == "not made"
    reason = units.loc["a start alone, end not recorded", "reason"]
    assert reason == Exclusion.END_NOT_RECORDED
    line = whole(result.measures, "first_check_in_time")
    assert (line["numerator"], line["denominator"]) == (29, 33)


def test_the_only_findings_of_times_are_the_row_after_an_end_and_who_may_still_run(
    result: AuditResult,
) -> None:
    assert only(result, "row_after_end")["infusion_id"] == (
        "ended in the table before its last row"
    )
    assert only(result, "may_still_be_running")["infusion_id"] == (
        "running at the end of the log"
    )
