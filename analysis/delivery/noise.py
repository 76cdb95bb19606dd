"""How far an honest reading may lie off the line, from the ward's own readings.

SD^2 = (reading step^2 + start step^2)/12 + (rate x time step)^2/12 + offset^2
     + (0.025 x delivered)^2

The steps are the coarsest grids that nearly all of a ward's readings lie on. The two
constants are those of the model: flow accuracy of 5 % as two standard deviations (a
commonly stated device allowance), and an offset of the start volume by priming, dead
space and start-up lag (0.2 to 0.8 mL: common practice, no source).
"""

from typing import Any

import numpy as np
import pandas as pd

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
        start_step_ml, time_step_min, shortest_stall_h. The last is the stall that one
        reading in the middle of an infusion would show with 80 % power, by formula;
        two readings, which the rule asks for, show it a little less often.
    """
    read = lines[(lines["source"] != "") & ~lines["is_start"]]
    rows = []
    for (ward, source), group in read.groupby(["ward", "source"]):
        start = infusions.loc[infusions["ward"] == ward, "start_volume_ml"]
        local = group["checked_at"].dt
        minutes = (local.hour * 60 + local.minute).astype("float64")
        reading_step = coarsest_step(group["observed_ml"], VOLUME_STEPS_ML)
        start_step = coarsest_step(start, VOLUME_STEPS_ML)
        time_step = coarsest_step(minutes, _TIME_STEPS_MIN)
        row = {
            "ward": ward,
            "source": source,
            "readings": len(group),
            "reading_step_ml": reading_step,
            "start_step_ml": start_step,
            "time_step_min": time_step,
        }
        rate = group["rate_ml_h"].median()
        half = group["delivered_ml"].groupby(group["infusion_id"]).max().median() / 2
        sd = np.sqrt(
            _reading_variance(reading_step, time_step, rate)
            + _line_variance(start_step, half)
        )
        row["shortest_stall_h"] = round(float((LIMIT_SD + _POWER_80) * sd / rate), 1)
        rows.append(row)
    table = pd.DataFrame(rows, columns=_COLUMNS)
    # Named, since a log without any volume leaves nothing to tell the types by.
    return table.astype(dict.fromkeys(_COLUMNS[3:], "float64"))


_COLUMNS = [
    "ward",
    "source",
    "readings",
    "reading_step_ml",
    "start_step_ml",
    "time_step_min",
    "shortest_stall_h",
]


def _reading_variance(reading_step: Any, time_step: Any, rate: Any) -> Any:
    """Give the part that differs from reading to reading [mL^2]; scalars or Series."""
    return reading_step**2 / 12 + (rate * time_step / 60) ** 2 / 12


def _line_variance(start_step: Any, delivered: Any) -> Any:
    """Give the part that readings of one infusion share [mL^2]; scalars or Series."""
    return start_step**2 / 12 + OFFSET_SD_ML**2 + (FLOW_SD * delivered) ** 2


def add_standard_deviations(lines: pd.DataFrame, noise: pd.DataFrame) -> pd.DataFrame:
    """Add sd_ml, of an honest residual, and reading_sd_ml, of the reading alone.

    Parameters
    ----------
    lines : DataFrame
        As given by `expected_lines`.
    noise : DataFrame
        As given by `ward_noise`.

    Returns
    -------
    DataFrame
        `lines` with two columns more; NaN where there is no reading.
    """
    steps = noise.set_index(["ward", "source"])[
        ["reading_step_ml", "start_step_ml", "time_step_min"]
    ]
    where = pd.MultiIndex.from_frame(lines[["ward", "source"]])
    own = steps.reindex(where).set_axis(lines.index)
    reading = _reading_variance(
        own["reading_step_ml"], own["time_step_min"], lines["rate_ml_h"]
    )
    # Nothing flows beyond what the syringe held, and so no flow error either.
    held = lines["base_ml"].where(lines["is_floored"])
    delivered = lines["delivered_ml"].clip(upper=held.fillna(np.inf))
    shared = _line_variance(own["start_step_ml"], delivered)
    shared = shared + lines["step_variance_ml2"]
    out = lines.copy()
    out["reading_sd_ml"] = np.sqrt(reading)
    out["sd_ml"] = np.sqrt(reading + shared).round(3)
    return out
