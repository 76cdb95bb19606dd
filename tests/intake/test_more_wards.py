"""More exports as wards send them, each with its rows.

Every service, ward, person and number here is invented; the rows beside an export are
what a perfect intake makes of it.
"""

from pathlib import Path

import pytest

from tests.intake.exports import Files, assert_read, read

K_C_TWO_SYRINGES = """\
Ward,Patient,Date,Time,Drug,Rate ml/h,Volume left
Amber,K1,14/09/2026,08:00,morphine,0.6,16
Amber,K1,14/09/2026,12:00,morphine,0.6,13.6
Amber,K1,14/09/2026,08:05,midazolam,0.5,12
Amber,K1,14/09/2026,12:05,midazolam,0.5,10
"""
V03_VI_RESETS = """\
Ward,Patient,Driver,Checked at,Event,Rate ml/h,VI ml
Amber,K1,SD1,14/09/2026 08:00,Start,0.6,0
Amber,K1,SD1,14/09/2026 12:00,Check,0.6,2.4
Amber,K1,SD1,14/09/2026 16:00,Rate change,0.5,4.8
Amber,K1,SD1,14/09/2026 20:00,Check,0.5,6.8
Amber,K1,SD1,15/09/2026 08:00,Start,0.6,0
Amber,K1,SD1,15/09/2026 12:00,Check,0.6,2.4
"""
L01_GERMAN_MONTHS = """\
Station;Patient;Datum;Uhrzeit;Laufrate ml/h;Restvolumen ml
Süd;K1;14. September 2026;08:00;0,6;16
Süd;K1;14. September 2026;12:00;0,6;13,6
Süd;K1;3. Oktober 2026;08:00 Uhr;0,6;16
"""
L02_FRENCH_DATES = """\
Unité;Patient;Date et heure;Débit mL/h;Volume restant mL
Sud;K1;lundi 14 septembre 2026 08:00;0,6;16
Sud;K1;lundi 14 septembre 2026 à 12h05;0,6;13,6
Sud;K1;1er octobre 2026 08:00;0,6;16
"""
L03_ML_PER_DAY_DE = """\
Station;Patient;Datum;Uhrzeit;Laufrate (ml/24 Std);Restvolumen ml
Süd;K1;14.09.26;08:00;14,4;16
Süd;K1;14.09.26;12:00;14,4;13,6
Süd;K1;14.09.26;16:00;14,4;11,2
Süd;K1;14.09.26;20:00;14,4;8,8
"""
Q10_SCANDI_MIXED = """\
Enhet	Pasient	Tidspunkt	Hendelse	Hastighet ml/t	Gitt volum (ml)	Stikksted
Nord	P1	14.09.2026 kl. 08.00	Oppstart	0,6	0	u.a.
Nord	P1	14.09.2026 kl. 12.00	Tilsyn	0,6	2,4	litt rød
Nord	P1	14.09.2026 kl. 16.00	Tilsyn	0,6	4,8	u.a.
Nord	P1	14.09.2026 kl. 20.00	Tilsyn	0,6	7,2	ikke rød
"""
C01_SIDE_BY_SIDE_COMMON_DATE = """\
Ward,Patient,Date,Time 1,Left 1,Sign 1,Time 2,Left 2,Sign 2,Time 3,Left 3,Sign 3
Amber,K1,14/09/2026,08:00,16,AB,12:00,13.6,AB,20:00,8.8,CD
Amber,K1,15/09/2026,08:05,15.8,AB,12:10,13.5,AB,,,
"""
C02_PAGES_TWOLINE_HEADER = """\
Hospice syringe driver log,,,,,,
,,,Driver,,Site,
Ward,Patient,Date/time,ml/hr,ml left,check,By
Amber,K1,14/09/2026 08:00,0.6,16,NAD,AB
Amber,K1,14/09/2026 12:00,0.6,13.6,NAD,AB
Page 1,,,,,,
,,,Driver,,Site,
Ward,Patient,Date/time,ml/hr,ml left,check,By
Amber,K1,14/09/2026 16:00,0.6,11.2,red,AB
Total checks: 3,,,,,,
"""
C04_LOCAL_AND_UTC_FILED = """\
Ward,Patient,Performed (local),Filed (UTC),Rate ml/h,Volume left
Amber,K1,2026-09-14 08:00,2026-09-14 07:03,0.6,16
Amber,K1,2026-09-14 12:00,2026-09-14 11:20,0.6,13.6
"""
B01_OTHER_SIGNS = """\
Ward,Patient,Checked at,Rate ml/h,Volume left,Site signs,Local changes
Amber,K1,14/09/2026 08:00,0.6,16,none,
Amber,K1,14/09/2026 12:00,0.6,13.6,none,red
Amber,K1,14/09/2026 16:00,0.6,11.2,none,swollen
Amber,K1,14/09/2026 20:00,0.6,8.8,none,
"""
Q03_MISSING_CODES = """\
Ward,Patient,Checked at,Rate ml/h,Volume left,Battery,Site
Amber,K1,14/09/2026 08:00,0.6,16,98,NAD
Amber,K1,14/09/2026 12:00,0.6,999,999,99
Amber,K1,14/09/2026 16:00,0.6,11.2,-1,NAD
Amber,K1,14/09/2026 20:00,0.6,8.8,80,99
"""
Q04_REASONS = """\
Ward,Patient,Checked at,Rate ml/h,Volume left,Site,Box locked
Amber,K1,14/09/2026 08:00,0.6,16,NAD,Y
Amber,K1,14/09/2026 12:00,0.6,asleep,not seen,Y
Amber,K1,14/09/2026 16:00,0.6,off ward,refused,
Amber,K1,14/09/2026 20:00,0.6,8.8,unable,N
"""
Q06_VOLUME_BOTH_COLS_SWITCH = """\
Ward,Patient,Checked at,Rate ml/h,Scale ml,Display ml,Volume given ml
Amber,K1,14/09/2026 08:00,0.6,16,16.0,0
Amber,K1,14/09/2026 12:00,0.6,13.5,13.6,2.4
Amber,K1,14/09/2026 16:00,0.6,11,11.2,4.8
Amber,K1,14/09/2026 20:00,0.6,9,8.8,7.2
"""
Q08_TIME_THEN_DATE_COLS = """\
Time,Date,Ward,Patient,Pump,Infusion rate,Infused so far,To be infused,Pump status
0800,14-Sep-2026,Amber,K1,SD1,0.60 mL/h,0.0 mL,16.0 mL,Infusing
1205,14-Sep-2026,Amber,K1,SD1,0.60 mL/h,2.4 mL,13.6 mL,Infusing
1600,14-Sep-2026,Amber,K1,SD1,0.60 mL/h,4.8 mL,11.2 mL,Infusing
2000,14-Sep-2026,Amber,K1,SD1,0.60 mL/h,4.9 mL,11.1 mL,Occlusion
"""
Z01_NEG_MIDNIGHT_GRID = """\
Ward,Patient,Date,Rate ml/h,00:00,04:00,08:00,12:00,16:00,20:00
Amber,K1,14/09/2026,0.6,,,16,13.6,11.2,8.8
Amber,K1,15/09/2026,0.6,6.4,4,,,,
"""
Z07_GMT_HEADER_LOCAL = """\
Ward,Patient,Date,Time (GMT/BST),Rate ml/h,Volume left
Amber,K1,14/09/2026,08:00,0.6,16
Amber,K1,14/09/2026,12:00,0.6,13.6
"""
DM01_DRIVER_SWAP = """\
Ward,Patient,Driver,Checked at,Entry,Rate ml/h,Volume left
Amber,K1,SD1,14/09/2026 08:00,Start,0.6,16
Amber,K2,SD2,14/09/2026 08:10,Start,0.7,17
Amber,K1,SD1,14/09/2026 12:00,Check,0.6,13.6
Amber,K2,SD2,14/09/2026 12:10,Check,0.7,14.2
Amber,K1,SD2,14/09/2026 16:00,Check,0.6,11.2
Amber,K2,SD1,14/09/2026 16:10,Check,0.7,11.4
Amber,K1,SD2,14/09/2026 20:00,Check,0.6,8.8
Amber,K2,SD1,14/09/2026 20:10,Check,0.7,8.6
"""

EXPORTS = [
    pytest.param(
        {"t.csv": K_C_TWO_SYRINGES},
        "patient_id checked_at volume_remaining_ml",
        [
            "K1 | 2026-09-14 08:00 | 16",
            "K1 | 2026-09-14 12:00 | 13.6",
            "K1 | 2026-09-14 08:05 | 12",
            "K1 | 2026-09-14 12:05 | 10",
        ],
        id="two syringes at once without a driver",
    ),
    pytest.param(
        {"c.csv": V03_VI_RESETS},
        "checked_at entry set_rate_ml_h volume_delivered_ml",
        [
            "2026-09-14 08:00 | start | 0.6 | 0",
            "2026-09-14 12:00 | check | 0.6 | 2.4",
            "2026-09-14 16:00 | rate_change | 0.5 | 4.8",
            "2026-09-14 20:00 | check | 0.5 | 6.8",
            "2026-09-15 08:00 | start | 0.6 | 0",
            "2026-09-15 12:00 | check | 0.6 | 2.4",
        ],
        id="a volume given that begins anew with each syringe",
    ),
    pytest.param(
        {"c.csv": L01_GERMAN_MONTHS},
        "checked_at volume_remaining_ml",
        [
            "2026-09-14 08:00 | 16",
            "2026-09-14 12:00 | 13.6",
            "2026-10-03 08:00 | 16",
        ],
        id="German dates",
    ),
    pytest.param(
        {"c.csv": L02_FRENCH_DATES},
        "checked_at volume_remaining_ml",
        [
            "2026-09-14 08:00 | 16",
            "2026-09-14 12:05 | 13.6",
            "2026-10-01 08:00 | 16",
        ],
        id="French dates",
    ),
    pytest.param(
        {"c.csv": L03_ML_PER_DAY_DE},
        "checked_at set_rate_ml_h volume_remaining_ml",
        [
            "2026-09-14 08:00 | 0.6 | 16",
            "2026-09-14 12:00 | 0.6 | 13.6",
            "2026-09-14 16:00 | 0.6 | 11.2",
            "2026-09-14 20:00 | 0.6 | 8.8",
        ],
        id="a rate per day in German",
    ),
    pytest.param(
        {"c.csv": Q10_SCANDI_MIXED},
        "entry checked_at volume_delivered_ml site_signs",
        [
            "start | 2026-09-14 08:00 | 0 | none",
            "check | 2026-09-14 12:00 | 2.4 | redness",
            "check | 2026-09-14 16:00 | 4.8 | none",
            "check | 2026-09-14 20:00 | 7.2 | none",
        ],
        id="Norwegian words, a volume given",
    ),
    pytest.param(
        {"c.csv": C01_SIDE_BY_SIDE_COMMON_DATE},
        "checked_at volume_remaining_ml checked_by",
        [
            "2026-09-14 08:00 | 16 | AB",
            "2026-09-14 12:00 | 13.6 | AB",
            "2026-09-14 20:00 | 8.8 | CD",
            "2026-09-15 08:05 | 15.8 | AB",
            "2026-09-15 12:10 | 13.5 | AB",
        ],
        id="checks side by side of one date",
    ),
    pytest.param(
        {"c.csv": C02_PAGES_TWOLINE_HEADER},
        "checked_at set_rate_ml_h volume_remaining_ml site_signs",
        [
            "2026-09-14 08:00 | 0.6 | 16 | none",
            "2026-09-14 12:00 | 0.6 | 13.6 | none",
            "2026-09-14 16:00 | 0.6 | 11.2 | redness",
        ],
        id="a header of two lines on every page",
    ),
    pytest.param(
        {"c.csv": C04_LOCAL_AND_UTC_FILED},
        "checked_at recorded_at volume_remaining_ml",
        [
            "2026-09-14 08:00 | 2026-09-14 08:03 | 16",
            "2026-09-14 12:00 | 2026-09-14 12:20 | 13.6",
        ],
        id="local times beside times in UTC",
    ),
    pytest.param(
        {"t.csv": B01_OTHER_SIGNS},
        "checked_at site_signs",
        [
            "2026-09-14 08:00 | none",
            "2026-09-14 12:00 | ",
            "2026-09-14 16:00 | ",
            "2026-09-14 20:00 | none",
        ],
        id="none beside a sign in a column that is not read",
    ),
    pytest.param(
        {"c.csv": Q03_MISSING_CODES},
        "checked_at volume_remaining_ml battery_pct site_signs",
        [
            "2026-09-14 08:00 | 16 | 98 | none",
            "2026-09-14 12:00 |  |  | ",
            "2026-09-14 16:00 | 11.2 |  | none",
            "2026-09-14 20:00 | 8.8 | 80 | ",
        ],
        id="codes for not read",
    ),
    pytest.param(
        {"c.csv": Q04_REASONS},
        "checked_at volume_remaining_ml site_signs lockbox_locked",
        [
            "2026-09-14 08:00 | 16 | none | yes",
            "2026-09-14 12:00 |  |  | yes",
            "2026-09-14 16:00 |  |  | ",
            "2026-09-14 20:00 | 8.8 |  | no",
        ],
        id="reasons for which nothing was looked at",
    ),
    pytest.param(
        {"c.csv": Q06_VOLUME_BOTH_COLS_SWITCH},
        "checked_at volume_remaining_ml display_remaining_ml volume_delivered_ml",
        [
            "2026-09-14 08:00 | 16 | 16 | 0",
            "2026-09-14 12:00 | 13.5 | 13.6 | 2.4",
            "2026-09-14 16:00 | 11 | 11.2 | 4.8",
            "2026-09-14 20:00 | 9 | 8.8 | 7.2",
        ],
        id="scale and display",
    ),
    pytest.param(
        {"c.csv": Q08_TIME_THEN_DATE_COLS},
        "checked_at set_rate_ml_h volume_remaining_ml volume_delivered_ml running",
        [
            "2026-09-14 08:00 | 0.6 | 16 | 0 | yes",
            "2026-09-14 12:05 | 0.6 | 13.6 | 2.4 | yes",
            "2026-09-14 16:00 | 0.6 | 11.2 | 4.8 | yes",
            "2026-09-14 20:00 | 0.6 | 11.1 | 4.9 | ",
        ],
        id="time before date, what was given and what is to be given",
    ),
    pytest.param(
        {"c.csv": Z01_NEG_MIDNIGHT_GRID},
        "patient_id checked_at volume_remaining_ml",
        [
            "K1 | 2026-09-14 08:00 | 16",
            "K1 | 2026-09-14 12:00 | 13.6",
            "K1 | 2026-09-14 16:00 | 11.2",
            "K1 | 2026-09-14 20:00 | 8.8",
            "K1 | 2026-09-15 00:00 | 6.4",
            "K1 | 2026-09-15 04:00 | 4",
        ],
        id="a grid that begins at midnight",
    ),
    pytest.param(
        {"c.csv": Z07_GMT_HEADER_LOCAL},
        "checked_at volume_remaining_ml",
        [
            "2026-09-14 08:00 | 16",
            "2026-09-14 12:00 | 13.6",
        ],
        id="a header of local time by both its names",
    ),
    pytest.param(
        {"v.csv": DM01_DRIVER_SWAP},
        "patient_id driver_id checked_at volume_remaining_ml",
        [
            "K1 | SD1 | 2026-09-14 08:00 | 16",
            "K2 | SD2 | 2026-09-14 08:10 | 17",
            "K1 | SD1 | 2026-09-14 12:00 | 13.6",
            "K2 | SD2 | 2026-09-14 12:10 | 14.2",
            "K1 | SD2 | 2026-09-14 16:00 | 11.2",
            "K2 | SD1 | 2026-09-14 16:10 | 11.4",
            "K1 | SD2 | 2026-09-14 20:00 | 8.8",
            "K2 | SD1 | 2026-09-14 20:10 | 8.6",
        ],
        id="drivers that change places",
    ),
]


@pytest.mark.parametrize(("files", "names", "wanted"), EXPORTS)
def test_it_is_read_right(
    tmp_path: Path, files: Files, names: str, wanted: list[str]
) -> None:
    assert_read(tmp_path, files, names, wanted)


def test_two_syringes_of_a_patient_are_told_apart_by_their_contents(
    tmp_path: Path,
) -> None:
    log = read(tmp_path, {"log.csv": K_C_TWO_SYRINGES})
    by_run = log.checks.groupby("infusion_id")["volume_remaining_ml"].apply(list)
    assert sorted(by_run) == [[12.0, 10.0], [16.0, 13.6]]
    assert any("the contents tell them apart" in note for note in log.notes)


def test_a_sign_in_a_column_that_is_not_read_is_told_of(tmp_path: Path) -> None:
    log = read(tmp_path, {"log.csv": B01_OTHER_SIGNS})
    assert log.set_aside["value"].tolist() == ["red", "swollen"]
    assert (
        "Local changes, which is not read, says 'red'"
        in (log.set_aside["sentence"].iloc[0])
    )


def test_drugs_joined_by_a_plus_are_told_apart(tmp_path: Path) -> None:
    text = K_C_TWO_SYRINGES.replace(",Drug,", ",Contents,").replace(
        ",morphine,", ",morphine 10mg + midazolam 5 mg,"
    )
    log = read(tmp_path, {"log.csv": text.replace("midazolam,", "ketamine 50 mg,")})
    assert "morphine 10mg; midazolam 5 mg" in log.infusions["contents"].tolist()
