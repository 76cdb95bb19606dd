"""Bad files through the command: the account balances, or one sentence and no more."""

import io
import os
import random
import re
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
import xlsxwriter

from analysis import cli
from analysis.intake.records import find_records
from tests.intake.logs import HEADER, line

ROWS = [
    line(checked_at=f"2026-10-0{day}T{hour:02}:00", infusion_id=f"I{day}")
    for day in (1, 2)
    for hour in (8, 12, 16, 20)
]
LAST = len(ROWS) + 1  # line of the last row


def text(*lines: str, end: str = "\n") -> bytes:
    return "".join(f"{one}{end}" for one in lines).encode()


def with_row(row: str) -> bytes:
    """Give the log with one more row in its midst, on line 4."""
    return text(HEADER, *ROWS[:2], row, *ROWS[2:])


def run(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *args: str
) -> tuple[int, str, str]:
    """Run the command; gives status, output and errors."""
    monkeypatch.setattr("sys.argv", ["steadyfall", *args])
    status = 0
    try:
        cli.main()
    except SystemExit as end:
        status = int(end.code or 0)
    told = capsys.readouterr()
    return status, told.out, told.err


NEW = line(checked_at="2026-10-03T08:00", infusion_id="I3", note="a note")
CUT = text(HEADER, *ROWS, NEW)[: -len(",,,a note\n") - 3]
LONG = 30_000_000


@pytest.mark.parametrize(
    ("data", "read", "rejected", "says"),
    [
        pytest.param(text(HEADER, *ROWS, NEW), 9, 0, [], id="nothing amiss"),
        pytest.param(
            CUT, 9, 1, ["bad.csv:10", "the file ends inside it"], id="a truncated file"
        ),
        pytest.param(
            text(HEADER, *ROWS, NEW.replace("a note", '"a note'))[:-3],
            9,
            1,
            ["bad.csv:10", "a quote is never closed"],
            id="a file truncated inside quotes",
        ),
        pytest.param(
            with_row(NEW.replace("a note", "a\0note")),
            9,
            0,
            ["NUL bytes, which no text has, stand in 1 row (line 4)"],
            id="a NUL byte in a note",
        ),
        pytest.param(
            with_row(line(volume_remaining_ml="1\0", infusion_id="I3")),
            9,
            0,
            ["1 x not a number", "bad.csv:4", "NUL bytes"],
            id="a NUL byte in a number",
        ),
        pytest.param(
            text(HEADER, *ROWS) + b"\0" * 4096,
            9,
            1,
            ["bad.csv:10", "only NUL bytes"],
            id="NUL bytes where a copy broke off",
        ),
        pytest.param(
            with_row(NEW.replace("a note", "a,note")),
            9,
            1,
            ["bad.csv:4", "12 cells where the header has 11"],
            id="a field too many",
        ),
        pytest.param(
            with_row(NEW.replace(",,a note", ",a note")),
            9,
            1,
            ["bad.csv:4", "10 cells where the header has 11"],
            id="a field too few",
        ),
        pytest.param(
            with_row(NEW.replace("a note", '"a note')),
            9,
            1,
            ["bad.csv:4", "a quote is not closed before the next row"],
            id="a quote never closed",
        ),
        pytest.param(
            with_row(NEW.replace("a note", '"a" note')),
            9,
            1,
            ["bad.csv:4", "a quote is out of place"],
            id="text behind a closing quote",
        ),
        pytest.param(
            with_row(NEW)
            .replace(b"a note", b"a \xff note")
            .replace(b"P1", "Ø".encode()),
            9,
            1,
            ["bad.csv:4", "not text of the file's encoding"],
            id="bytes that are no text",
        ),
        pytest.param(
            text("Place,,Infusion,,,,,,Site,,", HEADER, *ROWS),
            8,
            0,
            [],
            id="a row of groups above the header",
        ),
        pytest.param(
            text(HEADER, ",,,,,,mL/h,mL,,,", *ROWS),
            8,
            0,
            [],
            id="units under the header",
        ),
        pytest.param(text(HEADER, HEADER, *ROWS), 8, 0, [], id="two header rows"),
        pytest.param(
            text(HEADER, *ROWS[:4], HEADER, *ROWS[4:]),
            8,
            0,
            [],
            id="the header once more in the midst",
        ),
        pytest.param(
            text(HEADER.replace(",entry", ",\u200bentry\u00a0"), *ROWS),
            8,
            0,
            [],
            id="invisible characters in the header",
        ),
        pytest.param(
            with_row("x" * LONG),
            9,
            1,
            ["bad.csv:4", "30,000,000 characters long"],
            id="a huge line among the rows",
        ),
        pytest.param(
            with_row(NEW.replace("a note", '"' + "x" * LONG)),
            9,
            1,
            ["bad.csv:4", "characters long"],
            id="a huge cell whose quote is never closed",
        ),
        pytest.param(
            text(HEADER, *ROWS).decode().encode("utf-16-le"),
            8,
            0,
            [],
            id="UTF-16 without a mark",
        ),
        pytest.param(
            text(HEADER, *ROWS).decode().encode("utf-16-be"),
            8,
            0,
            [],
            id="UTF-16 without a mark, the other end first",
        ),
        pytest.param(
            text(HEADER, *ROWS).decode().encode("utf-16-le")[:-3],
            8,
            1,
            [f"bad.csv:{LAST}"],
            id="UTF-16 cut inside a character",
        ),
        pytest.param(text(HEADER, *ROWS, end="\r"), 8, 0, [], id="lone CR"),
        pytest.param(text(HEADER, *ROWS) + b"\x1a", 8, 0, [], id="an old end of file"),
    ],
)  # fmt: skip
def test_the_account_balances_and_says_what_was_lost(  # noqa: PLR0913, PLR0917
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    data: bytes,
    read: int,
    rejected: int,
    says: list[str],
) -> None:
    path = tmp_path / "bad.csv"
    path.write_bytes(data)
    status, out, errors = run(monkeypatch, capsys, "intake", str(path))
    assert (status, errors) == (0, "")
    told = " ".join(out.split())
    said = re.search(
        r"bad\.csv\D*(\d+) rows read\D+(\d+) accepted\D+(\d+) rejected"
        r"\D+(\d+) superseded\D+(\d+) exact duplicates",
        told,
    )
    assert said, told
    account = [int(n) for n in said.groups()]
    assert account == [read, read - rejected, rejected, 0, 0]
    for words in says:
        assert words in told
    assert ("broken record" in told) == (rejected > 0)


def workbook() -> bytes:
    held = io.BytesIO()
    book = xlsxwriter.Workbook(held, {"in_memory": True})
    sheet = book.add_worksheet("Checks")
    for i, row in enumerate([HEADER, *ROWS]):
        sheet.write_row(i, 0, row.split(","))
    book.close()
    return held.getvalue()


def with_part(name: str, change: Callable[[bytes], bytes]) -> bytes:
    """Give a workbook of which one part is changed, whole as an archive."""
    held = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(workbook())) as old,
        zipfile.ZipFile(held, "w") as new,
    ):
        for part in old.namelist():
            data = old.read(part)
            new.writestr(part, change(data) if part == name else data)
    return held.getvalue()


def archive() -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as new:
        new.writestr("checks.csv", text(HEADER, *ROWS))
    return held.getvalue()


#: How an .xls with a password begins: BOF of 16 bytes, then FilePass ([MS-XLS] 2.4).
LOCKED = struct.pack("<4H12x3H", 0x809, 16, 0x600, 5, 0x2F, 2, 0)


def compound(stream: str, begins: bytes = b"") -> bytes:
    """Give a compound file of the old kind that holds one stream, zeros at its end.

    Header, one sector of allocations, one of names, eight of the stream ([MS-CFB] 2).
    """
    end, free, size = 0xFFFFFFFE, 0xFFFFFFFF, 4096
    header = struct.pack(
        "<8s16x5H6x9I", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", 0x3E, 3, 0xFFFE, 9, 6,
        0, 1, 1, 0, size, end, 0, end, 0,
    ) + struct.pack("<109I", 0, *[free] * 108)  # fmt: skip
    chain = [0xFFFFFFFD, end, *range(3, 10), end]

    def entry(name: str, kind: int, child: int, start: int, size: int) -> bytes:
        raw = (name + "\0").encode("utf-16-le")
        return struct.pack(
            "<64sHBB3I36xIQ", raw, len(raw), kind, 1, free, free, child, start, size
        )

    names = entry("Root Entry", 5, 1, end, 0) + entry(stream, 2, free, 2, size)
    allocated = struct.pack("<128I", *chain, *[free] * (128 - len(chain)))
    return header + allocated + names.ljust(512, b"\0") + begins.ljust(size, b"\0")


NOISE = random.Random(1).randbytes(50_000)  # noqa: S311
PAGE = b"<!DOCTYPE html>\n<html><body><table><tr><td>ward</td></tr></table></html>\n"


@pytest.mark.parametrize(
    ("data", "says"),
    [
        pytest.param(b"", "the file is empty", id="an empty file"),
        pytest.param(b"\xef\xbb\xbf", "the file is empty", id="a mark and no text"),
        pytest.param(b"\n\r\n  \n", "the file is empty", id="blank lines"),
        pytest.param(text(HEADER), "no row", id="a header without rows"),
        pytest.param(text(HEADER, "," * 10), "no row", id="a header and blank rows"),
        pytest.param(PAGE, "is a web page", id="an HTML page saved as .csv"),
        pytest.param(
            b"x," * (LONG // 2), "30,000,000 characters", id="a huge single line"
        ),
        pytest.param(b'"' * LONG, "30,000,000 characters", id="a huge line of quotes"),
        pytest.param(b"\0" * 9000, "only NUL bytes", id="NUL bytes only"),
        pytest.param(NOISE, "is no text", id="binary"),
        pytest.param(
            b"\x7fELF" + bytes(range(256)) * 40, "is no text", id="a program"
        ),
        pytest.param(
            text(HEADER.replace("driver_id", "ward"), *ROWS),
            "ward",
            id="two columns that are each the ward",
        ),
        pytest.param(
            text(HEADER, *[row.rsplit(",", 1)[0] for row in ROWS]),
            "10 cells where the header has 11",
            id="every row a cell too short",
        ),
        pytest.param(workbook()[:2000], "cannot be opened", id="a truncated .xlsx"),
        pytest.param(
            with_part("xl/worksheets/sheet1.xml", lambda part: part[:300]),
            "cannot be opened",
            id="an .xlsx with a damaged sheet",
        ),
        pytest.param(
            with_part("xl/workbook.xml", lambda _: b"<"),
            "cannot be opened",
            id="an .xlsx with a damaged list of sheets",
        ),
        pytest.param(
            archive(), "an archive with checks.csv in it", id="an archive, no workbook"
        ),
        pytest.param(
            compound("EncryptedPackage"),
            "locked with a password",
            id="a workbook locked with a password",
        ),
        pytest.param(
            compound("Workbook", LOCKED),
            "locked with a password",
            id="an .xls locked with a password",
        ),
        pytest.param(
            compound("WordDocument"), "cannot be opened", id="a foreign compound file"
        ),
        pytest.param(
            compound("Workbook"), "the workbook is empty", id="an .xls of zeros"
        ),
        pytest.param(
            compound("Workbook")[:700], "cannot be opened", id="a truncated .xls"
        ),
    ],
)  # fmt: skip
@pytest.mark.parametrize("command", ["intake", "audit"])
def test_a_file_that_cannot_be_used_ends_in_one_sentence(  # noqa: PLR0913, PLR0917
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    command: str,
    data: bytes,
    says: str,
) -> None:
    path = tmp_path / "bad.csv"
    path.write_bytes(data)
    monkeypatch.chdir(tmp_path)
    assert_one_sentence(run(monkeypatch, capsys, command, str(path)), says)
    assert list(tmp_path.iterdir()) == [path]


def assert_one_sentence(ended: tuple[int, str, str], says: str) -> None:
    status, out, errors = ended
    assert status == 2
    assert out == ""
    assert errors.startswith("steadyfall: ")
    assert says in errors
    assert "bad.csv" in errors
    assert "Traceback" not in errors
    assert errors.count("\n") == 1
    assert errors.endswith("\n")
    assert errors[:-1].isprintable()
    assert len(errors) < 600


def make_folder(path: Path, _: pytest.MonkeyPatch) -> None:
    path.mkdir()


def make_nothing(path: Path, _: pytest.MonkeyPatch) -> None:
    assert not path.exists()


def make_closed(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Have the file refuse to be read, as one that is held open elsewhere."""
    path.write_bytes(text(HEADER, *ROWS))
    plain = Path.read_bytes

    def refused(self: Path) -> bytes:
        if self.name == path.name:
            raise PermissionError(13, "Permission denied")
        return plain(self)

    monkeypatch.setattr(Path, "read_bytes", refused)


def make_growing(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Have another program write to the file while it is read."""
    path.write_bytes(text(HEADER, *ROWS))

    def written(data: bytes, delimiter: str, quote: str) -> object:
        with path.open("ab") as file:
            file.write(text(NEW))
        return find_records(data, delimiter, quote)

    monkeypatch.setattr("analysis.intake.files.find_records", written)


def make_vanishing(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Have the file deleted while it is read."""
    path.write_bytes(text(HEADER, *ROWS))

    def deleted(data: bytes, delimiter: str, quote: str) -> object:
        path.unlink()
        return find_records(data, delimiter, quote)

    monkeypatch.setattr("analysis.intake.files.find_records", deleted)


def make_pipe(path: Path, _: pytest.MonkeyPatch) -> None:
    """Make a pipe that nobody writes to: reading it would wait for ever."""
    os.mkfifo(path)


def make_loop(path: Path, _: pytest.MonkeyPatch) -> None:
    """Make a link that leads to itself."""
    path.symlink_to(path)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        pytest.param(make_pipe, "is a pipe or a device", id="a pipe"),
        pytest.param(make_loop, "cannot be followed to a file", id="a loop of links"),
        pytest.param(make_nothing, "no such file", id="no file"),
        pytest.param(make_folder, "is a folder", id="a folder"),
        pytest.param(make_closed, "cannot be read (Permission", id="not readable"),
        pytest.param(make_growing, "changed while it was read", id="a growing file"),
        pytest.param(make_vanishing, "changed while it was read", id="a file deleted"),
    ],
)
@pytest.mark.parametrize("command", ["intake", "audit"])
def test_a_file_that_cannot_be_read_ends_in_one_sentence(  # noqa: PLR0913, PLR0917
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    command: str,
    make: Callable[[Path, pytest.MonkeyPatch], None],
    says: str,
) -> None:
    path = tmp_path / "bad.csv"
    make(path, monkeypatch)
    monkeypatch.chdir(tmp_path)
    assert_one_sentence(run(monkeypatch, capsys, command, str(path)), says)
    assert [p for p in tmp_path.iterdir() if p != path] == []


@pytest.mark.parametrize(
    "name",
    [
        pytest.param("two\nbad.csv", id="a line break"),
        pytest.param("\x1b[31mbad.csv", id="a control character"),
        pytest.param(os.fsdecode(b"\xe9bad.csv"), id="bytes that are no text"),
    ],
)
def test_a_name_that_cannot_be_told_ends_in_one_sentence(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    name: str,
) -> None:
    path = tmp_path / name
    path.write_bytes(text(HEADER, *ROWS))
    monkeypatch.chdir(tmp_path)
    told = run(monkeypatch, capsys, "intake", name)
    assert_one_sentence(told, "a name with a line break or with bytes")


def test_a_bad_file_leaves_the_report_that_is_there_as_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    good, bad = tmp_path / "good.csv", tmp_path / "bad.csv"
    good.write_bytes(text(HEADER, *ROWS))
    bad.write_bytes(text("a,b", "1,2"))
    where = ("--out", str(tmp_path / "out"), "--tables-only")
    status, _, errors = run(monkeypatch, capsys, "audit", str(good), *where)
    assert status == 0, errors

    def report() -> dict[Path, bytes]:
        files = (p for p in (tmp_path / "out").rglob("*") if p.is_file())
        return {p: p.read_bytes() for p in files}

    before = report()
    assert before
    assert run(monkeypatch, capsys, "audit", str(bad), *where)[0] != 0
    assert report() == before
