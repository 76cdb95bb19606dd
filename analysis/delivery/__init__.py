"""Delivery: the expected line, the noise of a ward's readings, and what happened."""

from collections.abc import Hashable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from analysis.delivery import sentences
from analysis.delivery.decision import Event, Readings, Verdict, decide
from analysis.delivery.line import PRESCRIBED, expected_lines
from analysis.delivery.noise import (
    LIMIT_SD,
    OFFSET_SD_ML,
    add_standard_deviations,
    ward_noise,
)
from analysis.intake import Log
from analysis.lookup import by_key
from analysis.policy import Policy
from analysis.terms import FindingGroup, FindingKind, NotEvaluable

__all__ = ["Delivery", "judge_delivery"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """What the volumes say.

    Attributes
    ----------
    lines : DataFrame
        Expected line, residual and doubt at each row that belongs to an infusion
        (`expected_lines`), with sd_ml and is_doubtful.
    infusions : DataFrame
        One row an infusion, indexed by infusion_id: evaluable (yes/no), reason, kind,
        flow_factor, flow_factor_low, flow_factor_high.
    findings : DataFrame
        Delivery, charting and set-up findings, without id and month; anchor_at is the
        time that belongs to the id, empty for one finding an infusion.
    noise : DataFrame
        As given by `ward_noise`.
    """

    lines: pd.DataFrame
    infusions: pd.DataFrame
    findings: pd.DataFrame
    noise: pd.DataFrame


def judge_delivery(log: Log, policy: Policy) -> Delivery:
    """Compare every infusion with its expected line.

    Parameters
    ----------
    log : Log
        Canonical tables.
    policy : Policy
        Gives the planned duration where none is charted.

    Returns
    -------
    Delivery
        Infusions without a line or without readings are listed as not evaluable, with
        the reason; they are never taken as delivered.
    """
    lines = expected_lines(log.checks, log.infusions, policy)
    noise = ward_noise(lines, log.infusions)
    lines = add_standard_deviations(lines, noise)
    lines["is_doubtful"] = False
    verdicts = _not_evaluable(lines, log.infusions)
    findings = []
    known = log.infusions[["patient_id", "driver_id", "started_at"]].to_dict("index")
    for infusion_id, rows in _worth_deciding(lines, verdicts):
        verdict = decide(_readings(rows))
        lines.loc[rows.index[verdict.is_doubtful], "is_doubtful"] = True
        findings += _findings(infusion_id, known[infusion_id], rows, verdict, log)
        if verdict.event and verdict.event.kind is not FindingKind.START_OFFSET:
            verdicts.loc[infusion_id, "kind"] = str(verdict.event.kind)
    findings += sentences.doubtful_rates(log, lines)
    findings += sentences.volumes_that_disagree(log, lines, noise)
    _add_flow_factors(verdicts, lines)
    frame = pd.DataFrame(findings, columns=sentences.FINDING_COLUMNS)
    return Delivery(lines=lines, infusions=verdicts, findings=frame, noise=noise)


def _is_reading(lines: pd.DataFrame) -> pd.Series:
    """Tell readings of a running driver: neither the start's nor after the end."""
    has = lines["residual_ml"].notna()
    return has & ~lines["is_start"] & ~lines["is_after_end"]


def _not_evaluable(lines: pd.DataFrame, infusions: pd.DataFrame) -> pd.DataFrame:
    """Say of each infusion whether its volumes can be judged, and if not, why."""
    by = lines.groupby("infusion_id")
    has_volume = (lines["source"] != "").groupby(lines["infusion_id"]).any()
    later = lines[_is_reading(lines)]
    readings = later.groupby("infusion_id").size()
    out = pd.DataFrame(index=infusions.index)
    readings = readings.reindex(out.index, fill_value=0)
    has_volume = has_volume.reindex(out.index, fill_value=False)
    has_line = lines["delivered_ml"].notna().groupby(lines["infusion_id"]).any()
    has_line = has_line.reindex(out.index, fill_value=False)
    anchored = by["has_start_volume"].first().reindex(out.index, fill_value=False)
    reason = np.select(
        [
            ~has_volume,
            ~has_line,
            ~anchored & (readings < 2),
            readings < 1,
        ],
        [
            str(NotEvaluable.NO_VOLUME),
            str(NotEvaluable.NO_LINE),
            str(NotEvaluable.NO_START),
            str(NotEvaluable.NO_READING_AFTER_START),
        ],
        default="",
    )
    out["evaluable"] = np.where(reason == "", "yes", "no")
    basis = by["basis"].first().reindex(out.index, fill_value="")
    rests = np.select(
        [
            (basis == PRESCRIBED).to_numpy(dtype=bool),
            (~anchored).to_numpy(dtype=bool),
        ],
        [
            "no rate charted: prescribed line",
            "no start volume: line from first reading",
        ],
        default="",
    )
    out["reason"] = np.where(reason == "", rests, reason)
    out["kind"] = ""
    return out


def _worth_deciding(
    lines: pd.DataFrame, verdicts: pd.DataFrame
) -> Iterator[tuple[str, pd.DataFrame]]:
    """Yield the readings of evaluable infusions with a reading beyond the limit."""
    evaluable = by_key(lines["infusion_id"], verdicts["evaluable"]) == "yes"
    read = lines[evaluable & _is_reading(lines)]
    beyond = read["residual_ml"].abs() > LIMIT_SD * read["sd_ml"]
    off = read[read["infusion_id"].isin(read.loc[beyond, "infusion_id"])]
    off = off.sort_values(["infusion_id", "checked_at"], kind="stable")
    for infusion_id, rows in off.groupby("infusion_id"):
        yield str(infusion_id), rows


def _readings(rows: pd.DataFrame) -> Readings:
    return Readings(
        elapsed_h=rows["elapsed_h"].to_numpy(float),
        observed_ml=rows["observed_ml"].to_numpy(float),
        expected_ml=rows["expected_ml"].to_numpy(float),
        delivered_ml=rows["delivered_ml"].to_numpy(float),
        sd_ml=rows["sd_ml"].to_numpy(float),
        reading_sd_ml=rows["reading_sd_ml"].to_numpy(float),
        base_ml=float(rows["base_ml"].iloc[0]),
        is_floored=bool(rows["is_floored"].iloc[0]),
    )


def _findings(
    infusion_id: str,
    infusion: Mapping[Hashable, Any],
    rows: pd.DataFrame,
    verdict: Verdict,
    log: Log,
) -> list[dict[str, object]]:
    """Write the findings of one infusion."""
    source = log.checks["source"]
    found = [
        sentences.doubtful_reading(infusion_id, rows, int(position), log)
        for position in np.flatnonzero(verdict.is_doubtful)
    ]
    if verdict.event:
        found.append(_event_finding(infusion_id, infusion, rows, verdict.event, source))
    return found


def _event_finding(
    infusion_id: str,
    infusion: Mapping[Hashable, Any],
    rows: pd.DataFrame,
    event: Event,
    source: pd.Series,
) -> dict[str, object]:
    is_offset = event.kind is FindingKind.START_OFFSET
    started = infusion["started_at"]
    at = rows.iloc[event.largest]
    rate = at["rate_ml_h"]
    began = [_clock(started, hour) for hour in event.began_h]
    ended = [_clock(started, hour) for hour in event.ended_h]
    half = 1.96 * event.sd_ml
    return {
        "ward": at["ward"],
        "patient_id": infusion["patient_id"],
        "infusion_id": infusion_id,
        "driver_id": infusion["driver_id"],
        "group": str(FindingGroup.SET_UP if is_offset else FindingGroup.DELIVERY),
        "kind": str(event.kind),
        "anchor": str(event.kind) if is_offset else "",
        "happened_at": started,
        "began_earliest": began[0],
        "began_latest": began[1],
        "ended_earliest": ended[0],
        "ended_latest": ended[1],
        "first_visible": rows["checked_at"].iloc[event.first_visible],
        "volume_ml": event.volume_ml,
        "volume_low_ml": event.volume_ml - half,
        "volume_high_ml": event.volume_ml + half,
        "hours_equivalent": abs(event.volume_ml) / rate,
        "first_source": source.loc[rows.index[event.first_visible]],
        "last_source": source.loc[rows.index[-1]],
        "sentence": sentences.event_in_words(event, rows, infusion),
    }


def _clock(started: pd.Timestamp, hour: float) -> pd.Timestamp:
    if not np.isfinite(hour):
        return pd.NaT  # type: ignore[return-value]
    return started + pd.Timedelta(seconds=round(hour * 3600))


def _add_flow_factors(verdicts: pd.DataFrame, lines: pd.DataFrame) -> None:
    """Add delivered over set volume at the last reading that is not doubtful."""
    good = lines[
        _is_reading(lines)
        & ~lines["is_doubtful"]
        & (lines["delivered_ml"] > 0)
        & lines["has_start_volume"]
        & ((lines["expected_ml"] > 0) | ~lines["is_floored"])
    ]
    last = good.sort_values("checked_at", kind="stable").groupby("infusion_id").last()
    factor = (last["base_ml"] - last["observed_ml"]) / last["delivered_ml"]
    half = 1.96 * np.hypot(last["reading_sd_ml"], OFFSET_SD_ML) / last["delivered_ml"]
    verdicts["flow_factor"] = factor
    verdicts["flow_factor_low"] = (factor - half).clip(lower=0)
    verdicts["flow_factor_high"] = factor + half
