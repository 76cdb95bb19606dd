"""Charting findings of the delivery stage: readings, rates and volumes in doubt."""

from typing import Any

import numpy as np
import pandas as pd

from analysis.delivery.batches import Array
from analysis.delivery.noise import LIMIT_SD, OFFSET_SD_ML
from analysis.delivery.quoted import WHOSE, charted
from analysis.delivery.runs import runs_of
from analysis.intake import Log
from analysis.lookup import by_key, iso_times
from analysis.terms import FindingGroup, FindingKind

#: How a doubtful reading ends; the stage after says which slip fits.
SLIP = "Consistent with a slip in charting"


def doubtful_readings(lines: pd.DataFrame, is_reading: Array, log: Log) -> pd.DataFrame:
    """Write a finding for each doubtful reading, quoting the next one beside it.

    Parameters
    ----------
    lines : DataFrame
        As `Delivery.lines`, in order of infusion and time.
    is_reading : array of bool
        Which of them are readings of running drivers.
    log : Log
        Gives what was charted.

    Returns
    -------
    DataFrame
        Charting findings, without id and month.
    """
    at = np.flatnonzero(is_reading)
    doubtful = np.flatnonzero(lines["is_doubtful"].to_numpy(bool)[at])
    own, after = at[doubtful], at[np.minimum(doubtful + 1, len(at) - 1)]
    runs = runs_of(lines["infusion_id"])
    is_same = runs.of_rows(own) == runs.of_rows(after)
    here, there = charted(log, lines.index[own]), charted(log, lines.index[after])
    residual, sd = (lines[name].to_numpy(float) for name in ("residual_ml", "sd_ml"))
    is_back = np.abs(residual[after]) <= LIMIT_SD * sd[after]
    source = lines["source"].take(own)
    sentences = [
        _doubtful(one, at_one, off, limit)
        + (_back(other, at_other, is_behind=off > 0) if back else "")
        + f". {SLIP}."
        for one, at_one, off, limit, other, at_other, back in zip(
            _volume(here, source),
            here["clock"],
            residual[own].tolist(),
            (LIMIT_SD * sd[own]).tolist(),
            _volume(there, lines["source"].take(after)),
            there["clock"],
            ((own < after) & is_same & is_back).tolist(),
            strict=True,
        )
    ]
    column = "volume_" + source.astype("str") + "_ml"
    return _findings(here, FindingKind.DOUBTFUL_READING, column, sentences)


def _volume(rows: pd.DataFrame, source: pd.Series) -> list[float]:
    """Give the volume that was read, as charted."""
    remaining, given = rows["volume_remaining_ml"], rows["volume_delivered_ml"]
    volume = np.where((source == "remaining").to_numpy(bool), remaining, given)
    values: list[float] = volume.tolist()
    return values


def _doubtful(charted_ml: float, clock: str, off_ml: float, limit_ml: float) -> str:
    side = "behind" if off_ml > 0 else "ahead of"
    return (
        f"{charted_ml:g} mL charted at {clock} is {abs(off_ml):.1f} mL {side} the "
        f"expected line (limit {limit_ml:.1f} mL)"
    )


def _back(charted_ml: float, clock: str, *, is_behind: bool) -> str:
    text = f", and the next reading, {charted_ml:g} mL at {clock}, is back on it"
    return text + (": a driver does not catch up" if is_behind else "")


def doubtful_rates(log: Log, lines: pd.DataFrame) -> pd.DataFrame:
    """Write a finding for each rate on one row that the volumes do not follow.

    Parameters
    ----------
    log : Log
        Canonical tables.
    lines : DataFrame
        As given by `expected_lines`.

    Returns
    -------
    DataFrame
        Charting findings, without id and month.
    """
    rows = charted(log, lines.index[lines["is_doubtful_rate"].to_numpy(bool)])
    sentences = [
        f"Rate {rate:g} mL/h at {clock} stands on one row only and the volumes do not "
        "follow it; the rates around it were used."
        for rate, clock in zip(rows["set_rate_ml_h"], rows["clock"], strict=True)
    ]
    return _findings(rows, FindingKind.DOUBTFUL_RATE, "set_rate_ml_h", sentences)


def volumes_that_disagree(
    log: Log, lines: pd.DataFrame, noise: pd.DataFrame
) -> pd.DataFrame:
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
    DataFrame
        Charting findings, without id and month.
    """
    total = (
        log.checks["volume_remaining_ml"].to_numpy(float)
        + log.checks["volume_delivered_ml"].to_numpy(float)
    )[log.checks.index.get_indexer(lines.index)]
    at = np.flatnonzero(~np.isnan(total))
    own = lines[["infusion_id", "ward", "is_doubtful"]].take(at)
    both = pd.Series(total[at], index=own.index)
    usual = both.groupby(own["infusion_id"]).transform("median")
    step = by_key(own["ward"], noise.groupby("ward")["reading_step_ml"].max())
    off = (both - usual).abs() > LIMIT_SD * np.sqrt(step**2 / 6 + OFFSET_SD_ML**2)
    off &= ~own["is_doubtful"]
    rows = charted(log, own.index[off.to_numpy(bool)])
    sentences = [
        f"{left:g} mL remaining and {given:g} mL delivered at {clock} make "
        f"{sum_ml:.1f} mL, while the infusion's other rows make {usual_ml:.1f} mL. The "
        "volume remaining was used."
        for left, given, clock, sum_ml, usual_ml in zip(
            rows["volume_remaining_ml"],
            rows["volume_delivered_ml"],
            rows["clock"],
            both[off],
            usual[off],
            strict=True,
        )
    ]
    return _findings(
        rows, FindingKind.VOLUMES_DISAGREE, "volume_delivered_ml", sentences
    )


def _findings(
    rows: pd.DataFrame, kind: FindingKind, column: Any, sentences: list[str]
) -> pd.DataFrame:
    """Give charting findings, each anchored at its moment and the column in doubt."""
    when, cited = rows["checked_at"], rows["source"]
    return rows[list(WHOSE)].assign(
        group=str(FindingGroup.CHARTING),
        kind=str(kind),
        anchor=iso_times(when) + " " + column,
        happened_at=when,
        first_visible=when,
        first_source=cited,
        last_source=cited,
        sentence=pd.Series(sentences, index=rows.index, dtype="str"),
    )
