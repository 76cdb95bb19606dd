"""Which infusion is meant: by id, or by patient and time; else one sentence."""

from pathlib import Path

import pandas as pd
import pytest

from analysis.errors import IncidentError
from analysis.incident import Asked, find_infusion
from analysis.incident.find import infusion_by_id, parse_time
from analysis.intake import Log, read_exports
from tests.incident.reviewed import uneventful, write
from tests.tiny import LONDON, POLICY, moment

IDS = pd.Index(["LAP-0101", "LAP-0102", "SKY-0007", "sky-0008", "SKY-0008"])


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Log:
    """Read two infusions of P1 one after the other, and two of P2 side by side."""
    rows = [
        *uneventful("A1", patient_id="P1", driver_id="D1", start="2026-06-01T10:00"),
        *uneventful("A2", patient_id="P1", driver_id="D1", start="2026-06-02T10:00"),
        *uneventful("B1", patient_id="P2", driver_id="D2", start="2026-06-01T10:00"),
        *uneventful("B2", patient_id="P2", driver_id="", start="2026-06-01T12:00"),
    ]
    ended = [
        {"infusion_id": "A1", "start_volume_ml": 16, "ended_at": "2026-06-02T10:00"},
        {"infusion_id": "A2", "start_volume_ml": 16, "ended_at": "2026-06-03T09:30"},
        {"infusion_id": "B1", "start_volume_ml": 16, "ended_at": "2026-06-02T09:30"},
        {"infusion_id": "B2", "start_volume_ml": 16, "ended_at": "2026-06-02T11:30"},
    ]
    folder = tmp_path_factory.mktemp("log")
    return read_exports(write(folder, rows, infusions=ended), POLICY)


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        pytest.param("LAP-0101", "LAP-0101", id="as it is"),
        pytest.param(" lap-0101 ", "LAP-0101", id="in other letters"),
        pytest.param("sky-0008", "sky-0008", id="as it is before in other letters"),
    ],
)
def test_an_infusion_is_found_by_its_id(asked: str, found: str) -> None:
    assert infusion_by_id(IDS, asked) == found


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        pytest.param("LAP-0111", "did you mean LAP-0101", id="near matches are named"),
        pytest.param("Sky-0008", "did you mean", id="two of the same letters"),
        pytest.param("9", "the log holds 5, such as LAP-0101", id="nothing is near"),
    ],
)
def test_an_unknown_id_is_one_sentence(asked: str, says: str) -> None:
    with pytest.raises(IncidentError, match=says) as caught:
        infusion_by_id(IDS, asked)
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith(f"--infusion {asked}: ")


@pytest.mark.parametrize(
    ("at", "found"),
    [
        pytest.param("2026-06-01T10:00", "A1", id="at the start"),
        pytest.param("2026-06-01 23:30", "A1", id="in the middle, with a space"),
        pytest.param("2026-06-02T10:00", "A2", id="at a change the one that begins"),
        pytest.param("2026-06-02T10:30Z", "A2", id="with an offset"),
        pytest.param("2026-06-03T09:30", "A2", id="at the very end"),
    ],
)
def test_an_infusion_is_found_by_patient_and_time(
    log: Log, at: str, found: str
) -> None:
    assert find_infusion(log, POLICY, Asked(patient="p1", at=at)) == found


@pytest.mark.parametrize(
    ("patient", "at", "says"),
    [
        pytest.param(
            "P1",
            "2026-06-03T12:00",
            "falls in no infusion of patient P1; the one before is A2, 2 Jun 10:00 to "
            "3 Jun 09:30",
            id="after the last",
        ),
        pytest.param(
            "P1", "2026-05-31T12:00", "the next is A1, 1 Jun 10:00", id="before all"
        ),
        pytest.param(
            "P2",
            "2026-06-01T13:00",
            "falls in 2 infusions of patient P2: B1 (driver D2), B2 (driver not "
            "recorded); ask for one of them with --infusion ID",
            id="in two",
        ),
        pytest.param(
            "P3", "2026-06-01T13:00", "--patient P3: no patient of that", id="nobody"
        ),
        pytest.param("P1", "yesterday", "is no time", id="no time"),
        pytest.param("P1", "2026-06-01", "has no time of day", id="a date alone"),
        pytest.param(
            "P1", "2026-10-25T01:30", "comes twice or never", id="a time that is twice"
        ),
        pytest.param(
            "P1", "2026-03-29T01:30", "comes twice or never", id="a time that is not"
        ),
    ],
)
def test_a_time_that_tells_no_infusion_is_one_sentence(
    log: Log, patient: str, at: str, says: str
) -> None:
    with pytest.raises(IncidentError) as caught:
        find_infusion(log, POLICY, Asked(patient=patient, at=at))
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.fixture(scope="module")
def with_losses(tmp_path_factory: pytest.TempPathFactory) -> Log:
    """Read a log of which all rows of some infusions were set aside."""
    rows = [
        *uneventful("KEPT-1", patient_id="P1"),
        *uneventful("KEPT-2", patient_id="P2"),
        *uneventful("LOST-1", patient_id="P1", start="2026-06-02T10:00")[:2],
        *uneventful("LOST-2", patient_id="P3")[:3],
    ]
    for row in rows[14:]:
        row["checked_at"] = "after tea"
    rows[18]["checked_at"] = ""
    folder = tmp_path_factory.mktemp("losses")
    path = write(folder, rows)[0]
    torn = 'Alder Ward,P4,TORN-1,D4,0.667,check,"2026-06-01T18:00,8.0\n'
    path.write_text(path.read_text("utf-8") + torn, encoding="utf-8")
    return read_exports([path], POLICY)


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        pytest.param(
            Asked(infusion=" lost-1"),
            "the export has rows of that id and the log none, for 2 rows were set "
            "aside: checks.csv:16, 17 (checked_at reads 'after tea': not a date); mend",
            id="one reason",
        ),
        pytest.param(
            Asked(infusion="LOST-2"),
            "3 rows were set aside: checks.csv:18, 19 (checked_at reads 'after tea': "
            "not a date); checks.csv:20 (",
            id="two reasons, the more frequent first",
        ),
        pytest.param(
            Asked(infusion="TORN-1"), "1 row was set aside: checks.csv:21 (", id="torn"
        ),
        pytest.param(
            Asked(infusion="LOST"),
            "no infusion of that id in the log; the log holds 2",
            id="a part of an id is none",
        ),
        pytest.param(
            Asked(patient="p3", at="2026-06-01T12:00"),
            "the export has rows of that patient and the log none, for 3 rows were set "
            "aside: checks.csv:18, 19",
            id="all of a patient",
        ),
        pytest.param(
            Asked(patient="p1", at="2026-06-02T12:00"),
            "falls in no infusion of patient P1; the one before is KEPT-1, 1 Jun 10:03 "
            "to 2 Jun 09:33; of the patient 2 rows were set aside: checks.csv:16, 17",
            id="of a patient and no known time",
        ),
    ],
)
def test_rows_that_were_all_set_aside_are_named_with_their_reason(
    with_losses: Log, asked: Asked, says: str
) -> None:
    with pytest.raises(IncidentError) as caught:
        find_infusion(with_losses, POLICY, asked)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_rows_that_were_all_replaced_are_named(tmp_path: Path) -> None:
    rows = uneventful("KEPT-1")
    wrong = rows[1] | {"infusion_id": "GONE-1"}
    rows.insert(1, wrong)
    rows[2] = rows[2] | {"amends": "checks.csv:3"}
    log = read_exports(write(tmp_path, rows), POLICY)
    with pytest.raises(
        IncidentError, match=r"replaced by an amendment .*checks.csv:3;"
    ):
        find_infusion(log, POLICY, Asked(infusion="GONE-1"))


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        pytest.param(Asked(), "which infusion?", id="nothing"),
        pytest.param(
            Asked(infusion="A1", patient="P1", at="x"), "not both", id="both ways"
        ),
        pytest.param(Asked(patient="P1"), "--patient needs --at TIME", id="no time"),
        pytest.param(Asked(at="x"), "--at needs --patient ID", id="no patient"),
    ],
)
def test_what_is_asked_in_no_way_or_in_two_is_refused(asked: Asked, says: str) -> None:
    with pytest.raises(IncidentError, match=says):
        asked.checked()


def test_a_time_with_an_offset_settles_the_hour_that_comes_twice() -> None:
    first = parse_time("2026-10-25T01:30+01:00", POLICY)
    assert first.tz_convert(LONDON) == moment("2026-10-25T01:30")


def test_a_review_of_what_is_not_there_reads_and_says_so(tmp_path: Path) -> None:
    paths = write(tmp_path, uneventful("A1"))
    with pytest.raises(IncidentError, match="did you mean A1"):
        find_infusion(read_exports(paths, POLICY), POLICY, Asked(infusion="A11"))
