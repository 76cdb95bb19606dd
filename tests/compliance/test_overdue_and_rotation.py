"""Overdue hours of sets, and rotation of cannulas: one log, a patient for each case."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from analysis.audit import AuditResult
from analysis.compliance.lines import age_in_words
from analysis.policy import Policy, example_text
from tests.compliance.test_lines import EVERY_6_H, START, extension_set, treatment
from tests.tiny import Row, after, audit, units_of, whole

#: A life of 72 h for cannulas too; Birch Ward has none of either.
WITH_ROTATION = Policy.parse(
    example_text().replace(
        'site_life_h = { value = "none"', "site_life_h = { value = 72"
    )
    + """
[wards."Birch Ward"]
set_by = "test"
extension_set_life_h = "none"
site_life_h = "none"
""",
    "test policy",
)


def cannula(number: str, **cells: Any) -> Row:
    return extension_set(
        **{"line_id": f"CN{number}", "patient_id": number, "kind": "cannula", **cells}
    )


@dataclass(frozen=True)
class Line:
    """What became of one line of one patient."""

    lines: list[Row]
    outcome: str
    over_h: float | None
    in_place_h: float | None
    rows: dict[str, Any] = field(default_factory=dict)
    hours: tuple[float, ...] = EVERY_6_H


def removed(hours: float, reason: str, **cells: Any) -> Row:
    return {
        "removed_at": after(START, hours), "removal_reason": reason, **cells
    }  # fmt: skip


SETS = {
    "removed at 20 h for a block is replaced early":
        Line([removed(20, "blockage")], "replaced early", 0, 20),
    "removed at 20 h by routine is in time":
        Line([removed(20, "routine")], "in time", 0, 20),
    "removed at 80 h for a leak is overdue all the same":
        Line([removed(80, "leak")], "overdue", 8, 80),
    "removed at 100 h is 28 h overdue":
        Line([removed(100, "routine")], "overdue", 28, 100),
    "ended with the treatment at 90 h is 18 h overdue":
        Line([removed(90, "died")], "overdue", 18, 90),
    "removed for no charted reason after the last row ended with the treatment":
        Line([removed(60, "")], "never due", 0, 60, hours=(0, 30, 60)),
    "removed for no charted reason while rows go on was replaced":
        Line([removed(60, "")], "in time", 0, 60),
    "fitted on a date alone counts from the end of that day":
        # 10:00 to midnight are 14 h: at least 86 h in place.
        Line([removed(100, "routine", inserted_at="2026-06-01")], "overdue", 14, 86),
    "no date of fitting has no hours":
        Line([removed(100, "routine", inserted_at="")], "not evaluable", None, None),
    "a ward without a rule has no hours":
        Line([removed(100, "routine", ward="Birch Ward")], "no rule set", None, None),
    "removed before it was fitted has no hours":
        Line([removed(-5, "routine")], "not evaluable", None, None),
}  # fmt: skip

SITES = {
    "removed at 20 h for redness is in time for rotation":
        Line([removed(20, "reaction")], "replaced early", None, None),
    "moved at 72 h is in time":
        Line([removed(72, "routine")], "in time", None, None),
    "moved at 73 h is overdue":
        Line([removed(73, "routine")], "overdue", None, None),
    "ended with the treatment at 40 h was never due":
        Line([removed(40, "end_of_treatment")], "never due", None, None),
    "a ward without a rule":
        Line([removed(100, "routine", ward="Birch Ward")], "no rule set", None, None),
}  # fmt: skip


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> AuditResult:
    """One log in which each case of the two tables is a patient."""
    rows, lines = [], []
    for place, (kind, cases) in enumerate(
        [("extension_set", SETS), ("cannula", SITES)]
    ):
        for number, case in enumerate(cases.values()):
            name = f"P{place}{number:02}"
            given = {"patient_id": name, "driver_id": f"D{name}", **case.rows}
            mine = treatment(*case.hours, **given)
            rows += [{**r, "infusion_id": f"{name}-{r['infusion_id']}"} for r in mine]
            lines += [
                extension_set(
                    **{"line_id": name, "patient_id": name, "kind": kind, **x}
                )
                for x in case.lines
            ]
    return audit(
        tmp_path_factory.mktemp("many"), rows, lines=lines, policy=WITH_ROTATION
    )


def unit_of(result: AuditResult, measure: str, line: str) -> pd.Series:
    units = units_of(result, measure)
    (unit,) = (row for _, row in units[units["unit_id"] == line].iterrows())
    return unit


@pytest.mark.parametrize(
    ("line", "case"),
    [pytest.param(f"P0{n:02}", c, id=f"a set {name}")
     for n, (name, c) in enumerate(SETS.items())],
)  # fmt: skip
def test_hours_of_a_set_and_what_became_of_it(
    many: AuditResult, line: str, case: Line
) -> None:
    assert unit_of(many, "lines_changed_in_time", line)["outcome"] == case.outcome
    hours = unit_of(many, "overdue_line_hours", line)
    if case.over_h is None:
        assert hours["tally"] == "excluded"
        assert hours[["numerator", "denominator"]].isna().all()
    else:
        assert hours["numerator"] == pytest.approx(case.over_h, abs=0.001)
        assert hours["denominator"] == pytest.approx(case.in_place_h, abs=0.001)
        is_over = hours["outcome"] == "overdue"
        assert is_over == (case.over_h > 0)


@pytest.mark.parametrize(
    ("line", "case"),
    [pytest.param(f"P1{n:02}", c, id=f"a cannula {name}")
     for n, (name, c) in enumerate(SITES.items())],
)  # fmt: skip
def test_a_cannula_against_the_life_the_policy_sets_for_sites(
    many: AuditResult, line: str, case: Line
) -> None:
    unit = unit_of(many, "sites_rotated_in_time", line)
    assert unit["outcome"] == case.outcome
    in_time = case.outcome in {"in time", "replaced early"}
    assert (unit["tally"] == "counted") == in_time
    findings = many.findings[many.findings["patient_id"] == line]
    kinds = findings.loc[findings["group"] == "line", "kind"].tolist()
    assert kinds == ["site_overdue"] * (case.outcome == "overdue")


def test_overdue_hours_add_up_and_are_given_per_100_line_days(
    many: AuditResult,
) -> None:
    line = whole(many.measures, "overdue_line_hours")
    assert line["numerator"] == pytest.approx(8 + 28 + 18 + 14, abs=0.01)
    hours = sum(case.in_place_h or 0 for case in SETS.values())
    assert line["denominator"] == pytest.approx(hours, abs=0.01)
    (measure,) = (m for m in many.declared if m.name == "overdue_line_hours")
    # 100 line-days are 2,400 line hours.
    assert (measure.per, measure.in_hours) == (2400, True)
    findings = many.findings[many.findings["kind"] == "line_overdue"]
    assert findings["hours_equivalent"].sum() == pytest.approx(line["numerator"])


@pytest.mark.parametrize(
    ("hours", "said"),
    [
        pytest.param(73, "73 h or more", id="whole hours"),
        pytest.param(72 + 1 / 60, "72 h 1 min or more", id="a minute over the limit"),
        pytest.param(72.001, "more than 72 h", id="seconds over the limit"),
        pytest.param(81.83, "81 h 49 min or more", id="rounded down: at the least"),
    ],
)
def test_an_age_is_never_said_to_be_the_limit(hours: float, said: str) -> None:
    assert age_in_words(hours, 72.0) == said


def test_sites_without_a_limit_are_excluded_and_never_a_hundred_per_cent(
    tmp_path: Path,
) -> None:
    line = cannula("P1", removed_at=after(START, 200), removal_reason="routine")
    found = audit(tmp_path, treatment(*EVERY_6_H), lines=[line])
    rotated = whole(found.measures, "sites_rotated_in_time")
    assert (rotated["units"], rotated["excluded"], rotated["denominator"]) == (1, 1, 0)
    assert rotated[["proportion", "low", "high"]].isna().all()
    reasons = found.exclusions[found.exclusions["measure"] == "sites_rotated_in_time"]
    assert set(reasons["reason"]) == {"no rule set"}


@pytest.mark.parametrize(
    ("cells", "outcomes"),
    [
        pytest.param(
            {24: {"site_changed": "yes"}, 96: {"site_changed": "yes"}},
            ["in time", "never due", "not evaluable"],
            id="charted as changed 72 h apart",
        ),
        pytest.param(
            {
                24: {"site_changed": "yes"},
                30: {"site_location": "thigh"},
                96: {"site_changed": "yes"},
            },
            ["in time", "never due", "not evaluable"],
            id="a change charted in the old place and seen in the new is one",
        ),
        pytest.param(
            {24: {"site_changed": "yes"}, 96: {"site_location": "thigh"}},
            ["in time", "never due", "not evaluable"],
            id="found in another place after 66 to 72 h",
        ),
        pytest.param(
            {24: {"site_changed": "yes"}, 102: {"site_location": "thigh"}},
            ["indeterminate", "never due", "not evaluable"],
            id="found in another place after 72 to 78 h",
        ),
    ],
)
def test_cannulas_known_by_their_changes_only(
    tmp_path: Path, cells: dict[float, Row], outcomes: list[str]
) -> None:
    hours, place = range(0, 115, 6), "abdomen"
    per_row: dict[Any, Row] = {}
    for hour in hours:
        own = cells.get(hour, {})
        place = str(own.get("site_location", place))
        changed = own.get("site_changed", "no")
        per_row[hour] = {"site_changed": changed, "site_location": place}
    found = audit(tmp_path, treatment(*hours, per_row=per_row), policy=WITH_ROTATION)
    units = units_of(found, "sites_rotated_in_time")
    assert sorted(units["outcome"]) == outcomes
