"""What other cells say beside a finding that volume was not delivered, quoted.

Alarm, running light and battery have been weighed (`evidence.py`): whoever reads the
finding sees what else it rests on. Words weigh nothing, and nothing is made of them:
whoever reads the chart decides.
"""

import re
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

import numpy as np
import pandas as pd

from analysis.delivery.evidence import FLAT_PCT, FOUND, ON_PURPOSE, tells_of_a_stop
from analysis.lookup import clock, each_once
from analysis.terms import YesNo

#: Words of a stop on purpose, of what was done to a driver that had stopped, and of
#: what was left in a syringe that was taken down.
_PAUSE = r"\bpaus|\bon hold\b|\bheld\b|\bsuspended\b|\bstopped (?:for|to)\b"
_DONE = rf"{FOUND}|restart|straighten|unkink|battery (?:chang|replac)|re-?sited"
_LEFT = (
    r"(?=.*\d\s*mls?\b).*"
    r"(?:\bdiscard|\bwast(?:e|ed|age)\b|\bresid(?:ue|ual)\b|\bleft (?:in|over)\b)"
)
_PAUSED, _SPOKEN_OF_LEFT = "of a pause", "of what was left"
_SPOKEN = (
    (re.compile(_PAUSE, re.IGNORECASE), _PAUSED),
    (re.compile(_DONE, re.IGNORECASE), "of the driver"),
    (re.compile(_LEFT, re.IGNORECASE), _SPOKEN_OF_LEFT),
)

#: Quotations of a kind in a sentence, and the longest of them.
_MOST_QUOTED, _LONGEST = 3, 60

#: A battery that shows so much more than before was changed [%]: it may rest, and its
#: gauge is coarse (common practice, no source).
_CHANGED_PCT = 20


class Said(NamedTuple):
    """A row that says something of a stop beside its volume.

    Attributes
    ----------
    infusion_id : str
        Whose it is.
    checked_at : Timestamp
        When it was made.
    action, note, alarm : str
        As charted; the alarm only where it tells of a stop or of the battery.
    is_stopped : bool
        Charted as not running, at no row at which a driver is stopped on purpose.
    battery_pct, battery_before_pct : float
        As shown, and as shown at the infusion's row before; NaN if not recorded.
    before_at : Timestamp
        When that was.
    """

    infusion_id: str
    checked_at: pd.Timestamp
    action: str = ""
    note: str = ""
    alarm: str = ""
    is_stopped: bool = False
    battery_pct: float = np.nan
    battery_before_pct: float = np.nan
    before_at: pd.Timestamp = pd.NaT  # type: ignore[assignment]


def said_beside(checks: pd.DataFrame) -> list[Said]:
    """Give the rows that say something of a stop beside their volume.

    Parameters
    ----------
    checks : DataFrame
        Rows of the check log, in order of time.

    Returns
    -------
    list of Said
        In the order of `checks`.
    """
    rows = checks.assign(
        alarm=each_once(checks["alarm"], _alarm_of_a_stop),
        is_stopped=(checks["running"] == YesNo.NO)
        & ~checks["entry"].isin(ON_PURPOSE)
        & ~checks["is_paused_after"],
    )
    shown = rows.loc[rows["battery_pct"].notna(), ["infusion_id", "battery_pct"]]
    before = shown.assign(at=rows["checked_at"]).groupby("infusion_id").shift()
    rows["battery_before_pct"] = before["battery_pct"].reindex(rows.index)
    rows["before_at"] = before["at"].reindex(rows.index)
    has = (rows["alarm"] != "") | rows["is_stopped"]
    has |= (rows["battery_pct"] <= FLAT_PCT) | _is_changed(rows)
    for name in ("action", "note"):
        has |= each_once(checks[name], _speaks, "bool")
    said = rows.loc[has, list(Said._fields)]
    return [Said._make(row) for row in said.itertuples(index=False, name=None)]


def _alarm_of_a_stop(alarm: str) -> str:
    """Keep an alarm of a stop, or of a battery that may lead to one."""
    return alarm if tells_of_a_stop(alarm) or "batter" in alarm.lower() else ""


def _is_changed(rows: pd.DataFrame) -> pd.Series:
    return rows["battery_pct"] - rows["battery_before_pct"] >= _CHANGED_PCT


def _speaks(cell: str) -> bool:
    return any(pattern.search(cell) for pattern, _ in _SPOKEN)


def words_beside(
    rows: Iterable[Said], began: pd.Timestamp, ended: pd.Timestamp | None
) -> str:
    """Quote what rows about a stop say beside their volumes.

    Parameters
    ----------
    rows : iterable of Said
        Rows of the infusion in order of time that say so (`said_beside`).
    began : Timestamp
        Earliest onset.
    ended : Timestamp or None
        The check after the latest end; None: to the last row.

    Returns
    -------
    str
        Sentences with a space before them, quoting at most three cells of a kind; a
        cell is quoted once. Empty where no row says so. What was left in a syringe may
        be said at any row after the onset.
    """
    since = [row for row in rows if row.checked_at >= began]
    about = [row for row in since if ended is None or row.checked_at <= ended]
    said = [*_alarms(about), *_lights(about), *_batteries(about)]
    quoted: set[tuple[pd.Timestamp, str]] = set()
    for pattern, words in _SPOKEN:
        cells = [
            (row.checked_at, text)
            for row in (since if words == _SPOKEN_OF_LEFT else about)
            for text in (row.action, row.note)
            if pattern.search(text) and (row.checked_at, text) not in quoted
        ][:_MOST_QUOTED]
        quoted |= set(cells)
        if cells:
            said.append(f"The chart speaks {words}: {_quoted(cells)}.")
    return "".join(f" {sentence}" for sentence in said)


def _quoted(cells: Sequence[tuple[pd.Timestamp, str]]) -> str:
    return ", ".join(
        f"\N{LEFT DOUBLE QUOTATION MARK}{text[:_LONGEST]}"
        f"\N{RIGHT DOUBLE QUOTATION MARK} at {clock(at)}"
        for at, text in cells
    )


def _alarms(rows: Sequence[Said]) -> Iterator[str]:
    if cells := [(row.checked_at, row.alarm) for row in rows if row.alarm]:
        yield f"Alarm charted: {_quoted(cells[:_MOST_QUOTED])}."


def _lights(rows: Sequence[Said]) -> Iterator[str]:
    if times := [clock(row.checked_at) for row in rows if row.is_stopped]:
        yield f"Charted as not running at {', '.join(times[:_MOST_QUOTED])}."


def _batteries(rows: Sequence[Said]) -> Iterator[str]:
    changed = [r for r in rows if r.battery_pct - r.battery_before_pct >= _CHANGED_PCT]
    for row in changed[:1]:
        yield (
            f"Battery {row.battery_before_pct:g} % at {clock(row.before_at)} and "
            f"{row.battery_pct:g} % at {clock(row.checked_at)}: changed in between."
        )
    for row in [r for r in rows if r.battery_pct <= FLAT_PCT][: 1 - len(changed[:1])]:
        yield f"Battery {row.battery_pct:g} % at {clock(row.checked_at)}."
