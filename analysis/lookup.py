"""One look-up for all: values of another table, by key, on the index of the keys."""

import pandas as pd


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
