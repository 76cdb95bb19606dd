"""Sheets of a workbook that are no table of a log, beside those that are."""

from pathlib import Path

import pytest
import xlsxwriter

from analysis.errors import InputError
from analysis.intake import Log, read_exports
from analysis.intake.exports import read_raws
from analysis.intake.layout_file import parse_layout
from analysis.intake.layout_text import to_toml
from analysis.intake.recognise import propose_all
from tests.intake.logs import COLUMNS, GOOD, POLICY

LOG = [COLUMNS] + [
    list((GOOD | {"checked_at": f"2026-10-01T{hour:02}:00"}).values())
    for hour in (8, 12, 16)
]
NOTES = [["Written for", "Remark"], ["the ward", "rows of May are missing"]]
PIVOT = [["Ward", "Patient", "Average of battery"], ["Alder ward", "P1", "98"]]


def book(folder: Path, **sheets: list[list[str]]) -> Path:
    path = folder / "book.xlsx"
    with xlsxwriter.Workbook(str(path)) as made:
        for name, rows in sheets.items():
            sheet = made.add_worksheet(name)
            for i, row in enumerate(rows):
                sheet.write_row(i, 0, row)
    return path


def read(path: Path, layout: str | None = None) -> Log:
    used = None if layout is None else parse_layout(layout, "layout.toml")
    return read_exports([path], POLICY, used)


def printed(path: Path) -> str:
    return to_toml(propose_all(read_raws([path])))


def test_a_sheet_of_notes_is_left_out_and_said_to_be(tmp_path: Path) -> None:
    log = read(book(tmp_path, Notes=NOTES, Log=LOG))
    assert log.account["file"].tolist() == ["book.xlsx!Log"]
    assert len(log.checks) == 3
    [said] = [note for note in log.notes if "nothing of it was used" in note]
    assert said.startswith("book.xlsx!Notes: ")


def test_the_layout_that_is_printed_skips_it(tmp_path: Path) -> None:
    path = book(tmp_path, Notes=NOTES, Log=LOG)
    layout = printed(path)
    assert 'skip_sheets = "Notes"' in layout
    log = read(path, layout)
    assert len(log.checks) == 3
    assert any("as the layout says: 'Notes'" in note for note in log.notes)


def test_a_sheet_that_may_be_a_table_is_asked_about(tmp_path: Path) -> None:
    path = book(tmp_path, Pivot=PIVOT, Log=LOG)
    with pytest.raises(InputError, match=r"book\.xlsx!Pivot: .* under skip_sheets"):
        read(path)


def test_a_sheet_with_a_header_twice_can_be_left_out(tmp_path: Path) -> None:
    layout = printed(book(tmp_path, Log=LOG))
    rota = [["Name", "Shift", "Name"], ["A", "early", "B"], ["C", "late", "D"]]
    path = book(tmp_path, Rota=rota, Log=LOG)
    wanted = r"Rota, line 1: column Name stands twice .* under skip_sheets"
    with pytest.raises(InputError, match=wanted):
        read(path)
    assert len(read(path, f'skip_sheets = ["Rota"]\n{layout}').checks) == 3


def test_a_layout_can_name_the_sheets_to_skip(tmp_path: Path) -> None:
    layout = printed(book(tmp_path, Log=LOG))
    path = book(tmp_path, Pivot=PIVOT, Log=LOG)
    with pytest.raises(InputError, match=r"Pivot: fits no .* under skip_sheets"):
        read(path, layout)
    log = read(path, f'skip_sheets = ["Pivot"]\n{layout}')
    assert log.account["file"].tolist() == ["book.xlsx!Log"]


def test_a_workbook_of_notes_alone_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"Notes: .* has no column ward"):
        read(book(tmp_path, Notes=NOTES))
