"""Charts with times in the header, days as headings, and dates in parts.

Every service, ward, person and number here is invented; the rows beside an export are
what a perfect intake makes of it.
"""

from pathlib import Path

import pytest

from tests.intake.exports import Files, assert_read

T01_FLOWSHEET_ACROSS = """\
Patient: K1,Ward: Amber
Flowsheet Row,14/09/2026 08:00,14/09/2026 12:05,14/09/2026 16:10,15/09/2026 00:10
Event,Start,Check,Check,Check
Rate (mL/h),0.6,0.6,0.6,0.6
Volume remaining (mL),16,13.5,11,6.2
Site appearance,NAD,NAD,red,NAD
Battery %,98,90,82,66
"""
T02_GRID_DAYS = """\
Ward,Patient,Driver no,Date,Rate ml/h,08:00,12:00,16:00,20:00,00:00,04:00
Amber,K1,SD7,14/09/2026,0.6,16,13.6,11.2,8.8,6.4,4
Amber,K2,SD8,14/09/2026,0.7,,17,14.2,11.4,8.6,5.8
"""
T04_TWO_HEADER_ROWS_FLOW = """\
Ward,Patient,Item,14/09/2026,,,15/09/2026
,,,08:00,12:00,16:00,00:30
Amber,K1,Event,Start,Check,Check,Check
Amber,K1,Rate ml/h,0.6,0.6,0.6,0.6
Amber,K1,Volume left,16,13.6,11.2,6.1
Amber,K1,Site check,NAD,,red,NAD
Amber,K2,Event,Start,Check,,
Amber,K2,Rate ml/h,0.7,0.7,,
Amber,K2,Volume left,17,14.2,,
Amber,K2,Site check,NAD,NAD,,
"""
T05_DAYS_ACROSS = """\
Ward,Patient,Time,14/09/2026,15/09/2026,16/09/2026
Amber,K1,08:00,16,16,16
Amber,K1,12:00,13.6,13.7,13.5
Amber,K1,16:00,11.2,11.3,
Amber,K1,20:00,8.8,8.9,
"""
T06_GRID_ITEM_CLOCK = """\
Patient no: K4,,,,,,
Ward: Amber,,Date: 14/09/2026,,,,
Observation,08:00,12:00,16:00,20:00,00:00,04:00
Rate ml/hr,0.6,0.6,0.6,0.6,0.6,0.6
Volume left ml,16,13.6,11.2,8.8,6.4,4
Light flashing,Y,Y,Y,Y,N,Y
Site,NAD,NAD,pink,NAD,NAD,NAD
"""
P01_DAY_HEADINGS = """\
Ward,Patient,Time,Entry,ml/hr,ml left,Site,Initials
Monday 14 September 2026,,,,,,,
Amber,K1,08:00,Start,0.6,16,NAD,AB
Amber,K1,12:00,Check,0.6,13.6,NAD,AB
Amber,K1,20:00,Check,0.6,8.8,red,CD
Tuesday 15 September 2026,,,,,,,
Amber,K1,00:15,Check,0.6,6.2,red,CD
Amber,K1,04:00,Check,0.6,4,NAD,CD
"""
P05_DAY_IN_DATE_COL = """\
Date,Time,Ward,Patient,Entry,ml/hr,ml left,Site
14/09/2026,,,,,,,
,08:00,Amber,K1,Start,0.6,16,NAD
,12:00,Amber,K1,Check,0.6,13.6,NAD
,20:00,Amber,K1,Check,0.6,8.8,red
15/09/2026,,,,,,,
,00:15,Amber,K1,Check,0.6,6.2,red
,04:00,Amber,K1,Check,0.6,4,NAD
"""
D02_PARTS_OF_DATE = """\
ward,patient_no,yr,mth,day,hr,mins,entry,rate_mlh,vol_left
Amber,K1,2026,9,14,8,0,start,0.6,16
Amber,K1,2026,9,14,12,5,check,0.6,13.5
Amber,K1,2026,9,14,16,10,check,0.6,11
"""

EXPORTS = [
    pytest.param(
        {"flowsheet.csv": T01_FLOWSHEET_ACROSS},
        "ward patient_id entry checked_at volume_remaining_ml site_signs",
        [
            "Amber | K1 | start | 2026-09-14 08:00 | 16 | none",
            "Amber | K1 | check | 2026-09-14 12:05 | 13.5 | none",
            "Amber | K1 | check | 2026-09-14 16:10 | 11 | redness",
            "Amber | K1 | check | 2026-09-15 00:10 | 6.2 | none",
        ],
        id="a flowsheet with a column a moment",
    ),
    pytest.param(
        {"grid.csv": T02_GRID_DAYS},
        "patient_id driver_id checked_at set_rate_ml_h volume_remaining_ml",
        [
            "K1 | SD7 | 2026-09-14 08:00 | 0.6 | 16",
            "K1 | SD7 | 2026-09-14 12:00 | 0.6 | 13.6",
            "K1 | SD7 | 2026-09-14 16:00 | 0.6 | 11.2",
            "K1 | SD7 | 2026-09-14 20:00 | 0.6 | 8.8",
            "K1 | SD7 | 2026-09-15 00:00 | 0.6 | 6.4",
            "K1 | SD7 | 2026-09-15 04:00 | 0.6 | 4",
            "K2 | SD8 | 2026-09-14 12:00 | 0.7 | 17",
            "K2 | SD8 | 2026-09-14 16:00 | 0.7 | 14.2",
            "K2 | SD8 | 2026-09-14 20:00 | 0.7 | 11.4",
            "K2 | SD8 | 2026-09-15 00:00 | 0.7 | 8.6",
            "K2 | SD8 | 2026-09-15 04:00 | 0.7 | 5.8",
        ],
        id="a chart a row with a column a clock time past midnight",
    ),
    pytest.param(
        {"flow.csv": T04_TWO_HEADER_ROWS_FLOW},
        "patient_id entry checked_at set_rate_ml_h volume_remaining_ml site_signs",
        [
            "K1 | start | 2026-09-14 08:00 | 0.6 | 16 | none",
            "K1 | check | 2026-09-14 12:00 | 0.6 | 13.6 | ",
            "K1 | check | 2026-09-14 16:00 | 0.6 | 11.2 | redness",
            "K1 | check | 2026-09-15 00:30 | 0.6 | 6.1 | none",
            "K2 | start | 2026-09-14 08:00 | 0.7 | 17 | none",
            "K2 | check | 2026-09-14 12:00 | 0.7 | 14.2 | none",
        ],
        id="days above clock times, an item a row",
    ),
    pytest.param(
        {"flow.csv": T05_DAYS_ACROSS},
        "patient_id checked_at volume_remaining_ml",
        [
            "K1 | 2026-09-14 08:00 | 16",
            "K1 | 2026-09-14 12:00 | 13.6",
            "K1 | 2026-09-14 16:00 | 11.2",
            "K1 | 2026-09-14 20:00 | 8.8",
            "K1 | 2026-09-15 08:00 | 16",
            "K1 | 2026-09-15 12:00 | 13.7",
            "K1 | 2026-09-15 16:00 | 11.3",
            "K1 | 2026-09-15 20:00 | 8.9",
            "K1 | 2026-09-16 08:00 | 16",
            "K1 | 2026-09-16 12:00 | 13.5",
        ],
        id="clock times down and days across",
    ),
    pytest.param(
        {"chart.csv": T06_GRID_ITEM_CLOCK},
        "patient_id checked_at volume_remaining_ml running site_signs",
        [
            "K4 | 2026-09-14 08:00 | 16 | yes | none",
            "K4 | 2026-09-14 12:00 | 13.6 | yes | none",
            "K4 | 2026-09-14 16:00 | 11.2 | yes | redness",
            "K4 | 2026-09-14 20:00 | 8.8 | yes | none",
            "K4 | 2026-09-15 00:00 | 6.4 | no | none",
            "K4 | 2026-09-15 04:00 | 4 | yes | none",
        ],
        id="an item a row, the date above the header",
    ),
    pytest.param(
        {"typed.csv": P01_DAY_HEADINGS},
        "ward patient_id entry checked_at volume_remaining_ml site_signs",
        [
            "Amber | K1 | start | 2026-09-14 08:00 | 16 | none",
            "Amber | K1 | check | 2026-09-14 12:00 | 13.6 | none",
            "Amber | K1 | check | 2026-09-14 20:00 | 8.8 | redness",
            "Amber | K1 | check | 2026-09-15 00:15 | 6.2 | redness",
            "Amber | K1 | check | 2026-09-15 04:00 | 4 | none",
        ],
        id="days in rows of their own",
    ),
    pytest.param(
        {"typed.csv": P05_DAY_IN_DATE_COL},
        "ward patient_id entry checked_at volume_remaining_ml site_signs",
        [
            "Amber | K1 | start | 2026-09-14 08:00 | 16 | none",
            "Amber | K1 | check | 2026-09-14 12:00 | 13.6 | none",
            "Amber | K1 | check | 2026-09-14 20:00 | 8.8 | redness",
            "Amber | K1 | check | 2026-09-15 00:15 | 6.2 | redness",
            "Amber | K1 | check | 2026-09-15 04:00 | 4 | none",
        ],
        id="days in rows of their own under Date",
    ),
    pytest.param(
        {"q.csv": D02_PARTS_OF_DATE},
        "patient_id entry checked_at volume_remaining_ml",
        [
            "K1 | start | 2026-09-14 08:00 | 16",
            "K1 | check | 2026-09-14 12:05 | 13.5",
            "K1 | check | 2026-09-14 16:10 | 11",
        ],
        id="year, month, day, hour and minute apart",
    ),
]


@pytest.mark.parametrize(("files", "names", "wanted"), EXPORTS)
def test_a_chart_laid_out_by_times_is_read(
    tmp_path: Path, files: Files, names: str, wanted: list[str]
) -> None:
    assert_read(tmp_path, files, names, wanted)
