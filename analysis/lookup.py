"""Two small things used everywhere: values by key, and times in sentences."""

import pandas as pd
from pandas.api.typing import NaTType


def by_key(keys: pd.Series, values: pd.Series) -> pd.Series:
    """Give for each key the value that stands under it.

    Unlike ``Series.map`` this keeps the type of `values` where they are empty.

    Parameters
    ----------
    keys : Series, shape (n,)
        Keys; they may repeat.
    values : Series
        Indexed by key, each key once.

    Returns
    -------
    Series, shape (n,)
        On the index of `keys`; missing where there is no such key.

    Examples
    --------
    >>> by_key(pd.Series(["b", "c"]), pd.Series({"a": 1.0, "b": 2.0})).tolist()
    [2.0, nan]
    """
    return values.reindex(keys).set_axis(keys.index)


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
    return f"{time.day} {time:%b %H:%M}" if isinstance(time, pd.Timestamp) else "?"
