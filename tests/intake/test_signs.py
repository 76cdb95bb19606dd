"""Signs of a site in columns of their own: a sign, none, or a question."""

from pathlib import Path

import pytest

from analysis.errors import InputError
from analysis.intake import Log, read_exports
from analysis.intake.layout_file import parse_layout
from tests.intake.logs import POLICY

LAYOUT = """
[[table]]
holds = "checks"
date_order = "ymd"
[table.columns]
ward = "ward"
patient_id = "patient"
checked_at = "checked at"
volume_remaining_ml = "volume remaining (mL)"
[table.signs_of]
redness = "Redness"
swelling = "Swelling"
leakage = "Leakage"
[table.words.signs_of]
"""


def export(path: Path, header: str, *cells: str) -> Path:
    lines = [f"ward;patient;checked at;volume remaining (mL);{header}"]
    lines += [
        f"Elder;P1;2026-09-14 {6 + 2 * i:02}:00;{16 - 1.3 * i:.1f};{cell}"
        for i, cell in enumerate(cells)
    ]
    path.write_text("\n".join([*lines, ""]), encoding="utf-8")
    return path


def read(folder: Path, header: str, *cells: str, layout: str = "") -> Log:
    path = export(folder / "checks.csv", header, *cells)
    mine = parse_layout(LAYOUT + layout, "layout.toml") if layout else None
    return read_exports([path], POLICY, mine)


@pytest.mark.parametrize(
    ("cells", "signs"),
    [
        pytest.param("N;N;N", "none", id="all denied"),
        pytest.param("Y;N;N", "redness", id="one seen"),
        pytest.param("mild;N;severe", "redness;leakage", id="words of degree"),
        pytest.param("\u2713;N;N", "redness", id="a tick where most have none"),
        pytest.param("N;N;", "", id="one not recorded"),
        pytest.param(";;", "", id="nothing recorded"),
        pytest.param("Y;;", "redness", id="a sign beside what is not recorded"),
        pytest.param("N;N;dribbling", "", id="one unread"),
    ],
)
def test_answers_to_single_signs(tmp_path: Path, cells: str, signs: str) -> None:
    usual = ["N;N;N", "Y;Y;Y", "N;N;N", "N;N;N", "N;N;N"]
    log = read(tmp_path, "Redness;Swelling;Leakage", cells, *usual)
    assert log.checks["site_signs"].iloc[0] == signs
    assert len(log.set_aside) == ("dribbling" in cells)


def test_what_is_none_does_not_depend_on_the_other_rows_of_a_file(
    tmp_path: Path,
) -> None:
    alone = read(tmp_path, "Redness;Swelling;Leakage", "N;N;", "N;N;", "N;N;")
    assert alone.checks["site_signs"].tolist() == ["", "", ""]
    beside = read(tmp_path, "Redness;Swelling;Leakage", "N;N;", "N;N;", "N;N;Y")
    assert beside.checks["site_signs"].tolist() == ["", "", "leakage"]


@pytest.mark.parametrize(
    ("cells", "signs", "reasons"),
    [
        pytest.param("none;N;N", "none", [], id="both say none"),
        pytest.param(";N;N", "none", [], id="the column of all signs is blank"),
        pytest.param("bruised;N;N", "bruising", [], id="a sign without a column"),
        pytest.param("red;Y;N", "redness", [], id="the same sign twice"),
        pytest.param("bruised;Y;N", "bruising;redness", [], id="a sign in each"),
        pytest.param("red;N;N", "", ["contradiction"], id="seen and denied"),
        pytest.param("none;Y;N", "", ["contradiction"], id="none and a sign"),
        pytest.param("odd;N;N", "", ["not in the list"], id="unread is not none"),
    ],
)
def test_single_signs_beside_a_column_of_all(
    tmp_path: Path, cells: str, signs: str, reasons: list[str]
) -> None:
    usual = ["none;N;N", "red;Y;N", "none;N;N", "swollen;N;Y", "none;N;N"]
    log = read(tmp_path, "site signs;Redness;Swelling", cells, *usual)
    assert log.checks["site_signs"].iloc[0] == signs
    assert log.set_aside["reason"].tolist() == reasons


@pytest.mark.parametrize(
    ("first", "others", "asked"),
    [
        pytest.param("OK", "OK", "'ok'", id="OK is neither seen nor not"),
        pytest.param("\u2713", "\u2713", "'\u2713'", id="ticks in every row"),
        pytest.param("x", "", "'x'", id="a cross"),
        pytest.param("2", "0", "'0' and '2'", id="grades"),
        pytest.param("intact", "N", "'intact'", id="a word of health"),
    ],
)
def test_marks_with_two_meanings_are_asked(
    tmp_path: Path, first: str, others: str, asked: str
) -> None:
    cells = [f"{first};{others}", *[f"{others};{others}"] * 4]
    with pytest.raises(InputError) as refused:
        read(tmp_path, "Redness;Swelling", *cells)
    assert f"hold {asked}: write yes (the sign was seen) or no" in str(refused.value)


def test_a_layout_says_what_a_mark_means_and_that_one_means_nothing(
    tmp_path: Path,
) -> None:
    words = '"\u2713" = "no"\ny = ""\nodd = ""\n'
    cells = ["\u2713;\u2713;\u2713", "y;\u2713;\u2713", "odd;\u2713;\u2713"]
    log = read(tmp_path, "Redness;Swelling;Leakage", *cells, layout=words)
    assert log.checks["site_signs"].tolist() == ["none", "", ""]
    assert log.set_aside.empty


def test_one_column_alone_never_says_none(tmp_path: Path) -> None:
    log = read(tmp_path, "Redness", "N", "Y", "N", "N")
    assert log.checks["site_signs"].tolist() == ["", "redness", "", ""]
    assert any("alone tells of the site" in note for note in log.notes)


@pytest.mark.parametrize("header", ["Redness resolved?", "Redness OK", "No redness"])
def test_a_header_that_says_more_than_a_sign_is_none(
    tmp_path: Path, header: str
) -> None:
    log = read(tmp_path, f"{header};Swelling", "Y;N", "N;N", "Y;N", "N;Y")
    assert "redness" not in set(log.checks["site_signs"])


def test_pain_alone_may_be_how_the_patient_feels(tmp_path: Path) -> None:
    log = read(tmp_path, "Pain;Bleeding", "Y;N", "N;N", "Y;N", "N;Y")
    assert log.checks["site_signs"].tolist() == ["", "", "", ""]


def test_a_graded_sign_of_the_site_is_one_and_the_patients_pain_is_none(
    tmp_path: Path,
) -> None:
    header = "Redness;Swelling;Site pain 0-3;Pain 0-10"
    log = read(tmp_path, header, "N;N;0;7", "N;N;1;8", "N;N;0;0")
    assert log.checks["site_signs"].tolist() == ["none", "pain", "none"]
