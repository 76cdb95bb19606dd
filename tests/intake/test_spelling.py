"""Names that look alike are one; what cannot be seen does not stop a value."""

from pathlib import Path

import pytest

from tests.intake.logs import line, read

LATER = "2026-10-01T12:00"


@pytest.mark.parametrize(
    ("column", "one", "other", "together"),
    [
        pytest.param("ward", "Alder ward", "Alder  ward", True, id="two blanks"),
        pytest.param(
            "ward", "Alder ward", "Alder\u00a0ward", True, id="a blank that holds"
        ),
        pytest.param(
            "ward", "Orme\u00e9", "Ormee\u0301", True, id="an accent apart (NFD)"
        ),
        pytest.param("patient_id", "P 1", "P\u200e 1", True, id="a mark within a code"),
        pytest.param("ward", "Alder ward", "Alder Ward", False, id="a large letter"),
        pytest.param("patient_id", "p1", "P1", False, id="a patient's large letter"),
        pytest.param("driver_id", "sd1", "SD1", False, id="a driver's large letter"),
    ],
)
def test_names_alike_to_the_eye_are_one_and_others_are_told(
    tmp_path: Path,
    column: str,
    one: str,
    other: str,
    together: bool,  # noqa: FBT001
) -> None:
    rows = [
        line(**{column: one}),
        line(checked_at=LATER, infusion_id="I2", **{column: other}),
    ]
    log = read(tmp_path, *rows)
    assert (log.checks[column].nunique() == 1) == together
    told = [n for n in log.notes if "small and large letters" in n]
    assert len(told) == (0 if together else 1)
    assert all(f"'{name}'" in note for note in told for name in (one, other))


@pytest.mark.parametrize(
    "mark",
    [
        pytest.param("\u200e", id="left to right"),
        pytest.param("\u200f", id="right to left"),
        pytest.param("\u202a", id="an embedding"),
        pytest.param("\u2068", id="an isolate"),
        pytest.param("\u061c", id="an Arabic letter mark"),
        pytest.param("\ufeff", id="a zero-width blank"),
    ],
)
@pytest.mark.parametrize(
    ("time", "volume"),
    [
        pytest.param("{0}2026-10-01T08:00{0}", "{0}9.9{0}", id="around"),
        pytest.param("14{0}/10{0}/2026 08:00", "9{0}.9", id="within"),
    ],
)
def test_marks_that_cannot_be_seen_do_not_stop_a_value(
    tmp_path: Path, mark: str, time: str, volume: str
) -> None:
    log = read(
        tmp_path,
        line(
            checked_at=time.format(mark), volume_remaining_ml=volume.format(mark)
        ),
    )  # fmt: skip
    assert log.checks["volume_remaining_ml"].tolist() == [9.9]
    assert not len(log.set_aside)
