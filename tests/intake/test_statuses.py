"""A column that says whether its row stands is read, or asked about; never left out."""

from collections.abc import Sequence
from pathlib import Path

import pytest

from analysis.errors import InputError
from analysis.intake import Log, read_exports
from tests.intake.logs import POLICY, write

HEADER = "Ward,Patient,Infusion No,Date,Time,Volume remaining (ml)"
ROWS = [
    f"Ash,P1,I1,13/10/2026,{8 + 4 * i:02}:05,{20 - 3 * i}.0" for i in range(4)
]  # fmt: skip


def read(folder: Path, header: str, words: Sequence[str]) -> Log:
    rows = [f"{row},{word}" for row, word in zip(ROWS, words, strict=True)]
    return read_exports([write(folder, "log.csv", f"{HEADER},{header}", *rows)], POLICY)


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("Record status", ["Active", "Active", "Deleted", "Active"]),
        ("Status", ["Completed", "Completed", "Cancelled", "Completed"]),
        ("Deleted", ["", "", "Y", ""]),
    ],
)
def test_a_row_struck_out_by_a_known_word_is_not_counted(
    tmp_path: Path, header: str, words: list[str]
) -> None:
    log = read(tmp_path, header, words)
    assert log.checks["source"].tolist() == ["log.csv:2", "log.csv:3", "log.csv:5"]
    assert log.superseded["source"].tolist() == ["log.csv:4"]


@pytest.mark.parametrize(
    ("header", "words", "asked"),
    [
        ("Record status", ["Active", "Active", "Wrong patient", "Active"],
         "Record status reads 'wrong patient' on 1 rows"),
        ("Row status", ["A", "A", "D", "A"], "Row status reads 'd' on 1 rows"),
        ("Record status", ["Original", "Original", "Amended", "Original"],
         "reads 'amended' and 'original'"),
        ("Status", ["Running", "Running", "Deleted", "Running"],
         "Status reads 'running' on 3 rows"),
        ("Deleted", ["", "", "AB", ""], "Deleted reads 'ab' on 1 rows"),
    ],
)  # fmt: skip
def test_words_of_a_status_that_are_not_known_are_asked(
    tmp_path: Path, header: str, words: list[str], asked: str
) -> None:
    with pytest.raises(InputError, match=asked) as refused:
        read(tmp_path, header, words)
    assert "in force" in str(refused.value)


def test_a_status_of_the_driver_is_none_of_the_row(tmp_path: Path) -> None:
    log = read(tmp_path, "Status", ["OK", "OK", "Error", "OK"])
    assert len(log.checks) == 4
    assert not len(log.superseded)


def test_two_columns_that_say_it_are_asked_about(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="can each say whether a row stands"):
        read(tmp_path, "Deleted,In error", ["AB,", ",CD", ",", ","])


def test_a_corrected_row_beside_final_ones_is_asked_about(tmp_path: Path) -> None:
    """In result statuses of health records it stands (from memory)."""
    words = ["Final", "Final", "Corrected", "Final"]
    with pytest.raises(InputError, match="Record status reads 'corrected'"):
        read(tmp_path, "Record status", words)
