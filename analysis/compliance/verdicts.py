"""How units get their outcome: the first case that is true, in words."""

import numpy as np
import pandas as pd

from analysis.compliance.measure import judged_units


def first_true(
    index: pd.Index, *cases: tuple[pd.Series, str], default: str = ""
) -> pd.Series:
    """Give each row the word of the first case that is true for it.

    Parameters
    ----------
    index : Index, shape (n,)
        Rows.
    *cases : tuple of (Series of bool, str)
        Shape (n,) each, in the order of `index`, and its word.
    default : str
        Word where no case is true.

    Returns
    -------
    Series of str, shape (n,)
        On `index`.

    Examples
    --------
    >>> is_late = pd.Series([False, True])
    >>> first_true(is_late.index, (is_late, "late"), default="in time").tolist()
    ['in time', 'late']
    """
    if not cases:
        return pd.Series(str(default), index=index, dtype="str")
    conditions = [is_so.to_numpy(dtype=bool, na_value=False) for is_so, _ in cases]
    words = [str(word) for _, word in cases]
    chosen = np.select(conditions, words, default=str(default))
    return pd.Series(chosen, index=index, dtype="str")


def judged(
    units: pd.DataFrame, outcome: pd.Series, counted: str, reason: pd.Series
) -> pd.DataFrame:
    """Finish units of one count each; what is excluded has its reason as outcome.

    Parameters
    ----------
    units : DataFrame, shape (n, ...)
        As for `judged_units`.
    outcome : Series of str, shape (n,)
        From the measure's closed list.
    counted : str
        The outcome that counts.
    reason : Series of str, shape (n,)
        Why a unit is excluded; empty where it is not.

    Returns
    -------
    DataFrame
        Columns `UNIT_COLUMNS`.
    """
    said = outcome.mask(reason != "", reason)
    done = judged_units(units, said, counted=str(counted), reason=reason)
    return done.reset_index(drop=True)
