"""Set-up: how syringes were filled, set and first looked at. All cases in one audit."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from analysis.audit import AuditResult
from analysis.policy import Policy, example_text
from analysis.terms import Tally
from tests.tiny import START, Row, after, audit, policy_but, syringe, units_of

#: Read to 0.1 mL, on the line of 0.67 mL/h.
FINE = {0: 16.0, 4: 13.3, 8: 10.6, 12: 8.0, 20: 2.6}
WHOLE = {0: 16.0, 4: 13.0, 8: 11.0, 12: 8.0, 20: 3.0}


@dataclass(frozen=True)
class Case:
    """One infusion on a ward of its own, and what each measure should say of it."""

    says: str
    expected: dict[str, str]
    volumes: dict[Any, Any] = field(default_factory=lambda: dict(FINE))
    table: dict[str, object] = field(default_factory=dict)
    options: dict[str, Any] = field(default_factory=dict)
    ward: str = ""
    without_start: bool = False
    more: tuple[Row, ...] = ()


RATE, WINDOW, SIZE = "set_rate_matches", "start_volume_in_window", "syringe_size_ok"
FIRST, SECOND = "first_check_in_time", "second_checker_recorded"
MADE = {"syringe_size_ml": 20, "made_up_to_ml": 15.5}


def rate(says: str, outcome: str, **other: Any) -> Case:
    return Case(says, {RATE: outcome}, **other)


def first(says: str, outcome: str, **other: Any) -> Case:
    return Case(says, {FIRST: outcome}, **other)


def checked_at(hour: float, **other: Any) -> dict[str, Any]:
    """Give a syringe whose first check is at `hour`, and that ends at 20 h."""
    return {"volumes": {0: 16.0, hour: 13.0, 20: 2.6}, "options": ENDED} | other


ENDED = {"entries": {20: "end"}}

CASES = (
    # Trap 21: the display rounds to 0.01 mL/h.
    rate("trap 21: 0.67 mL/h, 16.0 mL and 24 h match", "matches"),
    rate(
        "a rate of a tenth less does not match",
        "does not match",
        options={"set_rate_ml_h": 0.61},
    ),
    rate(
        "exactly the tolerance of 5 per cent matches",
        "matches",
        options={"set_rate_ml_h": 0.63},
        volumes={0: 14.4, 4: 11.9, 8: 9.4, 12: 6.8},
    ),
    rate(
        "just over the tolerance does not",
        "does not match",
        options={"set_rate_ml_h": 0.64},
        volumes={0: 14.4, 4: 11.9, 8: 9.4, 12: 6.8},
    ),
    rate(
        "on a scale of whole mL 6.5 per cent may be rounding",
        "matches",
        options={"set_rate_ml_h": 0.71},
        volumes=WHOLE,
    ),
    rate(
        "on a scale of whole mL 8 per cent may not",
        "does not match",
        options={"set_rate_ml_h": 0.72},
        volumes=WHOLE,
    ),
    rate(
        "a driver that shows tenths of mL/h may be off by half of one",
        "matches",
        options={"set_rate_ml_h": 0.6},
        volumes={0: 15.5, 4: 13.1, 8: 10.7, 12: 8.3},
    ),
    rate(
        "a rate that fits the volume before priming is said apart",
        "matches the volume before priming",
        options={"set_rate_ml_h": 0.67},
        volumes={0: 15.1, 4: 12.4, 8: 9.7, 12: 7.1},
        table={"made_up_to_ml": 16},
    ),
    rate(
        "the planned duration that is charted leads",
        "matches",
        options={"set_rate_ml_h": 1.33},
        volumes={0: 16.0, 4: 10.7, 8: 5.4},
        table={"planned_duration_h": 12},
    ),
    rate(
        "no rate on any row is named",
        "set rate not charted",
        options={"set_rate_ml_h": None},
    ),
    rate(
        "a rate of 0 is no rate",
        "set rate not charted",
        options={"set_rate_ml_h": 0},
    ),
    rate(
        "no start volume is named",
        "start volume not charted",
        volumes={**FINE, 0: None},
    ),
    rate(
        "without a rate on the start row the first one charted is taken",
        "matches",
        options={"cells": {0: {"set_rate_ml_h": None}}},
    ),
    rate(
        "a first rate that the volumes do not follow is not the set rate",
        "matches",
        options={"cells": {0: {"set_rate_ml_h": 0.76}}},
    ),
    rate(
        "a rate after a change is not the rate of the start",
        "does not match",
        options={
            "set_rate_ml_h": 0.9,
            "entries": {8: "rate_change"},
            "cells": {h: {"set_rate_ml_h": 0.67} for h in (8, 12, 20)},
        },
        volumes={0: 16.0, 4: 12.4, 8: 8.8, 12: 6.1, 20: 0.8},
    ),
    rate(
        "a rate first charted at a change says nothing of the start",
        "set rate not charted",
        options={
            "set_rate_ml_h": None,
            "entries": {8: "rate_change"},
            "cells": {h: {"set_rate_ml_h": 0.67} for h in (8, 12, 20)},
        },
    ),
    Case(
        "the lowest volume of the window is inside",
        {WINDOW: "in the window", SIZE: "size of the policy"},
        table={**MADE, "made_up_to_ml": 15},
    ),
    Case(
        "the highest volume of the window is inside",
        {WINDOW: "in the window"},
        table={**MADE, "made_up_to_ml": 16},
    ),
    Case(
        "a tenth less is below",
        {WINDOW: "below the window"},
        table={**MADE, "made_up_to_ml": 14.9},
    ),
    Case(
        "a tenth more is above",
        {WINDOW: "above the window"},
        table={**MADE, "made_up_to_ml": 16.1},
    ),
    Case(
        "a size without a window is another size, and has no window",
        {WINDOW: "no window for this syringe size", SIZE: "another size"},
        table={**MADE, "syringe_size_ml": 30},
    ),
    Case(
        "the volume in the barrel does not stand in for the volume made up",
        {WINDOW: "volume made up not charted", SIZE: "size of the policy"},
        table={"syringe_size_ml": 20, "start_volume_ml": 15.5},
    ),
    Case(
        "without a size there is nothing to compare with",
        {WINDOW: "syringe size not charted", SIZE: "syringe size not charted"},
        table={"made_up_to_ml": 15.5},
    ),
    first("a check at 4 h 30 is in time", "in time", **checked_at(4.5)),
    first("a check at 4 h 31 is late", "late", **checked_at(4 + 31 / 60)),
    first("an early look is a check in time", "in time", **checked_at(0.5)),
    first(
        "an end before it was due leaves it out",
        "ended before it was due",
        volumes={0: 16.0, 3: 14.0},
        options={"entries": {3: "end"}},
    ),
    first(
        "an end before it was due leaves it out though somebody looked",
        "ended before it was due",
        volumes={0: 16.0, 2: 14.7, 3: 14.0},
        options={"entries": {3: "end"}},
    ),
    first(
        "an end row within the grace is a look",
        "in time",
        volumes={0: 16.0, 4.2: 13.2},
        options={"entries": {4.2: "end"}},
    ),
    first(
        "an end within the grace that no row tells of leaves it out",
        "ended before it was due",
        volumes={0: 16.0},
        table={"ended_at": after(START, 4.2), "end_reason": "died"},
    ),
    first(
        "an end at 20 h and no row after the start: not made",
        "not made",
        volumes={0: 16.0},
        table={"ended_at": after(START, 20), "end_reason": "stopped"},
    ),
    first(
        "the log ends before it is late: undecided",
        "undecided",
        volumes={0: 16.0, 2: 14.7},
    ),
    first(
        "nothing after the start row, and the ward's log goes on for days",
        "end not recorded",
        volumes={0: 16.0},
        more=tuple(
            syringe(
                {0: 16.0, 4: 13.3},
                start="2026-06-08T10:03",
                infusion_id="another",
                patient_id="another",
                driver_id="another",
            )
        ),
    ),
    Case(
        "no start row leaves out what is asked of the start",
        {FIRST: "no start row in the log", SECOND: "no start row in the log"},
        without_start=True,
    ),
    first(
        "moved to another ward before the first check: neither ward's",
        "hand-over between wards",
        **checked_at(5, options={**ENDED, "cells": {5: {"ward": "Birch Ward"}}}),
    ),
    first(
        "a ward without a rule for it is left out",
        "no rule set",
        ward="Ward Without Rule",
        **checked_at(9),
    ),
    first(
        "a ward's own 1 h counts: in time at 1 h 30",
        "in time",
        ward="Early Ward",
        **checked_at(1.5),
    ),
    first(
        "a ward's own 1 h counts: late at 1 h 31",
        "late",
        ward="Early Ward",
        **checked_at(1 + 31 / 60),
    ),
    first(
        "two rows at the moment of the start are one visit",
        "late",
        volumes={0: 16.0, 6: 12.0, 20: 2.6},
        options=ENDED,
        more=({"entry": "check", "checked_at": after(START, 0)},),
    ),
    Case(
        "a second checker",
        {SECOND: "recorded"},
        options={"cells": {0: {"checked_by": "AB", "second_checked_by": "CD"}}},
    ),
    Case(
        "a blank is not recorded",
        {SECOND: "not recorded"},
        options={"cells": {0: {"checked_by": "AB"}}},
    ),
    Case(
        "the same code twice names one person",
        {SECOND: "same code as the first checker"},
        options={"cells": {0: {"checked_by": "AB", "second_checked_by": "AB"}}},
    ),
    Case(
        "a second checker of a later check is not one of the start",
        {SECOND: "not recorded"},
        options={"cells": {4: {"checked_by": "AB", "second_checked_by": "CD"}}},
    ),
)

WARDS_OF_THEIR_OWN = """
[wards."Ward Without Rule"]
set_by = "test"
first_check_h = "none"

[wards."Early Ward"]
set_by = "test"
first_check_h = 1.0
"""


def rows_of(number: int, case: Case) -> list[Row]:
    own = {
        "ward": case.ward or f"Ward {number:02}",
        "patient_id": f"P{number}",
        "infusion_id": f"I{number}",
        "driver_id": f"D{number}",
    }
    rows = syringe(case.volumes, **{**own, **case.options})
    rows = rows[1:] if case.without_start else rows
    extra = [{**own, **row} for row in case.more]
    return rows + [{**row, "ward": own["ward"]} for row in extra]


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> AuditResult:
    rows = [row for n, case in enumerate(CASES) for row in rows_of(n, case)]
    infusions = [
        {"infusion_id": f"I{n}", **case.table}
        for n, case in enumerate(CASES)
        if case.table
    ]
    policy = Policy.parse(example_text() + WARDS_OF_THEIR_OWN, "test policy")
    folder = tmp_path_factory.mktemp("set_up")
    return audit(folder, rows, infusions=infusions, policy=policy)


def unit(result: AuditResult, measure: str, infusion_id: str) -> pd.Series:
    units = units_of(result, measure)
    found = units[units["infusion_id"] == infusion_id]
    assert len(found) == 1
    return found.iloc[0]


@pytest.mark.parametrize(
    ("number", "measure", "expected"),
    [
        pytest.param(n, measure, outcome, id=f"{measure}: {case.says}")
        for n, case in enumerate(CASES)
        for measure, outcome in case.expected.items()
    ],
)
def test_outcome(result: AuditResult, number: int, measure: str, expected: str) -> None:
    found = unit(result, measure, f"I{number}")
    assert found["outcome"] == expected
    counted = {"matches", "in the window", "size of the policy", "in time", "recorded"}
    if expected in counted:
        assert found["tally"] == Tally.COUNTED
    assert (found["tally"] == Tally.EXCLUDED) == (found["reason"] == expected)


@pytest.mark.parametrize("measure", [RATE, WINDOW, SIZE, FIRST, SECOND])
def test_every_infusion_is_a_unit_and_the_tally_adds_up(
    result: AuditResult, measure: str
) -> None:
    units = units_of(result, measure)
    tally = units["tally"].value_counts()
    assert set(units["infusion_id"]) == set(result.infusions["infusion_id"])
    assert tally.sum() == len(units) == units["unit_id"].nunique()
    judged = units[units["tally"] != Tally.EXCLUDED]
    assert judged["numerator"].sum() == tally[Tally.COUNTED]
    assert judged["denominator"].sum() == len(judged)


def test_a_first_check_belongs_to_the_month_in_which_it_was_due(
    tmp_path: Path,
) -> None:
    rows = syringe({0: 16.0, 4: 13.3, 24: 0.1}, start="2026-06-30T22:00")
    found = unit(audit(tmp_path, rows), FIRST, "I1")
    assert found["month"] == "2026-07"
    assert found["first_source"] == "checks.csv:2"
    assert found["last_source"] == "checks.csv:3"


def test_a_policy_without_windows_sets_no_rule_for_sizes(tmp_path: Path) -> None:
    table = [{"infusion_id": "I1", **MADE}]
    policy = policy_but(start_volume_window_ml=[])
    result = audit(tmp_path, syringe(FINE), infusions=table, policy=policy)
    assert unit(result, WINDOW, "I1")["outcome"] == "no rule set"
    assert unit(result, SIZE, "I1")["outcome"] == "no rule set"


def test_an_infusion_that_only_the_table_names_is_a_unit(tmp_path: Path) -> None:
    lone = {
        "infusion_id": "I2",
        "ward": "Alder Ward",
        "patient_id": "P2",
        "started_at": "2026-06-02T09:00",
        **MADE,
    }
    result = audit(tmp_path, syringe(FINE), infusions=[lone])
    assert unit(result, WINDOW, "I2")["outcome"] == "in the window"
    assert unit(result, WINDOW, "I2")["first_source"] == "infusions.csv:2"
    assert unit(result, RATE, "I2")["outcome"] == "set rate not charted"


@pytest.mark.parametrize(
    ("measure", "without"),
    [
        pytest.param(RATE, "set_rate_ml_h", id="no rate in any row"),
        pytest.param(WINDOW, "made_up_to_ml", id="no volume made up"),
        pytest.param(WINDOW, "syringe_size_ml", id="no size, no window"),
        pytest.param(SIZE, "syringe_size_ml", id="no size"),
        pytest.param(SECOND, "second_checked_by", id="no second checker"),
        pytest.param(FIRST, "entry", id="no row that says start"),
        pytest.param(RATE, "volume_remaining_ml", id="no start volume"),
    ],
)
def test_what_the_export_lacks_is_said_and_never_0_per_cent(
    tmp_path: Path, measure: str, without: str
) -> None:
    rows = syringe(FINE, second_checked_by="CD", volume_delivered_ml=1.0)
    rows = [{k: v for k, v in row.items() if k != without} for row in rows]
    table = {"infusion_id": "I1", "planned_duration_h": 24, **MADE}
    table.pop(without, None)
    result = audit(tmp_path, rows, infusions=[table])
    assert result.not_in_export[measure].startswith("Not in this export: ")
    assert len(units_of(result, measure)) == 0
