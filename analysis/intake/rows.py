"""Rows taken out of a wide frame without a copy of what is empty in it."""

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.texts import same
from analysis.threads import side_by_side


def take_rows(frame: pd.DataFrame, at: npt.NDArray[np.int64]) -> pd.DataFrame:
    """Take rows by position; columns without any text share one column of blanks.

    A check log has some forty columns, and an export a dozen of them: the others would
    take as much memory as all that is charted.

    Parameters
    ----------
    frame : DataFrame
        Any columns.
    at : ndarray of int, shape (n,)
        Positions, in the order wanted.

    Returns
    -------
    DataFrame
        These rows, numbered anew.

    Examples
    --------
    >>> rows = pd.DataFrame({"a": ["x", "y"], "b": ["", ""]}, dtype="str")
    >>> take_rows(rows, np.array([1])).to_dict("list")
    {'a': ['y'], 'b': ['']}
    """
    index = pd.RangeIndex(len(at))
    blank = pd.Series(same("", len(index)), index=index)

    def taken(cells: pd.Series) -> pd.Series:
        if cells.dtype == blank.dtype and not (cells != "").any():
            return blank
        return pd.Series(cells.array.take(at), index=index)

    columns = side_by_side(taken, [cells for _, cells in frame.items()])
    whole = dict(zip(frame.columns, columns, strict=True))
    return pd.DataFrame(whole, index=index, copy=False)
