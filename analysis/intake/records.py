"""Where the records of a delimited text begin and end, and how many cells each has.

Quotes follow RFC 4180: a cell that holds a separator, a quote or a line break stands in
quotes, a quote in it is doubled. A quote meant as a sign (ditto, inches) opens what
nobody closes: such a record is given up at the end of its first line.
"""

import csv
from dataclasses import dataclass, field

import numpy as np

from analysis.intake.scan import (
    LONGEST_RECORD,
    Counts,
    Ints,
    Lines,
    Mask,
    scan,
    without_break,
)

_NEVER_CLOSED = "a quote is never closed"
_ROW_FOLLOWS = "a quote is not closed before the next row"
_OUT_OF_PLACE = "a quote is out of place"

#: A cell longer than this is none [characters]; the csv module stops at it too.
LONGEST_CELL = 131_072

#: A line with fewer delimiters may be prose in a note of several lines.
_FEWEST_DELIMITERS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Records:
    """Records of a text, in order.

    Attributes
    ----------
    data : bytes
        The text, UTF-8.
    starts, ends : ndarray of int, shape (n,)
        Offsets: a record ends before its line break; `nexts` is behind it.
    nexts : ndarray of int, shape (n,)
        Where the next record begins.
    lines : ndarray of int, shape (n,)
        Line each record begins on, the first being 1.
    widths : ndarray of int, shape (n,)
        Cells in each record; 0 for an empty line.
    faults : dict of int to str
        Why a record is none.
    delimiter, quote : str
        As read with; an empty quote means that quotes are plain characters.
    has_breaks : bool
        Whether some cell holds a line break.
    """

    data: bytes
    starts: Ints
    ends: Ints
    nexts: Ints
    lines: Ints
    widths: Counts
    delimiter: str
    quote: str
    has_breaks: bool
    faults: dict[int, str] = field(default_factory=dict)

    def text(self, i: int) -> str:
        """Give a record as it stands in the file, cut where it is far too long.

        Parameters
        ----------
        i : int
            The record.

        Returns
        -------
        str
            Its text, without the line break behind it.
        """
        end = min(int(self.ends[i]), int(self.starts[i]) + LONGEST_RECORD)
        text = self.data[self.starts[i] : end].decode("utf-8", "replace")
        return text + ("..." if end < self.ends[i] else "")

    def cells(self, i: int) -> list[str]:
        """Give the cells of a record; a fault gives its text as one cell.

        Parameters
        ----------
        i : int
            The record.

        Returns
        -------
        list of str
            Its cells, blanks around them kept.
        """
        if i in self.faults:
            return [self.text(i)]
        text = self.data[self.starts[i] : self.ends[i]].decode("utf-8", "replace")
        return _split(text, self.delimiter, self.quote)


def find_records(data: bytes, delimiter: str, quote: str) -> Records:
    r"""Find the records of a text.

    Parameters
    ----------
    data : bytes
        UTF-8, without a byte order mark.
    delimiter : str
        One ASCII character.
    quote : str
        One ASCII character, or empty.

    Returns
    -------
    Records
        Every byte of `data` but line breaks between records is in one of them. A
        record is a fault that ends with its first line if a quote in it is out of
        place, or is not closed, or not before a line that is a row of its own, or not
        within `LONGEST_CELL`. A record with a longer cell, or longer than
        `LONGEST_RECORD`, is a fault too.

    Examples
    --------
    >>> found = find_records(b'a,b\n"1\n2",3\n', ",", '"')
    >>> found.lines.tolist(), found.widths.tolist(), found.cells(1)
    ([1, 2], [2, 2], ['1\n2', '3'])
    """
    lines = scan(data, ord(delimiter), ord(quote) if quote else -1)
    is_first, faults = _firsts(lines)
    first = np.flatnonzero(is_first)
    starts = lines.bounds[first]
    nexts = np.append(starts[1:], lines.bounds[-1])[: len(starts)]
    ends = without_break(data, starts, nexts)
    records = Records(
        data=data,
        starts=starts,
        ends=ends,
        nexts=nexts,
        lines=first + 1,
        widths=_widths(lines, is_first, first) * (ends > starts),
        delimiter=delimiter,
        quote=quote,
        has_breaks=len(first) < len(is_first),
        faults=_by_record(first, faults),
    )
    _mark_endless(records)
    return records


def first_records(data: bytes, delimiter: str, quote: str, n: int) -> list[list[str]]:
    """Give the cells of the first `n` records; a fault gives its text as one cell.

    Parameters
    ----------
    data : bytes
        UTF-8, without a byte order mark.
    delimiter : str
        One ASCII character.
    quote : str
        One ASCII character, or empty.
    n : int
        How many at the most.

    Returns
    -------
    list of list of str
        Cells by record.
    """
    head = _head(data, n)
    records = find_records(head, delimiter, quote)
    return [records.cells(i) for i in range(min(n, len(records.starts)))]


def _head(data: bytes, n: int) -> bytes:
    """Give the first lines, enough for `n` records with a few line breaks in cells."""
    end = 0
    for _ in range(4 * n):
        at = data.find(b"\n", end)
        if at < 0:
            return data[: 4 * LONGEST_RECORD]
        end = at + 1
    return data[: min(end, 4 * LONGEST_RECORD)]


def _split(text: str, delimiter: str, quote: str) -> list[str]:
    reader = csv.reader(
        [text],
        delimiter=delimiter,
        quotechar=quote or None,
        quoting=csv.QUOTE_MINIMAL if quote else csv.QUOTE_NONE,
    )
    return next(reader, [])


def _firsts(lines: Lines) -> tuple[Mask, dict[int, str]]:
    """Mark the lines that begin a record; why is told of those that are none."""
    n = len(lines.opens)
    is_first = np.ones(n, dtype=bool)
    faults = dict.fromkeys(np.flatnonzero(lines.is_wrong).tolist(), _OUT_OF_PLACE)
    openers = np.flatnonzero(lines.opens & ~lines.is_wrong)
    if not len(openers):
        return is_first, faults
    is_row = _are_rows(lines)
    stops = np.flatnonzero(~lines.stays | lines.is_wrong_inside | is_row)
    # A record over several lines ends, for good or ill, at the next of these.
    last = np.append(stops, n)[np.searchsorted(stops, openers, side="right")]
    why = _why_open(lines, is_row, openers, last)
    inner = np.zeros(n + 1, dtype=np.int32)
    free = 0
    for line, end, fault in zip(openers.tolist(), last.tolist(), why, strict=True):
        if line < free:
            continue
        if fault:
            faults[line] = fault
        else:
            inner[line + 1] += 1
            inner[end + 1] -= 1
            free = end + 1
    is_first = np.cumsum(inner[:-1]) == 0
    return is_first, {line: why for line, why in faults.items() if is_first[line]}


def _why_open(lines: Lines, is_row: Mask, openers: Ints, last: Ints) -> list[str]:
    """Say why a record that runs on over its line is none; nothing if it is one."""
    end = np.minimum(last, len(is_row) - 1)
    size = lines.bounds[end + 1] - lines.bounds[openers]
    is_lost = (last == len(is_row)) | (size > LONGEST_CELL)
    why = np.select(
        [is_lost, is_row[end], lines.is_wrong_inside[end]],
        [_NEVER_CLOSED, _ROW_FOLLOWS, _OUT_OF_PLACE],
        "",
    )
    told: list[str] = why.tolist()
    return told


def _are_rows(lines: Lines) -> Mask:
    """Mark lines that look like a row of their own, should they stand in a cell.

    A line break in a note is followed by prose; after a quote that was meant as a sign
    and not as a quote ("ditto") whole rows follow. At a row a quote opens a cell.
    """
    usual = _usual_delimiters(lines)
    if usual < _FEWEST_DELIMITERS:
        return np.zeros(len(lines.opens), dtype=bool)
    return (lines.delimiters >= usual) & ~lines.has_closing


def _usual_delimiters(lines: Lines) -> int:
    """Give the delimiters that most lines have, those with many counting for more."""
    n = np.bincount(lines.outer)
    return int((n * (np.arange(len(n)) / np.arange(1, len(n) + 1))).argmax())


def _widths(lines: Lines, is_first: Mask, first: Ints) -> Counts:
    if len(first) == len(is_first):
        return lines.outer + np.int32(1)
    per_line = np.where(is_first, lines.outer, lines.inner)
    widths: Counts = np.add.reduceat(per_line, first) + np.int32(1)
    return widths


def _by_record(first: Ints, faults: dict[int, str]) -> dict[int, str]:
    at = np.searchsorted(first, np.fromiter(faults, dtype=np.int64, count=len(faults)))
    return dict(zip(at.tolist(), faults.values(), strict=True))


def _mark_endless(records: Records) -> None:
    """Make faults of records that are beyond reason, or have a cell that is."""
    sizes = records.ends - records.starts
    for i in np.flatnonzero(sizes > LONGEST_CELL).tolist():
        if sizes[i] > LONGEST_RECORD:
            why = f"it is {sizes[i]:,} characters long, which is no row of a log"
            records.faults[i] = why
        elif i not in records.faults and not _can_be_split(records, i):
            records.faults[i] = "a cell in it is too long to be one"


def _can_be_split(records: Records, i: int) -> bool:
    try:
        records.cells(i)
    except csv.Error:
        return False
    return True
