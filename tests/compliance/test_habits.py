"""Charting habits: round times, preferred digits, copies, batches."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from analysis.audit import AuditResult
from analysis.compliance.closeness import FALSE_ALARM, chance_as_close
from analysis.compliance.digits import (
    chi_square_of_digits,
    digit_preference,
    myers_blended,
)
from analysis.policy import Policy, example_text
from analysis.terms import Tally
from tests.tiny import Row, after, audit, syringe, units_of, whole

HOUR, ROUND = "exact_hour_share", "round_volume_share"
COPIED, ROWS = "copied_readings", "copied_rows"
CLOSE, BATCH = "readings_too_close", "written_in_batches"

# Published tables of digits ---------------------------------------------------------

#: Single-year counts, ages 0 to 99, males: US Census Bureau Population Analysis System,
#: SINGAGE (teaching data); Myers' index as DemoTools prints it for the same ranges.
AGES = np.array(
    [
        *(80626, 95823, 104315, 115813, 100796, 105086, 97266, 116328, 75984, 89982),
        *(95525, 56973, 78767, 65672, 53438, 85014, 47600, 64363, 42195, 42262),
        *(73221, 30080, 34391, 29072, 20531, 66171, 24029, 44227, 24128, 23599),
        *(82088, 16454, 22628, 17108, 12531, 57325, 17220, 28425, 16206, 17532),
        *(65976, 11593, 15828, 13541, 8133, 44696, 11165, 18543, 12614, 12041),
        *(55798, 9324, 10772, 10453, 6773, 28358, 9916, 13348, 8039, 7583),
        *(42470, 5288, 5317, 6582, 3361, 17949, 3650, 5873, 3279, 3336),
        *(27368, 1965, 2495, 2319, 1335, 12022, 1401, 1668, 1360, 1185),
        *(9167, 424, 568, 462, 282, 6206, 343, 409, 333, 291),
        *(4137, 133, 169, 157, 89, 2068, 68, 81, 66, 57),
    ]
)


@pytest.mark.parametrize(
    ("first", "last", "index"),
    [
        pytest.param(10, 89, 23.62787, id="ages 10 to 89"),
        pytest.param(23, 82, 29.7444, id="ages 23 to 82"),
    ],
)
def test_myers_blended_index_as_published(first: int, last: int, index: float) -> None:
    assert myers_blended(AGES[first : last + 1]) == pytest.approx(index, abs=5e-5)


@pytest.mark.parametrize(
    ("counts", "digits", "index"),
    [
        pytest.param([7] * 40, 10, 0.0, id="no ending preferred"),
        pytest.param([9, 0, 0, 0, 0, 0, 0, 0, 0, 0] * 4, 10, 90.0, id="whole mL alone"),
        pytest.param([5, 0] * 6, 2, 50.0, id="whole mL alone, read to half a mL"),
        pytest.param([7] * 10, 10, np.nan, id="one group says nothing"),
        pytest.param([0] * 40, 10, np.nan, id="nothing counted"),
    ],
)
def test_myers_blended_index_of_simple_counts(
    counts: list[int], digits: int, index: float
) -> None:
    found = myers_blended(np.array(counts), digits=digits)
    assert found == pytest.approx(index, nan_ok=True)


def test_a_fall_from_low_to_high_values_is_no_preference() -> None:
    # What blending is for (Myers 1940): the plain shares of the endings would fall too.
    counts = np.arange(140, 0, -1)
    plain = counts.reshape(-1, 10).sum(axis=0) / counts.sum()
    assert myers_blended(counts) < 50 * np.abs(plain - 0.1).sum() / 3


@pytest.mark.parametrize(
    ("counts", "statistic"),
    [
        # Gupta and Kapoor, Fundamentals of Mathematical Statistics: 5 % point 16.919.
        pytest.param(
            [1026, 1107, 997, 966, 1075, 933, 1107, 972, 964, 853],
            58.542,
            id="digits of a telephone directory",
        ),
        # A worked answer; its first terms are printed as 6.125 and 1.125.
        pytest.param(
            [15, 5, 3, 8, 5, 17, 7, 6, 9, 5], 23.5, id="last digits of 80 weights"
        ),
    ],
)
def test_chi_square_of_published_digits(counts: list[int], statistic: float) -> None:
    chi_square, p_value = chi_square_of_digits(np.array(counts))
    assert chi_square == pytest.approx(statistic, abs=5e-4)
    assert p_value == pytest.approx(stats.chi2.sf(statistic, 9), rel=1e-3)


def test_fewer_than_five_expected_of_each_ending_are_not_tested() -> None:
    assert np.isnan(chi_square_of_digits(np.full(10, 4))).all()
    assert not np.isnan(chi_square_of_digits(np.full(10, 5))).any()


def read_by(step: float, number: int, **columns: Any) -> pd.DataFrame:
    """Give so many readings of one ward, to one step, without a preference."""
    volumes = np.random.default_rng(3).uniform(1, 16, number)
    read = np.round(np.round(volumes / step) * step, 2)
    given = columns.pop("volume_delivered_ml", np.nan)
    frame = {"ward": "Alder Ward", "entry": "check", "volume_remaining_ml": read}
    return pd.DataFrame({**frame, "volume_delivered_ml": given, **columns})


def test_digit_preference_by_ward() -> None:
    plain = read_by(0.1, 400)
    liked = read_by(0.1, 400, ward="Birch Ward")
    to_half = np.random.default_rng(4).random(400) < 0.3
    halves = (liked["volume_remaining_ml"] * 2).round() / 2
    liked["volume_remaining_ml"] = liked["volume_remaining_ml"].mask(to_half, halves)
    whole_ml = read_by(1.0, 50, ward="Cedar Ward")
    half_ml = read_by(0.5, 50, ward="Dogwood Ward")
    rows = pd.concat([plain, liked, whole_ml, half_ml], ignore_index=True)
    found = digit_preference(rows).set_index("ward")
    assert found.index.tolist() == ["Alder Ward", "Birch Ward", "Dogwood Ward"]
    assert found["endings"].tolist() == [10, 10, 2]
    assert found["degrees_of_freedom"].tolist() == [9, 9, 1]
    assert found["readings"].tolist() == [400, 400, 50]
    p_value = found["p_value"].to_dict()
    assert p_value["Alder Ward"] > 0.001
    assert p_value["Birch Ward"] < 1e-6
    # 30 per cent rounded to .0 and .5, of which 2 in 10 stood there anyway.
    assert found["myers"].to_dict()["Birch Ward"] == pytest.approx(24, abs=6)


def test_no_reading_gives_an_empty_table_of_the_same_columns() -> None:
    rows = read_by(0.1, 5)
    assert list(digit_preference(rows[:0]).columns) == list(
        digit_preference(rows).columns
    )


# Worked out and not read ------------------------------------------------------------


@pytest.mark.parametrize(
    ("squares", "readings", "chance"),
    [
        pytest.param(0.09, 1, 0.6, id="one reading within 0.3 of a step: 0.6"),
        pytest.param(0.01, 2, np.pi * 0.01, id="two: the area of a circle"),
        pytest.param(0.04, 3, 4 / 3 * np.pi * 0.008, id="three: a ball"),
        pytest.param(0.0, 3, 0.0, id="all exactly on the line"),
        pytest.param(3.0, 3, 1.0, id="far off: never more than 1"),
        pytest.param(0.0, 0, 1.0, id="no reading"),
    ],
)
def test_chance_of_rounding_so_close(
    squares: float, readings: int, chance: float
) -> None:
    found = chance_as_close(pd.Series([squares]), pd.Series([readings]))
    assert found.iloc[0] == pytest.approx(chance)


@pytest.mark.parametrize("readings", [3, 5, 8])
@pytest.mark.parametrize("other_sd", [0.0, 0.4])
def test_honest_readings_are_called_too_close_at_most_1_time_in_1000(
    readings: int, other_sd: float
) -> None:
    # Rounding alone meets the stated rate exactly; any other error lowers it.
    rng = np.random.default_rng(2024)
    runs = 400_000
    off = rng.uniform(-0.5, 0.5, (runs, readings))
    off += rng.normal(0, other_sd, (runs, readings)) + rng.normal(
        0, other_sd, (runs, 1)
    )
    squares = pd.Series((off**2).sum(axis=1))
    chance = chance_as_close(squares, pd.Series(readings, index=squares.index))
    flagged = int((chance <= FALSE_ALARM).sum())
    high = stats.binom.ppf(0.9999, runs, FALSE_ALARM)
    assert flagged <= high
    if other_sd == 0:
        assert flagged >= stats.binom.ppf(0.0001, runs, FALSE_ALARM)


# Cases in one audit -----------------------------------------------------------------

START = "2026-06-01T10:03"
#: On the line of 0.67 mL/h from 16.0 mL, to 0.01 mL.
WORKED_OUT = {0: 16.0, 4: 13.32, 8: 10.64, 12: 7.96, 16: 5.28, 20: 2.6}
FINE = {0: 16.0, 4: 13.3, 8: 10.7, 12: 8.1, 16: 5.3, 20: 2.6}
#: So many readings on whole mL that a ward's step is 1 mL whatever one infusion does.
WHOLE = {hour: float(16 - hour // 2) for hour in range(32)}

SAME, MOVED = "same as the reading before", "not the same"
SAME_ROW = "whole row as the one before"
TOO_CLOSE = "closer to the line than readings are"
AS_READ = "as far from the line as readings are"
IN_BATCH, NOT_IN_BATCH = "written late in a batch", "not written late in a batch"


@dataclass(frozen=True)
class Case:
    """One infusion, and what one measure says of it, or of its check at `hour`."""

    says: str
    measure: str
    outcome: str | None
    volumes: dict[Any, Any] = field(default_factory=lambda: dict(FINE))
    hour: float | None = 8
    start: str = START
    options: dict[str, Any] = field(default_factory=dict)
    whole_ml_ward: bool = False
    ward: str = ""


def written(*late_h: float, seconds: float = 0) -> dict[str, Any]:
    """Give when the checks at 4, 8, 12 h were written, hours after the start."""
    cells = {
        hour: {"recorded_at": after(START, at + place * seconds / 3600)}
        for place, (hour, at) in enumerate(zip((4, 8, 12), late_h, strict=False))
    }
    return {"cells": cells}


ON_HOUR, OTHER = "on the exact hour", "another minute"
NO_LINE = {"set_rate_ml_h": None, "cells": {0: {"volume_remaining_ml": None}}}

CASES = (
    Case("14:00", HOUR, ON_HOUR, start="2026-06-01T10:00"),
    Case("14:03", HOUR, OTHER),
    Case("14:30", HOUR, OTHER, start="2026-06-01T10:30"),
    Case(".0", ROUND, "ends in .0 or .5", volumes={**FINE, 8: 11.0}),
    Case(".5", ROUND, "ends in .0 or .5", volumes={**FINE, 8: 10.5}),
    Case(".7", ROUND, "another ending"),
    Case("a start volume is made up and not read", ROUND, None, hour=0),
    Case("an empty syringe is no reading", ROUND, None, volumes={**FINE, 8: 0.0}),
    Case("a blank is no reading", ROUND, None, volumes={**FINE, 8: None}),
    Case(
        "a ward that reads to whole mL tells nothing",
        ROUND,
        "read in steps of 0.5 mL or coarser",
        volumes={0: 16.0, 4: 13.0, 8: 11.0},
        whole_ml_ward=True,
    ),
    Case("the same though 2.7 mL were due", COPIED, SAME, volumes={**FINE, 8: 13.3}),
    Case("not the same", COPIED, MOVED),
    Case("the start volume again", COPIED, SAME, volumes={**FINE, 4: 16.0}, hour=4),
    Case("a first reading has none before it", COPIED, None, hour=0),
    Case(
        "a blank between does not hide it",
        COPIED,
        SAME,
        volumes={**FINE, 8: None, 12: 13.3},
        hour=12,
    ),
    Case(
        "a driver that is seen stopped",
        COPIED,
        "driver not shown running",
        volumes={**FINE, 8: 13.3},
        options={"cells": {8: {"running": "no"}}},
    ),
    Case(
        "a running light that is not recorded",
        COPIED,
        "driver not shown running",
        options={"cells": {8: {"running": ""}}},
    ),
    Case(
        "a charted pause",
        COPIED,
        "paused",
        volumes={**FINE, 8: 13.3},
        options={"entries": {4: "pause", 8: "resume"}},
    ),
    Case(
        "one step exactly is too soon",
        COPIED,
        "too soon to have moved by a step",
        volumes={0: 16.0, 4: 14.0, 6: 14.0},
        hour=6,
        options={"set_rate_ml_h": 0.5},
        whole_ml_ward=True,
    ),
    Case(
        "a minute more is not",
        COPIED,
        SAME,
        volumes={0: 16.0, 4: 14.0, 6 + 1 / 60: 14.0},
        hour=6 + 1 / 60,
        options={"set_rate_ml_h": 0.5},
        whole_ml_ward=True,
    ),
    Case("without a line nothing is due", COPIED, "no set-rate line", options=NO_LINE),
    Case(
        "after the end the driver was not this one's",
        COPIED,
        "charted after the infusion's end",
        volumes={**FINE, 20: 5.3},
        hour=20,
        options={"entries": {16: "end"}},
    ),
    Case(
        "battery and all the same",
        ROWS,
        SAME_ROW,
        volumes={**FINE, 8: 13.3},
        options={"cells": {0: {"battery_pct": 90}}, "battery_pct": 80},
    ),
    Case(
        "another battery",
        ROWS,
        MOVED,
        volumes={**FINE, 8: 13.3},
        options={"cells": {8: {"battery_pct": 79}}, "battery_pct": 80},
    ),
    Case(
        "a battery that never changes says nothing",
        ROWS,
        MOVED,
        volumes={**FINE, 8: 13.3},
        options={"battery_pct": 80},
    ),
    Case(
        "another look of the site",
        ROWS,
        MOVED,
        volumes={**FINE, 8: 13.3},
        options={
            "cells": {0: {"battery_pct": 90}, 8: {"site_signs": "pain"}},
            "battery_pct": 80,
            "site_signs": "none",
        },
    ),
    Case(
        "worked out to 0.01 mL where the ward reads whole mL",
        CLOSE,
        TOO_CLOSE,
        volumes=WORKED_OUT,
        hour=None,
        whole_ml_ward=True,
    ),
    Case(
        "worked out and rounded to the ward's marks is not seen",
        CLOSE,
        AS_READ,
        volumes={k: round(v) for k, v in WORKED_OUT.items()},
        hour=None,
        whole_ml_ward=True,
    ),
    Case("read to 0.1 mL", CLOSE, AS_READ, hour=None),
    Case(
        "two readings after the start are too few",
        CLOSE,
        "fewer than three readings",
        volumes={0: 16.0, 4: 13.32, 8: 10.64},
        hour=None,
        whole_ml_ward=True,
    ),
    Case(
        "a reading minutes after another one adds nothing",
        CLOSE,
        "fewer than three readings",
        volumes={0: 16.0, 4: 13.32, 4.1: 13.25, 8: 10.64, 8.1: 10.57},
        hour=None,
        whole_ml_ward=True,
    ),
    Case(
        "a line that is on a mark at each reading tells nothing",
        CLOSE,
        "line lies on the marks at its readings",
        volumes={0: 16.0, 4: 14.0, 8: 12.0, 12: 10.0, 16: 8.0},
        hour=None,
        options={"set_rate_ml_h": 0.5},
        whole_ml_ward=True,
    ),
    Case(
        "no rate, no line to be close to",
        CLOSE,
        "no set-rate line",
        hour=None,
        options={"set_rate_ml_h": None},
    ),
    Case(
        "a line drawn through the first reading is close to it",
        CLOSE,
        "start volume not charted",
        volumes={**WORKED_OUT, 0: None},
        hour=None,
    ),
    Case("no reading after the start, no unit", CLOSE, None, {0: 16.0}, hour=None),
    Case(
        "two checks written together, both over 4 h late",
        BATCH,
        IN_BATCH,
        options=written(20, 20),
    ),
    Case("within two minutes", BATCH, IN_BATCH, options=written(20, 20, seconds=120)),
    Case(
        "two minutes and a second apart",
        BATCH,
        NOT_IN_BATCH,
        options=written(20, 20, seconds=121),
    ),
    Case(
        "4 h after the check exactly is not late",
        BATCH,
        NOT_IN_BATCH,
        options=written(12, 12),
    ),
    Case("late alone is no batch", BATCH, NOT_IN_BATCH, options=written(15, 20)),
    Case(
        "a check that is late beside one that is not",
        BATCH,
        NOT_IN_BATCH,
        options=written(4.1, 12.1, 12.1),
    ),
    Case(
        "a blank says nothing of when it was written",
        BATCH,
        "time of writing not charted",
        hour=16,
        options=written(20, 20),
    ),
    Case(
        "a ward without a rule for the interval",
        BATCH,
        "no rule set",
        options=written(20, 20),
        ward="Home Team",
    ),
)

HOME_TEAM = """
[wards."Home Team"]
set_by = "test"
check_interval_h = "none"
"""


def rows_of(number: int, case: Case) -> list[Row]:
    ward = case.ward or f"Ward {number:02}"
    own: dict[str, Any] = {"patient_id": f"P{number}", "infusion_id": f"I{number}"}
    own |= {"driver_id": f"D{number}", "running": "yes", "start": case.start}
    own |= {"ward": ward}
    rows = syringe(case.volumes, **{**own, **case.options})
    days = ("2026-05-10T10:03", "2026-05-13T10:03") if case.whole_ml_ward else ()
    for place, start in enumerate(days):
        other: dict[str, Any] = {
            "infusion_id": f"W{number}-{place}",
            "patient_id": f"W{number}",
            "driver_id": f"W{number}",
            "start": start,
            "set_rate_ml_h": 0.5,
        }
        rows += syringe(WHOLE, **{**own, **other})
    return rows


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> AuditResult:
    rows = [row for n, case in enumerate(CASES) for row in rows_of(n, case)]
    policy = Policy.parse(example_text() + HOME_TEAM, "test policy")
    return audit(tmp_path_factory.mktemp("habits"), rows, policy=policy)


@pytest.mark.parametrize(
    ("number", "case"),
    [pytest.param(n, c, id=f"{c.measure}: {c.says}") for n, c in enumerate(CASES)],
)
def test_outcome(result: AuditResult, number: int, case: Case) -> None:
    units = units_of(result, case.measure)
    units = units[units["infusion_id"] == f"I{number}"]
    if case.hour is not None:
        at = pd.Timestamp(after(case.start, case.hour))
        units = units[units["due_at"] == at]
    assert units["outcome"].tolist() == ([case.outcome] if case.outcome else [])
    counted = {ON_HOUR, "ends in .0 or .5", SAME, SAME_ROW, TOO_CLOSE, IN_BATCH}
    not_counted = {OTHER, "another ending", MOVED, AS_READ, NOT_IN_BATCH}
    if case.outcome:
        is_counted = case.outcome in counted
        expected = Tally.COUNTED if is_counted else Tally.NOT_COUNTED
        is_excluded = case.outcome not in counted | not_counted
        assert units["tally"].tolist() == [Tally.EXCLUDED if is_excluded else expected]


@pytest.mark.parametrize("measure", [HOUR, ROUND, COPIED, ROWS, CLOSE, BATCH])
def test_the_tally_adds_up(result: AuditResult, measure: str) -> None:
    units = units_of(result, measure)
    line = whole(result.measures, measure)
    assert units["unit_id"].is_unique
    assert line["units"] == len(units) > 20
    assert line["numerator"] == (units["tally"] == Tally.COUNTED).sum()
    assert line["denominator"] + line["excluded"] == len(units)


def test_every_habit_is_declared_as_one(result: AuditResult) -> None:
    habits = {m.name for m in result.declared if m.is_habit}
    assert habits == {HOUR, ROUND, COPIED, ROWS, CLOSE, BATCH}
    readings = {m.name for m in result.declared if m.is_habit and m.from_readings}
    assert readings == {ROUND, COPIED, ROWS, CLOSE}


def test_late_checks_of_two_drivers_are_no_batch(tmp_path: Path) -> None:
    late = {8: {"recorded_at": after(START, 20)}}
    rows = syringe(FINE, cells=late)
    rows += syringe(FINE, cells=late, infusion_id="I2", driver_id="D2")
    units = units_of(audit(tmp_path, rows), BATCH)
    assert set(units["outcome"]) == {NOT_IN_BATCH, "time of writing not charted"}


def test_late_checks_of_two_syringes_on_one_driver_are_a_batch(tmp_path: Path) -> None:
    late = {"recorded_at": after(START, 40)}
    rows = syringe(FINE, cells={20: late}, entries={20: "end"})
    rows += syringe(FINE, cells={4: late}, infusion_id="I2", start="2026-06-02T06:10")
    units = units_of(audit(tmp_path, rows), BATCH)
    assert (units["outcome"] == IN_BATCH).sum() == 2


@pytest.mark.parametrize(
    ("measure", "without"),
    [
        pytest.param(BATCH, "recorded_at", id="no time of writing"),
        pytest.param(COPIED, "running", id="no running light"),
        pytest.param(ROWS, "battery_pct", id="no battery, no whole row"),
        pytest.param(CLOSE, "set_rate_ml_h", id="no rate, no line"),
    ],
)
def test_what_the_export_lacks_is_said(
    tmp_path: Path, measure: str, without: str
) -> None:
    full = {"running": "yes", "battery_pct": 80, "recorded_at": after(START, 30)}
    rows = syringe(FINE, cells=dict.fromkeys(FINE, full))
    rows = [{k: v for k, v in row.items() if k != without} for row in rows]
    result = audit(tmp_path, rows)
    said = result.not_in_export[measure]
    assert said == f"Not in this export: its checks have no {without}."
    assert len(units_of(result, measure)) == 0
