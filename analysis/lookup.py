"""Small things used everywhere: values by key, hashes, seconds, times in words."""

import base64
import hashlib
from collections.abc import Callable, Iterable

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from pandas.api.typing import NaTType

from analysis.texts import spread


def by_key(keys: pd.Series | pd.Index, values: pd.Series) -> pd.Series:
    """Give for each key the value that stands under it.

    Unlike ``Series.map`` this keeps the type of `values` where they are empty.

    Parameters
    ----------
    keys : Series or Index, shape (n,)
        Keys; they may repeat.
    values : Series
        Indexed by key, each key once.

    Returns
    -------
    Series, shape (n,)
        On `keys` themselves or their index; missing where there is no such key.

    Examples
    --------
    >>> by_key(pd.Series(["b", "c"]), pd.Series({"a": 1.0, "b": 2.0})).tolist()
    [2.0, nan]
    """
    place = places(keys, values.index)
    found = values.set_axis(range(len(values))).reindex(place)
    return found.set_axis(keys if isinstance(keys, pd.Index) else keys.index)


def each_once(
    cells: pd.Series, give: Callable[[str], object], dtype: str = "str"
) -> pd.Series:
    """Give for each cell what is found for its text; each different text once.

    Parameters
    ----------
    cells : Series of str, shape (n,)
        Cells; they repeat, as those of a log do. None is missing: an empty text is.
    give : callable
        Called with each different cell.
    dtype : str
        Type of what is given.

    Returns
    -------
    Series, shape (n,)
        On the index of `cells`.

    Notes
    -----
    ``Series.map`` goes through all rows one by one where cells are text.

    Examples
    --------
    >>> each_once(pd.Series(["a", "b", "a"]), str.upper).tolist()
    ['A', 'B', 'A']
    """
    codes, different = pd.factorize(cells, use_na_sentinel=False)
    given = pd.Series([give(str(cell)) for cell in different], dtype=dtype)
    return pd.Series(spread(given, codes), index=cells.index)


def are_among(cells: pd.Series, values: Iterable[str]) -> pd.Series:
    """Tell which cells are among many values.

    ``Series.isin`` goes through the values one by one where cells are text.

    Parameters
    ----------
    cells : Series of str, shape (n,)
        Cells.
    values : iterable of str
        What is looked for.

    Returns
    -------
    Series of bool, shape (n,)
        On the index of `cells`.

    Examples
    --------
    >>> are_among(pd.Series(["a", "b"]), ["b", "c"]).tolist()
    [False, True]
    """
    wanted = pa.array(values, type=pa.large_string())
    codes, different = pd.factorize(cells, use_na_sentinel=False)
    found = pc.is_in(pa.array(different, type=pa.large_string()), value_set=wanted)
    return pd.Series(found.to_numpy(zero_copy_only=False)[codes], index=cells.index)


def by_keys(keys: pd.Series | pd.Index, table: pd.DataFrame) -> pd.DataFrame:
    """Give for each key the row of a table that stands under it, as `by_key` does.

    Parameters
    ----------
    keys : Series or Index, shape (n,)
        Keys; they may repeat.
    table : DataFrame
        Indexed by key, each key once.

    Returns
    -------
    DataFrame, shape (n, ...)
        On `keys` themselves or their index; missing where there is no such key.

    Examples
    --------
    >>> table = pd.DataFrame({"n": [1.0, 2.0]}, index=["a", "b"])
    >>> by_keys(pd.Series(["b", "c"]), table)["n"].tolist()
    [2.0, nan]
    """
    place = places(keys, table.index)
    found = table.set_axis(range(len(table))).reindex(place)
    return found.set_axis(keys if isinstance(keys, pd.Index) else keys.index)


def places(keys: pd.Series | pd.Index, index: pd.Index) -> np.ndarray:
    """Give where in an index each key stands.

    Parameters
    ----------
    keys : Series or Index, shape (n,)
        Keys; they may repeat.
    index : Index
        Each key once.

    Returns
    -------
    array of int, shape (n,)
        Places; -1 where there is no such key.

    Examples
    --------
    >>> places(pd.Index(["b", "c"]), pd.Index(["a", "b"])).tolist()
    [1, -1]
    """
    values = keys.array
    if isinstance(index, pd.CategoricalIndex) and isinstance(values, pd.Categorical):
        words = values.categories
        if words.is_(index.categories):
            # What has a code stands at its place; the last one is for no word.
            place = np.full(len(words) + 1, -1)
            place[index.codes] = np.arange(len(index))
            place[-1] = -1
            return place.take(values.codes)
    # Each different key is looked up once: keys are many, and what they name is not.
    codes, different = pd.factorize(keys, use_na_sentinel=False)
    return index.get_indexer(different).take(codes)


def by_pair(rows: pd.DataFrame, table: pd.DataFrame) -> pd.DataFrame:
    """Give for each row what stands in a table under two of its cells.

    Parameters
    ----------
    rows : DataFrame, shape (n, ...)
        With the columns that the index of `table` is named after.
    table : DataFrame
        Indexed by two named levels, each pair once.

    Returns
    -------
    DataFrame
        On the index of `rows`; missing where there is no such pair.

    Examples
    --------
    >>> pairs = pd.MultiIndex.from_tuples([("a", "x"), ("b", "x")], names=["k", "m"])
    >>> rows = pd.DataFrame({"k": ["b", "a", "b"], "m": "x"})
    >>> by_pair(rows, pd.DataFrame({"n": [1.0, 2.0]}, index=pairs))["n"].tolist()
    [2.0, 1.0, 2.0]
    """
    one, other = (pd.factorize(rows[name]) for name in table.index.names)
    pairs = pd.MultiIndex.from_product([one[1], other[1]])
    own = table.reindex(pairs).take(one[0] * len(other[1]) + other[0])
    return own.set_axis(rows.index)


def written(times: pd.Series, day: str, clock: str = "") -> pd.Series:
    """Write local times, as ``Series.dt.strftime`` does.

    Parameters
    ----------
    times : Series of datetime64, shape (n,)
        In any zone; parts of a second are left out.
    day, clock : str
        Formats of the day, and of the time of day after it.

    Returns
    -------
    Series of str, shape (n,)
        Missing where the time is.

    Notes
    -----
    Each different day and time of day is written once: writing is what is slow, and a
    log of millions of rows has few of either.

    Examples
    --------
    >>> times = pd.Series(pd.to_datetime(["2026-10-25 00:30+00:00", None]))
    >>> written(times, "%Y-%m").tolist(), written(times, "%d %b", " %H:%M").tolist()
    (['2026-10', nan], ['25 Oct 00:30', nan])
    """
    local = times.dt.tz_localize(None)
    days = local.dt.floor("D")
    out = _written_once(days, day)
    return out + _written_once(local - days + _ANY_DAY, clock) if clock else out


#: A day to which times of day are put to be written.
_ANY_DAY = pd.Timestamp("2000-01-01")


def _written_once(times: pd.Series, form: str) -> pd.Series:
    codes, different = pd.factorize(times)
    texts = pd.Series(different).dt.strftime(form).array
    return pd.Series(texts.take(codes, allow_fill=True), index=times.index, dtype="str")


def whole_seconds(times: pd.Series) -> pd.Series:
    """Round times to whole seconds.

    In UTC: rounding local times fails in the hour that comes twice.

    Parameters
    ----------
    times : Series of datetime64, shape (n,)
        In any zone.

    Returns
    -------
    Series of datetime64, shape (n,)
        In the zone of `times`; NaT stays.

    Examples
    --------
    >>> whole_seconds(pd.Series(pd.to_datetime(["2026-10-25 00:30:00.6+00:00"])))[0]
    Timestamp('2026-10-25 00:30:01+0000', tz='UTC')
    """
    zone = times.dt.tz
    rounded: pd.Series = times.dt.tz_convert("UTC").dt.round("s").dt.tz_convert(zone)
    return rounded


def clock(time: pd.Timestamp | NaTType) -> str:
    """Write a time for a sentence.

    Parameters
    ----------
    time : Timestamp
        In the policy's zone.

    Returns
    -------
    str
        Day, month and clock time; "?" where it is not known.

    Examples
    --------
    >>> clock(pd.Timestamp("2026-10-03 04:05"))
    '3 Oct 04:05'
    """
    if not isinstance(time, pd.Timestamp):
        return "?"
    # Twenty times as fast as strftime, and English whatever the locale.
    month = _MONTHS[time.month - 1]
    return f"{time.day} {month} {time.hour:02d}:{time.minute:02d}"


_MONTHS = (
    "Jan", "Feb", "Mar", "Apr", "May", "Jun",
    "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
)  # fmt: skip


def short_hash(*parts: str) -> str:
    """Give the first 12 base32 characters of a SHA-256.

    Parameters
    ----------
    *parts : str
        What is hashed, joined by U+001F.

    Returns
    -------
    str
        Twelve characters.

    Examples
    --------
    >>> short_hash("delivery", "SP001/26", "")
    'CNSW4RDKAX5W'
    """
    digest = hashlib.sha256("\x1f".join(parts).encode()).digest()
    return base64.b32encode(digest).decode()[:12]


def clocks(times: pd.Series) -> pd.Series:
    """Write times for sentences, as `clock` does.

    Parameters
    ----------
    times : Series of datetime64, shape (n,)
        In the policy's zone.

    Returns
    -------
    Series of str, shape (n,)
        "?" where a time is not known.

    Examples
    --------
    >>> clocks(pd.Series(pd.to_datetime(["2026-10-03 04:05", None]))).tolist()
    ['3 Oct 04:05', '?']
    """
    return written(times, "%d %b", " %H:%M").str.removeprefix("0").fillna("?")


def iso_times(times: pd.Series) -> pd.Series:
    """Write moments in UTC by ISO 8601, as ``Timestamp.isoformat`` does.

    Parameters
    ----------
    times : Series of datetime64, shape (n,)
        In any zone, in whole microseconds.

    Returns
    -------
    Series of str, shape (n,)
        With the parts of a second only where there are any.

    Examples
    --------
    >>> some = ["2026-10-03 04:05Z", "2026-10-03 04:05:00.5Z"]
    >>> iso_times(pd.Series(pd.to_datetime(some, format="ISO8601"))).tolist()
    ['2026-10-03T04:05:00+00:00', '2026-10-03T04:05:00.500000+00:00']
    """
    utc = times.dt.tz_convert("UTC")
    out = written(utc, "%Y-%m-%d", "T%H:%M:%S+00:00")
    is_part = utc.dt.microsecond > 0
    if not is_part.any():
        return out
    return out.mask(is_part, written(utc, "%Y-%m-%d", "T%H:%M:%S.%f+00:00"))
