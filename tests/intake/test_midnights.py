"""Dates with a midnight and times with a day of 1899: programs write them out in full.

Every service, ward, person and number here is invented.
"""

from pathlib import Path

import pytest

from analysis.errors import InputError
from tests.intake.exports import cells, printed, read, write

HEAD = "Ward,Patient,Date,Time,Volume left\n"
CLOCKS = ("08:05", "12:10", "16:00")
WANTED = [f"2026-10-13 {clock}" for clock in CLOCKS]


def log_of(date: str, time: str, head: str = HEAD) -> str:
    rows = [f"Amber,K1,{date},{time.format(c)},{v}\n"
            for c, v in zip(CLOCKS, (16, 13.5, 11), strict=True)]  # fmt: skip
    return head + "".join(rows)


@pytest.mark.parametrize(
    ("date", "time"),
    [
        pytest.param("13/10/2026 00:00:00", "{}:00", id="day first"),
        pytest.param("10/13/2026 12:00:00 AM", "{}", id="on a clock of 12 hours"),
        pytest.param("2026-10-13T00:00:00Z", "{}", id="ISO 8601 in UTC"),
        pytest.param("2026-10-13T00:00:00.000+01:00", "{}", id="with an offset"),
        pytest.param("13-Oct-2026 0:00", "{}", id="month by name"),
        pytest.param("13/10/2026 00:00:00", "30/12/1899 {}:00", id="time of 1899"),
        pytest.param("13/10/2026", "01/01/1900 {}:00", id="time of 1900"),
        pytest.param("13/10/2026 00:00", "13/10/2026 {}", id="the day in both"),
        pytest.param("13.10.26", "{}", id="a short date that looks like a clock time"),
    ],
)
def test_a_date_at_midnight_is_joined_with_the_time_beside_it(
    tmp_path: Path, date: str, time: str
) -> None:
    files = {"log.csv": log_of(date, time)}
    assert cells(read(tmp_path, files).checks, ["checked_at"]) == WANTED
    by_layout = read(tmp_path, files, printed(write(tmp_path, files)))
    assert cells(by_layout.checks, ["checked_at"]) == WANTED


def test_checks_that_are_all_at_midnight_are_asked_about(tmp_path: Path) -> None:
    head = "Ward,Patient,Date,Tea,Volume left\n"
    text = log_of("13/10/2026 00:00", "{}", head)
    with pytest.raises(InputError, match=r"midnight on every row.*perhaps Tea"):
        read(tmp_path, {"log.csv": text})


def test_a_midnight_among_other_times_is_a_time(tmp_path: Path) -> None:
    text = log_of("13/10/2026 00:00", "x").splitlines()
    text[2] = text[2].replace("00:00", "04:00")
    log = read(tmp_path, {"log.csv": "\n".join(text) + "\n"})
    assert cells(log.checks, ["checked_at"])[0] == "2026-10-13 00:00"
    assert any("columns read and not used: Time" in note for note in log.notes)
