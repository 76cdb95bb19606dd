"""Where the records of a delimited text begin and end, and how many cells each has.

Quotes follow RFC 4180: a cell that holds a separator, a quote or a line break stands in
quotes, a quote in it is doubled. Blocks of bytes are scanned at once; only where quotes
are out of place does the csv module read, and only those records.
"""

import csv
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    import _csv

Ints = npt.NDArray[np.int64]
Bytes = npt.NDArray[np.uint8]
Mask = npt.NDArray[np.bool_]

_BLOCK = 1 << 22
_LF, _CR = 10, 13

_NEVER_CLOSED = "a quote is never closed"
_OUT_OF_PLACE = "a quote is out of place"

#: A record longer than this is no row of a log [bytes].
LONGEST_RECORD = 1_000_000


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
    parsed : dict of int to list of str
        Cells of records that only the csv module could read.
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
    widths: Ints
    delimiter: str
    quote: str
    has_breaks: bool
    parsed: dict[int, list[str]] = field(default_factory=dict)
    faults: dict[int, str] = field(default_factory=dict)

    def text(self, i: int) -> str:
        """Give a record as it stands in the file, cut where it is far too long."""
        end = min(int(self.ends[i]), int(self.starts[i]) + LONGEST_RECORD)
        text = self.data[self.starts[i] : end].decode("utf-8", "replace")
        return text.replace("\0", "\u2400") + ("..." if end < self.ends[i] else "")

    def cells(self, i: int) -> list[str]:
        """Give the cells of a record; a fault gives its text as one cell."""
        if i in self.parsed:
            return self.parsed[i]
        if i in self.faults:
            return [self.text(i)]
        text = self.data[self.starts[i] : self.ends[i]].decode("utf-8", "replace")
        return next(_reader([text], self.delimiter, self.quote), [])


@dataclass(frozen=True, slots=True)
class _Lines:
    """Physical lines: offsets, and what each holds by the quotes before it.

    `is_open` tells whether a quote is open after the line, counted from the start of
    the text. `cells` counts delimiters outside quotes and `misplaced` quotes out of
    place by that count; `own_cells` and `own_misplaced` as if every line began outside.
    """

    starts: Ints
    ends: Ints
    nexts: Ints
    is_open: Mask
    cells: Ints
    own_cells: Ints
    misplaced: Ints
    own_misplaced: Ints


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
        Every byte of `data` but line breaks between records is in one of them. A quote
        out of place, or never closed, makes its record a fault that ends with its
        line; what follows is read as usual.

    Examples
    --------
    >>> found = find_records(b'a,b\n"1\n2",3\n', ",", '"')
    >>> found.lines.tolist(), found.widths.tolist(), found.cells(1)
    ([1, 2], [2, 2], ['1\n2', '3'])
    """
    lines = _scan(data, ord(delimiter), ord(quote) if quote else -1)
    if not lines.misplaced.any() and not lines.is_open[-1:].any():
        records = _whole(data, lines, delimiter, quote)
    else:
        records = _line_by_line(data, lines, delimiter, quote)
    long = np.flatnonzero(records.ends - records.starts > LONGEST_RECORD)
    for i in long.tolist():
        size = int(records.ends[i] - records.starts[i])
        records.faults[i] = f"it is {size:,} characters long, which is no row of a log"
    return records


def first_records(data: bytes, delimiter: str, quote: str, n: int) -> list[list[str]]:
    """Give the cells of the first `n` records; a fault gives its text as one cell."""
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


def _whole(data: bytes, lines: _Lines, delimiter: str, quote: str) -> Records:
    """Build the records of a text whose quotes are all in place."""
    is_first = np.concatenate([np.ones(1, dtype=bool), ~lines.is_open[:-1]])
    is_first = is_first[: len(lines.starts)]
    first = np.flatnonzero(is_first)
    widths = np.add.reduceat(lines.cells, first) + 1 if len(first) else first
    return _built(data, lines, first, widths, (delimiter, quote))


def _line_by_line(data: bytes, lines: _Lines, delimiter: str, quote: str) -> Records:
    """Build records where quotes are out of place: each odd line by the csv module."""
    began = np.concatenate([np.zeros(1, dtype=bool), lines.is_open[:-1]])
    is_odd = (lines.own_misplaced > 0) | (lines.is_open != began)
    is_first = np.ones(len(lines.starts), dtype=bool)
    by_line: dict[int, list[str]] = {}
    faults: dict[int, str] = {}
    free = 0
    for i in np.flatnonzero(is_odd).tolist():
        if i < free:
            continue
        cells, used, fault = _one_record(data, lines, i, (delimiter, quote))
        if fault:
            faults[i] = fault
        else:
            by_line[i] = cells
            is_first[i + 1 : i + used] = False
        free = i + used
    first = np.flatnonzero(is_first)
    widths = lines.own_cells[first] + 1
    at = np.searchsorted(first, np.array(list(by_line), dtype=np.int64))
    widths[at] = [len(cells) for cells in by_line.values()]
    found = _built(data, lines, first, widths, (delimiter, quote))
    found.parsed.update(zip(at.tolist(), by_line.values(), strict=True))
    found.faults.update(
        zip(
            np.searchsorted(first, np.array(list(faults), dtype=np.int64)).tolist(),
            faults.values(),
            strict=True,
        )
    )
    return found


def _one_record(
    data: bytes, lines: _Lines, i: int, dialect: tuple[str, str]
) -> tuple[list[str], int, str]:
    """Read the record that begins on line `i`: its cells, its lines and its fault."""
    rows = (
        data[lines.starts[j] : lines.nexts[j]].decode("utf-8", "replace")
        for j in range(i, len(lines.starts))
    )
    reader = _reader(rows, *dialect)
    try:
        return next(reader), reader.line_num, ""
    except csv.Error as error:
        is_open = "expected after" not in str(error)
        return [], 1, _NEVER_CLOSED if is_open else _OUT_OF_PLACE


def _reader(rows: Iterable[str], delimiter: str, quote: str) -> "_csv.Reader":
    return csv.reader(
        rows,
        strict=True,
        delimiter=delimiter,
        quotechar=quote or None,
        quoting=csv.QUOTE_MINIMAL if quote else csv.QUOTE_NONE,
    )


def _built(
    data: bytes, lines: _Lines, first: Ints, widths: Ints, dialect: tuple[str, str]
) -> Records:
    last = np.append(first[1:], len(lines.starts))[: len(first)] - 1
    starts, ends = lines.starts[first], lines.ends[last]
    return Records(
        data=data,
        starts=starts,
        ends=ends,
        nexts=lines.nexts[last],
        lines=first + 1,
        widths=np.where(starts == ends, 0, widths),
        delimiter=dialect[0],
        quote=dialect[1],
        has_breaks=bool((last > first).any()),
    )


def _scan(data: bytes, delimiter: int, quote: int) -> _Lines:
    codes = np.frombuffer(data, dtype=np.uint8)
    has_cr = data.count(b"\r") != data.count(b"\r\n")
    none = np.empty(0, dtype=np.int64)
    counts = np.zeros(4, dtype=np.int64)
    is_open = False
    found = []
    for at in range(0, len(codes), _BLOCK):
        block = _Block(codes, at, min(at + _BLOCK, len(codes)))
        breaks = block.breaks(has_lone_cr=has_cr)
        state = block.states(quote, is_open=is_open)
        marks = block.marks(delimiter, quote, state)
        if state is None and is_open:
            marks = (marks[1], marks[0], marks[2], marks[3])
        cuts = np.stack([np.searchsorted(m, breaks) for m in marks]) + counts[:, None]
        opened = state[breaks] if state is not None else np.full(len(breaks), is_open)
        found.append((breaks + at, opened, cuts))
        counts = counts + np.array([len(m) for m in marks])
        is_open = bool(state[-1]) if state is not None else is_open
    breaks = np.concatenate([none, *(f[0] for f in found)])
    opened = np.concatenate([none.astype(bool), *(f[1] for f in found)])
    cuts = np.concatenate([counts[:, None][:, :0], *(f[2] for f in found)], axis=1)
    if len(codes) and (not len(breaks) or breaks[-1] != len(codes) - 1):
        breaks = np.append(breaks, len(codes))
        opened = np.append(opened, is_open)
        cuts = np.concatenate([cuts, counts[:, None]], axis=1)
    return _as_lines(codes, breaks, opened, np.diff(cuts, axis=1, prepend=0))


def _as_lines(codes: Bytes, breaks: Ints, opened: Mask, per: Ints) -> _Lines:
    nexts = np.minimum(breaks + 1, len(codes))
    starts = np.concatenate([np.zeros(1, dtype=np.int64), nexts[:-1]])[: len(nexts)]
    ends = breaks.copy()
    if len(codes):
        before = codes[np.maximum(breaks - 1, 0)]
        at = codes[np.minimum(breaks, len(codes) - 1)]
        is_pair = (breaks < len(codes)) & (at == _LF) & (before == _CR)
        ends = ends - (is_pair & (ends > starts))
    began = np.concatenate([np.zeros(1, dtype=bool), opened[:-1]])[: len(opened)]
    # per holds delimiters outside and inside quotes, then misplaced quotes likewise.
    cells, other = per[0], per[1]
    return _Lines(
        starts=starts,
        ends=ends,
        nexts=nexts,
        is_open=opened,
        cells=cells,
        own_cells=np.where(began, other, cells),
        misplaced=per[2],
        own_misplaced=np.where(began, per[3], per[2]),
    )


@dataclass(frozen=True, slots=True)
class _Block:
    """A stretch of the text, with a look at the bytes just before and behind it."""

    codes: Bytes
    begin: int
    end: int

    @property
    def own(self) -> Bytes:
        return self.codes[self.begin : self.end]

    def breaks(self, *, has_lone_cr: bool) -> Ints:
        """Give where lines end: LF, CR LF, or CR alone."""
        is_break = self.own == _LF
        if has_lone_cr:
            is_break |= (self.own == _CR) & (self.after() != _LF)
        return np.flatnonzero(is_break)

    def states(self, quote: int, *, is_open: bool) -> Mask | None:
        """Tell for each byte whether a quote is open; None if there is no quote."""
        if quote < 0:
            return None
        is_quote = self.own == quote
        if not is_quote.any():
            return None
        return np.logical_xor.accumulate(is_quote) ^ is_open

    def marks(
        self, delimiter: int, quote: int, state: Mask | None
    ) -> tuple[Ints, Ints, Ints, Ints]:
        """Give delimiters by state, then misplaced quotes by the two readings."""
        none = np.empty(0, dtype=np.int64)
        delimiters = np.flatnonzero(self.own == delimiter)
        if state is None:
            return delimiters, none, none, none
        return self._quoted_marks(delimiters, quote, state, delimiter)

    def _quoted_marks(
        self, delimiters: Ints, quote: int, state: Mask, delimiter: int
    ) -> tuple[Ints, Ints, Ints, Ints]:
        inside = state[delimiters]
        at = np.flatnonzero(self.own == quote)
        edges = [delimiter, _LF, _CR, quote]
        may_open = np.isin(self.before()[at], edges)
        may_close = np.isin(self.after()[at], edges)
        opens = state[at]
        wrong = np.where(opens, ~may_open, ~may_close)
        wrong_if = np.where(opens, ~may_close, ~may_open)
        return delimiters[~inside], delimiters[inside], at[wrong], at[wrong_if]

    def before(self) -> Bytes:
        first = self.codes[self.begin - 1] if self.begin else np.uint8(_LF)
        return np.concatenate([np.array([first], dtype=np.uint8), self.own[:-1]])

    def after(self) -> Bytes:
        last = self.codes[self.end] if self.end < len(self.codes) else np.uint8(_CR)
        return np.concatenate([self.own[1:], np.array([last], dtype=np.uint8)])
