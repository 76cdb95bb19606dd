"""Small things used everywhere: values by key, whole seconds, times in sentences."""

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
    # Each different key is looked up once: keys are many, and what they name is not.
    codes, different = pd.factorize(keys, use_na_sentinel=False)
    return values.reindex(different).take(codes).set_axis(keys.index)


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
    return f"{time.day} {time:%b %H:%M}" if isinstance(time, pd.Timestamp) else "?"
