"""Two drivers of a patient side by side in a row.

Every service, ward, person and number here is invented; the rows beside an export are
what a perfect intake makes of it.
"""

from pathlib import Path

import pytest

from analysis.errors import InputError
from tests.intake.exports import Files, assert_read, read

P02_TWO_DRIVERS_SIDE = """\
Ward,Pt,Date,Time,Pump A no,Pump A rate,Pump A left,Pump B no,Pump B rate,Pump B left
Amber,K1,14/09/2026,08:00,SD1,0.6,16,SD2,0.7,17
Amber,K1,14/09/2026,12:00,SD1,0.6,13.6,SD2,0.7,14.2
Amber,K2,14/09/2026,12:30,SD3,0.6,13.1,,,
"""
P03_TWO_DRIVERS_GROUPS = """\
,,,,Driver 1,,,Driver 2,,,
Ward,Patient,Date,Time,No,ml/h,ml left,No,ml/h,ml left,Sign
Amber,K1,14/09/2026,08:00,SD1,0.6,16,SD2,0.7,17,AB
Amber,K1,14/09/2026,12:00,SD1,0.6,13.6,SD2,0.7,14.2,AB
Amber,K2,14/09/2026,12:30,SD3,0.6,13.1,,,,AB
"""
P07_TWO_DRIVERS_SUFFIX = """\
Ward,Patient,Date,Time,Pump 1,Rate 1,Vol left 1,Site 1,Pump 2,Rate 2,Vol left 2,Site 2
Amber,K1,14/09/2026,08:00,SD1,0.6,16,NAD,SD2,0.7,17,NAD
Amber,K1,14/09/2026,12:00,SD1,0.6,13.6,NAD,SD2,0.7,14.2,red
Amber,K2,14/09/2026,12:30,SD3,0.6,13.1,NAD,,,,
"""

EXPORTS = [
    pytest.param(
        {"side.csv": P02_TWO_DRIVERS_SIDE},
        "patient_id driver_id checked_at set_rate_ml_h volume_remaining_ml",
        [
            "K1 | SD1 | 2026-09-14 08:00 | 0.6 | 16",
            "K1 | SD2 | 2026-09-14 08:00 | 0.7 | 17",
            "K1 | SD1 | 2026-09-14 12:00 | 0.6 | 13.6",
            "K1 | SD2 | 2026-09-14 12:00 | 0.7 | 14.2",
            "K2 | SD3 | 2026-09-14 12:30 | 0.6 | 13.1",
        ],
        id="drivers by letter",
    ),
    pytest.param(
        {"side.csv": P03_TWO_DRIVERS_GROUPS},
        "patient_id driver_id checked_at set_rate_ml_h volume_remaining_ml",
        [
            "K1 | SD1 | 2026-09-14 08:00 | 0.6 | 16",
            "K1 | SD2 | 2026-09-14 08:00 | 0.7 | 17",
            "K1 | SD1 | 2026-09-14 12:00 | 0.6 | 13.6",
            "K1 | SD2 | 2026-09-14 12:00 | 0.7 | 14.2",
            "K2 | SD3 | 2026-09-14 12:30 | 0.6 | 13.1",
        ],
        id="drivers by number in a record above the header",
    ),
    pytest.param(
        {"side.csv": P07_TWO_DRIVERS_SUFFIX},
        "driver_id checked_at set_rate_ml_h volume_remaining_ml site_signs",
        [
            "SD1 | 2026-09-14 08:00 | 0.6 | 16 | none",
            "SD2 | 2026-09-14 08:00 | 0.7 | 17 | none",
            "SD1 | 2026-09-14 12:00 | 0.6 | 13.6 | none",
            "SD2 | 2026-09-14 12:00 | 0.7 | 14.2 | redness",
            "SD3 | 2026-09-14 12:30 | 0.6 | 13.1 | none",
        ],
        id="numbers at the end of the headers",
    ),
]


@pytest.mark.parametrize(("files", "names", "wanted"), EXPORTS)
def test_each_driver_is_read_as_a_row(
    tmp_path: Path, files: Files, names: str, wanted: list[str]
) -> None:
    assert_read(tmp_path, files, names, wanted)


NO_NUMBER = """\
Ward,Patient,Checked at,Driver A rate,Driver A left,Driver B rate,Driver B left
Amber,K1,14/09/2026 08:00,0.6,16,0.7,17
Amber,K1,14/09/2026 12:00,0.6,13.6,0.7,14.2
"""


def test_a_second_driver_without_its_number_is_asked_for(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="Driver A left and Driver B left stand side"):
        read(tmp_path, {"log.csv": NO_NUMBER})


def test_a_line_of_two_drivers_counts_as_two_checks(tmp_path: Path) -> None:
    log = read(tmp_path, {"side.csv": P02_TWO_DRIVERS_SIDE})
    account = log.account.iloc[0]
    assert (account["rows_read"], account["accepted"], account["rejected"]) == (5, 5, 0)
