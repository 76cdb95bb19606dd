"""Layouts: what is recognised, what is asked, and shapes turned into canonical rows."""

import re
from dataclasses import fields
from pathlib import Path

import pytest

from analysis.errors import InputError, LayoutError
from analysis.intake import Log, read_exports
from analysis.intake.exports import read_raws
from analysis.intake.layout import TableLayout
from analysis.intake.layout_file import parse_layout
from analysis.intake.layout_text import to_toml
from analysis.intake.recognise import propose_all
from analysis.policy import Policy

PLAIN = """\
Unit name;Pt No;Pump No;Date;Time;Type;Vol left (mls);Rate mls/hr;Batt;Skin;Lock
Elder;0012;P1;14/09/2026;08:00;New syringe;16,0;0,67;98%;NAD;Y
Elder;0012;P1;14/09/2026;12:00;Check;13,3;0,67;90%;red;Y
Elder;0012;P1;14/09/2026;16:00;Check;10,5 mls;0,67;81%;-;N
Elder;0012;P1;15/09/2026;07:50;Taken down;0,1;0,67;55%;NAD;Y
"""


def read(path: Path, text: str, layout: str = "") -> Log:
    path.write_text(text, encoding="utf-8")
    given = parse_layout(layout, "layout") if layout else None
    return read_exports([path], Policy.example(), given)


def printed(path: Path, text: str) -> str:
    path.write_text(text, encoding="utf-8")
    return to_toml(propose_all(read_raws([path])))


def test_an_ordinary_export_needs_no_layout(tmp_path: Path) -> None:
    checks = read(tmp_path / "x.csv", PLAIN).checks
    assert checks["entry"].tolist() == ["start", "check", "check", "end"]
    assert checks["volume_remaining_ml"].tolist() == [16.0, 13.3, 10.5, 0.1]
    assert checks["site_signs"].tolist() == ["none", "redness", "", "none"]
    assert checks["lockbox_locked"].tolist() == ["yes", "yes", "no", "yes"]
    assert checks["patient_id"].unique().tolist() == ["0012"]


def test_the_printed_layout_reads_as_without_one(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    layout = printed(path, PLAIN)
    with_layout = read(path, PLAIN, layout).checks
    assert with_layout.equals(read(path, PLAIN).checks)


@pytest.mark.parametrize(
    ("old", "new", "asked"),
    [
        pytest.param("14/09/2026", "04/09/2026", "day and month", id="order of dates"),
        pytest.param(";Y\n", ";x\n", "yes or no", id="a cross"),
        pytest.param("Taken down", "Whisked", "Whisked", id="an unknown entry"),
        pytest.param(";NAD;", ";\u2713;", "none where", id="a tick under the site"),
    ],
)
def test_what_must_be_settled_is_asked(
    tmp_path: Path, old: str, new: str, asked: str
) -> None:
    text = PLAIN.replace("15/09/2026", "05/09/2026") if "09/2026" in old else PLAIN
    with pytest.raises(InputError, match=r"(?i)" + asked):
        read(tmp_path / "x.csv", text.replace(old, new))


def test_an_open_question_is_refused(tmp_path: Path) -> None:
    layout = printed(tmp_path / "x.csv", PLAIN.replace(";Y\n", ";x\n"))
    with pytest.raises(LayoutError, match="not settled"):
        parse_layout(layout, "layout")


@pytest.mark.parametrize(
    ("answer", "read_as"),
    [
        pytest.param("4", 4, id="without quotes"),
        pytest.param('"4"', 4, id="in the quotes of the question mark"),
        pytest.param('"0"', 0, id="no zeros lost, in quotes"),
    ],
)
def test_a_number_of_digits_may_stand_in_the_quotes_of_its_question(
    answer: str, read_as: int
) -> None:
    text = (
        "[[table]]\nholds='checks'\n[table.columns]\npatient_id='P'\nward='W'\n"
        "checked_at='T'\nvolume_remaining_ml='V'\n"
        f"[table.digits]\npatient_id={answer}"
    )
    assert parse_layout(text, "layout").tables[0].digits == {"patient_id": read_as}


@pytest.mark.parametrize(
    ("layout", "wrong"),
    [
        pytest.param("", "no", id="nothing in it"),
        pytest.param("[[table]]\nholds='checks'\ncolour=1", "colour", id="unknown key"),
        pytest.param("[[table]]\nholds='tea'", "holds", id="unknown kind"),
        pytest.param(
            "[[table]]\nholds='checks'\n[table.columns]\ntea='Tea'", "tea", id="column"
        ),
        pytest.param(
            "[[table]]\nholds='checks'\ndate_order='xyz'\n[table.columns]\nward='W'",
            "date_order",
            id="a word of no list",
        ),
        pytest.param(
            "[[table]]\nholds='checks'\n[table.columns]\nward='?'",
            r'columns.ward is not settled; write the answer in place of "\?"',
            id="a question left open",
        ),
        pytest.param(
            "[[table]]\nholds='checks'\nclock=24\n[table.columns]\nward='W'",
            "clock must be a text in quotes",
            id="a number where a word is wanted",
        ),
        pytest.param(
            "[[table]]\nholds='checks'\n[table.columns]\nnote='N'\n"
            "[table.digits]\npatient=4",
            "digits.patient is no column of checks",
            id="digits of no column",
        ),
        pytest.param(
            "[[table]]\nholds='checks'\n[table.columns]\nnote='N'\n"
            "[table.constants]\nward='(folder)'",
            r"constants.ward reads '\(folder\)'; it must be a value, \(sheet\)",
            id="a place that is none",
        ),
        pytest.param(
            "[[table]]\nholds='checks'\n[table.columns]\nnote='N'\n"
            "[table.constants]\nward='(above)'",
            r"constants.ward reads '\(above\)'",
            id="a place above without its label",
        ),
        pytest.param(
            "[[table]]\nholds='checks'\ncontents_of=[['Drug','?']]\n[table.columns]\n"
            "note='N'",
            "contents_of is not settled",
            id="a question in a group",
        ),
        pytest.param(
            "skip_sheets=['?']\n[[table]]\nholds='checks'\n[table.columns]\nnote='N'",
            "skip_sheets is not settled",
            id="a question before the tables",
        ),
    ],
)
def test_layouts_are_strict(layout: str, wrong: str) -> None:
    with pytest.raises(LayoutError, match=wrong):
        parse_layout(layout, "layout")


def test_a_question_mark_may_be_what_a_chart_has_for_not_recorded() -> None:
    text = "[[table]]\nholds='checks'\nnot_recorded=['?']\n[table.columns]\n"
    text += "volume_remaining_ml='V'"
    assert parse_layout(text, "layout").tables[0].not_recorded == ("?",)


def test_each_word_that_is_not_known_is_asked_about(tmp_path: Path) -> None:
    text = PLAIN.replace(";Check;", ";code1;", 1).replace(";Check;", ";code2;", 1)
    assert text.count("code") == 2
    with pytest.raises(InputError) as refused:
        read(tmp_path / "x.csv", text)
    assert "'code1'" in str(refused.value)
    assert "'code2'" in str(refused.value)
    assert "so too" not in str(refused.value)


def settled(*lines: str) -> str:
    return "\n".join(
        [
            "[[table]]",
            "holds = 'checks'",
            "[table.columns]",
            "volume_remaining_ml = 'V'",
            *lines,
        ]
    )


@pytest.mark.parametrize(
    ("text", "told"),
    [
        pytest.param(
            settled("[table.words.entry]", 'x = "?"'),
            "layout: table 1, line 6: words.entry.x is",
            id="a word without a meaning",
        ),
        pytest.param(
            settled("[table.words.entry]", '"?" = "check"', "x = '?'"),
            "layout: table 1, line 7: words.entry.x is",
            id="after a word that is a question mark itself",
        ),
        pytest.param(
            settled("[table.words.running]", 'x = "yes"', "")
            + settled("[table.words.running]", 'x = "?"  # "?" is none of yes, no'),
            "layout: table 2, line 12: words.running.x is",
            id="the same word in a second table",
        ),
        pytest.param(
            settled("ward = [", '  "?",', '  "?",', "]"),
            "layout: table 1 (from line 1): columns.ward is",
            id="two questions in one list, which no one line closes",
        ),
        pytest.param(
            'table = [{holds = "checks", date_order = "?", columns = {note = "N", '
            'volume_remaining_ml = "V"}}]',
            "layout: table 1, line 1: date_order is",
            id="a table that is written in one line",
        ),
    ],
)
def test_a_question_left_open_is_told_with_its_line(text: str, told: str) -> None:
    with pytest.raises(LayoutError) as refused:
        parse_layout(text, "layout")
    assert str(refused.value).startswith(f"{told} not settled; write the answer")


def test_the_readme_names_every_entry_of_a_layout() -> None:
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    table = text.partition("| entry | what it says")[2].partition("\n\n")[0]
    keys = [line.split("|")[1] for line in table.splitlines()[2:]]
    named = {name for key in keys for name in re.findall("`(.*?)`", key)}
    assert named == {field.name for field in fields(TableLayout)}


@pytest.mark.parametrize(
    ("where", "says"),
    [
        pytest.param(
            "(above) Ward",
            "x.csv: nothing above the header stands beside 'Ward', where the layout "
            "takes ward from; correct constants.ward",
            id="no such line above the header",
        ),
        pytest.param(
            "(heading) Ward",
            "x.csv: no row of one cell names 'Ward', where the layout takes ward from",
            id="no such heading",
        ),
        pytest.param(
            "(sheet)",
            "x.csv: the layout takes ward from the name of the sheet, and this is no "
            "workbook",
            id="the sheet of a text file",
        ),
    ],
)
def test_a_ward_that_is_not_where_the_layout_says_is_told_once(
    tmp_path: Path, where: str, says: str
) -> None:
    path = tmp_path / "x.csv"
    layout = printed(path, PLAIN).replace('ward = "Unit name"', "")
    layout += f'\n[table.constants]\nward = "{where}"\n'
    with pytest.raises(InputError, match=re.escape(says)):
        read(path, PLAIN, layout)


def test_patients_that_are_different_with_and_without_zeros_can_be_said(
    tmp_path: Path,
) -> None:
    layout = printed(tmp_path / "x.csv", PLAIN) + "[table.digits]\npatient_id = 0\n"
    checks = read(tmp_path / "x.csv", PLAIN, layout).checks
    assert checks["patient_id"].unique().tolist() == ["0012"]


ITEMS = """\
Ward,Patient,Infusion,Item,Value,Units,Time Taken,Status
Elder,P1,I1,Volume remaining,16.0,mL,2026-09-14T08:00:00+01:00,current
Elder,P1,I1,Infusion rate,16.0,mL/24h,2026-09-14T08:00:00+01:00,current
Elder,P1,I1,Battery level,98,%,2026-09-14T08:00:00+01:00,current
Elder,P1,I1,Volume remaining,31.3,mL,2026-09-14T12:00:00+01:00,replaced
Elder,P1,I1,Volume remaining,13.3,mL,2026-09-14T12:00:00+01:00,current
Elder,P1,I1,Infusion rate,16.0,,2026-09-14T12:00:00+01:00,current
"""


def test_items_of_one_time_are_one_check(tmp_path: Path) -> None:
    log = read(tmp_path / "items.csv", ITEMS)
    assert log.checks["source"].tolist() == ["items.csv:2;3;4", "items.csv:6;7"]
    assert log.checks["volume_remaining_ml"].tolist() == [16.0, 13.3]
    assert log.checks["set_rate_ml_h"].iloc[0] == pytest.approx(16 / 24, abs=1e-4)
    account = log.account.iloc[0]
    assert (account["rows_read"], account["accepted"], account["superseded"]) == (
        6,
        5,
        1,
    )


def test_a_rate_without_a_unit_among_others_is_set_aside(tmp_path: Path) -> None:
    log = read(tmp_path / "items.csv", ITEMS)
    assert log.set_aside["source"].tolist() == ["items.csv:7"]


def test_a_file_whose_rows_are_mostly_rejected_is_refused(tmp_path: Path) -> None:
    text = PLAIN.replace(";0012;", ";;", 3)
    with pytest.raises(InputError, match="3 of the 4 rows"):
        read(tmp_path / "x.csv", text)


SIGN_ITEMS = """ward,patient,date time,item,value
Elder,P1,2026-09-14 08:00,volume remaining (mL),16.0
Elder,P1,2026-09-14 08:00,site redness,no
Elder,P1,2026-09-14 08:00,site swelling,no
Elder,P1,2026-09-14 12:00,volume remaining (mL),13.6
Elder,P1,2026-09-14 12:00,site redness,yes
Elder,P1,2026-09-14 12:00,site swelling,no
Elder,P1,2026-09-14 16:00,volume remaining (mL),11.2
Elder,P1,2026-09-14 16:00,site swelling,no
Elder,P1,2026-09-14 20:00,volume remaining (mL),8.8
Elder,P1,2026-09-14 20:00,site redness,no
Elder,P1,2026-09-14 20:00,site redness,yes
Elder,P1,2026-09-14 20:00,site swelling,yes
Elder,P1,2026-09-15 00:00,volume remaining (mL),6.4
Elder,P1,2026-09-15 00:00,site redness,perhaps
Elder,P1,2026-09-15 00:00,site swelling,no
Elder,P1,2026-09-15 00:00,rate (mL/h),0.6
Elder,P1,2026-09-15 00:00,battery %,61
"""


def test_signs_that_are_items_of_their_own_are_signs(tmp_path: Path) -> None:
    log = read(tmp_path / "items.csv", SIGN_ITEMS)
    # Neither "not recorded" nor a contradiction is none.
    assert log.checks["site_signs"].tolist() == ["none", "redness", "", "swelling", ""]
    lost = ["items.csv:11", "items.csv:12", "items.csv:15"]
    assert log.set_aside["source"].tolist() == lost
    account = log.account.iloc[0]
    assert (account["rows_read"], account["accepted"]) == (17, 17)
    assert not any("not used" in note for note in log.notes)


def test_an_item_renamed_half_way_is_one_sign(tmp_path: Path) -> None:
    """None was seen where each sign is denied, by whichever of its names."""
    lines = SIGN_ITEMS.splitlines()
    renamed = [x.replace("site redness", "redness at site") for x in lines[:4]]
    log = read(tmp_path / "items.csv", "\n".join([*renamed, *lines[4:], ""]))
    assert log.checks["site_signs"].tolist() == ["none", "redness", "", "swelling", ""]
    reasons = ["contradiction", "contradiction", "not in the list"]
    assert log.set_aside["reason"].tolist() == reasons


def test_two_columns_of_one_sign_that_contradict_are_both_set_aside(
    tmp_path: Path,
) -> None:
    text = (
        "ward;patient;checked at;volume remaining (mL);redness;redness at site;swelling"
        "\nElder;P1;2026-09-14 08:00;16.0;no;no;no\n"
        "Elder;P1;2026-09-14 12:00;13.6;no;yes;no\n"
        "Elder;P1;2026-09-14 16:00;11.2;;yes;no\n"
        "Elder;P1;2026-09-14 20:00;8.8;no;;no\n"
    )
    log = read(tmp_path / "checks.csv", text)
    assert log.checks["site_signs"].tolist() == ["none", "", "redness", "none"]
    assert log.set_aside["value"].tolist() == ["no", "yes"]
    assert log.set_aside["reason"].unique().tolist() == ["contradiction"]


def test_a_layout_may_name_items_that_are_signs(tmp_path: Path) -> None:
    text = SIGN_ITEMS.replace("site redness", "Rd")
    log = read(tmp_path / "items.csv", text, SIGN_LAYOUT)
    assert log.checks["site_signs"].iloc[1] == "redness"


SIGN_LAYOUT = """
[[table]]
holds = "items"
date_order = "ymd"
clock = "24"
decimal = "."
[table.columns]
ward = "ward"
patient_id = "patient"
checked_at = "date time"
item = "item"
value = "value"
[table.items]
volume_remaining_ml = "volume remaining (mL)"
redness = "Rd"
swelling = "site swelling"
"""
