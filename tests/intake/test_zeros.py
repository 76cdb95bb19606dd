"""The same number with zeros before it and without, in one file: asked, not guessed."""

from pathlib import Path

import pytest

from analysis.errors import InputError
from analysis.intake import read_exports
from analysis.intake.exports import read_raws
from analysis.intake.layout_file import parse_layout
from analysis.intake.layout_text import to_toml
from analysis.intake.recognise import propose_all
from tests.intake.logs import POLICY, write

HEADER = "Ward,Patient No,Infusion No,Date,Time,Volume remaining (ml)"


def export(folder: Path, patients: list[str]) -> Path:
    rows = [
        f"Ash,{patient},I{i // 2},13/10/2026,{8 + i:02}:05,{20 - 0.8 * i:.1f}"
        for i, patient in enumerate(patients)
    ]
    return write(folder, "log.csv", HEADER, *rows)


def test_a_number_with_and_without_zeros_is_asked_about(tmp_path: Path) -> None:
    path = export(tmp_path, ["1001", "001001", "1001", "001001"])
    with pytest.raises(InputError, match="Patient No reads 1001 and 001001"):
        read_exports([path], POLICY)


@pytest.mark.parametrize(("answer", "patients"), [("6", 1), ("0", 2)])
def test_a_layout_says_whether_zeros_were_lost(
    tmp_path: Path, answer: str, patients: int
) -> None:
    path = export(tmp_path, ["1001", "001001", "1001", "001001"])
    printed = to_toml(propose_all(read_raws([path])))
    layout = parse_layout(
        printed.replace('patient_id = "?"', f"patient_id = {answer}"), "layout"
    )
    log = read_exports([path], POLICY, layout)
    assert log.checks["patient_id"].nunique() == patients


@pytest.mark.parametrize(
    "patients",
    [
        pytest.param(["001001", "001002"], id="zeros on all"),
        pytest.param(["1001", "001002"], id="different numbers"),
    ],
)
def test_numbers_that_are_not_the_same_are_read(
    tmp_path: Path, patients: list[str]
) -> None:
    log = read_exports([export(tmp_path, patients)], POLICY)
    assert log.checks["patient_id"].tolist() == patients


@pytest.mark.parametrize(
    ("header", "code", "what"),
    [
        pytest.param("Driver No", "0011", "driver", id="drivers"),
        pytest.param("Infusion No", "0011", "infusion", id="infusions"),
    ],
)
def test_zeros_lost_in_one_of_two_files_are_asked_about(
    tmp_path: Path, header: str, code: str, what: str
) -> None:
    def log(name: str, day: int, own: str) -> Path:
        rows = [
            f"Ash,P1,{own},{day}/10/2026,{8 + 4 * i:02}:05,{20 - 3 * i}.0"
            for i in range(4)
        ]
        head = f"Ward,Patient,{header},Date,Time,Volume remaining (ml)"
        return write(tmp_path, name, head, *rows)

    paths = [log("a.csv", 13, code), log("b.csv", 14, code.lstrip("0"))]
    with pytest.raises(InputError, match=f"such numbers\\) may be one {what}: write 4"):
        read_exports(paths, POLICY)
