"""From a log to what happened to each infusion: the main path of the stage."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.delivery.batches import Array
from analysis.delivery.charting import (
    doubtful_rates,
    doubtful_readings,
    volumes_that_disagree,
)
from analysis.delivery.decision import Event, events, is_listed
from analysis.delivery.drivers import driver_flow
from analysis.delivery.evaluable import (
    evaluable,
    in_place,
    is_reading,
    judged_rows,
)
from analysis.delivery.evidence import OTHER_CELLS, stopped_log_ratio
from analysis.delivery.fitted import fit_noise, with_noise
from analysis.delivery.line import delivered_by_end, expected_lines
from analysis.delivery.listing import delivery_events, fixed_offsets
from analysis.delivery.noise import (
    OFFSET_SD_ML,
    add_standard_deviations,
    ward_noise,
    with_fitted,
    with_rounding,
)
from analysis.delivery.posterior import event_shares, probabilities
from analysis.delivery.runs import Runs, runs_of
from analysis.delivery.scan import Evidence, scan
from analysis.delivery.sentences import FINDING_COLUMNS
from analysis.delivery.slip_kinds import kinds_of_slips
from analysis.delivery.slip_rates import SlipRatios, slip_ratios, with_slip_ratios
from analysis.delivery.threshold import Threshold, find_threshold
from analysis.delivery.two_volumes import scale_and_display_findings
from analysis.intake import Log
from analysis.lookup import by_key
from analysis.policy import Policy
from analysis.terms import YesNo
from analysis.threads import at_once
from analysis.workers import Map, on_cores, one_by_one

#: What the lines have that is needed to judge readings.
_OF_READINGS = [
    "infusion_id",
    "ward",
    "source",
    "entry",
    "elapsed_h",
    "rate_ml_h",
    "delivered_ml",
    "step_variance_ml2",
    "base_ml",
    "is_floored",
    "observed_ml",
    "expected_ml",
    "residual_ml",
]

#: A reading more likely a slip than not is doubtful.
_DOUBTFUL = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """What the volumes say.

    Attributes
    ----------
    lines : DataFrame
        Expected line, residual and doubt at each row that belongs to an infusion
        (`expected_lines`), with sd_ml, slip_probability and is_doubtful.
    infusions : DataFrame
        One row an infusion, indexed by infusion_id: evaluable (yes/no), reason, kind,
        event_probability, flow_factor, flow_factor_low, flow_factor_high.
    findings : DataFrame
        Delivery, charting and set-up findings, without id and month.
    noise : DataFrame
        As given by `ward_noise` and `fit_noise`, with event_share.
    threshold : Threshold
        Event probability from which an infusion is listed.
    drivers : DataFrame
        As given by `driver_flow`.
    probabilities : DataFrame
        Of each kind and of none, by infusion_id (`probabilities`); those evaluable.
    """

    lines: pd.DataFrame
    infusions: pd.DataFrame
    findings: pd.DataFrame
    noise: pd.DataFrame
    threshold: Threshold
    drivers: pd.DataFrame
    probabilities: pd.DataFrame


def judge_delivery(log: Log, policy: Policy, run: Map = one_by_one) -> Delivery:
    """Compare every infusion with its expected line.

    Parameters
    ----------
    log : Log
        Canonical tables.
    policy : Policy
        Gives the planned duration where none is charted, the wanted false-flag rate,
        and whether running light, alarm, battery and action weigh beside the volumes
        (`stopped_log_ratio`).
    run : Map
        Does what falls into parts: the noise of each ward, and batches of infusions.

    Returns
    -------
    Delivery
        Infusions without a line or without readings are listed as not evaluable, with
        the reason; they are never taken as delivered.
    """
    lines = expected_lines(log.checks, log.infusions, policy)
    noise = ward_noise(lines, log.infusions)
    runs = runs_of(lines["infusion_id"])
    # Where the infusion of each run stands: looked up once, and not by name each time.
    place = log.infusions.index.get_indexer(
        pd.Index(lines["infusion_id"].iloc[runs.begins])
    )
    verdicts = evaluable(lines, log.infusions, runs, place)
    at = judged_rows(
        lines, runs, (verdicts["evaluable"] == "yes").to_numpy(bool)[place]
    )
    readings = _readings(lines, noise, at, log, policy)
    fitted = fit_noise(readings, on_cores(run))
    readings = with_noise(readings, fitted)
    read = runs_of(readings["infusion_id"])
    own = place[np.searchsorted(runs.begins, at[read.begins], side="right") - 1]
    ward = log.infusions["ward"].take(own)
    evidence, ratios = _weighed(readings, ward, run)
    shares = event_shares(evidence.table, ward)
    share = by_key(ward, shares)
    probability = probabilities(evidence.table, share)
    event = 1 - probability["none"]
    noise = with_fitted(noise, fitted, shares)
    threshold, lines = at_once(
        lambda: find_threshold(
            readings, share, event, policy.false_flags_per_1000, ratios
        ),
        lambda: _with_deviations(lines, noise),
    )
    found = read.each(is_listed(probability, threshold.probability))
    listing = list(events(readings[found], probability))
    lines = _with_slips(
        lines, at, _slip_probability(readings, evidence.slips, listing, probability)
    )
    verdicts["kind"] = _kinds(listing, log.infusions.index)
    verdicts["event_probability"] = in_place(
        event.to_numpy(), own, len(verdicts), np.nan
    )
    _add_flow_factors(verdicts, lines, runs, place)
    # Texts on one thread, numbers on another.
    findings, drivers, ordered = at_once(
        lambda: _as_table(
            [
                *_findings(log, lines, noise, listing, (at, found)),
                scale_and_display_findings(log, policy),
            ]
        ),
        lambda: driver_flow(
            readings.assign(slip_probability=lines["slip_probability"].to_numpy()[at]),
            verdicts[["kind"]].join(log.infusions["driver_id"]),
            policy.flow_accuracy_pct,
        ),
        lambda: _in_order_of(log.checks, lines),
    )
    return Delivery(
        lines=ordered,
        infusions=verdicts,
        findings=findings,
        noise=noise,
        threshold=threshold,
        probabilities=probability,
        drivers=drivers,
    )


def _weighed(
    readings: pd.DataFrame, ward: pd.Series, run: Map
) -> tuple[Evidence, SlipRatios]:
    """Weigh all hypotheses, with slips as common as the log says."""
    evidence = scan(readings, on_cores(run))
    share = by_key(ward, event_shares(evidence.table, ward))
    none = probabilities(evidence.table, share)["none"]
    kinds = kinds_of_slips(readings, evidence.slips.to_numpy())
    ratios = slip_ratios(readings, evidence, none, kinds)
    return with_slip_ratios(readings, evidence, ratios, kinds), ratios


def _findings(
    log: Log,
    lines: pd.DataFrame,
    noise: pd.DataFrame,
    listing: list[Event],
    judged: tuple[Array, Array],
) -> list[pd.DataFrame]:
    """Write findings; `judged` are rows, and which are of a listed infusion."""
    at, found = judged
    return [
        doubtful_readings(lines, is_reading(lines), log),
        delivery_events(listing, lines, at[found], log),
        fixed_offsets(lines, at[~found], log),
        doubtful_rates(log, lines),
        volumes_that_disagree(log, lines, noise),
    ]


def _as_table(parts: list[pd.DataFrame]) -> pd.DataFrame:
    """Put findings together."""
    some = [part for part in parts if len(part)]
    if not some:
        return pd.DataFrame(columns=FINDING_COLUMNS)
    return pd.concat(some, ignore_index=True).reindex(columns=FINDING_COLUMNS)


def _kinds(listing: list[Event], infusions: pd.Index) -> pd.Series:
    """Give the kind that each infusion is listed with, empty where it is not."""
    kinds = np.full(len(infusions), "", dtype=object)
    kinds[infusions.get_indexer(pd.Index([e.infusion_id for e in listing]))] = [
        str(e.kind) for e in listing
    ]
    return pd.Series(kinds, index=infusions, dtype="str")


def _readings(
    lines: pd.DataFrame, noise: pd.DataFrame, at: Array, log: Log, policy: Policy
) -> pd.DataFrame:
    """Give the readings that are judged, with what rounding does to each."""
    runs = runs_of(lines["infusion_id"])
    names = lines["infusion_id"].iloc[runs.begins]
    by_end = delivered_by_end(lines, log.infusions).reindex(names).to_numpy()
    read = lines[_OF_READINGS].take(at).assign(end_delivered_ml=runs.each(by_end)[at])
    read = with_rounding(read, noise)
    if policy.other_evidence == YesNo.NO:
        return read.assign(stopped_log_ratio=0.0)
    rows = log.checks.index.get_indexer(read.index)
    observed = np.full(len(log.checks), np.nan)
    observed[rows] = read["observed_ml"].to_numpy()
    said = stopped_log_ratio(
        log.checks[OTHER_CELLS], pd.Series(observed, index=log.checks.index)
    ).to_numpy()[rows]
    return read.assign(stopped_log_ratio=said)


def _in_order_of(checks: pd.DataFrame, lines: pd.DataFrame) -> pd.DataFrame:
    """Put lines in the order of the check log."""
    place = np.full(len(checks), -1)
    place[checks.index.get_indexer(lines.index)] = np.arange(len(lines))
    return lines.take(place[place >= 0])


def _with_deviations(lines: pd.DataFrame, noise: pd.DataFrame) -> pd.DataFrame:
    """Add how far an honest reading may be off, in volume and in time."""
    step = noise.groupby("ward")["time_step_min"].max() / 60
    return add_standard_deviations(lines, noise).assign(
        time_step_h=by_key(lines["ward"], step)
    )


def _slip_probability(
    readings: pd.DataFrame,
    slips: pd.Series,
    listing: list[Event],
    probability: pd.DataFrame,
) -> Array:
    """Give the probability that each reading is a slip, event or none."""
    runs = runs_of(readings["infusion_id"])
    names = readings["infusion_id"].iloc[runs.begins]
    none = runs.each(probability["none"].reindex(names).to_numpy())
    every: Array = slips.to_numpy() * none
    place = pd.Index(names).get_indexer(pd.Index([e.infusion_id for e in listing]))
    for event, begin in zip(listing, runs.begins[place].tolist(), strict=True):
        own = slice(begin, begin + len(event.slips))
        every[own] += event.slips * (1 - none[own])
    return every


def _with_slips(lines: pd.DataFrame, at: Array, slips: Array) -> pd.DataFrame:
    """Add the probability of a slip to readings, and which of them are doubtful."""
    out = np.full(len(lines), np.nan)
    out[at] = slips
    return lines.assign(slip_probability=out, is_doubtful=out > _DOUBTFUL)


def _add_flow_factors(
    verdicts: pd.DataFrame, lines: pd.DataFrame, runs: Runs, place: Array
) -> None:
    """Add delivered over set volume at the last reading that is not doubtful."""
    numbers = {
        name: lines[name].to_numpy(float)
        for name in ("delivered_ml", "expected_ml", "base_ml", "observed_ml")
    }
    good = (
        is_reading(lines)
        & ~lines["is_doubtful"].to_numpy(bool)
        & lines["has_start_volume"].to_numpy(bool)
        & (numbers["delivered_ml"] > 0)
    )
    good &= (numbers["expected_ml"] > 0) | ~lines["is_floored"].to_numpy(bool)
    at = runs.last_row(good)
    own = place[np.searchsorted(runs.begins, at, side="right") - 1]
    last = {name: values[at] for name, values in numbers.items()}
    reading_sd = lines["reading_sd_ml"].to_numpy(float)[at]
    factor = (last["base_ml"] - last["observed_ml"]) / last["delivered_ml"]
    half = 1.96 * np.hypot(reading_sd, OFFSET_SD_ML) / last["delivered_ml"]
    for name, values in (
        ("flow_factor", factor),
        ("flow_factor_low", np.maximum(factor - half, 0)),
        ("flow_factor_high", factor + half),
    ):
        verdicts[name] = in_place(values, own, len(verdicts), np.nan)
