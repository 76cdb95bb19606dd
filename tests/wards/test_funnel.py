"""Funnel limits against recomputed and published numbers."""

import numpy as np
import pytest
from scipy import stats

from analysis.intervals import wilson
from analysis.wards.funnel import (
    FEWEST_FOR_SPREAD,
    arcsine,
    binomial_limit,
    effective_size,
    limit_pair,
    moment_tau_squared,
    wide_pair,
)


# Formula: Spiegelhalter (2005) Stat Med 24:1185-1202, appendix; target as in
# Spiegelhalter (2002) Qual Saf Health Care 11:390-391. The numbers are recomputed, by
# other code than ours, and not printed there.
@pytest.mark.parametrize(
    ("size", "limits"),
    [
        pytest.param(50, (0.0, 0.000840, 0.144695, 0.199203), id="50 cut at nothing"),
        pytest.param(100, (0.001479, 0.021691, 0.124646, 0.160698), id="100"),
        pytest.param(200, (0.020792, 0.037092, 0.109694, 0.134400), id="200"),
        pytest.param(500, (0.039321, 0.050828, 0.096778, 0.111537), id="500"),
    ],
)
def test_exact_limits_about_7_4_per_cent(
    size: int, limits: tuple[float, float, float, float]
) -> None:
    low_998, low_95, high_95, high_998 = limits
    n, target = np.array([size]), np.array([0.074])
    inner = np.concatenate(limit_pair(n, target, level=0.95))
    outer = np.concatenate(limit_pair(n, target, level=0.998))
    assert inner == pytest.approx([low_95, high_95], abs=5e-7)
    assert outer == pytest.approx([low_998, high_998], abs=5e-7)


@pytest.mark.parametrize("target", [0.0, 0.02, 0.5, 0.9, 1.0])
@pytest.mark.parametrize("size", [1, 7, 60, 5000])
def test_an_exact_limit_leaves_the_tail_it_says(size: int, target: float) -> None:
    # The count below the limit has at most that probability, the count above it more.
    for q in (0.001, 0.025, 0.975, 0.999):
        limit = binomial_limit(np.array([size]), np.array([target]), q)[0] * size
        below, above = np.floor(limit) - 1, np.ceil(limit)
        assert stats.binom.cdf(below, size, target) <= q
        assert stats.binom.cdf(above, size, target) >= q


def test_spread_between_groups_is_the_published_one() -> None:
    # DerSimonian R, Kacker R (2007) Contemp Clin Trials 28:105-114, Tables 3-4.
    treated = np.array(
        [[5, 156], [5, 303], [12, 565], [69, 1570], [9, 103], [313, 4659]], float
    )
    control = np.array(
        [[8, 74], [17, 303], [9, 477], [94, 1565], [11, 105], [352, 4650]], float
    )
    cells = np.column_stack(
        [treated[:, 0], np.diff(treated)[:, 0], control[:, 0], np.diff(control)[:, 0]]
    )
    odds = np.log(cells[:, 0] * cells[:, 3] / cells[:, 1] / cells[:, 2])
    found = moment_tau_squared(odds, (1 / cells).sum(axis=1))
    assert np.sqrt(found) == pytest.approx(0.2323, abs=5e-5)


def test_no_spread_is_taken_from_groups_that_lie_closer_than_chance() -> None:
    assert moment_tau_squared(np.array([0.5, 0.5, 0.5]), np.full(3, 0.1)) == 0
    assert np.isnan(moment_tau_squared(np.array([0.5]), np.array([0.1])))


@pytest.mark.parametrize("target", [0.03, 0.5, 0.86, 0.99])
def test_the_wider_pair_holds_the_exact_one_and_stays_a_proportion(
    target: float,
) -> None:
    size = np.array([1, 12, 40, 300, 4000])
    where = np.full(5, target)
    low, high = limit_pair(size, where)
    wide_low, wide_high = wide_pair(size, where, np.full(5, 0.01))
    assert (wide_low <= low).all()
    assert (wide_high >= high).all()
    assert (wide_low >= 0).all()
    assert (wide_high <= 1).all()
    assert (wide_high - wide_low)[-1] > (high - low)[-1] + 0.02


@pytest.mark.parametrize("target", [0.02, 0.5, 0.86, 0.9995])
def test_without_a_spread_a_count_beyond_the_wider_pair_is_as_rare_as_it_says(
    target: float,
) -> None:
    size = np.array([10, 67, 400])
    low, high = wide_pair(size, np.full(3, target), np.zeros(3))
    exact_low, exact_high = limit_pair(size, np.full(3, target))
    assert low == pytest.approx(exact_low)
    assert (high >= exact_high).all()
    # Not by more than the one unit that interpolation gives away.
    assert (size * (high - exact_high) <= 1 + 1e-9).all()
    below, above = np.ceil(size * low - 1e-9) - 1, np.floor(size * high + 1e-9) + 1
    assert np.max(stats.binom.cdf(below, size, target)) <= 0.001
    assert np.max(stats.binom.sf(above - 1, size, target)) <= 0.001


def test_a_ward_without_a_miss_is_inside_where_misses_are_rare() -> None:
    _, high = wide_pair(np.array([67]), np.array([0.9993]), np.zeros(1))
    assert high[0] == 1


def test_a_large_ward_has_the_spread_itself_for_limits() -> None:
    # With chance gone what is left is 3.09 standard deviations of the spread.
    low, high = wide_pair(np.array([10**8]), np.array([0.5]), np.array([0.0025]))
    reach = arcsine(np.concatenate([low, high])) - arcsine(np.array([0.5]))
    assert reach == pytest.approx([-3.0902 * 0.05, 3.0902 * 0.05], abs=2e-4)


def test_twelve_wards_are_the_fewest_of_which_one_can_stand_out() -> None:
    # One ward apart from k - 1 that agree lies (k - 1) / sqrt(k) of the standard
    # deviation of all k from their mean, and no further.
    z = stats.norm.isf(0.001)
    reach = {k: (k - 1) / np.sqrt(k) for k in (11, 12)}
    assert reach[11] < z < reach[12]
    assert FEWEST_FOR_SPREAD == 12


def test_the_size_that_hours_are_worth_is_found_from_their_interval() -> None:
    share = np.array([0.5, 0.9, 1.0, 0.0, 0.31, 0.98])
    size = np.array([33.3, 7.0, 20.0, 4.0, 1000.0, 250.0])
    assert effective_size(share, *wilson(share * size, size)) == pytest.approx(size)
    nothing = np.array([np.nan])
    assert np.isnan(effective_size(np.array([0.5]), nothing, nothing)).all()
