"""Exports of further services: names, headings and halves of times told safely.

Every service, ward, person and number here is invented; the rows beside an export are
what a perfect intake makes of it.
"""

from pathlib import Path

import pytest

from analysis.errors import InputError
from analysis.intake import (
    names_of_checks,
    names_of_infusions,
    names_of_lines,
    names_of_rows,
    synonyms,
)
from analysis.intake.given import labels_above
from analysis.intake.repeats import tell_apart
from analysis.intake.site_words import site_signs
from tests.intake.exports import Files, assert_read, printed, read, write

STAGES = """\
Location|Client ID|Infusion|Stage|Timestamp|Rate (mL/h)|Balance (mL)
Amber|K1|I1|Set up|20260914 0800|0.6|14.5
Amber|K1|I1|In progress|20260914 1200|0.6|12
Amber|K1|I1|In progress|20260914 1600|0.6|9.5
Amber|K1|I1|In progress|20260914 2000|0.6|7
Amber|K1|I1|Taken down|20260915 0800|0.6|0
"""
LOADED = """\
Unit,NHI,Device No,Activity,Performed at,VTBI ml,Running total ml
Amber,K1,7,Syringe loaded,14 Sep 2026 08:00,14.5,0
Amber,K1,7,Routine check,14 Sep 2026 12:00,14.5,2.5
Amber,K1,7,Syringe removed,15 Sep 2026 08:00,14.5,14.5
"""
A_DAY = """\
Ward,Patient,Event Time,mL/24 h,mL remaining,Tamper box locked,What was done
Amber,K1,2026/09/14 08:00,14.4,14.5,Y,Set up
Amber,K1,2026/09/14 12:00,14.4,12,N,Visit
"""
BY_DAYS = """\
Time,Patient,Syringe no.,ml/hr,ml left
Ward: Amber
Monday 14 September 2026
08:00,K1,I1,0.6,14.5
12:00,K1,I1,0.6,12
Tuesday 15 September 2026
08:00,K1,I1,0.6,0
Ward: Birch
Monday 14 September 2026
09:00,K2,I2,0.6,14.5
"""
TWO_NAMES = """\
Infusion,Ward,Patient,Checked on,Checked at,Rate (ml/h),Volume remaining (ml)
I1,Amber,K1,14/09/2026,08:00,0.6,14.5
I1,Amber,K1,14/09/2026,12:00,0.6,12
"""
FRENCH = """\
Service;N° patient;Type;Date;Heure;Débit (ml/h);Volume restant (ml);Point de ponction
Est;K1;Pose;14/09/2026;08h00;0,60;14,5;RAS
Est;K1;Contrôle;14/09/2026;12h00;0,60;12;rougeur
Est;K1;Retrait;15/09/2026;08h00;0,60;0;RAS
"""
BESIDE = """\
Observations,,,
Ward,Amber,,
Patient,Time of check,Rate ml/h,Remaining ml
K1,14/09/2026 08:00,0.6,14.5
K1,14/09/2026 12:00,0.6,12
"""

EXPORTS = [
    pytest.param(
        {"a.csv": STAGES},
        "infusion_id entry checked_at",
        [
            "I1 | start | 2026-09-14 08:00",
            "I1 | check | 2026-09-14 12:00",
            "I1 | check | 2026-09-14 16:00",
            "I1 | check | 2026-09-14 20:00",
            "I1 | end | 2026-09-15 08:00",
        ],
        id="stages of an infusion are its entries",
    ),
    pytest.param(
        {"a.csv": LOADED},
        "entry volume_delivered_ml",
        ["start | 0", "check | 2.5", "end | 14.5"],
        id="a syringe loaded and removed",
    ),
    pytest.param(
        {"a.csv": A_DAY},
        "set_rate_ml_h lockbox_locked entry action",
        ["0.6 | yes | start | ", "0.6 | no | check | "],
        id="a rate named by its unit alone, a tamper box, what was done",
    ),
    pytest.param(
        {"a.csv": BY_DAYS},
        "ward patient_id checked_at volume_remaining_ml",
        [
            "Amber | K1 | 2026-09-14 08:00 | 14.5",
            "Amber | K1 | 2026-09-14 12:00 | 12",
            "Amber | K1 | 2026-09-15 08:00 | 0",
            "Birch | K2 | 2026-09-14 09:00 | 14.5",
        ],
        id="days under wards, each in a line of its own cell",
    ),
    pytest.param(
        {"a.csv": TWO_NAMES},
        "patient_id checked_at",
        ["K1 | 2026-09-14 08:00", "K1 | 2026-09-14 12:00"],
        id="checked on is the day of checked at",
    ),
    pytest.param(
        {"a.csv": FRENCH},
        "entry checked_at site_signs",
        [
            "start | 2026-09-14 08:00 | none",
            "check | 2026-09-14 12:00 | redness",
            "end | 2026-09-15 08:00 | none",
        ],
        id="a syringe put up and taken off in French",
    ),
    pytest.param(
        {"a.csv": BESIDE},
        "ward patient_id checked_at",
        ["Amber | K1 | 2026-09-14 08:00", "Amber | K1 | 2026-09-14 12:00"],
        id="a ward beside its label above the header, without a colon",
    ),
]


@pytest.mark.parametrize(("files", "names", "wanted"), EXPORTS)
def test_an_export_is_read_right_without_a_question(
    tmp_path: Path, files: Files, names: str, wanted: list[str]
) -> None:
    assert_read(tmp_path, files, names, wanted)


def test_a_ward_without_its_day_is_not_given_that_of_the_ward_above(
    tmp_path: Path,
) -> None:
    text = BY_DAYS.replace("Ward: Birch\nMonday 14 September 2026\n", "Ward: Birch\n")
    assert_read(
        tmp_path,
        {"a.csv": text},
        "ward patient_id checked_at",
        [
            "Amber | K1 | 2026-09-14 08:00",
            "Amber | K1 | 2026-09-14 12:00",
            "Amber | K1 | 2026-09-15 08:00",
        ],
    )


def test_unknown_words_beside_begin_and_end_are_asked_for(tmp_path: Path) -> None:
    text = STAGES.replace("In progress", "Rota")
    assert 'rota = "?"' in printed(write(tmp_path, {"a.csv": text}))


def test_names_of_two_columns_are_no_label_and_its_value() -> None:
    assert labels_above([["Ward", "Patient"], ["Ward", "Amber"]]) == {"Ward": "Amber"}


@pytest.mark.parametrize(
    ("values", "wanted"),
    [
        pytest.param(["20 ml", "30 ml"], "syringe_size_ml", id="sizes"),
        pytest.param(["S0071", "S0072"], "infusion_id", id="codes of runs"),
    ],
)
def test_a_column_named_syringe_is_told_by_its_values(
    tmp_path: Path, values: list[str], wanted: str
) -> None:
    rows = "".join(
        f"Amber,K1,{value},14/09/2026 0{8 + i}:00,0.6,{14 - i}\n"
        for i, value in enumerate(values)
    )
    text = f"Ward,Patient,Syringe,Checked at,Rate ml/h,Volume left ml\n{rows}"
    assert f'{wanted} = "Syringe"' in printed(write(tmp_path, {"a.csv": text}))


def test_a_group_above_a_name_makes_it_another_column() -> None:
    found = tell_apart(["Ward", "Place", "Appearance"], ["Chart", "Site", ""])
    assert found == ["Ward", "Place", "Site Appearance"]


@pytest.mark.parametrize(
    ("cell", "signs"),
    [
        ("redness 2cm", ["redness"]),
        ("nil of note", ["none"]),
        ("oozing blood", ["bleeding"]),
        ("no redness/swelling", ["none"]),
        ("rood en gezwollen", ["redness", "swelling"]),
    ],
)
def test_a_look_is_read_with_its_size_and_in_phrases(
    cell: str, signs: list[str]
) -> None:
    assert site_signs(cell, {}) == (signs, [])


VERSIONS = """\
Record No,Version,Ward,Patient ID,Infusion ID,Checked at,Rate (ml/h),Volume left (ml)
11,1,Amber,K1,I1,2026-09-14 08:00,0.6,14.5
12,1,Amber,K1,I1,2026-09-14 12:00,0.6,21
13,1,Amber,K1,I1,2026-09-14 16:00,0.6,9.5
12,3,Amber,K1,I1,2026-09-14 12:00,0.6,12
12,2,Amber,K1,I1,2026-09-14 12:00,0.6,1.2
"""


def test_a_later_version_of_a_row_supersedes_the_one_before(tmp_path: Path) -> None:
    assert_read(
        tmp_path,
        {"a.csv": VERSIONS},
        "checked_at volume_remaining_ml amends",
        [
            "2026-09-14 08:00 | 14.5 | ",
            "2026-09-14 12:00 | 12 | a.csv:6",
            "2026-09-14 16:00 | 9.5 | ",
        ],
    )
    log = read(tmp_path, {"a.csv": VERSIONS})
    assert log.account[["accepted", "superseded"]].to_numpy().tolist() == [[3, 2]]


def test_a_version_of_the_form_makes_no_row_supersede_another(tmp_path: Path) -> None:
    text = VERSIONS.replace(",2,Amber", ",1,Amber").replace(",3,Amber", ",1,Amber")
    log = read(tmp_path, {"a.csv": text})
    assert log.account["superseded"].tolist() == [0]


def test_hours_after_the_start_are_no_times_of_checks(tmp_path: Path) -> None:
    text = (
        "Ward,Patient,Infusion,Started at,Hours since start,Rate ml/h,Volume left ml\n"
        "Amber,K1,I1,14/09/2026 08:00,0:00,0.6,14.5\n"
        "Amber,K1,I1,14/09/2026 08:00,4:00,0.6,12\n"
    )
    with pytest.raises(InputError, match="Hours since start counts from the start"):
        read(tmp_path, {"a.csv": text})


@pytest.mark.parametrize(
    ("header", "column"),
    [
        ("evt", "entry"),
        ("init", "checked_by"),
        ("cmt", "note"),
        ("cmnts", "note"),
        ("drv_no", "driver_id"),
        ("chk_dttm", "checked_at"),
        ("syr_sz", "syringe_size_ml"),
        ("rt_ml_h", "set_rate_ml_h"),
    ],
)
def test_short_names_of_database_columns_are_known(header: str, column: str) -> None:
    assert synonyms.named(header) == {column}


def test_tamper_boxes_are_lockboxes() -> None:
    assert synonyms.named("Tamper box locked") == {"lockbox_locked"}


def test_the_names_of_a_column_stand_in_one_place() -> None:
    parts = (names_of_checks, names_of_infusions, names_of_lines, names_of_rows)
    columns = [column for part in parts for column in part.HEADERS]
    assert len(columns) == len(set(columns))


def test_right_and_route_in_short_are_no_rate() -> None:
    assert synonyms.named("Rt") == set()


def _three_rows(header: str) -> str:
    rows = [f"Amber,K1,14/09/2026 {hour}:00,0.6,12.5\n" for hour in ("08", "10", "12")]
    return "".join([f"Ward,Patient,Checked at,Rate ml/h,{header}\n", *rows])


def test_a_volume_that_stays_is_what_its_header_says(tmp_path: Path) -> None:
    log = read(tmp_path, {"a.csv": _three_rows("Volume left ml")})
    assert log.checks["volume_remaining_ml"].tolist() == [12.5, 12.5, 12.5]


def test_a_volume_that_stays_and_is_not_said_to_be_left_is_asked_about(
    tmp_path: Path,
) -> None:
    with pytest.raises(InputError, match="does not show which way it goes"):
        read(tmp_path, {"a.csv": _three_rows("Volume")})
