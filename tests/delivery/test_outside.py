"""Line fit, search for a change and flow error, against values published elsewhere."""

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest
from statsmodels.datasets import nile

from analysis.delivery.batches import Batch
from analysis.delivery.drivers import infusion_factors
from analysis.delivery.first_look import score_of
from analysis.delivery.likelihood import gaussian

Array = npt.NDArray[Any]

# NIST Statistical Reference Datasets, linear regression: Norris, NoInt1 and NoInt2,
# with the certified estimates and standard errors.
NORRIS_X = np.concatenate(
    [
        [0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4],
        [0.6, 775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3],
        [0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5],
    ]
)
NORRIS_Y = np.concatenate(
    [
        [0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3],
        [0.1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3],
        [0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2],
    ]
)
NORRIS_SLOPE, NORRIS_SLOPE_SE = 1.00211681802045, 0.429796848199937e-03
NORRIS_SD = 0.884796396144373


def readings(given: Array, residual: Array, variance: float) -> pd.DataFrame:
    """Give the readings of one infusion far from empty, none of them doubtful."""
    return pd.DataFrame(
        {
            "infusion_id": "I1",
            "residual_ml": residual,
            "delivered_ml": given,
            "expected_ml": 1e4,
            "base_ml": 1e4,
            "is_floored": True,
            "reading_variance_ml2": variance,
            "slip_probability": 0.0,
        }
    )


def series(values: Array, *, variance: float, offset_sd: float) -> Batch:
    """Give one infusion that delivers nothing and reads as these values."""
    k = len(values)
    row = np.zeros((1, k))
    return Batch(
        infusion_id=np.array(["I1"]),
        row=np.arange(k)[None, :],
        elapsed_h=np.arange(k, dtype=float)[None, :],
        observed_ml=values[None, :].astype(float),
        delivered_ml=row,
        variance_ml2=np.full((1, k), variance),
        step_ml=np.full((1, k), 0.1),
        rate_ml_h=row,
        stopped_log_ratio=row,
        base_ml=np.zeros(1),
        end_delivered_ml=np.zeros(1),
        offset_ml=np.zeros(1),
        offset_sd_ml=np.array([offset_sd]),
        flow_sd=np.zeros(1),
        slip_share=row,
        is_floored=np.array([False]),
    )


def fits(one: Batch, shapes: Array) -> Array:
    """Give the best multiple of each shape (k, m), in standard deviations."""
    normal = gaussian(one, np.zeros((1, 1, len(shapes))))
    fit = score_of(one, normal, shapes[:, None, :])
    found: Array = (fit.score / np.sqrt(fit.information))[0]
    return found


def test_the_flow_factor_is_the_slope_of_a_certified_regression() -> None:
    # So small a variance leaves nothing for what is supposed of the start volume.
    small = 1e-9
    found = infusion_factors(readings(NORRIS_X, NORRIS_Y, small)).loc["I1"]
    assert 1 - found["factor"] == pytest.approx(NORRIS_SLOPE, rel=1e-9)
    error = np.sqrt(found["variance"] / small) * NORRIS_SD
    assert error == pytest.approx(NORRIS_SLOPE_SE, rel=1e-9)


# Wanted: certified slope, its standard error and the residual standard deviation.
@pytest.mark.parametrize(
    ("x", "y", "wanted"),
    [
        pytest.param(
            np.arange(60.0, 71.0),
            np.arange(130.0, 141.0),
            (2.07438016528926, 0.165289256198347e-01, 3.56753034006338),
            id="NoInt1",
        ),
        pytest.param(
            np.array([4.0, 5.0, 6.0]),
            np.array([3.0, 4.0, 4.0]),
            (0.727272727272727, 0.420827318078432e-01, 0.369274472937998),
            id="NoInt2",
        ),
    ],
)
def test_a_line_pinned_at_the_start_is_that_of_a_certified_regression(
    x: Array, y: Array, wanted: tuple[float, float, float]
) -> None:
    slope, error, sd = wanted
    (fit,) = fits(series(y, variance=sd**2, offset_sd=0.0), x[:, None])
    assert fit == pytest.approx(slope / error, rel=1e-9)


def test_the_search_for_a_step_finds_the_break_of_the_nile() -> None:
    # Cobb GW (1978) Biometrika 65:243-251: the flow of the Nile fell after 1898, the
    # 28th year. Sums of squares without and with one break, Zeileis A et al. (2003)
    # Comput Stat Data Anal 44:109-123: 2835157 and 1597457.
    flow = nile.load_pandas().data["volume"].to_numpy(float)
    level_free = 1e5
    found = fits(series(flow, variance=1.0, offset_sd=level_free), np.tri(len(flow)))
    # The first column is a step at the start, which a free level knows nothing of.
    assert int(np.abs(found[1:]).argmax()) + 1 == 28
    assert found[28] < 0
    assert found[28] ** 2 == pytest.approx(2835157 - 1597457, rel=1e-5)


@pytest.mark.parametrize(
    "error_pct", [-12.0, 0.0, 5.0], ids=["12 % slow", "as set", "5 % fast"]
)
def test_the_flow_factor_is_one_and_the_percentage_flow_error(error_pct: float) -> None:
    # IEC 60601-2-24:2012, 201.12.1: 100 (Q - r) / r, here with r = 0.65 mL/h.
    rate, hours = 0.65, np.arange(1.0, 20.0)
    flow = rate * (1 + error_pct / 100)
    behind = (rate - flow) * hours
    found = infusion_factors(readings(rate * hours, behind, 1e-6)).loc["I1"]
    assert 100 * (found["factor"] - 1) == pytest.approx(
        100 * (flow - rate) / rate, abs=1e-4
    )
