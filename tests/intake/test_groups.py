"""What is written once for a group of rows: offered as such, and read so by a layout.

Every service, ward, person and number here is invented.
"""

from pathlib import Path

import pytest

from analysis.errors import InputError
from tests.intake.exports import cells, printed, read, write

CLOCKS = ("08:00", "12:00", "16:00")
VOLUMES = (16, 13.6, 11.2)


def grouped(*, every_infusion: bool) -> str:
    """Give two wards with two infusions each, the ward once a ward or an infusion."""
    rows = ["Ward,Patient,Infusion No,Checked at,Volume left"]
    for ward, patient in (("Amber", "K1"), ("Birch", "K2")):
        for run in (1, 2):
            for i, clock in enumerate(CLOCKS):
                is_first = i == 0 and (run == 1 or every_infusion)
                group = f"{ward},{patient}" if is_first else ","
                at = f"1{run + 3}/09/2026 {clock}"
                rows.append(f"{group},{patient}-{run},{at},{VOLUMES[i]}")
    return "\n".join(rows) + "\n"


def test_a_ward_once_a_group_is_offered_to_be_filled_down(tmp_path: Path) -> None:
    files = {"log.csv": grouped(every_infusion=False)}
    with pytest.raises(InputError, match="many cells under Ward and Patient are blank"):
        read(tmp_path, files)
    log = read(tmp_path, files, printed(write(tmp_path, files)))
    assert not len(log.rejected)
    assert log.checks["ward"].value_counts().to_dict() == {"Amber": 6, "Birch": 6}


def test_a_ward_once_an_infusion_needs_no_filling(tmp_path: Path) -> None:
    log = read(tmp_path, {"log.csv": grouped(every_infusion=True)})
    assert log.checks["ward"].value_counts().to_dict() == {"Amber": 6, "Birch": 6}


BLOCKS = """\
Date,Time,Volume left
Ward: Amber,,
{}K1,,
13/10/2026,08:05,20
13/10/2026,12:05,16.8
{}K2,,
13/10/2026,08:15,18
"""


def test_headings_under_the_date_name_the_rows_below(tmp_path: Path) -> None:
    log = read(tmp_path, {"log.csv": BLOCKS.format(*["Patient: "] * 2)})
    assert cells(log.checks, ["ward", "patient_id", "volume_remaining_ml"]) == [
        "Amber | K1 | 20",
        "Amber | K2 | 18",
        "Amber | K1 | 16.8",
    ]


def test_headings_without_a_label_are_offered(tmp_path: Path) -> None:
    text = BLOCKS.format("", "").replace("Ward: Amber,,\n", "")
    files = {"log.csv": text}
    with pytest.raises(InputError, match=r"2 rows have one cell only, such as 'K1'"):
        read(tmp_path, files)
    layout = printed(write(tmp_path, files))
    layout = layout.replace('ward = "?"', 'ward = "Amber"')
    layout = layout.replace('patient_id = "?"', 'patient_id = "(heading)"')
    log = read(tmp_path, files, layout)
    assert log.checks["patient_id"].tolist() == ["K1", "K2", "K1"]
