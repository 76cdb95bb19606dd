"""What changed since the month before, and whether it is more than chance."""

from dataclasses import dataclass

import pandas as pd

from analysis.audit import AuditResult

#: Of so many changes that are chance alone, one lies outside its 95 % interval.
ONE_IN = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """Changes of the report's month against the month before.

    Attributes
    ----------
    before : str
        The month before, YYYY-MM.
    beyond : DataFrame
        Rows of the comparisons table whose interval of the change leaves out 0.
    compared : int
        Changes that have an interval.
    by_chance : float
        How many of them would leave out 0 by chance alone.
    """

    before: str
    beyond: pd.DataFrame
    compared: int
    by_chance: float


def changes(result: AuditResult) -> Changes:
    """Pick the changes that are more than chance, measure by measure and ward by ward.

    Parameters
    ----------
    result : AuditResult
        The audit. Measures at another grace, and how charts are kept, take no part.

    Returns
    -------
    Changes
        In the order of the measures, all wards together first.
    """
    table = result.comparisons
    mine = table[
        (table["period"] == result.month)
        & table[["change", "change_low", "change_high"]].notna().all(axis=1)
        & ~table["measure"].str.contains("_grace_")
    ]
    is_beyond = (mine["change_low"] > 0) | (mine["change_high"] < 0)
    return Changes(
        before=str(pd.Period(result.month) - 1),
        beyond=mine[is_beyond],
        compared=len(mine),
        by_chance=len(mine) / ONE_IN,
    )
