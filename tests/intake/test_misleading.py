"""Exports that mislead: asked about or left out by name, and never read wrongly.

Every service, ward, person and number here is invented.
"""

import re
from pathlib import Path

import pytest

from analysis.errors import InputError, LayoutError
from analysis.intake.layout import parse_layout
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


# --- layouts that lie -----------------------------------------------------------------

LAYOUT = """\
{top}[[table]]
holds = "checks"
date_order = "dmy"
clock = "24"
decimal = "."
{keys}
[table.columns]
ward = "Ward"
patient_id = "Patient"
checked_at = "Checked at"
set_rate_ml_h = "Rate ml/h"
volume_remaining_ml = "Volume left"
{more}
"""


def layout(top: str = "", keys: str = "", more: str = "") -> str:
    return LAYOUT.format(top=top, keys=keys, more=more)


LIES = [
    pytest.param(layout(top='zone = "Mars/Base"\n'), "zone reads 'Mars/Base'",
                 id="a zone that is none"),
    pytest.param(layout(top='zone = "../../passwd"\n'), "zone reads",
                 id="a zone that is a path"),
    pytest.param(layout(more='[table.digits]\npatient_id = true'),
                 "digits.patient_id must be a whole number from 1 to 30",
                 id="true for a number of digits"),
    pytest.param(layout(more='[table.digits]\npatient_id = 1000000000'),
                 "whole number from 1 to 30", id="more digits than memory"),
    pytest.param(layout(more='[table.words.running]\nGreen = "explode"'),
                 "words.running.Green means 'explode', which is none of yes, no",
                 id="words that mean nothing"),
    pytest.param(layout(more='[table.words.ward]\nA = "B"'),
                 "ward has no closed list of words", id="words of a name"),
    pytest.param(layout(more='[table.constants]\nbanana = "3"'),
                 "constants.banana is no column", id="a constant of no column"),
    pytest.param(layout(more='[table.constants]\nward = "B"'),
                 "ward stands under both columns and constants", id="two wards"),
    pytest.param(layout(more='[table.units]\nvolume_remaining_ml = "L"'),
                 "a unit can be given of set_rate_ml_h and battery_pct only",
                 id="a unit of a volume"),
    pytest.param(layout(more='volume_delivered_ml = "Volume left"'),
                 "'Volume left' is named as volume_remaining_ml and volume_delivered",
                 id="one header for what is left and what was given"),
    pytest.param(layout(more='battery_pct = ["Rate ml/h", "Ward"]'),
                 "battery_pct names 2 headers", id="two headers for one number"),
    pytest.param(layout(more='driver_id = []'), "driver_id names no header",
                 id="a column of no header"),
    pytest.param(layout(keys='fill_down = ["Volume left"]'),
                 "fill_down: 'Volume left' holds readings", id="readings filled down"),
    pytest.param(layout(keys='contents_of = [[]]'), "contents_of names no header",
                 id="a drug of no header"),
    pytest.param('[[table]]\nholds = "checks"\ncolumns = "x"',
                 "columns must be a table", id="columns that are a text"),
    pytest.param(layout().replace('"checks"', '"items"'),
                 "names no item, which a table of items needs", id="no items in it"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "says"), LIES)
def test_a_layout_that_cannot_be_is_refused_as_it_is_loaded(
    text: str, says: str
) -> None:
    with pytest.raises(LayoutError, match=re.escape(says)) as refused:
        parse_layout(text, "layout.toml")
    assert str(refused.value).startswith("layout.toml: ")
    assert "\n" not in str(refused.value)


MISFITS = [
    pytest.param('ditto = ["Nope"]', "has no column 'Nope'", id="marks under nothing"),
    pytest.param('encoding = "rot13"', "no encoding 'rot13'", id="no code of text"),
    pytest.param('encoding = "idna"', "no encoding 'idna'", id="a code of names"),
    pytest.param('encoding = "a\\u0000b"', "no encoding", id="no name of a code"),
]


@pytest.mark.parametrize(("keys", "says"), MISFITS)
def test_a_layout_that_does_not_fit_the_file_ends_in_one_sentence(
    tmp_path: Path, keys: str, says: str
) -> None:
    files = {"log.csv": table("Rate ml/h", *["0.6"] * 4)}
    with pytest.raises(InputError, match=f"log.csv: .*{says}"):
        read(tmp_path, files, layout(keys=keys))
