"""How much less units say that come from the same patients: one number a measure.

A ward's own limits rest on how its patients differ from each other: patients are held
against the proportion of their ward. What makes wards differ is no chance that the
figure of one of them is subject to; taken for it, it made limits up to half as wide
again as they should be (`steadyfall evaluate --intervals`). Limits of all wards
together rest on how patients differ from the proportion of all.
"""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from analysis.intervals import (
    FEWEST_CLUSTERS,
    ROUNDING,
    anova_icc,
    few_clusters,
    hours_worth,
)
from analysis.terms import ALL

#: Degrees of freedom from which patients are told from wards; with fewer, all wards
#: are taken for one, which makes limits wider.
_FEWEST_WITHIN = 30


def correlations(
    every: pd.DataFrame, of_wards: pd.DataFrame, wanted: Mapping[int, str]
) -> pd.DataFrame:
    """Give the intraclass correlation of measures, over all wards and months together.

    Parameters
    ----------
    every : DataFrame
        One row a patient with a unit judged or excluded: measure (its number),
        numerator and denominator.
    of_wards : DataFrame
        One row a patient and ward: also ward (its number).
    wanted : mapping of int to str
        Names of measures by number.

    Returns
    -------
    DataFrame
        Columns as named in `wanted`. ``all``: patients are held against the proportion
        of all; ``ward``: against that of their ward. NaN with fewer than ten patients
        in all; 0 where nothing can be told of clustering.
    """
    every, wards = (
        level[level["denominator"] > 0].sort_values("measure", kind="stable")
        for level in (every, of_wards)
    )
    found = {}
    for number, name in wanted.items():
        whole, own = (
            part.iloc[slice(*part["measure"].searchsorted([number, number + 1]))]
            for part in (every, wards)
        )
        ward = own["ward"].to_numpy()
        if len(whole) < FEWEST_CLUSTERS:
            found[name] = (np.nan, np.nan)
            continue
        of_all = _known_icc(whole, None)
        is_few = len(own) - len(np.unique(ward)) < _FEWEST_WITHIN
        found[name] = (of_all, of_all if is_few else _known_icc(own, ward))
    return pd.DataFrame(found, index=["all", "ward"], dtype="float64")


def _known_icc(patients: pd.DataFrame, wards: np.ndarray | None) -> float:
    x, n = (patients[name].to_numpy() for name in ("numerator", "denominator"))
    icc = anova_icc(x, n, wards)
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
    one independent unit are never taken for fewer in a group than in all together, and
    in a ward for fewer than in wards on average.
    """
    own = hours_worth(sums) * few_clusters(sums["patients"])
    is_all, is_whole = sums["ward"] == ALL, sums["period"] == ALL
    whole = is_all & is_whole
    every = pd.Series(
        (sums["denominator"] / own)[whole].to_numpy(), index=sums.loc[whole, "measure"]
    )
    each = sums["measure"].map(every)
    of_ward = sums["measure"].map(_hours_a_unit(sums[~is_all & is_whole]))
    each = each.mask(~is_all & of_ward.notna(), of_ward)
    together = sums["denominator"] / each
    return own.where(own <= together, together.fillna(own))


def _hours_a_unit(wards: pd.DataFrame) -> pd.Series:
    """Give the hours that make one independent unit in wards on average, by measure.

    `hours_worth` with each patient held against the ratio of their own ward, of which
    they are a part: what their own hours pull it towards them is put back. NaN where
    there are too few patients to tell them from wards.
    """
    wards = wards[wards["denominator"] > 0]
    hours = wards["denominator"]
    ratio = wards["numerator"] / hours
    parts = pd.DataFrame(
        {
            "measure": wards["measure"],
            "squares": wards["xx"] - 2 * ratio * wards["xn"] + ratio**2 * wards["nn"],
            "spread": ratio * (1 - ratio) * (hours - wards["nn"] / hours),
            "nn": wards["nn"],
            "freedom": wards["patients"] - 1,
        }
    )
    sums = parts.groupby("measure").sum()
    is_known = (
        (sums["freedom"] >= _FEWEST_WITHIN)
        & (sums["spread"] > 0)
        & (sums["squares"] > ROUNDING * sums["nn"])
    )
    sums = sums[is_known]
    return sums["squares"] / sums["spread"] / few_clusters(sums["freedom"] + 1)
