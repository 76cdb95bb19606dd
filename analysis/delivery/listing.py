"""What the delivery stage lists: events and start offsets."""

from collections.abc import Iterator, Sequence
from itertools import groupby
from operator import attrgetter

import numpy as np
import pandas as pd

from analysis.delivery.batches import Array
from analysis.delivery.decision import Event
from analysis.delivery.evidence import Said, speaking, words_beside
from analysis.delivery.quoted import Quoted, charted, quoted
from analysis.delivery.sentences import events_in_words, offsets_in_words
from analysis.delivery.start_offset import start_offsets
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

_STOPS = (str(FindingKind.STALL), str(FindingKind.STALL_TO_END))

#: Fields of an event that stand for themselves.
_ALONE = (
    "infusion_id",
    "first_visible",
    "largest",
    "volume_ml",
    "volume_low_ml",
    "volume_high_ml",
    "ratio",
    "probability",
    "kind_probability",
    "rival",
    "rival_probability",
)

#: Earliest and latest onset and end.
_WINDOWS = ("began_earliest", "began_latest", "ended_earliest", "ended_latest")

#: Normal limits of 95 %.
_Z = 1.96


def delivery_events(
    listing: Sequence[Event], lines: pd.DataFrame, at: Array, log: Log
) -> pd.DataFrame:
    """Write the finding of each listed infusion.

    Parameters
    ----------
    listing : sequence of Event
        What was decided of them.
    lines : DataFrame
        As `Delivery.lines`, in order of infusion and time.
    at : array of int
        Rows of the listed infusions as they were judged, in order.
    log : Log
        Gives what was charted.

    Returns
    -------
    DataFrame
        Delivery findings, without id and month, in order of their readings.
    """
    if not listing:
        return pd.DataFrame()
    read = quoted(lines, at)
    events = _by_columns(listing, read)
    known = log.infusions[_TOLD].loc[events["infusion_id"]]
    events = _with_windows(events, read, known)
    sentences = events_in_words(events, read, known)
    for place, words in _words_beside(events, read, log):
        sentences[place] += words
    findings = _findings(events, read, known, log)
    return findings.assign(sentence=pd.Series(sentences, dtype="str"))


def _words_beside(
    events: pd.DataFrame, read: Quoted, log: Log
) -> Iterator[tuple[int, str]]:
    """Quote what the chart says from the onset of each stop to the check after it.

    Gives the places of those events of which it says anything.
    """
    names = pd.Index(events["infusion_id"][events["kind"].isin(_STOPS)])
    rows = log.checks[list(Said._fields)]
    rows = rows[are_among(rows["infusion_id"], names).to_numpy(bool)]
    said = sorted(speaking(rows), key=attrgetter("infusion_id"))
    by_infusion = groupby(said, attrgetter("infusion_id"))
    said_of = {name: tuple(own) for name, own in by_infusion}
    at = pd.Index(events["infusion_id"]).get_indexer(pd.Index(list(said_of)))
    times = read.rows["checked_at"]
    until = read.runs.each(events["ended_latest"].to_numpy("datetime64[us]"))
    is_after = times.to_numpy("datetime64[us]") >= until
    after = read.first(is_after, np.full(len(events), -1))[at]
    ended = times.take(read.runs.begins[at] + after).tolist()
    for own, place, began, has_end, end in zip(
        said_of.values(),
        at.tolist(),
        events["began_earliest"].take(at).tolist(),
        (after >= 0).tolist(),
        ended,
        strict=True,
    ):
        yield place, words_beside(own, began, end if has_end else None)


def fixed_offsets(lines: pd.DataFrame, judged: Array, log: Log) -> pd.DataFrame:
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
    DataFrame
        Set-up findings, without id and month.
    """
    sure = judged[~lines["is_doubtful"].to_numpy(bool)[judged]]
    offsets = start_offsets(lines, sure)
    if offsets.empty:
        return pd.DataFrame()
    names = are_among(lines["infusion_id"].take(judged), offsets.index)
    read = quoted(lines, judged[names.to_numpy(bool)])
    amount, sd = (offsets[name].to_numpy() for name in ("amount_ml", "sd_ml"))
    until = read.column("elapsed_h")[read.runs.begins]
    events = pd.DataFrame(
        {
            "infusion_id": offsets.index,
            "kind": str(FindingKind.START_OFFSET),
            "first_visible": 0,
            "largest": 0,
            "volume_ml": -amount,
            "volume_low_ml": -amount - _Z * sd,
            "volume_high_ml": -amount + _Z * sd,
            "probability": np.nan,
            "kind_probability": np.nan,
            "rival": "",
            "rival_probability": np.nan,
            **dict(zip(_WINDOWS, (0.0, until, 0.0, until), strict=True)),
        }
    )
    known = log.infusions[_TOLD].loc[events["infusion_id"]]
    events = _with_windows(events, read, known)
    findings = _findings(events, read, known, log)
    sentences = offsets_in_words(events, read)
    return findings.assign(sentence=pd.Series(sentences, dtype="str"))


def _by_columns(listing: Sequence[Event], read: Quoted) -> pd.DataFrame:
    """Give events as a table, in the order of their readings."""
    columns = zip(*map(attrgetter(*_ALONE), listing), strict=True)
    hours = np.array([(*event.began_h, *event.ended_h) for event in listing])
    events = pd.DataFrame(
        {
            **dict(zip(_ALONE, columns, strict=True)),
            "kind": [str(event.kind) for event in listing],
            **dict(zip(_WINDOWS, hours.T, strict=True)),
        }
    )
    names = pd.Index(read.rows["infusion_id"].iloc[read.runs.begins])
    place = pd.Index(events["infusion_id"]).get_indexer(names)
    return events.take(place).reset_index(drop=True)


def _with_windows(
    events: pd.DataFrame, read: Quoted, known: pd.DataFrame
) -> pd.DataFrame:
    """Give `_WINDOWS` as times, no finer than the ward writes them, NaT if not known.

    With them stands which reading could first have shown the event.
    """
    largest = read.runs.begins + events["largest"].to_numpy()
    step = read.column("time_step_h")[largest]
    wide = events[list(_WINDOWS)].to_numpy() + step[:, None] * [-1, 1, -1, 1]
    seconds = pd.DataFrame(np.round(wide * 3600), columns=list(_WINDOWS))
    started = known["started_at"].reset_index(drop=True)
    events = events.assign(
        **{
            name: started + pd.to_timedelta(seconds[name], unit="s").dt.as_unit("us")
            for name in _WINDOWS
        }
    )
    seen = first_visible(
        read,
        events["first_visible"].to_numpy(),
        events["volume_ml"].to_numpy(),
        events["began_earliest"].to_numpy("datetime64[us]"),
    )
    return events.assign(first_visible=seen)


def _findings(
    events: pd.DataFrame, read: Quoted, known: pd.DataFrame, log: Log
) -> pd.DataFrame:
    """Write events, with their windows, as findings without a sentence."""
    begins, ends = read.runs.begins, read.runs.ends
    largest = begins + events["largest"].to_numpy()
    labels = read.rows.index
    first = charted(log, labels[begins + events["first_visible"].to_numpy()])
    is_offset = events["kind"] == str(FindingKind.START_OFFSET)
    group = np.where(is_offset, str(FindingGroup.SET_UP), str(FindingGroup.DELIVERY))
    return pd.DataFrame(
        {
            "ward": read.rows["ward"].take(largest).array,
            "patient_id": known["patient_id"].array,
            "infusion_id": events["infusion_id"],
            "driver_id": known["driver_id"].array,
            "group": pd.array(group, dtype="str"),
            "kind": events["kind"],
            "event_probability": events["probability"],
            "kind_probability": events["kind_probability"],
            "rival_kind": events["rival"],
            "rival_probability": events["rival_probability"],
            "anchor": events["kind"].where(is_offset, ""),
            "happened_at": known["started_at"].array,
            **{name: events[name] for name in _WINDOWS},
            "first_visible": first["checked_at"].array,
            "volume_ml": events["volume_ml"],
            "volume_low_ml": events["volume_low_ml"],
            "volume_high_ml": events["volume_high_ml"],
            "hours_equivalent": (
                events["volume_ml"].abs() / read.column("rate_ml_h")[largest]
            ),
            "first_source": first["source"].array,
            "last_source": charted(log, labels[ends])["source"].array,
        }
    )
