"""Wards beside each other: nothing is said of few, and little of many."""

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.compliance import Measure
from analysis.compliance.checks import CHECKS_ON_TIME, COVERED_TIME
from analysis.intervals import Proportion, newcombe, wilson
from analysis.policy import Policy
from analysis.wards import compare_wards, funnel_of, months_held

POLICY = Policy.example()
HABIT = replace(CHECKS_ON_TIME, name="habit", is_habit=True)
READ = replace(CHECKS_ON_TIME, name="read", from_readings=True)
DECLARED = (CHECKS_ON_TIME, COVERED_TIME, HABIT, READ)


def row(ward: str, period: str, x: float, n: float, **cells: Any) -> dict[str, Any]:
    """Write a line of the measures table, with plain Wilson limits."""
    low, high = wilson(np.array([x]), np.array([n]))
    line = {
        "measure": "checks_on_time",
        "ward": ward,
        "period": period,
        "units": int(n),
        "numerator": float(x),
        "denominator": float(n),
        "excluded": 0,
        "patients": 40,
        "design_effect": 1.0,
        "proportion": x / n if n else np.nan,
        "low": low[0],
        "high": high[0],
    }
    return line | cells


def wards(counts: list[int], size: int = 200, **cells: Any) -> pd.DataFrame:
    """Give a month of wards of one size, named in alphabetical order."""
    return pd.DataFrame(
        [
            row(f"Ward {chr(65 + place)}", "2026-10", count, size, **cells)
            for place, count in enumerate(counts)
        ]
    )


# Wards that lie as chance has it about 90 per cent of 200, and one far from them.
USUAL = [180, 176, 184, 181, 179, 172, 188, 183, 177, 180, 185, 175, 178, 182, 180]
APART = 110


@pytest.mark.parametrize(
    ("count", "has_limits", "different"),
    [
        pytest.param(9, False, 0, id="nine wards have no limits"),
        pytest.param(10, True, 0, id="ten have exact ones, and none is different"),
        pytest.param(11, True, 0, id="eleven likewise"),
        pytest.param(15, True, 1, id="of fifteen one is different"),
    ],
)
def test_limits_and_different_by_number_of_wards(
    count: int,
    has_limits: bool,  # noqa: FBT001 - a case
    different: int,
) -> None:
    found = compare_wards(wards([*USUAL[: count - 1], APART]), POLICY, DECLARED)
    assert len(found) == count
    assert found["limit_low"].notna().all() == has_limits
    assert found["limit_high"].notna().all() == has_limits
    said = found["different"].value_counts()
    if count < 12:
        assert not len(said)
    else:
        assert said.to_dict() == {"no": count - different, "yes": different}
        assert found.loc[found["different"] == "yes", "numerator"].tolist() == [APART]


def test_wards_that_spread_more_than_chance_are_not_different_for_that() -> None:
    # From 55 to 97 per cent of 200 each: chance alone would call nearly all outside.
    spread = list(range(110, 195, 7))
    found = compare_wards(wards(spread), POLICY, DECLARED)
    assert set(found["different"]) == {"no"}
    exact = compare_wards(wards(spread[:11]), POLICY, DECLARED)
    outside = (exact["proportion"] < exact["limit_low"]) | (
        exact["proportion"] > exact["limit_high"]
    )
    assert outside.sum() >= 6
    assert exact["different"].isna().all()


def test_a_ward_of_few_units_takes_no_part_and_is_not_named_different() -> None:
    table = wards([*USUAL[:11], APART])
    few = table["ward"] == "Ward L"
    table.loc[few, ["units", "denominator", "numerator", "patients"]] = [9, 9.0, 0.0, 2]
    found = compare_wards(table, POLICY, DECLARED).set_index("ward")
    assert found.loc["Ward L", "shown"] == "counts only"
    assert found.loc[["Ward L"], "limit_low"].isna().all()
    # Eleven are left, which is too few for the wider limits.
    assert found["different"].isna().all()


@pytest.mark.parametrize("count", [12, 15])
def test_all_wards_are_never_compared_with_themselves(count: int) -> None:
    table = wards(USUAL[:count])
    every = row("all", "2026-10", table["numerator"].sum(), table["denominator"].sum())
    table = pd.concat([table, pd.DataFrame([every])])
    found = compare_wards(table, POLICY, DECLARED).set_index("ward")
    assert found.loc["all", ["limit_low", "limit_high", "different"]].isna().all()


def test_a_charting_habit_is_never_compared() -> None:
    table = pd.concat(
        [
            wards([*USUAL[:14], APART], measure="habit"),
            wards([*USUAL[:14], APART], measure="habit").assign(period="2026-09"),
        ]
    )
    found = compare_wards(table, POLICY, DECLARED)
    blank = ["change", "change_low", "change_high", "limit_low", "different"]
    assert found[blank].isna().all().all()
    assert (found["shown"] == "proportion").all()


def test_hours_are_compared_by_the_units_they_are_worth() -> None:
    # The same hours charted by ten times as many patients have narrower limits.
    def limits(worth: float) -> pd.Series:
        low, high = wilson(np.array([0.9 * worth]), np.array([worth]))
        cells: dict[str, Any] = {
            "measure": "covered_time",
            "low": low[0],
            "high": high[0],
        }
        found = compare_wards(wards([180] * 10, **cells), POLICY, DECLARED)
        return (found["limit_high"] - found["limit_low"]).round(3)

    few, many = limits(50), limits(500)
    assert (many < 0.4 * few).all()
    none: dict[str, Any] = {"measure": "covered_time", "low": np.nan, "high": np.nan}
    found = compare_wards(wards([180] * 12, **none), POLICY, DECLARED)
    assert found["limit_low"].isna().all()


@pytest.mark.parametrize(
    ("before", "cells", "has_change"),
    [
        pytest.param("2026-09", {}, True, id="the month before"),
        pytest.param("2026-08", {}, False, id="not over a month without a figure"),
        pytest.param("2026-09", {"patients": 2}, False, id="not from counts only"),
        pytest.param("all", {}, False, id="not from the whole log"),
    ],
)
def test_change_from_the_month_before(
    before: str,
    cells: dict[str, Any],
    has_change: bool,  # noqa: FBT001 - a case
) -> None:
    table = pd.DataFrame(
        [row("A", before, 48, 80, **cells), row("A", "2026-10", 56, 70)]
    )
    found = compare_wards(table, POLICY, DECLARED).set_index("period")
    assert found.loc[[before], "change"].isna().all()
    change = found.loc[["2026-10"], ["change", "change_low", "change_high"]]
    if not has_change:
        assert change.isna().all().all()
        return
    # Newcombe RG (1998) Stat Med 17:873-890, Table II: 56/70 - 48/80.
    assert change.iloc[0].tolist() == pytest.approx([0.2, 0.0524, 0.3339], abs=5e-5)


def test_change_uses_the_limits_of_the_measure_and_not_its_counts() -> None:
    # Limits widened for clustering give a wider change.
    wide = {"low": 0.55, "high": 0.95}
    table = pd.DataFrame(
        [row("A", "2026-09", 48, 80), row("A", "2026-10", 56, 70, **wide)]
    )
    found = compare_wards(table, POLICY, DECLARED).iloc[1]
    plain = [np.array([v]) for v in table.loc[0, ["proportion", "low", "high"]]]
    expected = newcombe(
        Proportion(np.array([0.8]), np.array([0.55]), np.array([0.95])),
        Proportion(*plain),
    )
    got = [found["change_low"], found["change_high"]]
    assert got == pytest.approx([e[0] for e in expected])
    assert got[0] < 0.0524


@pytest.mark.parametrize(
    ("measure", "ward", "has_change"),
    [
        pytest.param(READ, "A", False, id="measured in another way: no change"),
        pytest.param(READ, "B", True, id="another ward's change splits nothing"),
        pytest.param(READ, "all", False, id="any ward's change splits all together"),
        pytest.param(CHECKS_ON_TIME, "A", True, id="times are not volumes"),
    ],
)
def test_no_change_is_given_across_a_change_of_measurement(
    measure: Measure,
    ward: str,
    has_change: bool,  # noqa: FBT001 - a case
) -> None:
    splits = pd.DataFrame({"ward": ["A"], "month": ["2026-10"], "split": ["finer"]})
    cells = {"measure": measure.name}
    table = pd.DataFrame(
        [row(ward, f"2026-{m}", 48, 80, **cells) for m in ("09", "10", "11")]
    )
    found = compare_wards(table, POLICY, DECLARED, splits).set_index("period")
    assert found.loc[["2026-10"], "change"].notna().all() == has_change
    assert found.loc[["2026-11"], "change"].notna().all()


def test_a_few_days_before_the_month_are_no_month_before() -> None:
    table = pd.DataFrame(
        [row("A", f"2026-{m}", 48, 80) for m in ("08", "09", "10", "11")]
    )
    held = months_held(rows_at("2026-08-28", "2026-09-10", "2026-10-05", "2026-11-07"))
    assert held.tolist() == [
        (ward, month) for ward in ("A", "all") for month in ("2026-09", "2026-10")
    ]
    found = compare_wards(table, POLICY, DECLARED, months=held).set_index("period")
    assert found["change"].notna().tolist() == [False, False, True, False]


def rows_at(*days: str, ward: str = "A") -> pd.DataFrame:
    """Give rows of one ward at nine in the morning."""
    times = pd.to_datetime([f"{day} 09:00" for day in days])
    return pd.DataFrame(
        {"ward": ward, "checked_at": times.tz_localize("Europe/London")}
    )


def test_a_month_of_which_nothing_was_exported_is_no_month_before() -> None:
    days = ("2026-07-03", "2026-08-10", "2026-10-05", "2026-11-20")
    table = pd.DataFrame(
        [row("A", f"2026-{m}", 48, 80) for m in ("07", "08", "09", "10", "11")]
    )
    held = months_held(rows_at(*days))
    assert ("A", "2026-09") not in held
    found = compare_wards(table, POLICY, DECLARED, months=held).set_index("period")
    assert found["change"].notna().tolist() == [False, True, False, False, True]


def test_a_month_is_missing_from_the_ward_that_has_no_row_in_it() -> None:
    some = rows_at("2026-07-03", "2026-09-20"), rows_at("2026-08-10", ward="B")
    held = months_held(pd.concat(some).sort_values("checked_at"))
    assert ("A", "2026-08") not in held
    assert ("B", "2026-08") in held
    assert ("all", "2026-08") in held


@pytest.mark.parametrize(
    ("table", "rows"),
    [
        pytest.param(wards([]).reindex(columns=wards([1]).columns), 0, id="no line"),
        pytest.param(wards([0] * 12, 0), 12, id="a month with nothing due"),
        pytest.param(wards([200] * 12), 12, id="wards that are all perfect"),
        pytest.param(wards([1], 1), 1, id="a ward of one unit"),
    ],
)
def test_odd_tables_are_stated_and_never_a_crash(
    table: pd.DataFrame, rows: int
) -> None:
    before = table.copy(deep=True)
    found = compare_wards(table, POLICY, DECLARED)
    assert len(found) == rows
    assert not (found["different"] == "yes").any()
    nothing = found["denominator"] == 0
    assert (found.loc[nothing, "shown"] == "nothing due").all()
    assert found.loc[nothing, ["proportion", "limit_low"]].isna().all().all()
    pd.testing.assert_frame_equal(table, before)


def test_a_funnel_holds_what_the_table_says() -> None:
    found = compare_wards(wards([*USUAL[:14], APART]), POLICY, DECLARED)
    funnel = funnel_of(found, CHECKS_ON_TIME, "2026-10")
    assert funnel is not None
    assert funnel.is_widened
    assert funnel.centre == pytest.approx((sum(USUAL[:14]) + APART) / 3000)
    at = funnel.curves(funnel.wards["size"].to_numpy())
    assert at["wide_low_998"].round(6).tolist() == funnel.wards["limit_low"].tolist()
    assert (at["low_998"] > at["wide_low_998"]).all()
    assert (at["low_95"] > at["low_998"]).all()
    assert funnel.wards["ward"].is_monotonic_increasing


def test_too_few_wards_have_no_funnel() -> None:
    found = compare_wards(wards(USUAL[:9]), POLICY, DECLARED)
    assert funnel_of(found, CHECKS_ON_TIME, "2026-10") is None
    ten = compare_wards(wards(USUAL[:10]), POLICY, DECLARED)
    funnel = funnel_of(ten, CHECKS_ON_TIME, "2026-10")
    assert funnel is not None
    assert not funnel.is_widened
    assert funnel.curves(np.array([100.0])).shape == (1, 5)


def test_by_chance_alone_few_wards_are_called_different() -> None:
    # Seeded: 400 logs of 20 wards that differ as wards do (beta, SD 0.05) and no more.
    rng = np.random.default_rng(8)
    size = rng.integers(40, 400, (400, 20))
    share = rng.beta(0.85 * 50, 0.15 * 50, (400, 20))
    counts = rng.binomial(size, share)
    low, high = wilson(counts.ravel(), size.ravel())
    table = pd.DataFrame(
        {
            "measure": "checks_on_time",
            "ward": np.tile([f"W{i}" for i in range(20)], 400),
            "period": np.repeat([f"{1600 + i}-01" for i in range(400)], 20),
            "units": size.ravel(),
            "numerator": counts.ravel().astype(float),
            "denominator": size.ravel().astype(float),
            "excluded": 0,
            "patients": 40,
            "proportion": (counts / size).ravel(),
            "low": low,
            "high": high,
        }
    )
    found = compare_wards(table, POLICY, DECLARED)
    called = found["different"] == "yes"
    # 0.2 % by design; the spread is estimated from the wards themselves.
    assert called.mean() <= 0.004
    # And yet the limits do say something of a ward that is far off.
    far = table.index % 20 == 7
    table.loc[far, ["numerator", "proportion"]] = [0.0, 0.0]
    found = compare_wards(table, POLICY, DECLARED)
    assert (found.loc[found["numerator"] == 0, "different"] == "yes").mean() > 0.9
