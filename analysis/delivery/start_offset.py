"""A start offset: off the line by one amount from the first reading on.

Consistent with the priming volume counted in the start volume (up to 1.5 mL on older
sets), or with a late start or start-up lag (5 to 75 min, 0.05 to 0.8 mL): common
practice, no source. Delivery at the set rate afterwards tells it from a fault.
"""

import numpy as np
import pandas as pd

from analysis.delivery.noise import FLOW_SD, LIMIT_SD

PRIMING_ML, START_UP_ML = 1.5, 0.85

#: Readings beyond the limit, and readings that tell, before anything is said.
_FEWEST = 2


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
        priming), sd_ml of that reading, and first and largest (index of the readings).
    """
    key = readings["infusion_id"]
    by = readings.groupby(key, sort=False)
    amount, sd = by["residual_ml"].transform("first"), by["sd_ml"].transform("first")
    later = readings["delivered_ml"] - by["delivered_ml"].transform("first")
    spread = np.sqrt(
        readings["reading_sd_ml"] ** 2
        + by["reading_sd_ml"].transform("first") ** 2
        + (FLOW_SD * later) ** 2
    )
    # An emptied syringe can be no further ahead: its readings say nothing.
    tells = (readings["expected_ml"] > amount.abs()) | ~readings["is_floored"]
    flat = (readings["residual_ml"] - amount).abs() <= LIMIT_SD * spread
    beyond = readings["residual_ml"].abs() > LIMIT_SD * readings["sd_ml"]
    found = pd.DataFrame(
        {
            "amount_ml": amount.groupby(key, sort=False).first(),
            "sd_ml": sd.groupby(key, sort=False).first(),
            "tells": tells.groupby(key, sort=False).sum(),
            "is_flat": (flat | ~tells).groupby(key, sort=False).all(),
            "beyond": beyond.groupby(key, sort=False).sum(),
        }
    )
    is_offset = (
        found["amount_ml"].between(-PRIMING_ML, START_UP_ML)
        & (found["tells"] >= _FEWEST)
        & (found["beyond"] >= _FEWEST)
        & found["is_flat"]
    )
    return found.loc[is_offset, ["amount_ml", "sd_ml"]]
