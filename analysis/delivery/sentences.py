"""Findings of the delivery stage in words: consistent with, never cause or blame."""

from collections.abc import Hashable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from analysis.delivery.contents import amounts_in_words
from analysis.delivery.decision import Event
from analysis.delivery.noise import LIMIT_SD, OFFSET_SD_ML
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

#: A rival less probable than this is not named.
_WORTH_SAYING = 0.02


def event_in_words(
    event: Event, rows: pd.DataFrame, infusion: Mapping[Hashable, Any]
) -> str:
    """Say what the readings are consistent with, in numbers a nurse can check.

    Parameters
    ----------
    event : Event
        The finding.
    rows : DataFrame
        The infusion's readings, as `Event` counts them.
    infusion : mapping
        The infusion: started_at, contents, volumes it was made up to, syringe_size_ml.

    Returns
    -------
    str
        Two or three sentences.
    """
    at = rows.iloc[event.largest]
    when = clock(at["checked_at"])
    if event.kind is FindingKind.VOLUME_RISE:
        return _rise_in_words(event, rows, infusion)
    off = abs(event.volume_ml)
    side = "ahead of" if event.volume_ml > 0 else "behind"
    hours = off / at["rate_ml_h"]
    text = (
        f"{at['observed_ml']:.1f} mL left at {when}, {off:.1f} mL {side} the expected "
        f"{at['expected_ml']:.1f} mL (limit {LIMIT_SD * at['sd_ml']:.1f} mL): "
    )
    if not rows["is_floored"].iloc[0]:
        text = (
            f"Volume charted as given is {off:.1f} mL {side} the set-rate line at "
            f"{when} (limit {LIMIT_SD * at['sd_ml']:.1f} mL): "
        )
    if event.kind is FindingKind.START_OFFSET:
        likely = (
            "the priming volume counted in the start volume"
            if event.volume_ml > 0
            else "a start somewhat later than charted, or start-up lag"
        )
        return (
            f"{text}a fixed offset from the first reading on, with delivery at the set "
            f"rate afterwards. Consistent with {likely}."
        )
    text += f"about {hours:.1f} h of delivery. Consistent with {_IN_WORDS[event.kind]}"
    if np.isfinite(event.ratio):
        text += f", at about {event.ratio:.2f} of the set rate"
        size = float(infusion.get("syringe_size_ml", np.nan))
        if fits := sizes_in_words(event.ratio, size):
            text += f"; that also fits {fits}"
    text += "." + _outcome(event, rows)
    limits = (event.volume_low_ml, event.volume_high_ml)
    text += amounts_in_words(event.volume_ml, limits, infusion)
    return f"{text} {_how_sure(event, rows)}"


def _outcome(event: Event, rows: pd.DataFrame) -> str:
    if event.volume_ml > 0:
        return " Volume given early."
    last = rows.iloc[-1]
    emptied = last["is_floored"] and last["observed_ml"] <= last["reading_sd_ml"] * 2
    return (
        " Delayed: the syringe later emptied."
        if emptied
        else (
            f" Not delivered by the last reading: {max(last['residual_ml'], 0):.1f} mL."
        )
    )


def _rise_in_words(
    event: Event, rows: pd.DataFrame, infusion: Mapping[Hashable, Any]
) -> str:
    level = np.r_[rows["base_ml"].iloc[0], rows["observed_ml"].to_numpy(float)]
    times = [infusion["started_at"], *rows["checked_at"]]
    jump = int(np.argmax(np.diff(level)))
    text = (
        f"The charted volume rises from {level[jump]:.1f} mL at {clock(times[jump])} "
        f"to {level[jump + 1]:.1f} mL at {clock(times[jump + 1])}, which a driver "
        "cannot do. Consistent with a syringe changed or refilled without a row for "
        "it, or with a reading of another driver."
    )
    return f"{text} {_how_sure(event, rows)}"


def _how_sure(event: Event, rows: pd.DataFrame) -> str:
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


def doubtful_reading(
    infusion_id: str, rows: pd.DataFrame, position: int, log: Log
) -> dict[str, object]:
    """Write the charting finding of one doubtful reading.

    Parameters
    ----------
    infusion_id : str
        The infusion.
    rows : DataFrame
        Its readings in order of time.
    position : int
        Which reading.
    log : Log
        Gives sources and the charted column.

    Returns
    -------
    dict
        The keys of `FINDING_COLUMNS`, quoting both readings.
    """
    at = rows.iloc[position]
    column = f"volume_{at['source']}_ml"
    charted = log.checks.loc[rows.index[position], column]
    side = "behind" if at["residual_ml"] > 0 else "ahead of"
    text = (
        f"{charted:g} mL charted at {clock(at['checked_at'])} is "
        f"{abs(at['residual_ml']):.1f} mL {side} the expected line (limit "
        f"{LIMIT_SD * at['sd_ml']:.1f} mL)"
    )
    if position + 1 < len(rows) and _is_within(rows.iloc[position + 1]):
        after = rows.iloc[position + 1]
        value = log.checks.loc[rows.index[position + 1], f"volume_{after['source']}_ml"]
        text += (
            f", and the next reading, {value:g} mL at {clock(after['checked_at'])}, is "
            "back on it"
        )
        text += ": a driver does not catch up" if at["residual_ml"] > 0 else ""
    text += f". {SLIP}."
    return {
        **_of_row(log, rows.index[position]),
        "infusion_id": infusion_id,
        "kind": str(FindingKind.DOUBTFUL_READING),
        "anchor": _anchor(at["checked_at"], column),
        "volume_ml": np.nan,
        "sentence": text,
    }


def _is_within(reading: pd.Series) -> bool:
    return bool(abs(reading["residual_ml"]) <= LIMIT_SD * reading["sd_ml"])


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
    return [
        {
            **_of_row(log, index),
            "kind": str(FindingKind.DOUBTFUL_RATE),
            "anchor": _anchor(row["checked_at"], "set_rate_ml_h"),
            "sentence": (
                f"Rate {log.checks.loc[index, 'set_rate_ml_h']:g} mL/h at "
                f"{clock(row['checked_at'])} stands on one row only and the volumes do "
                "not follow it; the rates around it were used."
            ),
        }
        for index, row in zip(
            lines.index[lines["is_doubtful_rate"]].tolist(),
            lines[lines["is_doubtful_rate"]].to_dict("records"),
            strict=True,
        )
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
    checks = log.checks.loc[lines.index]
    both = checks["volume_remaining_ml"] + checks["volume_delivered_ml"]
    usual = both.groupby(lines["infusion_id"]).transform("median")
    step = by_key(lines["ward"], noise.groupby("ward")["reading_step_ml"].max())
    off = (both - usual).abs() > LIMIT_SD * np.sqrt(step**2 / 6 + OFFSET_SD_ML**2)
    off &= ~lines["is_doubtful"]
    return [
        {
            **_of_row(log, index),
            "kind": str(FindingKind.VOLUMES_DISAGREE),
            "anchor": _anchor(lines.loc[index, "checked_at"], "volume_delivered_ml"),
            "sentence": (
                f"{checks.loc[index, 'volume_remaining_ml']:g} mL remaining and "
                f"{checks.loc[index, 'volume_delivered_ml']:g} mL delivered at "
                f"{clock(lines.loc[index, 'checked_at'])} make {both[index]:.1f} mL, "
                f"while the infusion's other rows make {usual[index]:.1f} mL. The "
                "volume remaining was used."
            ),
        }
        for index in lines.index[off].tolist()
    ]


def _of_row(log: Log, index: int) -> dict[str, object]:
    """Give the parts of a charting finding that come from its row."""
    checks = log.checks
    time, source = checks.loc[index, "checked_at"], checks.loc[index, "source"]
    return {
        **{name: checks.loc[index, name] for name in _NAMES},
        "group": str(FindingGroup.CHARTING),
        "happened_at": time,
        "first_visible": time,
        "first_source": source,
        "last_source": source,
    }


def _anchor(time: pd.Timestamp, column: str) -> str:
    return f"{time.tz_convert('UTC').isoformat()} {column}"
