"""What the other cells of a row say of whether the driver was running.

Log likelihood ratios are stated, common practice, no source. They can be switched off
(`other_evidence` in the policy): a reader may want to know what the volumes say alone.
Words of a pause or of what was done to the driver weigh nothing; they are quoted beside
a finding (`beside.py`).
"""

import re

import numpy as np
import pandas as pd

from analysis.lookup import each_once
from analysis.terms import Entry, YesNo

#: Columns that `stopped_log_ratio` looks at.
OTHER_CELLS = [
    "entry",
    "running",
    "alarm",
    "action",
    "battery_pct",
    "is_paused_after",
]

#: Rows at which a nurse stops the driver.
ON_PURPOSE = (Entry.END, Entry.PAUSE, Entry.SYRINGE_CHANGE)

#: How often a stopped and a running driver are charted so at a check.
_NO_IF_STOPPED, _NO_IF_RUNNING = 0.45, 0.01
_ALARM_IF_STOPPED, _ALARM_IF_RUNNING = 0.30, 0.005
_FLAT_IF_STOPPED, _FLAT_IF_RUNNING = 0.10, 0.01
_FOUND_IF_STOPPED, _FOUND_IF_RUNNING = 0.20, 0.002

#: A battery this low may be why a driver stands still [%].
FLAT_PCT = 5

#: Words of an action that say the driver was found standing still.
FOUND = r"found (?:stopped|off|not running|alarming)|(?:was|is) not running"

#: Words of an alarm that go with a driver that has stopped; it still runs where the
#: battery is low.
_STOPPED = (
    r"occlu|block|pressure|obstruct|kink|stopp|flat"
    r"|^(?!.*(?:\blow\b|\bwarn|\bweak)).*batter"
)

#: A syringe this near to empty rings and stands still by itself [mL].
_NEARLY_EMPTY_ML = 0.5


def stopped_log_ratio(checks: pd.DataFrame, observed_ml: pd.Series) -> pd.Series:
    """Weigh what a row says with the driver stopped against with it running.

    Parameters
    ----------
    checks : DataFrame
        Rows of the check log: `OTHER_CELLS`.
    observed_ml : Series of float
        Volume read, on the index of `checks`.

    Returns
    -------
    Series of float
        Log likelihood ratio; 0 where nothing is recorded, for a syringe that is nearly
        empty, and at rows at which a driver is stopped on purpose or on a documented
        pause.
    """
    on_purpose = checks["entry"].isin(ON_PURPOSE) | checks["is_paused_after"]
    running = checks["running"].mask(on_purpose, "")
    said = _ratio(running == YesNo.NO, _NO_IF_STOPPED, _NO_IF_RUNNING)
    said = said + _ratio(running == YesNo.YES, 1 - _NO_IF_STOPPED, 1 - _NO_IF_RUNNING)
    alarm = each_once(checks["alarm"], tells_of_a_stop, "bool")
    said = said + _ratio(alarm, _ALARM_IF_STOPPED, _ALARM_IF_RUNNING)
    is_flat = (checks["battery_pct"] <= FLAT_PCT) & ~on_purpose
    said = said + _ratio(is_flat, _FLAT_IF_STOPPED, _FLAT_IF_RUNNING)
    found = each_once(checks["action"], _was_found, "bool") & ~on_purpose
    said = said + _ratio(found, _FOUND_IF_STOPPED, _FOUND_IF_RUNNING)
    is_empty = (observed_ml <= _NEARLY_EMPTY_ML).to_numpy()
    return said.mask(is_empty, 0.0)


def tells_of_a_stop(alarm: str) -> bool:
    """Tell whether an alarm is one of a driver that has stopped.

    Parameters
    ----------
    alarm : str
        As charted.

    Returns
    -------
    bool
        True for words of a block, of a battery that is used up, or of a stop.
    """
    return bool(re.search(_STOPPED, alarm, re.IGNORECASE))


def _was_found(action: str) -> bool:
    return bool(re.search(FOUND, action, re.IGNORECASE))


def _ratio(is_so: pd.Series, if_stopped: float, if_running: float) -> pd.Series:
    """Give the log likelihood ratio of what is so; 0 elsewhere."""
    worth = float(np.log(if_stopped / if_running))
    return is_so.fillna(value=False).astype("float64").mul(worth)
