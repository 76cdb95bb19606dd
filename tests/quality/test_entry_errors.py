"""Suspected entry errors, each planted by hand and found through the whole audit."""

from collections.abc import Mapping
from pathlib import Path

import pandas as pd
import pytest

from analysis.audit import AuditResult
from tests.tiny import START, Row, after, audit, kinds, only, syringe, units_of

LINE = {
    0.0: 16.0,
    1.0: 15.3,
    4.0: 13.3,
    8.0: 10.6,
    12.0: 8.0,
    16.0: 5.3,
    20.0: 2.6,
    23.5: 0.2,
}


def quiet() -> list[Row]:
    """Give an infusion of another patient without a fault, read at the same hours."""
    return syringe(LINE, patient_id="P9", infusion_id="I9", driver_id="D9")


def charted(
    volumes: Mapping[float, float | None],
    cells: Mapping[float, Mapping[str, object]] | None = None,
) -> list[Row]:
    """Give the reference infusion with some volumes written otherwise."""
    return syringe({**LINE, **volumes}, cells=cells)


def charting(result: AuditResult) -> pd.DataFrame:
    """Give the charting findings."""
    found = result.findings
    return found[found["group"] == "charting"]


@pytest.mark.parametrize(
    ("volumes", "words"),
    [
        pytest.param(
            {12.0: 10.6},
            "a value carried down from the row before",
            id="the reading before, written again",
        ),
        pytest.param(
            {12.0: 0.8},
            "a decimal point in another place (8 mL would fit)",
            id="a tenth of the volume",
        ),
        pytest.param(
            {16.0: 3.5},
            "two digits in the other order (5.3 mL would fit)",
            id="5.3 written as 3.5",
        ),
        pytest.param(
            {8.0: 0.0},
            "0 written where nothing was read",
            id="0 in the middle of an infusion that goes on",
        ),
        pytest.param(
            {4.0: 2.7},
            "the volume delivered written as the volume remaining",
            id="2.7 mL delivered written as remaining",
        ),
        pytest.param(
            {12.0: 11.1},
            "a scale misread by about 3 mL",
            id="three whole mL too high",
        ),
    ],
)
def test_a_doubtful_reading_says_which_slip_fits(
    tmp_path: Path, volumes: dict[float, float | None], words: str
) -> None:
    result = audit(tmp_path, charted(volumes) + quiet())
    finding = only(result, "doubtful_reading")
    assert finding["sentence"].count("Consistent with a slip in charting: ") == 1
    assert words in finding["sentence"]
    assert kinds(result, "charting") == ["doubtful_reading"]
    assert kinds(result, "delivery") == []


def test_a_copied_row_is_told_from_a_copied_reading_by_its_battery(
    tmp_path: Path,
) -> None:
    battery: dict[float, dict[str, object]] = {
        hour: {"battery_pct": 100 - 4 * place} for place, hour in enumerate(LINE)
    }
    battery[12.0] = battery[8.0]
    result = audit(tmp_path, charted({12.0: 10.6}, cells=battery) + quiet())
    assert (
        "the whole row before carried down"
        in only(result, "doubtful_reading")["sentence"]
    )


def test_a_value_of_several_explanations_names_two(tmp_path: Path) -> None:
    volumes = {0.0: 15.2, 4.0: 15.2, 8.0: 9.8, 12.0: 7.2, 16.0: 4.5, 20.0: 1.8}
    result = audit(tmp_path, syringe(volumes) + quiet())
    said = only(result, "doubtful_reading")["sentence"]
    assert "carried down" in said
    assert "two digits in the other order (12.5 mL would fit)" in said


def test_an_hour_is_named_where_readings_are_fine_enough_to_tell(
    tmp_path: Path,
) -> None:
    fast = {0.0: 60.0, 4.0: 48.0, 8.0: 33.0, 12.0: 24.0, 16.0: 12.0, 19.0: 3.0}
    result = audit(tmp_path, syringe(fast, set_rate_ml_h=3.0))
    assert "a time off by 1 h" in only(result, "doubtful_reading")["sentence"]


def test_half_a_day_is_named_where_no_check_stands_at_that_time(tmp_path: Path) -> None:
    volumes: dict[float, float | None] = {
        h: v for h, v in LINE.items() if h not in (4.0, 16.0)
    }
    volumes[4.5] = 5.0
    result = audit(tmp_path, syringe(dict(sorted(volumes.items()))) + quiet())
    assert (
        "a time off by 12 h (it would fit 2 Jun 02:33)"
        in only(result, "doubtful_reading")["sentence"]
    )


@pytest.mark.parametrize(
    ("written", "words"),
    [
        pytest.param(80.0, "a decimal point in another place (8 mL", id="80 for 8.0"),
        pytest.param(99.0, "99 written where nothing was read", id="99 for not read"),
        pytest.param(-1.0, "-1 written where nothing was read", id="-1 for not read"),
    ],
)
def test_an_impossible_number_is_set_aside_and_explained(
    tmp_path: Path, written: float, words: str
) -> None:
    result = audit(tmp_path, charted({12.0: written}) + quiet())
    finding = only(result, "entry_error")
    assert finding["sentence"].startswith(f"{written:g} mL remaining charted at ")
    assert "before it 10.6 mL" in finding["sentence"]
    assert "after it 5.3 mL" in finding["sentence"]
    assert words in finding["sentence"]
    assert list(result.set_aside["value"]) == [str(written)]
    assert kinds(result, "delivery") == []


def test_an_impossible_number_that_nothing_explains_stays_in_the_ledger(
    tmp_path: Path,
) -> None:
    result = audit(tmp_path, charted({12.0: 777.0}) + quiet())
    assert len(result.set_aside) == 1
    assert kinds(result, "charting") == []


def test_a_copy_within_the_limit_of_the_line_is_found_by_its_neighbours(
    tmp_path: Path,
) -> None:
    result = audit(tmp_path, syringe(dict(sorted({**LINE, 17.5: 5.3}.items()))))
    finding = only(result, "doubtful_reading")
    assert finding["first_visible"] == pd.Timestamp(after(START, 17.5))
    assert "a value carried down from the row before" in finding["sentence"]


@pytest.mark.parametrize(
    "volumes",
    [
        pytest.param(LINE, id="an infusion on its line"),
        pytest.param(
            {**LINE, 8.0: 13.3, 12.0: 10.6, 16.0: 8.0, 20.0: 5.3, 23.5: 3.0},
            id="a driver that stopped for four hours and went on",
        ),
        pytest.param(
            {**LINE, 0.0: 16.0, 1.0: 16.0, 4.0: 13.9, 8.0: 11.2},
            id="a start-up lag of an hour",
        ),
    ],
)
def test_what_a_driver_can_do_is_no_entry_error(
    tmp_path: Path, volumes: dict[float, float | None]
) -> None:
    result = audit(tmp_path, syringe(volumes) + quiet())
    assert kinds(result, "charting") == []


def test_a_last_reading_off_the_line_keeps_its_finding_and_names_the_rival(
    tmp_path: Path,
) -> None:
    volumes = {h: v for h, v in LINE.items() if h < 16} | {12.0: 10.6}
    found_stopped = {12.0: {"running": "no"}}
    result = audit(tmp_path, syringe(volumes, cells=found_stopped) + quiet())
    assert len(result.findings[result.findings["group"] == "delivery"]) == 1
    said = result.findings.loc[result.findings["group"] == "delivery", "sentence"]
    assert said.str.contains("An entry error would fit as well: a value carried").all()
    assert kinds(result, "charting") == []


@pytest.mark.parametrize(
    ("rates", "kind", "words"),
    [
        pytest.param(
            dict.fromkeys(LINE, 16.0),
            "entry_error",
            "a rate per 24 h in the hourly column (16 / 24 = 0.67 mL/h fits the "
            "volumes in 8 rows)",
            id="16 mL per 24 h in every row, above what is possible",
        ),
        pytest.param(
            {8.0: 0.0279},
            "doubtful_rate",
            "an hourly rate divided by 24 (0.0279 x 24 = 0.67 mL/h fits the volumes)",
            id="one row's rate divided by 24",
        ),
    ],
)
def test_a_rate_of_the_other_period_is_one_finding(
    tmp_path: Path, rates: dict[float, float], kind: str, words: str
) -> None:
    cells = {hour: {"set_rate_ml_h": rate} for hour, rate in rates.items()}
    result = audit(tmp_path, syringe(LINE, cells=cells) + quiet())
    assert words in only(result, kind)["sentence"]
    assert kinds(result, "charting") == [kind]


def test_volume_and_rate_in_each_others_column(tmp_path: Path) -> None:
    cells = {4.0: {"set_rate_ml_h": 13.3, "volume_remaining_ml": 0.67}}
    result = audit(tmp_path, syringe(LINE, cells=cells) + quiet())
    assert (
        "volume and rate written in each other's column (13.3 under rate"
        in only(result, "doubtful_reading")["sentence"]
    )


def test_a_nominal_size_as_start_volume_is_named_in_the_finding_it_makes(
    tmp_path: Path,
) -> None:
    infusions: list[Row] = [
        {
            "infusion_id": "I1",
            "syringe_size_ml": 20,
            "start_volume_ml": 20.0,
            "planned_duration_h": 24,
        }
    ]
    result = audit(
        tmp_path,
        syringe({**LINE, 0.0: 20.0, 23.5: 0.0}) + quiet(),
        infusions=infusions,
    )
    said = result.findings.loc[result.findings["infusion_id"] == "I1", "sentence"]
    assert said.str.contains("the syringe's nominal size, 20 mL, written as").sum() == 1


def test_a_start_volume_that_fits_its_nominal_size_is_left_alone(
    tmp_path: Path,
) -> None:
    full = {hour: volume + 4 for hour, volume in LINE.items()}
    result = audit(tmp_path, syringe(full) + quiet())
    assert kinds(result, "charting") == []


def test_a_column_of_delivered_volumes_under_remaining_is_said_once(
    tmp_path: Path,
) -> None:
    turned = {hour: round(16 - volume, 1) for hour, volume in LINE.items()}
    result = audit(tmp_path, syringe({**turned, 0.0: 16.0}) + quiet())
    said = result.findings["sentence"].str.contains(
        "the volume delivered written as the volume remaining in every row"
    )
    assert said.sum() == 1


def test_two_volumes_that_disagree_name_the_column_that_is_off(tmp_path: Path) -> None:
    cells: dict[float, dict[str, object]] = {
        h: {"volume_delivered_ml": round(16 - v, 1)} for h, v in LINE.items()
    }
    cells[16.0]["volume_delivered_ml"] = 1.07
    result = audit(tmp_path, syringe(LINE, cells=cells) + quiet())
    said = only(result, "volumes_disagree")["sentence"]
    assert "a decimal point in another place (10.7 mL would fit)" in said


def near(minutes: float, volume: float) -> list[Row]:
    """Give the reference infusion with a second row beside the one at 8 h."""
    return syringe(dict(sorted({**LINE, 8 + minutes / 60: volume}.items())))


@pytest.mark.parametrize(
    ("minutes", "volume", "found"),
    [
        pytest.param(1, 10.6, 1, id="the same volume a minute later"),
        pytest.param(5, 10.4, 1, id="at the bounds: five minutes and 0.2 mL"),
        pytest.param(6, 10.6, 0, id="a minute beyond the bound"),
        pytest.param(1, 10.3, 0, id="0.3 mL apart: two readings"),
    ],
)
def test_near_duplicates_are_flagged_and_both_rows_stay(
    tmp_path: Path, minutes: float, volume: float, found: int
) -> None:
    result = audit(tmp_path, near(minutes, volume))
    assert kinds(result, "charting") == ["near_duplicate"] * found
    assert len(result.readings) == len(LINE) + 1


def test_no_reading_has_two_charting_findings(tmp_path: Path) -> None:
    rows = charted({4.0: 2.7, 12.0: 0.8, 20.0: 5.3}) + quiet()
    result = audit(tmp_path, rows)
    found = charting(result)
    assert len(found) == 3
    assert not found.duplicated("first_source").any()


def test_explanations_change_no_measure_and_no_id(tmp_path: Path) -> None:
    plain = audit(tmp_path / "plain", charted({12.0: 11.1}) + quiet())
    slipped = audit(tmp_path / "slipped", charted({12.0: 10.6}) + quiet())
    assert list(plain.findings["finding_id"]) == list(slipped.findings["finding_id"])
    pd.testing.assert_frame_equal(plain.measures, slipped.measures)
    assert len(units_of(plain, "checks_on_time")) > 0
