"""One invented log, written as six services would export it, is one log."""

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
import xlsxwriter
from pandas.testing import assert_frame_equal

from analysis.intake import Log, read_exports
from tests.intake.logs import POLICY, canonical

ZONE = ZoneInfo("Europe/London")

Cell = str | float | datetime
Row = Mapping[str, str]

NAMES = (
    "ward",
    "patient_id",
    "infusion_id",
    "driver_id",
    "entry",
    "checked_at",
    "set_rate_ml_h",
    "volume_remaining_ml",
    "battery_pct",
    "running",
    "site_signs",
    "lockbox_locked",
    "note",
)
_ONE = "Elder ward,0012,S1,D7,{},{},0.67,{},{},yes,{},yes,{}"
_TWO = "Larch ward,0033,S2,D9,{},{},0.5,{},{},{},{},no,{}"
#: Times are local, on both sides of the night the clocks go back (25 October 2026);
#: one cannot be read, nor one volume; one number is about, and one row stands twice.
LINES = (
    _ONE.format("start", "2026-10-24T20:05", "16", "98", "none", ""),
    _ONE.format("check", "2026-10-25T00:10", "13.3", "94", "none", "caf\xe9; quiet"),
    _ONE.format(
        "check", "2026-10-25T03:55", "~10.2", "90", "redness", 'he said ""ow""'
    ),
    _TWO.format("start", "2026-10-25T12:00", "12", "80", "yes", "", ""),
    _ONE.format("check", "2026-10-25T08:00", "see chart", "86", "", ""),
    _TWO.format("check", "2026-10-25T16:30", "9.75", "77", "yes", "swelling", ""),
    _TWO.format("check", "night round", "7", "77", "yes", "", ""),
    _TWO.format("check", "2026-10-26T00:00", "6", "71", "no", "none", "two\xb5g"),
    _ONE.format("end", "2026-10-25T19:00", "0.4", "80", "none", ""),
    _ONE.format("end", "2026-10-25T19:00", "0.4", "80", "none", ""),
)


def rows() -> list[dict[str, str]]:
    quoted = (line.replace('""', "\x1f") for line in LINES)
    return [
        dict(zip(NAMES, (c.replace("\x1f", '"') for c in line.split(",")), strict=True))
        for line in quoted
    ]


def local(text: str) -> datetime | None:
    """Give a local time of the log; None where it is none."""
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return None


def as_it_is(_name: str, text: str) -> str:
    return text


def with_decimal_comma(name: str, text: str) -> str:
    """Write day first with dots, and numbers with a decimal comma."""
    if name == "checked_at":
        time = local(text)
        return f"{time:%d.%m.%Y %H:%M}" if time else text
    return text.replace(".", ",") if name.endswith(("_ml_h", "_ml")) else text


def month_first(name: str, text: str) -> str:
    time = local(text) if name == "checked_at" else None
    return f"{time.month}/{time.day}/{time:%Y %H:%M}" if time else text


def with_offset(name: str, text: str) -> str:
    """Write the instant as a clock elsewhere shows it, with its offset (ISO 8601)."""
    time = local(text) if name == "checked_at" else None
    if time is None:
        return text
    there = timezone(timedelta(hours=5, minutes=30))
    return time.replace(tzinfo=ZONE).astimezone(UTC).astimezone(there).isoformat()


def delimited(
    headers: Sequence[str],
    write: Callable[[str, str], str],
    delimiter: str,
    encoding: str,
    newline: str,
) -> bytes:
    """Write the log as delimited text."""
    file = io.StringIO(newline="")
    writer = csv.writer(file, delimiter=delimiter, lineterminator=newline)
    writer.writerow(headers)
    for row in rows():
        writer.writerow([write(name, row[name]) for name in NAMES])
    return file.getvalue().encode(encoding)


def write_canonical(path: Path) -> Path:
    data = delimited(NAMES, as_it_is, ",", "utf-8", "\n")
    path = path / "log.csv"
    path.write_bytes(data)
    return path


FOREIGN = (
    "Ward Name",
    "Patient No",
    "Syringe No",
    "Driver No",
    "Entry type",
    "Date/Time of Check",
    "Rate (mL/h)",
    "Volume Remaining (mL)",
    "Battery %",
    "Running?",
    "Site Condition",
    "Box locked",
    "Comments",
)


def write_semicolons(path: Path) -> Path:
    data = delimited(FOREIGN, with_decimal_comma, ";", "cp1252", "\r\n")
    path = path / "export 1.csv"
    path.write_bytes(data)
    return path


def write_tabs(path: Path) -> Path:
    data = delimited(FOREIGN, month_first, "\t", "utf-16", "\r\n")
    path = path / "export.txt"
    path.write_bytes(data)
    return path


def write_offsets(path: Path) -> Path:
    data = delimited(NAMES, with_offset, ",", "utf-8-sig", "\n")
    path = path / "elsewhere.csv"
    path.write_bytes(data)
    return path


def write_date_and_time_apart(path: Path) -> Path:
    """Write day first, the time beside it on a 12-hour clock."""
    file = io.StringIO(newline="")
    writer = csv.writer(file, quoting=csv.QUOTE_ALL)
    place = NAMES.index("checked_at")
    headers = [*FOREIGN]
    headers[place : place + 1] = ["Date of check", "Time of check"]
    writer.writerow(headers)
    for row in rows():
        cells = [row[name] for name in NAMES]
        time = local(cells[place])
        both = ["25/10/2026", cells[place]]
        if time:
            hour = time.hour % 12 or 12
            both = [f"{time:%d/%m/%Y}", f"{hour}:{time:%M} {time:%p}".lower()]
        cells[place : place + 1] = both
        writer.writerow(cells)
    path = path / "apart.csv"
    path.write_text(file.getvalue(), encoding="utf-8", newline="")
    return path


def write_workbook(path: Path) -> Path:
    """Write real dates and numbers, patient numbers as text, below a title."""
    path = path / "export.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("Checks")
        day = book.add_format({"num_format": "dd/mm/yyyy hh:mm"})
        sheet.write_row(0, 0, FOREIGN)
        for i, row in enumerate(rows(), 1):
            for k, name in enumerate(NAMES):
                time = local(row[name]) if name == "checked_at" else None
                if time:
                    sheet.write_datetime(i, k, time, day)
                elif name.endswith(("_ml", "_ml_h", "_pct")) and _is_number(row[name]):
                    sheet.write_number(i, k, float(row[name]))
                else:
                    sheet.write_string(i, k, row[name])
    return path


def _is_number(text: str) -> bool:
    return text.replace(".", "", 1).isdigit()


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Log:
    return read_exports([write_canonical(tmp_path_factory.mktemp("plain"))], POLICY)


def test_the_canonical_log_is_what_was_written(plain: Log) -> None:
    assert plain.checks["volume_remaining_ml"].tolist()[:3] == [16.0, 13.3, 10.2]
    assert len(plain.checks) == 8
    assert plain.infusions.index.tolist() == ["S1", "S2"]
    assert plain.rejected["reason"].tolist() == ["time not readable"]
    assert plain.set_aside["reason"].tolist() == ["not a number"]
    assert plain.qualified["qualifier"].tolist() == ["approximate"]
    assert plain.account["exact_duplicates"].tolist() == [1]
    # From 00:10 to 03:55 on the night of 25 October, 1 a.m. came twice: 4.75 h.
    first, second = plain.checks["checked_at"].iloc[1:3]
    assert second - first == pd.Timedelta(hours=4.75)


@pytest.mark.parametrize(
    "write",
    [
        pytest.param(
            write_semicolons, id="semicolons, decimal commas, Windows-1252, CRLF"
        ),
        pytest.param(write_tabs, id="tabs, UTF-16, month first"),
        pytest.param(write_workbook, id="a workbook with real dates"),
        pytest.param(write_offsets, id="ISO 8601 with the offset of another zone"),
        pytest.param(
            write_date_and_time_apart, id="day first, time apart on a 12-hour clock"
        ),
    ],
)
def test_the_same_log_in_another_dialect_gives_the_same_tables(
    tmp_path: Path, plain: Log, write: Callable[[Path], Path]
) -> None:
    log = read_exports([write(tmp_path)], POLICY)
    for name in ("checks", "infusions", "lines"):
        assert_frame_equal(
            canonical(getattr(log, name), ["row_text"]),
            canonical(getattr(plain, name), ["row_text"]),
        )
    # The ledger quotes cells and headers as they stand in the file.
    for name in ("rejected", "set_aside"):
        own, other = getattr(log, name), getattr(plain, name)
        assert own["reason"].tolist() == other["reason"].tolist()
    told = ["column", "qualifier"]
    assert_frame_equal(log.qualified[told], plain.qualified[told])
    counts = plain.account.columns.difference(["file", "sha256", "other_lines"])
    assert_frame_equal(log.account[counts], plain.account[counts])
    assert log.columns == plain.columns


@pytest.mark.parametrize(
    ("days", "accepted"),
    [
        pytest.param(
            1, 4, id="a day among date-times is midnight: a sheet has no 00:00"
        ),
        pytest.param(3, 3, id="as many days as date-times are days without a time"),
    ],
)
def test_midnight_in_a_sheet(tmp_path: Path, days: int, accepted: int) -> None:
    path = tmp_path / "export.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("Checks")
        day = book.add_format({"num_format": "dd/mm/yyyy hh:mm"})
        sheet.write_row(0, 0, ("Ward", "Patient No", "Date/Time of Check", "mL left"))
        for i in range(3 + days):
            hour = 0 if i < days else 8
            sheet.write_row(i + 1, 0, ("Elder", "P1"))
            sheet.write_datetime(
                i + 1, 2, datetime.fromisoformat(f"2026-09-{14 + i}T{hour:02}:00"), day
            )
            sheet.write_number(i + 1, 3, 9 - i)
    log = read_exports([path], POLICY)
    assert len(log.checks) == accepted
    hours = log.checks["checked_at"].dt.hour.tolist()
    assert hours == [0, 8, 8, 8][-accepted:]
