"""A file whose first line is no header in one line: the message says what it is."""

from pathlib import Path

import pytest

from analysis.errors import InputError
from analysis.intake import read_exports
from tests.intake.logs import POLICY, write

ROWS = ["Ash,P1,13/10/2026,08:05,20,Y,Y", "Ash,P1,13/10/2026,12:05,16.8,Y,Y"]
HEADER = "Ward,Patient No,Date,Time,Volume remaining (ml),Lockbox,Label"


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        pytest.param(ROWS, "no line with the names of the columns", id="no header"),
        pytest.param(
            [",".join(cells) for cells in
             zip(*(line.split(",") for line in (HEADER, *ROWS)), strict=True)],
            "one below the other, in the first column",
            id="a table on its side",
        ),
        pytest.param(
            ["Ward,Patient,Date,Time,Volume,Site,Site",
             ",No,,,remaining (ml),location,signs", *ROWS],
            "take two lines: write each name in one line, as 'Patient No'",
            id="names in two lines",
        ),
        pytest.param(
            ["Ward,Patient,Date,Time,Volume,Note,Note", *ROWS],
            "column Note stands twice",
            id="a name twice",
        ),
    ],
)  # fmt: skip
def test_the_message_says_what_the_first_line_is(
    tmp_path: Path, lines: list[str], said: str
) -> None:
    with pytest.raises(InputError, match=said):
        read_exports([write(tmp_path, "log.csv", *lines)], POLICY)
