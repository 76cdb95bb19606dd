"""Noise of a ward's readings, estimated from the log itself.

Reading error, offset of the start volume, spread of the flow factor and share of slips
are fitted to all infusions of a ward by penalised likelihood. An infusion may also be
of another sort altogether (an event), which keeps events out of the estimates. The
penalty pulls a ward with few infusions to the stated values.
"""

from collections.abc import Mapping

import numpy as np
import pandas as pd
from scipy.optimize import minimize

from analysis.delivery.batches import Array, Batch, batches
from analysis.delivery.likelihood import log_likelihood
from analysis.delivery.slips import slip_density

#: Stated values: mean offset of the start volume, its spread, spread of the flow factor
#: (5 % as two standard deviations is a commonly stated device allowance), reading error
#: besides rounding, share of slips among readings. Common practice, no source.
STATED = {
    "offset_ml": 0.0,
    "offset_sd_ml": 0.20,
    "flow_sd": 0.02,
    "reading_error_ml": 0.10,
    "slip_share": 0.015,
}

#: How far a ward may well be from the stated values: mL for the mean offset, the log of
#: the ratio for spreads, the log odds for slips.
_SPREAD = np.array([0.25, 0.5, 0.4, 0.6, 0.7])

#: Share of infusions of another sort, and how wide their noise is.
_OTHER_SHARE = 0.1
_OTHER = {"offset_sd_ml": 2.0, "flow_sd": 0.3, "reading_error_ml": 1.5}

#: Infusions of a ward that are used, evenly spread over the log.
_ENOUGH = 600

#: A ward of fewer infusions has the stated values.
_FEWEST = 6
_MOST = 400_000


def fit_noise(readings: pd.DataFrame) -> pd.DataFrame:
    """Estimate the noise of each ward and kind of reading.

    Parameters
    ----------
    readings : DataFrame
        Readings of evaluable infusions in order of infusion and time: ward, source,
        rounding_variance_ml2 (of step and time), start_step_ml, and the columns that
        `batches` needs; noise columns are not looked at.

    Returns
    -------
    DataFrame
        Indexed by ward and source: the names of `STATED`. The start step's own rounding
        is not in offset_sd_ml.
    """
    found = {
        key: _fit(_some(group)) for key, group in readings.groupby(["ward", "source"])
    }
    table = pd.DataFrame(found, index=list(STATED)).T
    table.index = pd.MultiIndex.from_tuples(found, names=["ward", "source"])
    return table


def _some(readings: pd.DataFrame) -> pd.DataFrame:
    ids = readings["infusion_id"].unique()
    at = np.linspace(0, len(ids) - 1, min(_ENOUGH, len(ids))).astype("int64")
    return readings[readings["infusion_id"].isin(ids[at])]


def _fit(readings: pd.DataFrame) -> dict[str, float]:
    if readings["infusion_id"].nunique() < _FEWEST:
        return dict(STATED)
    parts = [(b, slip_density(b)) for b in batches(with_noise(readings, STATED), _MOST)]
    rounding = [readings["rounding_variance_ml2"].to_numpy()[b.row] for b, _ in parts]
    start = float(readings["start_step_ml"].iloc[0]) ** 2 / 12
    stated = _packed(STATED)

    # Infusions of another sort are the same whatever the ward's own noise is.
    wide = [
        _likelihoods(batch, slip, own, {**STATED, **_OTHER}, start)
        for (batch, slip), own in zip(parts, rounding, strict=True)
    ]

    def cost(values: Array) -> float:
        noise = _unpacked(values)
        total = 0.0
        for (batch, slip), own, other in zip(parts, rounding, wide, strict=True):
            usual = _likelihoods(batch, slip, own, noise, start)
            mixed = np.logaddexp(
                np.log1p(-_OTHER_SHARE) + usual, np.log(_OTHER_SHARE) + other
            )
            total += float(mixed.sum())
        return -total + float(0.5 * (((values - stated) / _SPREAD) ** 2).sum())

    step = np.array([0.1, 0.4, 0.4, 0.5, 0.4])
    simplex = stated + np.vstack([np.zeros(len(step)), np.diag(step)])
    best = minimize(
        cost,
        stated,
        method="Nelder-Mead",
        options={
            "initial_simplex": simplex,
            "xatol": 0.05,
            "fatol": 0.3,
            "maxfev": 300,
        },
    )
    return _unpacked(best.x)


def _likelihoods(
    batch: Batch,
    slip: Array,
    rounding: Array,
    noise: Mapping[str, float],
    start: float,
) -> Array:
    """Give the log likelihood of each infusion without an event, shape (n,)."""
    n, k = batch.shape
    own = _with(batch, rounding, noise, start)
    total, *_ = log_likelihood(own, np.zeros((n, 1, k)), slip)
    each: Array = total[:, 0]
    return each


def _with(
    batch: Batch, rounding: Array, noise: Mapping[str, float], start: float
) -> Batch:
    n, _ = batch.shape
    return batch.having(
        variance_ml2=rounding + noise["reading_error_ml"] ** 2,
        offset_ml=np.full(n, noise["offset_ml"]),
        offset_sd_ml=np.full(n, np.sqrt(start + noise["offset_sd_ml"] ** 2)),
        flow_sd=np.full(n, noise["flow_sd"]),
        slip_share=np.full(batch.shape, noise["slip_share"]),
    )


def _packed(noise: Mapping[str, float]) -> Array:
    """Give the values on the scale that they are fitted on."""
    share = noise["slip_share"]
    return np.array(
        [
            noise["offset_ml"],
            *np.log(
                [noise[n] for n in ("offset_sd_ml", "flow_sd", "reading_error_ml")]
            ),
            np.log(share / (1 - share)),
        ]
    )


def _unpacked(values: Array) -> dict[str, float]:
    offset, sd, flow, error, odds = (float(value) for value in values)
    return {
        "offset_ml": offset,
        "offset_sd_ml": float(np.exp(sd)),
        "flow_sd": float(np.exp(flow)),
        "reading_error_ml": float(np.exp(error)),
        "slip_share": float(1 / (1 + np.exp(-odds))),
    }


def with_noise(
    readings: pd.DataFrame, noise: pd.DataFrame | Mapping[str, float]
) -> pd.DataFrame:
    """Put the noise of its ward and source beside each reading.

    Parameters
    ----------
    readings : DataFrame
        ward, source, rounding_variance_ml2, start_step_ml.
    noise : DataFrame or mapping
        As given by `fit_noise`, or one set of values for all.

    Returns
    -------
    DataFrame
        With reading_variance_ml2, offset_ml, offset_sd_ml (with the rounding of the
        start volume), flow_sd and slip_share.
    """
    if isinstance(noise, pd.DataFrame):
        where = pd.MultiIndex.from_frame(readings[["ward", "source"]])
        own = noise.reindex(where).set_axis(readings.index)
    else:
        own = pd.DataFrame(dict(noise), index=readings.index)
    return readings.assign(
        reading_variance_ml2=readings["rounding_variance_ml2"]
        + own["reading_error_ml"] ** 2,
        offset_ml=own["offset_ml"],
        offset_sd_ml=np.sqrt(
            readings["start_step_ml"] ** 2 / 12 + own["offset_sd_ml"] ** 2
        ),
        flow_sd=own["flow_sd"],
        slip_share=own["slip_share"],
    )
