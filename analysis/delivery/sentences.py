"""Findings of the delivery stage in words: consistent with, never cause or blame."""

import math
from collections.abc import Hashable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from analysis.delivery.contents import amounts_in_words
from analysis.delivery.decision import Event
from analysis.delivery.line import PRESCRIBED
from analysis.delivery.noise import LIMIT_SD, OFFSET_SD_ML
from analysis.delivery.quoted import Reading
from analysis.delivery.syringe_sizes import sizes_in_words
from analysis.intake import Log
from analysis.lookup import by_key, clock
from analysis.terms import FindingGroup, FindingKind

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

#: How a doubtful reading ends; the stage after says which slip fits.
SLIP = "Consistent with a slip in charting"

_IN_WORDS = {
    FindingKind.STALL: "delivery that stopped for a while",
    FindingKind.STALL_TO_END: "delivery that stopped and is not seen to move again",
    FindingKind.SLOW: "slow delivery throughout",
    FindingKind.OVER_DELIVERY: "fast delivery throughout",
    FindingKind.SURGE: "an excess given within one gap between checks",
    FindingKind.VOLUME_RISE: "a volume that rose",
}

#: Whose row it is.
_NAMES = ("ward", "patient_id", "infusion_id", "driver_id")

#: A reading more likely a slip than not, given the event, is not quoted for it.
_SLIP = 0.5

#: A rival less probable than this is not named.
_WORTH_SAYING = 0.02


def event_in_words(
    event: Event, rows: Sequence[Reading], infusion: Mapping[Hashable, Any]
) -> str:
    """Say what the readings are consistent with, in numbers a nurse can check.

    Parameters
    ----------
    event : Event
        The finding.
    rows : sequence of Reading
        The infusion's readings, as `Event` counts them.
    infusion : mapping
        The infusion: started_at, contents, volumes it was made up to, syringe_size_ml.

    Returns
    -------
    str
        Two or three sentences.
    """
    if event.kind is FindingKind.VOLUME_RISE:
        return _rise_in_words(event, rows, infusion)
    text = _furthest_in_words(event, rows)
    if event.kind is FindingKind.START_OFFSET:
        likely = (
            "the priming volume counted in the start volume"
            if event.volume_ml > 0
            else "a start somewhat later than charted, or start-up lag"
        )
        return (
            f"{text} A fixed offset from the first reading on, with delivery at the "
            f"set rate afterwards. Consistent with {likely}."
        )
    # As the tables have it: rounded twice, a sentence and a table would differ.
    off = round(abs(event.volume_ml), VOLUME_DECIMALS)
    hours = abs(event.volume_ml) / rows[event.largest].rate_ml_h
    whole = (
        "If it stood still until the infusion's end"
        if (event.kind is FindingKind.STALL_TO_END)
        else "Over the whole event, as fitted"
    )
    text += (
        f" {whole}: {off:.1f} mL, about {round(hours, VOLUME_DECIMALS):.1f} h of "
        f"delivery. Consistent with {_kind_in_words(event, rows)}"
    )
    if math.isfinite(event.ratio):
        text += f", at about {event.ratio:.2f} of the set rate"
        size = float(infusion.get("syringe_size_ml", math.nan))
        if fits := sizes_in_words(event.ratio, size):
            text += f"; that also fits {fits}"
    text += "." + _basis(rows[-1]) + _outcome(event, rows[-1])
    limits = (event.volume_low_ml, event.volume_high_ml)
    text += amounts_in_words(event.volume_ml, limits, infusion)
    return f"{text} {_how_sure(event, rows)}"


#: Decimals of volumes and hours in findings.csv.
VOLUME_DECIMALS = 2


def _furthest_in_words(event: Event, rows: Sequence[Reading]) -> str:
    """Quote the reading furthest off the line on the side of the event, as charted."""
    sign = -1.0 if event.volume_ml > 0 else 1.0
    # Given the event: a reading that is a slip unless there is one is what it rests on.
    sure = [row for row, slip in zip(rows, event.slips, strict=True) if slip < _SLIP]
    at = max(sure or rows, key=lambda row: sign * row.residual_ml)
    observed, expected = round(at.observed_ml, 1), round(at.expected_ml, 1)
    off = observed - expected if at.is_floored else round(at.residual_ml, 1)
    side = "ahead of" if off < 0 else "behind"
    limit = f"(limit {LIMIT_SD * at.sd_ml:.1f} mL)"
    when = clock(at.checked_at)
    if not at.is_floored:
        return (
            f"Volume charted as given is {abs(off):.1f} mL {side} the set-rate line at "
            f"{when} {limit}."
        )
    return (
        f"{observed:.1f} mL left at {when}, {abs(off):.1f} mL {side} the expected "
        f"{expected:.1f} mL {limit}."
    )


def _kind_in_words(event: Event, rows: Sequence[Reading]) -> str:
    """Name the kind; a stop from the start on is not one of a driver that ran."""
    is_still = all(
        row.base_ml - row.observed_ml <= LIMIT_SD * row.reading_sd_ml
        for row, slip in zip(rows, event.slips, strict=True)
        if slip < _SLIP
    )
    if event.kind is FindingKind.STALL_TO_END and is_still:
        return "delivery that did not begin: no reading shows clear movement"
    return _IN_WORDS[event.kind]


def _basis(row: Reading) -> str:
    if row.basis != PRESCRIBED:
        return ""
    return (
        " No rate is charted to judge by: the expected line is the start volume over "
        "the planned duration."
    )


def _outcome(event: Event, last: Reading) -> str:
    if event.volume_ml > 0:
        return " Volume given early."
    if last.is_floored and last.observed_ml <= last.reading_sd_ml * 2:
        return " Delayed: the syringe later emptied."
    return f" Not delivered by the last reading: {max(last.residual_ml, 0):.1f} mL."


def _rise_in_words(
    event: Event, rows: Sequence[Reading], infusion: Mapping[Hashable, Any]
) -> str:
    levels = [rows[0].base_ml, *(row.observed_ml for row in rows)]
    times = [infusion["started_at"], *(row.checked_at for row in rows)]
    jump = int(np.argmax(np.diff(levels)))
    text = (
        f"The charted volume rises from {levels[jump]:.1f} mL at {clock(times[jump])} "
        f"to {levels[jump + 1]:.1f} mL at {clock(times[jump + 1])}, which a driver "
        "cannot do. Consistent with a syringe changed or refilled without a row for "
        "it, or with a reading of another driver."
    )
    return f"{text} {_how_sure(event, rows)}"


def _how_sure(event: Event, rows: Sequence[Reading]) -> str:
    text = f"Probability of a delivery event {_probability(event.probability)}"
    if event.rival_probability >= _WORTH_SAYING:
        rival = _IN_WORDS[FindingKind(event.rival)]
        text += f"; next likeliest: {rival}, {_probability(event.rival_probability)}"
    text += "."
    if event.first_visible == len(rows) - 1:
        text += " Rests on one reading, the last."
    return text


def _probability(value: float) -> str:
    return "over 0.99" if value > 0.99 else f"{value:.2f}"


def doubtful_reading(rows: Sequence[Reading], position: int) -> dict[str, object]:
    """Write the charting finding of one doubtful reading.

    Parameters
    ----------
    rows : sequence of Reading
        The infusion's readings in order of time.
    position : int
        Which reading.

    Returns
    -------
    dict
        The keys of `FINDING_COLUMNS`, quoting both readings.
    """
    at, after = rows[position], rows[position + 1 : position + 2]
    is_behind = at.residual_ml > 0
    text = (
        f"{at.charted_ml:g} mL charted at {clock(at.checked_at)} is "
        f"{abs(at.residual_ml):.1f} mL {'behind' if is_behind else 'ahead of'} the "
        f"expected line (limit {LIMIT_SD * at.sd_ml:.1f} mL)"
    )
    if after and abs(after[0].residual_ml) <= LIMIT_SD * after[0].sd_ml:
        text += (
            f", and the next reading, {after[0].charted_ml:g} mL at "
            f"{clock(after[0].checked_at)}, is back on it"
        )
        text += ": a driver does not catch up" if is_behind else ""
    return {
        **{name: getattr(at, name) for name in _NAMES},
        **_at_row(at.checked_at, at.cited),
        "kind": str(FindingKind.DOUBTFUL_READING),
        "anchor": _anchor(at.checked_at, at.column),
        "volume_ml": math.nan,
        "sentence": f"{text}. {SLIP}.",
    }


def doubtful_rates(log: Log, lines: pd.DataFrame) -> list[dict[str, object]]:
    """Write a finding for each rate on one row that the volumes do not follow.

    Parameters
    ----------
    log : Log
        Canonical tables.
    lines : DataFrame
        As given by `expected_lines`.

    Returns
    -------
    list of dict
        Charting findings, without id and month.
    """
    rows = log.checks.loc[lines.index[lines["is_doubtful_rate"]]]
    return [
        {
            **_of_row(row),
            "kind": str(FindingKind.DOUBTFUL_RATE),
            "anchor": _anchor(row["checked_at"], "set_rate_ml_h"),
            "sentence": (
                f"Rate {row['set_rate_ml_h']:g} mL/h at {clock(row['checked_at'])} "
                "stands on one row only and the volumes do not follow it; the rates "
                "around it were used."
            ),
        }
        for row in _records(rows, "set_rate_ml_h")
    ]


def volumes_that_disagree(
    log: Log, lines: pd.DataFrame, noise: pd.DataFrame
) -> list[dict[str, object]]:
    """Write a finding where remaining and delivered do not add up.

    The sum of both is one constant of an infusion, whatever was primed away: rows are
    tested against its median, within three standard deviations of two rounded readings
    and the start-up lag.

    Parameters
    ----------
    log : Log
        Canonical tables.
    lines : DataFrame
        As given by `expected_lines`, with is_doubtful.
    noise : DataFrame
        As given by `ward_noise`.

    Returns
    -------
    list of dict
        Charting findings, without id and month.
    """
    volumes = log.checks[["volume_delivered_ml", "volume_remaining_ml"]]
    charted = volumes.notna().all(axis=1).to_numpy(bool)
    place = log.checks.index.get_indexer(lines.index)
    at = np.flatnonzero(charted[place])
    own = lines[["infusion_id", "ward", "is_doubtful"]].take(at)
    checks = log.checks.take(place[at])
    both = checks["volume_remaining_ml"] + checks["volume_delivered_ml"]
    usual = both.groupby(own["infusion_id"]).transform("median")
    step = by_key(own["ward"], noise.groupby("ward")["reading_step_ml"].max())
    off = (both - usual).abs() > LIMIT_SD * np.sqrt(step**2 / 6 + OFFSET_SD_ML**2)
    off &= ~own["is_doubtful"]
    rows = checks[off].assign(both=both[off], usual=usual[off])
    return [
        {
            **_of_row(row),
            "kind": str(FindingKind.VOLUMES_DISAGREE),
            "anchor": _anchor(row["checked_at"], "volume_delivered_ml"),
            "sentence": (
                f"{row['volume_remaining_ml']:g} mL remaining and "
                f"{row['volume_delivered_ml']:g} mL delivered at "
                f"{clock(row['checked_at'])} make {row['both']:.1f} mL, "
                f"while the infusion's other rows make {row['usual']:.1f} mL. The "
                "volume remaining was used."
            ),
        }
        for row in _records(
            rows, "volume_remaining_ml", "volume_delivered_ml", "both", "usual"
        )
    ]


def _records(rows: pd.DataFrame, *quoted: str) -> list[dict[Hashable, Any]]:
    """Give rows with whose they are, where they stand, and some cells."""
    return rows[[*_NAMES, "checked_at", "source", *quoted]].to_dict("records")


def _of_row(row: Mapping[Hashable, Any]) -> dict[str, object]:
    """Give the parts of a charting finding that come from its row."""
    whose = {name: row[name] for name in _NAMES}
    return {**whose, **_at_row(row["checked_at"], row["source"])}


def _at_row(time: pd.Timestamp, cited: str) -> dict[str, object]:
    return {
        "group": str(FindingGroup.CHARTING),
        "happened_at": time,
        "first_visible": time,
        "first_source": cited,
        "last_source": cited,
    }


def _anchor(time: pd.Timestamp, column: str) -> str:
    return f"{time.tz_convert('UTC').isoformat()} {column}"
