"""Habits of wards and of the programs that write their exports.

Every service, ward, person and number here is invented; the rows beside an export are
what a perfect intake makes of it.
"""

from pathlib import Path

import pytest

from tests.intake.exports import Files, assert_read

F01_FOOTERS = """\
Ward,Patient,Checked at,Rate ml/h,Volume left
Amber,K1,14/09/2026 08:00,0.6,16
Amber,K1,14/09/2026 12:00,0.6,13.6
Amber,K1,14/09/2026 16:00,0.6,11.2

3 rows selected.
Report generated 30/09/2026 10:12 by ward clerk
# end
"""
E01_TRAILING_COMMA_OK = """\
Ward,Patient,Checked at,Rate ml/h,Volume left,Battery,Note
Amber,K1,14/09/2026 08:00,0.6,16,98,,
Amber,K1,14/09/2026 12:00,0.6,13.6,90,,
Amber,K1,14/09/2026 16:00,0.6,11.2,85,,
"""
X02_SERIAL_MOMENT = """\
Ward,Patient,Checked at,Rate ml/h,Volume left
Amber,'0041,46279.3333333333,0.6,16
Amber,'0041,46279.5034722222,0.6,13.5
Amber,'0041,46280.0069444444,0.6,6.4
"""
X04_APOSTROPHES_ALL = """\
Ward,Patient,Checked at,Rate ml/h,Volume left
Amber,'0041,'14/09/2026 08:00,'0.6,'16
Amber,'0041,'14/09/2026 12:00,'0.6,'13.6
Amber,'0041,'14/09/2026 16:00,'0.6,'11.2
"""
US01_SHORT = """\
Unit,MRN,Pump ID,Obs Date,Obs Time,Event,Rate (mL/hr),Vol Remaining (mL),Batt,\
Site Assessment,RN
3 East,88231,SP-4,9/14/26,2:05p,Initiated,0.6,16,98%,WDL,jq
3 East,88231,SP-4,9/14/26,6:10p,Assessed,0.6,13.6,90%,WDL,jq
3 East,88231,SP-4,9/14/26,10:00p,Assessed,0.6,11.3,82%,erythema,mm
3 East,88231,SP-4,9/15/26,2:05a,Discontinued,0.6,8.9,71%,WDL,mm
"""
AM01_VERSION = """\
Row ID,Ward,Patient,Checked at,Rate ml/h,Volume left,Version,Amended from,Status
1,Amber,K1,14/09/2026 08:00,0.6,16,1,,Final
2,Amber,K1,14/09/2026 12:00,0.6,31.6,1,,Superseded
3,Amber,K1,14/09/2026 12:00,0.6,13.6,2,2,Final
4,Amber,K1,14/09/2026 16:00,0.6,11.2,1,,Final
5,Amber,K1,14/09/2026 17:00,0.6,11.2,1,,VOID - wrong patient
"""
LONG01_EHR = """\
Dept,Pat ID,Recorded Date/Time,Flowsheet Row Name,Measure Value,Units,Entered By,\
Comment
5W,PG1,09/14/2026 0800,CSCI rate,0.60,mL/hr,rn1,
5W,PG1,09/14/2026 0800,CSCI volume remaining,16.0,mL,rn1,
5W,PG1,09/14/2026 0800,CSCI site condition,WDL,,rn1,
5W,PG1,09/14/2026 1210,CSCI rate,0.60,mL/hr,rn1,
5W,PG1,09/14/2026 1210,CSCI volume remaining,13.5,mL,rn1,
5W,PG1,09/14/2026 1210,CSCI site condition,reddened,,rn1,
5W,PG1,09/14/2026 1210,Pain score,3,,rn1,
"""
DB02_CAMEL = """\
WardName,PatientID,DriverNo,ObsDateTime,EntryType,RateMlHr,VolumeRemaining,\
BatteryPct,SiteCondition,LockboxLocked,CheckedBy
Amber,K1,SD1,2026-09-14T08:00,Start,0.6,16,98,NAD,true,AB
Amber,K1,SD1,2026-09-14T12:00,Check,0.6,13.6,90,red,true,AB
"""
DB03_JOINED = """\
wardname,patientid,driverno,obsdatetime,entrytype,ratemlhr,volumeremaining,\
batterypct,sitecondition,lockboxlocked,checkedby
Amber,K1,SD1,2026-09-14T08:00,Start,0.6,16,98,NAD,true,AB
Amber,K1,SD1,2026-09-14T12:00,Check,0.6,13.6,90,red,true,AB
"""
P04B = """\
Team,Patient,Driver,Visit date,Visit time,Visit type,Volume left on arrival (ml),\
New syringe volume (ml),Rate ml/h
North,K1,SD1,14/09/2026,09:00,Set up,,16,0.65
North,K1,SD1,15/09/2026,09:10,Syringe change,0.5,16,0.65
North,K1,SD1,16/09/2026,09:05,Syringe change,0.6,16,0.65
North,K1,SD1,17/09/2026,09:00,Take down,0.4,,0.65
"""

EXPORTS = [
    pytest.param(
        {"t.csv": F01_FOOTERS},
        "checked_at volume_remaining_ml",
        [
            "2026-09-14 08:00 | 16",
            "2026-09-14 12:00 | 13.6",
            "2026-09-14 16:00 | 11.2",
        ],
        id="remarks of a program below the rows",
    ),
    pytest.param(
        {"t.csv": E01_TRAILING_COMMA_OK},
        "checked_at volume_remaining_ml",
        [
            "2026-09-14 08:00 | 16",
            "2026-09-14 12:00 | 13.6",
            "2026-09-14 16:00 | 11.2",
        ],
        id="a comma at the end of every row",
    ),
    pytest.param(
        {"serial.csv": X02_SERIAL_MOMENT},
        "patient_id checked_at volume_remaining_ml",
        [
            "0041 | 2026-09-14 08:00 | 16",
            "0041 | 2026-09-14 12:05 | 13.5",
            "0041 | 2026-09-15 00:10 | 6.4",
        ],
        id="an apostrophe before a number",
    ),
    pytest.param(
        {"t.csv": X04_APOSTROPHES_ALL},
        "patient_id checked_at volume_remaining_ml",
        [
            "0041 | 2026-09-14 08:00 | 16",
            "0041 | 2026-09-14 12:00 | 13.6",
            "0041 | 2026-09-14 16:00 | 11.2",
        ],
        id="an apostrophe before all numbers",
    ),
    pytest.param(
        {"us.csv": US01_SHORT},
        "patient_id driver_id entry checked_at battery_pct site_signs",
        [
            "88231 | SP-4 | start | 2026-09-14 14:05 | 98 | none",
            "88231 | SP-4 | check | 2026-09-14 18:10 | 90 | none",
            "88231 | SP-4 | check | 2026-09-14 22:00 | 82 | redness",
            "88231 | SP-4 | end | 2026-09-15 02:05 | 71 | none",
        ],
        id="am and pm by a letter, other words for entries",
    ),
    pytest.param(
        {"v.csv": AM01_VERSION},
        "checked_at volume_remaining_ml",
        [
            "2026-09-14 08:00 | 16",
            "2026-09-14 12:00 | 13.6",
            "2026-09-14 16:00 | 11.2",
        ],
        id="a status with its reason",
    ),
    pytest.param(
        {"fs.csv": LONG01_EHR},
        "patient_id checked_at volume_remaining_ml site_signs",
        [
            "PG1 | 2026-09-14 08:00 | 16 | none",
            "PG1 | 2026-09-14 12:10 | 13.5 | redness",
        ],
        id="items under other names",
    ),
    pytest.param(
        {"q.csv": DB02_CAMEL},
        "patient_id driver_id entry checked_at battery_pct lockbox_locked",
        [
            "K1 | SD1 | start | 2026-09-14 08:00 | 98 | yes",
            "K1 | SD1 | check | 2026-09-14 12:00 | 90 | yes",
        ],
        id="words written together in capitals",
    ),
    pytest.param(
        {"q.csv": DB03_JOINED},
        "patient_id driver_id entry checked_at battery_pct lockbox_locked",
        [
            "K1 | SD1 | start | 2026-09-14 08:00 | 98 | yes",
            "K1 | SD1 | check | 2026-09-14 12:00 | 90 | yes",
        ],
        id="words written together",
    ),
    pytest.param(
        {"visits.csv": P04B},
        "patient_id driver_id entry checked_at volume_remaining_ml",
        [
            "K1 | SD1 | start | 2026-09-14 09:00 | ",
            "K1 | SD1 | end | 2026-09-15 09:10 | 0.5",
            "K1 | SD1 | start | 2026-09-15 09:10 | ",
            "K1 | SD1 | end | 2026-09-16 09:05 | 0.6",
            "K1 | SD1 | start | 2026-09-16 09:05 | ",
            "K1 | SD1 | end | 2026-09-17 09:00 | 0.4",
        ],
        id="the old and the new volume of a syringe at one visit",
    ),
]


@pytest.mark.parametrize(("files", "names", "wanted"), EXPORTS)
def test_it_is_read_right(
    tmp_path: Path, files: Files, names: str, wanted: list[str]
) -> None:
    assert_read(tmp_path, files, names, wanted)
