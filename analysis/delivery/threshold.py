"""How probable an event must be to be listed: set by the wanted false-flag rate.

Infusions without any event are drawn from the fitted noise, on the log's own times,
rates and volumes and with the log's own shares of slips, and judged like the log. The
threshold is the probability that the wanted share of them exceeds.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.delivery import slips
from analysis.delivery.batches import Array
from analysis.delivery.last_readings import is_last, with_slip_ratios
from analysis.delivery.posterior import probabilities
from analysis.delivery.scan import scan

#: Infusions drawn, and the seed of the draw: the same log gives the same threshold.
DRAWN, SEED = 8000, 20_261

#: Nothing less probable than this is listed, whatever rate is wanted.
LEAST = 0.10

#: A log of fewer infusions says too little of its own: it has the threshold that logs
#: of the demo's wards have at 2, 10 and 50 false flags per 1,000 (by the same
#: simulation; between them by the log of the rate).
_FEWEST = 60
_USUAL_RATES, _USUAL = (2.0, 10.0, 50.0), (0.75, 0.37, 0.10)


@dataclass(frozen=True, slots=True, kw_only=True)
class Threshold:
    """What must be exceeded to be listed, and how it was found.

    Attributes
    ----------
    probability : float
        Event probability from which an infusion is listed.
    wanted_per_1000 : float
        The policy's false flags per 1,000 uneventful infusions.
    drawn : int
        Simulated uneventful infusions; 0 where the usual threshold stands in.
    false_per_1000, false_se : float
        Simulated false flags at that threshold, and their Monte Carlo error.
    """

    probability: float
    wanted_per_1000: float
    drawn: int
    false_per_1000: float
    false_se: float


def find_threshold(
    readings: pd.DataFrame,
    share: pd.Series,
    wanted_per_1000: float,
    ratios: pd.Series,
) -> Threshold:
    """Find the threshold that keeps the wanted false-flag rate, by simulation.

    Parameters
    ----------
    readings : DataFrame
        Readings with noise, as for `scan`.
    share : Series of float
        Prior share of events by infusion_id.
    wanted_per_1000 : float
        Wanted false flags per 1,000 uneventful infusions.
    ratios : Series of float
        As given by `slip_ratios`.

    Returns
    -------
    Threshold
        The higher of the simulated quantile and `LEAST`; a usual one for a log of few
        infusions.
    """
    if len(share) < _FEWEST:
        usual = np.interp(np.log(wanted_per_1000), np.log(_USUAL_RATES), _USUAL)
        return Threshold(
            probability=round(float(usual), 4),
            wanted_per_1000=wanted_per_1000,
            drawn=0,
            false_per_1000=wanted_per_1000,
            false_se=0.0,
        )
    drawn = draw_uneventful(readings, np.random.default_rng(SEED), ratios)
    evidence = with_slip_ratios(drawn, scan(drawn), ratios).table
    own = share.reindex(evidence.index.str.partition("\x1f").get_level_values(0))
    event = 1 - probabilities(evidence, own.set_axis(evidence.index))["none"]
    rate = wanted_per_1000 / 1000
    probability = max(float(np.quantile(event, 1 - min(rate, 1))), LEAST)
    false = float((event > probability).mean())
    n = len(event)
    return Threshold(
        probability=round(probability, 4),
        wanted_per_1000=wanted_per_1000,
        drawn=n,
        false_per_1000=1000 * false,
        false_se=float(1000 * np.sqrt(max(false, 1 / n) * (1 - false) / n)),
    )


def draw_uneventful(
    readings: pd.DataFrame, rng: np.random.Generator, ratios: pd.Series
) -> pd.DataFrame:
    """Draw readings of uneventful infusions on the times of real ones.

    Parameters
    ----------
    readings : DataFrame
        Readings with noise, in order of infusion and time.
    rng : Generator
        Source of the draw.
    ratios : Series of float
        As for `find_threshold`.

    Returns
    -------
    DataFrame
        As `readings`, some `DRAWN` infusions (each named after the one it stands on and
        a number), with other observed_ml.
    """
    ids = readings["infusion_id"].unique()
    times = -(-DRAWN // len(ids))
    some = ids[np.linspace(0, len(ids) - 1, min(DRAWN, len(ids))).astype("int64")]
    base = readings[readings["infusion_id"].isin(some)]
    every = pd.concat(
        [
            base.assign(infusion_id=base["infusion_id"] + f"\x1f{number}")
            for number in range(times)
        ],
        ignore_index=True,
    )
    share = every["slip_share"] * is_last(every).map(ratios)
    every["observed_ml"] = _readings(every.assign(slip_share=share), rng)
    # What rows say for a running driver stays; what they say against it is an event's.
    said = every["stopped_log_ratio"].clip(upper=0)
    return every.assign(stopped_log_ratio=said)


def _readings(rows: pd.DataFrame, rng: np.random.Generator) -> Array:
    code = rows.groupby("infusion_id", sort=False).ngroup().to_numpy()
    n = int(code[-1]) + 1
    shared = rng.standard_normal((2, n))[:, code]
    base, line = rows["base_ml"].to_numpy(), rows["delivered_ml"].to_numpy()
    offset = rows["offset_ml"] + rows["offset_sd_ml"] * shared[0]
    level = base + offset.to_numpy() - line * (1 + rows["flow_sd"] * shared[1])
    floored = rows["is_floored"].to_numpy()
    level = np.where(floored, np.clip(level, 0, None), level)
    step = rows["reading_step_ml"].to_numpy()
    # The step's own rounding is made by writing the reading, not drawn.
    spread = np.sqrt(np.clip(rows["reading_variance_ml2"] - step**2 / 12, 1e-6, None))
    read = level + spread.to_numpy() * rng.standard_normal(len(rows))
    read = np.round(np.where(floored, np.clip(read, 0, None), read) / step) * step
    return _with_slips(rows, read, code, rng)


def _with_slips(
    rows: pd.DataFrame, read: Array, code: Array, rng: np.random.Generator
) -> Array:
    """Write some readings wrongly, in the shares that the likelihood thinks of."""
    n = len(rows)
    base = rows["base_ml"].to_numpy()
    first = np.r_[True, code[1:] != code[:-1]]
    above = np.where(first, base, np.r_[0.0, read[:-1]])
    sizes = np.arange(len(slips.WHOLE_SHARES))
    chance = slips.WHOLE_SHARES / slips.WHOLE_SHARES.sum()
    whole = rng.choice(sizes, n, p=chance) * rng.choice([-1.0, 1.0], n)
    near = rng.uniform(-slips.NEAR_ML, slips.NEAR_ML, n)
    full = np.maximum(base, 16.0)
    wrong = np.stack(
        [above, read + whole, read + near, read / 10, rng.uniform(0, full), read * 10]
    )
    weights = np.array(
        [
            slips.COPIED,
            slips.WHOLE_ML,
            slips.NEAR,
            slips.TENTH,
            slips.ANYWHERE,
            slips.BEYOND,
        ]
    )
    kind = rng.choice(len(weights), n, p=weights / weights.sum())
    is_slip = rng.random(n) < rows["slip_share"].to_numpy()
    value = np.where(is_slip, wrong[kind, np.arange(n)], read)
    floored = rows["is_floored"].to_numpy()
    return np.where(floored, np.clip(value, 0, None), value)
