"""Lines of months: what may be read from them grows with their length."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.columns import COMPARISONS, INFUSION_RESULTS, RATES, READINGS, TRENDS
from analysis.compliance import measures_of
from analysis.compliance.checks import CHECKS_ON_TIME
from analysis.policy import Policy
from analysis.wards import (
    DELIVERY,
    Lines,
    follow_months,
    reading_splits,
    reading_steps,
)
from analysis.wards.trends import judge_part
from tests.tiny import audit, policy_but, syringe

POLICY = Policy.example()
READ = replace(CHECKS_ON_TIME, name="read", from_readings=True)
HABIT = replace(CHECKS_ON_TIME, name="habit", is_habit=True)
DECLARED = (CHECKS_ON_TIME, READ, HABIT)
NO_SPLITS = pd.DataFrame(columns=["ward", "month", "split"])


def months(count: int, first: str = "2024-11") -> list[str]:
    return [str(month) for month in pd.period_range(first, periods=count, freq="M")]


def held(every: list[str]) -> pd.MultiIndex:
    """Give months as held of all wards of these tests."""
    return pd.MultiIndex.from_product([["A", "B", "all"], every])


def comparisons(counted: list[float], ward: str = "A", **cells: Any) -> pd.DataFrame:
    """Give a measure of one ward over months of 100 units; NaN leaves a month out."""
    table = pd.DataFrame(
        {
            "measure": "checks_on_time",
            "ward": ward,
            "period": months(len(counted)),
            "shown": "proportion",
            "numerator": counted,
            "denominator": 100.0,
        }
    ).assign(**cells)
    return table[table["numerator"].notna()].reindex(columns=COMPARISONS.names)


def lines(table: pd.DataFrame, **parts: Any) -> Lines:
    whole = {
        "comparisons": table,
        "rates": pd.DataFrame(columns=RATES.names),
        "infusions": pd.DataFrame(columns=INFUSION_RESULTS.names),
        "splits": NO_SPLITS,
        "months": held(months(40)),
    }
    return Lines(**{**whole, **parts})


def follow(table: pd.DataFrame, **parts: Any) -> pd.DataFrame:
    return follow_months(lines(table, **parts), DECLARED, POLICY)


# Up and down by turns: crosses its centre every month, and strays nowhere.
STEADY = [84.0, 86.0] * 20


@pytest.mark.parametrize(
    ("count", "chart", "has_centre", "has_limits"),
    [
        pytest.param(1, "point", False, False, id="one month is a point"),
        pytest.param(2, "line", False, False, id="two months are a plain line"),
        pytest.param(9, "line", False, False, id="nine still are"),
        pytest.param(10, "run chart", True, False, id="ten useful points: run rules"),
        pytest.param(12, "trial p' chart", True, True, id="twelve: trial limits"),
        pytest.param(19, "trial p' chart", True, True, id="nineteen: still on trial"),
        pytest.param(20, "p' chart", True, True, id="twenty: limits that stand"),
    ],
)
def test_what_may_be_read_from_so_many_months(
    count: int,
    chart: str,
    has_centre: bool,  # noqa: FBT001 - a case
    has_limits: bool,  # noqa: FBT001 - a case
) -> None:
    found = follow(comparisons(STEADY[:count]))
    assert list(found.columns) == TRENDS.names
    assert set(found["chart"]) == {chart}
    assert found["centre"].notna().all() == has_centre
    assert found["low"].notna().all() == found["high"].notna().all() == has_limits
    assert not found["signal"].any()


def test_points_on_the_median_are_not_useful() -> None:
    # Eleven months, three of them on the median: eight useful points.
    values = [84, 86, 85, 84, 86, 85, 84, 86, 85, 84, 86]
    found = follow(comparisons([float(v) for v in values]))
    assert set(found["chart"]) == {"line"}


def test_a_missing_month_is_a_gap_with_a_row_of_its_own() -> None:
    values = [*STEADY[:9], np.nan, *STEADY[10:20]]
    found = follow(comparisons(values))
    assert len(found) == 20
    gap = found["month"] == months(20)[9]
    assert found.loc[gap, ["proportion", "low", "numerator"]].isna().all().all()
    assert found.loc[~gap, ["proportion", "low", "high"]].notna().all().all()
    assert set(found["chart"]) == {"trial p' chart"}  # nineteen points


def test_twenty_months_with_one_that_is_too_small_to_show() -> None:
    table = comparisons(STEADY[:20])
    is_small = table.index == 4
    table["shown"] = table["shown"].mask(is_small, "counts only")
    table["numerator"] = table["numerator"].mask(is_small, 1.0)
    table["denominator"] = table["denominator"].mask(is_small, 4.0)
    found = follow(table)
    assert found.loc[4, "denominator"] == 4
    assert np.isnan(found["proportion"]).tolist() == [n == 4 for n in range(20)]
    # Its few units do not move the centre of the others.
    assert found["centre"].iloc[0] == pytest.approx(1616 / 1900, abs=1e-6)


@pytest.mark.parametrize(
    ("values", "signals"),
    [
        pytest.param(
            [*STEADY[:22], 65.0, *STEADY[:2]],
            {22: "outside limits"},
            id="one month far below",
        ),
        pytest.param(
            [80.0, 82.0] * 6 + [90.0, 92.0] * 6,
            dict.fromkeys(range(23), "shift") | {23: "shift;few crossings"},
            id="two levels of twelve months",
        ),
        pytest.param(
            [80.0, 81.0, 82.0, 81.0, 80.0, 90.0, 91.0, 90.0, 92.0, 91.0],
            {9: "few crossings"},
            id="ten months that cross once",
        ),
    ],
)
def test_signals(values: list[float], signals: dict[int, str]) -> None:
    found = follow(comparisons(values))["signal"]
    assert {k: text for k, text in enumerate(found) if text} == signals


def test_the_centre_is_that_of_the_chart() -> None:
    run = judge_part(
        np.array([10.0, 80, 82, 84, 86, 88, 90, 92, 94, 96, 98]),
        np.full(11, 100.0),
        is_rate=False,
    )
    assert run["centre"].iloc[0] == 0.88  # the median, which 10 of 100 does not move
    control = judge_part(
        np.array([10.0, *[80.0] * 11]), np.array([20.0, *[100.0] * 11]), is_rate=False
    )
    assert control["centre"].iloc[0] == pytest.approx(890 / 1120, abs=1e-6)


SPLIT = pd.DataFrame(
    {"ward": ["A"], "month": [months(20)[8]], "split": ["read finer from here"]}
)


@pytest.mark.parametrize(
    ("measure", "ward", "parts"),
    [
        pytest.param("read", "A", [8, 12], id="a measure of volumes read is split"),
        pytest.param("read", "B", [20], id="not in a ward that reads as before"),
        pytest.param("read", "all", [8, 12], id="all wards together are split too"),
        pytest.param("checks_on_time", "A", [20], id="times are read as before"),
    ],
)
def test_a_change_of_reading_splits_the_line(
    measure: str, ward: str, parts: list[int]
) -> None:
    table = comparisons(STEADY[:20], ward, measure=measure)
    found = follow(table, splits=SPLIT)
    assert found.groupby("part").size().tolist() == parts
    if len(parts) == 1:
        assert not found["split"].any()
        return
    # Each part is judged by itself.
    assert found.loc[[0, 19], "chart"].tolist() == ["line", "trial p' chart"]
    words = "read finer from here" if ward == "A" else "A: read finer from here"
    assert found["split"].tolist() == [""] * 8 + [words] + [""] * 11


@pytest.mark.parametrize(
    ("month", "parts"),
    [
        pytest.param(months(9)[4], [4, 4], id="in a gap: the next month begins anew"),
        pytest.param("2020-01", [8], id="before the line begins"),
        pytest.param("2030-01", [8], id="after it ended"),
        pytest.param(months(1)[0], [8], id="in its first month"),
    ],
)
def test_a_split_where_the_line_has_no_month(month: str, parts: list[int]) -> None:
    table = comparisons([*STEADY[:4], np.nan, *STEADY[:4]], measure="read")
    found = follow(table, splits=SPLIT.assign(month=month))
    sizes = found[found["proportion"].notna()].groupby("part").size()
    assert sizes.tolist() == parts


def test_a_charting_habit_is_a_plain_line_of_any_length() -> None:
    found = follow(comparisons([80.0] * 12 + [95.0] * 12, measure="habit"))
    assert set(found["chart"]) == {"line"}
    assert not found["signal"].any()
    assert found["low"].isna().all()


def test_a_measure_given_per_hundred_of_something_has_a_u_chart() -> None:
    per = replace(CHECKS_ON_TIME, name="per", per_unit="100 treatment hours")
    table = comparisons([v / 10 for v in STEADY[:20]], measure="per")
    found = follow_months(lines(table), (per,), POLICY)
    assert set(found["chart"]) == {"u' chart"}


def test_reactions_are_a_rate_per_day_and_too_few_patients_a_gap() -> None:
    rates = pd.DataFrame(
        {
            "measure": "site_reactions",
            "ward": "A",
            "period": months(20),
            "events": [3, 5] * 10,
            "exposure_days": 400.0,
            "patients": [1, *[60] * 19],
        }
    )
    found = follow(comparisons([]), rates=rates)
    assert set(found["chart"]) == {"trial u' chart"}  # nineteen are shown
    assert np.isnan(found["proportion"].iloc[0])
    assert found["proportion"].iloc[1] == pytest.approx(0.0125)
    assert found["low"].min() >= 0


def infusions(found: list[int], judged: int = 40) -> pd.DataFrame:
    """Give infusions of one ward over months, so many of them with a finding."""
    rows = [
        {
            "ward": "A",
            "month": month,
            "patient_id": f"P{n}",
            "evaluable": "yes",
            "kind": "stall" if n < some else "",
        }
        for month, some in zip(months(len(found)), found, strict=True)
        for n in range(judged)
    ]
    other = {"ward": "A", "month": months(1)[0], "patient_id": "Q", "evaluable": "no"}
    return pd.DataFrame([*rows, other]).reindex(columns=INFUSION_RESULTS.names)


def test_infusions_with_a_delivery_finding_are_a_line_too() -> None:
    found = follow(comparisons([]), infusions=infusions([4, 2, 0]))
    own = found[(found["measure"] == DELIVERY) & (found["ward"] == "A")]
    assert own["proportion"].tolist() == [0.1, 0.05, 0.0]
    assert own["denominator"].tolist() == [40, 40, 40]
    assert set(found["ward"]) == {"A", "all"}


def test_months_that_the_log_does_not_hold_make_no_point() -> None:
    found = follow(comparisons(STEADY[:4]), months=held(months(3)))
    assert found["month"].tolist() == months(3)


@pytest.mark.parametrize("table", [comparisons([]), comparisons([1.0], denominator=0)])
def test_no_month_with_anything_due_gives_no_line(table: pd.DataFrame) -> None:
    found = follow(table)
    assert list(found.columns) == TRENDS.names
    assert not len(found)


# ---- how volumes are read ------------------------------------------------------------


def readings(plan: list[tuple[str, float]], *, ward: str = "A") -> pd.DataFrame:
    """Give 60 readings over each stretch of days, each read in its own step [mL]."""
    rng = np.random.default_rng(5)
    parts = []
    for (start, step), (end, _) in pairwise(plan):
        span = pd.Timestamp(end) - pd.Timestamp(start)
        times = pd.Timestamp(start, tz="Europe/London") + span * np.arange(60) / 60
        volume = (rng.uniform(0, 16, 60) / step).round() * step
        parts.append(pd.DataFrame({"checked_at": times, "volume_remaining_ml": volume}))
    table = pd.concat(parts, ignore_index=True)
    table = table.assign(
        ward=ward, entry="check", month=table["checked_at"].dt.strftime("%Y-%m")
    ).reindex(columns=READINGS.names)
    table["volume_delivered_ml"] = table["volume_delivered_ml"].astype("float64")
    return table


@pytest.mark.parametrize(
    ("plan", "splits"),
    [
        pytest.param(
            [("2026-07-01", 1.0), ("2026-08-01", 1.0), ("2026-09-01", 1.0)],
            {},
            id="read alike throughout",
        ),
        pytest.param(
            [("2026-07-01", 1.0), ("2026-08-01", 0.1), ("2026-09-01", 0.1)],
            {"2026-08": "volumes read in steps of 0.1 mL from here, of 1 mL before"},
            id="finer from the first of a month",
        ),
        pytest.param(
            [("2026-07-01", 0.1), ("2026-08-01", 0.5), ("2026-09-01", 0.5)],
            {"2026-08": "volumes read in steps of 0.5 mL from here, of 0.1 mL before"},
            id="coarser from the first of a month",
        ),
        pytest.param(
            [
                ("2026-07-01", 1.0),
                ("2026-08-01", 1.0),
                ("2026-08-16", 0.1),
                ("2026-09-01", 0.1),
                ("2026-10-01", 0.1),
            ],
            {
                "2026-08": "volumes read in steps of 1 mL and of 0.1 mL",
                "2026-09": "volumes read in steps of 0.1 mL from here",
            },
            id="finer within a month, which stands alone",
        ),
        pytest.param(
            [
                ("2026-06-01", 0.1),
                ("2026-07-01", 0.1),
                ("2026-07-16", 1.0),
                ("2026-08-01", 1.0),
                ("2026-09-01", 1.0),
            ],
            {
                "2026-07": "volumes read in steps of 0.1 mL and of 1 mL",
                "2026-08": "volumes read in steps of 1 mL from here, of 0.1 mL before",
            },
            id="coarser within a month, which stands alone",
        ),
    ],
)
def test_where_the_way_of_reading_changed(
    plan: list[tuple[str, float]], splits: dict[str, str]
) -> None:
    found = reading_splits(readings(plan))
    assert dict(zip(found["month"], found["split"], strict=True)) == splits


def test_steps_by_ward_and_month() -> None:
    plan = [("2026-07-01", 1.0), ("2026-08-01", 0.1), ("2026-09-01", 0.1)]
    table = pd.concat([readings(plan), readings(plan[:2], ward="B")])
    # A start volume is made up, not read; and few readings show no step.
    start = readings(plan[:2], ward="C").assign(entry="start")
    few = readings(plan[:2], ward="D").head(14)
    found = reading_steps(pd.concat([table, start, few]))
    got = found[["ward", "month", "step_ml", "readings"]].to_numpy().tolist()
    assert got == [
        ["A", "2026-07", 1.0, 60],
        ["A", "2026-08", 0.1, 60],
        ["B", "2026-07", 1.0, 60],
    ]


def test_no_reading_gives_no_split() -> None:
    empty = readings([("2026-07-01", 1.0), ("2026-08-01", 1.0)]).head(0)
    assert not len(reading_splits(empty))
    blank = readings([("2026-07-01", 1.0), ("2026-08-01", 1.0)])
    assert not len(reading_splits(blank.assign(volume_remaining_ml=np.nan)))


def test_a_ward_that_moves_to_a_finer_display_is_not_said_to_have_improved(
    tmp_path: Path,
) -> None:
    """Trap: fewer findings after the change are a change in measurement."""
    rng = np.random.default_rng(1)
    rows: list[dict[str, Any]] = []
    for month in range(4, 8):
        step = 1.0 if month < 6 else 0.1
        for n in range(12):
            line = 16 - 0.667 * np.arange(0, 24, 4) + rng.normal(0, 0.03, 6)
            read = [16.0, *(np.round(line[1:] / step) * step).round(1)]
            rows += syringe(
                dict(zip(range(0, 24, 4), read, strict=True)),
                start=f"2026-{month:02}-{2 + 2 * n:02}T10:03",
                entries={20: "end"},
                patient_id=f"P{month}{n}",
                infusion_id=f"I{month}{n}",
                driver_id=f"D{n}",
            )
    policy = policy_but(smallest_group_patients=5, smallest_group_units=5)
    found = audit(tmp_path, rows, policy=policy).trends
    own = found[found["ward"] == "Alder Ward"]
    delivery = own[own["measure"] == DELIVERY].set_index("month")
    assert delivery["part"].tolist() == [1, 1, 2, 2]
    assert delivery.loc["2026-06", "split"] == (
        "volumes read in steps of 0.1 mL from here, of 1 mL before"
    )
    on_time: pd.DataFrame = own[own["measure"] == "checks_on_time"]
    assert on_time["part"].tolist() == [1, 1, 1, 1]


def test_the_measures_that_rest_on_volumes_read() -> None:
    # Times, lines and ticks are charted alike whatever the scale; the line of delivery
    # findings, which is no measure, rests on volumes too.
    declared = measures_of(())
    assert {m.name for m in declared if m.from_readings} == {
        "round_volume_share",
        "copied_readings",
        "copied_rows",
        "readings_too_close",
    }
