"""Reading steps and the standard deviation of an honest reading."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.delivery.fitted import STATED, fit_noise, with_noise
from analysis.delivery.noise import coarsest_step
from tests.tiny import audit, syringe

VOLUME_STEPS = (1.0, 0.5, 0.25, 0.2, 0.1, 0.05, 0.01)


@pytest.mark.parametrize(
    ("values", "step"),
    [
        pytest.param([16, 13, 11, 8], 1.0, id="whole millilitres"),
        pytest.param([16, 13.5, 11, 8], 0.5, id="halves"),
        pytest.param([16, 13.3, 10.7, 8], 0.1, id="tenths"),
        pytest.param([16, 13.25, 10.75], 0.25, id="quarters"),
        pytest.param([*range(1, 11), 3.7], 1.0, id="one of eleven off is a slip"),
        pytest.param([*range(1, 10), 3.7, 4.7], 0.1, id="two of eleven off are not"),
        pytest.param([], 0.01, id="no value: the finest"),
        pytest.param([float("nan")], 0.01, id="not recorded: the finest"),
    ],
)
def test_the_coarsest_step_that_nearly_all_readings_lie_on(
    values: list[float], step: float
) -> None:
    found = coarsest_step(pd.Series(values, dtype="float64"), VOLUME_STEPS)
    assert found == step


def test_the_sd_of_a_ward_that_reads_whole_millilitres_on_the_hour(
    tmp_path: Path,
) -> None:
    # Trade: SD about 0.5 mL at 12 h for 1 mL / 1 h, without an offset. By hand, with
    # the stated values that a ward of few infusions has: reading 1/12 + 0.1^2, start
    # 1/12, time (16/24)^2/12, flow (0.02 x 8)^2: 0.2393, SD 0.489. With the stated
    # offset of 0.2 mL: 0.2793, SD 0.528.
    rows = syringe(
        {0: 16, 4: 13, 8: 11, 12: 8, 16: 5, 20: 3},
        start="2026-06-01T10:00",
        set_rate_ml_h=16 / 24,
    )
    result = audit(tmp_path, rows)
    noise = result.noise.iloc[0]
    assert noise["reading_step_ml"] == noise["start_step_ml"] == 1.0
    assert noise["time_step_min"] == 60
    at_12_h = result.readings["sd_ml"].iloc[3]
    assert at_12_h == pytest.approx(0.528, abs=5e-4)
    assert (at_12_h**2 - 0.2**2) ** 0.5 == pytest.approx(0.4892, abs=1e-3)


def test_wards_have_steps_of_their_own(tmp_path: Path) -> None:
    rows = syringe({0: 16, 4: 13, 8: 11, 12: 8, 16: 5}, start="2026-06-01T10:00")
    rows += syringe(
        {0: 16.2, 4: 13.5, 8: 10.9, 12: 8.2},
        start="2026-06-01T10:07",
        ward="Birch Ward",
        patient_id="P2",
        infusion_id="I2",
        driver_id="D2",
    )
    noise = audit(tmp_path, rows).noise.set_index("ward")
    assert noise["reading_step_ml"].to_dict() == {"Alder Ward": 1.0, "Birch Ward": 0.1}
    assert noise["time_step_min"].to_dict() == {"Alder Ward": 60.0, "Birch Ward": 1.0}
    stalls = noise["shortest_stall_h"]
    assert stalls["Birch Ward"] < stalls["Alder Ward"]


def rough_readings(infusions: int, error_ml: float) -> pd.DataFrame:
    """Give infusions of one ward on the line, read with so large an error."""
    rng = np.random.default_rng(8)
    hours = np.arange(4.0, 24.0, 4.0)
    given = np.tile(0.65 * hours, infusions)
    rows = pd.DataFrame(
        {
            "infusion_id": np.repeat([f"I{i}" for i in range(infusions)], len(hours)),
            "ward": "Alder Ward",
            "source": "remaining",
            "elapsed_h": np.tile(hours, infusions),
            "observed_ml": 16 - given + error_ml * rng.standard_normal(len(given)),
            "delivered_ml": given,
            "base_ml": 16.0,
            "end_delivered_ml": 15.6,
            "rate_ml_h": 0.65,
            "reading_step_ml": 0.1,
            "start_step_ml": 0.1,
            "rounding_variance_ml2": 0.001,
            "is_floored": True,
            "stopped_log_ratio": 0.0,
        }
    )
    return with_noise(rows, STATED)


@pytest.mark.parametrize(
    ("infusions", "low", "high"),
    [
        pytest.param(1, 0.10, 0.10, id="one infusion: as stated"),
        pytest.param(5, 0.15, 0.40, id="five: drawn to what is stated"),
        pytest.param(60, 0.34, 0.46, id="sixty: as they are read"),
    ],
)
def test_a_ward_read_roughly_has_a_larger_reading_error(
    infusions: int, low: float, high: float
) -> None:
    fitted = fit_noise(rough_readings(infusions, 0.4))
    error = float(fitted["reading_error_ml"].iloc[0])
    assert low <= error <= high
