"""Findings of the delivery stage in words: consistent with, never cause or blame."""

import math
from collections.abc import Hashable, Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd

from analysis.delivery.batches import Array
from analysis.delivery.contents import amounts_in_words
from analysis.delivery.noise import LIMIT_SD
from analysis.delivery.quoted import Quoted
from analysis.delivery.syringe_sizes import sizes_in_words
from analysis.lookup import clocks
from analysis.terms import FindingKind

#: Columns of a finding before it has an id and a month; anchor and happened_at make
#: both, the rest are those of the findings table.
FINDING_COLUMNS = [
    "ward",
    "patient_id",
    "infusion_id",
    "driver_id",
    "group",
    "kind",
    "event_probability",
    "kind_probability",
    "rival_kind",
    "rival_probability",
    "anchor",
    "happened_at",
    "began_earliest",
    "began_latest",
    "ended_earliest",
    "ended_latest",
    "first_visible",
    "volume_ml",
    "volume_low_ml",
    "volume_high_ml",
    "hours_equivalent",
    "first_source",
    "last_source",
    "sentence",
]

_IN_WORDS: dict[str, str] = {
    FindingKind.STALL: "delivery that stopped for a while",
    FindingKind.STALL_TO_END: "delivery that stopped and is not seen to move again",
    FindingKind.SLOW: "slow delivery throughout",
    FindingKind.OVER_DELIVERY: "fast delivery throughout",
    FindingKind.SURGE: "an excess given within one gap between checks",
    FindingKind.VOLUME_RISE: "a volume that rose",
}

#: Decimals of volumes and hours in findings.csv.
VOLUME_DECIMALS = 2

#: A rival less probable than this is not named.
_WORTH_SAYING = 0.02


def events_in_words(
    events: pd.DataFrame, read: Quoted, infusions: pd.DataFrame
) -> list[str]:
    """Say what the readings are consistent with, in numbers a nurse can check.

    Parameters
    ----------
    events : DataFrame, m rows
        Delivery events, in the order of their readings: kind, and the numbers of
        `Event`.
    read : Quoted
        Their readings.
    infusions : DataFrame, m rows
        Their infusions: started_at, contents, volumes made up to, syringe_size_ml.

    Returns
    -------
    list of str, length m
        Two or three sentences each.
    """
    kind, volume = (events[name].to_numpy() for name in ("kind", "volume_ml"))
    rose = np.flatnonzero(kind == str(FindingKind.VOLUME_RISE))
    is_other = kind != str(FindingKind.VOLUME_RISE)
    rate = read.column("rate_ml_h")[read.runs.begins + events["largest"].to_numpy()]
    sure = _how_sure(events, read)
    said = np.empty(len(events), dtype=object)
    said[rose] = list(_rises(read, infusions["started_at"], rose))
    said[is_other] = [
        f"{furthest} {event}{outcome}{amounts}"
        for furthest, event, outcome, amounts in zip(
            _furthest(read, volume, is_other),
            _of_set_rate(events, rate, infusions["syringe_size_ml"], is_other),
            _outcomes(read, volume, is_other),
            _amounts(events, infusions, is_other),
            strict=True,
        )
    ]
    return [
        f"{text} {probability}" for text, probability in zip(said, sure, strict=True)
    ]


def offsets_in_words(events: pd.DataFrame, read: Quoted) -> list[str]:
    """Say what start offsets are consistent with.

    Parameters
    ----------
    events : DataFrame, m rows
        Start offsets, in the order of their readings: volume_ml.
    read : Quoted
        Their readings.

    Returns
    -------
    list of str, length m
        Three sentences each.
    """
    volume = events["volume_ml"].to_numpy()
    every = np.ones(len(events), dtype=bool)
    early = "the priming volume counted in the start volume"
    late = "a start somewhat later than charted, or start-up lag"
    return [
        f"{furthest} A fixed offset from the first reading on, with delivery at the "
        f"set rate afterwards. Consistent with {early if is_early else late}."
        for furthest, is_early in zip(
            _furthest(read, volume, every), (volume > 0).tolist(), strict=True
        )
    ]


def _of_set_rate(
    events: pd.DataFrame, rate: Array, size_ml: pd.Series, chosen: Array
) -> Iterator[str]:
    """Say how much each event is worth, and what it is consistent with."""
    columns = (
        events[name].to_numpy()[chosen] for name in ("kind", "volume_ml", "ratio")
    )
    kinds, volumes, ratios = (column.tolist() for column in columns)
    sizes = size_ml.to_numpy(float)[chosen].tolist()
    for kind, volume, per_h, ratio, size in zip(
        kinds, volumes, rate[chosen].tolist(), ratios, sizes, strict=True
    ):
        # As the tables have it: rounded twice, a sentence and a table would differ.
        off = round(abs(volume), VOLUME_DECIMALS)
        hours = round(abs(volume) / per_h, VOLUME_DECIMALS)
        whole = (
            "If it stood still until the infusion's end"
            if kind == FindingKind.STALL_TO_END
            else "Over the whole event, as fitted"
        )
        text = (
            f"{whole}: {off:.1f} mL, about {hours:.1f} h of delivery. Consistent with "
            f"{_IN_WORDS[kind]}"
        )
        if math.isfinite(ratio):
            text += f", at about {ratio:.2f} of the set rate"
            if fits := sizes_in_words(ratio, size):
                text += f"; that also fits {fits}"
        yield f"{text}."


def _furthest(read: Quoted, volume: Array, chosen: Array) -> Iterator[str]:
    """Quote the reading furthest off the line on the side of the event, as charted."""
    sign = read.runs.each(np.where(volume > 0, -1.0, 1.0))
    sure = ~read.column("is_doubtful")
    sure |= read.runs.each(~read.runs.any(sure))
    far = np.where(sure, sign * read.column("residual_ml"), -np.inf)
    at = read.most(far)[chosen]
    numbers = (
        read.column(name)[at].tolist()
        for name in ("is_floored", "observed_ml", "expected_ml", "residual_ml")
    )
    limits = (LIMIT_SD * read.column("sd_ml")[at]).tolist()
    whens = clocks(read.rows["checked_at"].take(at)).tolist()
    for is_floored, observed_ml, expected_ml, residual, limit, when in zip(
        *numbers, limits, whens, strict=True
    ):
        if is_floored:
            observed, expected = round(observed_ml, 1), round(expected_ml, 1)
            off = observed - expected
            yield (
                f"{observed:.1f} mL left at {when}, {abs(off):.1f} mL {_side(off)} the "
                f"expected {expected:.1f} mL (limit {limit:.1f} mL)."
            )
        else:
            off = round(residual, 1)
            yield (
                f"Volume charted as given is {abs(off):.1f} mL {_side(off)} the "
                f"set-rate line at {when} (limit {limit:.1f} mL)."
            )


def _side(off: float) -> str:
    return "ahead of" if off < 0 else "behind"


def _outcomes(read: Quoted, volume: Array, chosen: Array) -> Iterator[str]:
    """Say whether what was not delivered was given in the end."""
    last = read.runs.ends[chosen]
    names = ("is_floored", "observed_ml", "reading_sd_ml", "residual_ml")
    is_floored, observed, sd, residual = (read.column(name)[last] for name in names)
    is_empty = is_floored & (observed <= sd * 2)
    for is_early, has_emptied, behind in zip(
        (volume[chosen] > 0).tolist(), is_empty.tolist(), residual.tolist(), strict=True
    ):
        if is_early:
            yield " Volume given early."
        elif has_emptied:
            yield " Delayed: the syringe later emptied."
        else:
            yield f" Not delivered by the last reading: {max(behind, 0):.1f} mL."


def _amounts(
    events: pd.DataFrame, infusions: pd.DataFrame, chosen: Array
) -> Iterator[str]:
    """Say how much of each drug charted the volumes hold."""
    names = ["contents", "made_up_to_ml", "start_volume_ml"]
    known = (infusions[name].to_numpy()[chosen].tolist() for name in names)
    volumes = (
        events[name].to_numpy()[chosen].tolist()
        for name in ("volume_ml", "volume_low_ml", "volume_high_ml")
    )
    for volume, low, high, *cells in zip(*volumes, *known, strict=True):
        infusion: Mapping[Hashable, Any] = dict(zip(names, cells, strict=True))
        yield amounts_in_words(volume, (low, high), infusion)


def _rises(read: Quoted, started: pd.Series, chosen: Array) -> Iterator[str]:
    """Quote the two readings between which each volume rose the most."""
    observed = read.column("observed_ml")
    before = read.runs.shift(observed, 1)
    begins = read.runs.begins
    before[begins] = read.column("base_ml")[begins]
    at = read.most(observed - before)[chosen]
    times = read.rows["checked_at"]
    is_first = at == begins[chosen]
    earlier = times.take(np.maximum(at - 1, 0)).reset_index(drop=True)
    began = started.take(chosen).reset_index(drop=True)
    for low, since, high, until in zip(
        before[at].tolist(),
        clocks(earlier.where(~is_first, began)),
        observed[at].tolist(),
        clocks(times.take(at)),
        strict=True,
    ):
        yield (
            f"The charted volume rises from {low:.1f} mL at {since} to {high:.1f} mL "
            f"at {until}, which a driver cannot do. Consistent with a syringe changed "
            "or refilled without a row for it, or with a reading of another driver."
        )


def _how_sure(events: pd.DataFrame, read: Quoted) -> Iterator[str]:
    names = ("probability", "rival", "rival_probability")
    is_last = events["first_visible"].to_numpy() == read.runs.sizes - 1
    for probability, rival, of_rival, rests_on_one in zip(
        *(events[name].to_numpy().tolist() for name in names),
        is_last.tolist(),
        strict=True,
    ):
        text = f"Probability of a delivery event {_probability(probability)}"
        if of_rival >= _WORTH_SAYING:
            text += f"; next likeliest: {_IN_WORDS[rival]}, {_probability(of_rival)}"
        yield f"{text}." + (" Rests on one reading, the last." if rests_on_one else "")


def _probability(value: float) -> str:
    return "over 0.99" if value > 0.99 else f"{value:.2f}"
