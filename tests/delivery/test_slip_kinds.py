"""What kind of slip a reading is consistent with, and how common each kind is."""

import numpy as np
import pandas as pd
import pytest

from analysis.delivery.batches import batches
from analysis.delivery.fitted import STATED, with_noise
from analysis.delivery.likelihood import gaussian
from analysis.delivery.slip_kinds import kind_shares, kinds_of_slips
from analysis.delivery.slips import STATED_KINDS, slip_density, slip_weight

COPIED, NEAR, TENTH, ANYWHERE, BEYOND, ONE, TWO, THREE = range(8)
HOURS = np.arange(4.0, 24.0, 4.0)
RATE = 0.65


def readings(wrong_ml: float, n: int = 1) -> pd.DataFrame:
    """Give infusions on the line whose third reading is written otherwise."""
    given = np.tile(RATE * HOURS, n)
    observed = 16 - given
    observed[2 :: len(HOURS)] = wrong_ml
    rows = pd.DataFrame(
        {
            "infusion_id": np.repeat([f"I{i:03}" for i in range(n)], len(HOURS)),
            "elapsed_h": np.tile(HOURS, n),
            "observed_ml": observed,
            "delivered_ml": given,
            "base_ml": 16.0,
            "end_delivered_ml": RATE * 24,
            "rate_ml_h": RATE,
            "reading_step_ml": 0.1,
            "start_step_ml": 0.1,
            "rounding_variance_ml2": 0.01,
            "is_floored": True,
            "stopped_log_ratio": 0.0,
        }
    )
    return with_noise(rows, STATED)


def slips(rows: pd.DataFrame) -> np.ndarray:
    """Take every third reading for a slip."""
    third = np.zeros(len(HOURS))
    third[2] = 0.99
    return np.tile(third, len(rows) // len(HOURS))


LINE = 16 - RATE * HOURS[2]


@pytest.mark.parametrize(
    ("wrong", "kind"),
    [
        pytest.param(16 - RATE * HOURS[1], COPIED, id="the reading above again"),
        pytest.param(LINE + 1, ONE, id="one up"),
        pytest.param(LINE - 2, TWO, id="two down"),
        pytest.param(LINE / 10, TENTH, id="a decimal point"),
        pytest.param(LINE + 6.5, ANYWHERE, id="no whole number, and far"),
        pytest.param(55.0, BEYOND, id="more than a syringe holds"),
    ],
)
def test_a_reading_is_consistent_with(wrong: float, kind: int) -> None:
    rows = readings(wrong)
    found = kinds_of_slips(rows, slips(rows))
    assert found.at.tolist() == [2]
    assert found.of_each.sum(axis=1) == pytest.approx(1.0)
    assert int(found.of_each[0].argmax()) == kind
    assert found.of_each[0, kind] > 0.6


def test_what_hardly_is_a_slip_is_as_stated() -> None:
    rows = readings(LINE + 2)
    found = kinds_of_slips(rows, np.r_[0.0, 0.0, 0.009, 0.0, 0.0])
    assert not len(found.at)
    other = np.roll(STATED_KINDS, 1)
    assert found.ratios(other, len(rows)) == pytest.approx(1.0)


def test_kinds_share_out_what_the_likelihood_gives_a_slip() -> None:
    rows = readings(LINE + 2.1)
    [batch] = batches(rows, 10)
    normal = gaussian(batch, np.zeros((1, 1, len(HOURS))))
    off = normal.error / normal.precision
    weight = slip_weight(slip_density(batch), off.copy(), normal.precision)[:, 0, 0]
    found = kinds_of_slips(rows, np.full(len(rows), 0.5)).of_each
    near = (1 / 7) * np.sqrt(2 * np.pi / normal.precision[:, 0, 0])
    assert found[:, NEAR] == pytest.approx(STATED_KINDS[NEAR] * near / weight)
    assert found[2, TWO] == pytest.approx(
        STATED_KINDS[TWO]
        / 2
        * np.exp(-0.5 * normal.precision[2, 0, 0] * (off[2, 0, 0] - 2) ** 2)
        / weight[2]
    )


@pytest.mark.parametrize(
    ("n", "low", "high"),
    [
        pytest.param(0, 0.0, 0.01, id="without a slip it is as stated"),
        pytest.param(3, 0.05, 0.20, id="three slips move it a little"),
        pytest.param(400, 0.80, 1.00, id="400 settle it"),
    ],
)
def test_a_service_that_misreads_by_three_says_so(
    n: int, low: float, high: float
) -> None:
    rows = readings(LINE - 3, max(n, 1))
    each = slips(rows) if n else np.zeros(len(rows))
    shares = kind_shares(kinds_of_slips(rows, each), each)
    assert shares.sum() == pytest.approx(1.0)
    assert low <= shares[THREE] <= high
