"""Dates and times of which a part is missing or written otherwise: asked for by name.

Every service, ward, person and number here is invented.
"""

from pathlib import Path

import pytest

from analysis.errors import InputError, LayoutError
from tests.intake.exports import cells, printed, read, write


def log_of(head: str, *rows: str) -> str:
    lines = [f"Amber,K1,{row},{16 - 2.4 * i:g}" for i, row in enumerate(rows)]
    return "\n".join([f"Ward,Patient,{head},Volume left", *lines]) + "\n"


ASKED = [
    pytest.param(
        log_of("Date,Time", "13/10/2026,04:05", "13/10/2026,08:00+1",
               "13/10/2026,12:00+", "13/10/2026,late"),
        r"Date gives the day .* only, and Time, .* reads '.*': write it as 16:05",
        id="times that are none",
    ),
    pytest.param(
        log_of("Date,Time", "14/10,08:00", "14/10,12:00", "14/10,16:00"),
        "Date reads '14/10', a day without its year: write the year",
        id="days without a year",
    ),
    pytest.param(
        log_of("Check time", "08:00", "12:00", "16:00"),
        "Check time gives the time of a check only, and no column gives its day: add",
        id="times without a day",
    ),
    pytest.param(
        log_of("Date,Time", "13/10/2026,09:00", "13/10/2026,01:00",
               "13/10/2026,05:00", "13/10/2026,09:00"),
        "on line 3 the time under Time runs back while the volume goes on falling",
        id="a clock of 12 hours",
    ),
    pytest.param(
        log_of("Date,Time", *[f"{day}/10/2026,{clock}" for day in (13, 14, 15)
                              for clock in ("10:00", "02:00", "06:00", "11:00")]),
        "no time under Time is after 12:59, though there are times at night",
        id="a clock of 12 hours that many rows show",
    ),
    pytest.param(
        log_of("Date,Time 1,Left over 1,Time 2,Left over 2",
               "13/10/2026,08:00,16,12:00,13.6", "14/10/2026,08:00,6,12:00,4"),
        "Time 1 and Time 2 belong to several checks in one row",
        id="checks side by side without a known volume",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("text", "says"), ASKED)
def test_a_part_of_a_time_that_lacks_is_asked_for(
    tmp_path: Path, text: str, says: str
) -> None:
    with pytest.raises(InputError, match=says):
        read(tmp_path, {"log.csv": text})


def test_times_that_run_back_are_read_as_written_where_a_layout_says_so(
    tmp_path: Path,
) -> None:
    rows = ("13/10/2026,09:00", "13/10/2026,01:00", "13/10/2026,05:00")
    files = {"log.csv": log_of("Date,Time", *rows)}
    layout = printed(write(tmp_path, files))
    with pytest.raises(LayoutError, match="clock is not settled"):
        read(tmp_path, files, layout)
    log = read(tmp_path, files, layout.replace('clock = "?"', 'clock = "24"'))
    assert log.checks["checked_at"].dt.hour.tolist() == [1, 5, 9]


READ = [
    pytest.param(
        log_of("Date,Time due,Time done", "13/10/2026,08:00,08:05",
               "13/10/2026,12:00,12:10"),
        ["2026-10-13 08:05", "2026-10-13 12:10"],
        id="a time due beside the time done",
    ),
    pytest.param(
        log_of("Date,Time", "13/10/2026,8:05a", "13/10/2026,4:10p"),
        ["2026-10-13 08:05", "2026-10-13 16:10"],
        id="am and pm by one letter",
    ),
    pytest.param(
        log_of("Date,Time", "13/10/2026,1605", "13/10/2026,2010", "14/10/2026,10",
               "14/10/2026,5", "14/10/2026,405"),
        ["2026-10-13 16:05", "2026-10-13 20:10", "2026-10-14 00:05",
         "2026-10-14 00:10", "2026-10-14 04:05"],
        id="times of digits that lost their zeros",
    ),
    pytest.param(
        log_of("Checked at", "25/10/2026 00:30 BST", "25/10/2026 01:30 BST",
               "25/10/2026 01:30 GMT"),
        ["2026-10-25 00:30", "2026-10-25 01:30", "2026-10-25 01:30"],
        id="summer time and winter time by name",
    ),
    pytest.param(
        log_of("Date,Time", "13/10/2026,12:00", "13/10/2026,08:00",
               "12/10/2026,11:30").replace(",16\n", ",1\n"),
        ["2026-10-12 11:30", "2026-10-13 08:00", "2026-10-13 12:00"],
        id="the newest row first, all before one o'clock",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("text", "wanted"), READ)
def test_times_in_other_forms_are_read(
    tmp_path: Path, text: str, wanted: list[str]
) -> None:
    log = read(tmp_path, {"log.csv": text})
    assert cells(log.checks, ["checked_at"]) == wanted


def test_lost_zeros_are_said(tmp_path: Path) -> None:
    text = log_of("Date,Time", "13/10/2026,1605", "13/10/2026,405", "13/10/2026,10")
    notes = read(tmp_path, {"log.csv": text}).notes
    assert any("1 of one or two digits were read as minutes" in note for note in notes)
