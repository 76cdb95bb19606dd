"""Exports that nearly are of a kind that is recognised, and those that just are.

Every service, ward, person and number here is invented; the rows beside an export are
what a perfect intake makes of it.
"""

import datetime as dt
import zipfile
from pathlib import Path

import pytest
import xlsxwriter

from analysis.errors import InputError
from analysis.intake import read_exports
from tests.intake.exports import cells, printed, read, write
from tests.intake.logs import POLICY

HEADER = "Ward,Patient,Checked at,Rate ml/h,Volume left"
ROWS = (
    "Amber,K1,14/09/2026 08:00,0.6,16",
    "Amber,K1,14/09/2026 12:00,0.6,13.6",
    "Amber,K1,14/09/2026 16:00,0.6,11.2",
)
PLAIN = [
    "Amber | K1 | 2026-09-14 08:00 | 16",
    "Amber | K1 | 2026-09-14 12:00 | 13.6",
    "Amber | K1 | 2026-09-14 16:00 | 11.2",
]
SHOWN = ["ward", "patient_id", "checked_at", "volume_remaining_ml"]


def lines(*rows: str) -> str:
    return "\n".join(rows) + "\n"


def beside(header: str, *more: str) -> str:
    """Put columns behind those of a plain log."""
    rows = [f"{row},{cell}" for row, cell in zip(ROWS, more, strict=True)]
    return lines(f"{HEADER},{header}", *rows)


BELOW = "Checked at,Rate ml/h,Volume left"
BARE = [row.removeprefix("Amber,K1,") for row in ROWS]
OTHER = [row.replace("K1", "K2") for row in PLAIN]

ROUNDS = beside("08:00,14:00,20:00", "x,,x", ",,", "x,,x")
DAYS = beside("14/09/2026,15/09/2026", "x,", ",", "x,")
REMARK_WITH_COLON = lines(
    "Ward: Amber,,,,",
    "Note,Patient,Checked at,Rate ml/h,Volume left",
    f"Ward: round by the team,{ROWS[0].removeprefix('Amber,')}",
    f",{ROWS[1].removeprefix('Amber,')}",
    f"ok,{ROWS[2].removeprefix('Amber,')}",
)
SHORT_LINES = lines("Ward: Amber", "Patient: K1", BELOW, *BARE, "Patient: K2", *BARE)
SHORT_DAYS = lines(
    "Time,Ward,Patient,Volume left",
    "14/09/2026",
    "08:00,Amber,K1,16",
    "12:00,Amber,K1,13.6",
    "16:00,Amber,K1,11.2",
)
SHORT_TOTALS = lines(HEADER, *ROWS, "Count: 3", "Grand total,3", "*** end ***")
AVERAGES = lines(HEADER, *ROWS, "Average,,,0.6,13.6", "Max,,,0.6,16")
PAST_MIDNIGHT = lines(
    "Ward,Patient,Date,Time 1,Volume left 1,Time 2,Volume left 2,Time 3,Volume left 3",
    "Amber,K1,14/09/2026,16:00,16,22:00,13,02:00,11",
    "Amber,K1,15/09/2026,06:00,9,08:00,8,,",
)
NAMED_ZONE = lines(
    HEADER,
    "Amber,K1,25/10/2026 02:30 CEST,0.6,16",
    "Amber,K1,25/10/2026 02:30 CET,0.6,15.4",
)
GERMAN = lines(
    "Station;Patient Nr;Datum;Uhrzeit;Art;Rest ml",
    "Amber;K1;14.09.2026;08:00;Start;16",
    "Amber;K1;14.09.2026;12:00;Kontrolle;13,6",
    "Amber;K1;14.09.2026;16:00;Kontrolle;11,2",
)


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        pytest.param(ROUNDS, PLAIN, id="ticks under hours are no checks"),
        pytest.param(DAYS, PLAIN, id="ticks under days are no checks"),
        pytest.param(REMARK_WITH_COLON, PLAIN, id="a remark that begins with Ward:"),
        pytest.param(SHORT_LINES, PLAIN + OTHER, id="a short line of a new patient"),
        pytest.param(SHORT_DAYS, PLAIN, id="a short line of a day"),
        pytest.param(SHORT_TOTALS, PLAIN, id="short lines of totals"),
        pytest.param(AVERAGES, PLAIN, id="averages"),
        pytest.param(
            PAST_MIDNIGHT,
            ["Amber | K1 | 2026-09-14 16:00 | 16",
             "Amber | K1 | 2026-09-14 22:00 | 13",
             "Amber | K1 | 2026-09-15 02:00 | 11",
             "Amber | K1 | 2026-09-15 06:00 | 9",
             "Amber | K1 | 2026-09-15 08:00 | 8"],
            id="checks side by side past midnight",
        ),
        pytest.param(
            NAMED_ZONE,
            ["Amber | K1 | 2026-10-25 01:30 | 16",
             "Amber | K1 | 2026-10-25 01:30 | 15.4"],
            id="the time of Berlin by name, in London, either side of the change",
        ),
        pytest.param(GERMAN, PLAIN, id="Art and Rest in a German log"),
    ],
)  # fmt: skip
def test_it_is_read_as_what_it_is(tmp_path: Path, text: str, wanted: list[str]) -> None:
    log = read(tmp_path, {"log.csv": text})
    assert sorted(cells(log.checks, SHOWN)) == sorted(wanted)
    assert log.rejected.empty
    layout = printed(write(tmp_path, {"log.csv": text}))
    again = read(tmp_path, {"log.csv": text}, layout)
    assert sorted(cells(again.checks, SHOWN)) == sorted(wanted)


def test_the_two_times_of_the_repeated_hour_are_an_hour_apart(tmp_path: Path) -> None:
    times = read(tmp_path, {"log.csv": NAMED_ZONE}).checks["checked_at"]
    assert times.diff().iloc[1] == dt.timedelta(hours=1)


def test_an_english_column_called_rest_is_no_volume(tmp_path: Path) -> None:
    log = read(tmp_path, {"log.csv": beside("Rest", "3", "4", "2")})
    assert cells(log.checks, SHOWN) == PLAIN
    assert any("not used: Rest" in str(note) for note in log.notes)


def test_drugs_told_apart_by_letters_are_joined(tmp_path: Path) -> None:
    text = beside("Drug A,Drug B", *3 * ["morphine,midazolam"])
    log = read(tmp_path, {"log.csv": text})
    assert set(log.infusions["contents"]) == {"morphine; midazolam"}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        pytest.param(
            lines(HEADER, *(row.replace(":00,", ":00 EST,") for row in ROWS)),
            "EST is the name of a time zone; write its offset",
            id="a name of several zones",
        ),
        pytest.param(
            lines(HEADER, "Amber,K1,2026-09-03 08:00,0.6,16",
                  "Amber,K1,03/09/2026 12:00,0.6,13.6",
                  "Amber,K1,2026-09-03 16:00,0.6,11.2"),
            "write dmy",
            id="dates with the year first, and some of an open order",
        ),
    ],
)  # fmt: skip
def test_it_is_asked(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        read(tmp_path, {"log.csv": text})


def test_a_row_that_has_lost_all_but_its_day_is_no_heading(tmp_path: Path) -> None:
    log = read(tmp_path, {"log.csv": lines(HEADER, ",,13/09/2026,,", *ROWS)})
    assert cells(log.checks, SHOWN) == PLAIN
    assert log.rejected["source"].tolist() == ["log.csv:2"]


def test_a_table_in_an_archive_is_named(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "log.csv", "w") as archive:
        archive.writestr("inside.csv", lines(HEADER, *ROWS))
    with pytest.raises(InputError, match=r"archive with inside\.csv in it"):
        read_exports([tmp_path / "log.csv"], POLICY)


def test_a_cell_over_several_rows_holds_for_each(tmp_path: Path) -> None:
    book = xlsxwriter.Workbook(str(tmp_path / "log.xlsx"))
    sheet = book.add_worksheet("Checks")
    sheet.write_row(0, 0, HEADER.split(","))
    for at, row in enumerate(ROWS, 1):
        sheet.write_row(at, 2, row.split(",")[2:])
    sheet.merge_range(1, 0, 4, 0, "Amber")  # over a blank row too, which is no row
    sheet.merge_range(1, 1, 3, 1, "K1")
    book.close()
    log = read_exports([tmp_path / "log.xlsx"], POLICY)
    assert cells(log.checks, SHOWN) == PLAIN
    assert log.rejected.empty
