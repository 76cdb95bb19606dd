"""Noise of a ward's readings, estimated from the log itself.

Reading error, offset of the start volume, spread of the flow factor and share of slips
are fitted to all infusions of a ward by penalised likelihood. An infusion may also be
of another sort altogether (an event), which keeps events out of the estimates. The
penalty pulls a ward with few infusions to the stated values.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields

import numpy as np
import pandas as pd
from scipy.optimize import minimize

from analysis.delivery.batches import Array, Batch, batches
from analysis.delivery.likelihood import log_likelihood
from analysis.delivery.runs import by_ward_and_source
from analysis.delivery.slips import slip_density
from analysis.lookup import by_pair
from analysis.workers import Map, one_by_one

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

#: A ward of fewer infusions has the stated values. Of a few, the penalty leaves what
#: their readings insist on: without it logs of five had twice the false flags wanted.
_FEWEST = 2

#: Variance of a reading that is not there [mL^2]: it says nothing, and adds the same to
#: each likelihood whatever the noise is.
_ABSENT_ML2 = 1e12
_MOST = 400_000


def fit_noise(readings: pd.DataFrame, run: Map = one_by_one) -> pd.DataFrame:
    """Estimate the noise of each ward and kind of reading.

    Parameters
    ----------
    readings : DataFrame
        Readings of evaluable infusions in order of infusion and time: ward, source,
        rounding_variance_ml2 (of step and time), start_step_ml, and the columns that
        `batches` needs; noise columns are not looked at.
    run : Map
        Does one ward and kind of reading after another, or several at once.

    Returns
    -------
    DataFrame
        Indexed by ward and source: the names of `STATED`. The start step's own rounding
        is not in offset_sd_ml.
    """
    samples = [
        (key, readings.take(rows))
        for key, _, rows in by_ward_and_source(readings, _ENOUGH)
    ]
    fits = run(_fit, [sample for _, sample in samples])
    found = dict(zip([key for key, _ in samples], fits, strict=True))
    table = pd.DataFrame(found, index=list(STATED)).T
    table.index = pd.MultiIndex.from_tuples(found, names=["ward", "source"])
    return table


def _fit(readings: pd.DataFrame) -> dict[str, float]:
    if readings["infusion_id"].nunique() < _FEWEST:
        return dict(STATED)
    every = _together(readings)
    stated = _packed(STATED)

    # Infusions of another sort are the same whatever the ward's own noise is.
    wide = _likelihoods(every, {**STATED, **_OTHER})

    def cost(values: Array) -> float:
        usual = _likelihoods(every, _unpacked(values))
        mixed = np.logaddexp(
            np.log1p(-_OTHER_SHARE) + usual, np.log(_OTHER_SHARE) + wide
        )
        total = float(mixed.sum())
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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Together:
    """Infusions of a ward in one batch, filled up with readings that are not there.

    rounding (of each reading) and start (of the start volume) are variances [mL^2].
    """

    batch: Batch
    slip: Array
    rounding: Array
    start: float
    is_there: Array


def _together(readings: pd.DataFrame) -> _Together:
    """Put infusions of any number of readings into one batch."""
    parts = list(batches(with_noise(readings, STATED), _MOST))
    most = max(part.shape[1] for part in parts)

    def filled(arrays: list[Array], value: float | None = None) -> Array:
        # Without a value the last reading stands again: nothing leaves its range.
        if arrays[0].ndim == 1:
            return np.concatenate(arrays)
        how = "edge" if value is None else "constant"
        more: dict[str, float] = {} if value is None else {"constant_values": value}
        return np.concatenate(
            [
                np.pad(array, ((0, 0), (0, most - array.shape[1])), how, **more)  # type: ignore[call-overload]
                for array in arrays
            ]
        )

    rounding = readings["rounding_variance_ml2"].to_numpy()
    return _Together(
        batch=Batch(
            **{
                field.name: filled([getattr(part, field.name) for part in parts])
                for field in fields(Batch)
            }
        ),
        slip=filled([slip_density(part) for part in parts]),
        rounding=filled([rounding[part.row] for part in parts], _ABSENT_ML2),
        start=float(readings["start_step_ml"].iloc[0]) ** 2 / 12,
        is_there=filled([np.ones(part.shape) for part in parts], 0.0),
    )


def _likelihoods(every: _Together, noise: Mapping[str, float]) -> Array:
    """Give the log likelihood of each infusion without an event, shape (n,).

    Up to a constant, the same for any noise.
    """
    n, k = every.batch.shape
    own = every.batch.having(
        variance_ml2=every.rounding + noise["reading_error_ml"] ** 2,
        offset_ml=np.full(n, noise["offset_ml"]),
        offset_sd_ml=np.full(n, np.sqrt(every.start + noise["offset_sd_ml"] ** 2)),
        flow_sd=np.full(n, noise["flow_sd"]),
        slip_share=noise["slip_share"] * every.is_there,
    )
    total, *_ = log_likelihood(own, np.zeros((n, 1, k)), every.slip)
    each: Array = total[:, 0]
    return each


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
        own = by_pair(readings, noise)
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
