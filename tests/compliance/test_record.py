"""Record: what checks recorded. All cases in one audit, an infusion each."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from analysis.audit import AuditResult
from analysis.terms import Tally
from tests.tiny import START, Row, after, audit, syringe, units_of, whole

VOLUME, SITE, SOLUTION = "volume_recorded", "site_recorded", "solution_recorded"
BOX, BATTERY, LABEL = "box_locked", "battery_recorded", "label_recorded"
CHECKER = "checker_recorded"
MEASURES = (VOLUME, SITE, SOLUTION, BOX, BATTERY, LABEL, CHECKER)

FULL: dict[str, Any] = {
    "site_signs": "none",
    "solution_appearance": "clear",
    "lockbox_locked": "yes",
    "battery_pct": 80,
    "label_present": "yes",
    "checked_by": "AB",
}
AFTER_END = "charted after the infusion's end"
UNREADABLE = "charted, but not readable"


@dataclass(frozen=True)
class Case:
    """A check at 4 h, and what one measure should say of it."""

    says: str
    measure: str
    outcome: str
    cells: dict[str, object]
    options: dict[str, Any] = field(default_factory=dict)
    more: tuple[Row, ...] = ()


def blank(measure: str, column: str) -> Case:
    return Case("a blank is not recorded", measure, "not recorded", {column: ""})


def unreadable(measure: str, column: str, word: str) -> Case:
    says = "what cannot be read is neither recorded nor blank"
    return Case(says, measure, UNREADABLE, {column: word})


AT_4_H = {"entry": "check", "checked_at": after(START, 4)}

CASES = (
    Case("a volume remaining", VOLUME, "recorded", {}),
    Case("an empty syringe", VOLUME, "recorded", {"volume_remaining_ml": 0}),
    Case(
        "a volume delivered alone",
        VOLUME,
        "recorded",
        {"volume_remaining_ml": "", "volume_delivered_ml": 2.7},
    ),
    Case(
        "the display's volume alone",
        VOLUME,
        "recorded",
        {"volume_remaining_ml": "", "display_remaining_ml": 13.3},
    ),
    blank(VOLUME, "volume_remaining_ml"),
    unreadable(VOLUME, "volume_remaining_ml", "smudged"),
    Case("an impossible volume", VOLUME, UNREADABLE, {"volume_remaining_ml": 133}),
    Case(
        "an unreadable volume beside a readable one",
        VOLUME,
        "recorded",
        {"volume_remaining_ml": "smudged", "volume_delivered_ml": 2.7},
    ),
    Case("no sign seen", SITE, "recorded", {"site_signs": "none"}),
    Case("a sign seen", SITE, "recorded", {"site_signs": "redness;pain"}),
    Case(
        "a sign seen and a word not read", SITE, "recorded", {"site_signs": "pain;zz"}
    ),
    blank(SITE, "site_signs"),
    unreadable(SITE, "site_signs", "zz"),
    Case("a cloudy one", SOLUTION, "recorded", {"solution_appearance": "cloudy"}),
    blank(SOLUTION, "solution_appearance"),
    unreadable(SOLUTION, "solution_appearance", "zz"),
    Case("a battery of 0", BATTERY, "recorded", {"battery_pct": 0}),
    blank(BATTERY, "battery_pct"),
    unreadable(BATTERY, "battery_pct", "250"),
    Case("no label is a record", LABEL, "recorded", {"label_present": "no"}),
    blank(LABEL, "label_present"),
    unreadable(LABEL, "label_present", "zz"),
    Case("initials", CHECKER, "recorded", {"checked_by": "AB"}),
    blank(CHECKER, "checked_by"),
    Case("found locked", BOX, "locked", {"lockbox_locked": "yes"}),
    Case("found open", BOX, "not locked", {"lockbox_locked": "no"}),
    Case("a blank is left out", BOX, "not recorded", {"lockbox_locked": ""}),
    unreadable(BOX, "lockbox_locked", "zz"),
    Case(
        "of two rows at one moment the one that says no decides",
        BOX,
        "not locked",
        {"lockbox_locked": "no"},
        more=({**AT_4_H, "lockbox_locked": "yes"},),
    ),
    Case(
        "two rows at one moment are one check, recorded by either",
        BATTERY,
        "recorded",
        {"battery_pct": 80},
        more=({**AT_4_H, "battery_pct": ""},),
    ),
    Case(
        "a pause is a check too",
        SITE,
        "not recorded",
        {"site_signs": ""},
        options={"entries": {4: "pause", 8: "resume"}},
    ),
    Case(
        "a row after the end row is left out, blank or not",
        SITE,
        AFTER_END,
        {"site_signs": ""},
        more=({"entry": "end", "checked_at": after(START, 3.5)},),
    ),
)


def rows_of(number: int, case: Case) -> list[Row]:
    own = {"infusion_id": f"I{number}", "patient_id": f"P{number}", **FULL}
    own |= {"driver_id": f"D{number}", "ward": f"Ward {number:02}"}
    cells = {4: case.cells}
    volumes = {0: 16.0, 4: 13.3, 8: 10.7}
    if "end" in {row.get("entry") for row in case.more}:
        del volumes[8]
    rows = syringe(volumes, cells=cells, **{**own, **case.options})
    common = {k: rows[0][k] for k in ("ward", "infusion_id", "patient_id", "driver_id")}
    return rows + [{**common, **row} for row in case.more]


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> AuditResult:
    rows = [row for n, case in enumerate(CASES) for row in rows_of(n, case)]
    return audit(tmp_path_factory.mktemp("record"), rows)


def at_4_h(result: AuditResult, measure: str, infusion_id: str) -> pd.Series:
    units = units_of(result, measure)
    at = pd.Timestamp(after(START, 4))
    found = units[(units["infusion_id"] == infusion_id) & (units["due_at"] == at)]
    assert len(found) == 1
    return found.iloc[0]


@pytest.mark.parametrize(
    ("number", "case"),
    [pytest.param(n, c, id=f"{c.measure}: {c.says}") for n, c in enumerate(CASES)],
)
def test_outcome(result: AuditResult, number: int, case: Case) -> None:
    found = at_4_h(result, case.measure, f"I{number}")
    assert found["outcome"] == case.outcome
    is_excluded = case.outcome in {AFTER_END, UNREADABLE}
    is_excluded |= case.measure == BOX and case.outcome == "not recorded"
    assert (found["tally"] == Tally.EXCLUDED) == is_excluded
    assert (found["tally"] == Tally.COUNTED) == (case.outcome in {"recorded", "locked"})
    assert found["reason"] == (case.outcome if is_excluded else "")


@pytest.mark.parametrize("measure", MEASURES)
def test_every_moment_is_one_check_and_the_tally_adds_up(
    result: AuditResult, measure: str
) -> None:
    units = units_of(result, measure)
    moments = result.readings[["infusion_id", "checked_at"]].drop_duplicates()
    assert len(units) == len(moments) == units["unit_id"].nunique()
    line = whole(result.measures, measure)
    judged = units[units["tally"] != Tally.EXCLUDED]
    assert line["numerator"] == (units["tally"] == Tally.COUNTED).sum()
    assert line["denominator"] == len(judged) == len(units) - line["excluded"]


@pytest.mark.parametrize(
    ("measure", "column"),
    [
        pytest.param(SITE, "site_signs", id="site signs"),
        pytest.param(SOLUTION, "solution_appearance", id="look of the solution"),
        pytest.param(BOX, "lockbox_locked", id="locked case"),
        pytest.param(BATTERY, "battery_pct", id="battery"),
        pytest.param(LABEL, "label_present", id="label"),
        pytest.param(CHECKER, "checked_by", id="checker"),
    ],
)
@pytest.mark.parametrize("how", ["absent", "blank in every row"])
def test_a_column_without_a_value_in_the_whole_export_is_not_in_this_export(
    tmp_path: Path, measure: str, column: str, how: str
) -> None:
    rows = syringe({0: 16.0, 4: 13.3, 8: 10.7}, **FULL)
    without = [{**row, column: ""} for row in rows]
    if how == "absent":
        without = [{k: v for k, v in row.items() if k != column} for row in rows]
    result = audit(tmp_path, without)
    said = result.not_in_export[measure]
    assert said == f"Not in this export: its checks have no {column}."
    line = whole(result.measures, measure)
    assert line[["units", "denominator"]].tolist() == [0, 0]
    assert pd.isna(line["proportion"])
    assert set(result.not_in_export) & set(MEASURES) == {measure}


def test_rows_of_no_infusion_stand_in_no_measure(tmp_path: Path) -> None:
    rows = syringe({0: 16.0, 4: 13.3, 8: 10.7}, **FULL)
    loose = {**rows[-1], "infusion_id": "", "checked_at": after(START, 30)}
    result = audit(tmp_path, [*rows, loose])
    assert len(result.readings) == 4
    assert whole(result.measures, SITE)["units"] == 3


def test_a_cell_is_known_as_unreadable_under_a_header_of_the_files_own(
    tmp_path: Path,
) -> None:
    volumes = {0: 16.0, 4: 13.3, 8: 10.7, 12: 8.0, 16: 5.3, 20: 2.7}
    rows = syringe(volumes, **FULL, cells={4: {"volume_remaining_ml": "l3.3"}})
    renamed = [
        {
            ("Volume left" if k == "volume_remaining_ml" else k): v
            for k, v in row.items()
        }
        for row in rows
    ]
    result = audit(tmp_path, renamed)
    assert result.set_aside["column"].tolist() == ["Volume left"]
    found = at_4_h(result, "volume_recorded", "I1")
    assert found["outcome"] == UNREADABLE
