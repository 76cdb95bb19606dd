"""Run rules against published critical values and series counted by hand."""

from itertools import combinations

import numpy as np
import pytest

from analysis.wards.run_chart import (
    chance_of_crossings,
    chance_of_run,
    crossings_limit,
    find_runs,
    longest_limit,
)


# Rules: Anhoej J, Olesen AV (2014) PLoS One 9:e113825. 24 points: 8 and 8, as in the
# reference manual of the authors' own R package; 13 points: fewer than three crossings,
# Wentzel-Larsen T, Anhoej J (2019) PLoS One 14:e0223233, in its lay summary. The others
# follow from the rules by hand: log2(n) + 3 rounded, and the 5 % point of n - 1 throws
# of a coin.
@pytest.mark.parametrize(
    ("useful", "longest", "crossings"),
    [
        pytest.param(10, 6, 2, id="ten points"),
        pytest.param(11, 6, 2, id="eleven points"),
        pytest.param(12, 7, 3, id="twelve points"),
        pytest.param(13, 7, 3, id="thirteen points (published crossings)"),
        pytest.param(20, 7, 6, id="twenty points"),
        pytest.param(24, 8, 8, id="twenty-four points (published)"),
    ],
)
def test_critical_values(useful: int, longest: int, crossings: int) -> None:
    assert longest_limit(useful) == longest
    assert crossings_limit(useful) == crossings


def series(text: str) -> np.ndarray:
    """Write + above, - below and 0 on the centre, and a blank for a gap."""
    return np.array([{"+": 1.0, "-": -1.0, "0": 0.0, " ": np.nan}[c] for c in text])


@pytest.mark.parametrize(
    ("text", "useful", "longest", "crossings"),
    [
        pytest.param("+-+-+-", 6, 1, 5, id="crosses each time"),
        pytest.param("+++---", 6, 3, 1, id="crosses once"),
        pytest.param("++0+-", 4, 3, 1, id="a point on the centre breaks no run"),
        pytest.param("++ +-", 4, 3, 1, id="a gap breaks no run"),
        pytest.param("0 0", 0, 0, 0, id="nothing off the centre"),
        pytest.param("", 0, 0, 0, id="nothing at all"),
        # The thirteen points of the lay summary: five crossings, longest run three.
        pytest.param("+++---+-++---", 13, 3, 5, id="thirteen points of a publication"),
    ],
)
def test_runs_are_counted(text: str, useful: int, longest: int, crossings: int) -> None:
    found = find_runs(series(text), 0.0)
    assert (found.useful, found.longest, found.crossings) == (
        useful,
        longest,
        crossings,
    )


@pytest.mark.parametrize(
    ("text", "shift", "few"),
    [
        pytest.param("++++++-+-+-", 0, False, id="six of eleven in a row are allowed"),
        pytest.param("+++++++-+-+", 7, False, id="seven of eleven are a shift"),
        pytest.param("++0+++ ++-+-+", 7, False, id="over a gap and a point on centre"),
        pytest.param("+++++-----", 0, True, id="one crossing in ten points is few"),
        pytest.param("++++----++", 0, False, id="two crossings in ten are allowed"),
        pytest.param("+++++++++", 0, False, id="nine points show no pattern"),
    ],
)
def test_what_is_more_than_chance(text: str, shift: int, few: bool) -> None:  # noqa: FBT001 - a case
    values = series(text)
    found = find_runs(values, 0.0)
    assert found.in_long_run.sum() == shift
    assert found.has_few_crossings is few
    assert not found.in_long_run[(values == 0) | np.isnan(values)].any()


def orders_of(own: int, others: int) -> list[np.ndarray]:
    """Give every order of points on two sides; True is the one side."""
    length = own + others
    return [
        np.isin(np.arange(length), places)
        for places in combinations(range(length), own)
    ]


def longest_of(order: np.ndarray) -> int:
    return max(len(run) for run in "".join("x" if x else " " for x in order).split())


@pytest.mark.parametrize(("own", "others"), [(3, 4), (5, 2), (4, 4), (6, 0), (1, 5)])
def test_chances_are_those_of_counting_every_order(own: int, others: int) -> None:
    orders = orders_of(own, others)
    longest = np.array([longest_of(order) for order in orders])
    crossings = np.array([np.count_nonzero(np.diff(order)) for order in orders])
    for size in range(1, own + 1):
        counted = np.mean(longest >= size)
        assert chance_of_run(size, own, others) == pytest.approx(counted)
    for few in range(1, own + others if others else 1):
        counted = np.mean(crossings <= few)
        assert chance_of_crossings(few, own, others) == pytest.approx(counted)


def test_months_mostly_at_nought_are_no_shift_and_no_few_crossings() -> None:
    # Most months have no overdue hour, and lie below the mean whatever happens.
    rng = np.random.default_rng(1)
    lines = np.where(rng.random((400, 24)) < 0.25, rng.gamma(1, 1, (400, 24)), 0)
    found = [find_runs(line, line.mean(), is_mean=True) for line in lines]
    assert np.mean([runs.longest > runs.longest_limit for runs in found]) > 0.4
    assert np.mean([runs.in_long_run.any() for runs in found]) < 0.08
    assert np.mean([runs.has_few_crossings for runs in found]) < 0.06


def test_months_at_nought_until_something_happens_are_a_shift() -> None:
    line = np.array([0.0] * 15 + [0.2, 0.3, 0.1, 0.2, 0.4])
    found = find_runs(line, line.mean(), is_mean=True)
    assert found.in_long_run.sum() == 15
    assert found.has_few_crossings
