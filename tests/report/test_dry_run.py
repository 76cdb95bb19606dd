"""The dry run of an intake: what a nurse reads before any audit."""

from pathlib import Path

import pandas as pd
import pytest

from analysis.intake import read_exports
from analysis.policy import Policy
from analysis.report.dry_run import WIDTH, dry_run

EXPORT = """\
Ward Name;Patient No;Pump No;Date/Time of Check;Volume Remaining (mL);Rate (mL/h);Skin
Elder Ward;P1;D1;13/06/2026 08:00;16,0;0,67;NAD
Elder Ward;P1;D1;13/06/2026 12:10;~13,3;0,67;NAD
Elder Ward;P1;D1;13/06/2026 16:00;10-11;0,67;wobbly
Elder Ward;P1;D1;31/06/2026 20:00;8,0;0,67;
Larch Ward;P2;D2;13/06/2026 08:30;16,0;0,67;NAD
Larch Ward;P2;D3;13/06/2026 09:30;15,0;0,67;NAD
Larch Ward;P2;;13/06/2026 12:30;x7;0,67;NAD
Larch Ward;P2;D2;14/06/2026 07:30;<1;0,67;NAD
Larch Ward;P2;D2;14/06/2026 07:30;<1;0,67;NAD
"""


def told(folder: Path, text: str) -> list[str]:
    path = folder / "export.csv"
    path.write_text(text, encoding="utf-8")
    return dry_run(read_exports([path], Policy.example()))


@pytest.fixture(scope="module")
def lines(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    return told(tmp_path_factory.mktemp("dry"), EXPORT)


def test_no_line_is_wider_than_a_terminal(lines: list[str]) -> None:
    assert [line for line in lines if len(line) > WIDTH] == []


@pytest.mark.parametrize(
    "said",
    [
        pytest.param(
            "9 rows read = 7 accepted + 1 rejected + 0 superseded by an amendment "
            "+ 1 exact duplicates",
            id="the account of the file",
        ),
        pytest.param("7 checks accepted, from 13 June 2026 to 14 June", id="its span"),
        pytest.param("patients: 2; wards: Elder Ward, Larch Ward", id="whose it is"),
        pytest.param(
            "1 x time not readable, in Date/Time of Check first export.csv:5: "
            "Date/Time of Check reads '31/06/2026 20:00'",
            id="a reason with an example",
        ),
        pytest.param(
            "1 x not a number, in Volume Remaining (mL) first export.csv:8:",
            id="a cell set aside with its place",
        ),
        pytest.param("driver_id from 'Pump No'", id="which header is which column"),
        pytest.param("dates day first: the day is over 12 in 8 of 9", id="date order"),
        pytest.param("numbers with a decimal comma", id="decimal comma"),
        pytest.param(
            "1 x volume_remaining_ml charted as about, read as the number itself; "
            "first export.csv:3: ~13,3",
            id="a number charted as about",
        ),
        pytest.param(
            "charted as between two numbers, read as their middle; first "
            "export.csv:4: 10-11",
            id="a number charted as a range",
        ),
        pytest.param(
            "1 x volume_remaining_ml charted as below",
            id="a number charted as below, once: its row stands there twice",
        ),
        pytest.param(
            "1 rows name no driver while their patient had more than one",
            id="the bucket",
        ),
        pytest.param("Larch Ward 4 3 2 1 1 1", id="derived and not assigned, by ward"),
        pytest.param("Elder Ward volume_remaining_ml 3 0.1", id="reading resolution"),
        pytest.param("Elder Ward 3 2 (67 %)", id="share of exact hours"),
        pytest.param("driver_id 0 1 (25 %) 1 (14 %)", id="missing by column and ward"),
        pytest.param("Not in this export: infusion_id,", id="what is not there"),
        pytest.param("Nothing was written.", id="that nothing is written"),
    ],
)
def test_the_dry_run_says(lines: list[str], said: str) -> None:
    assert said in " ".join(" ".join(lines).split())


def test_a_ward_table_wider_than_the_page_is_parted(tmp_path: Path) -> None:
    rows = EXPORT.splitlines()
    wards = [f"Ward of the invented name number {i}" for i in range(9)]
    rows += [rows[1].replace("Elder Ward", ward).replace("P1", ward) for ward in wards]
    found = told(tmp_path, "\n".join(rows) + "\n")
    assert [line for line in found if len(line) > WIDTH] == []
    heads = [line for line in found if line.split()[:1] == ["column"]]
    assert len(heads) > 1


def test_what_a_terminal_would_obey_is_shown_and_not_sent(tmp_path: Path) -> None:
    found = told(tmp_path, EXPORT.replace("x7", "\x1b[2Jx7"))
    assert "\x1b" not in "\n".join(found)
    assert any("\N{REPLACEMENT CHARACTER}[2Jx7" in line for line in found)


@pytest.mark.parametrize(
    "volumes",
    [
        pytest.param(["", ""], id="no volume charted"),
        pytest.param(["99", "98"], id="no volume that is possible"),
        pytest.param(["x", "y"], id="no volume that is a number"),
    ],
)
def test_a_log_without_a_usable_volume_says_so(
    tmp_path: Path, volumes: list[str]
) -> None:
    head = "Ward,Patient No,Date,Time,Volume remaining (ml)\n"
    rows = [f"Ash,P1,13/10/2026,{8 + i}:05,{cell}\n" for i, cell in enumerate(volumes)]
    said = " ".join(" ".join(told(tmp_path, head + "".join(rows))).split())
    assert "what was delivered cannot be judged" in said
    assert "No column has a value in any row, beside ward, patient and time" in said


def test_a_log_of_starts_alone_is_told_without_a_table_of_readings(
    tmp_path: Path,
) -> None:
    head = "Ward,Patient No,Entry,Date,Time,Volume remaining (ml)\n"
    rows = "".join(f"Ash,P1,start,13/10/2026,{8 + i}:05,20\n" for i in range(3))
    said = " ".join(" ".join(told(tmp_path, head + rows)).split())
    assert "No row after the start of its infusion has a volume" in said


@pytest.mark.parametrize(
    ("now", "times"),
    [
        pytest.param("2026-06-14 06:00", 1, id="a check of the next hours"),
        pytest.param("2026-06-14 08:00", 0, id="all checks are past"),
    ],
)
def test_a_check_after_the_time_of_reading_is_said(
    tmp_path: Path, now: str, times: int
) -> None:
    path = tmp_path / "export.csv"
    path.write_text(EXPORT, encoding="utf-8")
    log = read_exports([path], Policy.example())
    lines = dry_run(log, now=pd.Timestamp(now, tz="Europe/London"))
    whole = " ".join(" ".join(lines).split())
    said = "dated after today, 14 June 2026 (the last: 14 June 2026"
    assert whole.count(said) == times
