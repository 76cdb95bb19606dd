"""How units get their outcome: the first case that is true, in words."""

import numpy as np
import pandas as pd

from analysis.compliance.measure import WORDS, judged_units, words


def first_true(
    index: pd.Index, *cases: tuple[pd.Series, str], default: str = ""
) -> pd.Series:
    """Give each row the word of the first case that is true for it.

    Parameters
    ----------
    index : Index, shape (n,)
        Rows.
    *cases : tuple of (Series of bool, str)
        Shape (n,) each, in the order of `index`, and its word of a closed list.
    default : str
        Word where no case is true.

    Returns
    -------
    Series of category, shape (n,)
        On `index`, of the type `WORDS`.

    Examples
    --------
    >>> is_late = pd.Series([False, True])
    >>> first_true(is_late.index, (is_late, "late"), default="in time").tolist()
    ['in time', 'late']
    """
    codes = np.full(len(index), _PLACE[str(default)], dtype="int8")
    for is_so, word in reversed(cases):
        codes[is_so.to_numpy(dtype=bool, na_value=False)] = _PLACE[str(word)]
    return pd.Series(pd.Categorical.from_codes(codes, dtype=WORDS), index=index)


_PLACE = {word: code for code, word in enumerate(WORDS.categories)}


def judged(
    units: pd.DataFrame, outcome: pd.Series, counted: str, reason: pd.Series
) -> pd.DataFrame:
    """Finish units of one count each; what is excluded has its reason as outcome.

    Parameters
    ----------
    units : DataFrame, shape (n, ...)
        As for `judged_units`.
    outcome : Series of category, shape (n,)
        From the measure's closed list, of the type `WORDS`.
    counted : str
        The outcome that counts.
    reason : Series of category, shape (n,)
        Why a unit is excluded; empty where it is not.

    Returns
    -------
    DataFrame
        Columns `UNIT_COLUMNS`.
    """
    why = words(reason)
    said = words(outcome).mask(why != "", why)
    done = judged_units(units, said, counted=str(counted), reason=why)
    return done.reset_index(drop=True)
