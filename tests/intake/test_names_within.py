"""Headers that hold the name of a column among other words.

Every service, ward, person and number here is invented.
"""

from pathlib import Path

import pytest

from analysis.errors import InputError, LayoutError
from analysis.intake.modifiers import are_harmless
from tests.intake.exports import printed, read, write
from tests.intake.test_misleading import table

OF_ANOTHER = [
    ("Respiratory rate", "16", "set_rate_ml_h"),
    ("O2 flow rate", "2", "set_rate_ml_h"),
    ("Feed pump rate (ml/h)", "5", "set_rate_ml_h"),
    ("Urine appearance", "clear", "solution_appearance"),
    ("Sputum colour", "clear", "solution_appearance"),
    ("Skin condition heels", "redness", "site_signs"),
    ("Pain location", "abdomen", "site_location"),
    ("Wound site", "thigh", "site_location"),
    ("Previous site", "thigh", "site_location"),
    ("Old site location", "thigh", "site_location"),
    ("Syringe driver 2 volume remaining", "15", "driver_id"),
    ("Driver model", "B", "driver_id"),
    ("Infusion route", "sc", "infusion_id"),
    ("Redness size", "2", "syringe_size_ml"),
    ("Mattress battery", "80", "battery_pct"),
    ("Bed locked", "Y", "lockbox_locked"),
    ("Fluids running", "Y", "running"),
    ("Wristband label present", "Y", "label_present"),
]


@pytest.mark.parametrize(("header", "value", "column"), OF_ANOTHER)
def test_a_name_of_another_thing_is_said_not_to_be_used(
    tmp_path: Path, header: str, value: str, column: str
) -> None:
    log = read(tmp_path, {"log.csv": table(header, *[value] * 4)})
    assert column not in log.columns["checks"] | log.columns["infusions"] - {
        "infusion_id"
    }
    assert f"log.csv: columns read and not used: {header}." in log.notes


OPEN = [
    ("Afternoon rate", "0.6", "set_rate_ml_h"),
    ("Second driver no", "SD7", "driver_id"),
    ("Duplicate infusion no", "R1", "infusion_id"),
    ("Site (spare)", "red", "site_signs"),
]


@pytest.mark.parametrize(("header", "value", "column"), OPEN)
def test_a_column_that_matters_and_is_named_in_part_is_asked_about(
    tmp_path: Path, header: str, value: str, column: str
) -> None:
    files = {"log.csv": table(header, *[value] * 4)}
    with pytest.raises(InputError) as asked:
        read(tmp_path, files)
    assert f"{header} may be {column} or another thing" in str(asked.value)
    layout = printed(write(tmp_path, files))
    with pytest.raises(LayoutError, match=f"columns.{column} is not settled"):
        read(tmp_path, files, layout)
    log = read(
        tmp_path, files, layout.replace(f'{column} = ["?"]', f'{column} = "{header}"')
    )
    assert column in log.columns["checks"]


SAFE = [
    ("Current rate on pump (ml/h)", "0.6", "set_rate_ml_h"),
    ("Rate at time of check", "0.6", "set_rate_ml_h"),
    ("SD battery level %", "80", "battery_pct"),
    ("Driver battery at check", "80", "battery_pct"),
    ("Green light flashing Y/N", "Y", "running"),
    ("Cannula site condition", "red", "site_signs"),
    ("Body site location", "thigh", "site_location"),
    ("Drug solution clarity", "clear", "solution_appearance"),
    ("Pump serial number", "SD7", "driver_id"),
    ("Syringe driver lockbox locked", "Y", "lockbox_locked"),
    ("Syringe label present", "Y", "label_present"),
    ("Nurse 1 initials", "AB", "checked_by"),
    ("Programmed infusion rate", "0.6", "set_rate_ml_h"),
    ("Rate confirmed", "0.6", "set_rate_ml_h"),
    ("Driver running on arrival", "Y", "running"),
    ("Lockbox intact", "Y", "lockbox_locked"),
    ("Label on syringe correct", "Y", "label_present"),
    ("Solution appearance (clear/cloudy)", "clear", "solution_appearance"),
    ("Site appearance/comments", "red", "site_signs"),
    ("Event type description", "check", "entry"),
]


@pytest.mark.parametrize(("header", "value", "column"), SAFE)
def test_words_of_where_and_when_leave_a_column_what_it_is(
    tmp_path: Path, header: str, value: str, column: str
) -> None:
    log = read(tmp_path, {"log.csv": table(header, *[value] * 4)})
    assert column in log.columns["checks"]


def test_the_words_of_a_site_say_nothing_of_the_syringe() -> None:
    assert are_harmless("site_signs", "of cannula skin")
    assert not are_harmless("solution_appearance", "cannula")
    assert not are_harmless("set_rate_ml_h", "of skin")


@pytest.mark.parametrize("state", ["Patent", "Secure", "No kinks"])
def test_the_state_of_a_line_is_no_name_of_it(tmp_path: Path, state: str) -> None:
    log = read(tmp_path, {"log.csv": table("Line", *[state] * 4)})
    assert "line_id" not in log.columns["checks"]


def test_the_usual_number_of_a_patient_is_one(tmp_path: Path) -> None:
    text = table("Initials", *["AB"] * 4).replace("Patient", "NHS Number", 1)
    assert "NHS Number" in text
    assert len(read(tmp_path, {"log.csv": text}).checks) == 4
