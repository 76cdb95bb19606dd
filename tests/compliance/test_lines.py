"""Extension sets: what became of each, by interval arithmetic."""

from pathlib import Path
from typing import Any

import pytest

from analysis.policy import Policy
from tests.tiny import (
    POLICY,
    Row,
    after,
    audit,
    kinds,
    only,
    policy_but,
    policy_with,
    syringe,
    units_of,
    whole,
)

START = "2026-06-01T10:00"


def treatment(
    *hours: float,
    end: bool = True,
    per_row: dict[Any, Row] | None = None,
    **cells: Any,
) -> list[Row]:
    """Give checks of one long-running treatment in one infusion a day."""
    rows = []
    last = hours[-1]
    for hour in hours:
        day = int(min(hour, last - 0.1) // 24)
        row: Row = {
            "ward": "Alder Ward",
            "patient_id": "P1",
            "infusion_id": f"I{day}",
            "driver_id": "D1",
            "set_rate_ml_h": 0.667,
            "entry": "end" if end and hour == last else "check",
            "checked_at": after(START, hour),
            "volume_remaining_ml": None,
            **cells,
            **(per_row or {}).get(hour, {}),
        }
        rows.append(row)
    return rows


def extension_set(**cells: Any) -> Row:
    return {
        "line_id": "XS1",
        "patient_id": "P1",
        "ward": "Alder Ward",
        "kind": "extension_set",
        "inserted_at": after(START, 0),
        **cells,
    }


EVERY_6_H = tuple(range(0, 103, 6))


@pytest.mark.parametrize(
    ("cells", "outcome", "tally"),
    [
        pytest.param(
            {"removed_at": after(START, 72), "removal_reason": "routine"},
            "in time",
            "counted",
            id="replaced exactly at 72 h",
        ),
        pytest.param(
            {"removed_at": after(START, -1), "removal_reason": "routine"},
            "not evaluable",
            "excluded",
            id="removed an hour before it was fitted",
        ),
        pytest.param(
            {"removed_at": after(START, 72.1), "removal_reason": "routine"},
            "overdue",
            "not counted",
            id="replaced at 72.1 h",
        ),
        pytest.param(
            {"removed_at": after(START, 20), "removal_reason": "leak"},
            "replaced early",
            "counted",
            id="replaced early for a fault",
        ),
        pytest.param(
            {"removed_at": after(START, 60), "removal_reason": "died"},
            "never due",
            "excluded",
            id="ended with the treatment before its limit",
        ),
        pytest.param(
            {"removed_at": after(START, 80), "removal_reason": "end_of_treatment"},
            "overdue",
            "not counted",
            id="ended with the treatment after its limit",
        ),
        pytest.param(
            {"inserted_at": "2026-06-01", "removed_at": "2026-06-04",
             "removal_reason": "routine"},
            "indeterminate",
            "excluded",
            id="dates three days apart",
        ),
        pytest.param(
            {"inserted_at": "2026-06-01", "removed_at": "2026-06-04",
             "removal_reason": "died"},
            "indeterminate",
            "excluded",
            id="dates three days apart at the end of treatment",
        ),
        pytest.param(
            {"inserted_at": "", "removed_at": after(START, 50),
             "removal_reason": "routine"},
            "not evaluable",
            "excluded",
            id="no date of fitting",
        ),
    ],
)  # fmt: skip
def test_a_set_of_the_lines_table(
    tmp_path: Path, cells: Row, outcome: str, tally: str
) -> None:
    found = audit(tmp_path, treatment(*EVERY_6_H), lines=[extension_set(**cells)])
    (unit,) = units_of(found, "lines_changed_in_time").to_dict("records")
    assert (unit["outcome"], unit["tally"]) == (outcome, tally)
    assert (unit["reason"] != "") == (tally == "excluded")
    assert kinds(found, "line") == ["line_overdue"] * (outcome == "overdue")


@pytest.mark.parametrize(
    ("last", "outcome"),
    [
        pytest.param(60, "undecided", id="at 60 h in use: undecided"),
        pytest.param(72, "undecided", id="at exactly 72 h in use: undecided"),
        pytest.param(78, "overdue", id="at 78 h in use: overdue"),
    ],
)
def test_a_set_still_in_use(tmp_path: Path, last: int, outcome: str) -> None:
    hours = range(0, last + 1, 6)
    # The day's syringe was started at the last row, so it is running at the log's end.
    rows = treatment(*hours, end=False, line_id="XS1")
    rows[-1].update(infusion_id="I9", entry="start", volume_remaining_ml=16.0)
    found = audit(tmp_path, rows, lines=[extension_set()])
    (unit,) = units_of(found, "lines_changed_in_time").to_dict("records")
    assert unit["outcome"] == outcome


def test_an_overdue_set_says_by_how_much_at_the_least(tmp_path: Path) -> None:
    line = extension_set(
        inserted_at="2026-06-01", removed_at=after(START, 100), removal_reason="routine"
    )
    found = only(audit(tmp_path, treatment(*EVERY_6_H), lines=[line]), "line_overdue")
    # Fitted at the latest at 23:59:59 on 1 June; 100 h after 10:00 less 14 h is 86 h.
    assert found["hours_equivalent"] == pytest.approx(14, abs=0.01)
    assert "86 h or more" in found["sentence"]


@pytest.mark.parametrize(
    ("policy", "outcome"),
    [
        pytest.param(policy_but(extension_set_life_h=96), "in time", id="life of 96 h"),
        pytest.param(policy_but(extension_set_grace_h=8), "in time", id="grace of 8 h"),
        pytest.param(
            policy_with(
                '\n[wards."Alder Ward"]\nset_by = "t"\nextension_set_life_h = 48\n'
            ),
            "overdue",
            id="the ward's own life of 48 h",
        ),
        pytest.param(
            policy_with(
                '\n[wards."Alder Ward"]\nset_by = "t"\nextension_set_life_h = "none"\n'
            ),
            "no rule set",
            id="the ward has no rule",
        ),
    ],
)
def test_the_limit_is_the_policys(tmp_path: Path, policy: Policy, outcome: str) -> None:
    line = extension_set(removed_at=after(START, 80), removal_reason="routine")
    found = audit(tmp_path, treatment(*EVERY_6_H), lines=[line], policy=policy)
    (unit,) = units_of(found, "lines_changed_in_time").to_dict("records")
    assert unit["outcome"] == outcome
    assert (unit["tally"] == "excluded") == (outcome == "no rule set")


@pytest.mark.parametrize(
    ("hours", "changes", "marked", "outcomes"),
    [
        pytest.param(
            (0, 6, 12, 60, 66, 72, 78, 84),
            {6: "XS2", 78: "XS3"},
            False,
            ["not evaluable", "indeterminate", "never due"],
            id="a new id 66 to 78 h on: at most 78 h, at least 66 h",
        ),
        pytest.param(
            (0, 6, 12, 60, 66, 72, 80, 84),
            {6: "XS2", 66: "XS3"},
            False,
            ["not evaluable", "in time", "never due"],
            id="a new id 54 to 66 h on is in time",
        ),
        pytest.param(
            (0, 6, 12, 60, 84, 90, 96, 102),
            {6: "XS2", 90: "XS3"},
            False,
            ["not evaluable", "overdue", "never due"],
            id="seen in place at 78 h or more is overdue",
        ),
        pytest.param(
            (0, 6, 12, 60, 72, 78, 84, 90),
            {6: "XS2", 78: "XS3"},
            True,
            ["not evaluable", "in time", "never due"],
            id="marked as changed then: exactly 72 h",
        ),
        pytest.param(
            (0, 6, 12, 60, 72, 79, 84, 90),
            {6: "XS2", 79: "XS3"},
            True,
            ["not evaluable", "overdue", "never due"],
            id="marked as changed then: exactly 73 h",
        ),
    ],
)
def test_sets_known_by_their_ids_in_the_checks(
    tmp_path: Path,
    hours: tuple[int, ...],
    changes: dict[int, str],
    marked: bool,  # noqa: FBT001 - a cell of the table of cases
    outcomes: list[str],
) -> None:
    line, per_row = "XS1", {}
    for hour in hours:
        line = changes.get(hour, line)
        per_row[hour] = {"line_id": line}
        if marked:
            per_row[hour]["line_changed"] = "yes" if hour in changes else "no"
    rows = treatment(*hours, per_row=per_row)
    units = units_of(audit(tmp_path, rows), "lines_changed_in_time")
    assert units.sort_values("unit_id")["outcome"].tolist() == outcomes


def test_a_set_that_goes_on_with_another_driver_is_one_set(tmp_path: Path) -> None:
    hours = (0, 6, 12, 24, 30, 54, 60, 66)
    lines = ("XS1", "XS2", "XS2", "XS2", "XS2", "XS2", "XS3", "XS3")
    per_row = {
        h: {"line_id": x, "driver_id": "D1" if h < 24 else "D2"}
        for h, x in zip(hours, lines, strict=True)
    }
    units = units_of(
        audit(tmp_path, treatment(*hours, per_row=per_row)),
        "lines_changed_in_time",
    ).set_index("unit_id")
    assert units.index.tolist() == ["XS1", "XS2", "XS3"]
    assert units["outcome"].tolist() == ["not evaluable", "in time", "never due"]


@pytest.mark.parametrize(
    ("changed", "outcomes"),
    [
        pytest.param((24, 96), {"not evaluable", "in time", "never due"}, id="72 h"),
        pytest.param((24, 102), {"not evaluable", "overdue", "never due"}, id="78 h"),
        pytest.param((), {"not evaluable"}, id="never charted as changed"),
    ],
)
def test_line_changed_rows_are_the_changes_where_no_ids_are_charted(
    tmp_path: Path, changed: tuple[int, ...], outcomes: set[str]
) -> None:
    hours = range(0, 115, 6)
    per_row: dict[Any, Row] = {
        h: {"line_changed": "yes" if h in changed else "no"} for h in hours
    }
    found = audit(tmp_path, treatment(*hours, per_row=per_row))
    units = units_of(found, "lines_changed_in_time")
    assert len(units) == len(outcomes)
    assert set(units["outcome"]) == outcomes
    assert not {"lines_changed_in_time", "overdue_line_hours"} & set(
        found.not_in_export
    )


def test_without_any_column_of_lines_the_measure_is_not_in_the_export(
    tmp_path: Path,
) -> None:
    found = audit(tmp_path, treatment(*EVERY_6_H), policy=POLICY)
    line = whole(found.measures, "lines_changed_in_time")
    assert (line["units"], line["denominator"]) == (0, 0)
    assert line[["proportion", "low", "high"]].isna().all()
    for name in ("lines_changed_in_time", "overdue_line_hours"):
        assert "Not in this export" in found.not_in_export[name]
    assert "no site_changed column" in found.not_in_export["sites_rotated_in_time"]


def test_a_set_belongs_to_the_month_of_the_earliest_of_change_limit_and_end(
    tmp_path: Path,
) -> None:
    rows = syringe(
        {0: 16.0, 4: 13.3, 8: 10.7, 24: 0.0}, start="2026-06-28T10:00", line_id="XS1"
    )
    late = extension_set(
        inserted_at="2026-06-27T10:00",
        removed_at="2026-07-02T10:00",
        removal_reason="routine",
    )
    (unit,) = units_of(
        audit(tmp_path, rows, lines=[late]), "lines_changed_in_time"
    ).to_dict("records")
    assert unit["month"] == "2026-06"


def test_a_set_removed_in_the_hour_that_comes_twice_is_dated(tmp_path: Path) -> None:
    rows = syringe({0: 16.0, 20: 2.7}, start="2026-10-24T10:00", line_id="XS1")
    line = extension_set(
        inserted_at="2026-10-24T10:00",
        removed_at="2026-10-25T01:30+00:00",
        removal_reason="routine",
    )
    found = audit(tmp_path, rows, lines=[line])
    (unit,) = units_of(found, "lines_changed_in_time").to_dict("records")
    assert unit["due_at"].isoformat() == "2026-10-25T01:30:00+00:00"


@pytest.mark.parametrize(
    "line",
    [
        pytest.param(
            extension_set(patient_id="P8", ward=None, inserted_at=None),
            id="nothing known but its number",
        ),
        pytest.param(extension_set(inserted_at=None), id="no date of fitting"),
        pytest.param(extension_set(patient_id="P8", ward=None), id="no row, no ward"),
    ],
)
def test_a_set_of_which_little_is_known_still_has_a_ward_and_a_month(
    tmp_path: Path, line: Row
) -> None:
    found = audit(tmp_path, treatment(0, 6, 12), lines=[line])
    (unit,) = units_of(found, "lines_changed_in_time").to_dict("records")
    assert unit["month"] == "2026-06"
    assert unit["ward"] in {"Alder Ward", "ward not recorded"}
    assert unit["tally"] == "excluded"
