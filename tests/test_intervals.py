"""Intervals against published tables."""

import numpy as np
import pandas as pd
import pytest

from analysis.intervals import (
    Proportion,
    anova_icc,
    few_clusters,
    hours_worth,
    newcombe,
    poisson_exact,
    wilson,
)


# Newcombe RG (1998) Stat Med 17:857-872, Table I, method 3; tolerance of the print.
@pytest.mark.parametrize(
    ("counted", "judged", "low", "high"),
    [
        pytest.param(81, 263, 0.2553, 0.3662, id="81 of 263"),
        pytest.param(15, 148, 0.0624, 0.1605, id="15 of 148"),
        pytest.param(0, 20, 0.0000, 0.1611, id="none of 20 has a lower limit of 0"),
        pytest.param(1, 29, 0.0061, 0.1718, id="1 of 29"),
        # Trade worked examples of small wards (own arithmetic there).
        pytest.param(3, 3, 0.439, 1.000, id="3 of 3 is 43.9 to 100 per cent"),
        pytest.param(2, 3, 0.208, 0.939, id="2 of 3 is 20.8 to 93.9 per cent"),
        pytest.param(45, 50, 0.786, 0.957, id="45 of 50 is 78.6 to 95.7 per cent"),
    ],
)
def test_wilson_gives_the_published_limits(
    counted: int, judged: int, low: float, high: float
) -> None:
    found_low, found_high = wilson(np.array([counted]), np.array([judged]))
    tolerance = 5e-5 if judged > 3 and judged != 50 else 5e-4
    assert found_low[0] == pytest.approx(low, abs=tolerance)
    assert found_high[0] == pytest.approx(high, abs=tolerance)


def test_wilson_says_nothing_where_nothing_was_judged_beside_a_row_that_was() -> None:
    low, high = wilson(np.array([0, 81, 0]), np.array([0, 263, np.nan]))
    assert np.isnan(low[[0, 2]]).all()
    assert np.isnan(high[[0, 2]]).all()
    assert low[1] == pytest.approx(0.2553, abs=5e-5)


def test_wilson_of_a_deflated_cluster_sample_gives_the_published_interval() -> None:
    # Liang et al. 1992 data, Short et al. (2020) Stat Methods Med Res 29:111-121:
    # 60 of 203 in 100 clusters, inflation 1.349133, interval 0.228 to 0.373.
    inflation = 1.349133
    low, high = wilson(np.array([60 / inflation]), np.array([203 / inflation]))
    assert low[0] == pytest.approx(0.228, abs=5e-4)
    assert high[0] == pytest.approx(0.373, abs=5e-4)


# Garwood F (1936) Biometrika 28:437-442; Biometrika Tables vol 1, Table 40.
@pytest.mark.parametrize(
    ("events", "low", "high"),
    [
        pytest.param(0, 0.0, 3.69, id="no event has an upper limit only"),
        pytest.param(1, 0.0253, 5.57, id="1 event"),
        pytest.param(2, 0.242, 7.22, id="2 events"),
        pytest.param(3, 0.619, 8.77, id="3 events"),
        pytest.param(4, 1.09, 10.24, id="4 events"),
        pytest.param(5, 1.62, 11.67, id="5 events"),
        pytest.param(6, 2.20, 13.06, id="6 events"),
        pytest.param(7, 2.81, 14.42, id="7 events"),
        pytest.param(8, 3.45, 15.76, id="8 events"),
        pytest.param(9, 4.12, 17.08, id="9 events"),
        pytest.param(10, 4.80, 18.39, id="10 events"),
        pytest.param(15, 8.40, 24.74, id="15 events"),
        pytest.param(20, 12.22, 30.89, id="20 events"),
        pytest.param(25, 16.18, 36.90, id="25 events"),
        pytest.param(30, 20.24, 42.83, id="30 events"),
        pytest.param(50, 37.11, 65.92, id="50 events"),
    ],
)
def test_exact_limits_of_a_count_are_garwoods(
    events: int, low: float, high: float
) -> None:
    found_low, found_high = poisson_exact(np.array([events]), np.array([1.0]))
    assert found_low[0] == pytest.approx(low, abs=0.006)
    assert found_high[0] == pytest.approx(high, abs=0.006)


def test_exact_limits_of_15_events_in_400_have_all_published_digits() -> None:
    # Quoted from two R packages in the test suite of statsmodels.
    low, high = poisson_exact(np.array([15]), np.array([400.0]))
    assert low[0] == pytest.approx(0.0209884653319583, abs=1e-12)
    assert high[0] == pytest.approx(0.0618505471787146, abs=1e-12)


def test_exact_limits_of_7_events_in_2345_device_days_per_thousand() -> None:
    # Constructed after the device-day rate of CDC NHSN; recomputed, not published.
    low, high = poisson_exact(np.array([7]), np.array([2345.0]))
    assert 1000 * low[0] == pytest.approx(1.200155, abs=1e-6)
    assert 1000 * high[0] == pytest.approx(6.150395, abs=1e-6)


def test_exact_limits_say_nothing_without_exposure() -> None:
    low, high = poisson_exact(np.array([0, 2, 15]), np.array([0.0, 0.0, 400.0]))
    assert np.isnan(low[:2]).all()
    assert np.isnan(high[:2]).all()
    assert low[2] == pytest.approx(0.0209884653, abs=1e-9)


def sums_over(people: list[str], numerator: list[float], hours: float) -> pd.DataFrame:
    """Add hours up over patients, as one group."""
    table = pd.DataFrame({"x": numerator, "n": hours}, dtype="float64")
    each = table.groupby(pd.Series(people, dtype="str").to_numpy()).sum()
    return pd.DataFrame(
        {
            "numerator": [each["x"].sum()],
            "denominator": [each["n"].sum()],
            "patients": [len(each)],
            "xx": [(each["x"] ** 2).sum()],
            "xn": [(each["x"] * each["n"]).sum()],
            "nn": [(each["n"] ** 2).sum()],
        }
    )


def test_hours_worth_is_the_hand_calculation_of_the_ratio_estimator() -> None:
    # Ten patients; nine have 9 of 10 h covered, one has 5 of 10 h, in two units each.
    # Ratio 86/100; residuals 0.4 (nine times) and -3.6: squares 9 x 0.16 + 12.96 =
    # 14.4; times 10/9 = 16; over 100 squared: 0.0016. n = 0.86 x 0.14 / 0.0016.
    patients = [f"P{i}" for i in range(10) for _ in range(2)]
    found = hours_worth(sums_over(patients, [4.5, 4.5] * 9 + [2.0, 3.0], 5.0))
    assert found[0] == pytest.approx(0.86 * 0.14 / 0.0016)


@pytest.mark.parametrize(
    ("patients", "numerator"),
    [
        pytest.param(9, [1.0, 0.5] + [1.0] * 7, id="nine patients are too few"),
        pytest.param(10, [1.0] * 10, id="all covered has no variance"),
        pytest.param(10, [0.5] * 10, id="all alike has no variance"),
        pytest.param(0, [], id="nobody at all"),
    ],
)
def test_hours_worth_is_not_known(patients: int, numerator: list[float]) -> None:
    people = [f"P{i}" for i in range(patients)]
    assert hours_worth(sums_over(people, numerator, 1.0)).isna().all()


# Events x by cluster size n (Liang et al. 1992, as used by Saha, Miller & Wang (2016)
# Int J Biostat 12:1-18): size: {events: clusters}.
LIANG = {
    1: {0: 36, 1: 12},
    2: {0: 15, 1: 7, 2: 1},
    3: {0: 5, 1: 7, 2: 3, 3: 2},
    4: {0: 3, 1: 3, 2: 1},
    6: {0: 1, 2: 1, 3: 1, 4: 1, 6: 1},
}


def test_the_clustered_interval_of_the_published_example() -> None:
    # ICC 0.1855, inflation 1.349133, Wilson on x/xi and n/xi 0.228 to 0.373: Short et
    # al. (2020) Stat Methods Med Res 29:111-121.
    pairs = [
        (x, n) for n, by in LIANG.items() for x, many in by.items() for _ in range(many)
    ]
    x, n = np.array(pairs, dtype=float).T
    assert (x.sum(), n.sum(), len(n)) == (60, 203, 100)
    icc = anova_icc(x, n)
    assert icc == pytest.approx(0.1855, abs=5e-5)
    xi = (n * (1 + (n - 1) * icc)).sum() / n.sum()
    assert xi == pytest.approx(1.349133, abs=5e-7)
    low, high = wilson(np.array([60 / xi]), np.array([203 / xi]))
    assert low[0] == pytest.approx(0.228, abs=5e-4)
    assert high[0] == pytest.approx(0.373, abs=5e-4)


@pytest.mark.parametrize(
    ("counted", "judged", "icc"),
    [
        pytest.param([2, 0, 2, 0], [2, 2, 2, 2], 1.0, id="patients all or nothing"),
        pytest.param([1, 1, 1, 1], [2, 2, 2, 2], 0.0, id="patients alike: cut at 0"),
        pytest.param([1, 0, 1], [1, 1, 1], np.nan, id="one unit a patient"),
        pytest.param([2, 2], [2, 2], np.nan, id="all units alike"),
        pytest.param([1], [2], np.nan, id="one patient"),
        pytest.param([2, 0, 0], [2, 2, 0], 1.0, id="a patient without a unit"),
    ],
)
def test_icc(counted: list[int], judged: list[int], icc: float) -> None:
    found = anova_icc(np.array(counted), np.array(judged))
    assert found == pytest.approx(icc, nan_ok=True)


@pytest.mark.parametrize(
    ("p", "q", "low", "high"),
    # Newcombe RG (1998) Stat Med 17:873-890, Table II, method 10.
    [
        ((56, 70), (48, 80), 0.0524, 0.3339),
        ((9, 10), (3, 10), 0.1705, 0.8090),
        ((6, 7), (2, 7), 0.0582, 0.8062),
        ((5, 56), (0, 29), -0.0381, 0.1926),
        ((0, 10), (0, 20), -0.1611, 0.2775),
        ((0, 10), (0, 10), -0.2775, 0.2775),
        ((10, 10), (0, 20), 0.6791, 1.0000),
        ((10, 10), (0, 10), 0.6075, 1.0000),
    ],
)
def test_difference_of_proportions(
    p: tuple[int, int], q: tuple[int, int], low: float, high: float
) -> None:
    found = newcombe(*(_proportion(*pair) for pair in (p, q)))
    assert found[0][0] == pytest.approx(low, abs=5e-5)
    assert found[1][0] == pytest.approx(high, abs=5e-5)


def test_the_difference_of_a_second_published_example() -> None:
    # 7/34 - 1/34: Fagerland MW, Lydersen S, Laake P (2015) Stat Methods Med Res
    # 24:224-254, printed to two digits.
    low, high = newcombe(_proportion(7, 34), _proportion(1, 34))
    assert low[0] == pytest.approx(0.019, abs=2e-3)
    assert high[0] == pytest.approx(0.34, abs=2e-3)


def _proportion(counted: int, judged: int) -> Proportion:
    limits = wilson(np.array([counted]), np.array([judged]))
    return Proportion(np.array([counted / judged]), *limits)


@pytest.mark.parametrize(
    ("clusters", "share"),
    # Two-sided 5 % points of Student's t, as every table prints them: 1.960 for z.
    [
        pytest.param(2, (1.960 / 12.706) ** 2, id="two: t = 12.706"),
        pytest.param(10, (1.960 / 2.262) ** 2, id="ten: t = 2.262"),
        pytest.param(31, (1.960 / 2.042) ** 2, id="thirty-one: t = 2.042"),
        pytest.param(121, (1.960 / 1.980) ** 2, id="a hundred and twenty-one: 1.980"),
        pytest.param(1, 0.0, id="one cluster has no variance"),
        pytest.param(0, 0.0, id="none"),
    ],
)
def test_a_variance_from_few_clusters_is_worth_less(
    clusters: int, share: float
) -> None:
    assert few_clusters(pd.Series([clusters]))[0] == pytest.approx(share, rel=1e-3)
