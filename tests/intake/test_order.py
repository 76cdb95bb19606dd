"""Rows of one moment: as they stand in the file where that is certain."""

from collections.abc import Sequence
from pathlib import Path

import pytest

from analysis.intake import alike
from tests.intake.logs import line, read

EVENING, NIGHT = ("2026-10-01T20:00", "12"), ("2026-10-02T04:00", "8")
OLD, NEW = ("2026-10-01T24:00", "10"), ("2026-10-02T00:00", "9.9")
BEFORE, AFTER = ("2026-10-25T00:00", "12"), ("2026-10-25T04:00", "8")
ONE, TWO = ("2026-10-25T01:30", "10"), ("2026-10-25T01:30", "9.9")


@pytest.mark.parametrize(
    ("rows", "volumes"),
    [
        pytest.param(
            [EVENING, OLD, NEW, NIGHT], [12, 10, 9.9, 8], id="24:00 above 00:00"
        ),
        pytest.param(
            [NIGHT, NEW, OLD, EVENING], [12, 10, 9.9, 8], id="the newest row first"
        ),
        pytest.param(
            [EVENING, NEW, OLD, NIGHT],
            [12, 9.9, 10, 8],
            id="a rise that was charted stays one",
        ),
        pytest.param([EVENING, OLD, NEW], [12, 10, 9.9], id="at the end of a file"),
        pytest.param([OLD, NEW, NIGHT], [10, 9.9, 8], id="at the beginning of a file"),
        pytest.param(
            [NEW, NIGHT, OLD, EVENING],
            [12, 9.9, 10, 8],
            id="rows in no order: what they say decides",
        ),
        pytest.param(
            [BEFORE, ONE, TWO, AFTER],
            [12, 10, 9.9, 8],
            id="one written time twice as the clocks go back",
        ),
    ],
)
def test_rows_of_one_moment_stand_as_they_were_charted(
    tmp_path: Path, rows: Sequence[tuple[str, str]], volumes: list[float]
) -> None:
    lines = [line(checked_at=at, volume_remaining_ml=ml) for at, ml in rows]
    log = read(tmp_path, *lines)
    assert log.checks["volume_remaining_ml"].tolist() == volumes


def test_many_different_charts_stay_in_order(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Above a limit their numbers are given anew, and must stay in order."""
    lines = [
        line(checked_at="2026-06-09T02:00", patient_id=f"P{p}", driver_id=f"D{d}")
        for p in (3, 1, 2)
        for d in (2, 1, 3)
    ]
    wanted = [(f"P{p}", f"D{d}") for p in (1, 2, 3) for d in (1, 2, 3)]
    monkeypatch.setattr(alike, "_MOST", 2)
    checks = read(tmp_path, *lines).checks
    assert list(zip(checks["patient_id"], checks["driver_id"], strict=True)) == wanted
