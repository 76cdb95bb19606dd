"""Control limits against published charts."""

import numpy as np
import pytest

from analysis.wards.control import control_limits


def numbers(text: str) -> np.ndarray:
    return np.array(text.split(), dtype=float)


def test_c_chart_of_the_nist_handbook() -> None:
    # NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.1.
    counts = numbers(
        "16 14 28 16 12 20 10 12 10 17 19 17 14 16 15 13 14 16 11 20 11 19 16 31 13"
    )
    found = control_limits(counts, np.ones(25), is_rate=True, is_prime=False)
    assert (found.centre, found.low[0], found.high[0]) == pytest.approx((16, 4, 28))


C_COUNTS = numbers(
    "21 24 16 12 15 5 28 20 31 25 20 24 16 19 10 17 13 22 18 39 30 24 16 19 17 15"
)


@pytest.mark.parametrize(
    ("left_out", "published", "tolerance"),
    [
        # Printed with the centre rounded to 19.85 first, which gives 33.22.
        pytest.param([], (19.85, 6.48, 33.22), 0.01, id="all 26 samples"),
        pytest.param(
            [5, 19], (19.66667, 6.362532, 32.9708), 5e-5, id="without samples 6, 20"
        ),
    ],
)
def test_c_chart_of_montgomery(
    left_out: list[int], published: tuple[float, float, float], tolerance: float
) -> None:
    # Montgomery DC, Introduction to Statistical Quality Control, 6th ed., Example 7.3.
    counts = np.delete(C_COUNTS, left_out)
    found = control_limits(counts, np.ones(len(counts)), is_rate=True, is_prime=False)
    got = (found.centre, found.low[0], found.high[0])
    assert got == pytest.approx(published, abs=tolerance)


def test_u_chart_of_montgomery_with_samples_of_five() -> None:
    # The same, 2nd ed., pp. 181-182.
    counts = numbers("10 12 8 14 10 16 11 7 10 15 9 5 7 11 12 6 8 10 7 5")
    found = control_limits(counts, np.full(20, 5.0), is_rate=True, is_prime=False)
    got = (found.centre, found.low[0], found.high[0])
    assert got == pytest.approx((1.93, 0.07, 3.79), abs=5e-3)


P_COUNTS = numbers(
    "12 15 8 10 4 7 16 9 14 10 5 6 17 12 22 8 10 5 13 11 20 18 24 15 9 12 7 13 9 6"
)


@pytest.mark.parametrize(
    ("left_out", "published"),
    [
        pytest.param([], (0.2313, 0.0524, 0.4102), id="all 30 samples"),
        pytest.param([14, 22], (0.2150, 0.0407, 0.3893), id="without samples 15, 23"),
    ],
)
def test_p_chart_of_montgomery(
    left_out: list[int], published: tuple[float, float, float]
) -> None:
    # Montgomery DC, Introduction to Statistical Quality Control, 6th ed., Example 7.1;
    # the same fractions in NIST 6.3.3.2.
    counts = np.delete(P_COUNTS, left_out)
    judged = np.full(len(counts), 50.0)
    found = control_limits(counts, judged, is_rate=False, is_prime=False)
    got = (found.centre, found.low[0], found.high[0])
    assert got == pytest.approx(published, abs=5e-5)


def test_u_chart_of_montgomery_with_equal_samples() -> None:
    # Example 7.4: 50 units a sample; the lower limit is cut at 0.
    counts = numbers("2 3 8 1 1 4 1 4 5 1 8 2 4 3 4 1 8 3 7 4")
    found = control_limits(counts, np.full(20, 50.0), is_rate=True, is_prime=False)
    got = (found.centre, found.low[0], found.high[0])
    assert got == pytest.approx((0.0740, 0.0, 0.1894), abs=5e-5)


def test_u_chart_of_montgomery_with_unequal_samples() -> None:
    # Example 7.5 (dyed cloth).
    found = control_limits(
        numbers("14 12 20 11 7 10 21 16 19 23"),
        numbers("10 8 13 10 9.5 10 12 10.5 12 12.5"),
        is_rate=True,
        is_prime=False,
    )
    high = "2.5550 2.6886 2.4159 2.5550 2.5844 2.5550 2.4564 2.5278 2.4564 2.4356"
    low = ".2915 .1579 .4306 .2915 .2621 .2915 .3901 .3187 .3901 .4110"
    assert found.centre == pytest.approx(1.4233, abs=5e-5)
    assert found.high == pytest.approx(numbers(high), abs=5e-5)
    assert found.low == pytest.approx(numbers(low), abs=5e-5)


SEEN = numbers(
    "266501 264225 276532 281461 269071 261215 270409 279778 270483 270320 267923 "
    "271478 255353 256820 261835 259144 255910 260863 264465 260989"
)
ATTENDED = numbers(
    "280443 276823 291681 296155 282343 275888 283867 295251 284468 282529 279618 "
    "283932 266629 268091 276803 271578 266005 273520 278574 273772"
)


def test_p_prime_chart_of_laney() -> None:
    # Method: Laney DB (2002) Quality Engineering 14:531-537; data Mohammed MA et al.
    # (2013) BMJ Qual Saf 22:362-368. Limits recomputed, not printed there.
    found = control_limits(SEEN, ATTENDED, is_rate=False)
    share = SEEN / ATTENDED
    assert found.centre == pytest.approx(0.9528997113, abs=1e-6)
    assert found.sigma_z == pytest.approx(10.64042, abs=1e-5)
    assert found.low[0] == pytest.approx(0.9401296, abs=1e-6)
    assert found.high[0] == pytest.approx(0.9656698, abs=1e-6)
    assert not ((share < found.low) | (share > found.high)).any()
    plain = control_limits(SEEN, ATTENDED, is_rate=False, is_prime=False)
    assert plain.low[0] == pytest.approx(0.9516996, abs=1e-6)
    assert plain.high[0] == pytest.approx(0.9540999, abs=1e-6)
    assert ((share < plain.low) | (share > plain.high)).sum() == 16


@pytest.mark.parametrize("is_rate", [False, True])
def test_prime_limits_do_not_depend_on_the_unit_of_the_denominator(
    is_rate: bool,  # noqa: FBT001 - a case
) -> None:
    # So that hours, or days, can stand in it.
    hours = control_limits(SEEN, ATTENDED, is_rate=is_rate)
    minutes = control_limits(60 * SEEN, 60 * ATTENDED, is_rate=is_rate)
    assert minutes.low == pytest.approx(hours.low)
    assert minutes.high == pytest.approx(hours.high)


def test_a_gap_has_no_limits_and_adds_no_range() -> None:
    x, n = numbers("5 6 nan 9 8"), np.full(5, 10.0)
    found = control_limits(x, n, is_rate=False)
    assert np.isnan(found.low).tolist() == [False, False, True, False, False]
    assert found.centre == pytest.approx(0.7)
    # Two ranges, 0.1 each, and not the one of 0.3 over the gap.
    assert found.sigma_z == pytest.approx(0.1 / np.sqrt(0.021) / 1.128)


@pytest.mark.parametrize(
    ("counted", "judged", "centre"),
    [
        pytest.param("10 20 30", "10 20 30", 1.0, id="always"),
        pytest.param("0 0 0", "10 20 30", 0.0, id="never"),
    ],
)
def test_months_all_alike_have_limits_and_none_is_outside(
    counted: str, judged: str, centre: float
) -> None:
    found = control_limits(numbers(counted), numbers(judged), is_rate=False)
    assert found.centre == centre
    assert found.low.tolist() == found.high.tolist() == [centre] * 3


def test_nothing_judged_has_no_limits() -> None:
    found = control_limits(np.array([np.nan, 0]), np.array([np.nan, 0]), is_rate=False)
    assert np.isnan([found.centre, found.sigma_z, *found.low, *found.high]).all()
