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
_MOST = 3.0

#: Nothing takes more than this off the evidence of no event.
_LEAST = 1e-3


def slip_ratios(
    readings: pd.DataFrame, evidence: Evidence, none: pd.Series
) -> pd.Series:
    """Estimate how often readings are slips, last ones and others, over what is fitted.

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
    Series of float
        By whether a reading is its infusion's last: the EM estimate, each round with
        the probability that nothing but a slip happened, pulled to 1. Last readings are
        at most 1.
    """
    last = is_last(readings)
    slip = evidence.slips.clip(upper=1.0) * by_key(readings["infusion_id"], none)
    ratios = {}
    for kind, most in ((False, _MOST), (True, 1.0)):
        own = slip[last == kind]
        expected = float(readings.loc[last == kind, "slip_share"].sum()) + _WORTH_SLIPS
        ratio = 1.0
        for _ in range(_ROUNDS):
            found = float((ratio * own / (1 - own + ratio * own)).sum())
            ratio = min((found + _WORTH_SLIPS) / expected, most)
        ratios[kind] = ratio
    return pd.Series(ratios)


def is_last(readings: pd.DataFrame) -> pd.Series:
    """Tell the last reading of each infusion.

    Parameters
    ----------
    readings : DataFrame
        In order of infusion and time.

    Returns
    -------
    Series of bool
        On the index of `readings`.
    """
    return ~readings.duplicated("infusion_id", keep="last")


def with_slip_ratios(
    readings: pd.DataFrame, evidence: Evidence, ratios: pd.Series
) -> Evidence:
    """Give the evidence when last readings and others are slips that much more often.

    Parameters
    ----------
    readings : DataFrame
        Readings with noise, in order of infusion and time.
    evidence : Evidence
        Of those readings, with slips as often in last readings as in others.
    ratios : Series of float
        As given by `slip_ratios`.

    Returns
    -------
    Evidence
        Of no event with each slip weighed anew, as if there were one at most; that of
        events stays (a slip is seldom what they take).
    """
    ratio = is_last(readings).map(ratios)
    key = readings["infusion_id"]
    slip = evidence.slips.clip(upper=1.0)
    change = (slip * (ratio - 1)).groupby(key).sum()
    change = np.log((1 + change).clip(lower=_LEAST))
    slips = (ratio * slip / np.exp(by_key(key, change))).clip(upper=1.0)
    table = evidence.table.assign(none=evidence.table["none"] + change)
    return replace(evidence, table=table, slips=slips)
