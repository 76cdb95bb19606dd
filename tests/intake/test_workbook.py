"""Workbooks to raw tables: real dates, numbers and truth values in plain writing."""

import datetime as dt
import zipfile
from pathlib import Path

import pytest
import xlsxwriter

from analysis.errors import InputError
from analysis.intake import workbook
from analysis.intake.files import read_raw, read_table
from analysis.intake.raw import RawTable

DAY = dt.date(2026, 9, 14)
MOMENT = dt.datetime(2026, 9, 14, 11, 54)  # noqa: DTZ001 - a sheet has no zones


def header_of(rows: list[list[str]]) -> int | None:
    return next((i for i, row in enumerate(rows) if sum(map(bool, row)) > 1), None)


def write(path: Path, sheets: dict[str, list[list[object]]]) -> Path:
    book = xlsxwriter.Workbook(str(path), {"default_date_format": "dd/mm/yyyy hh:mm"})
    formats = {
        dt.date: book.add_format({"num_format": "dd/mm/yyyy"}),
        dt.time: book.add_format({"num_format": "hh:mm"}),
        dt.timedelta: book.add_format({"num_format": "[h]:mm"}),
    }
    for name, rows in sheets.items():
        sheet = book.add_worksheet(name)
        for i, row in enumerate(rows):
            for j, cell in enumerate(row):
                sheet.write(i, j, cell, formats.get(type(cell)))
    book.close()
    return path


def read(path: Path) -> list[RawTable]:
    return read_raw(path, path.name, find_header=header_of)


@pytest.mark.parametrize(
    ("cell", "wanted"),
    [
        pytest.param(MOMENT, "2026-09-14T11:54:00", id="a date with a time"),
        pytest.param(DAY, "2026-09-14", id="a date alone stays a date"),
        pytest.param(dt.time(11, 54), "11:54:00", id="a time alone"),
        pytest.param(dt.timedelta(hours=26), "26:00:00", id="a duration"),
        pytest.param("21/09/2026", "21/09/2026", id="a date typed as text"),
        pytest.param(417, "417", id="a whole number without a point"),
        pytest.param(1234567890123456, "1234567890123456", id="a code of 16 digits"),
        pytest.param(15.4, "15.4", id="a number"),
        pytest.param(0.1 + 0.2, "0.3", id="a number as the sheet shows it"),
        pytest.param(0.604166666666667, "0.604166666666667", id="a part of a day"),
        pytest.param(1e-7, "0.0000001", id="a small number without an exponent"),
        pytest.param(1e20, "100000000000000000000", id="a large one likewise"),
        pytest.param(-0.5, "-0.5", id="a number below nothing"),
        pytest.param(True, "yes", id="true"),
        pytest.param(False, "no", id="false"),
        pytest.param("0417", "0417", id="text keeps its zeros"),
        pytest.param(" NAD ", "NAD", id="blanks around text"),
        pytest.param("", "", id="an empty cell"),
    ],
)
def test_a_cell_is_written_plainly(tmp_path: Path, cell: object, wanted: str) -> None:
    path = write(tmp_path / "book.xlsx", {"Visits": [["a", "b"], ["x", cell]]})
    (table,) = read(path)
    assert table.cells["b"].tolist() == [wanted] if wanted else True
    assert table.file == "book.xlsx!Visits"


def test_each_sheet_is_a_table_with_the_rows_of_the_sheet(tmp_path: Path) -> None:
    path = write(
        tmp_path / "book.xlsx",
        {
            "Visits": [["Title"], [], ["Team", "ml"], ["A", 1], [], ["B", 2]],
            "Empty": [],
            "Lines and sites": [["Patient", "When"], ["0417", DAY]],
        },
    )
    visits, lines = read(path)
    assert (visits.file, lines.file) == (
        "book.xlsx!Visits",
        "book.xlsx!Lines and sites",
    )
    assert visits.lines.tolist() == [4, 6]
    assert visits.preamble == (("Title", ""), ())
    assert (visits.header_line, visits.other_lines) == (3, 4)
    assert lines.cells.to_dict("list") == {"Patient": ["0417"], "When": ["2026-09-14"]}
    assert visits.sha256 == lines.sha256 != ""


def test_a_sheet_without_a_header_is_kept_and_said_to_be_unused(tmp_path: Path) -> None:
    path = write(
        tmp_path / "book.xlsx",
        {"Read me": [["some words"], ["more"]], "Visits": [["a", "b"], [1, 2]]},
    )
    words, visits = read(path)
    assert (len(words.cells), words.other_lines, words.header_line) == (0, 2, 0)
    assert words.preamble == (("some words",), ("more",))
    assert words.notes == (
        "book.xlsx!Read me: has no header, and nothing of it was used.",
    )
    assert len(visits.cells) == 1


def test_the_first_row_of_the_sheet_counts_even_if_it_is_empty(tmp_path: Path) -> None:
    path = write(tmp_path / "book.xlsx", {"V": [[], [], ["", "a", "b"], ["", 1, 2]]})
    (table,) = read(path)
    assert table.lines.tolist() == [4]
    assert list(table.cells.columns) == ["a", "b"]


def test_a_workbook_is_told_by_what_is_in_it(tmp_path: Path) -> None:
    book = write(tmp_path / "book.xlsx", {"V": [["a", "b"], [1, 2]]})
    path = book.rename(tmp_path / "export.csv")
    assert read_table(path, "export.csv").cells["a"].tolist() == ["1"]


def test_a_formula_gives_what_was_stored_with_it(tmp_path: Path) -> None:
    path = tmp_path / "book.xlsx"
    book = xlsxwriter.Workbook(str(path))
    sheet = book.add_worksheet("V")
    sheet.write_row(0, 0, ["a", "b"])
    sheet.write_formula(1, 0, "=1+1", value=2)
    sheet.write_string(1, 1, "=1+1")
    book.close()
    assert read(path)[0].cells.iloc[0].tolist() == ["2", "=1+1"]


def test_an_error_of_a_sheet_is_no_blank(tmp_path: Path) -> None:
    path = tmp_path / "book.xlsx"
    book = xlsxwriter.Workbook(str(path))
    for name in ("V", "This & that"):
        sheet = book.add_worksheet(name)
        sheet.write_row(1, 1, ["a", "b", "c"])
        sheet.write_formula(2, 1, "=NA()", value="#N/A")
        sheet.write_formula(2, 3, "=1/0", value="#DIV/0!")
        sheet.write_string(2, 2, "x")
    book.close()
    rows = [table.cells.iloc[0].tolist() for table in read(path)]
    assert rows == [["#N/A", "x", "#DIV/0!"]] * 2


def test_a_formula_never_calculated_is_no_blank(tmp_path: Path) -> None:
    """As a program writes it that does not calculate: without a value beside it."""
    rows: list[list[object]] = [["a", "b"], ["x", 8], ["y", 9]]
    path = write(tmp_path / "book.xlsx", {"V": rows})
    given = {
        b"<v>8</v></c>": b"<f>A1-1.6</f><v></v></c>",
        b'<c r="B3"><v>9</v></c>': b'<c r="B3" t="str"><f>T(1)</f><v></v></c>',
    }
    _rewrite(path, "xl/worksheets/sheet1.xml", given)
    found = read(path)[0].cells["b"].tolist()
    assert found == ["=A1-1.6 in B2, saved without its value", ""]


def _rewrite(path: Path, part: str, given: dict[bytes, bytes]) -> None:
    with zipfile.ZipFile(path) as book:
        parts = {name: book.read(name) for name in book.namelist()}
    for old, new in given.items():
        assert old in parts[part]
        parts[part] = parts[part].replace(old, new)
    with zipfile.ZipFile(path, "w") as book:
        for name, data in parts.items():
            book.writestr(name, data)


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        pytest.param(b"PK\x03\x04" + b"\0" * 40, "cannot be opened", id="damaged"),
        pytest.param(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600,
                     "cannot be opened", id="no workbook in its old wrapping"),
    ],
)  # fmt: skip
def test_a_file_that_is_no_workbook_ends_in_one_sentence(
    tmp_path: Path, data: bytes, sentence: str
) -> None:
    path = tmp_path / "book.xlsx"
    path.write_bytes(data)
    with pytest.raises(InputError, match=rf"book\.xlsx: {sentence}"):
        read(path)


def test_a_workbook_that_unpacks_to_gigabytes_is_not_unpacked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write(tmp_path / "book.xlsx", {"V": [["a", "b"], ["1", "x" * 30_000]]})
    monkeypatch.setattr(workbook, "_MOST_BYTES", 30_000)
    assert path.stat().st_size < 30_000
    with pytest.raises(InputError, match=r"book\.xlsx: the workbook unpacks to 0.0 GB"):
        read(path)


def test_a_part_that_is_longer_than_it_says_is_refused(tmp_path: Path) -> None:
    """Its reader would unpack what there is, and not what is said of it."""
    path = write(tmp_path / "book.xlsx", {"V": [["a", "b"], ["1", "x" * 30_000]]})
    with zipfile.ZipFile(path) as book:
        strings = book.getinfo("xl/sharedStrings.xml")
    size, said = (n.to_bytes(4, "little") for n in (strings.file_size, 100))
    crc = strings.CRC.to_bytes(4, "little")
    data = path.read_bytes()
    packed = strings.compress_size.to_bytes(4, "little")
    assert data.count(crc + packed + size) == 2  # before the part, and in the directory
    path.write_bytes(data.replace(crc + packed + size, crc + packed + said))
    with pytest.raises(InputError, match="a part of it is not as long as it says"):
        read(path)


@pytest.mark.parametrize(
    ("sheets", "sentence"),
    [
        pytest.param({"V": []}, "the workbook is empty", id="nothing in it"),
        pytest.param({"V": [["words"]]}, "no sheet has a line", id="no table in it"),
    ],
)
def test_a_workbook_without_a_table_ends_in_one_sentence(
    tmp_path: Path, sheets: dict[str, list[list[object]]], sentence: str
) -> None:
    with pytest.raises(InputError, match=sentence):
        read(write(tmp_path / "book.xlsx", sheets))


def test_one_table_is_wanted_and_several_sheets_are_refused(tmp_path: Path) -> None:
    rows: list[list[object]] = [["a", "b"], [1, 2]]
    path = write(tmp_path / "book.xlsx", {"V": rows, "W": rows})
    with pytest.raises(InputError, match="holds 2 sheets"):
        read_table(path, "book.xlsx")


def test_a_stray_cell_at_the_end_of_a_sheet_ends_in_one_sentence(
    tmp_path: Path,
) -> None:
    path = tmp_path / "book.xlsx"
    book = xlsxwriter.Workbook(str(path))
    sheet = book.add_worksheet("V")
    sheet.write_row(0, 0, ["a", "b"])
    sheet.write_string(1_048_575, 16_383, " ")
    book.close()
    with pytest.raises(InputError, match=r"1,048,576 rows and 16,384 columns"):
        read(path)
