"""Wards: what may be said of each, knowing chance.

Fewer than ten wards are shown side by side with their intervals, in the order of their
names. Nothing is ranked, and "different" is said of none of them here.
"""

import numpy as np
import pandas as pd

from analysis.columns import COMPARISONS
from analysis.policy import Policy


def compare_wards(measures: pd.DataFrame, policy: Policy) -> pd.DataFrame:
    """Say of each ward and period whether a proportion may be shown.

    Parameters
    ----------
    measures : DataFrame
        The measures table.
    policy : Policy
        Gives the smallest numbers of patients and of units.

    Returns
    -------
    DataFrame
        The comparisons table. Proportion and limits are blank unless shown.
    """
    table = measures[[n for n in COMPARISONS.names if n != "shown"]].copy()
    judged = measures["units"] - measures["excluded"]
    few = (measures["patients"] < policy.smallest_group_patients) | (
        judged < policy.smallest_group_units
    )
    nothing = ~(measures["denominator"] > 0)
    table["shown"] = np.select(
        [nothing, few], ["nothing due", "counts only"], default="proportion"
    )
    hidden = table["shown"] != "proportion"
    table.loc[hidden, ["proportion", "low", "high"]] = np.nan
    return table[COMPARISONS.names].sort_values(
        ["measure", "period", "ward"], kind="stable", ignore_index=True
    )
