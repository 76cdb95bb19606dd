"""Trap cases of the trade (trade notes, section 11) that are about the record."""

from pathlib import Path

import pandas as pd

from analysis.report.quality import Record, bucket, measurement_changes
from tests.tiny import START, Row, after, audit, kinds, only, syringe, units_of

LINE = {0.0: 16.0, 4.0: 13.3, 8.0: 10.6, 12.0: 8.0, 16.0: 5.3, 20.0: 2.6, 23.9: 0.0}


def test_trap_6_two_drivers_and_a_half_blank_driver_column(tmp_path: Path) -> None:
    one = syringe(LINE, infusion_id=None, driver_id="D1")
    two = syringe(LINE, infusion_id=None, driver_id="D2", start=after(START, 3)[:16])
    for row in one[2::2] + two[1::2]:
        row["driver_id"] = None
    result = audit(tmp_path, one + two)
    loose = result.readings[result.readings["infusion_id"] == ""]
    assert len(loose) == 6
    assert (loose["driver_id"] == "").all()
    # One line each, and no sawtooth of the two.
    assert result.infusions["driver_id"].tolist() == ["D1", "D2"]
    assert result.readings["residual_ml"].abs().max() < 0.2
    assert kinds(result, "delivery") == []
    assert any("6 rows name no driver" in note for note in result.notes)
    grid = bucket(Record.of_result(result))
    assert grid is not None
    assert grid.rows[-1] == ("all wards", "14", "8", "2", "6", "6", "1")


def test_trap_7_a_reading_of_the_patients_other_driver(tmp_path: Path) -> None:
    # D2 was started 4.35 h earlier: it expects 5.1 mL when D1 expects 8.0 mL.
    early = after(START, -4.35)
    two = {0.0: 16.0, 4.0: 13.3, 8.0: 10.6, 12.35: 7.7, 20.35: 2.4, 23.5: 0.2}
    rows = syringe({**LINE, 12.0: 5.1}) + [
        {**row, "infusion_id": "I2", "driver_id": "D2"}
        for row in syringe(two, start=early[:16])
    ]
    result = audit(tmp_path, rows)
    said = only(result, "doubtful_reading")["sentence"]
    assert "a reading of the same patient's infusion I2 (driver D2)" in said
    assert "whether one was made there is not confirmed, and none is counted" in said
    assert kinds(result, "delivery") == []
    units = units_of(result, "checks_on_time")
    missed = units[units["infusion_id"] == "I2"]
    assert (missed["outcome"] == "missed").sum() == 1


def test_trap_17_a_row_after_midnight_dated_the_day_before(tmp_path: Path) -> None:
    rows = syringe({**LINE, 14.117: 6.5})  # 00:10
    rows.sort(key=lambda row: str(row["checked_at"]))
    slip = next(row for row in rows if "T00:10" in str(row["checked_at"]))
    slip["checked_at"] = str(slip["checked_at"]).replace("06-02T", "06-01T")
    result = audit(tmp_path, rows)
    finding = only(result, "entry_error")
    assert "a time off by 24 h, dated the day before" in finding["sentence"]
    assert "between the rows above and below it" in finding["sentence"]
    assert kinds(result, "delivery") == []
    assert kinds(result, "check") == []
    stands = result.readings["checked_at"].min()
    assert stands == pd.Timestamp(str(slip["checked_at"]))


def test_trap_20_a_ward_that_moves_from_scale_to_display_is_not_compared(
    tmp_path: Path,
) -> None:
    rows: list[Row] = []
    for day in range(28):
        at = pd.Timestamp("2026-06-01T09:05") + pd.Timedelta(days=day)
        # The driver keeps to its rate; each reading is as fine as its day allows.
        decimals = 0 if day < 14 else 1
        line = {h: round(16 - 0.67 * h, decimals) for h in (4, 8, 12, 16, 20)}
        rows += syringe(
            {0: 16.0, **line}, start=f"{at:%Y-%m-%dT%H:%M}", infusion_id=f"I{day}"
        )
    result = audit(tmp_path, rows)
    assert kinds(result, "delivery") == []
    [said] = measurement_changes(Record.of_result(result))
    assert "in steps of 1 mL before the week of 15 June 2026" in said
    assert "of 0.1 mL from then on" in said
    assert "do not compare the number of findings before and after" in said


def test_trap_25_a_site_removed_for_redness_is_a_reaction_between_two_looks(
    tmp_path: Path,
) -> None:
    rows = syringe(
        LINE,
        site_id="C1",
        site_signs="none",
        cells={20.0: {"site_signs": "redness"}, 23.9: {"site_id": None}},
    )
    lines: list[Row] = [
        {
            "line_id": "C1",
            "patient_id": "P1",
            "ward": "Alder Ward",
            "kind": "cannula",
            "inserted_at": after(START, 0),
            "removed_at": after(START, 20),
            "removal_reason": "reaction",
        }
    ]
    result = audit(tmp_path, rows, lines=lines)
    finding = only(result, "site_reaction")
    assert finding["began_earliest"] == pd.Timestamp(after(START, 16))
    assert finding["began_latest"] == pd.Timestamp(after(START, 20))
    assert finding["first_visible"] == pd.Timestamp(after(START, 20))
    assert kinds(result, "line") == []
