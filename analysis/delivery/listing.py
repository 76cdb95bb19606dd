"""What the delivery stage lists: events, doubtful readings and start offsets."""

from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import groupby
from operator import attrgetter
from typing import Any

import numpy as np
import pandas as pd

from analysis.delivery import sentences
from analysis.delivery.batches import Array
from analysis.delivery.beside import said_beside, words_beside
from analysis.delivery.decision import Event
from analysis.delivery.quoted import Reading, of_infusions, quoted
from analysis.delivery.runs import runs_of
from analysis.delivery.start_offset import LOOKED_AT, start_offsets
from analysis.delivery.visible import first_visible
from analysis.intake import Log
from analysis.lookup import are_among
from analysis.terms import FindingGroup, FindingKind

#: What findings tell of an infusion.
_TOLD = [
    "patient_id",
    "driver_id",
    "started_at",
    "start_volume_ml",
    "made_up_to_ml",
    "syringe_size_ml",
    "contents",
]

#: Findings of volume that was not delivered.
_BEHIND = (FindingKind.STALL, FindingKind.STALL_TO_END, FindingKind.SLOW)

#: Normal limits of 95 %.
_Z = 1.96


def doubtful_readings(
    lines: pd.DataFrame, is_reading: Array, log: Log
) -> Iterator[dict[str, object]]:
    """Write a finding for each doubtful reading.

    Parameters
    ----------
    lines : DataFrame
        As `Delivery.lines`, in order of infusion and time.
    is_reading : array of bool
        Which of them are readings of running drivers.
    log : Log
        Gives what was charted.

    Yields
    ------
    dict
        Charting findings, without id and month.
    """
    runs = runs_of(lines["infusion_id"])
    at = np.flatnonzero(is_reading)
    own = runs_of(runs.each(np.arange(len(runs.begins)))[at])
    is_doubtful = lines["is_doubtful"].to_numpy(bool)[at]
    # A doubtful reading is quoted beside the next one.
    is_quoted = is_doubtful | own.shift(is_doubtful, 1, fill=False)
    for rows in quoted(lines.take(at[is_quoted]), log).values():
        for position, row in enumerate(rows):
            if row.is_doubtful:
                yield sentences.doubtful_reading(rows, position)


def delivery_events(
    listing: Sequence[Event], read: pd.DataFrame, log: Log
) -> Iterator[dict[str, object]]:
    """Write the finding of each listed infusion.

    Parameters
    ----------
    listing : sequence of Event
        What was decided of them.
    read : DataFrame
        Rows of `Delivery.lines` as they were judged, in order of infusion and time.
    log : Log
        Gives what was charted.

    Yields
    ------
    dict
        Delivery findings, without id and month.
    """
    names = pd.Index([event.infusion_id for event in listing])
    rows_of = quoted(of_infusions(read, names), log)
    behind = pd.Index([e.infusion_id for e in listing if e.kind in _BEHIND])
    said = sorted(
        said_beside(of_infusions(log.checks, behind)), key=attrgetter("infusion_id")
    )
    said_of = {
        name: tuple(own) for name, own in groupby(said, attrgetter("infusion_id"))
    }
    for finding, event in zip(_findings(listing, rows_of, log), listing, strict=True):
        rows = said_of.get(event.infusion_id)
        if rows is not None:
            until = finding["ended_latest"]
            after = (
                row.checked_at
                for row in rows_of[event.infusion_id]
                if row.checked_at >= until
            )
            words = words_beside(rows, finding["began_earliest"], next(after, None))
            finding["sentence"] = f"{finding['sentence']}{words}"
        yield finding


def fixed_offsets(
    lines: pd.DataFrame, judged: Array, log: Log
) -> Iterator[dict[str, object]]:
    """Write a finding for each start offset of an infusion that is not listed.

    Parameters
    ----------
    lines : DataFrame
        As `Delivery.lines`, in order of infusion and time.
    judged : array of int
        Where those stand that were judged, of infusions that are not listed, in order.
    log : Log
        Gives what was charted.

    Returns
    -------
    iterator of dict
        Set-up findings, without id and month.
    """
    sure = judged[~lines["is_doubtful"].to_numpy(bool)[judged]]
    offsets = start_offsets(lines[LOOKED_AT].take(sure))
    names = are_among(lines["infusion_id"].take(judged), offsets.index)
    rows_of = quoted(lines.take(judged[names.to_numpy(bool)]), log)
    events = [
        _offset(str(name), amount, sd, rows_of[str(name)])
        for name, amount, sd in offsets.itertuples(name=None)
    ]
    return _findings(events, rows_of, log)


def _offset(
    infusion_id: str, amount_ml: float, sd_ml: float, rows: Sequence[Reading]
) -> Event:
    hours = (0.0, rows[0].elapsed_h)
    return Event(
        infusion_id=infusion_id,
        kind=FindingKind.START_OFFSET,
        began_h=hours,
        ended_h=hours,
        first_visible=0,
        largest=0,
        volume_ml=-amount_ml,
        volume_low_ml=-amount_ml - _Z * sd_ml,
        volume_high_ml=-amount_ml + _Z * sd_ml,
        slips=np.zeros(len(rows)),
    )


def _findings(
    events: Sequence[Event], rows_of: Mapping[str, Sequence[Reading]], log: Log
) -> Iterator[dict[str, Any]]:
    """Write events as findings."""
    names = [event.infusion_id for event in events]
    known = log.infusions.loc[names, _TOLD]
    step = [rows_of[event.infusion_id][event.largest].time_step_h for event in events]
    hours = np.array([[*event.began_h, *event.ended_h] for event in events])
    windows = _clocks(known["started_at"], hours.reshape(-1, 4), np.array(step))
    for event, window, infusion in zip(
        events, windows, known.to_dict("records"), strict=True
    ):
        rows = rows_of[event.infusion_id]
        seen = first_visible(event, rows, window["began_earliest"])
        if seen != event.first_visible:
            event = replace(event, first_visible=seen)  # noqa: PLW2901 - the same event
        yield {**_finding(event, rows, infusion), **window}


def _finding(
    event: Event, rows: Sequence[Reading], infusion: Mapping[Hashable, Any]
) -> dict[str, Any]:
    is_offset = event.kind is FindingKind.START_OFFSET
    at, seen = rows[event.largest], rows[event.first_visible]
    return {
        "ward": at.ward,
        "patient_id": infusion["patient_id"],
        "infusion_id": event.infusion_id,
        "driver_id": infusion["driver_id"],
        "group": str(FindingGroup.SET_UP if is_offset else FindingGroup.DELIVERY),
        "kind": str(event.kind),
        "event_probability": event.probability,
        "kind_probability": event.kind_probability,
        "rival_kind": event.rival,
        "rival_probability": event.rival_probability,
        "anchor": str(event.kind) if is_offset else "",
        "happened_at": infusion["started_at"],
        "first_visible": seen.checked_at,
        "volume_ml": event.volume_ml,
        "volume_low_ml": event.volume_low_ml,
        "volume_high_ml": event.volume_high_ml,
        "hours_equivalent": abs(event.volume_ml) / at.rate_ml_h,
        "first_source": seen.cited,
        "last_source": rows[-1].cited,
        "sentence": sentences.event_in_words(event, rows, infusion),
    }


def _clocks(
    started: pd.Series, hours: np.ndarray, step_h: np.ndarray
) -> list[dict[str, Any]]:
    """Give began and ended as times, no finer than the ward writes them.

    `hours` are those of earliest and latest onset and end, NaN where not known.
    """
    wide = hours + step_h[:, None] * np.array([-1, 1, -1, 1])
    names = ("began_earliest", "began_latest", "ended_earliest", "ended_latest")
    clocks = {
        name: started + pd.to_timedelta(np.round(wide[:, at] * 3600), unit="s")
        for at, name in enumerate(names)
    }
    rows = zip(*(clocks[name].tolist() for name in names), strict=True)
    return [dict(zip(names, row, strict=True)) for row in rows]
