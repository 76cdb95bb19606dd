"""What the other cells of a row say of whether the driver was running.

Log likelihood ratios are stated, common practice, no source. They can be switched off:
a reader may want to know what the volumes say alone.
"""

import numpy as np
import pandas as pd

from analysis.terms import Entry, YesNo

#: Rows at which a nurse stops the driver.
_ON_PURPOSE = (Entry.END, Entry.PAUSE, Entry.SYRINGE_CHANGE)

#: How often a stopped and a running driver are charted so at a check.
_NO_IF_STOPPED, _NO_IF_RUNNING = 0.45, 0.01
_ALARM_IF_STOPPED, _ALARM_IF_RUNNING = 0.30, 0.005

#: Words of an alarm that go with a driver that has stopped.
_STOPPED = r"occlu|block|pressure|obstruct|kink|batter|stopp|flat"

#: A syringe this near to empty rings and stands still by itself [mL].
_NEARLY_EMPTY_ML = 0.5


def stopped_log_ratio(checks: pd.DataFrame, observed_ml: pd.Series) -> pd.Series:
    """Weigh what a row says with the driver stopped against with it running.

    Parameters
    ----------
    checks : DataFrame
        Rows of the check log: entry, running, alarm.
    observed_ml : Series of float
        Volume read, on the index of `checks`.

    Returns
    -------
    Series of float
        Log likelihood ratio; 0 where nothing is recorded, for a syringe that is nearly
        empty, and at rows at which a driver is stopped on purpose.
    """
    running = checks["running"].mask(checks["entry"].isin(_ON_PURPOSE), "")
    said = np.select(
        [running == YesNo.NO, running == YesNo.YES],
        [
            np.log(_NO_IF_STOPPED / _NO_IF_RUNNING),
            np.log((1 - _NO_IF_STOPPED) / (1 - _NO_IF_RUNNING)),
        ],
        default=0.0,
    )
    alarm = checks["alarm"].str.contains(_STOPPED, case=False, regex=True)
    said = said + np.where(alarm, np.log(_ALARM_IF_STOPPED / _ALARM_IF_RUNNING), 0.0)
    is_empty = (observed_ml <= _NEARLY_EMPTY_ML).to_numpy()
    return pd.Series(np.where(is_empty, 0.0, said), index=checks.index)
