"""Set-up: wrong syringe size, scale against display, set rate against the plan."""

from itertools import permutations
from pathlib import Path

import pytest

from analysis.compliance.rate_findings import rate_in_words
from analysis.delivery.syringe_sizes import (
    DIAMETERS_MM,
    size_ratio,
    sizes_in_words,
    sizes_that_fit,
)
from tests.tiny import Row, audit, kinds, only, syringe, units_of

HOURS = (0, 4, 8, 12, 16, 20)
NAN = float("nan")


@pytest.mark.parametrize(
    ("true", "confirmed", "ratio", "lasts_h"),
    [
        # Arithmetic of the trade's table for middle diameters; a 24 h fill.
        pytest.param(10, 20, 0.59, 40.6, id="10 mL confirmed as 20"),
        pytest.param(20, 10, 1.69, 14.2, id="20 mL confirmed as 10"),
        pytest.param(20, 30, 0.75, 32.0, id="20 mL confirmed as 30"),
        pytest.param(30, 20, 1.33, 18.0, id="30 mL confirmed as 20"),
        pytest.param(50, 20, 2.03, 11.8, id="50 mL confirmed as 20"),
    ],
)
def test_a_wrong_size_delivers_the_ratio_of_cross_sections(
    true: float, confirmed: float, ratio: float, lasts_h: float
) -> None:
    assert size_ratio(true, confirmed) == pytest.approx(ratio, abs=5e-3)
    assert 24 / size_ratio(true, confirmed) == pytest.approx(lasts_h, abs=0.1)


@pytest.mark.parametrize("pair", list(permutations(DIAMETERS_MM, 2)))
def test_every_pair_fits_its_own_ratio_and_no_pair_fits_the_set_rate(
    pair: tuple[float, float],
) -> None:
    assert sizes_that_fit(size_ratio(*pair), NAN)[0] == pair
    assert sizes_that_fit(1.0, NAN) == []


@pytest.mark.parametrize(
    ("ratio", "size", "said"),
    [
        pytest.param(0.79, NAN, [], id="more than 5 % off"),
        pytest.param(0.78, NAN, [(20, 30)], id="within 5 %"),
        pytest.param(0.78, 20.0, [(20, 30)], id="the size charted is in place"),
        pytest.param(0.78, 30.0, [(20, 30)], id="the size charted is confirmed"),
        pytest.param(0.78, 50.0, [], id="the size charted is neither"),
        pytest.param(0.49, 60.0, [(20, 50)], id="60 mL is the 50 mL barrel"),
        pytest.param(0.0, NAN, [], id="no flow at all"),
        pytest.param(NAN, NAN, [], id="no ratio"),
    ],
)
def test_sizes_that_fit(
    ratio: float, size: float, said: list[tuple[float, float]]
) -> None:
    assert sizes_that_fit(ratio, size) == said


def test_sizes_are_general_ones_in_words() -> None:
    assert sizes_in_words(0.75, NAN) == (
        "a 20 mL syringe confirmed as 30 mL (0.75 by general sizes)"
    )


def both(scale: float, display: float, **options: object) -> list[Row]:
    """Give an infusion whose scale and display fall at ratios of 16 mL in 24 h."""
    rate = 16 / 24
    return syringe(
        {h: round(16 - scale * rate * h, 1) for h in HOURS},
        cells={
            h: {"display_remaining_ml": round(16 - display * rate * h, 1), **options}
            for h in HOURS
        },
    )


def test_a_log_line_with_a_wrong_size_names_it_beside_slow_delivery(
    tmp_path: Path,
) -> None:
    result = audit(tmp_path, both(0.59, 1.0))
    assert {"slow", "scale_and_display"} <= set(kinds(result))
    slow, parted = only(result, "slow"), only(result, "scale_and_display")
    assert "a 10 mL syringe confirmed as 20 mL" in slow["sentence"]
    assert "a ratio of 0.59 over 5 checks" in parted["sentence"]
    assert "a 10 mL syringe confirmed as 20 mL" in parted["sentence"]
    assert "driver set in mL/h" in parted["sentence"]
    assert parted["group"] == "set_up"


def test_a_scale_on_the_plan_beside_an_odd_display_is_no_delivery_event(
    tmp_path: Path,
) -> None:
    result = audit(tmp_path, both(1.0, 1 / 0.75))
    assert kinds(result, "delivery") == []
    said = only(result, "scale_and_display")["sentence"]
    assert "a 20 mL syringe confirmed as 30 mL" in said
    assert "spreads the travel over the duration" in said


@pytest.mark.parametrize(
    "rows",
    [
        pytest.param(both(1.0, 1.0), id="they agree"),
        pytest.param(both(1.0, 0.93), id="they part by less than a tenth"),
        pytest.param(both(0.59, 1.0, display_remaining_ml=None), id="no display"),
        pytest.param(both(0.59, 1.0)[:3], id="two checks only"),
        pytest.param(
            [*both(1.0, 1.0)[:4], *both(0.5, 1.0)[4:]], id="they part in the middle"
        ),
    ],
)
def test_scale_and_display_are_not_said_to_part(
    tmp_path: Path, rows: list[Row]
) -> None:
    assert "scale_and_display" not in kinds(audit(tmp_path, rows))


def test_a_plain_recount_of_the_ratio_agrees(tmp_path: Path) -> None:
    rows = both(0.8, 1.0)
    said = only(audit(tmp_path, rows), "scale_and_display")["sentence"]
    first, *later = rows
    cross = square = 0.0
    for row in later:
        s = first["volume_remaining_ml"] - row["volume_remaining_ml"]
        d = first["display_remaining_ml"] - row["display_remaining_ml"]
        if d >= 2 and row["volume_remaining_ml"] > 0:
            cross, square = cross + s * d, square + d * d
    assert f"a ratio of {cross / square:.2f} over" in said


@pytest.mark.parametrize(
    ("rate", "said"),
    [
        pytest.param(16.0, "a rate per 24 h charted as one per hour", id="24-fold"),
        pytest.param(16 / 576, "a rate per hour divided by 24 once more", id="1/24"),
        pytest.param(1.333, "a duration of half as long", id="12 h for 24"),
        pytest.param(6.7, "a decimal slip", id="ten-fold"),
        pytest.param(0.8, "would empty early", id="some other ratio, fast"),
        pytest.param(0.6, "would not be empty in time", id="some other ratio, slow"),
    ],
)
def test_a_set_rate_off_the_plan_says_what_its_ratio_fits(
    rate: float, said: str
) -> None:
    assert said in rate_in_words(rate, 16.0, 24.0, is_primed=False)


def test_a_rate_for_the_volume_before_priming_says_so() -> None:
    assert "before priming" in rate_in_words(0.7, 16.0, 24.0, is_primed=True)


def test_each_rate_that_does_not_match_is_a_finding_whatever_the_driver_did(
    tmp_path: Path,
) -> None:
    fast = {h: round(16 - 0.8 * h, 1) for h in (0, 4, 8, 12, 16)}
    rows = syringe(fast, set_rate_ml_h=0.8)
    rows += syringe(
        {h: round(16 - 16 / 24 * h, 1) for h in HOURS},
        infusion_id="I2",
        patient_id="P2",
        driver_id="D2",
    )
    result = audit(tmp_path, rows)
    assert kinds(result, "delivery") == []
    finding = only(result, "set_rate_differs")
    assert finding["infusion_id"] == "I1"
    assert finding["group"] == "set_up"
    units = units_of(result, "set_rate_matches")
    off = units.loc[units["tally"] == "not counted", "infusion_id"]
    assert off.tolist() == ["I1"]
    assert (
        "Rate set 0.8 mL/h; 16 mL over 24 h is 0.667 mL/h: 1.2 times."
        in (finding["sentence"])
    )
