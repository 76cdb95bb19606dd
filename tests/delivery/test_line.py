"""The expected line: the trade's arithmetic."""

from pathlib import Path

import pytest

from tests.tiny import after, audit, syringe

START = "2026-06-01T10:07"


# Trade arithmetic of the invented reference infusion (issue: outside checks).
def test_16_ml_over_24_h_leaves(tmp_path: Path) -> None:
    rows = syringe(
        dict.fromkeys((0, 1, 4, 8, 12, 16, 20, 24), 16.0),
        start=START,
        set_rate_ml_h=None,
    )
    expected = audit(tmp_path, rows).readings["expected_ml"].round(1).tolist()
    assert expected == [16.0, 15.3, 13.3, 10.7, 8.0, 5.3, 2.7, 0.0]


@pytest.mark.parametrize(
    ("volume", "duration", "rate"),
    [
        pytest.param(14.4, 24, 0.60, id="14.4 mL over 24 h is 0.60 mL/h"),
        pytest.param(16.0, 24, 0.667, id="16.0 mL over 24 h is 0.667 mL/h"),
        pytest.param(14.4, 12, 1.20, id="14.4 mL over 12 h is 1.20 mL/h"),
    ],
)
def test_the_prescribed_rate(
    tmp_path: Path, volume: float, duration: float, rate: float
) -> None:
    table = {
        "infusion_id": "I1",
        "patient_id": "P1",
        "started_at": after(START, 0),
        "planned_duration_h": duration,
        "start_volume_ml": volume,
    }
    rows = syringe({0: volume, 4: 1.0}, start=START, set_rate_ml_h=None)
    readings = audit(tmp_path, rows, infusions=[table]).readings
    assert (volume - readings["expected_ml"].iloc[1]) / 4 == pytest.approx(
        rate, abs=5e-4
    )


def test_the_line_stops_at_an_empty_syringe(tmp_path: Path) -> None:
    rows = syringe({0: 16.0, 20: 2.7, 26: 0.0, 30: 0.0}, start=START)
    readings = audit(tmp_path, rows).readings
    assert readings["expected_ml"].iloc[2:].tolist() == [0.0, 0.0]
    assert readings["residual_ml"].iloc[2:].tolist() == [0.0, 0.0]


def test_a_start_charted_before_the_first_row_counts(tmp_path: Path) -> None:
    table = {
        "infusion_id": "I1",
        "patient_id": "P1",
        "started_at": after(START, 0),
        "start_volume_ml": 16.0,
    }
    rows = syringe({6: 12.0, 12: 8.0}, start=START, set_rate_ml_h=16 / 24)
    readings = audit(tmp_path, rows, infusions=[table]).readings
    assert readings["elapsed_h"].tolist() == [6.0, 12.0]
    assert readings["residual_ml"].tolist() == [0.0, 0.0]
