"""Syringe runs where no id is charted: one driver, a syringe a day, hand-made."""

from pathlib import Path

import pytest

from analysis.intake import Log
from tests.intake.logs import line, read

HOURS = ("02", "06", "10", "14", "18", "22")
#: A syringe of 17 mL over 24 h.
DAY = ("17", "14.2", "11.4", "8.5", "5.7", "2.8")


def day(number: int, volumes: tuple[str, ...] = DAY) -> list[str]:
    return [
        line(
            checked_at=f"2026-06-{9 + number:02}T{hour}:00",
            infusion_id="",
            entry="check",
            volume_remaining_ml=volume,
        )
        for hour, volume in zip(HOURS, volumes, strict=True)
    ]


def runs(log: Log) -> list[int]:
    """Give the number of checks of each run, in order of time."""
    infusions = log.infusions.sort_values("first_row")
    return [int(n) for n in infusions["checks"]]


@pytest.mark.parametrize(
    ("first", "wanted"),
    [
        pytest.param(DAY, [6] * 6, id="alike"),
        pytest.param(
            ("48", "40", "32", "24", "16", "8"), [6] * 6, id="one large syringe first"
        ),
        pytest.param(
            ("17", "41.2", "11.4", "8.5", "5.7", "2.8"),
            [1, 5, *[6] * 5],
            id="two digits exchanged make one run more, and the next day begins anew",
        ),
        pytest.param(
            ("17", "14.2", "1.4", "8.5", "5.7", "2.8"), [6] * 6, id="a lost digit"
        ),
    ],
)
def test_a_volume_that_rises_by_half_a_syringe_begins_a_run(
    tmp_path: Path, first: tuple[str, ...], wanted: list[int]
) -> None:
    rows = [row for number in range(1, 6) for row in day(number)]
    assert runs(read(tmp_path, *day(0, first), *rows)) == wanted


def test_a_start_on_no_known_driver_may_be_that_of_each(tmp_path: Path) -> None:
    """Else the old syringe and the new one would be one that stood still."""

    def row(time: str, driver: str, volume: str, entry: str = "check") -> str:
        return line(
            checked_at=f"2026-10-13T{time}",
            infusion_id="",
            driver_id=driver,
            entry=entry,
            volume_remaining_ml=volume,
        )

    log = read(
        tmp_path,
        row("00:05", "D1", "20", "start"),
        row("00:10", "D2", "12", "start"),
        row("04:05", "D1", "16.8"),
        row("04:10", "D2", "10"),
        row("12:05", "D1", "10.4"),
        row("12:10", "", "12", "start"),
        row("16:05", "D1", "7.2"),
        row("16:10", "D2", "10"),
        row("20:10", "D2", "8"),
    )
    by_driver = log.infusions.groupby("driver_id")["checks"].agg(sorted)
    assert by_driver.to_dict() == {"D1": [1, 3], "D2": [2, 2]}
    assert (log.checks["infusion_id"] == "").sum() == 1
    assert any("taken to begin anew there" in note for note in log.notes)


@pytest.mark.parametrize("minute", ["00", "05"])
def test_an_end_that_two_nurses_chart_is_one_end(tmp_path: Path, minute: str) -> None:
    def row(time: str, entry: str, volume: str, note: str = "") -> str:
        return line(
            checked_at=time,
            infusion_id="",
            entry=entry,
            volume_remaining_ml=volume,
            note=note,
        )

    log = read(
        tmp_path,
        row("2026-06-09T02:00", "start", "17"),
        row("2026-06-09T10:00", "check", "11"),
        row("2026-06-10T02:00", "end", "0"),
        row(f"2026-06-10T02:{minute}", "end", "0", "second nurse"),
        row("2026-06-10T02:10", "start", "17"),
        row("2026-06-10T10:00", "check", "11"),
    )
    assert runs(log) == [4, 2]
