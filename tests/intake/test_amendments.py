"""An amendment supersedes the row it names, unless that is another patient's."""

from pathlib import Path

from analysis.intake import read_exports
from tests.intake.logs import HEADER, POLICY, line, write


def test_an_amendment_of_another_patients_row_supersedes_nothing(
    tmp_path: Path,
) -> None:
    first = write(tmp_path, "a.csv", HEADER, line(), line(volume_remaining_ml="9"))
    wrong = line(patient_id="P2", infusion_id="I9", amends="a.csv:3")
    log = read_exports([first, write(tmp_path, "b.csv", HEADER, wrong)], POLICY)
    assert set(log.checks["source"]) == {"a.csv:2", "a.csv:3", "b.csv:2"}
    assert not len(log.superseded)
    assert any(
        "of another patient: 1 (first: b.csv:2, which names a.csv:3)" in note
        for note in log.notes
    )


def test_an_amendment_of_the_same_patient_in_another_file_supersedes(
    tmp_path: Path,
) -> None:
    first = write(tmp_path, "a.csv", HEADER, line(), line(volume_remaining_ml="9"))
    right = line(infusion_id="I2", volume_remaining_ml="8", amends="a.csv:3")
    log = read_exports([first, write(tmp_path, "b.csv", HEADER, right)], POLICY)
    assert log.superseded["source"].tolist() == ["a.csv:3"]
    assert not any("another patient" in note for note in log.notes)
