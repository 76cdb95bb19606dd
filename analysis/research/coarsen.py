"""Coarsening: whatever words few patients share are written as ``other``."""

from typing import Final

import pandas as pd

OTHER: Final = "other"


def coarsen(rows: pd.DataFrame, columns: list[str], least: int) -> pd.DataFrame:
    """Write words as ``other`` until every combination has enough patients.

    Parameters
    ----------
    rows : DataFrame
        patient, and words in `columns`, the one to give up first last.
    columns : list of str
        What makes a combination.
    least : int
        Patients that each combination must have; all rows together have as many.

    Returns
    -------
    DataFrame
        Of the same rows. Of combinations with fewer patients the last column is given
        up, then the one before it, and so on; what then still has too few is joined by
        the smallest of the others.

    Notes
    -----
    Local recoding for k-anonymity: Samarati P, Sweeney L (1998), Protecting privacy
    when disclosing information (from memory).

    Examples
    --------
    >>> rows = pd.DataFrame({"patient": list("abcd"), "ward": list("AABC")})
    >>> coarsen(rows, ["ward"], 2)["ward"].tolist()
    ['A', 'A', 'other', 'other']
    """
    out = rows.copy()
    for column in reversed(columns):
        few = _patients(out, columns) < least
        out[column] = out[column].mask(few, OTHER)
    while True:
        counts = _patients(out, columns)
        if not (counts < least).any():
            return out
        # All that is left too small stands as other in every column.
        rest = counts[counts >= least]
        if not len(rest):
            out[columns] = OTHER
            return out
        smallest = out.loc[rest.index, columns].assign(patients=rest)
        order = smallest.sort_values(["patients", *columns], kind="stable").iloc[0]
        joins = (out[columns] == order[columns]).all(axis=1)
        out.loc[joins, columns] = OTHER


def _patients(rows: pd.DataFrame, columns: list[str]) -> pd.Series:
    """Give each row the number of patients that share its combination."""
    group = rows.groupby(columns, sort=False).ngroup()
    pairs = pd.DataFrame({"group": group, "patient": rows["patient"]})
    counts = pairs.drop_duplicates().groupby("group").size()
    return group.map(counts)
