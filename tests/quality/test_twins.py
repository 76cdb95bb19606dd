"""Two rows of one moment: saved twice, or a contradiction; both are said."""

from pathlib import Path

import pytest

from tests.tiny import audit, syringe

VOLUMES: dict[float, float] = {0: 16.0, 4: 13.3, 8: 10.6, 12: 8.0, 16: 5.3, 20: 2.6}


@pytest.mark.parametrize(
    ("second", "said"),
    [
        (13.2, "are nearly the same row twice"),
        (3.3, "of which at most one can be right"),
    ],
)
def test_a_second_reading_of_one_moment_is_a_charting_finding(
    tmp_path: Path, second: float, said: str
) -> None:
    rows = [*syringe(VOLUMES), *syringe({4: second})]
    found = audit(tmp_path, rows).findings
    twins = found[found["kind"] == "near_duplicate"]
    assert len(twins) == 1
    assert said in twins["sentence"].iloc[0]


def test_two_drivers_read_in_one_minute_are_no_contradiction(tmp_path: Path) -> None:
    rows = syringe(VOLUMES, infusion_id="", driver_id="D1")
    rows += syringe(VOLUMES, infusion_id="", driver_id="D2")
    found = audit(tmp_path, rows).findings
    assert "near_duplicate" not in set(found["kind"])


def read_every(minutes: int, hours: float) -> dict[float, float]:
    """Give volumes of an infusion read every few minutes for its first hours."""
    often = [k * minutes / 60 for k in range(int(hours * 60) // minutes)]
    return {hour: round(16 - 0.667 * hour, 1) for hour in sorted({*often, *VOLUMES})}


@pytest.mark.parametrize(
    ("minutes", "hours", "wanted"),
    [
        pytest.param(3, 20, 0, id="400 readings are a series"),
        pytest.param(5, 0.34, 2, id="15 minutes of it are none yet"),
        pytest.param(5, 0.5, 0, id="longer than that is one"),
    ],
)
def test_readings_minutes_apart_go_on_as_a_series(
    tmp_path: Path, minutes: int, hours: float, wanted: int
) -> None:
    found = audit(tmp_path, syringe(read_every(minutes, hours))).findings
    assert (found["kind"] == "near_duplicate").sum() == wanted


def test_two_volumes_of_one_moment_are_said_in_a_series_too(tmp_path: Path) -> None:
    rows = [*syringe(read_every(3, 20)), *syringe({4: 9.0})]
    found = audit(tmp_path, rows).findings
    twins = found[found["kind"] == "near_duplicate"]
    assert len(twins) >= 1
    assert twins["sentence"].str.contains("at most one can be right").all()


def test_rows_that_are_all_saved_twice_are_no_series(tmp_path: Path) -> None:
    twice: dict[float, float | None] = {
        hour + late: ml for hour, ml in VOLUMES.items() for late in (0, 1 / 60)
    }
    found = audit(tmp_path, syringe(twice)).findings
    assert (found["kind"] == "near_duplicate").sum() >= len(VOLUMES) - 1
