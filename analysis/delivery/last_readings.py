"""How often the last reading of an infusion is a slip, beside the others.

A last reading that is a slip has no reading after it that would tell it from a stop:
half of all false flags would be such if it were wrong as often as others are. It may
well be: but then more last readings would be off the line than events in the last gap
explain. The log says which.
"""

from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.delivery.scan import Evidence
from analysis.lookup import by_key

#: Slips by which a log's last readings are thought to be like its others.
_WORTH_SLIPS = 4.0
_ROUNDS = 60


def last_slip_ratio(
    readings: pd.DataFrame, evidence: Evidence, none: pd.Series
) -> float:
    """Estimate the share of slips among last readings, over that among the others.

    Parameters
    ----------
    readings : DataFrame
        Readings with noise, in order of infusion and time.
    evidence : Evidence
        Of those readings (`scan`).
    none : Series of float
        Probability of no event by infusion_id.

    Returns
    -------
    float
        At most 1: the EM estimate, each round with the probability that nothing but a
        slip happened, pulled to 1.
    """
    last = ~readings.duplicated("infusion_id", keep="last")
    slip = evidence.slips[last] * by_key(readings.loc[last, "infusion_id"], none)
    expected = float(readings.loc[last, "slip_share"].sum()) + _WORTH_SLIPS
    ratio = 1.0
    for _ in range(_ROUNDS):
        found = (ratio * slip / (1 - slip + ratio * slip)).sum()
        ratio = (float(found) + _WORTH_SLIPS) / expected
    return min(ratio, 1.0)


def with_last_slips(
    readings: pd.DataFrame, evidence: Evidence, ratio: float
) -> Evidence:
    """Give the evidence when last readings are slips less often than others.

    Parameters
    ----------
    readings : DataFrame
        Readings with noise, in order of infusion and time.
    evidence : Evidence
        Of those readings, with slips as often in last readings as in others.
    ratio : float
        As given by `last_slip_ratio`.

    Returns
    -------
    Evidence
        Of no event with the slip of the last reading taken down; that of events stays
        (a slip is seldom what they take).
    """
    last = ~readings.duplicated("infusion_id", keep="last")
    slip = evidence.slips[last].clip(upper=1.0)
    left = 1 - slip * (1 - ratio)
    slips = evidence.slips.copy()
    slips[last] = ratio * slip / left
    change = np.log(left).set_axis(readings.loc[last, "infusion_id"])
    table = evidence.table.assign(none=evidence.table["none"] + change)
    return replace(evidence, table=table, slips=slips)
