"""Exports that mislead: asked about or left out by name, and never read wrongly.

Every service, ward, person and number here is invented.
"""

from pathlib import Path

import pytest

from analysis.errors import InputError
from tests.intake.test_unseen import read

TIMES = (8, 12, 16, 20)
VOLUMES = (16, 13.6, 11.2, 8.8)


def table(header: str, *values: str) -> str:
    """Give a log of four checks with one more column."""
    lines = [f"Ward,Patient,Checked at,Volume left,{header}"]
    lines += [
        f"Amber,K1,14/09/2026 {hour:02d}:00,{ml},{value}"
        for hour, ml, value in zip(TIMES, VOLUMES, values, strict=True)
    ]
    return "\n".join(lines) + "\n"


NOT_USED = [
    pytest.param("Rate ml/min", "0.01", "set_rate_ml_h", id="a rate per minute"),
    pytest.param("Rate mg/h", "2.5", "set_rate_ml_h", id="a rate of the drug"),
    pytest.param("Rate (\u00b5L/h)", "6", "set_rate_ml_h", id="a rate in microlitres"),
    pytest.param("Prescribed rate ml/h", "0.6", "set_rate_ml_h", id="a rate ordered"),
    pytest.param("Previous rate ml/h", "0.6", "set_rate_ml_h", id="the rate before"),
    pytest.param("Breakthrough volume given", "1", "volume_delivered_ml",
                 id="what was given beside the infusion"),
    pytest.param("Volume given since last check", "2.4", "volume_delivered_ml",
                 id="what was given since the check before"),
    pytest.param("Driver not running", "N", "running", id="not running"),
    pytest.param("Box unlocked", "N", "lockbox_locked", id="unlocked"),
    pytest.param("Label missing", "N", "label_present", id="a label missing"),
    pytest.param("Battery", "4", "battery_pct", id="bars of a battery"),
    pytest.param("Site not OK", "N", "site_signs", id="a site that is not well"),
]  # fmt: skip


@pytest.mark.parametrize(("header", "value", "column"), NOT_USED)
def test_a_column_that_only_sounds_like_another_is_named_and_not_used(
    tmp_path: Path, header: str, value: str, column: str
) -> None:
    log = read(tmp_path, {"log.csv": table(header, *[value] * 4)})
    assert column not in log.columns["checks"]
    assert f"log.csv: columns read and not used: {header}." in log.notes


NO_VOLUME = [
    pytest.param("Volume left (L)", id="litres"),
    pytest.param("Volume left (mg)", id="milligrams"),
    pytest.param("Expected volume remaining", id="what should be left"),
    pytest.param("Previous volume left", id="what was left before"),
]


@pytest.mark.parametrize("header", NO_VOLUME)
def test_what_is_no_reading_of_the_volume_is_asked_about(
    tmp_path: Path, header: str
) -> None:
    text = table("Rate ml/h", *["0.6"] * 4).replace("Volume left", header)
    with pytest.raises(InputError, match="has no column volume_remaining_ml"):
        read(tmp_path, {"log.csv": text})


def test_a_scheduled_time_is_not_that_of_the_check(tmp_path: Path) -> None:
    text = table("Rate ml/h", *["0.6"] * 4).replace("Checked at", "Scheduled time")
    with pytest.raises(InputError, match="has no column checked_at"):
        read(tmp_path, {"log.csv": text})
