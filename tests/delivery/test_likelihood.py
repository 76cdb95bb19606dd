"""The likelihood, against scipy's multivariate normal and certified line fits."""

from itertools import combinations
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from scipy.stats import multivariate_normal, norm

from analysis.delivery.batches import Batch
from analysis.delivery.likelihood import gaussian, log_likelihood
from analysis.delivery.slips import WHOLE_ML, WHOLE_SHARES, slip_density

Array = npt.NDArray[Any]

N, K, S = 3, 5, 4


def batch(n: int = N, k: int = K, *, floored: bool = False, **own: Array) -> Batch:
    """Give infusions with readings near the line of 16 mL in 24 h, and odd noise."""
    rng = np.random.default_rng(5)
    hours = np.sort(rng.uniform(1, 22, (n, k)), axis=1)
    given = hours * np.linspace(0.6, 0.7, n)[:, None]
    flat = {
        "base_ml": np.linspace(15, 17, n),
        "end_delivered_ml": given[:, -1],
        "offset_ml": np.linspace(-0.2, 0.1, n),
        "offset_sd_ml": np.linspace(0.15, 0.4, n),
        "flow_sd": np.linspace(0.01, 0.04, n),
        "is_floored": np.full(n, floored),
    }
    each = {
        "elapsed_h": hours,
        "delivered_ml": given,
        "observed_ml": flat["base_ml"][:, None] - given + rng.normal(0, 0.4, (n, k)),
        "variance_ml2": rng.uniform(0.01, 0.1, (n, k)),
        "step_ml": np.full((n, k), 0.1),
        "rate_ml_h": np.full((n, k), 0.65),
        "stopped_log_ratio": np.zeros((n, k)),
        "slip_share": np.linspace(0.01, 0.05, n * k).reshape(n, k),
    }
    ids = np.array([f"I{i}" for i in range(n)])
    row = np.arange(n * k).reshape(n, k)
    return Batch(infusion_id=ids, row=row, **{**flat, **each, **own})


def lost(n: int = N, k: int = K) -> Array:
    values: Array = np.random.default_rng(6).uniform(0, 3, (n, S, k))
    return np.sort(values, axis=2)


def normal(one: Batch, i: int, lost_ml: Array) -> tuple[Array, Array]:
    """Give mean and covariance of the readings of an infusion, as the model says."""
    given = np.clip(one.delivered_ml[i] - lost_ml, 0, None)
    mean = one.base_ml[i] + one.offset_ml[i] - one.delivered_ml[i] + lost_ml
    covariance = (
        np.diag(one.variance_ml2[i])
        + one.offset_sd_ml[i] ** 2
        + one.flow_sd[i] ** 2 * np.outer(given, given)
    )
    return mean, covariance


def test_marginal_likelihood_is_that_of_the_multivariate_normal() -> None:
    one, shapes = batch(), lost()
    found = gaussian(one, shapes).log_density
    for i in range(N):
        for s in range(S):
            mean, covariance = normal(one, i, shapes[i, s])
            expected = multivariate_normal(mean, covariance).logpdf(one.observed_ml[i])
            assert found[i, s] == pytest.approx(float(expected), abs=1e-9)


def brute_force(one: Batch, i: int, lost_ml: Array, *, pairs: bool) -> float:
    """Add up every set of up to two slips, each with its own matrix."""
    mean, covariance = normal(one, i, lost_ml)
    read, share = one.observed_ml[i], one.slip_share[i]
    density = slip_density(one)[i]
    sizes = np.r_[-np.arange(11), np.arange(11)]
    chances = WHOLE_ML * np.r_[WHOLE_SHARES, WHOLE_SHARES] / (2 * WHOLE_SHARES.sum())
    slip = np.empty(K)
    for reading in range(K):
        rest = np.arange(K) != reading
        gain = np.linalg.solve(
            covariance[np.ix_(rest, rest)], covariance[rest, reading]
        )
        at = mean[reading] + gain @ (read - mean)[rest]
        sd = np.sqrt(covariance[reading, reading] - gain @ covariance[rest, reading])
        nearest = np.rint(read[reading] - at)
        nearest = nearest or np.sign(read[reading] - at)
        only = sizes == nearest
        misread = chances[only] * norm.pdf(read[reading] - nearest, at, sd)
        slip[reading] = density[reading] + misread.sum()
    total = 0.0
    for count in range(3 if pairs else 2):
        for chosen in combinations(range(K), count):
            rest = [r for r in range(K) if r not in chosen]
            honest = multivariate_normal(mean[rest], covariance[np.ix_(rest, rest)])
            chance = share[list(chosen)].prod() * (1 - share[rest]).prod()
            total += chance * honest.pdf(read[rest]) * slip[list(chosen)].prod()
    return float(np.log(total))


@pytest.mark.parametrize(
    "pairs",
    [
        pytest.param(False, id="none or one reading is a slip"),
        pytest.param(True, id="two readings may be slips"),
    ],
)
def test_slips_are_summed_out_as_by_brute_force(*, pairs: bool) -> None:
    one, shapes = batch(), lost()
    found, probability, both = log_likelihood(
        one, shapes, slip_density(one), pairs=pairs
    )
    assert (both <= probability).all()
    assert both.any() == pairs
    for i in range(N):
        for s in range(S):
            expected = brute_force(one, i, shapes[i, s], pairs=pairs)
            assert found[i, s] == pytest.approx(expected, abs=1e-8)
    assert ((probability >= 0) & (probability <= 1 + 1e-12)).all()


def test_a_reading_a_thousand_deviations_off_is_a_slip_and_nothing_breaks() -> None:
    wild = batch().observed_ml.copy()
    wild[:, 2] = 130.0
    found, probability, _ = log_likelihood(
        batch(observed_ml=wild),
        np.zeros((N, 1, K)),
        slip_density(batch(observed_ml=wild)),
        pairs=True,
    )
    assert np.isfinite(found).all()
    assert (found > -40).all()
    assert probability[:, 0, 2] == pytest.approx(np.ones(N))
