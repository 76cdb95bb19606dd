"""Files of one export that contradict each other: said, with what leads."""

from pathlib import Path

import pytest

from analysis.intake import Log, read_exports
from tests.intake.logs import HEADER, POLICY, line, write

TIMES = [f"2026-10-13T{hour:02}:05" for hour in (0, 4, 8, 12)]
ROWS = [line(checked_at=time, volume_remaining_ml=str(20 - 3 * i))
        for i, time in enumerate(TIMES)]  # fmt: skip
INFUSIONS = "infusion_id,patient_id,started_at,planned_duration_h,start_volume_ml"


def read(folder: Path, infusion: str) -> Log:
    checks = write(folder, "checks.csv", HEADER, *ROWS)
    infusions = write(folder, "infusions.csv", INFUSIONS, f"{infusion},24,20")
    return read_exports([checks, infusions], POLICY)


@pytest.mark.parametrize(
    ("infusion", "said"),
    [
        ("I1,P2,2026-10-13T00:05", "of P2 in infusions.csv:2 and of P1 in checks.csv"),
        ("I1,P1,2026-11-13T00:05", "I1, on 13 November 2026 00:05 in infusions.csv:2"),
        ("I1,P1,2026-10-09T23:00", "I1, on 9 October 2026 23:00 in infusions.csv:2"),
    ],
)
def test_an_infusions_table_that_contradicts_the_checks_is_said(
    tmp_path: Path, infusion: str, said: str
) -> None:
    assert sum(said in note for note in read(tmp_path, infusion).notes) == 1


@pytest.mark.parametrize(
    "infusion",
    [
        "I1,P1,2026-10-13T00:05",
        "I1,P1,2026-10-10T00:05",
        "I1,,",
        "I9,P2,2026-11-13T00:05",
    ],
)
def test_a_table_that_agrees_needs_no_word(tmp_path: Path, infusion: str) -> None:
    notes = " ".join(read(tmp_path, infusion).notes)
    assert "another patient" not in notes
    assert "infusions begin" not in notes


def test_two_volumes_for_one_minute_of_an_infusion_are_said(tmp_path: Path) -> None:
    first = write(tmp_path, "a.csv", HEADER, *ROWS)
    other = write(
        tmp_path, "b.csv", HEADER, line(checked_at=TIMES[1], volume_remaining_ml="7")
    )
    log = read_exports([first, other], POLICY)
    said = [note for note in log.notes if "different volumes charted" in note]
    assert len(said) == 1
    assert "17 mL in a.csv:3" in said[0]
    assert "7 mL in b.csv:2" in said[0]


def test_one_minute_of_two_infusions_needs_no_word(tmp_path: Path) -> None:
    more = line(checked_at=TIMES[1], volume_remaining_ml="7", infusion_id="I2")
    log = read_exports([write(tmp_path, "a.csv", HEADER, *ROWS, more)], POLICY)
    assert not any("different volumes" in note for note in log.notes)
