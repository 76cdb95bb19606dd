"""How a log was charted: counts that anybody can make by hand."""

import numpy as np
import pandas as pd
import pytest

from analysis.columns import CHECKS, Kind
from analysis.quality import habits, unassigned
from analysis.terms import ALL


def rows_of(*rows: dict[str, object]) -> pd.DataFrame:
    """Give accepted rows; what a row lacks is not recorded."""
    frame = pd.DataFrame(list(rows), columns=pd.Index(CHECKS.names))
    for column in CHECKS.columns:
        if column.kind is Kind.NUMBER:
            frame[column.name] = frame[column.name].astype("float64")
        elif column.kind is Kind.TIME:
            times = pd.to_datetime(frame[column.name], utc=True)
            frame[column.name] = times.dt.tz_convert("Europe/London")
        else:
            frame[column.name] = frame[column.name].astype("str").fillna("")
    return frame


def row(time: str, **cells: object) -> dict[str, object]:
    """Give one row of Alder Ward on 1 June."""
    return {
        "ward": "Alder Ward",
        "patient_id": "P1",
        "entry": "check",
        "checked_at": time if "T" in time else f"2026-06-01T{time}Z",
        **cells,
    }


def test_missing_cells_by_column_and_ward() -> None:
    rows = rows_of(
        row("10:00", battery_pct=90, site_signs="none"),
        row("14:00", site_signs="none"),
        row("18:00", ward="Birch Ward"),
    )
    found = habits.missing_by_column(rows)
    battery = found[found["column"] == "battery_pct"]
    assert battery.drop(columns="column").to_numpy().tolist() == [
        ["Alder Ward", 2, 1],
        ["Birch Ward", 1, 1],
        [ALL, 3, 2],
    ]


def test_a_column_that_is_nowhere_is_not_in_this_export_and_not_missing() -> None:
    rows = rows_of(row("10:00", battery_pct=90), row("14:00"))
    assert set(habits.missing_by_column(rows)["column"]) == {"battery_pct"}
    assert "site_signs" in habits.not_in_export(rows)
    assert "battery_pct" not in habits.not_in_export(rows)


def test_an_id_that_was_derived_is_not_charted() -> None:
    rows = rows_of(
        row("10:00", infusion_id="I1"),
        row("14:00", infusion_id="derived-A"),
        row("18:00"),
    )
    found = habits.missing_by_column(rows).set_index(["column", "ward"])["missing"]
    assert found["infusion_id", ALL] == 2
    assert "infusion_id" in habits.not_in_export(rows.iloc[1:])


def test_round_times_are_counted_at_each_mark() -> None:
    times = ("10:00", "10:30", "10:15", "10:05", "10:07", "11:00")
    found = habits.round_times(rows_of(*map(row, times)))
    assert found.to_numpy().tolist() == [
        ["Alder Ward", 6, 2, 3, 4, 5],
        [ALL, 6, 2, 3, 4, 5],
    ]


def test_last_digits_leave_out_what_was_not_read() -> None:
    rows = rows_of(
        row("10:00", entry="start", volume_remaining_ml=16.3),
        row("14:07", volume_remaining_ml=13.5),
        row("18:07", volume_delivered_ml=5.3),
        row("22:07"),
    )
    found = habits.last_digits(rows)
    alder = found[(found["ward"] == "Alder Ward") & (found["what"] != "minutes")]
    assert alder[["rows", "d5", "d3"]].to_numpy().tolist() == [[2, 1, 1]]
    minutes = found[(found["ward"] == ALL) & (found["what"] == "minutes")]
    assert minutes[["rows", "d7", "d0"]].to_numpy().tolist() == [[4, 3, 1]]


def test_nothing_charted_gives_empty_tables_of_the_same_columns() -> None:
    rows = rows_of()
    assert len(habits.missing_by_column(rows)) == 0
    assert len(habits.round_times(rows)) == 0
    assert len(habits.last_digits(rows)) == 0
    assert len(habits.reading_resolution(rows)) == 0
    assert len(habits.resolution_changes(rows)) == 0


def readings(step_of_week: list[float], *, each: int = 40) -> pd.DataFrame:
    """Give a ward that reads in one step in each week from 1 June, a Monday."""
    rng = np.random.default_rng(7)
    rows = []
    for week, step in enumerate(step_of_week):
        for place in range(each):
            at = pd.Timestamp("2026-06-01 06:00") + pd.Timedelta(weeks=week)
            at += pd.Timedelta(hours=4 * place)
            volume = round(round(rng.uniform(0, 16) / step) * step, 2)
            rows.append(row(f"{at:%Y-%m-%dT%H:%M}Z", volume_remaining_ml=volume))
    return rows_of(*rows)


def test_trap_20_a_ward_that_changes_from_scale_to_display_is_split() -> None:
    found = habits.resolution_changes(readings([1.0, 1.0, 0.1, 0.1]))
    assert found["step_before_ml"].tolist() == [1.0]
    assert found["step_after_ml"].tolist() == [0.1]
    assert found["week_of"].tolist() == [pd.Timestamp("2026-06-15")]


@pytest.mark.parametrize(
    "steps",
    [
        pytest.param([0.5, 0.5, 0.5], id="one step all along"),
        pytest.param([1.0, 0.1, 1.0, 0.1], id="to and fro: two kinds of driver"),
    ],
)
def test_no_change_of_measurement(steps: list[float]) -> None:
    assert len(habits.resolution_changes(readings(steps))) == 0


def test_weeks_of_few_readings_say_nothing() -> None:
    assert len(habits.resolution_changes(readings([1.0, 0.1], each=14))) == 0
    assert len(habits.resolution_changes(readings([1.0, 0.1], each=15))) == 1


def test_resolution_by_ward_and_column() -> None:
    found = habits.reading_resolution(readings([0.5]))
    assert found.to_numpy().tolist() == [["Alder Ward", "volume_remaining_ml", 40, 0.5]]


def test_unassigned_rows_stand_in_a_bucket_of_their_own() -> None:
    rows = rows_of(
        row("10:00", infusion_id="I1", driver_id="D1"),
        row("14:00"),
        row("15:00", patient_id="P2", driver_id="D2"),
        row("16:00", ward="Birch Ward", infusion_id="derived-A"),
        row("17:00", ward="Birch Ward", infusion_id="derived-A"),
    )
    found = unassigned.unassigned_rows(rows)
    assert found.to_numpy().tolist() == [
        ["Alder Ward", 3, 2, 1, 2, 0, 0],
        ["Birch Ward", 2, 0, 0, 0, 2, 1],
        [ALL, 5, 2, 1, 2, 2, 1],
    ]


def test_measures_with_and_without_derived_infusions() -> None:
    units = pd.DataFrame(
        {
            "measure": "checks_on_time",
            "infusion_id": ["I1", "I1", "derived-A", "derived-A"],
            "ward": "Alder Ward",
            "month": "2026-06",
            "patient_id": "P1",
            "tally": ["counted", "not counted", "counted", "counted"],
            "numerator": [1.0, 0.0, 1.0, 1.0],
            "denominator": 1.0,
        }
    )
    found = unassigned.with_and_without_derived(
        [units], ["checks_on_time"], frozenset()
    )
    assert found.to_numpy().tolist() == [
        ["checks_on_time", 3.0, 4.0, 0.75, 1.0, 2.0, 0.5]
    ]
