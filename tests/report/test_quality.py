"""Tables of the record's quality that the report and the dry run share."""

from pathlib import Path

from analysis.report import quality
from tests.tiny import audit, syringe

LINE = {0.0: 16.0, 4.0: 13.3, 8.0: 10.6, 12.0: 8.0, 16.0: 5.3, 23.9: 0.0}


def test_what_rests_on_derived_infusions_is_shown_beside_what_does_not(
    tmp_path: Path,
) -> None:
    derived = syringe(LINE, infusion_id=None)
    charted = syringe(LINE, infusion_id="I2", patient_id="P2", driver_id="D2")
    grid = quality.without_derived(audit(tmp_path / "both", derived + charted))
    assert grid is not None
    found = {row[0]: row[1:] for row in grid.rows}
    # Gaps 4, 4, 4, 4 and 7.9 h: four checks on time and a late one in each infusion.
    assert found["Checks on time"] == ("8 of 10 (80.0 %)", "4 of 5 (80.0 %)")
    assert found["Covered time"][1] == "20.5 of 23.9 h (85.8 %)"
    alone = quality.without_derived(audit(tmp_path / "one", derived))
    assert alone is not None
    assert {row[2] for row in alone.rows} == {"nothing judged"}
    assert quality.without_derived(audit(tmp_path / "none", charted)) is None


def test_the_bucket_counts_rows_of_derived_infusions_and_of_none(
    tmp_path: Path,
) -> None:
    rows = syringe(LINE, infusion_id=None)
    other = syringe(LINE, infusion_id=None, driver_id="D2")
    other[3]["driver_id"] = None
    grid = quality.bucket(quality.Record.of_result(audit(tmp_path, rows + other)))
    assert grid is not None
    assert grid.rows[-1] == ("all wards", "12", "11", "2", "1", "1", "1")
