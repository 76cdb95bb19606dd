"""A start offset: off the line by one amount from the first reading on.

Consistent with the priming volume counted in the start volume (up to 1.5 mL on older
sets), or with a late start or start-up lag (5 to 75 min, 0.05 to 0.8 mL): common
practice, no source. Delivery at the set rate afterwards tells it from a fault.
"""

import numpy as np
import pandas as pd

from analysis.delivery.batches import Array
from analysis.delivery.noise import FLOW_SD, LIMIT_SD
from analysis.delivery.runs import runs_of

PRIMING_ML, START_UP_ML = 1.5, 0.85

#: Readings beyond the limit, and readings that tell, before anything is said.
_FEWEST = 2

_NUMBERS = ["residual_ml", "sd_ml", "reading_sd_ml", "delivered_ml", "expected_ml"]


def start_offsets(lines: pd.DataFrame, at: Array) -> pd.DataFrame:
    """Find infusions off the line by one amount from the first reading on.

    Parameters
    ----------
    lines : DataFrame
        As `Delivery.lines`, in order of infusion and time: infusion_id, residual_ml,
        sd_ml, reading_sd_ml, delivered_ml, expected_ml, is_floored.
    at : array of int
        Rows that are readings of infusions without a delivery finding and not
        doubtful, in order.

    Returns
    -------
    DataFrame
        Indexed by infusion_id: amount_ml (residual of the first reading; negative is
        priming) and sd_ml of that reading.
    """
    at = at[_may_be(lines, at)]
    runs = runs_of(lines["infusion_id"].take(at))
    residual, sd, reading_sd, given, expected = (
        lines[name].to_numpy(float)[at] for name in _NUMBERS
    )
    amount = residual[runs.begins]
    own = runs.each(amount)
    spread = reading_sd**2 + runs.each(reading_sd[runs.begins]) ** 2
    spread += (FLOW_SD * (given - runs.each(given[runs.begins]))) ** 2
    # An emptied syringe can be no further ahead: its readings say nothing.
    tells = (expected > np.abs(own)) | ~lines["is_floored"].to_numpy(bool)[at]
    flat = np.abs(residual - own) <= LIMIT_SD * np.sqrt(spread)
    is_offset = (
        (amount >= -PRIMING_ML)
        & (amount <= START_UP_ML)
        & (runs.total(tells) >= _FEWEST)
        & ~runs.any(~flat & tells)
    )
    first = runs.begins[is_offset]
    return pd.DataFrame(
        {"amount_ml": amount[is_offset], "sd_ml": sd[first]},
        index=pd.Index(lines["infusion_id"].iloc[at[first]], name="infusion_id"),
    )


def _may_be(lines: pd.DataFrame, at: Array) -> Array:
    """Tell which rows are of infusions with enough readings beyond their limit.

    Few are: all else is asked of these alone.
    """
    runs = runs_of(lines["infusion_id"].take(at))
    residual, sd = (
        lines[name].to_numpy(float)[at] for name in ("residual_ml", "sd_ml")
    )
    beyond = np.abs(residual) > LIMIT_SD * sd
    return np.asarray(runs.each(runs.total(beyond) >= _FEWEST))
