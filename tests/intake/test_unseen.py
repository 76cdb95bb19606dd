"""Exports as other services send them: read right, or asked about, and never guessed.

Every service, ward, person and number here is invented. An export is a few lines of
text; beside it stands what intake must make of it, or the question it must ask.
"""

from collections.abc import Sequence
from pathlib import Path

import pytest
import xlsxwriter

from analysis.errors import InputError
from analysis.intake import read_exports
from analysis.intake.layout_file import parse_layout
from analysis.policy import Policy
from tests.intake.exports import Files, assert_read, cells, printed, read, write
from tests.intake.test_mutations import REFUSAL

# --- read right, without a layout -----------------------------------------------------

CAPITALS = """\
NURSING_UNIT,BED,MRN,DEVICE_ID,OBS_DATETIME,EVENT_TYPE,RATE_ML_HR,VOL_REM_ML,SITE_CHECK
Amber,3,K1,SD7,9/14/2026 8:00 AM,Commenced,0.6,16,WNL
Page 1 of 2,,,,,,,,
Amber,3,K1,SD7,9/14/2026 12:05 PM,Check,0.6,13.5,red
Amber,3,K1,SD7,9/15/2026 12:10 AM,Taken down,0.6,6,no concerns
Page 2 of 2,,,,,,,,
"""
BY_DAY = """\
Ward;Client no;Date;Time;Type of check;Rate (mL/24 h);Volume left (mL);Box
Amber;K1;08-Sep-26;09:30;Set up;14,4;14,5;locked
Amber;K1;08-Sep-26;13:30;Check;14,4;12,1;unlocked
Amber;K1;08-Sep-26;24:00;Taken down;14,4;5,8;locked
"""
CODES = """\
Infusion observations
Entry codes: 1 = start, 2 = check, 3 = taken down
Location\tPatient identifier\tEntry code\tDate/time of obs\tFlow ml/h\tVTBI\tVol infused
Amber\tK1\t1\t14/09/2026 08:00\t0.6\t16\t0
Amber\tK1\t2\t14/09/2026 12:00\t0.6\t16\t2.5
Amber\tK1\t3\t14/09/2026 16:00\t0.6\t16\t4.8
"""
HEADINGS = """\
Patient,Date and time,Entry,Rate ml/hr,Volume left ml
Ward: Amber,,,,
K1,14/09/2026 08:00,Start,0.6,16
Subtotal,,,1,
Ward: Birch,,,,
K2,14/09/2026 09:00,Start,0.6,15
K2,14/09/2026 13:00,Check,0.6,12.5
Grand total,,,3,
"""
ABOVE = """\
Syringe driver chart
Patient no:,K1,,Ward: Amber
Date,Time,Obs,Rate (ml/hr),Syringe volume left (ml)
14/09/2026,08:00,Start,0.6,16
14/09/2026,12:00,Check,0.6,13.5
"""
TOTAL_CARE = """\
Ward,Patient,Date and time,Rate ml/hr,Volume left ml
Total Care,K1,14/09/2026 08:00,0.6,16
Total Care,K1,14/09/2026 12:00,0.6,13.5
Total Care total,,,2,
"""
TWO_ROWS = """\
,,,Rate,Volume,Site,Solution,Lockbox
Ward,Patient,Date/time,set,remaining,checked,checked,checked
,,,ml/h,ml,,,Y/N
Amber,K1,14/09/2026 08:00,0.6,16,NAD,clear,Y
Amber,K1,14/09/2026 12:00,0.6,13.5,red,cloudy,N
"""
SPREAD = """\
Ward,Patient,Date,Time,Driver,,Site,,Initials
,,,,Rate ml/h,Volume left,Redness,Swelling,
Amber,K1,14/09/2026,08:00,0.6,16,N,N,AB
Amber,K1,14/09/2026,12:00,0.6,13.5,Y,N,AB
"""
UNITS_ROW = """\
Ward,Patient,Time,Rate,Left in syringe
,,dd/mm/yyyy hh:mm,ml/24h,ml
Amber,K1,04/09/2026 08:00,14.4,16
Amber,K1,04/09/2026 12:00,14.4,13.6
"""
SIGN_TICKS = """\
Ward,Patient,Checked at,Rate ml/h,Volume left,Redness Y/N,Swelling Y/N,Pain at site
Amber,K1,14/09/2026 08:00,0.6,16,N,N,no
Amber,K1,14/09/2026 12:00,0.6,13.5,Y,N,mild
Amber,K1,14/09/2026 16:00,0.6,11,N,,no
Amber,K1,14/09/2026 20:00,0.6,8.8,,,
"""
SITE_OK = """\
Ward,Patient,Checked at,Rate ml/h,Volume left,Red,Swollen,Site OK
Amber,K1,14/09/2026 08:00,0.6,16,,,\u2713
Amber,K1,14/09/2026 12:00,0.6,13.5,\u2713,,
Amber,K1,14/09/2026 16:00,0.6,11,,,
Amber,K1,14/09/2026 20:00,0.6,8.8,\u2713,\u2713,\u2713
"""
CHANGES = """\
Ward,Patient,Checked at,Event,Rate ml/h,Volume left
Amber,K1,14/09/2026 08:00,Start,0.6,16
Amber,K1,14/09/2026 12:00,Line change,0.6,13.5
Amber,K1,14/09/2026 16:00,Resited,0.6,11
Amber,K1,14/09/2026 20:00,Check,0.6,8.8
"""
DRIVER_STATUS = """\
Ward,Patient,Checked at,Rate ml/h,Volume left,Status,Battery
Amber,K1,14/09/2026 08:00,0.6,16,OK,0.98
Amber,K1,14/09/2026 12:00,0.6,13.5,Error,0.9
Amber,K1,14/09/2026 16:00,0.6,11,OK,0.75
"""
WORDS = """\
Team,Resident,Visited,Visit type,Running at (ml per hour),Left in syringe (ml),Case shut
Amber,K1,Monday 14 September 2026 08.00,Set up,0.6,16mls,yes
Amber,K1,Monday 14 September 2026 12.30,Visit,0.6,~13,no
"""
FIGURES = """\
Ward,Patient,Checked at,Rate ml/h,Volume left
Amber,K1,14/09/26 08:00,0.6,16
Amber,K1,14/09/26 12:00,O.62,l3
Amber,K1,14/09/26 16:00,0.6,=A1+3
Amber,K1,14/09/26 20:00,0.6,1e400
Amber,K1,14/09/26 22:00,-0.0,~5.5
Amber,K1,14/09/26 24:00,0.6,<1
"""

HALVES = """\
Ward,Patient,Date,Time,AM/PM,Rate ml/h,Volume left
Amber,K1,14/09/2026,10:00,AM,0.6,16
Amber,K1,14/09/2026,2:00,PM,0.6,13.6
Amber,K1,14/09/2026,6:30,pm,0.6,11
"""

ACROSS = """\
Ward,Patient,Started,Rate ml/h,Check 1 time,Check 1 ml left,Check 2 time,Check 2 ml left
Amber,K1,13/09/2026 08:00,0.6,13/09/2026 12:00,13.6,13/09/2026 16:10,11
Amber,K2,14/09/2026 09:00,0.6,14/09/2026 12:30,14,,
Amber,K3,15/09/2026 09:00,0.6,,,,
"""
PIPES = """\
WARD|PT_NO|OBS_DT|OBS_TM|RATE_MLHR|VOL_REM_ML
Amber|K1|20260914|0800|0.6|16
Amber|K1|20260914|1205|0.6|13.5
"""

READ_RIGHT = [
    pytest.param(
        {"across.csv": ACROSS},
        "patient_id checked_at set_rate_ml_h volume_remaining_ml",
        [
            "K1 | 2026-09-13 12:00 | 0.6 | 13.6",
            "K1 | 2026-09-13 16:10 | 0.6 | 11",
            "K2 | 2026-09-14 12:30 | 0.6 | 14",
        ],
        id="checks side by side in a row",
    ),
    pytest.param(
        {"db.csv": PIPES},
        "patient_id checked_at volume_remaining_ml",
        ["K1 | 2026-09-14 08:00 | 16", "K1 | 2026-09-14 12:05 | 13.5"],
        id="upright bars, short forms in the headers, days and times of digits alone",
    ),
    pytest.param(
        {"halves.csv": HALVES},
        "checked_at volume_remaining_ml",
        ["2026-09-14 10:00 | 16", "2026-09-14 14:00 | 13.6", "2026-09-14 18:30 | 11"],
        id="am and pm in a column of their own",
    ),
    pytest.param(
        {"obs.csv": CAPITALS},
        "checked_at entry volume_remaining_ml site_signs",
        [
            "2026-09-14 08:00 | start | 16 | none",
            "2026-09-14 12:05 | check | 13.5 | redness",
            "2026-09-15 00:10 | end | 6 | none",
        ],
        id="capitals, month first with am and pm, page footers",
    ),
    pytest.param(
        {"log.csv": BY_DAY},
        "checked_at entry set_rate_ml_h volume_remaining_ml lockbox_locked",
        [
            "2026-09-08 09:30 | start | 0.6 | 14.5 | yes",
            "2026-09-08 13:30 | check | 0.6 | 12.1 | no",
            "2026-09-09 00:00 | end | 0.6 | 5.8 | yes",
        ],
        id="semicolons, decimal commas, months by name, a rate per 24 h, 24:00",
    ),
    pytest.param(
        {"export.txt": CODES},
        "entry volume_remaining_ml volume_delivered_ml",
        ["start |  | 0", "check |  | 2.5", "end |  | 4.8"],
        id="tabs in UTF-16, entry codes with a legend, volume given and to be given",
    ),
    pytest.param(
        {"report.csv": HEADINGS},
        "ward patient_id volume_remaining_ml",
        ["Amber | K1 | 16", "Birch | K2 | 15", "Birch | K2 | 12.5"],
        id="the ward in rows of its own, totals between and after",
    ),
    pytest.param(
        {"a.csv": ABOVE, "b.csv": ABOVE.replace("K1", "K2")},
        "patient_id ward checked_at volume_remaining_ml",
        [
            "K1 | Amber | 2026-09-14 08:00 | 16",
            "K1 | Amber | 2026-09-14 12:00 | 13.5",
            "K2 | Amber | 2026-09-14 08:00 | 16",
            "K2 | Amber | 2026-09-14 12:00 | 13.5",
        ],
        id="a file a patient, who stands above the header: rows alike are no copies",
    ),
    pytest.param(
        {"care.csv": TOTAL_CARE},
        "ward volume_remaining_ml",
        ["Total Care | 16", "Total Care | 13.5"],
        id="a ward called like a total",
    ),
    pytest.param(
        {"two.csv": TWO_ROWS},
        "set_rate_ml_h volume_remaining_ml site_signs solution_appearance "
        "lockbox_locked",
        ["0.6 | 16 | none | clear | yes", "0.6 | 13.5 | redness | cloudy | no"],
        id="groups above the header tell one word apart, a row of units below it",
    ),
    pytest.param(
        {"spread.csv": SPREAD},
        "ward set_rate_ml_h volume_remaining_ml site_signs checked_by",
        ["Amber | 0.6 | 16 | none | AB", "Amber | 0.6 | 13.5 | redness | AB"],
        id="a header over two lines",
    ),
    pytest.param(
        {"units.csv": UNITS_ROW},
        "checked_at set_rate_ml_h volume_remaining_ml",
        ["2026-09-04 08:00 | 0.6 | 16", "2026-09-04 12:00 | 0.6 | 13.6"],
        id="units and the order of dates in a row of units",
    ),
    pytest.param(
        {"signs.csv": SIGN_TICKS},
        "checked_at site_signs",
        [
            "2026-09-14 08:00 | none",
            "2026-09-14 12:00 | redness;pain",
            "2026-09-14 16:00 | ",
            "2026-09-14 20:00 | ",
        ],
        id="a column a sign: none only where all say no",
    ),
    pytest.param(
        {"ok.csv": SITE_OK},
        "checked_at site_signs",
        [
            "2026-09-14 08:00 | none",
            "2026-09-14 12:00 | redness",
            "2026-09-14 16:00 | ",
            "2026-09-14 20:00 | ",
        ],
        id="ticks under signs and under Site OK; both at once are neither",
    ),
    pytest.param(
        {"events.csv": CHANGES},
        "entry line_changed site_changed",
        ["start |  | ", "check | yes | ", "check |  | yes", "check |  | "],
        id="an entry that names a change is a check with that change",
    ),
    pytest.param(
        {"status.csv": DRIVER_STATUS},
        "volume_remaining_ml battery_pct amends",
        ["16 | 98 | ", "13.5 | 90 | ", "11 | 75 | "],
        id="the driver's status strikes out no row; a battery as a part of one",
    ),
    pytest.param(
        {"words.csv": WORDS},
        "ward patient_id checked_at entry set_rate_ml_h volume_remaining_ml "
        "lockbox_locked",
        [
            "Amber | K1 | 2026-09-14 08:00 | start | 0.6 | 16 | yes",
            "Amber | K1 | 2026-09-14 12:30 | check | 0.6 | 13 | no",
        ],
        id="other words for everything, the day of the week before the date",
    ),
    pytest.param(
        {"figures.csv": FIGURES},
        "checked_at set_rate_ml_h volume_remaining_ml",
        [
            "2026-09-14 08:00 | 0.6 | 16",
            "2026-09-14 12:00 |  | ",
            "2026-09-14 16:00 | 0.6 | ",
            "2026-09-14 20:00 | 0.6 | ",
            "2026-09-14 22:00 | 0 | 5.5",
            "2026-09-15 00:00 | 0.6 | 1",
        ],
        id="letters, formulas and exponents are no figures",
    ),
]


@pytest.mark.parametrize(("files", "names", "wanted"), READ_RIGHT)
def test_an_export_is_read_right_without_a_layout(
    tmp_path: Path, files: Files, names: str, wanted: list[str]
) -> None:
    assert_read(tmp_path, files, names, wanted)


# --- contents, lines and infusions ----------------------------------------------------

DRUGS = """\
Syringe ref,Ward,Patient,Checked at,{},Rate ml/h,Volume left
R1,Amber,K1,14/09/2026 08:00,morphine,10,mg,midazolam,5,mg,0.6,16
R1,Amber,K1,14/09/2026 12:00,,,,,,,0.6,13.5
"""


@pytest.mark.parametrize(
    "headers",
    [
        pytest.param("Drug,Dose,Unit,Drug,Dose,Unit", id="the same headers again"),
        pytest.param("Drug 1,Dose 1,Unit 1,Drug 2,Dose 2,Unit 2", id="with numbers"),
    ],
)
def test_drugs_in_groups_of_columns_are_joined(tmp_path: Path, headers: str) -> None:
    log = read(tmp_path, {"wide.csv": DRUGS.format(headers)})
    assert log.infusions.loc["R1", "contents"] == "morphine 10 mg; midazolam 5 mg"


def test_one_header_twice_is_asked_about(tmp_path: Path) -> None:
    text = DRUGS.format("Drug,Dose,Unit,Note,Note,Unit 2")
    with pytest.raises(InputError, match="Note stands twice"):
        read(tmp_path, {"wide.csv": text})


LINE_DATES = """\
Ward,Patient,Checked at,Rate ml/h,Volume left,Line changed on,Cannula position
Amber,K1,14/09/2026 08:00,0.6,16,13/09/2026,L arm
Amber,K1,14/09/2026 12:00,0.6,13.5,13/09/2026,L arm
Amber,K1,15/09/2026 12:00,0.6,12.5,15/09/2026,L arm
"""


def test_dates_of_lines_in_a_check_log_make_lines(tmp_path: Path) -> None:
    log = read(tmp_path, {"log.csv": LINE_DATES})
    names = ["patient_id", "kind", "inserted_at", "inserted_at_latest", "removed_at"]
    assert cells(log.lines, names) == [
        "K1 | extension_set | 2026-09-13 00:00 | 2026-09-13 23:59 | 2026-09-15 00:00",
        "K1 | extension_set | 2026-09-15 00:00 | 2026-09-15 23:59 | ",
    ]
    assert log.checks["line_id"].nunique() == 2
    assert log.account["rows_read"].tolist() == [3]


def test_dates_after_their_check_are_dates_due_and_make_no_lines(
    tmp_path: Path,
) -> None:
    text = LINE_DATES.replace("13/09/2026", "17/09/2026").replace(
        "12.5,15/09/2026", "12.5,18/09/2026"
    )
    log = read(tmp_path, {"log.csv": text})
    assert not len(log.lines)
    assert any("as a date due does" in note for note in log.notes)


THREE = {
    "checks.csv": """\
Syringe ref,Date/time checked,Rate ml/hr,Vol left ml
R1,14/09/2026 08:30,0.6,15.7
R1,14/09/2026 12:30,0.6,13.4
""",
    "syringes.csv": """\
Syringe ref,Ward,Patient ref,Commenced,Fill volume (ml),Run over (hours),Reason stopped
R1,Amber,K1,14/09/2026 08:00,16,24,Syringe empty
""",
    "changes.csv": """\
Patient ref,Ward,Type,Location,Date fitted,Date taken out,Why removed
K1,Amber,Extension set,,14/09/2026 07:50,,
K1,Amber,Cannula,L thigh,14/09/2026 07:50,16/09/2026 10:00,red
""",
}


def test_three_files_are_told_by_what_they_hold(tmp_path: Path) -> None:
    log = read(tmp_path, THREE)
    assert cells(log.checks, ["ward", "patient_id", "infusion_id"]) == [
        "Amber | K1 | R1",
        "Amber | K1 | R1",
    ]
    assert log.infusions.loc["R1", "start_volume_ml"] == 16
    assert log.infusions.loc["R1", "end_reason"] == "completed"
    assert cells(log.lines, ["kind", "location", "removal_reason"]) == [
        "extension_set |  | ",
        "cannula | thigh | reaction",
    ]


# --- asked about, and not guessed -----------------------------------------------------

HEAD = "Ward,Patient,Checked at,{},{}\n"
FALLING = "".join(
    f"Amber,K1,14/09/2026 {hour:02d}:00,{{}},{ml}\n"
    for hour, ml in ((8, 16), (10, 14.8), (12, 13.6), (14, 12.4), (16, 11.2))
)


def small(rate: str, volume: str, rates: str = "0.6") -> str:
    return HEAD.format(rate, volume) + FALLING.format(*[rates] * 5)


ASKED = [
    pytest.param(
        small("Rate ml/h", "Volume infused ml"),
        "Volume infused ml falls from check to check",
        id="a volume given that falls",
    ),
    pytest.param(
        small("Rate ml/hr", "Volume left", "14.4"),
        r"names mL/h.*moves by 0.6 mL/h: write mL/h or mL/24 h",
        id="a rate per hour that the volume does not follow",
    ),
    pytest.param(
        small("Rate ml/24h", "Volume left", "0.6"),
        r"names mL/24 h.*write mL/h or mL/24 h",
        id="a rate per day that is one per hour",
    ),
    pytest.param(
        small("Rate", "Volume left", "48"),
        r"Rate names no unit.*or take the column out",
        id="a rate in no unit that fits",
    ),
    pytest.param(
        small("Rate ml/h", "% left"),
        "has no column volume_remaining_ml",
        id="per cent in place of a volume",
    ),
    pytest.param(
        small("Rate ml/h", "Volume left (mm)"),
        "has no column volume_remaining_ml",
        id="a length in place of a volume",
    ),
    pytest.param(
        small("Rate ml/h", "Volume left")
        .replace("Checked at", "Timestamp")
        .replace("14/09/2026 ", "17893728")
        .replace(":00", ""),
        "Timestamp may be checked_at by its name, but holds values such as 17893728",
        id="seconds since some day",
    ),
    pytest.param(
        small("Rate ml/h", "Volume left").replace("14/09", "04/09"),
        "day and month cannot be told apart: write dmy",
        id="no day over twelve",
    ),
    pytest.param(
        small("Rate ml/h", "Volume left").replace("Ward,", "Bay,"),
        r"has no column ward.*\(file\) is the name of the file",
        id="no ward anywhere",
    ),
    pytest.param(
        small("Rate ml/h", "Volume left").replace("K1", "4.01E+09"),
        r"Patient reads 4.01E\+09: a spreadsheet shortened the number",
        id="numbers of patients shortened by a spreadsheet",
    ),
    pytest.param(
        small("Entry code", "Volume left", "2").replace("08:00,2", "08:00,1"),
        "Entry code reads '2' on 4 rows: write one of start, check",
        id="codes of entries without a legend",
    ),
]


@pytest.mark.parametrize(("text", "question"), ASKED)
def test_what_cannot_be_told_is_asked_in_one_message(
    tmp_path: Path, text: str, question: str
) -> None:
    with pytest.raises(InputError, match=question) as asked:
        read(tmp_path, {"export.csv": text})
    assert REFUSAL.fullmatch(str(asked.value))
    assert "export.csv" in str(asked.value)


def test_a_travel_in_mm_is_no_rate(tmp_path: Path) -> None:
    log = read(tmp_path, {"mm.csv": small("Rate mm/h", "Volume left", "2")})
    assert log.checks["set_rate_ml_h"].isna().all()
    assert any("Rate mm/h is a travel in mm" in note for note in log.notes)


def test_columns_without_a_place_are_named(tmp_path: Path) -> None:
    log = read(tmp_path, {"obs.csv": CAPITALS})
    assert "obs.csv: columns read and not used: BED." in log.notes


# --- settled by a layout --------------------------------------------------------------


def workbook(path: Path, wards: Sequence[str]) -> Path:
    """Write a workbook with a sheet a ward, the ward in no cell of it."""
    with xlsxwriter.Workbook(path) as book:
        for ward in wards:
            sheet = book.add_worksheet(ward)
            rows = small("Rate ml/h", "Volume left").splitlines()
            for i, line in enumerate(rows):
                sheet.write_row(i, 0, line.split(",")[1:])
    return path


def test_the_name_of_the_sheet_may_be_the_ward(tmp_path: Path) -> None:
    path = workbook(tmp_path / "wards.xlsx", ["Amber", "Birch"])
    with pytest.raises(InputError, match=r"no column ward.*so too in wards.xlsx!Birch"):
        read_exports([path], Policy.example())
    text = printed([path])
    assert text.count("[[table]]") == 1
    layout = parse_layout(text.replace('ward = "?"', 'ward = "(sheet)"'), "layout")
    log = read_exports([path], Policy.example(), layout)
    assert log.checks["ward"].value_counts().to_dict() == {"Amber": 5, "Birch": 5}


def test_a_layout_with_another_order_of_dates_is_refused(tmp_path: Path) -> None:
    layout = printed(write(tmp_path, {"log.csv": LINE_DATES}))
    other = LINE_DATES.replace("13/09", "09/13").replace("14/09", "09/14")
    other = other.replace("15/09", "09/15")
    with pytest.raises(
        InputError, match="the layout reads its dates as dmy, but month"
    ):
        read(tmp_path, {"log.csv": other}, layout)


def test_files_alike_that_differ_in_what_they_show_leave_one_question(
    tmp_path: Path,
) -> None:
    certain = small("Rate ml/h", "Volume left")
    files = {"a.csv": certain, "b.csv": certain.replace("14/09", "04/09")}
    text = printed(write(tmp_path, files))
    assert text.count("[[table]]") == 1
    assert text.count('date_order = "?"') == 1
    log = read(tmp_path, files, text.replace('"?"', '"dmy"'))
    assert len(log.checks) == 10


def test_a_blank_under_a_sign_is_no_where_the_layout_says_so(tmp_path: Path) -> None:
    text = SITE_OK.replace(",Site OK", ",Painful").replace("\u2713\n", "\n")
    layout = printed(write(tmp_path, {"x.csv": text}))
    layout += '[table.words.signs_of]\n"" = "no"\n'
    log = read(tmp_path, {"x.csv": text}, layout)
    signs = log.checks["site_signs"].tolist()
    assert signs == ["none", "redness", "none", "redness;swelling"]
