"""Many shapes at once against one after the other, and against single precision."""

import numpy as np
import pytest

from analysis.delivery.first_look import most_for_an_event
from analysis.delivery.hypotheses import HYPOTHESES
from analysis.delivery.likelihood import log_likelihood
from analysis.delivery.many_shapes import log_weights, weigh_shapes
from analysis.delivery.scan import together
from analysis.delivery.slips import slip_density
from analysis.threads import side_by_side
from tests.delivery.test_likelihood import batch

#: Odd volumes: no reading is halfway between two whole mL of any level.
ODD = 0.137


@pytest.mark.parametrize("floored", [True, False])
@pytest.mark.parametrize("readings", [1, 2, 5, 8])
def test_all_shapes_weigh_what_each_weighs_alone(
    readings: int, *, floored: bool
) -> None:
    one = batch(4, readings, floored=floored)
    one = one.having(observed_ml=one.observed_ml + ODD)
    density = slip_density(one)
    lost = together([each.shapes(one, 8) for each in HYPOTHESES])
    found = weigh_shapes(one, lost, density)
    wanted, slips, _ = log_likelihood(one, lost.transpose(1, 2, 0), density)
    # Far above empty a level is free to the last decimals here, and nearly so there.
    np.testing.assert_allclose(found.log_density, wanted, rtol=2e-6)
    share = (found.terms / found.total).transpose(1, 2, 0)
    np.testing.assert_allclose(share, slips, atol=1e-5)


@pytest.mark.parametrize("floored", [True, False])
def test_single_precision_is_near_enough(*, floored: bool) -> None:
    one = batch(6, 6, floored=floored)
    one = one.having(observed_ml=one.observed_ml + ODD)
    density = slip_density(one)
    lost = together([each.shapes(one, 8) for each in HYPOTHESES])
    exact = weigh_shapes(one, lost, density).log_density
    single = weigh_shapes(
        one.single(), lost.astype("float32"), density.astype("float32")
    ).log_density
    assert single.dtype == np.float32
    near = exact > exact.max(1, keepdims=True) - 12
    assert near.sum() > 50
    assert np.abs(single - exact)[near].max() < 0.001


@pytest.mark.parametrize("floored", [True, False])
def test_slips_are_left_out_of_no_shape_that_counts(*, floored: bool) -> None:
    one = batch(6, 6, floored=floored)
    one = one.having(observed_ml=one.observed_ml + ODD)
    density = slip_density(one)
    lost = together([each.shapes(one, 8) for each in HYPOTHESES])
    prior = np.random.default_rng(7).uniform(-9, -3, lost.shape[1:])
    wanted = weigh_shapes(one, lost, density).log_density + prior
    none = np.where(np.arange(6) < 3, -np.inf, wanted.max(1) + 3)
    found = log_weights(one, lost, density, prior, none)
    counts = wanted > np.maximum(none, wanted.max(1))[:, None] - 18
    np.testing.assert_allclose(found[counts], wanted[counts], rtol=1e-9)
    assert counts.any(1).all()
    # All others keep less than they weigh, and so count for no more.
    assert (found <= wanted + 1e-9).all()
    assert (found < wanted - 1e-9).any()


@pytest.mark.parametrize("floored", [True, False])
@pytest.mark.parametrize("readings", [3, 5, 8])
def test_no_event_passes_the_bound_of_the_first_look(
    readings: int, *, floored: bool
) -> None:
    one = batch(40, readings, floored=floored)
    bound = most_for_an_event(one, np.inf)
    most = most_for_an_event(one, -np.inf)
    assert (bound >= most - 1e-6).all()
    assert (bound > most + 0.1).any()
    assert (most > 2.5).any()


def test_parts_come_back_in_their_order() -> None:
    assert side_by_side(lambda part: part * 2, range(50)) == list(range(0, 100, 2))
    assert side_by_side(len, []) == []
