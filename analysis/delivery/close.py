"""One infusion looked at closely: every explanation with its window, volume and line.

The audit looks closely at the likeliest kind of the infusions it lists. Whoever reviews
one infusion wants to see them all, also where nothing is listed.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import softmax

from analysis.delivery.batches import Array, Batch, batches
from analysis.delivery.decision import CLOSE, Event, events
from analysis.delivery.evidence import stopped_log_ratio
from analysis.delivery.fitted import STATED, with_noise
from analysis.delivery.hypotheses import HYPOTHESES, Hypothesis
from analysis.delivery.likelihood import log_likelihood
from analysis.delivery.line import delivered_by_end
from analysis.delivery.noise import with_rounding
from analysis.delivery.scan import weigh
from analysis.delivery.shapes import Shapes
from analysis.delivery.slips import slip_density
from analysis.terms import FindingKind

NONE = "none"

#: Points of a line that is drawn.
_POINTS = 241

#: A level this low says nothing of offset and flow: an empty syringe stays empty [mL].
_EMPTY_ML = 0.3

_STOPS = (FindingKind.STALL, FindingKind.STALL_TO_END)


@dataclass(frozen=True, slots=True, kw_only=True)
class Explained:
    """One explanation of an infusion's readings.

    Attributes
    ----------
    kind : str
        A kind of event, or ``none``.
    probability : float
        P(this | readings, model, prior); all explanations of an infusion add up to 1.
    event : Event or None
        Windows and volume given this kind; None for ``none``.
    readings : DataFrame
        The readings that were judged, in order of time, as `Event` counts them, with
        slip_probability given this kind.
    line : DataFrame
        elapsed_h and fitted_ml: the mean level by this explanation, over all its
        shapes, with start offset and flow factor as fitted to these readings. Of
        volumes given only: minus the volume given.
    """

    kind: str
    probability: float
    event: Event | None
    readings: pd.DataFrame
    line: pd.DataFrame


def look_closely(
    lines: pd.DataFrame,
    checks: pd.DataFrame,
    infusions: pd.DataFrame,
    noise: pd.DataFrame,
    probability: pd.DataFrame,
) -> tuple[Explained, ...]:
    """Weigh all explanations of one infusion.

    Parameters
    ----------
    lines : DataFrame
        Its rows of `Delivery.lines`.
    checks : DataFrame
        Its rows of the check log, on the same index.
    infusions : DataFrame
        Its row, indexed by infusion_id.
    noise : DataFrame
        `Delivery.noise`.
    probability : DataFrame
        Its row of `Delivery.probabilities`.

    Returns
    -------
    tuple of Explained
        The likeliest first; empty where the infusion cannot be evaluated.
    """
    readings = _readings(lines, checks, infusions, noise)
    if probability.empty or readings.empty:
        return ()
    [batch] = batches(readings, len(readings))
    found = [
        _none(batch, readings, float(probability["none"].iloc[0])),
        *_events(batch, readings, probability),
    ]
    return tuple(sorted(found, key=lambda one: -one.probability))


def _readings(
    lines: pd.DataFrame,
    checks: pd.DataFrame,
    infusions: pd.DataFrame,
    noise: pd.DataFrame,
) -> pd.DataFrame:
    """Give the readings as the audit judged them."""
    has = lines["residual_ml"].notna() & ~lines["is_start"] & ~lines["is_after_end"]
    read = lines[has].sort_values("checked_at", kind="stable")
    if len(read) and not read["has_start_volume"].iloc[0]:
        read = read.iloc[1:]  # the line's own beginning
    said = stopped_log_ratio(checks.loc[read.index], read["observed_ml"])
    end = delivered_by_end(lines, infusions)
    fitted = noise.set_index(["ward", "source"])[list(STATED)]
    read = with_noise(with_rounding(read, noise), fitted)
    return read.assign(
        stopped_log_ratio=said,
        end_delivered_ml=float(end.iloc[0]) if len(end) else np.nan,
    )


def _none(batch: Batch, readings: pd.DataFrame, probability: float) -> Explained:
    n, k = batch.shape
    _, slips, _ = log_likelihood(
        batch, np.zeros((n, 1, k)), slip_density(batch), pairs=True
    )
    hours = np.linspace(0, batch.elapsed_h[0, -1], _POINTS)
    return Explained(
        kind=NONE,
        probability=probability,
        event=None,
        readings=readings.assign(slip_probability=slips[0, 0]),
        line=_line(batch, hours, np.zeros(_POINTS), np.zeros(k), slips[0, 0]),
    )


def _events(
    batch: Batch, readings: pd.DataFrame, probability: pd.DataFrame
) -> Iterator[Explained]:
    slip = slip_density(batch)
    hours = np.linspace(0, batch.elapsed_h[0, -1], _POINTS)
    for hypothesis in HYPOTHESES:
        shapes = hypothesis.shapes(batch, CLOSE)
        log_weight, slips = weigh(batch, shapes, slip)
        if not np.isfinite(log_weight[0]).any():
            continue  # no such event can be, as of a volume that never rises
        weight = softmax(log_weight[0])
        own = (weight[:, None] * slips[0]).sum(0)
        lost = (weight[:, None] * shapes.lost_ml[0]).sum(0)
        between = _lost_at(batch, hypothesis, hours, shapes, weight)
        yield Explained(
            kind=str(hypothesis.kind),
            probability=float(probability[str(hypothesis.kind)].iloc[0]),
            event=_event(readings, probability, str(hypothesis.kind)),
            readings=readings.assign(slip_probability=own),
            line=_line(batch, hours, between, lost, own),
        )


def _event(readings: pd.DataFrame, probability: pd.DataFrame, kind: str) -> Event:
    """Look at this kind as the audit looks at the likeliest."""
    alone = pd.DataFrame(0.0, index=probability.index, columns=probability.columns)
    alone[kind] = 1.0
    [event] = events(readings, alone)
    return event


def _lost_at(
    batch: Batch, hypothesis: Hypothesis, hours: Array, shapes: Shapes, weight: Array
) -> Array:
    """Give the volume not delivered by some hours, the mean over shapes."""
    if hypothesis.kind in _STOPS:
        # A stop is laid on the line and may be asked for at any hour.
        asked = batch.having(
            elapsed_h=hours[None, :],
            delivered_ml=batch.line_at(hours[None, :]),
            stopped_log_ratio=np.zeros((1, len(hours))),
        )
        lost = hypothesis.shapes(asked, CLOSE).lost_ml[0]
        return np.asarray((weight[:, None] * lost).sum(0))
    known = (weight[:, None] * shapes.lost_ml[0]).sum(0)
    return np.interp(hours, np.r_[0, batch.elapsed_h[0]], np.r_[0, known])


def _line(
    batch: Batch, hours: Array, lost: Array, lost_read: Array, slips: Array
) -> pd.DataFrame:
    """Give the fitted level: offset and flow drawn from the readings and their prior.

    Ridge regression of the residuals on the two shared errors (any textbook of linear
    models); a reading counts as far as it is no slip.
    """
    given = np.clip(batch.delivered_ml[0] - lost_read, 0, None)
    level = batch.base_ml[0] + batch.offset_ml[0] - given
    counts = (1 - slips) / batch.variance_ml2[0]
    if batch.is_floored[0]:
        counts = counts * (level > _EMPTY_ML)
    by = np.column_stack(
        [np.full(len(given), batch.offset_sd_ml[0]), -batch.flow_sd[0] * given]
    )
    inner = np.eye(2) + by.T @ (by * counts[:, None])
    shared = np.linalg.solve(inner, by.T @ (counts * (batch.observed_ml[0] - level)))
    drawn = np.clip(batch.line_at(hours[None, :])[0] - lost, 0, None)
    start = batch.base_ml[0] + batch.offset_ml[0] + batch.offset_sd_ml[0] * shared[0]
    fitted = start - drawn * (1 + batch.flow_sd[0] * shared[1])
    if batch.is_floored[0]:
        fitted = np.clip(fitted, 0, None)
    return pd.DataFrame({"elapsed_h": hours, "fitted_ml": fitted})
