"""Flow factor of each driver, pooled over its infusions.

One infusion tells little of its driver: readings are coarse, and no two syringes run
alike. Pooled, they do. Two random effects are estimated by moments (Paule and Mandel,
J Res Natl Bur Stand 1982; 87:377-385; from memory), as in a meta-analysis: infusions
differ within a driver, and drivers from one another. A driver with few infusions is
drawn towards the log's mean. What lies outside the accuracy of the policy is for a
check of the driver by whoever services it; why it does is not told by a log.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.optimize import brentq
from statsmodels.stats.meta_analysis import combine_effects

from analysis.delivery.fitted import STATED
from analysis.delivery.runs import runs_of
from analysis.terms import YesNo

#: Columns of the table, in order.
COLUMNS = [
    "driver_id",
    "infusions",
    "with_event",
    "not_pooled",
    "pooled_factor",
    "flow_factor",
    "flow_factor_low",
    "flow_factor_high",
    "outside",
    "sentence",
]

#: A start volume may be off by so much, standard deviation [mL]: so wide that a fixed
#: offset (priming, a late start) says nothing of the flow. Common practice, no source.
_ANY_OFFSET_ML = 2.0

#: The last part of a syringe is left out: a fast driver is empty there, and what is
#: left of a slow one would count alone. Judged by the line, never by the reading.
_LAST_PART = 0.1

#: An infusion whose own factor is less sure than this tells nothing (one sd).
_LEAST_SURE = 0.5

#: From so many drivers on, mean and spread of drivers are taken from the log.
FEWEST_DRIVERS = 5

#: From so many infusions beside the first of each driver on, their spread is estimated.
_FEWEST_WITHIN = 4

#: No factor is drawn further than this, in standard errors of its own.
_MOST_DRAWN = 0.5

#: Two means closer than this are one.
_TINY = 1e-12

#: For 95 % intervals.
_Z = 1.959963984540054


@dataclass(frozen=True, slots=True)
class _Spread:
    """How drivers differ: their mean factor less 1, and its spread as a variance."""

    mean: float
    between: float
    drivers: float


def driver_flow(
    readings: pd.DataFrame, infusions: pd.DataFrame, accuracy_pct: float
) -> pd.DataFrame:
    """Pool the flow factors of each driver's infusions.

    Parameters
    ----------
    readings : DataFrame
        Readings of evaluable infusions: the columns of `infusion_factors`.
    infusions : DataFrame
        Indexed by infusion_id: driver_id (empty where none is charted), kind (of its
        delivery finding, empty where it has none).
    accuracy_pct : float
        Flow accuracy of the policy, as +/- so many per cent.

    Returns
    -------
    DataFrame
        `COLUMNS`, one row a driver, by driver_id; none where no infusion names its
        driver. Infusions with a delivery finding are counted in with_event and not
        pooled; not_pooled are those whose readings tell nothing of the flow. Factors
        are NaN where nothing is pooled. A factor drawn towards the log's mean is
        flow_factor, with its 95 % interval; pooled_factor is not drawn.
    """
    known = infusions[infusions["driver_id"].fillna("") != ""]
    has_event = known["kind"] != ""
    factors = infusion_factors(readings)
    driver = known["driver_id"]
    # Coded once: each grouping of texts codes them anew.
    own = driver.where(~has_event).astype("category").reindex(factors.index)
    factors, own = factors[own.notna()], own[own.notna()]
    pooled = pool(factors, own.cat.remove_unused_categories(), accuracy_pct)
    pooled.index = pooled.index.astype("str")
    table = pd.DataFrame(
        {"infusions": driver.groupby(driver, observed=True).size()}
    ).rename_axis("driver_id")
    table["with_event"] = has_event.groupby(driver, observed=True).sum()
    every = table["infusions"]
    table = table.drop(columns="infusions").join(pooled)
    table["infusions"] = table["infusions"].fillna(0).astype("int64")
    table["not_pooled"] = every - table["infusions"] - table["with_event"]
    low, high = 1 - accuracy_pct / 100, 1 + accuracy_pct / 100
    is_out = (table["flow_factor_low"] > high) | (table["flow_factor_high"] < low)
    table["outside"] = np.where(is_out, YesNo.YES, YesNo.NO)
    table["sentence"] = [
        _in_words(row, accuracy_pct) for row in table.to_dict("records")
    ]
    return table.sort_index().reset_index()[COLUMNS]


def infusion_factors(readings: pd.DataFrame) -> pd.DataFrame:
    """Estimate the flow factor of each infusion, whatever its start offset is.

    Generalised least squares of the residuals on the set volume, with an offset that
    may be anything a syringe's start can be.

    Parameters
    ----------
    readings : DataFrame
        infusion_id, residual_ml, delivered_ml (by the line), expected_ml, base_ml,
        is_floored, reading_variance_ml2, slip_probability. A probable slip weighs as
        little as it is probable.

    Returns
    -------
    DataFrame
        Indexed by infusion_id: factor and variance. Infusions whose readings tell
        nothing are left out.
    """
    # No readings at all leave no type behind.
    floored = readings["is_floored"].to_numpy(bool)
    part = _LAST_PART * readings["base_ml"].to_numpy(float)
    tells = ~floored | (readings["expected_ml"].to_numpy(float) > part)
    at = np.flatnonzero(tells & readings["residual_ml"].notna().to_numpy(bool))
    slip, variance, given, off = (
        readings[name].to_numpy(float)[at]
        for name in (
            "slip_probability",
            "reading_variance_ml2",
            "delivered_ml",
            "residual_ml",
        )
    )
    weight = (1 - slip) / variance
    parts = {
        "w": weight,
        "wx": weight * given,
        "wxx": weight * given**2,
        "wy": weight * off,
        "wxy": weight * given * off,
    }
    whole = runs_of(readings["infusion_id"])
    run = whole.each(np.arange(len(whole.begins)))[at]
    runs = runs_of(run)
    names = readings["infusion_id"].iloc[at[runs.begins]]
    sums = pd.DataFrame(
        {name: runs.total(each) for name, each in parts.items()},
        index=pd.Index(names, name="infusion_id"),
    )
    level = sums["w"] + 1 / _ANY_OFFSET_ML**2
    spread = level * sums["wxx"] - sums["wx"] ** 2
    has = spread > 0
    sums, level, spread = sums[has], level[has], spread[has]
    # Behind the line is positive, so that the slope is 1 less the factor.
    slope = (level * sums["wxy"] - sums["wx"] * sums["wy"]) / spread
    found = pd.DataFrame({"factor": 1 - slope, "variance": level / spread})
    return found[found["variance"] < _LEAST_SURE**2]


def pool(factors: pd.DataFrame, driver: pd.Series, accuracy_pct: float) -> pd.DataFrame:
    """Pool factors by driver and draw each towards the mean of all.

    With fewer than `FEWEST_DRIVERS` drivers a log cannot tell how drivers differ: they
    are then taken to lie about 1, with the policy's accuracy as two standard
    deviations. Drawing moves no factor by more than half its own standard error
    (limited translation, Efron and Morris, J Am Stat Assoc 1972; 67:130-139; from
    memory), so that one driver unlike all others stays where its infusions are. Limits
    are Morris's for empirical Bayes estimates (J Am Stat Assoc 1983; 78:47-55; from
    memory): they allow for mean and spread being estimates too.

    Parameters
    ----------
    factors : DataFrame
        factor and variance, one row an infusion.
    driver : Series of str
        Driver of each, on the same index.
    accuracy_pct : float
        Flow accuracy of the policy, as +/- so many per cent.

    Returns
    -------
    DataFrame
        Indexed by driver: infusions, pooled_factor, flow_factor, flow_factor_low,
        flow_factor_high.
    """
    effect = factors["factor"] - 1
    variance = factors["variance"] + within_variance(
        effect, factors["variance"], driver
    )
    weight = 1 / variance
    total = weight.groupby(driver, observed=True).sum()
    mean = (weight * effect).groupby(driver, observed=True).sum() / total
    own = 1 / total
    spread = _between(mean, own, accuracy_pct)
    drawn = own / (own + spread.between)
    most = _MOST_DRAWN * np.sqrt(own)
    gap = spread.mean - mean
    drawn = np.minimum(drawn, most / gap.abs().clip(lower=_TINY))
    factor = mean + drawn * gap
    unsure = own * (1 - drawn * (1 - 1 / spread.drivers)) + (drawn * gap) ** 2
    half = _Z * np.sqrt(unsure)
    return pd.DataFrame(
        {
            "infusions": effect.groupby(driver, observed=True).size(),
            "pooled_factor": 1 + mean,
            "flow_factor": 1 + factor,
            "flow_factor_low": (1 + factor - half).clip(lower=0),
            "flow_factor_high": 1 + factor + half,
        }
    )


def within_variance(effect: pd.Series, variance: pd.Series, driver: pd.Series) -> float:
    """Estimate how infusions of one driver differ, by the method of moments.

    Paule and Mandel's estimator with Q and its degrees of freedom summed over drivers;
    with one driver it is theirs.

    Parameters
    ----------
    effect, variance : Series of float
        One value an infusion.
    driver : Series of str
        Driver of each.

    Returns
    -------
    float
        A variance, at least 0; the stated spread of the flow factor where hardly any
        driver has a second infusion.
    """
    code, drivers = pd.factorize(driver)
    free = len(effect) - len(drivers)
    value, own = effect.to_numpy(), variance.to_numpy()

    def excess(between: float) -> float:
        weight = 1 / (own + between)
        total = np.bincount(code, weight)
        mean = np.bincount(code, weight * value) / total
        return float((weight * (value - mean[code]) ** 2).sum()) - free

    if free < _FEWEST_WITHIN:
        return STATED["flow_sd"] ** 2
    if excess(0.0) <= 0:
        return 0.0
    # Q falls with the variance, and is below its degrees of freedom at this one.
    most = float(
        ((effect - effect.groupby(driver, observed=True).transform("mean")) ** 2).sum()
    )
    return float(brentq(excess, 0.0, most, xtol=1e-12))


def _between(mean: pd.Series, own: pd.Series, accuracy_pct: float) -> _Spread:
    if len(mean) < FEWEST_DRIVERS:
        return _Spread(mean=0.0, between=(accuracy_pct / 200) ** 2, drivers=np.inf)
    # Drivers that are all alike leave nothing to divide a statistic not used here by.
    with np.errstate(divide="ignore", invalid="ignore"):
        found = combine_effects(mean.to_numpy(), own.to_numpy(), method_re="pm")
    return _Spread(
        mean=float(found.mean_effect_re),
        between=max(float(found.tau2), 0.0),
        drivers=float(len(mean)),
    )


def _in_words(row: dict[object, object], accuracy_pct: float) -> str:
    """Say a driver's flow; outside the accuracy, that it is for a check."""
    n, events = int(str(row["infusions"])), int(str(row["with_event"]))
    if not n:
        said = "No infusion of this driver can tell of its flow."
    else:
        factor, low, high = (
            float(str(row[f"flow_factor{end}"])) for end in ("", "_low", "_high")
        )
        said = (
            f"Over {n} infusion{'s' * (n != 1)} consistent with {factor:.3f} of the "
            f"set rate (95 % interval {low:.3f} to {high:.3f})"
        )
        if row["outside"] == YesNo.YES:
            said += (
                f", outside +/-{accuracy_pct:g} %: for a check of the driver by "
                "whoever services it"
            )
        said += "."
    if events:
        said += (
            f" Left out {'are' if events > 1 else 'is'} {events} with a delivery "
            "finding: an event is no habit of the driver."
        )
    return said
