"""How far an honest reading may lie off the line, from the ward's own readings.

SD^2 = (reading step^2 + start step^2)/12 + (rate x time step)^2/12 + offset^2
     + (0.025 x delivered)^2

The steps are the coarsest grids that nearly all of a ward's readings lie on. The two
constants are those of the model: flow accuracy of 5 % as two standard deviations (a
commonly stated device allowance), and an offset of the start volume by priming, dead
space and start-up lag (0.2 to 0.8 mL: common practice, no source).
"""

import numpy as np
import pandas as pd

from analysis.delivery.fitted import STATED
from analysis.delivery.runs import by_ward_and_source, runs_of
from analysis.lookup import by_key, by_pair

FLOW_SD = 0.025
OFFSET_SD_ML = 0.25

#: A reading beyond so many standard deviations is off the line.
LIMIT_SD = 3.0

#: Share of readings that must lie on a grid: the rest are slips or another hand.
_ON_GRID = 0.9
#: Steps that volumes are read in, coarsest first.
VOLUME_STEPS_ML = (1.0, 0.5, 0.25, 0.2, 0.1, 0.05, 0.01)
_TIME_STEPS_MIN = (60.0, 30.0, 15.0, 10.0, 5.0, 1.0)
_POWER_80 = 0.8416  # standard normal quantile at 0.80


def coarsest_step(values: pd.Series, steps: tuple[float, ...]) -> float:
    """Give the coarsest step on whose grid at least 90 % of the values lie.

    Parameters
    ----------
    values : Series of float
        NaN is left out.
    steps : tuple of float
        Candidates, coarsest first.

    Returns
    -------
    float
        The last candidate if none fits or no value is given.

    Examples
    --------
    >>> coarsest_step(pd.Series([13.5, 11.0, 8.5, 6.0]), (1.0, 0.5, 0.1))
    0.5
    """
    known = values.dropna().to_numpy(float)
    for step in steps:
        if len(known) and np.mean(_off_grid(known, step) < 1e-6) >= _ON_GRID:
            return step
    return steps[-1]


def _off_grid(values: np.ndarray, step: float) -> np.ndarray:
    return np.abs(values - np.round(values / step) * step)


def ward_noise(lines: pd.DataFrame, infusions: pd.DataFrame) -> pd.DataFrame:
    """Find the reading and time steps of each ward and kind of reading.

    Parameters
    ----------
    lines : DataFrame
        As given by `expected_lines`.
    infusions : DataFrame
        One row an infusion, with ward and start_volume_ml.

    Returns
    -------
    DataFrame
        One row a ward and source, sorted: ward, source, readings, reading_step_ml,
        start_step_ml, time_step_min, rate_ml_h (median) and half_ml (half of what a
        usual infusion delivers). All but readings and start_step_ml are taken from a
        sample where there are many infusions (`by_ward_and_source`).
    """
    has = (lines["source"] != "").to_numpy(bool) & ~lines["is_start"].to_numpy(bool)
    at = np.flatnonzero(has)
    keys = lines[["ward", "source", "infusion_id"]].take(at)
    starts = infusions["start_volume_ml"].groupby(infusions["ward"])
    start_steps = starts.agg(lambda start: coarsest_step(start, VOLUME_STEPS_ML))
    rows = []
    for (ward, source), readings, sample in by_ward_and_source(keys, _ENOUGH):
        group = lines[_LOOKED_AT].take(at[sample])
        local = group["checked_at"].dt
        minutes = (local.hour * 60 + local.minute).astype("float64")
        row = {
            "ward": ward,
            "source": source,
            "readings": readings,
            "reading_step_ml": coarsest_step(group["observed_ml"], VOLUME_STEPS_ML),
            "start_step_ml": start_steps.get(ward, VOLUME_STEPS_ML[-1]),
            "time_step_min": coarsest_step(minutes, _TIME_STEPS_MIN),
        }
        # By the line nothing comes back: the last row has the most.
        given = group["delivered_ml"].iloc[runs_of(group["infusion_id"]).ends]
        row["rate_ml_h"] = group["rate_ml_h"].median()
        row["half_ml"] = given.median() / 2
        rows.append(row)
    table = pd.DataFrame(rows, columns=_COLUMNS)
    # Named, since a log without any volume leaves nothing to tell the types by.
    return table.astype(dict.fromkeys(_COLUMNS[3:], "float64"))


#: Infusions of a ward and kind of reading that steps and medians are taken from.
_ENOUGH = 5000

_LOOKED_AT = [
    "infusion_id",
    "checked_at",
    "observed_ml",
    "delivered_ml",
    "rate_ml_h",
]

_COLUMNS = [
    "ward",
    "source",
    "readings",
    "reading_step_ml",
    "start_step_ml",
    "time_step_min",
    "rate_ml_h",
    "half_ml",
]


def with_rounding(readings: pd.DataFrame, noise: pd.DataFrame) -> pd.DataFrame:
    """Put beside each reading what the ward's steps do to it.

    Parameters
    ----------
    readings : DataFrame
        Rows of `expected_lines`.
    noise : DataFrame
        As given by `ward_noise`.

    Returns
    -------
    DataFrame
        With reading_step_ml, start_step_ml and rounding_variance_ml2: of volume and
        time, and of rate steps whose time is not known.
    """
    steps = noise.set_index(["ward", "source"])[
        ["reading_step_ml", "start_step_ml", "time_step_min"]
    ]
    own = by_pair(readings, steps)
    off = readings["rate_ml_h"] * own["time_step_min"] / 60
    return readings.assign(
        reading_step_ml=own["reading_step_ml"],
        start_step_ml=own["start_step_ml"],
        rounding_variance_ml2=own["reading_step_ml"] ** 2 / 12
        + off**2 / 12
        + readings["step_variance_ml2"],
    )


def with_fitted(
    noise: pd.DataFrame, fitted: pd.DataFrame, shares: pd.Series
) -> pd.DataFrame:
    """Add to a ward's steps the noise fitted to its readings.

    Parameters
    ----------
    noise : DataFrame
        As given by `ward_noise`.
    fitted : DataFrame
        As given by `fit_noise`.
    shares : Series of float
        Estimated share of infusions with an event, by ward.

    Returns
    -------
    DataFrame
        `noise` with the fitted columns, event_share and shortest_stall_h.
    """
    own = by_pair(noise, fitted)
    # A ward whose infusions cannot be evaluated has the stated values.
    own = own.fillna(value=STATED)
    out = noise.assign(**{name: own[name].astype("float64") for name in STATED})
    out["event_share"] = by_key(noise["ward"], shares)
    rounding = (
        out["reading_step_ml"] ** 2
        + (out["rate_ml_h"] * out["time_step_min"] / 60) ** 2
        + out["start_step_ml"] ** 2
    ) / 12
    sd = np.sqrt(
        rounding
        + out["reading_error_ml"] ** 2
        + out["offset_sd_ml"] ** 2
        + (out["flow_sd"] * out["half_ml"]) ** 2
    )
    stall = (LIMIT_SD + _POWER_80) * sd / out["rate_ml_h"]
    return out.drop(columns=["rate_ml_h", "half_ml"]).assign(
        shortest_stall_h=stall.round(1)
    )


def add_standard_deviations(lines: pd.DataFrame, noise: pd.DataFrame) -> pd.DataFrame:
    """Add sd_ml, of an honest residual, and reading_sd_ml, of the reading alone.

    Parameters
    ----------
    lines : DataFrame
        As given by `expected_lines`.
    noise : DataFrame
        As given by `with_fitted`.

    Returns
    -------
    DataFrame
        `lines` with two columns more; NaN where there is no reading.
    """
    by = noise.set_index(["ward", "source"])
    # What is the same for all readings of a ward is worked out once.
    own = by_pair(
        lines,
        pd.DataFrame(
            {
                "reading": by["reading_step_ml"] ** 2 / 12
                + by["reading_error_ml"] ** 2,
                "time": (by["time_step_min"] / 60) ** 2 / 12,
                "start": by["start_step_ml"] ** 2 / 12 + by["offset_sd_ml"] ** 2,
                "flow": by["flow_sd"],
            }
        ),
    )
    each, time, start, flow = (own[name].to_numpy() for name in own)
    rate, step, given, base = (
        lines[name].to_numpy(float)
        for name in ("rate_ml_h", "step_variance_ml2", "delivered_ml", "base_ml")
    )
    reading = rate * rate
    reading *= time
    reading += each
    reading += step
    # Nothing flows beyond what the syringe held, and so no flow error either.
    flowed = np.where(lines["is_floored"] & (base < given), base, given)
    flowed *= flow
    flowed *= flowed
    flowed += start
    flowed += reading
    return lines.assign(reading_sd_ml=np.sqrt(reading), sd_ml=np.sqrt(flowed).round(3))
