"""Questions that the values of an export answer themselves.

Every service, ward, person and number here is invented; the rows beside an export are
what a perfect intake makes of it.
"""

from pathlib import Path

import pytest

from tests.intake.exports import Files, assert_read

K_A_TICK_CLEAR = """\
Ward,Patient,Checked at,Rate ml/h,Volume left,Contents clear
Amber,K1,14/09/2026 08:00,0.6,16,✓
Amber,K1,14/09/2026 12:00,0.6,13.6,✓
Amber,K1,14/09/2026 16:00,0.6,11.2,
Amber,K1,14/09/2026 20:00,0.6,8.8,✓
"""
K_A_SYRINGE_VOLUME = """\
Ward,Patient,Checked at,Rate ml/h,Syringe volume,Volume left
Amber,K1,14/09/2026 08:00,0.6,16,16
Amber,K1,14/09/2026 12:00,0.6,16,13.6
Amber,K1,14/09/2026 16:00,0.6,16,11.2
Amber,K1,14/09/2026 20:00,0.6,16,8.8
"""
K_A_PUMP_SERIAL = """\
Ward,Patient,Pump no,Serial no,Checked at,Rate ml/h,Volume left
Amber,K1,P1,778812,14/09/2026 08:00,0.6,16
Amber,K1,P1,778812,14/09/2026 12:00,0.6,13.6
Amber,K2,P2,778815,14/09/2026 16:00,0.6,11.2
Amber,K2,P2,778815,14/09/2026 20:00,0.6,8.8
"""
K_I_VTBI = """\
Ward,Patient,Checked at,Rate ml/h,Volume to be infused (ml),Event
Amber,K1,14/09/2026 08:00,0.6,16,start
Amber,K1,14/09/2026 12:00,0.6,13.6,check
Amber,K1,14/09/2026 16:00,0.6,11.2,check
Amber,K1,14/09/2026 20:00,0.6,8.8,check
"""
K_I_VTBI_SHORT = """\
Ward,Patient,Checked at,Rate ml/h,VTBI,VI,Event
Amber,K1,14/09/2026 08:00,0.6,16,0,start
Amber,K1,14/09/2026 12:00,0.6,13.6,2.4,check
Amber,K1,14/09/2026 16:00,0.6,11.2,4.8,check
Amber,K1,14/09/2026 20:00,0.6,8.8,7.2,check
"""
D01_DUMP = """\
obs_id|ward|pt_id|device|obs_dt|obs_type|rate_ml_hr|vol_rem|batt|light|site_desc|voided
9001|AMB|000417|SD-0007|2026-09-14 08:00:00.000|START|0.60|16.0|98|t|NAD|f
9002|AMB|000417|SD-0007|2026-09-14 12:05:00.000|CHECK|0.60|13.5|\\N|t|\\N|f
9003|AMB|000417|SD-0007|2026-09-14 12:50:00.000|CHECK|0.60|31.5|91|t|NAD|t
9004|AMB|000417|SD-0007|2026-09-14 16:05:00.000|CHECK|0.60|11.1|84|f|erythema|f
"""
S02_AS_ABOVE = """\
Ward,Patient,Driver,Date,Time,ml/hr,ml left,Site,Sign
Amber,K1,SD1,14/09/2026,08:00,0.6,16,NAD,AB
as above,as above,as above,as above,12:00,as above,13.6,as above,AB
as above,as above,as above,as above,16:00,as above,11.2,slightly red,AB
as above,as above,as above,as above,20:00,as above,8.8,as above,AB
Amber,K2,SD2,15/09/2026,09:00,0.7,17,NAD,AB
as above,as above,as above,as above,13:00,as above,14.2,as above,AB
"""
U01_UTC_Z = """\
ward,patient id,observed (UTC),rate ml/h,volume left ml,event
Amber,K1,2026-10-24T22:00:00Z,0.6,16,start
Amber,K1,2026-10-25T00:30:00Z,0.6,14.5,check
Amber,K1,2026-10-25T01:30:00Z,0.6,13.9,check
Amber,K1,2026-10-25T05:30:00Z,0.6,11.5,check
"""
U02_UTC_HEADER_ONLY = """\
ward,patient id,observed (UTC),rate ml/h,volume left ml,event
Amber,K1,2026-09-14 07:00,0.6,16,start
Amber,K1,2026-09-14 11:00,0.6,13.6,check
Amber,K1,2026-09-14 15:00,0.6,11.2,check
"""
U04_BAD_ZONE = """\
ward,patient id,date (UTC),time (UTC),rate ml/h,volume left ml,event
Amber,K1,14/09/2026,07:00,0.6,16,start
Amber,K1,14/09/2026,11:00,0.6,13.6,check
Amber,K1,14/09/2026,15:00,0.6,11.2,check
"""
U03_ZONE_COLUMN = """\
ward,patient id,date,time,tz,rate ml/h,volume left ml,event
Amber,K1,25/10/2026,00:30,BST,0.6,16,start
Amber,K1,25/10/2026,01:30,BST,0.6,15.4,check
Amber,K1,25/10/2026,01:30,GMT,0.6,14.8,check
Amber,K1,25/10/2026,05:30,GMT,0.6,12.4,check
"""

EXPORTS = [
    pytest.param(
        {"t.csv": K_A_TICK_CLEAR},
        "checked_at solution_appearance",
        [
            "2026-09-14 08:00 | clear",
            "2026-09-14 12:00 | clear",
            "2026-09-14 16:00 | ",
            "2026-09-14 20:00 | clear",
        ],
        id="a tick under Contents clear",
    ),
    pytest.param(
        {"t.csv": K_A_SYRINGE_VOLUME},
        "checked_at volume_remaining_ml",
        [
            "2026-09-14 08:00 | 16",
            "2026-09-14 12:00 | 13.6",
            "2026-09-14 16:00 | 11.2",
            "2026-09-14 20:00 | 8.8",
        ],
        id="a volume that stays beside one that falls",
    ),
    pytest.param(
        {"t.csv": K_A_PUMP_SERIAL},
        "patient_id driver_id checked_at volume_remaining_ml",
        [
            "K1 | P1 | 2026-09-14 08:00 | 16",
            "K1 | P1 | 2026-09-14 12:00 | 13.6",
            "K2 | P2 | 2026-09-14 16:00 | 11.2",
            "K2 | P2 | 2026-09-14 20:00 | 8.8",
        ],
        id="two numbers of a driver that always stand together",
    ),
    pytest.param(
        {"t.csv": K_I_VTBI},
        "checked_at volume_remaining_ml",
        [
            "2026-09-14 08:00 | 16",
            "2026-09-14 12:00 | 13.6",
            "2026-09-14 16:00 | 11.2",
            "2026-09-14 20:00 | 8.8",
        ],
        id="a volume to be infused that falls",
    ),
    pytest.param(
        {"t.csv": K_I_VTBI_SHORT},
        "checked_at volume_remaining_ml volume_delivered_ml",
        [
            "2026-09-14 08:00 | 16 | 0",
            "2026-09-14 12:00 | 13.6 | 2.4",
            "2026-09-14 16:00 | 11.2 | 4.8",
            "2026-09-14 20:00 | 8.8 | 7.2",
        ],
        id="a volume to be infused that falls beside one given",
    ),
    pytest.param(
        {"dump.txt": D01_DUMP},
        "patient_id checked_at battery_pct running site_signs",
        [
            "000417 | 2026-09-14 08:00 | 98 | yes | none",
            "000417 | 2026-09-14 12:05 |  | yes | ",
            "000417 | 2026-09-14 16:05 | 84 | no | redness",
        ],
        id="true and false by one letter, marks of a database for nothing",
    ),
    pytest.param(
        {"aa.csv": S02_AS_ABOVE},
        "patient_id driver_id checked_at set_rate_ml_h site_signs",
        [
            "K1 | SD1 | 2026-09-14 08:00 | 0.6 | none",
            "K1 | SD1 | 2026-09-14 12:00 | 0.6 | none",
            "K1 | SD1 | 2026-09-14 16:00 | 0.6 | redness",
            "K1 | SD1 | 2026-09-14 20:00 | 0.6 | redness",
            "K2 | SD2 | 2026-09-15 09:00 | 0.7 | none",
            "K2 | SD2 | 2026-09-15 13:00 | 0.7 | none",
        ],
        id="as above in every column",
    ),
    pytest.param(
        {"obs.csv": U01_UTC_Z},
        "checked_at volume_remaining_ml",
        [
            "2026-10-24 23:00 | 16",
            "2026-10-25 01:30 | 14.5",
            "2026-10-25 01:30 | 13.9",
            "2026-10-25 05:30 | 11.5",
        ],
        id="times in UTC on the day the clocks go back",
    ),
    pytest.param(
        {"obs.csv": U02_UTC_HEADER_ONLY},
        "checked_at volume_remaining_ml",
        [
            "2026-09-14 08:00 | 16",
            "2026-09-14 12:00 | 13.6",
            "2026-09-14 16:00 | 11.2",
        ],
        id="a header that says UTC",
    ),
    pytest.param(
        {"obs.csv": U04_BAD_ZONE},
        "checked_at volume_remaining_ml",
        [
            "2026-09-14 08:00 | 16",
            "2026-09-14 12:00 | 13.6",
            "2026-09-14 16:00 | 11.2",
        ],
        id="a day and a time of UTC apart",
    ),
    pytest.param(
        {"obs.csv": U03_ZONE_COLUMN},
        "checked_at volume_remaining_ml",
        [
            "2026-10-25 00:30 | 16",
            "2026-10-25 01:30 | 15.4",
            "2026-10-25 01:30 | 14.8",
            "2026-10-25 05:30 | 12.4",
        ],
        id="the zone of a time in a column of its own",
    ),
]


@pytest.mark.parametrize(("files", "names", "wanted"), EXPORTS)
def test_what_the_values_tell_is_not_asked(
    tmp_path: Path, files: Files, names: str, wanted: list[str]
) -> None:
    assert_read(tmp_path, files, names, wanted)
