"""Files to raw text tables: every record with the line it began on, nothing dropped."""

import csv
import hashlib
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from analysis.errors import InputError

_QUOTE = "a quote is out of place"
_LONG = "a cell is too long to be one"
_CLOSING_QUOTE = re.compile(r'[^,"]"')
_FEWEST_CELLS = 3  # a line with fewer commas than this would ask for may be prose

#: Invisible characters that a spreadsheet leaves around a cell.
_INVISIBLE = dict.fromkeys(map(ord, "\u200b\u200c\u200d\u2060\ufeff"))


@dataclass(frozen=True, slots=True)
class BrokenRecord:
    """A record that is not one: where it began, its text, and why."""

    line: int
    text: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RawTable:
    """One file as text.

    Attributes
    ----------
    file : str
        Label used in ``file:line``.
    sha256 : str
        Hash of the bytes that were read.
    cells : DataFrame of str, shape (rows, columns)
        Cells stripped of blanks around them; the columns are the file's own headers.
    lines : Series of int, shape (rows,)
        Line each row begins on, the first being 1; on the index of `cells`.
    broken : tuple of BrokenRecord
        Records that could not be split into the header's columns.
    other_lines : int
        Header and blank lines.
    """

    file: str
    sha256: str
    cells: pd.DataFrame
    lines: pd.Series
    broken: tuple[BrokenRecord, ...]
    other_lines: int


def label_files(paths: Sequence[Path]) -> list[str]:
    """Give each file the shortest label that tells it from the others.

    Parameters
    ----------
    paths : sequence of Path
        Different files.

    Returns
    -------
    list of str
        One label a file, with `/` between folders.

    Examples
    --------
    >>> label_files([Path("a/checks.csv"), Path("b/checks.csv"), Path("b/lines.csv")])
    ['a/checks.csv', 'b/checks.csv', 'lines.csv']
    """
    resolved = [path.resolve() for path in paths]
    depth = [1] * len(paths)
    while True:
        labels = [
            "/".join(path.parts[-d:]) for path, d in zip(resolved, depth, strict=True)
        ]
        clash = [
            i
            for i, label in enumerate(labels)
            if any(
                label == other and resolved[i] != resolved[j]
                for j, other in enumerate(labels)
            )
        ]
        if not clash:
            return labels
        for i in clash:
            depth[i] += 1


def read_table(path: Path, label: str) -> RawTable:
    """Read one CSV file as text.

    Parameters
    ----------
    path : Path
        The file; opened for reading only.
    label : str
        Its name in messages and sources.

    Returns
    -------
    RawTable
        All records: rows, broken records and other lines.

    Raises
    ------
    InputError
        The file is missing, unreadable, not UTF-8, empty, or its header names a column
        twice or not at all.
    """
    data = _bytes_of(path, label)
    text = _decode(data, label)
    header: list[str] = []
    header_line = 0
    rows: list[list[str]] = []
    lines: list[int] = []
    broken: list[BrokenRecord] = []
    others = 0
    for line, cells, fault in _records(text):
        if fault:
            broken.append(BrokenRecord(line, cells[0], fault))
        elif not any(cell.strip() for cell in cells):
            others += 1
        elif not header:
            header, header_line = [_clean(cell) for cell in cells], line
            others += 1
        elif row := _fit(cells, len(header)):
            rows.append(row)
            lines.append(line)
        else:
            why = f"{len(cells)} cells where the header has {len(header)}"
            broken.append(BrokenRecord(line, _joined(cells), why))
    if not header:
        raise InputError(f"{label}: the file is empty; export it again with its rows")
    _check_header(header, f"{label}, line {header_line}")
    frame = pd.DataFrame(rows, columns=header, dtype="str")
    for name in frame.columns:
        frame[name] = frame[name].str.strip()
    return RawTable(
        file=label,
        sha256=hashlib.sha256(data).hexdigest(),
        cells=frame,
        lines=pd.Series(lines, dtype="int64"),
        broken=tuple(broken),
        other_lines=others,
    )


def row_text(cells: pd.DataFrame) -> list[str]:
    """Give rows as lines of CSV, for the ledger.

    Parameters
    ----------
    cells : DataFrame of str, shape (rows, columns)
        Rows.

    Returns
    -------
    list of str
        One line a row, without line ends of its own.
    """
    return [_joined(row) for row in cells.itertuples(index=False)]


def _bytes_of(path: Path, label: str) -> bytes:
    if path.is_dir():
        msg = f"{path}: is a folder; name the export files themselves"
        raise InputError(msg)
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise InputError(f"{path}: no such file; check the name") from None
    except OSError as error:
        msg = f"{label}: cannot be read ({error.strerror}); close it elsewhere"
        raise InputError(f"{msg} or copy it, and run again") from None


def _decode(data: bytes, label: str) -> str:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        found = data[error.start : error.start + 1].hex()
        msg = f"{label}, line {line}: byte {found} is not UTF-8 text"
        raise InputError(f"{msg}; save the export as CSV in UTF-8") from None


def _records(text: str) -> Iterator[tuple[int, list[str], str]]:
    """Yield line, cells and fault of each record; a fault gives its text as one cell.

    A quote that is never closed would swallow the rows that follow. Such a record is
    given up at its first line, and reading goes on with the next one.
    """
    lines = list(io.StringIO(text, newline=""))
    width = 0
    start = 0
    while start < len(lines):
        reader = csv.reader((lines[i] for i in range(start, len(lines))), strict=True)
        begin = start
        try:
            for cells in reader:
                end = start + reader.line_num
                if any(_is_row(line, width) for line in lines[begin + 1 : end]):
                    raise csv.Error(_QUOTE)  # noqa: TRY301 - as if csv had seen it
                if not width and any(cell.strip() for cell in cells):
                    width = len(cells)
                yield begin + 1, cells, ""
                begin = end
        except csv.Error:
            long = max(map(len, lines[begin].split(","))) > csv.field_size_limit()
            yield begin + 1, [lines[begin].rstrip("\r\n")], _LONG if long else _QUOTE
            start = begin + 1
        else:
            return


def _is_row(line: str, width: int) -> bool:
    """Tell whether a line in the middle of a record looks like a row of its own.

    A line break in a note is followed by prose; after a quote that was meant as a sign
    and not as a quote ("ditto") whole rows follow. At a row a quote opens a cell.
    """
    return (
        width > _FEWEST_CELLS
        and line.count(",") >= width - 1
        and not _CLOSING_QUOTE.search(line)
    )


def _fit(cells: list[str], width: int) -> list[str]:
    """Give the row if it has the header's columns, or more that are empty; else []."""
    if len(cells) >= width and not any(cell.strip() for cell in cells[width:]):
        return cells[:width]
    return []


def _clean(cell: str) -> str:
    return cell.translate(_INVISIBLE).strip()


def _joined(cells: Sequence[str]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="").writerow(cells)
    return out.getvalue()


def _check_header(header: list[str], where: str) -> None:
    folded = [name.casefold() for name in header]
    twice = [name for name in header if name and folded.count(name.casefold()) > 1]
    if twice:
        msg = f"{where}: column {twice[0]} stands twice in the header"
        raise InputError(f"{msg}; keep one of them")
    if header.count("") > 1:
        msg = f"{where}: {header.count('')} columns have no name; name or remove them"
        raise InputError(msg)
