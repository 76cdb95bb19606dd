"""Charts below each other in one file, each under a line that says whose it is.

Every service, ward, person and number here is invented; the rows beside an export are
what a perfect intake makes of it.
"""

from pathlib import Path

import pytest

from analysis.errors import InputError
from tests.intake.exports import Files, assert_read, read

R22_STACKED_COLON = """\
Patient: K1,Ward: Amber,Driver: SD1,,,
Date,Time,Rate ml/h,Left ml,Site,Sign
14/09/2026,08:00,0.6,16,NAD,AB
14/09/2026,12:00,0.6,13.6,NAD,AB
Patient: K2,Ward: Amber,Driver: SD2,,,
Date,Time,Rate ml/h,Left ml,Site,Sign
14/09/2026,09:00,0.7,17,NAD,AB
14/09/2026,13:00,0.7,14.2,NAD,AB
"""
R23_STACKED_COLON_CELLS = """\
Patient:,K1,Ward:,Amber,Driver:,SD1
Date,Time,Rate ml/h,Left ml,Site,Sign
14/09/2026,08:00,0.6,16,NAD,AB
14/09/2026,12:00,0.6,13.6,NAD,AB
,,,,,
Patient:,K2,Ward:,Birch,Driver:,SD2
Date,Time,Rate ml/h,Left ml,Site,Sign
14/09/2026,09:00,0.7,17,NAD,AB
14/09/2026,13:00,0.7,14.2,NAD,AB
"""
S04_OTHER_LABEL = """\
Patient: K1,Ward: Amber,,,,
Date,Time,Rate ml/h,Left ml,Site,Sign
14/09/2026,08:00,0.6,16,NAD,AB
14/09/2026,12:00,0.6,13.6,NAD,AB
Pt: K2,,,,,
14/09/2026,09:00,0.7,17,NAD,AB
14/09/2026,13:00,0.7,14.2,NAD,AB
"""
R21_STACKED_PATIENTS = """\
Patient,K1,Ward,Amber,Driver,SD1
Date,Time,Rate ml/h,Left ml,Site,Sign
14/09/2026,08:00,0.6,16,NAD,AB
14/09/2026,12:00,0.6,13.6,NAD,AB
Patient,K2,Ward,Amber,Driver,SD2
Date,Time,Rate ml/h,Left ml,Site,Sign
14/09/2026,09:00,0.7,17,NAD,AB
14/09/2026,13:00,0.7,14.2,NAD,AB
"""
R25_PREAMBLE_ONLY_ONCE = """\
Patient: K1,Ward: Amber,,
Item,14/09/2026 08:00,14/09/2026 12:00,14/09/2026 16:00
Rate ml/h,0.6,0.6,0.6
Volume left,16,13.6,11.2
Site,NAD,NAD,red
Patient: K2,Ward: Amber,,
Rate ml/h,0.7,0.7,0.7
Volume left,17,14.2,11.4
Site,NAD,NAD,NAD
"""

NO_COLON = """\
Patient: K1,Ward: Amber,,
Date,Time,Rate ml/h,Left ml
14/09/2026,08:00,0.6,16
14/09/2026,12:00,0.6,13.6
Patient K2,,,
14/09/2026,09:00,0.7,17
14/09/2026,13:00,0.7,14.2
"""
OF_TWO = [
    "K1 | 2026-09-14 08:00 | 16",
    "K1 | 2026-09-14 12:00 | 13.6",
    "K2 | 2026-09-14 09:00 | 17",
    "K2 | 2026-09-14 13:00 | 14.2",
]
LATER_IN_THE_LINE = """\
Ward: Amber
Patient: K1
Syringe: S001,,Driver: SD1
Date,Time,Rate ml/h,Left ml,Site,Sign
14/09/2026,08:00,0.6,16,NAD,AB
14/09/2026,12:00,0.6,13.6,NAD,AB

Ward: Amber
Patient: K2
Syringe: S002,,Driver: SD2
Date,Time,Rate ml/h,Left ml,Site,Sign
14/09/2026,09:00,0.7,17,NAD,AB
14/09/2026,13:00,0.7,14.2,NAD,AB
"""

EXPORTS = [
    *(
        pytest.param(
            {"c.csv": text},
            "patient_id checked_at volume_remaining_ml",
            OF_TWO,
            id=name,
        )
        for text, name in (
            (NO_COLON, "another patient in a line without a colon"),
            (NO_COLON.replace("K2,,,", "K2"), "the same in a line of one cell"),
        )
    ),
    pytest.param(
        {"c.csv": LATER_IN_THE_LINE},
        "patient_id infusion_id driver_id checked_at volume_remaining_ml",
        [
            "K1 | S001 | SD1 | 2026-09-14 08:00 | 16",
            "K1 | S001 | SD1 | 2026-09-14 12:00 | 13.6",
            "K2 | S002 | SD2 | 2026-09-14 09:00 | 17",
            "K2 | S002 | SD2 | 2026-09-14 13:00 | 14.2",
        ],
        id="a label that stands later in its line",
    ),
    pytest.param(
        {"c.csv": R22_STACKED_COLON},
        "patient_id driver_id checked_at volume_remaining_ml",
        [
            "K1 | SD1 | 2026-09-14 08:00 | 16",
            "K1 | SD1 | 2026-09-14 12:00 | 13.6",
            "K2 | SD2 | 2026-09-14 09:00 | 17",
            "K2 | SD2 | 2026-09-14 13:00 | 14.2",
        ],
        id="labels with their values in one cell",
    ),
    pytest.param(
        {"c.csv": R23_STACKED_COLON_CELLS},
        "ward patient_id driver_id checked_at volume_remaining_ml",
        [
            "Amber | K1 | SD1 | 2026-09-14 08:00 | 16",
            "Amber | K1 | SD1 | 2026-09-14 12:00 | 13.6",
            "Birch | K2 | SD2 | 2026-09-14 09:00 | 17",
            "Birch | K2 | SD2 | 2026-09-14 13:00 | 14.2",
        ],
        id="values beside their labels, a blank line between charts",
    ),
    pytest.param(
        {"c.csv": S04_OTHER_LABEL},
        "patient_id checked_at volume_remaining_ml",
        [
            "K1 | 2026-09-14 08:00 | 16",
            "K1 | 2026-09-14 12:00 | 13.6",
            "K2 | 2026-09-14 09:00 | 17",
            "K2 | 2026-09-14 13:00 | 14.2",
        ],
        id="another label for the same",
    ),
    pytest.param(
        {"c.csv": R21_STACKED_PATIENTS},
        "patient_id driver_id checked_at volume_remaining_ml",
        [
            "K1 | SD1 | 2026-09-14 08:00 | 16",
            "K1 | SD1 | 2026-09-14 12:00 | 13.6",
            "K2 | SD2 | 2026-09-14 09:00 | 17",
            "K2 | SD2 | 2026-09-14 13:00 | 14.2",
        ],
        id="labels without a colon",
    ),
    pytest.param(
        {"c.csv": R25_PREAMBLE_ONLY_ONCE},
        "patient_id checked_at volume_remaining_ml site_signs",
        [
            "K1 | 2026-09-14 08:00 | 16 | none",
            "K1 | 2026-09-14 12:00 | 13.6 | none",
            "K1 | 2026-09-14 16:00 | 11.2 | redness",
            "K2 | 2026-09-14 08:00 | 17 | none",
            "K2 | 2026-09-14 12:00 | 14.2 | none",
            "K2 | 2026-09-14 16:00 | 11.4 | none",
        ],
        id="a flowsheet with the patient in lines between",
    ),
]


@pytest.mark.parametrize(("files", "names", "wanted"), EXPORTS)
def test_each_chart_is_that_of_its_own_line(
    tmp_path: Path, files: Files, names: str, wanted: list[str]
) -> None:
    assert_read(tmp_path, files, names, wanted)


TWO_FLOWSHEETS = """\
Patient: K1,Ward: Amber,
Item,14/09/2026 08:00,14/09/2026 12:00
Rate ml/h,0.6,0.6
Volume left,16,13.6
Site,NAD,NAD
Patient: K2,Ward: Amber,
Item,15/09/2026 09:00,15/09/2026 13:00
Rate ml/h,0.7,0.7
Volume left,17,14.2
Site,NAD,NAD
"""
TWO_UNITS = """\
Ward,Patient,Checked at,Rate,Volume left
Amber,K1,14/09/2026 08:00,0.6,16
Amber,K1,14/09/2026 12:00,0.6,13.6
Birch,K2,14/09/2026 08:00,14.4,16
Birch,K2,14/09/2026 12:00,14.4,13.6
"""


@pytest.mark.parametrize(
    ("text", "says"),
    [
        pytest.param(
            TWO_FLOWSHEETS,
            "another header of times begins on line 7",
            id="two flowsheets with times of their own",
        ),
        pytest.param(
            NO_COLON.replace("K2,,,", "Kay"),
            "a row of one cell below says 'Patient Kay'",
            id="what may be a name in a line without a colon",
        ),
        pytest.param(
            TWO_UNITS,
            "Rate holds 0.6 and 14.4, as of mL/h and of mL/24 h",
            id="one ward per hour, another per day",
        ),
    ],
)
def test_what_would_be_read_as_of_another_is_refused(
    tmp_path: Path, text: str, says: str
) -> None:
    with pytest.raises(InputError, match=says):
        read(tmp_path, {"log.csv": text})
