"""A delimiter without quotes in a cell moves the cells behind it: never read so."""

from collections.abc import Sequence
from pathlib import Path

import pytest

from analysis.errors import InputError
from analysis.intake import Log, read_exports
from tests.intake.logs import POLICY, write

HEADER = "Ward,Patient,Date,Time,Volume remaining (ml),Battery %,Comments"
BEGUN = ["Ash,P1,13/10/2026,00:05,20.0,98,", "Ash,P1,13/10/2026,04:05,16.8,94,"]
SHIFTED = "Ash,P1,13/10/2026,08:05,13,6,90,"
MORE = ["Ash,P1,13/10/2026,12:05,10.4,88,", "Ash,P1,13/10/2026,16:05,7.0,84,"]


def read(folder: Path, lines: Sequence[str]) -> Log:
    return read_exports([write(folder, "log.csv", *lines)], POLICY)


@pytest.mark.parametrize(
    "spoiled",
    [
        pytest.param(SHIFTED, id="a decimal comma"),
        pytest.param("Ash,P1,13/10/2026,08:05,13.6,90,,", id="a delimiter too many"),
    ],
)
def test_a_row_wider_than_the_others_is_a_broken_record(
    tmp_path: Path, spoiled: str
) -> None:
    log = read(tmp_path, [HEADER, *BEGUN, spoiled, *MORE])
    assert log.checks["volume_remaining_ml"].tolist() == [20.0, 16.8, 10.4, 7.0]
    assert log.rejected["source"].tolist() == ["log.csv:4"]
    assert log.rejected["reason"].tolist() == ["broken record"]
    assert "8 cells where the header has 7" in log.rejected["sentence"].iloc[0]


def test_a_semicolon_in_a_cell_of_a_file_of_semicolons_is_a_broken_record(
    tmp_path: Path,
) -> None:
    lines = [line.replace(",", ";") for line in (HEADER, *BEGUN, *MORE)]
    lines.insert(3, "Ash;P1;13/10/2026;08:05;13.6;90;ok;")
    log = read(tmp_path, lines)
    assert len(log.checks) == 4
    assert log.rejected["source"].tolist() == ["log.csv:4"]


def test_delimiters_that_end_every_row_are_a_habit_of_the_export(
    tmp_path: Path,
) -> None:
    rows = [f"{line}," for line in (*BEGUN, *MORE)]
    lines = [HEADER, *rows[:2], HEADER, "", *rows[2:], "Total checks,4,,,,,"]
    log = read(tmp_path, lines)
    assert log.checks["volume_remaining_ml"].tolist() == [20.0, 16.8, 10.4, 7.0]
    assert log.checks["battery_pct"].tolist() == [98, 94, 88, 84]
    assert not len(log.rejected)


def test_decimal_commas_in_most_rows_are_refused(tmp_path: Path) -> None:
    lines = [line.replace(".", ",") for line in (*BEGUN, *MORE)]
    whole = "Ash,P1,13/10/2026,20:05,4,80,"
    with pytest.raises(InputError, match="8 cells where the header has 7"):
        read(tmp_path, [HEADER, *lines, whole])


@pytest.mark.parametrize(
    "line",
    ["Total,4", "Grand total,,,,54.2", "Sub-total:,4,,,54.2", "Mean,,,,13.55,91.0"],
)
def test_a_line_of_totals_shorter_than_the_header_is_no_row(
    tmp_path: Path, line: str
) -> None:
    log = read(tmp_path, [HEADER, *BEGUN, *MORE, line])
    account = log.account.iloc[0]
    assert (account["rows_read"], account["accepted"]) == (4, 4)
    assert not len(log.rejected)


@pytest.mark.parametrize(
    "line",
    ["Total Care,P1,13/10/2026,20:05,4.0", "Total,4,13/10/2026", "Total,P1,4.0"],
)
def test_a_short_row_that_holds_more_than_totals_is_a_broken_record(
    tmp_path: Path, line: str
) -> None:
    log = read(tmp_path, [HEADER, *BEGUN, *MORE, line])
    assert log.rejected["source"].tolist() == ["log.csv:6"]
    assert log.rejected["reason"].tolist() == ["broken record"]
