"""Columns of text that keep each different text once, and a number for every row.

A check log of millions of rows has few wards, words and times, and even its infusions
repeat. A `CodedText` is a ``str`` column to whoever reads it. What only asks which rows
are alike (comparing, counting, grouping, taking rows) goes by the numbers, and the rows
are written out as text when something else is asked of them.

Where `fits_pandas` finds that the pandas installed does not know them as its own, the
columns are the plain ones of pandas: slower, and the same in every result.
"""

import functools
import pickle
from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa

from analysis.coded_column import PLAIN, STR, CodedText, Codes, encoded, spread_out

#: What is asked of columns of text, for `fits_pandas`; each gives a Series.
_USES: tuple[Callable[[pd.Series], pd.Series], ...] = (
    lambda s: s,
    lambda s: s == "b",
    lambda s: s == s[::-1].reset_index(drop=True),
    lambda s: s.isin(["b"]),
    lambda s: s.isna(),
    lambda s: s.value_counts(),
    lambda s: s.duplicated(),
    lambda s: s.sort_values(kind="stable"),
    lambda s: pd.Series(s.unique()),
    lambda s: pd.Series(pd.factorize(s)[0]),
    lambda s: pd.Series(s.to_numpy(dtype=object)),
    lambda s: s[s != "b"].iloc[::-1],
    lambda s: s.reindex(range(-1, 3)).fillna("c"),
    lambda s: s.mask(s == "b", "c"),
    lambda s: s.mask(s == "b", s + "/" + s),
    lambda s: pd.concat([s, s, s.str.upper()], ignore_index=True),
    lambda s: s.str.contains("b"),
    lambda s: s.str.replace("b", "", regex=False),
    lambda s: s.groupby(s).size(),
    lambda s: s.astype("category"),
    lambda s: pickle.loads(pickle.dumps(s)),  # noqa: S301 - its own
)


@functools.cache
def fits_pandas() -> bool:
    """Tell whether the pandas that is installed knows columns by codes as its own.

    Returns
    -------
    bool
        True where such a column gives what a plain one does, whatever is asked of it.
    """
    plain = pd.Series(["a", "b", "a", ""], dtype=STR)
    texts = pa.array(["b", "", "a", "none"], pa.large_string())
    try:
        column = CodedText.of(np.array([2, 0, 2, 1], dtype=np.int32), texts)
        coded = pd.Series(column, copy=False)
        return all(_alike(use(coded), use(plain)) for use in _USES)
    except Exception:  # noqa: BLE001 - whatever a pandas that is not known says of it
        return False


def _alike(one: pd.Series, other: pd.Series) -> bool:
    return one.dtype == other.dtype and list(one.items()) == list(other.items())


def by_codes(codes: Codes, different: pa.Array, *, is_tidy: bool = False) -> Any:
    """Give a column by its codes.

    Parameters
    ----------
    codes : array of int, shape (n,)
        Which text each row has; not to be changed any more.
    different : pyarrow Array of large_string, shape (m,)
        Texts, each once, none missing; rows need not have all of them.
    is_tidy : bool
        Rows have all of them, and they stand in the order they first appear.

    Returns
    -------
    array of str, shape (n,)
        A `CodedText`, where it fits pandas.

    Examples
    --------
    >>> texts = pa.array(["check", "start"], pa.large_string())
    >>> pd.Series(by_codes(np.array([1, 0, 0], "int32"), texts)).tolist()
    ['start', 'check', 'check']
    """
    if not fits_pandas():
        return PLAIN(different.take(pa.array(codes)), dtype=STR)
    return CodedText.of(codes, different, is_tidy=is_tidy)


def coded_text(texts: pa.ChunkedArray | pa.Array) -> Any:
    """Give a column of text by its codes.

    Parameters
    ----------
    texts : pyarrow array of large_string, shape (n,)
        Where one is missing, the column is a plain one.

    Returns
    -------
    array of str, shape (n,)
        The same texts.
    """
    if texts.null_count or not fits_pandas():
        return PLAIN(texts, dtype=STR)
    return CodedText.of(*encoded(texts)[:2], is_tidy=True)


def codes_of(texts: pd.Series) -> Codes | None:
    """Give a number a row, the same where the text is the same.

    Parameters
    ----------
    texts : Series of str, shape (n,)
        A column.

    Returns
    -------
    array of int, shape (n,), or None
        None where the column is not kept by codes.
    """
    coded = getattr(texts.array, "_coded", None)
    return None if coded is None else coded.codes


def spread(given: Any, codes: npt.NDArray[np.integer]) -> Any:
    """Give rows what was found for each different text, by the number each row has.

    Parameters
    ----------
    given : array or Series of str, or of anything else, shape (m,)
        What was found.
    codes : array of int, shape (n,)
        Places in `given`.

    Returns
    -------
    array, shape (n,)
        Texts as codes, if none is missing; anything else as it is taken.

    Examples
    --------
    >>> one = pd.array(["no", "yes", "no"], dtype="str")
    >>> list(spread(one, np.array([1, 2, 2])))
    ['yes', 'no', 'no']
    """
    given = given.array if isinstance(given, pd.Series) else given
    return spread_out(given, codes) if fits_pandas() else given.take(codes)


def same(text: str, n: int) -> Any:
    """Give a column in which all rows have one text, and which takes no room.

    Parameters
    ----------
    text : str
        The text.
    n : int
        How many rows.

    Returns
    -------
    array of str, shape (n,)
        That text throughout.
    """
    codes = np.broadcast_to(np.zeros(1, dtype=np.int8), n)
    return by_codes(codes, pa.array([text], pa.large_string()), is_tidy=n > 0)
