"""Columns of a table to the texts of their cells, and cells to lines of a CSV file.

Millions of cells have few different values: each different value is turned to text
once, and the texts are handed out and put into lines by pyarrow.
"""

import re
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from analysis.coded_column import CodedText
from analysis.columns import Column, Kind
from analysis.policy import Policy

# A spreadsheet takes a cell that starts with one of these for a formula. Apostrophes
# before it are counted in, so that guarding can be undone without a doubt.
_FORMULA = re.compile(r"\A'*[=+\-@\t\r]")

#: Bytes that such a text begins with.
_OPENS = np.isin(np.arange(256), list(b"'=+-@\t\r"))

# A cell with one of these stands in quotes.
_SPECIAL = re.compile(r'[,"\r\n]')

_TEXT = pa.large_string()
_ARROW: Any = pd.arrays.ArrowStringArray


def cells(
    values: pd.Series, column: Column, policy: Policy, *, quoted: bool = False
) -> pa.Array:
    """Give the cells of a column of a table.

    Parameters
    ----------
    values : Series, shape (n,)
        Of the type that `column` has.
    column : Column
        Its entry in the data dictionary.
    policy : Policy
        Times are written in its zone.
    quoted : bool
        As they stand in a CSV file: in quotes where that is needed.

    Returns
    -------
    pyarrow Array of large_string, shape (n,)
        An empty text for a missing value. A text that a spreadsheet would take for a
        formula starts with an apostrophe.
    """
    if column.kind in {Kind.NUMBER, Kind.COUNT}:
        return _numbers(values, 0 if column.kind is Kind.COUNT else column.decimals)
    if column.kind is Kind.TIME:
        return _times(values, policy)
    change = (lambda words: _in_quotes(_guards(words))) if quoted else _guards
    return _of_each(values, change)


def plain_cells(values: pd.Series) -> pa.Array:
    """Give texts as the cells of a CSV file, in quotes where that is needed.

    Parameters
    ----------
    values : Series of str, shape (n,)
        Texts; no formula is kept from being one.

    Returns
    -------
    pyarrow Array of large_string, shape (n,)
        An empty text for a missing value.
    """
    return _of_each(values, _in_quotes)


def lines(columns: Sequence[pa.Array]) -> bytes:
    """Put cells into the lines of a CSV file: UTF-8, a line feed after each row.

    Parameters
    ----------
    columns : sequence of pyarrow Array of large_string, each of shape (n,)
        At least one, in quotes where needed, none with a missing value.

    Returns
    -------
    bytes
        n lines.

    Notes
    -----
    Written here because the csv module of some Python versions leaves a lone carriage
    return unquoted, which a spreadsheet takes for the end of a row.
    """
    *others, last = columns
    last = pc.binary_join_element_wise(last, _scalar("\n"), _scalar(""))
    return _letters(pc.binary_join_element_wise(*others, last, _scalar(",")))


def guarded(text: str) -> str:
    """Keep a spreadsheet from taking a text for a formula.

    Parameters
    ----------
    text : str
        Any.

    Returns
    -------
    str
        With an apostrophe before a text that starts like a formula.
    """
    return "'" + text if _FORMULA.match(text) else text


def texts(values: pd.Series) -> list[str]:
    """Give values as texts, empty where missing.

    Parameters
    ----------
    values : Series, shape (n,)
        Of any type.

    Returns
    -------
    list of str
        Of the same length.
    """
    return each(values, str)


def each(values: pd.Series, change: Callable[[Any], str]) -> list[str]:
    """Change every different value once; a missing value becomes an empty text.

    Parameters
    ----------
    values : Series, shape (n,)
        Of any type.
    change : callable
        A value to its text.

    Returns
    -------
    list of str
        Of the same length.
    """
    codes, found = pd.factorize(values)
    changed = np.array([*(change(value) for value in found), ""], dtype=object)
    every: list[str] = changed[codes].tolist()
    return every


def _quoted(cell: str) -> str:
    return '"' + cell.replace('"', '""') + '"'


def _scalar(text: str) -> pa.Scalar:
    return pa.scalar(text, _TEXT)


def _letters(texts: pa.Array) -> bytes:
    """Give texts one after another, as they stand in the buffer of their array."""
    _, ends, letters = texts.buffers()
    if not len(texts) or letters is None:
        return b""
    at = np.frombuffer(ends, dtype=np.int64)[texts.offset :]
    begin, end = int(at[0]), int(at[len(texts)])
    whole: bytes = letters.slice(begin, end - begin).to_pybytes()
    return whole


def _guards(texts: pa.Array) -> pa.Array:
    """Do `guarded` to each text; first bytes tell soon that none needs it."""
    _, ends, letters = texts.buffers()
    if not len(texts) or letters is None or not letters.size:
        return texts
    begins = np.frombuffer(ends, dtype=np.int64)[texts.offset :][: len(texts)]
    first = np.frombuffer(letters, dtype=np.uint8).take(begins, mode="clip")
    if not _OPENS.take(first).any():
        return texts
    return _changed(texts, _FORMULA, guarded)


def _in_quotes(texts: pa.Array) -> pa.Array:
    """Put texts in quotes that need it; bytes tell soon that none does."""
    letters = _letters(texts)
    if not any(mark in letters for mark in (b",", b'"', b"\r", b"\n")):
        return texts
    return _changed(texts, _SPECIAL, _quoted)


def _changed(
    texts: pa.Array, pattern: re.Pattern[str], change: Callable[[str], str]
) -> pa.Array:
    """Change those texts in which a pattern is found; a missing text stays so."""
    is_found = pc.match_substring_regex(texts, pattern.pattern)
    found = texts.filter(is_found).to_pylist()
    return pc.replace_with_mask(
        texts, is_found, pa.array([change(text) for text in found], _TEXT)
    )


def _of_each(values: pd.Series, change: Callable[[pa.Array], pa.Array]) -> pa.Array:
    """Write texts; those held as codes, or not as texts, each once."""
    held = values.array
    if isinstance(held, _ARROW) and not isinstance(held, CodedText):
        return pc.fill_null(change(_as_texts(held)), "")
    if isinstance(held, pd.Categorical):
        codes, found = held.codes, held.categories
    else:
        codes, found = pd.factorize(values)
    return _handed_out(change(_as_texts(pd.Index(found).array)), codes)


def _as_texts(held: Any) -> pa.Array:
    if not isinstance(held, _ARROW):
        return pa.array([str(value) for value in held], _TEXT)
    texts = pa.array(held, _TEXT)
    return texts.combine_chunks() if isinstance(texts, pa.ChunkedArray) else texts


def _handed_out(given: pa.Array, codes: npt.NDArray[np.integer]) -> pa.Array:
    """Give rows the text of their number; an empty one for -1."""
    every = pa.concat_arrays([given, pa.array([""], _TEXT)])
    return every.take(pa.array(np.where(codes < 0, len(given), codes)))


def _numbers(values: pd.Series, decimals: int) -> pa.Array:
    # Adding 0 turns the -0.0 that rounding leaves into 0.0.
    rounded = values.astype("float64").round(decimals) + 0.0
    codes, found = pd.factorize(rounded)
    write = f"{{:.{decimals}f}}".format
    return _handed_out(pa.array([write(number) for number in found], _TEXT), codes)


def _times(values: pd.Series, policy: Policy) -> pa.Array:
    if values.isna().all():
        return pa.array([""] * len(values), _TEXT)
    moments = pd.to_datetime(values, utc=True).dt.floor("s")
    local = moments.dt.tz_convert(policy.zone).dt.tz_localize(None)
    minutes = (local - moments.dt.tz_localize(None)).dt.total_seconds() / 60
    seconds = pa.array(local.to_numpy().astype("datetime64[s]"))
    clock = pc.binary_replace_slice(seconds.cast(_TEXT), 10, 11, "T")
    codes, found = pd.factorize(minutes)
    offsets = _handed_out(pa.array([_offset(each) for each in found], _TEXT), codes)
    written = pc.binary_join_element_wise(clock, offsets, _scalar(""))
    return pc.fill_null(written, "")


def _offset(minutes: float) -> str:
    hours, rest = divmod(abs(int(minutes)), 60)
    return f"{'-' if minutes < 0 else '+'}{hours:02}:{rest:02}"
