"""What changed since the month before, and whether it is more than chance."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats
from statsmodels.stats.multitest import multipletests

from analysis.audit import AuditResult
from analysis.intervals import CONFIDENCE


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """Changes of the report's month against the month before.

    Attributes
    ----------
    before : str
        The month before, YYYY-MM.
    beyond : DataFrame
        Rows of the comparisons table whose interval of the change leaves out 0, and
        stands_out: true where it is more than chance would bring among so many.
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
    mine = mine.assign(stands_out=_stands_out(mine))
    return Changes(
        before=str(pd.Period(result.month) - 1),
        beyond=mine[is_beyond],
        compared=len(mine),
        by_chance=len(mine) * (1 - CONFIDENCE),
    )


def _stands_out(changes: pd.DataFrame) -> np.ndarray:
    """Mark changes among which at most one in twenty is chance.

    Benjamini Y, Hochberg Y (1995) J R Stat Soc B 57:289-300. The probability of each is
    taken from its own limits, by the one nearer to no change.
    """
    if not len(changes):
        return np.zeros(0, dtype=bool)
    change = changes["change"].to_numpy(float)
    near = np.where(change > 0, changes["change_low"], changes["change_high"])
    wide = np.maximum(np.abs(change - near), np.finfo(float).tiny)
    z = stats.norm.isf((1 - CONFIDENCE) / 2) * np.abs(change) / wide
    chance = 2 * stats.norm.sf(z)
    found: np.ndarray = multipletests(chance, 1 - CONFIDENCE, method="fdr_bh")[0]
    return found
