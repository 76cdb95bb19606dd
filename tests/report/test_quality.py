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


def test_a_preference_for_endings_is_shown_with_its_test(tmp_path: Path) -> None:
    # 0.5 mL readings of ten syringes: all on the half mL, or all on the whole mL.
    rows = []
    for i in range(10):
        shift = 0.5 * (i % 2)
        volumes = {k: (15 - k if i < 5 else 15 - k - shift) for k in range(1, 14)}
        rows += syringe(
            {0.0: 15.5, **volumes},
            set_rate_ml_h=1.0,
            patient_id=f"P{i}",
            driver_id=f"D{i}",
            infusion_id=f"I{i}",
        )
    record = quality.Record.of_result(audit(tmp_path, rows))
    (row,) = quality.digit_preference(record).rows
    # 7 syringes on whole mL, 3 on halves, from 1.0 to 13.5 mL. Blended, 7 x (11 + 12)
    # whole mL against 2 x 3 x 12 halves: 161 to 72, and 161 / 233 - 1 / 2 is 19 %.
    assert row[:4] == ("Alder Ward", "remaining", "0.5", "130")
    assert row[4:] == ("19", "under 0.001")
