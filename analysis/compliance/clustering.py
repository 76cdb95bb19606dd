"""How much less units say that come from the same patients: one number a measure.

One intraclass correlation of a measure over all wards and months together: differences
between wards are in it as if they were between patients, so that the interval of a ward
is wider than it need be where wards differ (`steadyfall evaluate --intervals` says by
how much), and never too narrow for it.
"""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from analysis.intervals import FEWEST_CLUSTERS, anova_icc, few_clusters, hours_worth
from analysis.terms import ALL


def correlations(patients: pd.DataFrame, wanted: Mapping[int, str]) -> dict[str, float]:
    """Give the intraclass correlation of measures, over all wards and months together.

    Parameters
    ----------
    patients : DataFrame
        One row a patient with a unit judged or excluded: measure (its number),
        numerator and denominator.
    wanted : mapping of int to str
        Names of measures by number.

    Returns
    -------
    dict of str to float
        By name. NaN with fewer than ten patients; 0 where nothing can be told of
        clustering.
    """
    judged = patients[patients["denominator"] > 0].sort_values("measure", kind="stable")
    found = {}
    for number, name in wanted.items():
        ends = judged["measure"].searchsorted([number, number + 1])
        found[name] = _known_icc(judged.iloc[slice(*ends)])
    return found


def _known_icc(patients: pd.DataFrame) -> float:
    if len(patients) < FEWEST_CLUSTERS:
        return np.nan
    x, n = (patients[name].to_numpy() for name in ("numerator", "denominator"))
    icc = anova_icc(x, n)
    # Units all alike, or one a patient, show no clustering to widen for.
    return 0.0 if np.isnan(icc) else icc


def independent_units(sums: pd.DataFrame) -> pd.Series:
    """Give the number of independent units that each group of hours is worth.

    Parameters
    ----------
    sums : DataFrame
        One row a measure, ward and period, all of them among both: as for
        `hours_worth`.

    Returns
    -------
    Series of float
        On the index of `sums`; NaN where it is not known.

    Notes
    -----
    A variance over few patients is often too small by chance, which is seen in the
    coverage of the intervals (`steadyfall evaluate --intervals`): the hours that make
    one independent unit are never taken for fewer in a group than in all together.
    """
    own = hours_worth(sums) * few_clusters(sums["patients"])
    whole = (sums["ward"] == ALL) & (sums["period"] == ALL)
    every = pd.Series(
        (sums["denominator"] / own)[whole].to_numpy(), index=sums.loc[whole, "measure"]
    )
    each = sums["measure"].map(every)
    together = sums["denominator"] / each
    return own.where(own <= together, together.fillna(own))
