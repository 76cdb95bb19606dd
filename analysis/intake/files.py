"""Files to raw text tables: every record with the line it began on, nothing dropped."""

import hashlib
from collections.abc import Callable, Collection, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.errors import InputError
from analysis.intake.body import Body, read_body
from analysis.intake.coded_cells import of_rows, taken, trimmed
from analysis.intake.delimiters import check_marks, delimiter_of
from analysis.intake.encodings import NUL_SIGN, Decoded, to_utf8
from analysis.intake.header import (
    Header,
    are_empty,
    are_headers,
    names_of,
    stripped,
    units_of,
)
from analysis.intake.kinds import check_beginning, check_text
from analysis.intake.raw import WORKBOOK, BrokenRecord, Dialect, RawTable
from analysis.intake.records import Records, find_records
from analysis.intake.scan import Ints
from analysis.intake.workbook import Merged, is_workbook, read_sheets
from analysis.texts import by_codes

#: Given the first records of a file (at most `HEADER_AMONG`, cells stripped, an empty
#: line as an empty list), says which of them is the header, if any is.
FindHeader = Callable[[list[list[str]]], int | None]

#: Records among which the header is looked for.
HEADER_AMONG = 60

#: Columns of the widest sheet there is; every column of an export is looked at alone.
_MOST_COLUMNS = 16_384


def label_files(paths: Sequence[Path]) -> list[str]:
    """Give each file the shortest label that tells it from the others.

    Parameters
    ----------
    paths : sequence of Path
        The files, each once.

    Returns
    -------
    list of str
        In the order of `paths`.

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


def read_raw(
    path: Path,
    label: str,
    *,
    find_header: FindHeader,
    dialect: Dialect | None = None,
    skip_sheets: Collection[str] = (),
) -> list[RawTable]:
    """Read one file as text: a delimited text, or the sheets of a workbook.

    Parameters
    ----------
    path : Path
        The file; opened for reading only.
    label : str
        Its name in messages and sources.
    find_header : callable
        Says which of the first records is the header (`FindHeader`).
    dialect : Dialect, optional
        What is known of a text file; the rest is found out.
    skip_sheets : collection of str
        Sheets of a workbook that are not read.

    Returns
    -------
    list of RawTable
        One for a text file. For a workbook one a sheet that has anything in it; a sheet
        without a header has no rows, and all its records stand in the preamble.

    Raises
    ------
    InputError
        The file cannot be used as a whole: missing, unreadable, of another kind, empty,
        without a header, with a header that names a column twice, or changed while it
        was read.
    """
    data = _bytes_of(path, label)
    with ThreadPoolExecutor(1) as beside:
        hashed = beside.submit(hashlib.sha256, data)
        if is_workbook(data):
            tables = _from_workbook(data, label, find_header, skip_sheets)
        else:
            tables = [_from_text(data, label, find_header, dialect or Dialect())]
        sha256 = hashed.result().hexdigest()
    del data, hashed
    _check_unchanged(path, label, sha256)
    return [replace(table, sha256=sha256) for table in tables]


def read_table(path: Path, label: str) -> RawTable:
    """Read one table whose header is the first record that is not empty.

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
        As `read_raw`, or a workbook with several sheets.
    """
    tables = read_raw(path, label, find_header=_first_filled)
    if len(tables) > 1:
        msg = f"{label}: holds {len(tables)} sheets where one table is wanted"
        raise InputError(f"{msg}; save each as a file of its own")
    return tables[0]


def _bytes_of(path: Path, label: str) -> bytes:
    if path.is_dir():
        msg = f"{path}: is a folder; name the export files themselves"
        raise InputError(msg)
    if path.exists() and not path.is_file():
        msg = f"{path}: is a pipe or a device, and no file; save the export to a file"
        raise InputError(f"{msg} and name that")
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise InputError(f"{path}: no such file; check the name") from None
    except OSError as error:
        msg = f"{label}: cannot be read ({error.strerror}); close it elsewhere"
        raise InputError(f"{msg} or copy it, and run again") from None


def _check_unchanged(path: Path, label: str, sha256: str) -> None:
    try:
        with path.open("rb") as file:
            after = hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        after = ""
    if after != sha256:
        msg = f"{label}: changed while it was read; close it in other programs"
        raise InputError(f"{msg} or copy it, and run again")


def _from_text(
    data: bytes, label: str, find_header: FindHeader, dialect: Dialect
) -> RawTable:
    check_beginning(data, label)
    decoded = to_utf8(data, label, dialect.encoding)
    check_text(decoded.data, label)
    quote = '"' if dialect.quote is None else dialect.quote
    check_marks(label, dialect.delimiter or ",", quote)
    delimiter = dialect.delimiter or delimiter_of(decoded.data, quote)
    check_marks(label, delimiter, quote)
    records = find_records(decoded.data, delimiter, quote)
    with_nuls = _mark_damage(records, decoded)
    n = min(HEADER_AMONG, len(records.starts))
    head = [[stripped(c) for c in records.cells(i)] for i in range(n)]
    # A broken record is no header, whatever it looks like.
    at = find_header([[] if i in records.faults else head[i] for i in range(n)])
    if at is None:
        raise InputError(_no_header(label, head, records))
    if len(head[at]) > _MOST_COLUMNS:
        msg = f"{label}, line {records.lines[at]}: the header has {len(head[at]):,} "
        msg += f"columns, more than the {_MOST_COLUMNS:,} of any sheet; export the log"
        raise InputError(f"{msg} with a row for each check")
    header = Header.of(head[at], int(records.lines[at]), head[at - 1] if at else ())
    body = read_body(records, at + 1, header.named, len(header.cells))
    is_wide = len(body.at) > 0 and bool(
        (records.widths[body.at] > len(header.cells)).all()
    )
    table = _table(
        label,
        header,
        replace(body, empty=body.empty + at + 1),
        records.lines,
        broken=tuple(
            BrokenRecord(int(records.lines[i]), records.text(i), why)
            for i, why in body.broken
        ),
        dialect=Dialect(encoding=decoded.encoding, delimiter=delimiter, quote=quote),
        preamble=tuple(map(tuple, head[:at])),
        notes=_notes(label, decoded.encoding, dialect)
        + _remark_notes(label, records, body.remarks)
        + _nul_notes(label, records, _both(with_nuls, body.at)),
    )
    if any(mark + b"'" in decoded.data for mark in (delimiter.encode(), b"\n", b'"')):
        table = _without_apostrophes(table)
    return replace(table, is_wide=is_wide)


def _without_apostrophes(table: RawTable) -> RawTable:
    """Take the apostrophe from before numbers, by which a spreadsheet marks text."""
    cells, count = table.cells, 0
    for header in cells.columns:
        if not cells[header].str.startswith("'").any():
            continue
        is_marked = cells[header].str.match(_MARKED_TEXT)
        if is_marked.any():
            bare = cells[header].str.slice(1)
            cells = cells.assign(**{header: cells[header].mask(is_marked, bare)})
            count += int(is_marked.sum())
    if not count:
        return table
    text = f"{table.file}: {count} cells begin with an apostrophe, as spreadsheets mark"
    text += " numbers that are text: they were read without it."
    return replace(table, cells=cells, notes=(*table.notes, text))


_MARKED_TEXT = r"'[+-]?[0-9][^']*$"


def _mark_damage(records: Records, decoded: Decoded) -> Ints:
    """Make faults of records with bytes that are no text, or of NUL bytes only.

    Gives the records in which NUL bytes stand among others.
    """
    at, n = np.unique(_holding(records, decoded.nuls), return_counts=True)
    is_all = n * len(NUL_SIGN.encode()) == records.ends[at] - records.starts[at]
    why = "only NUL bytes stand in it, as where a copy broke off"
    records.faults.update(dict.fromkeys(at[is_all].tolist(), why))
    why = "bytes in it are not text of the file's encoding"
    damaged = np.unique(_holding(records, decoded.damaged)).tolist()
    records.faults.update(dict.fromkeys(damaged, why))
    some: Ints = at[~is_all]
    return some


def _holding(records: Records, offsets: Ints) -> Ints:
    """Give the record that each offset of the text stands in."""
    found: Ints = np.searchsorted(records.starts, offsets, side="right") - 1
    return found


def _both(few: Ints, many: Ints) -> Ints:
    """Give what stands in both; nothing is sorted where there is nothing to find."""
    return np.intersect1d(few, many) if len(few) else few


def _nul_notes(label: str, records: Records, at: Ints) -> tuple[str, ...]:
    """Say in how many rows NUL bytes stand."""
    if not len(at):
        return ()
    msg = f"{label}: NUL bytes, which no text has, stand in {len(at)} row"
    msg += "s (first: " if len(at) > 1 else " ("
    return (f"{msg}line {records.lines[at[0]]}); {NUL_SIGN} is shown for each.",)


def _remark_notes(label: str, records: Records, at: Sequence[int]) -> tuple[str, ...]:
    """Say which lines were taken for remarks on the rows."""
    if not at:
        return ()
    what = "line is a remark" if len(at) == 1 else "lines are remarks"
    msg = f"{label}: {len(at)} {what}, and no row (first: line {records.lines[at[0]]}, "
    return (f"{msg}'{records.text(at[0]).strip()[:_SHOWN]}').",)


#: Letters of a remark that are shown.
_SHOWN = 80


def _no_header(label: str, head: list[list[str]], records: Records) -> str:
    for i in range(len(head)):
        if i in records.faults:
            msg = f"{label}, line {records.lines[i]}: {records.faults[i]}; and no line "
            return f"{msg}before it looks like the header of a table; export it again"
    if not any(cell for row in head for cell in row):
        return f"{label}: the file is empty; export it again with its rows"
    msg = f"{label}: none of the first {len(head)} lines looks like the header of a"
    return f"{msg} table; a line with the names of the columns is needed"


def _notes(label: str, encoding: str, asked: Dialect) -> tuple[str, ...]:
    if encoding == "windows-1252" and not asked.encoding:
        return (f"{label}: is not UTF-8 text and was read as Windows-1252.",)
    return ()


def _from_workbook(
    data: bytes, label: str, find_header: FindHeader, skip_sheets: Collection[str]
) -> list[RawTable]:
    sheets = [s for s in read_sheets(data, label) if s.name not in skip_sheets]
    tables = [
        replace(
            _from_sheet(f"{label}!{sheet.name}", sheet.rows, find_header, sheet.merged),
            is_hidden=sheet.is_hidden,
        )
        for sheet in sheets
    ]
    if not tables:
        raise InputError(f"{label}: the workbook is empty; export it with its rows")
    if not any(table.header_line for table in tables):
        msg = f"{label}: no sheet has a line that looks like the header of a table"
        raise InputError(f"{msg}; a line with the names of the columns is needed")
    return tables


def _from_sheet(
    label: str, rows: list[list[str]], find_header: FindHeader, merged: Merged
) -> RawTable:
    head = [[stripped(cell) for cell in row] for row in rows[:HEADER_AMONG]]
    head = [row if any(row) else [] for row in head]
    at = find_header(head)
    dialect = Dialect(encoding=WORKBOOK)
    if at is None:
        return RawTable(
            file=label,
            sha256="",
            cells=pd.DataFrame(),
            lines=pd.Series([], dtype="int64"),
            broken=(),
            other_lines=len(rows),
            dialect=dialect,
            preamble=tuple(map(tuple, rows)),
            notes=(f"{label}: has no header, and nothing of it was used.",),
        )
    width = len(rows[at])
    _fill_merged(rows, [m for m in merged if m[0] > at])
    columns = of_rows(rows[at + 1 :], width)
    body = Body(
        columns=[trimmed(column, is_ascii=False) for column in columns],
        at=np.arange(at + 1, len(rows), dtype=np.int64),
        broken=[],
        empty=at + 1,
    )
    return _table(
        label,
        Header.of(head[at], at + 1, head[at - 1] if at else ()),
        body,
        np.arange(1, len(rows) + 1, dtype=np.int64),
        dialect=dialect,
        preamble=tuple(map(tuple, head[:at])),
    )


def _fill_merged(rows: list[list[str]], merged: Merged) -> None:
    """Give what stands in a cell over several rows to each of them that has others."""
    for first, last, column in merged:
        for row in rows[first + 1 : last + 1]:
            if any(row):
                row[column] = rows[first][column]


_LEAVE_OUT = (
    "; if the sheet is none of the log, export without it, or name it under "
    "skip_sheets in a layout"
)


def _table(  # noqa: PLR0913 - what is said of a table, passed on as it is
    label: str,
    header: Header,
    body: Body,
    lines: npt.NDArray[np.int64],
    *,
    dialect: Dialect,
    preamble: tuple[tuple[str, ...], ...],
    broken: tuple[BrokenRecord, ...] = (),
    notes: tuple[str, ...] = (),
) -> RawTable:
    """Take out what is no row, and name the columns."""
    is_row = ~are_empty(body) & ~are_headers(body, header)
    units = units_of(body) if len(is_row) and is_row[0] else {}
    is_row[:1] &= not units
    at = body.at
    columns = body.columns
    if not is_row.all():
        columns = [taken(column, is_row) for column in columns]
        at = at[is_row]
    way_out = _LEAVE_OUT if dialect.encoding == WORKBOOK else ""
    names = names_of(header, columns, f"{label}, line {header.line}", way_out)
    texts = [by_codes(c, d, is_tidy=t) for c, d, t in (columns[i] for i in names)]
    cells = dict(zip(names.values(), texts, strict=True))
    return RawTable(
        file=label,
        sha256="",
        cells=pd.DataFrame(cells, index=pd.RangeIndex(len(at)), copy=False),
        lines=pd.Series(lines[at], dtype="int64"),
        broken=broken,
        other_lines=body.empty + len(body.remarks) + int((~is_row).sum()),
        dialect=dialect,
        preamble=preamble,
        header_line=header.line,
        units={names[i]: unit for i, unit in units.items() if i in names},
        notes=notes,
    )


def _first_filled(rows: list[list[str]]) -> int | None:
    return next((i for i, row in enumerate(rows) if any(row)), None)
