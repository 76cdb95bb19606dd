"""Physical lines of a delimited text, and what the quotes in each make of it.

A line is looked at twice: as it reads if it begins outside quotes, and if it begins
inside, in a cell that runs on from the line before. So no line waits for another, whole
blocks are scanned at once, and `records` then decides how each line begins.

Of a run of quotes, by RFC 4180, an even number changes nothing: they are doubled, or
an empty cell. An odd number ends a cell in quotes, or begins one, and begins one only
at the start of a cell; in the middle of a cell without quotes it is a plain character.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.threads import side_by_side

Ints = npt.NDArray[np.int64]
Counts = npt.NDArray[np.int32]
Bytes = npt.NDArray[np.uint8]
Mask = npt.NDArray[np.bool_]

#: A record longer than this is no row of a log [bytes].
LONGEST_RECORD = 1_000_000

_BLOCK = 1 << 22
_LF, _CR = 10, 13


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """Physical lines: an array entry a line.

    Attributes
    ----------
    bounds : ndarray of int, shape (n + 1,)
        Offsets: line i is ``bounds[i]`` up to ``bounds[i + 1]``, its break included.
    delimiters : ndarray of int
        Delimiters in the line, wherever they stand.
    outer, inner : ndarray of int
        Delimiters outside quotes if the line begins outside, or inside.
    opens, stays : ndarray of bool
        Whether a quote is open at the end of the line if it begins outside, or inside.
    is_wrong, is_wrong_inside : ndarray of bool
        Whether a quote is out of place if the line begins outside, or inside.
    has_closing : ndarray of bool
        Whether a quote stands behind something that is neither delimiter nor quote.
    """

    bounds: Ints
    delimiters: Counts
    outer: Counts
    inner: Counts
    opens: Mask
    stays: Mask
    is_wrong: Mask
    is_wrong_inside: Mask
    has_closing: Mask


def scan(data: bytes, delimiter: int, quote: int) -> Lines:
    r"""Scan a text line by line.

    Parameters
    ----------
    data : bytes
        The text; lines end with LF, CR LF or CR alone.
    delimiter, quote : int
        Codes of one ASCII character each; a quote below 0 is none.

    Returns
    -------
    Lines
        What each line holds. A line longer than `LONGEST_RECORD` is not looked into.

    Examples
    --------
    >>> found = scan(b'a,"b\nc",d\n', ord(","), ord('"'))
    >>> found.opens.tolist(), found.stays.tolist(), found.inner.tolist()
    ([True, False], [False, False], [0, 1])
    """
    codes = np.frombuffer(data, dtype=np.uint8)
    bounds = _bounds(data, codes)
    n = len(bounds) - 1
    lines = Lines(
        bounds=bounds,
        delimiters=np.zeros(n, dtype=np.int32),
        outer=np.zeros(n, dtype=np.int32),
        inner=np.zeros(n, dtype=np.int32),
        opens=np.zeros(n, dtype=bool),
        stays=np.ones(n, dtype=bool),
        is_wrong=np.zeros(n, dtype=bool),
        is_wrong_inside=np.zeros(n, dtype=bool),
        has_closing=np.zeros(n, dtype=bool),
    )
    side_by_side(
        # Each block writes to lines of its own.
        lambda block: _scan_block(codes, lines, slice(*block), (delimiter, quote)),
        _blocks(bounds),
    )
    return lines


def without_break(data: bytes, starts: Ints, nexts: Ints) -> Ints:
    """Give where stretches of a text end without the line break behind them.

    Parameters
    ----------
    data : bytes
        The text.
    starts : array of int, shape (n,)
        Where the stretches begin.
    nexts : array of int, shape (n,)
        Where the next ones begin.

    Returns
    -------
    array of int, shape (n,)
        Offsets.
    """
    codes = np.frombuffer(data, dtype=np.uint8)
    if not len(codes):
        return nexts
    last = codes[np.maximum(nexts - 1, 0)]
    before = codes[np.maximum(nexts - 2, 0)]
    ends = nexts - ((last == _LF) | (last == _CR))
    is_pair = (last == _LF) & (before == _CR) & (ends > starts)
    without: Ints = ends - is_pair
    return without


def _bounds(data: bytes, codes: Bytes) -> Ints:
    has_lone_cr = data.count(b"\r") != data.count(b"\r\n")

    def breaks(at: int) -> Ints:
        own = codes[at : at + _BLOCK]
        is_break = own == _LF
        if has_lone_cr:
            after = codes[at + 1 : at + 1 + len(own)]
            is_cr = own == _CR
            is_cr[: len(after)] &= after != _LF
            is_break |= is_cr
        return np.flatnonzero(is_break) + at + 1

    found = side_by_side(breaks, range(0, len(codes), _BLOCK))
    bounds = np.concatenate([np.zeros(1, dtype=np.int64), *found])
    return bounds if bounds[-1] == len(codes) else np.append(bounds, len(codes))


def _blocks(bounds: Ints) -> Iterator[tuple[int, int]]:
    """Give stretches of lines of about a block each, without the endless ones."""
    cuts = np.searchsorted(bounds, np.arange(_BLOCK, bounds[-1], _BLOCK))
    endless = np.flatnonzero(np.diff(bounds) > LONGEST_RECORD + 2)
    cuts = np.unique(np.concatenate([cuts, endless, endless + 1, [len(bounds) - 1]]))
    first = 0
    for end in cuts.tolist():
        if end > first and bounds[first + 1] - bounds[first] <= LONGEST_RECORD + 2:
            yield first, end
        first = end


def _scan_block(
    codes: Bytes, lines: Lines, here: slice, marks: tuple[int, int]
) -> None:
    begin = int(lines.bounds[here.start])
    own = codes[begin : lines.bounds[here.stop]]
    bounds = lines.bounds[here.start : here.stop + 1] - begin
    delimiters = np.flatnonzero(own == marks[0])
    total = np.diff(np.searchsorted(delimiters, bounds)).astype(np.int32)
    lines.delimiters[here] = lines.outer[here] = total
    quotes = np.flatnonzero(own == marks[1])
    if not len(quotes):
        return
    runs = _Runs.of(own, bounds, quotes, marks[0])
    for is_inside, cells, is_open, is_wrong in (
        (False, lines.outer, lines.opens, lines.is_wrong),
        (True, lines.inner, lines.stays, lines.is_wrong_inside),
    ):
        after = runs.after(is_inside=is_inside)
        is_open[here.start + runs.line[runs.is_last]] = after[runs.is_last]
        wrong = runs.line[runs.is_wrong(after, is_inside=is_inside)]
        is_wrong[here.start + wrong] = True
        cells[here] = _outside(delimiters, total, runs, after, is_inside=is_inside)
    lines.has_closing[here.start + runs.line[~runs.is_at_start]] = True


def _outside(
    delimiters: Ints, total: Counts, runs: "_Runs", after: Mask, *, is_inside: bool
) -> Counts:
    """Count the delimiters of each line that stand outside quotes."""
    line = np.repeat(np.arange(len(total)), total)
    run = np.searchsorted(runs.at, delimiters) - 1
    is_inner = np.full(len(delimiters), is_inside)
    has_run = (run >= 0) & (runs.line[run] == line)
    is_inner[has_run] = after[run[has_run]]
    return np.bincount(line[~is_inner], minlength=len(total)).astype(np.int32)


@dataclass(frozen=True, slots=True)
class _Runs:
    """Runs of quotes without a gap, in a block of whole lines.

    Attributes
    ----------
    at, line : ndarray of int
        Offset of the first quote of each run, and its line in the block.
    is_odd, is_at_start, is_at_end : ndarray of bool
        Whether the run has an odd number of quotes, whether it stands at the start of a
        cell, and at the end of one.
    is_first, is_last : ndarray of bool
        Whether it is the first and the last run of its line.
    """

    at: Ints
    line: Ints
    is_odd: Mask
    is_at_start: Mask
    is_at_end: Mask
    is_first: Mask
    is_last: Mask

    @classmethod
    def of(cls, own: Bytes, bounds: Ints, quotes: Ints, delimiter: int) -> "_Runs":
        is_gap = np.diff(quotes) > 1
        at = quotes[np.concatenate([[True], is_gap])]
        behind = quotes[np.concatenate([is_gap, [True]])] + 1
        line = np.searchsorted(bounds, at, side="right") - 1
        edges = [delimiter, _LF, _CR]
        is_at_end = np.isin(own[np.minimum(behind, len(own) - 1)], edges)
        is_new = np.diff(line) > 0
        return cls(
            at=at,
            line=line,
            is_odd=(behind - at) % 2 == 1,
            is_at_start=(at == bounds[line]) | (own[at - 1] == delimiter),
            is_at_end=is_at_end | (behind == len(own)),
            is_first=np.concatenate([[True], is_new]),
            is_last=np.concatenate([is_new, [True]]),
        )

    def after(self, *, is_inside: bool) -> Mask:
        """Tell whether a quote is open behind each run, by how the lines begin."""
        flips = np.cumsum(self.is_odd & self.is_at_start)
        before: Ints = flips - (self.is_odd & self.is_at_start)
        number = np.arange(len(self.at))
        closes = np.maximum.accumulate(
            np.where(self.is_odd & ~self.is_at_start, number, -1)
        )
        first = np.maximum.accumulate(np.where(self.is_first, number, 0))
        has_closed = closes >= first
        since = np.where(has_closed, flips[closes], before[first])
        is_open: Mask = ((flips - since) % 2 == 1) ^ (~has_closed & is_inside)
        return is_open

    def is_wrong(self, after: Mask, *, is_inside: bool) -> Mask:
        """Mark runs that end a cell in quotes before the cell is at its end."""
        before: Mask = np.roll(after, 1).astype(bool)
        before[self.is_first] = is_inside
        ends_cell = np.where(before, self.is_odd, self.is_at_start & ~self.is_odd)
        wrong: Mask = np.logical_and(ends_cell, ~self.is_at_end)
        return wrong
