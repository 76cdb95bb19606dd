"""A start offset: off the line by one amount from the first reading on.

Consistent with the priming volume counted in the start volume (up to 1.5 mL on older
sets), or with a late start or start-up lag (5 to 75 min, 0.05 to 0.8 mL): common
practice, no source. Delivery at the set rate afterwards tells it from a fault.
"""

import numpy as np
import pandas as pd

from analysis.delivery.noise import FLOW_SD, LIMIT_SD
from analysis.delivery.runs import runs_of

PRIMING_ML, START_UP_ML = 1.5, 0.85

#: Readings beyond the limit, and readings that tell, before anything is said.
_FEWEST = 2


_NUMBERS = ["residual_ml", "sd_ml", "reading_sd_ml", "delivered_ml", "expected_ml"]

#: Columns that `start_offsets` looks at.
LOOKED_AT = ["infusion_id", *_NUMBERS, "is_floored"]


def start_offsets(readings: pd.DataFrame) -> pd.DataFrame:
    """Find infusions off the line by one amount from the first reading on.

    Parameters
    ----------
    readings : DataFrame
        Readings of infusions without a delivery finding, without doubtful ones, in
        order of infusion and time: residual_ml, sd_ml, reading_sd_ml, delivered_ml,
        expected_ml, is_floored.

    Returns
    -------
    DataFrame
        Indexed by infusion_id: amount_ml (residual of the first reading; negative is
        priming) and sd_ml of that reading.
    """
    runs = runs_of(readings["infusion_id"])
    residual, sd, reading_sd, given, expected = (
        readings[name].to_numpy(float) for name in _NUMBERS
    )
    amount = residual[runs.begins]
    own = runs.each(amount)
    spread = reading_sd**2 + runs.each(reading_sd[runs.begins]) ** 2
    spread += (FLOW_SD * (given - runs.each(given[runs.begins]))) ** 2
    # An emptied syringe can be no further ahead: its readings say nothing.
    tells = (expected > np.abs(own)) | ~readings["is_floored"].to_numpy(bool)
    flat = np.abs(residual - own) <= LIMIT_SD * np.sqrt(spread)
    beyond = np.abs(residual) > LIMIT_SD * sd
    is_offset = (
        (amount >= -PRIMING_ML)
        & (amount <= START_UP_ML)
        & (runs.total(tells) >= _FEWEST)
        & (runs.total(beyond) >= _FEWEST)
        & ~runs.any(~flat & tells)
    )
    first = runs.begins[is_offset]
    return pd.DataFrame(
        {"amount_ml": amount[is_offset], "sd_ml": sd[first]},
        index=pd.Index(readings["infusion_id"].iloc[first], name="infusion_id"),
    )
