"""A sheet that nobody sees is never part of a log unsaid, and none counted twice."""

from pathlib import Path
from typing import Any

import pytest
import xlsxwriter

from analysis.errors import InputError, LayoutError
from analysis.intake import read_exports
from analysis.intake.exports import read_raws
from analysis.intake.layout_file import parse_layout
from analysis.intake.layout_text import to_toml
from analysis.intake.recognise import propose_all
from tests.intake.logs import POLICY

HEADER: list[Any] = [
    "Ward",
    "Patient",
    "Infusion No",
    "Checked at",
    "Volume remaining (ml)",
]
TIMES = [f"13/10/2026 {8 + 4 * i:02}:05" for i in range(4)]
ROWS: list[list[Any]] = [
    ["Ash", "P1", "I1", time, 20 - 3.2 * i] for i, time in enumerate(TIMES)
]
DRAFT: list[list[Any]] = [[*row[:4], 9.9 - i] for i, row in enumerate(ROWS)]


def book(path: Path, sheets: dict[str, list[list[Any]]], hidden: str) -> Path:
    workbook = xlsxwriter.Workbook(str(path))
    for name, rows in sheets.items():
        sheet = workbook.add_worksheet(name)
        for i, row in enumerate(rows):
            sheet.write_row(i, 0, row)
        if name == hidden:
            sheet.hide()
    workbook.close()
    return path


def with_draft(folder: Path) -> Path:
    sheets = {"Checks": [HEADER, *ROWS], "draft": [HEADER, *DRAFT]}
    return book(folder / "log.xlsx", sheets, hidden="draft")


def test_a_hidden_sheet_beside_one_of_its_kind_is_asked_about(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"'draft' is hidden .* kind as 'Checks'"):
        read_exports([with_draft(tmp_path)], POLICY)


@pytest.mark.parametrize(("answer", "rows"), [('["draft"]', 4), ("[]", 8)])
def test_a_layout_says_if_a_hidden_sheet_counts(
    tmp_path: Path, answer: str, rows: int
) -> None:
    path = with_draft(tmp_path)
    layout = to_toml(propose_all(read_raws([path])))
    with pytest.raises(LayoutError, match="skip_sheets is not settled"):
        parse_layout(layout, "layout")
    settled = parse_layout(layout.replace('["?"]', answer), "layout")
    log = read_exports([path], POLICY, settled)
    assert len(log.checks) == rows
    assert any("is hidden" in note for note in log.notes) == (rows == 8)


def test_a_hidden_sheet_of_its_own_kind_is_read_and_said(tmp_path: Path) -> None:
    syringes: list[list[Any]] = [
        ["Infusion No", "Patient", "Started at", "Start volume (ml)"],
        ["I1", "P1", "13/10/2026 08:05", 20],
    ]
    sheets: dict[str, list[list[Any]]] = {
        "Checks": [HEADER, *ROWS],
        "Infusions": syringes,
    }
    log = read_exports([book(tmp_path / "log.xlsx", sheets, "Infusions")], POLICY)
    assert len(log.checks) == 4
    assert any("Infusions: the sheet is hidden" in note for note in log.notes)
