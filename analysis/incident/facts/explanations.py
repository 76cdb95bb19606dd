"""Explanations in order of probability, and what the rows themselves say for them."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from analysis.delivery.close import Explained
from analysis.incident.facts.course import delivery_finding
from analysis.incident.possible import POSSIBLE, WORDS, Possible
from analysis.incident.review import Incident
from analysis.terms import Entry, SiteSign, SolutionAppearance

#: Explanations less probable than this are named, and not set out.
WORTH_SETTING_OUT = 0.02

#: A reading more likely a slip than not, by an explanation.
_SLIP = 0.5

#: A battery this low is worth naming [%]; common practice, no source.
_LOW_PCT = 20

_ON_PURPOSE = (Entry.PAUSE, Entry.RESUME, Entry.RATE_CHANGE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """One explanation of the readings.

    Attributes
    ----------
    kind, words : str
        A kind of delivery event, or none; and in words.
    probability : float
        P(this | readings, model, prior).
    ratio : float
        Delivered over set volume where constant throughout; NaN.
    slips : tuple of (Timestamp, str, float)
        Time, source and volume [mL] of the readings it takes for charting slips.
    possible : tuple of Possible
        What may lie behind it, and what would confirm each.
    is_set_out : bool
        Probable enough to be set out.
    """

    kind: str
    words: str
    probability: float
    ratio: float
    slips: tuple[tuple[pd.Timestamp, str, float], ...]
    possible: tuple[Possible, ...]
    is_set_out: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """What a row says that bears on an explanation."""

    at: pd.Timestamp
    source: str
    said: str


def explanations(incident: Incident) -> tuple[Explanation, ...]:
    """Give every explanation of the readings.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    tuple of Explanation
        The likeliest first; empty where the infusion cannot be evaluated.
    """
    sources = incident.rows["source"]
    return tuple(
        Explanation(
            kind=one.kind,
            words=WORDS[one.kind],
            probability=one.probability,
            ratio=one.event.ratio if one.event is not None else float("nan"),
            slips=_slips(one, sources),
            possible=POSSIBLE[one.kind],
            is_set_out=place == 0 or one.probability >= WORTH_SETTING_OUT,
        )
        for place, one in enumerate(incident.explained)
    )


def _slips(
    one: Explained, sources: pd.Series
) -> tuple[tuple[pd.Timestamp, str, float], ...]:
    doubtful = one.readings[one.readings["slip_probability"] > _SLIP]
    named = doubtful.assign(source=sources.reindex(doubtful.index))
    told = named[["checked_at", "source", "observed_ml"]]
    return tuple(told.itertuples(index=False, name=None))


def traces(incident: Incident) -> tuple[Trace, ...]:
    """Give what rows say that bears on what happened.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    tuple of Trace
        Alarms, actions, a driver not running, a low battery, pauses and rate changes,
        the look of the solution, site signs, lines and cannulas changed: of an infusion
        with a finding from its earliest onset to the check after its latest end, else
        of the whole infusion. In order of time.
    """
    rows = incident.rows
    finding = delivery_finding(incident)
    if finding is not None:
        # The check after the latest end is the first at which somebody saw it move.
        after = rows.loc[rows["checked_at"] >= finding["ended_latest"], "checked_at"]
        last = after.min() if len(after) else rows["checked_at"].max()
        rows = rows[
            (rows["checked_at"] >= finding["began_earliest"])
            & (rows["checked_at"] <= last)
        ]
    return tuple(
        Trace(at=row["checked_at"], source=row["source"], said=said)
        for row in rows.to_dict("records")
        for said in _said(row)
    )


def _said(row: Mapping[Any, Any]) -> Iterator[str]:
    if row["alarm"]:
        yield f"alarm: {row['alarm']}"
    if row["action"]:
        yield f"action: {row['action']}"
    if row["running"] == "no" and row["entry"] not in (Entry.END, Entry.PAUSE):
        yield "not running"
    if row["battery_pct"] <= _LOW_PCT:
        yield f"battery {row['battery_pct']:g} %"
    if row["entry"] in _ON_PURPOSE:
        yield str(row["entry"]).replace("_", " ") + " charted"
    yield from _said_of_line(row)


def _said_of_line(row: Mapping[Any, Any]) -> Iterator[str]:
    if row["solution_appearance"] not in ("", SolutionAppearance.CLEAR):
        yield f"solution {row['solution_appearance']}"
    if row["site_signs"] not in ("", SiteSign.NONE):
        yield "site signs: " + str(row["site_signs"]).replace(";", ", ")
    if row["line_changed"] == "yes":
        yield "extension set changed"
    if row["site_changed"] == "yes":
        yield "cannula re-sited"
