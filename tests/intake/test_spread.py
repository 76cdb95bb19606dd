"""Checks that stand side by side in a row become rows of their own."""

from pathlib import Path

import pytest

from analysis.intake import read_exports
from analysis.intake.exports import read_raws
from analysis.intake.layout_file import parse_layout
from analysis.intake.layout_text import to_toml
from analysis.intake.recognise import propose_all
from analysis.policy import Policy
from tests.intake.test_unseen import ACROSS

POLICY = Policy.example()


def headers_of(folder: Path, header: str) -> list[str]:
    path = folder / "export.csv"
    cells = ",".join("x" for _ in header.split(","))
    path.write_text(f"{header}\n{cells}\n", encoding="utf-8")
    (raw,) = read_raws([path])
    return list(raw.cells.columns)


@pytest.mark.parametrize(
    ("header", "wanted"),
    [
        pytest.param(
            "Ward,Time 1,Volume left 1,Time 2,Volume left 2",
            ["Ward", "Time", "Volume left"],
            id="numbers at the end",
        ),
        pytest.param(
            "Ward,Patient,Time,Volume left,Time,Volume left,Time,Volume left",
            ["Ward", "Patient", "Time", "Volume left"],
            id="the same headers again and again",
        ),
        pytest.param(
            "Ward,1st remark,Check 1 time,Check 1 ml left,Check 2 time,Check 2 ml left,"
            "Check 2 site",
            ["Ward", "1st remark", "Check time", "Check ml left", "Check site"],
            id="a column that only a later check has is that check's alone",
        ),
        pytest.param(
            "Ward,Time,Volume left,Drug 1,Dose 1,Drug 2,Dose 2",
            ["Ward", "Time", "Volume left", "Drug 1", "Dose 1", "Drug 2", "Dose 2"],
            id="drugs that are numbered are no checks",
        ),
        pytest.param(
            "Ward,Time,Volume left,Line date 1,Line no 1,Line date 2,Line no 2",
            [
                *("Ward", "Time", "Volume left", "Line date 1", "Line no 1"),
                *("Line date 2", "Line no 2"),
            ],
            id="lines that are numbered are no checks",
        ),
        pytest.param(
            "Ward,Time,Volume left,Time 1,Volume left 1,Time 2,Volume left 2",
            [
                *("Ward", "Time", "Volume left", "Time 1", "Volume left 1"),
                *("Time 2", "Volume left 2"),
            ],
            id="names that would stand twice are left for the reader to settle",
        ),
    ],
)
def test_headers_after_checks_are_set_apart(
    tmp_path: Path, header: str, wanted: list[str]
) -> None:
    assert headers_of(tmp_path, header) == wanted


def test_a_record_without_any_check_is_rejected_and_not_lost(tmp_path: Path) -> None:
    path = tmp_path / "across.csv"
    path.write_text(ACROSS, encoding="utf-8")
    log = read_exports([path], POLICY)
    assert log.rejected["source"].tolist() == ["across.csv:4"]
    assert log.rejected["reason"].tolist() == ["no time"]
    (account,) = log.account.to_dict("records")
    assert (account["rows_read"], account["accepted"], account["rejected"]) == (4, 3, 1)
    assert any("up to 2 checks side by side" in note for note in log.notes)


def test_the_layout_printed_for_it_reads_the_same(tmp_path: Path) -> None:
    path = tmp_path / "across.csv"
    path.write_text(ACROSS, encoding="utf-8")
    layout = parse_layout(to_toml(propose_all(read_raws([path]))), "layout")
    bare, laid = read_exports([path], POLICY), read_exports([path], POLICY, layout)
    assert laid.checks["volume_remaining_ml"].tolist() == [13.6, 11.0, 14.0]
    assert bare.checks.equals(laid.checks)
