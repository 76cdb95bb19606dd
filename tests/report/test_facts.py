"""Facts of a report, asked for as facts and not as HTML."""

import math
from collections.abc import Callable
from dataclasses import replace

import pandas as pd
import pytest

from analysis.audit import AuditResult
from analysis.report import facts
from analysis.report.definitions import cautions, definition
from analysis.terms import FindingKind

MONTH = "2026-10"


def test_every_kind_of_finding_has_words() -> None:
    assert set(facts.KIND_WORDS) == set(FindingKind)


def test_findings_of_the_month_only(result: AuditResult) -> None:
    found = facts.month_findings(result)
    assert set(found["month"]) == {MONTH}
    assert set(found["kind"]) == {str(kind) for kind in FindingKind}


def test_order_of_what_to_look_at_first(result: AuditResult) -> None:
    kinds = facts.in_order(facts.month_findings(result))["kind"].tolist()
    assert kinds[:6] == [
        "may_still_be_running",
        "over_delivery",
        "surge",
        "stall_to_end",
        "stall",
        "slow",
    ]


@pytest.mark.parametrize(
    ("hours", "first"),
    [
        pytest.param([2.0, 9.0], "b", id="most hours first"),
        pytest.param([-9.0, 2.0], "a", id="the sign of hours does not matter"),
        pytest.param([None, 2.0], "b", id="hours that are not known come last"),
        pytest.param([3.0, 3.0], "a", id="a tie is settled by the finding's id"),
    ],
)
def test_order_within_a_step(
    hours: list[float | None], first: str, result: AuditResult
) -> None:
    stalls = result.findings[result.findings["kind"] == "stall"].head(2)
    pair = stalls.assign(
        ward="W",
        finding_id=["a", "b"],
        volume_ml=-1.0,
        hours_equivalent=pd.Series(hours, index=stalls.index, dtype="float64"),
    )
    assert facts.in_order(pair)["finding_id"].iloc[0] == first
    assert facts.in_order(pair[::-1])["finding_id"].iloc[0] == first


def test_a_running_infusion_with_another_finding_leads_the_list(
    result: AuditResult,
) -> None:
    findings = result.findings.copy()
    running = findings[findings["kind"] == "may_still_be_running"].iloc[0]
    stall = findings.index[findings["kind"] == "stall"][0]
    for name in ("infusion_id", "ward", "patient_id"):
        findings.loc[stall, name] = running[name]
    changed = replace(result, findings=findings)
    now = facts.act_now(changed)
    assert now.running_flagged["kind"].tolist() == ["stall"]
    first = facts.charts_to_pull(changed, 12).charts[0]
    assert first.infusion_id == running["infusion_id"]
    assert first.findings["kind"].tolist() == ["stall", "may_still_be_running"]


def test_running_infusions_are_in_the_order_of_their_other_findings(
    result: AuditResult,
) -> None:
    findings = result.findings.copy()
    is_running = findings["kind"] == "may_still_be_running"
    two = findings.index[is_running][:2]
    # Whichever of the two the running findings name first, over-delivery leads.
    for early, late in (two, two[::-1]):
        changed = findings.copy()
        for kind, of in (("surge", early), ("stall", late)):
            row = changed.index[changed["kind"] == kind][0]
            for name in ("infusion_id", "ward", "patient_id"):
                changed.loc[row, name] = changed.loc[of, name]
        pulls = facts.charts_to_pull(replace(result, findings=changed), 2).charts
        assert [p.findings["kind"].iloc[0] for p in pulls] == ["surge", "stall"]
        assert {p.findings["kind"].iloc[-1] for p in pulls} == {"may_still_be_running"}


def test_a_finding_is_seen_at_a_reading_or_when_something_was_due(
    result: AuditResult,
) -> None:
    pair = result.findings[result.findings["first_visible"].notna()].head(2).copy()
    read = pair["first_visible"].iloc[0]
    due = read - pd.Timedelta(hours=5)
    pair["began_earliest"] = due
    pair.loc[pair.index[1], "first_visible"] = pd.NaT
    assert facts.seen_at(pair).tolist() == [read, due]


def test_running_alone_is_no_chart_to_pull(result: AuditResult) -> None:
    listed = facts.charts_to_pull(result, 99).charts
    kinds = {kind for pull in listed for kind in pull.findings["kind"]}
    assert "may_still_be_running" not in kinds
    assert len(facts.act_now(result).running) == 2


@pytest.mark.parametrize("limit", [1, 5, 99])
def test_no_chart_is_lost_by_the_limit(limit: int, result: AuditResult) -> None:
    short = facts.charts_to_pull(result, limit)
    full = facts.charts_to_pull(result, 1000)
    assert len(short.charts) + short.more == len(full.charts)
    assert [c.infusion_id for c in short.charts] == [
        c.infusion_id for c in full.charts[:limit]
    ]
    # Every kind once in the month, and what may still be running is no reason.
    assert sum(len(c.findings) for c in full.charts) == len(FindingKind) - 1


def test_wards_are_alphabetical_and_without_all(result: AuditResult) -> None:
    names = facts.wards(result)
    assert names == sorted(names)
    assert "all" not in names
    assert len(names) == 4


def test_months_go_back_from_the_month_of_the_report(result: AuditResult) -> None:
    assert facts.periods(result, 4) == [MONTH, "2026-09"]
    september = replace(result, month="2026-09")
    assert facts.periods(september, 4) == ["2026-09"]


def test_a_measure_at_another_grace_stands_beside_its_own(result: AuditResult) -> None:
    assert facts.measures(result) == [
        "covered_time",
        "checks_on_time",
        "checks_on_time_grace_1.0",
        "lines_changed_in_time",
        "box_locked",
    ]


def test_standing_counts_evaluable_infusions_of_the_month(result: AuditResult) -> None:
    month = result.infusions[result.infusions["month"] == MONTH]
    *wards, total = facts.standings(result)
    assert total.infusions + total.not_evaluable == len(month)
    for name in ("infusions", "delivery", "not_evaluable"):
        assert getattr(total, name) == sum(getattr(ward, name) for ward in wards)
    assert total.delivery > 0


def test_counts_only_have_no_percentage(result: AuditResult) -> None:
    measured = facts.all_measured(result)
    hidden = [m for m in measured.values() if m.shown != "proportion"]
    assert hidden
    assert all(math.isnan(m.proportion) for m in hidden)
    assert all(math.isnan(m.low) for m in hidden)


def test_a_ward_without_a_rule_is_said_to_have_none(result: AuditResult) -> None:
    comparisons = result.comparisons.copy()
    own = (comparisons["ward"] == "Alder ward") & (comparisons["period"] == MONTH)
    own &= comparisons["measure"].isin(["checks_on_time", "lines_changed_in_time"])
    comparisons.loc[own, "shown"] = "nothing due"
    row = {"ward": "Alder ward", "period": MONTH, "units": 9}
    reasons = [
        {**row, "measure": "checks_on_time", "reason": "no rule set"},
        {**row, "measure": "lines_changed_in_time", "reason": "no rule set"},
        {**row, "measure": "lines_changed_in_time", "reason": "never due"},
    ]
    changed = replace(result, comparisons=comparisons, exclusions=pd.DataFrame(reasons))
    measured = facts.all_measured(changed)
    assert measured["checks_on_time", "Alder ward", MONTH].shown == "no rule set"
    assert measured["lines_changed_in_time", "Alder ward", MONTH].shown == "nothing due"
    assert not measured["checks_on_time", "Alder ward", MONTH].has_figure


@pytest.mark.parametrize(
    ("month", "is_part"), [("2026-08", True), ("2026-09", True), ("2026-10", False)]
)
def test_a_month_that_the_log_does_not_hold_whole(
    month: str,
    is_part: bool,  # noqa: FBT001 - a column of a table of cases
    result: AuditResult,
) -> None:
    # The log begins on 2 September at 09:40, more than a day into the month.
    assert facts.is_part(result, month) is is_part


def test_trust_adds_up(result: AuditResult) -> None:
    trust = facts.trust(result)
    assert trust.rows_read == (
        trust.accepted + trust.rejected + trust.superseded + trust.exact_duplicates
    )
    assert trust.rejected == len(result.rejected)
    assert trust.not_evaluable == {"no volume reading": 4}
    month = result.infusions[result.infusions["month"] == MONTH]
    ends = month["end_kind"].value_counts()
    assert trust.end_not_recorded == ends["end not recorded"] == 3
    # Each infusion has one kind of end: none is counted under two names.
    assert ends.sum() == trust.infusions
    assert trust.derived_infusions == 0


def test_derived_ids_are_counted(result: AuditResult) -> None:
    infusions = result.infusions.copy()
    infusions.loc[infusions.index[:3], "infusion_id"] = ["derived-A", "derived-B", "C"]
    assert facts.trust(replace(result, infusions=infusions)).derived_infusions == 2


def test_readings_to_draw(result: AuditResult) -> None:
    infusion = (
        facts.month_findings(result)
        .query("kind == 'doubtful_reading'")["infusion_id"]
        .iloc[0]
    )
    drawn = facts.readings_of(result, infusion)
    assert drawn["elapsed_h"].is_monotonic_increasing
    assert drawn["observed_ml"].round(1).tolist() == [
        16.0,
        13.4,
        13.4,
        8.0,
        5.2,
        2.7,
        0.3,
    ]
    assert drawn["is_doubtful"].tolist() == [False, False, True, *[False] * 4]


def test_time_unseen_runs_from_earliest_onset_to_the_first_check() -> None:
    row = {
        "began_earliest": pd.Timestamp("2026-10-25 00:30", tz="Europe/London"),
        "first_visible": pd.Timestamp("2026-10-25 04:30", tz="Europe/London"),
    }
    assert facts.unseen_h(row) == 5.0  # the clocks go back in between (IANA)
    assert facts.unseen_h(row, row["first_visible"] - pd.Timedelta(hours=2)) == 2.0
    assert facts.unseen_h(row, row["began_earliest"] - pd.Timedelta(hours=2)) == 5.0
    assert math.isnan(facts.unseen_h({**row, "first_visible": pd.NaT}))


def test_exclusions_by_reason(result: AuditResult) -> None:
    assert facts.exclusions(result, "all", MONTH) == {
        "lines_changed_in_time": {"never due": 2}
    }


def test_groups_of_other_findings_hold_them_all(result: AuditResult) -> None:
    groups = facts.other_findings(result)
    others = facts.month_findings(result).query("group != 'delivery'")
    assert sum(map(len, groups.values())) == len(others)
    assert next(iter(groups)) == ("charting", "doubtful_reading")


@pytest.mark.parametrize(
    ("measure", "label"),
    [
        ("covered_time", "Covered time"),
        ("checks_on_time_grace_1.0", "Checks on time, grace 1 h"),
        ("site_reactions", "Site reactions"),
    ],
)
def test_definitions(measure: str, label: str) -> None:
    assert definition(measure).label == label


def test_every_measure_of_an_audit_is_defined(result: AuditResult) -> None:
    labels = [definition(n).label for n in [*facts.measures(result), facts.REACTIONS]]
    assert len(set(labels)) == len(labels)


def test_cautions_carry_the_values_of_this_audit(
    built: Callable[..., AuditResult],
) -> None:
    said = " ".join(cautions(built()))
    for value in (
        "2.5 h",
        "0.1 mL",
        "every 4 h",
        "72 h",
        "Europe/London",
        "fewer than 5",
    ):
        assert value in said


@pytest.mark.parametrize("name", ["wards", "standings", "delivery_findings", "trust"])
def test_an_empty_month_has_facts_too(name: str, empty: AuditResult) -> None:
    found = getattr(facts, name)(empty)
    assert found is not None
    assert facts.charts_to_pull(empty, 12).charts == ()
