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
from analysis.delivery.posterior import probabilities
from analysis.delivery.scan import scan
from analysis.delivery.slip_kinds import kinds_of_slips
from analysis.delivery.slip_rates import SlipRatios, with_slip_ratios

#: Infusions drawn, and the seed of the draw: the same log gives the same threshold.
DRAWN, SEED = 8000, 20_261

#: Judging an infusion takes time by the square of its readings. One of more than this
#: many is drawn so much less often, at least once, and counts so much more: the draw of
#: a dense log takes little longer than the log itself.
_READINGS = 60

#: Draws, as if all counted the same, under which the quantile is too vague to go below
#: the usual threshold: at 10 per 1,000 it would rest on fewer than ten of them.
_LEAST_DRAWN = 1000

#: Nothing less probable than this is listed, whatever rate is wanted.
LEAST = 0.10

#: Share of the wanted rate that is aimed at. Real habits are not quite those of the
#: model, and a limit that is aimed at is passed by every other log.
_AIM = 0.85

#: A log of fewer infusions says too little of its own: it has the threshold that logs
#: of 15 and 30 infusions need for 2, 10 and 50 false flags per 1,000, between them by
#: the log of the rate. It cannot say how well its wards chart either: the thresholds
#: are those of the hard setting (``steadyfall evaluate --small --setting hard``; the
#: higher of the two sizes, to the next hundredth). In the ordinary one it flags fewer.
_FEWEST = 60
_USUAL_RATES, _USUAL = (2.0, 10.0, 50.0), (0.95, 0.49, 0.10)


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
    event: pd.Series,
    wanted_per_1000: float,
    ratios: SlipRatios,
) -> Threshold:
    """Find the threshold that keeps the wanted false-flag rate, by simulation.

    Parameters
    ----------
    readings : DataFrame
        Readings with noise, as for `scan`.
    share : Series of float
        Prior share of events by infusion_id.
    event : Series of float
        Event probability by infusion_id.
    wanted_per_1000 : float
        Wanted false flags per 1,000 uneventful infusions.
    ratios : SlipRatios
        As given by `slip_ratios`.

    Returns
    -------
    Threshold
        The higher of the simulated quantile and `LEAST`; a usual one for a log of few
        infusions.
    """
    usual = float(np.interp(np.log(wanted_per_1000), np.log(_USUAL_RATES), _USUAL))
    if len(share) < _FEWEST:
        return Threshold(
            probability=round(usual, 4),
            wanted_per_1000=wanted_per_1000,
            drawn=0,
            false_per_1000=wanted_per_1000,
            false_se=0.0,
        )
    drawn = draw_uneventful(readings, np.random.default_rng(SEED), ratios)
    found = scan(drawn)
    kinds = kinds_of_slips(drawn, found.slips.to_numpy())
    evidence = with_slip_ratios(drawn, found, ratios, kinds).table
    real = evidence.index.str.partition("\x1f").get_level_values(0)
    own = share.reindex(real)
    weight = 1 / real.value_counts().reindex(real).to_numpy()
    quiet = 1 - probabilities(evidence, own.set_axis(evidence.index))["none"]
    rate = min(_AIM * wanted_per_1000 / 1000, 1)
    simulated = weighted_quantile(quiet.to_numpy(), weight, 1 - rate)
    n = float(weight.sum() ** 2 / (weight**2).sum())
    least = LEAST if round(n) >= _LEAST_DRAWN else max(LEAST, usual)
    probability = max(simulated, by_list(event, rate), least)
    false = float(np.average(quiet > probability, weights=weight))
    return Threshold(
        probability=round(probability, 4),
        wanted_per_1000=wanted_per_1000,
        drawn=len(quiet),
        false_per_1000=1000 * false,
        false_se=float(1000 * np.sqrt(max(false, 1 / n) * (1 - false) / n)),
    )


def weighted_quantile(values: Array, weight: Array, share: float) -> float:
    """Find the value that a share of the weight lies below, between values linearly.

    Parameters
    ----------
    values, weight : ndarray
        Values and what each counts, more than 0.
    share : float
        Share of the weight, 0 to 1.

    Returns
    -------
    float
        With equal weights, numpy's quantile.

    Examples
    --------
    >>> weighted_quantile(np.array([3.0, 1.0, 2.0]), np.ones(3), 0.75)
    2.5
    """
    order = np.argsort(values, kind="stable")
    ordered, counts = values[order], weight[order]
    below = np.cumsum(counts) - counts
    return float(np.interp(share * below[-1], below, ordered))


def by_list(event: pd.Series, rate: float) -> float:
    """Find the threshold at which the list itself expects the wanted false flags.

    Parameters
    ----------
    event : Series of float
        Event probability of each infusion.
    rate : float
        Wanted share of uneventful infusions that are listed.

    Returns
    -------
    float
        The sum of 1 - event over those above it is at most the wanted share of that sum
        over all, or of one infusion where hardly any is uneventful; 0 where that holds
        for all.

    Examples
    --------
    >>> by_list(pd.Series([0.9, 0.8, 0.1, 0.0, 0.0, 0.0]), 0.05)
    0.8
    """
    ordered = np.sort(event.to_numpy())[::-1]
    expected = np.cumsum(1 - ordered)
    allowed = rate * max(expected[-1], 1.0)
    first = int(np.searchsorted(expected, allowed, side="right"))
    return float(np.r_[ordered, 0.0][first])


def draw_uneventful(
    readings: pd.DataFrame, rng: np.random.Generator, ratios: SlipRatios
) -> pd.DataFrame:
    """Draw readings of uneventful infusions on the times of real ones.

    Parameters
    ----------
    readings : DataFrame
        Readings with noise, in order of infusion and time.
    rng : Generator
        Source of the draw.
    ratios : SlipRatios
        As for `find_threshold`.

    Returns
    -------
    DataFrame
        As `readings`, some `DRAWN` infusions (each named after the one it stands on and
        a number; fewer of those with many readings), with other observed_ml.
    """
    ids = readings["infusion_id"].unique()
    times = -(-DRAWN // len(ids))
    some = ids[np.linspace(0, len(ids) - 1, min(DRAWN, len(ids))).astype("int64")]
    base = readings[readings["infusion_id"].isin(some)]
    size = base["infusion_id"].map(base["infusion_id"].value_counts())
    cost = (size / _READINGS).clip(lower=1) ** 2
    repeats = (times / cost).clip(lower=1).astype("int64")
    every = pd.concat(
        [
            rows.assign(infusion_id=rows["infusion_id"] + f"\x1f{number}")
            for number in range(times)
            if len(rows := base[repeats > number])
        ],
        ignore_index=True,
    )
    share = (every["slip_share"] * ratios.of(every)).clip(upper=0.5)
    is_slip = _which_slip(every, share.to_numpy(), ratios.second, rng)
    every["observed_ml"] = _readings(every, is_slip, np.array(ratios.kinds), rng)
    # What rows say for a running driver stays; what they say against it is an event's.
    said = every["stopped_log_ratio"].clip(upper=0)
    return every.assign(stopped_log_ratio=said)


def _which_slip(
    rows: pd.DataFrame, share: Array, second: float, rng: np.random.Generator
) -> Array:
    """Draw which readings are slips: none, one or two in an infusion."""
    code = rows.groupby("infusion_id", sort=False).ngroup().to_numpy()
    odds = share / (1 - share)
    one, square = np.bincount(code, odds), np.bincount(code, odds**2)
    two = second * (one**2 - square) / 2
    drawn = rng.random(len(one)) * (1 + one + two)
    count = (drawn > 1).astype("int64") + (drawn > 1 + one)
    # The largest of log odds plus Gumbel noise is a draw by odds; so are the next.
    place = np.log(np.maximum(odds, 1e-12)) + rng.gumbel(size=len(odds))
    rank = pd.Series(place).groupby(code).rank(ascending=False).to_numpy()
    chosen: Array = rank <= count[code]
    return chosen


def _readings(
    rows: pd.DataFrame, is_slip: Array, kinds: Array, rng: np.random.Generator
) -> Array:
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
    wrong = _as_slips(rows, read, code, kinds, rng)
    value = np.where(is_slip, wrong, read)
    return np.where(floored, np.clip(value, 0, None), value)


def _as_slips(
    rows: pd.DataFrame,
    read: Array,
    code: Array,
    kinds: Array,
    rng: np.random.Generator,
) -> Array:
    """Write readings wrongly, in the log's own shares of kinds."""
    n = len(rows)
    base = rows["base_ml"].to_numpy()
    first = np.r_[True, code[1:] != code[:-1]]
    above = np.where(first, base, np.r_[0.0, read[:-1]])
    of_whole = kinds[-len(slips.WHOLE_SHARES) + 1 :]
    sizes = np.arange(1, len(slips.WHOLE_SHARES))
    chance = of_whole / of_whole.sum()
    whole = rng.choice(sizes, n, p=chance) * rng.choice([-1.0, 1.0], n)
    near = rng.uniform(-slips.NEAR_ML, slips.NEAR_ML, n)
    full = np.maximum(base, 16.0)
    wrong = np.stack(
        [above, read + near, read / 10, rng.uniform(0, full), read * 10, read + whole]
    )
    weights = np.r_[kinds[: -len(sizes)], of_whole.sum()]
    kind = rng.choice(len(weights), n, p=weights / weights.sum())
    values: Array = wrong[kind, np.arange(n)]
    return values
