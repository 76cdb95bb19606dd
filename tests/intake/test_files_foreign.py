"""Foreign text files to raw tables: any dialect, nothing lost, or one sentence."""

import csv
import io
import re
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from analysis.errors import InputError
from analysis.intake import body, coded_cells, encodings, records, scan
from analysis.intake.files import read_raw, read_table
from analysis.intake.raw import Dialect, RawTable, row_text

HEADER = ["Ward", "Time", "ml left", "Note"]
TABLE = [
    ["Wren Unit", "14/09/2026 13:05", "13,3", ""],
    ["Wren Unit", "14/09/2026 17:10", "10.5", 'said "ok", then; slept'],
    ["Kestrel", "14/09/2026 17:20", "~8", "two\nlines"],
    ["Kestrel", "14/09/2026 21:00", "5", "Ørn µ ½"],
]


def first_filled(rows: list[list[str]]) -> int | None:
    return next((i for i, row in enumerate(rows) if any(row)), None)


def read(path: Path, data: bytes, **how: str | None) -> RawTable:
    path.write_bytes(data)
    dialect = Dialect(**how) if how else None  # type: ignore[arg-type]
    found = read_raw(path, path.name, find_header=first_filled, dialect=dialect)
    assert len(found) == 1
    return found[0]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "export.csv"


def written(
    rows: list[list[str]], delimiter: str = ",", lineterminator: str = "\r\n"
) -> str:
    """Write as RFC 4180 says; the csv module leaves some line breaks unquoted."""
    return "".join(
        delimiter.join(in_quotes(cell, delimiter) for cell in row) + lineterminator
        for row in rows
    )


def in_quotes(cell: str, delimiter: str) -> str:
    if not set(cell) & {delimiter, '"', "\r", "\n"}:
        return cell
    return '"' + cell.replace('"', '""') + '"'


def rows_of(table: RawTable) -> list[list[str]]:
    return [list(row) for row in table.cells.itertuples(index=False)]


def assert_all_accounted_for(table: RawTable, n_records: int) -> None:
    assert len(table.cells) + len(table.broken) + table.other_lines == n_records


ENCODINGS = {
    "UTF-8": ("utf-8", "utf-8"),
    "UTF-8 with a mark": ("utf-8-sig", "utf-8"),
    "UTF-16 with a mark": ("utf-16", "utf-16-le"),
    "UTF-16 without a mark": ("utf-16-le", "utf-16-le"),
    "UTF-16, the other end first": ("utf-16-be", "utf-16-be"),
    "Windows-1252": ("cp1252", "windows-1252"),
}


@pytest.mark.parametrize(("encoding", "named"), ENCODINGS.values(), ids=list(ENCODINGS))
@pytest.mark.parametrize("delimiter", [",", ";", "\t"], ids=["comma", "semi", "tab"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"], ids=["LF", "CRLF", "CR"])
def test_the_same_table_reads_back_from_every_dialect(
    path: Path, encoding: str, named: str, delimiter: str, end: str
) -> None:
    text = written([HEADER, *TABLE], delimiter=delimiter, lineterminator=end)
    table = read(path, text.encode(encoding))
    assert list(table.cells.columns) == HEADER
    assert rows_of(table) == TABLE
    assert table.lines.tolist() == [2, 3, 4, 6]
    assert table.dialect == Dialect(encoding=named, delimiter=delimiter, quote='"')
    assert_all_accounted_for(table, 5)


def test_windows_1252_is_said_to_be_so(path: Path) -> None:
    table = read(path, "Ward,Note\nA,Ørn\n".encode("cp1252"))
    assert table.notes == (
        "export.csv: is not UTF-8 text and was read as Windows-1252.",
    )
    assert read(path, "Ward,Note\nA,Ørn\n".encode()).notes == ()


# RFC 4180, section 2, rules 1 to 7.
@pytest.mark.parametrize(
    ("data", "wanted"),
    [
        pytest.param("a,b\r\n1,2\r\n", [["1", "2"]], id="1: a record a line"),
        pytest.param("a,b\r\n1,2", [["1", "2"]], id="2: no break behind the last"),
        pytest.param("a,b\r\n", [], id="3: the header has the form of a record"),
        pytest.param('"a","b"\r\n1,2\r\n', [["1", "2"]], id="3: a header in quotes"),
        pytest.param("a,b\r\n1, 2\r\n", [["1", "2"]], id="4: blanks are in the cell"),
        pytest.param("a,b\r\n1,x y\r\n", [["1", "x y"]], id="4: and stay inside it"),
        pytest.param("a,b\r\n,\r\n1,\r\n", [["1", ""]], id="4: as many cells a line"),
        pytest.param('a,b\r\n"1","2"\r\n', [["1", "2"]], id="5: cells in quotes"),
        pytest.param('a,b\r\n"1",2\r\n', [["1", "2"]], id="5: or not in quotes"),
        pytest.param('a,b\r\n1,x"y\r\n', [["1", 'x"y']], id="5: a quote in none"),
        pytest.param('a,b\r\n"1","x\r\ny"\r\n', [["1", "x\r\ny"]], id="6: a break"),
        pytest.param('a,b\r\n"1","x,y"\r\n', [["1", "x,y"]], id="6: a comma"),
        pytest.param('a,b\r\n"1","x""y"\r\n', [["1", 'x"y']], id="7: a doubled quote"),
        pytest.param('a,b\r\n"1",""\r\n', [["1", ""]], id="7: an empty one in quotes"),
        pytest.param('a,b\r\n1,""""\r\n', [["1", '"']], id="7: a quote alone"),
    ],
)
def test_rfc_4180(path: Path, data: str, wanted: list[list[str]]) -> None:
    assert rows_of(read(path, data.encode())) == wanted


@pytest.mark.parametrize(
    ("data", "rows", "broken"),
    [
        pytest.param(
            'a,b\n1,"open\n2,x\n3,y\n',
            [["2", "x"], ["3", "y"]],
            [(2, '1,"open', "a quote is never closed")],
            id="a quote never closed takes its own line alone",
        ),
        pytest.param(
            'a,b\n1,"x"y\n2,z\n',
            [["2", "z"]],
            [(2, '1,"x"y', "a quote is out of place")],
            id="text behind a closing quote",
        ),
        pytest.param(
            'a,b\n1,5" tube\n2,z\n',
            [["1", '5" tube'], ["2", "z"]],
            [],
            id="a quote inside a cell without quotes is a plain character",
        ),
        pytest.param(
            'a,b\n1,"open\n2,"two\nlines"\n',
            [["2", "two\nlines"]],
            [(2, '1,"open', "a quote is out of place")],
            id="what follows an open quote is read as usual",
        ),
        pytest.param(
            "a,b\n1,2,3\n4\n5,6,\n7,8\n",
            [["7", "8"]],
            [
                (2, "1,2,3", "3 cells where the header has 2"),
                (3, "4", "1 cells where the header has 2"),
                (4, "5,6,", "3 cells where the header has 2"),
            ],
            id="too many, too few, and one too many that is empty",
        ),
        pytest.param(
            "a,b,c\n1,2,3\n4,5",
            [["1", "2", "3"]],
            [(3, "4,5", "2 cells where the header has 3, and the file ends inside it")],
            id="a last record cut off",
        ),
        pytest.param(
            "a,b\n1,x\0y\n2,z\n",
            [["1", "x\u2400y"], ["2", "z"]],
            [],
            id="a NUL byte is shown in its cell",
        ),
        pytest.param(
            "a,b\n1,2\n" + "\0" * 40,
            [["1", "2"]],
            [
                (
                    3,
                    "\u2400" * 40,
                    "only NUL bytes stand in it, as where a copy broke off",
                )
            ],
            id="an end of NUL bytes only",
        ),
    ],
)
def test_what_is_no_record_is_kept_with_its_line_and_the_rest_is_read(
    path: Path,
    data: str,
    rows: list[list[str]],
    broken: list[tuple[int, str, str]],
) -> None:
    table = read(path, data.encode())
    assert rows_of(table) == rows
    assert [(b.line, b.text, b.why) for b in table.broken] == broken


def test_damaged_characters_break_their_record_only(path: Path) -> None:
    data = "Ward,Note\nA,Ørn\nB,x".encode() + b"\xff" + "y\nC,Ås µg\n".encode()
    table = read(path, data)
    assert table.cells["Ward"].tolist() == ["A", "C"]
    assert [(b.line, b.text) for b in table.broken] == [(3, "B,x\ufffdy")]
    assert table.dialect.encoding == "utf-8"


def test_a_file_cut_inside_a_character_loses_its_last_record_only(path: Path) -> None:
    table = read(path, "Ward,Note\nA,Ørnå\nB,Ø".encode()[:-1])
    assert table.cells["Ward"].tolist() == ["A"]
    assert [b.line for b in table.broken] == [3]


@pytest.mark.parametrize(
    ("data", "named", "units", "others"),
    [
        pytest.param("a,b\n\n1,2\n,\n3,4\n", {"a", "b"}, {}, 3, id="blank lines"),
        pytest.param("a,b\n1,2\n a ,b\n3,4\n", {"a", "b"}, {}, 2,
                     id="the header once more"),
        pytest.param("a,b\n1,2\nA,B\n3,4\n", {"a", "b"}, None, 1,
                     id="another case is a row"),
        pytest.param("t,rate,left\n,mL/h,(ml)\n1,2,3\n3,4,5\n", {"t", "rate", "left"},
                     {"rate": "mL/h", "left": "(ml)"}, 2, id="a row of units"),
        pytest.param("a,,b,\n1,,2,\n3,,4,\n", {"a", "b"}, {}, 1, id="spacer columns"),
        pytest.param("a,,b\n1,x,2\n3,,4\n", {"a", "column 2", "b"}, {}, 1,
                     id="a column without a name that has cells"),
        pytest.param("sep=;\na;b\n1;2\n3;4\n", {"a", "b"}, {}, 2, id="a sep line"),
    ],
)  # fmt: skip
def test_other_lines_are_counted_and_are_no_rows(
    path: Path, data: str, named: set[str], units: dict[str, str] | None, others: int
) -> None:
    path.write_text(data, encoding="utf-8", newline="")

    def header(rows: list[list[str]]) -> int | None:
        return next(
            (i for i, r in enumerate(rows) if any(r) and r[0][:4] != "sep="), None
        )

    (table,) = read_raw(path, "export.csv", find_header=header)
    assert set(table.cells.columns) == named
    assert len(table.cells) == (3 if units is None else 2)
    assert table.units == (units or {})
    assert table.other_lines == others


def test_records_before_the_header_are_kept(path: Path) -> None:
    path.write_text("Report of a ward\n\nWard,Time\nA,1\n", encoding="utf-8")
    (table,) = read_raw(path, "x.csv", find_header=lambda _: 2)
    assert table.preamble == (("Report of a ward",), ())
    assert table.header_line == 3
    assert table.other_lines == 3
    assert table.lines.tolist() == [4]


def test_invisible_characters_are_taken_out_of_headers(path: Path) -> None:
    table = read(
        path, "\ufeffWard ,Site\u200b\u00a0 Condition\nA,\u00a0x\u200b\n".encode()
    )
    assert list(table.cells.columns) == ["Ward", "Site Condition"]
    assert rows_of(table) == [["A", "x"]]


def test_formulas_and_words_for_nothing_stay_text(path: Path) -> None:
    table = read(path, b"a,b\n=1+1,NA\n-1,null\nTrue,1e400\n")
    assert rows_of(table) == [["=1+1", "NA"], ["-1", "null"], ["True", "1e400"]]


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        pytest.param(b"", "is empty", id="nothing"),
        pytest.param(b"\n\n , \n", "is empty", id="blank lines only"),
        pytest.param(b"\n <!DOCTYPE html><html><table>", "web page", id="a web page"),
        pytest.param(b"<table><tr><td>1</td></tr>", "web page", id="a bare table"),
        pytest.param(b"<!-- Saved --><div>", "web page", id="a page with a remark"),
        pytest.param(b'<?xml version="1.0"?><Workbook/>', "XML", id="an XML file"),
        pytest.param(b"%PDF-1.7\n", "a PDF document", id="a PDF"),
        pytest.param(b"\x1f\x8b\x08", "a compressed file", id="compressed"),
        pytest.param(b"a,b,a\n1,2,3\n", "column a stands twice", id="a header twice"),
        pytest.param(b"x" * 1_100_000, "1,100,000 characters", id="one endless line"),
        pytest.param(b"\0" * 5000, "NUL bytes", id="NUL bytes only"),
    ],
)
def test_a_file_that_is_no_table_ends_in_one_sentence(
    path: Path, data: bytes, sentence: str
) -> None:
    path.write_bytes(data)
    with pytest.raises(InputError, match=sentence) as caught:
        read_table(path, "export.csv")
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith("export.csv")


def test_an_endless_line_among_others_is_one_broken_record(path: Path) -> None:
    table = read(path, b"a,b\n1,2\n3," + b"x" * 1_100_000 + b"\n5,6\n")
    assert rows_of(table) == [["1", "2"], ["5", "6"]]
    assert [b.line for b in table.broken] == [3]
    assert len(table.broken[0].text) < 1_100_000


def test_a_file_that_changes_while_it_is_read_is_refused(path: Path) -> None:
    path.write_text("a,b\n1,2\n", encoding="utf-8")

    def header(rows: list[list[str]]) -> int | None:
        path.write_text("a,b\n1,2\n3,4\n", encoding="utf-8")
        return first_filled(rows)

    with pytest.raises(InputError, match=r"export\.csv: changed while it was read"):
        read_raw(path, "export.csv", find_header=header)


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        pytest.param(lambda _: None, "no such file", id="missing"),
        pytest.param(lambda p: p.mkdir(), "is a folder", id="a folder"),
    ],
)
def test_a_path_that_is_no_file_is_refused(
    path: Path, make: object, sentence: str
) -> None:
    assert callable(make)
    make(path)
    with pytest.raises(InputError, match=sentence):
        read_table(path, "export.csv")


@pytest.mark.parametrize(
    ("how", "sentence"),
    [
        pytest.param({"encoding": "utf-99"}, "no encoding 'utf-99'", id="encoding"),
        pytest.param({"delimiter": ",,"}, "not one plain character", id="delimiter"),
        pytest.param({"quote": "ab"}, "not one plain character", id="quote"),
        pytest.param({"delimiter": '"'}, "are the same", id="the same mark twice"),
    ],
)
def test_a_dialect_that_cannot_be_is_refused(
    path: Path, how: dict[str, str], sentence: str
) -> None:
    with pytest.raises(InputError, match=sentence):
        read(path, b"a,b\n1,2\n", **how)


def test_a_dialect_that_is_given_is_used(path: Path) -> None:
    table = read(path, "a|b\n'x|y'|Ø\n".encode("cp850"), encoding="cp850",
                 delimiter="|", quote="'")  # fmt: skip
    assert rows_of(table) == [["x|y", "Ø"]]
    assert rows_of(read(path, b'a,b\n"1,2"\n', quote="")) == [['"1', '2"']]


@pytest.mark.parametrize(
    ("data", "delimiter"),
    [
        pytest.param("a;b\n1,5;2,5\n3,5;4,5\n", ";", id="decimal commas"),
        pytest.param("a,b\nx; y,1\nz; w,2\n", ",", id="semicolons in words"),
        pytest.param("a\tb\n1,5\t2;3\n", "\t", id="tabs with both"),
        pytest.param("Report, of a ward\na;b;c\n1;2;3\n4;5;6\n", ";", id="a title"),
        pytest.param("a,b,c\n1,2\n3,4,5\n", ",", id="a short row"),
        pytest.param("a\n1\n", ",", id="a single column"),
    ],
)
def test_the_delimiter_is_decided_by_all_records(
    path: Path, data: str, delimiter: str
) -> None:
    assert read(path, data.encode()).dialect.delimiter == delimiter


def test_rows_are_written_for_the_ledger_as_csv() -> None:
    cells = pd.DataFrame(TABLE, columns=HEADER, dtype="str")
    lines = [written([row], lineterminator="") for row in TABLE]
    assert row_text(cells).tolist() == lines
    assert row_text(cells.iloc[[2, 0]]).to_dict() == {2: lines[2], 0: lines[0]}
    assert row_text(cells.iloc[:0]).tolist() == []
    assert row_text(cells[[]]).tolist() == [""] * len(TABLE)


def test_the_quick_and_the_exact_reading_agree(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = written([HEADER, *TABLE * 50]).encode()
    quick = read(path, data)
    monkeypatch.setattr(
        body, "_columns", lambda records, at, _: body._exactly(records, at)
    )
    exact = read(path, data)
    pd.testing.assert_frame_equal(quick.cells, exact.cells)
    assert quick.lines.tolist() == exact.lines.tolist()


def usual_width(lines: list[str]) -> int:
    """Give the cells that most lines have, each read as if it began a record."""
    widths = [len(next(csv.reader([line]), [])) or 1 for line in lines]
    n = {width: widths.count(width) for width in sorted(set(widths))}
    return max(n, key=lambda width: n[width] * ((width - 1) / width))


def is_row(line: str, width: int) -> bool:
    """Tell whether a line in a cell looks like a row: cells, and no closing quote."""
    is_wide = width > 3 and line.count(",") >= width - 1
    return is_wide and not re.search(r'[^,"\r\n]"', line)


def by_the_csv_module(text: str) -> list[tuple[int, list[str]]]:
    """Read records one by one; an odd one is given up at the end of its first line."""
    lines = list(io.StringIO(text, newline=""))
    found, start = [], 0
    width = usual_width(lines) if lines else 0
    while start < len(lines):
        reader = csv.reader(iter(lines[start:]), strict=True)
        try:
            cells = next(reader)
            end = start + reader.line_num
        except csv.Error:
            end = 0
        if not end or any(is_row(line, width) for line in lines[start + 1 : end]):
            cells, end = [lines[start].rstrip("\r\n")], start + 1
        found.append((start + 1, cells))
        start = end
    return found


@given(
    st.one_of(
        st.text(alphabet='ab,"\n\r '),
        # Whole rows with quotes between them, so that some lie in what a quote opened.
        st.lists(
            st.sampled_from(
                ["a,b,c,d", "a,,,", ',,,"', '"', '"\n"', '"x"', ",", 'a"', "\n", "\r\n"]
            )
        ).map("".join),
    ),
    st.sampled_from([1, 2, 3, 5, 1 << 22]),
)
@settings(max_examples=500, deadline=None)
def test_records_are_those_of_the_csv_module(text: str, block: int) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(scan, "_BLOCK", block)
        found = records.find_records(text.encode(), ",", '"')
    read_ = [(int(found.lines[i]), found.cells(i)) for i in range(len(found.starts))]
    assert read_ == by_the_csv_module(text)
    for i in set(range(len(read_))) - set(found.faults):
        assert found.widths[i] == len(read_[i][1])


#: Any text a cell may hold. NUL is shown as its picture, and blanks and invisible
#: characters around a cell are taken away: both are tested by themselves. U+FFFD is
#: what decoders write for damage.
ANY_TEXT = st.text(
    st.one_of(
        st.sampled_from("aZ09.,;\t\"' \n\r-~<µØ½é€=+\u00a0"),
        st.characters(exclude_categories=["Cs"], exclude_characters="\0\ufffd"),
    ),
    max_size=9,
).map(lambda cell: cell.strip(coded_cells.AROUND))

WIDTH = 3  # of so few cells no line inside a note is taken for a row
HEAD = ["Ward", "Time of check", "Note"]


def fits(rows: list[list[str]], encoding: str) -> bool:
    try:
        "".join(map("".join, rows)).encode(encoding)
    except UnicodeEncodeError:
        return False
    return True


def by_the_csv_writer(rows: list[list[str]], delimiter: str, end: str) -> str:
    """Write with quotes around all cells: around some, it leaves CR without them."""
    held = io.StringIO(newline="")
    how = {"delimiter": delimiter, "lineterminator": end}
    csv.writer(held, quoting=csv.QUOTE_ALL, **how).writerows(rows)  # type: ignore[arg-type]
    return held.getvalue()


def begins(rows: list[list[str]], end: str) -> list[int]:
    """Give the line each row begins on: breaks are LF, CR LF and CR alone."""
    lines, at = [], 1
    for row in rows:
        lines.append(at)
        # Cells are told apart by a blank, so that no CR and LF of two of them meet.
        at += len(re.findall("\r\n|\r|\n", " ".join(row) + " " + end))
    return lines


@given(
    rows=st.lists(st.lists(ANY_TEXT, min_size=WIDTH, max_size=WIDTH), max_size=8),
    delimiter=st.sampled_from([",", ";", "\t"]),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    encoding=st.sampled_from(
        ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]
    ),
    write=st.sampled_from([written, by_the_csv_writer]),
)
@settings(max_examples=400, deadline=None)
def test_any_table_in_any_dialect_reads_back(  # noqa: PLR0913, PLR0917
    tmp_path_factory: pytest.TempPathFactory,
    rows: list[list[str]],
    delimiter: str,
    end: str,
    encoding: str,
    write: Callable[[list[list[str]], str, str], str],
) -> None:
    assume(fits(rows, encoding))
    # A first row of units alone is no row; this one is none.
    rows = [["Wren Unit", "14/09/2026 13:05", "seen"], *rows]
    path = tmp_path_factory.getbasetemp() / "any.csv"
    text = write([HEAD, *rows], delimiter, end)
    # Of so few characters no reader could tell delimiter or encoding for certain.
    named = "" if encoding in {"utf-8", "utf-8-sig", "utf-16"} else encoding
    table = read(path, text.encode(encoding), delimiter=delimiter, encoding=named)
    kept = [
        (line, row)
        for line, row in zip(begins([HEAD, *rows], end)[1:], rows, strict=True)
        if any(row)
    ]
    assert rows_of(table) == [row for _, row in kept]
    assert table.lines.tolist() == [line for line, _ in kept]
    assert table.broken == ()
    assert_all_accounted_for(table, 1 + len(rows))


ROW = st.tuples(
    st.sampled_from(["Wren Unit", "Kestrel", "Ørsted, east", 'the "old" ward']),
    st.sampled_from(["14/09/2026 13:05", "2026-09-14T13:05", "14.09.2026 13.05"]),
    st.sampled_from(["13,3", "10.5", "~8", "", "<1"]),
    st.sampled_from(["", 'said "ok"; slept', "two\nlines", "two\r\nlines", "µ ½ é"]),
).map(list)


@given(
    rows=st.lists(ROW, min_size=12, max_size=20),
    delimiter=st.sampled_from([",", ";", "\t"]),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    encoding=st.sampled_from(
        ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]
    ),
)
@settings(max_examples=200, deadline=None)
def test_a_log_reads_back_without_a_word_about_its_dialect(
    tmp_path_factory: pytest.TempPathFactory,
    rows: list[list[str]],
    delimiter: str,
    end: str,
    encoding: str,
) -> None:
    path = tmp_path_factory.getbasetemp() / "log.csv"
    table = read(path, written([HEADER, *rows], delimiter, end).encode(encoding))
    assert table.dialect.delimiter == delimiter
    assert rows_of(table) == rows
    assert table.lines.tolist() == begins([HEADER, *rows], end)[1:]
    assert table.broken == ()


@given(
    at=st.integers(0, 400),
    put=st.binary(max_size=3),
    cut=st.integers(0, 3),
)
@settings(max_examples=300)
def test_any_change_of_a_file_ends_in_an_account_or_one_sentence(
    tmp_path_factory: pytest.TempPathFactory, at: int, put: bytes, cut: int
) -> None:
    data = written([HEADER, *TABLE * 3]).encode()
    changed = data[:at] + put + data[at + cut :]
    path = tmp_path_factory.mktemp("changed") / "export.csv"
    path.write_bytes(changed)
    try:
        table = read_table(path, "export.csv")
    except InputError as error:
        sentence = str(error)
    else:
        sentence = ""
        assert_balances(table, changed)
    assert not sentence or sentence.startswith("export.csv")


def assert_balances(table: RawTable, data: bytes) -> None:
    decoded = encodings.to_utf8(data, "export.csv")
    mark = table.dialect.delimiter
    assert_all_accounted_for(
        table, len(records.find_records(decoded.data, mark, '"').starts)
    )
    assert table.lines.is_monotonic_increasing


@pytest.mark.parametrize(
    "remark",
    [
        "# export of the ward",
        "-- end of data, all wards",
        "*** confidential",
        "(2 rows)",
        "2 rows selected.",
        "Report generated on 14/09/2026",
        "Printed by the night team",
        "Source: night charts",
        "End of report",
        "Page 1 of 2",
        "Confidential",
    ],
)
def test_a_remark_of_a_program_is_no_row_and_is_told_of(
    path: Path, remark: str
) -> None:
    rows = "Ward,Time,Left\nAmber,08:00,16\n"
    table = read(path, f"{rows}{remark}\nAmber,12:00,13\n".encode())
    assert table.lines.tolist() == [2, 4]
    assert (table.other_lines, table.broken) == (2, ())
    assert table.notes == (
        f"export.csv: 1 line is a remark, and no row (first: line 3, '{remark}').",
    )


@pytest.mark.parametrize(
    "row",
    [
        pytest.param("#3,08:00", id="a number sign before a number"),
        pytest.param("Keyworth,08:00", id="a ward that begins as a word of remarks"),
        pytest.param("2 rows left,08:00", id="rows of something else"),
        pytest.param("Page One,08:00", id="a ward called page"),
    ],
)
def test_a_short_row_is_broken_and_no_remark(path: Path, row: str) -> None:
    table = read(path, f"Ward,Time,Left\nAmber,08:00,16\n{row}\n".encode())
    assert [record.line for record in table.broken] == [3]
    assert table.notes == ()
