"""What the other cells of a row say of whether the driver was running.

Log likelihood ratios are stated, common practice, no source. They can be switched off
(`other_evidence` in the policy): a reader may want to know what the volumes say alone.
Words of a pause or of what was done to the driver weigh nothing; they are quoted beside
a finding.
"""

import re
from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
import pandas as pd

from analysis.lookup import clock, each_once
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
_ON_PURPOSE = (Entry.END, Entry.PAUSE, Entry.SYRINGE_CHANGE)

#: How often a stopped and a running driver are charted so at a check.
_NO_IF_STOPPED, _NO_IF_RUNNING = 0.45, 0.01
_ALARM_IF_STOPPED, _ALARM_IF_RUNNING = 0.30, 0.005
_FLAT_IF_STOPPED, _FLAT_IF_RUNNING = 0.10, 0.01
_FOUND_IF_STOPPED, _FOUND_IF_RUNNING = 0.20, 0.002

#: A battery this low may be why a driver stands still [%].
_FLAT_PCT = 5

#: Words of an action that say the driver was found standing still.
_FOUND = r"found (?:stopped|off|not running|alarming)|(?:was|is) not running"

#: Words of a stop on purpose, and of what was done to a driver that had stopped.
_PAUSE = r"\bpaus|\bon hold\b|\bheld\b|\bsuspended\b|\bstopped (?:for|to)\b"
_DONE = rf"{_FOUND}|restart|straighten|unkink|battery (?:chang|replac)|re-?sited"
_SPOKEN = (
    (re.compile(_PAUSE, re.IGNORECASE), "of a pause"),
    (re.compile(_DONE, re.IGNORECASE), "of the driver"),
)

#: Quotations in a sentence, and the longest of them.
_MOST_QUOTED, _LONGEST = 3, 60

#: Words of an alarm that go with a driver that has stopped.
_STOPPED = r"occlu|block|pressure|obstruct|kink|batter|stopp|flat"

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
    on_purpose = checks["entry"].isin(_ON_PURPOSE) | checks["is_paused_after"]
    running = checks["running"].mask(on_purpose, "")
    said = _ratio(running == YesNo.NO, _NO_IF_STOPPED, _NO_IF_RUNNING)
    said = said + _ratio(running == YesNo.YES, 1 - _NO_IF_STOPPED, 1 - _NO_IF_RUNNING)
    alarm = each_once(checks["alarm"], _rings, "bool")
    said = said + _ratio(alarm, _ALARM_IF_STOPPED, _ALARM_IF_RUNNING)
    is_flat = (checks["battery_pct"] <= _FLAT_PCT) & ~on_purpose
    said = said + _ratio(is_flat, _FLAT_IF_STOPPED, _FLAT_IF_RUNNING)
    found = each_once(checks["action"], _was_found, "bool") & ~on_purpose
    said = said + _ratio(found, _FOUND_IF_STOPPED, _FOUND_IF_RUNNING)
    is_empty = (observed_ml <= _NEARLY_EMPTY_ML).to_numpy()
    return said.mask(is_empty, 0.0)


def _rings(alarm: str) -> bool:
    return bool(re.search(_STOPPED, alarm, re.IGNORECASE))


def _was_found(action: str) -> bool:
    return bool(re.search(_FOUND, action, re.IGNORECASE))


def _ratio(is_so: pd.Series, if_stopped: float, if_running: float) -> pd.Series:
    """Give the log likelihood ratio of what is so; 0 elsewhere."""
    worth = float(np.log(if_stopped / if_running))
    return is_so.fillna(value=False).astype("float64").mul(worth)


class Said(NamedTuple):
    """A row that speaks of a pause or of what was done to the driver."""

    infusion_id: str
    checked_at: pd.Timestamp
    action: str
    note: str


def speaking(checks: pd.DataFrame) -> list[Said]:
    """Give the rows that say something of a pause or of what was done to the driver.

    Parameters
    ----------
    checks : DataFrame
        Rows of the check log.

    Returns
    -------
    list of Said
        In the order of `checks`.
    """
    has = np.zeros(len(checks), dtype=bool)
    for name in ("action", "note"):
        has |= each_once(checks[name], _speaks, "bool").to_numpy()
    rows = checks.loc[has, list(Said._fields)]
    return [Said._make(row) for row in rows.itertuples(index=False, name=None)]


def _speaks(cell: str) -> bool:
    return any(pattern.search(cell) for pattern, _ in _SPOKEN)


def words_beside(
    rows: Iterable[Said], began: pd.Timestamp, ended: pd.Timestamp | None
) -> str:
    """Quote what rows about a stop say of a pause or of what was done to the driver.

    Parameters
    ----------
    rows : iterable of Said
        Rows of the infusion in order of time that say so (`speaking`).
    began : Timestamp
        Earliest onset.
    ended : Timestamp or None
        The check after the latest end; None: to the last row.

    Returns
    -------
    str
        Sentences with a space before them, quoting at most three cells; empty where no
        row says so. Nothing is made of the words: whoever reads the chart decides.
    """
    about = [
        row
        for row in rows
        if row.checked_at >= began and (ended is None or row.checked_at <= ended)
    ]
    said = []
    for pattern, words in _SPOKEN:
        quoted = [
            f"\N{LEFT DOUBLE QUOTATION MARK}{text[:_LONGEST]}"
            f"\N{RIGHT DOUBLE QUOTATION MARK} at {clock(row.checked_at)}"
            for row in about
            for text in (row.action, row.note)
            if pattern.search(text)
        ][:_MOST_QUOTED]
        if quoted:
            said.append(f" The chart speaks {words}: {', '.join(quoted)}.")
    return "".join(said)
