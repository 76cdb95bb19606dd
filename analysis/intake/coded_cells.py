"""Columns of cells as a file has them, each different text once and a number a row.

A column is a `Coded` from the moment it is split off: the cells of a check log written
out take several times the memory of the file, and a cell that is looked at once needs
no second look where it stands again.
"""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from analysis.coded_column import Coded, encoded
from analysis.intake.invisible import INVISIBLE
from analysis.intake.scan import Ints, Mask

#: How `pyarrow.csv` is to give a column.
AS_CODES = pa.dictionary(pa.int32(), pa.large_string())

#: Blanks and invisible characters that may stand around a cell.
AROUND = " \t\n\v\f\r\x1c\x1d\x1e\x1f\x85\u00a0\u1680\u2028\u2029\u202f\u205f\u3000"
AROUND += "".join(map(chr, range(0x2000, 0x200B))) + INVISIBLE


def of_chunks(column: pa.ChunkedArray) -> Coded:
    """Give a column read in blocks, each with numbers of its own, one set of numbers.

    Parameters
    ----------
    column : ChunkedArray of `AS_CODES`
        None missing.

    Returns
    -------
    Coded
        As many rows.
    """
    if not column.num_chunks:
        return blank(0)
    texts = encoded(pa.chunked_array([chunk.dictionary for chunk in column.chunks]))
    codes, at, begin = np.empty(len(column), dtype=texts.codes.dtype), 0, 0
    for chunk in column.chunks:
        own = texts.codes[begin : begin + len(chunk.dictionary)]
        own.take(chunk.indices.to_numpy(), out=codes[at : at + len(chunk)])
        at, begin = at + len(chunk), begin + len(chunk.dictionary)
    return Coded(codes, texts.different, is_tidy=True)


def of_rows(rows: Sequence[Sequence[str]], width: int) -> list[Coded]:
    """Give rows, each of `width` cells, as columns.

    Parameters
    ----------
    rows : sequence of sequence of str
        Rows of `width` cells.
    width : int
        Cells of each.

    Returns
    -------
    list of Coded
        One a column.
    """
    if not rows:
        return [blank(0)] * width
    return [
        encoded(pa.array(column, type=pa.large_string()))
        for column in zip(*rows, strict=True)
    ]


def blank(n: int) -> Coded:
    """Give a column of empty cells.

    Parameters
    ----------
    n : int
        How many.

    Returns
    -------
    Coded
        All of them empty.
    """
    different = pa.array([""], type=pa.large_string())
    return Coded(np.zeros(n, dtype=np.int8), different, is_tidy=n > 0)


def trimmed(column: Coded, *, is_ascii: bool) -> Coded:
    """Give cells without blanks and invisible characters around them.

    Parameters
    ----------
    column : Coded
        Cells.
    is_ascii : bool
        The whole text is ASCII, which is quicker.

    Returns
    -------
    Coded
        As many cells.
    """
    if is_ascii:
        bare = pc.ascii_trim_whitespace(column.different)
    else:
        bare = pc.utf8_trim(column.different, characters=AROUND)
    if bare.equals(column.different):
        return column
    own = encoded(bare)
    return Coded(own.codes.take(column.codes), own.different, column.is_tidy)


def stacked(parts: Sequence[Coded]) -> Coded:
    """Put columns one below the other.

    Parameters
    ----------
    parts : sequence of Coded
        At least one.

    Returns
    -------
    Coded
        All their rows.
    """
    if len(parts) == 1:
        return parts[0]
    texts = encoded(pa.chunked_array([part.different for part in parts]))
    ends = np.cumsum([len(part.different) for part in parts])[:-1]
    own = np.split(texts.codes, ends)
    codes = [place.take(p.codes) for place, p in zip(own, parts, strict=True)]
    is_tidy = all(part.is_tidy for part in parts)
    return Coded(np.concatenate(codes), texts.different, is_tidy)


def taken(column: Coded, at: Ints | Mask) -> Coded:
    """Take some rows of a column.

    Parameters
    ----------
    column : Coded
        Cells.
    at : ndarray of int, or of bool
        Their places in the order wanted, or which they are.

    Returns
    -------
    Coded
        These cells.
    """
    return Coded(column.codes[at], column.different)


def told(column: Coded, tell: Callable[[pa.Array], pa.Array]) -> Mask:
    """Mark cells by what is told of each different text.

    Parameters
    ----------
    column : Coded
        Cells.
    tell : callable
        Gives a truth value for each of an array of texts.

    Returns
    -------
    ndarray of bool
        One a cell.
    """
    is_so: npt.NDArray[np.bool_] = tell(column.different).to_numpy(zero_copy_only=False)
    return is_so.take(column.codes)


def are_blank(column: Coded) -> Mask:
    """Mark cells in which nothing stands.

    Parameters
    ----------
    column : Coded
        Cells.

    Returns
    -------
    ndarray of bool
        One a cell.
    """
    return told(column, lambda texts: pc.equal(texts, ""))


def texts_at(column: Coded, at: Any) -> list[str]:
    """Give the texts of a few cells.

    Parameters
    ----------
    column : Coded
        Cells.
    at : slice or ndarray of int
        Their places.

    Returns
    -------
    list of str
        In the order of `at`.
    """
    texts: list[str] = column.different.take(pa.array(column.codes[at])).to_pylist()
    return texts
