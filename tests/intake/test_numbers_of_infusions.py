"""Infusions numbered anew for each patient or driver: hand-made exports.

Common practice, no source: on paper charts the syringes of a patient are numbered from
one.
"""

from pathlib import Path

import pytest

from analysis.errors import InputError
from analysis.intake import Log, read_exports
from tests.intake.logs import HEADER, POLICY, line, write

HOURS = ("02", "06", "10", "14", "18", "22")
#: A syringe of 17 mL over 24 h.
DAY = ("17", "14.2", "11.4", "8.5", "5.7", "2.8")
TABLE = "infusion_id,ward,patient_id,started_at,planned_duration_h,start_volume_ml"


def day(number: str, patient: str, driver: str, date: str = "2026-06-09") -> list[str]:
    return [
        line(
            checked_at=f"{date}T{hour}:00",
            infusion_id=number,
            patient_id=patient,
            driver_id=driver,
        )
        for hour in HOURS
    ]


def log_of(folder: Path, checks: list[str], header: str, table: list[str]) -> Log:
    paths = [
        write(folder, "checks.csv", HEADER, *checks),
        write(folder, "infusions.csv", header, *table),
    ]
    return read_exports(paths, POLICY)


@pytest.mark.parametrize(
    ("checks", "ids"),
    [
        pytest.param(
            [*day("1", "P1", "D1"), *day("1", "P2", "D1", "2026-06-10")],
            ["P1/1", "P2/1"],
            id="one driver goes from patient to patient: the patient tells them apart",
        ),
        pytest.param(
            [*day("1", "P1", "D1"), *day("1", "P1", "D2")],
            ["P1/D1/1", "P1/D2/1"],
            id="two drivers at once on one patient: the driver is needed too",
        ),
        pytest.param(
            [*day("1", "P1", "D1"), *day("1", "P1", "D2"), *day("1", "P2", "D1")],
            ["P1/D1/1", "P1/D2/1", "P2/D1/1"],
            id="two patients, one of them with two drivers",
        ),
        pytest.param(
            [*day("1", "P1", "D1"), *day("2", "P2", "D1")],
            ["1", "2"],
            id="numbers that stand under one patient each are ids",
        ),
    ],
)
def test_a_number_is_a_name_or_is_one_with_patient_and_driver(
    tmp_path: Path, checks: list[str], ids: list[str]
) -> None:
    log = read_exports([write(tmp_path, "checks.csv", HEADER, *checks)], POLICY)
    assert log.infusions.index.tolist() == ids


def test_a_table_of_infusions_is_brought_together_with_numbered_checks(
    tmp_path: Path,
) -> None:
    checks = [*day("1", "P1", "D1"), *day("1", "P2", "D2"), *day("2", "P2", "D2")]
    # Its own two numbers stand under one patient each.
    table = ["1,Alder ward,P1,2026-06-09T01:00,24,17", "2,Alder ward,P2,,24,18"]
    log = log_of(tmp_path, checks, TABLE, table)
    assert log.infusions["start_volume_ml"].dropna().to_dict() == {
        "P1/1": 17.0,
        "P2/2": 18.0,
    }


def test_a_table_that_lacks_the_column_is_asked_about(tmp_path: Path) -> None:
    checks = [*day("1", "P1", "D1"), *day("1", "P1", "D2"), *day("1", "P2", "D1")]
    with pytest.raises(InputError) as refused:
        log_of(tmp_path, checks, TABLE, ["1,Alder ward,P1,2026-06-09T01:00,24,17"])
    assert str(refused.value).startswith(
        "infusions.csv: checks.csv names infusions by patient_id and driver_id and "
        "their number, and here is no column driver_id: the two cannot be brought "
        "together; add it, or leave this file out"
    )


def test_a_slip_in_a_driver_names_no_infusion_anew(tmp_path: Path) -> None:
    checks = [row for n in range(1, 8) for row in day("1", f"P{n}", f"D{n}")]
    checks[3] = checks[3].replace(",D1,", ",D9,")
    log = read_exports([write(tmp_path, "checks.csv", HEADER, *checks)], POLICY)
    assert log.infusions.index.tolist() == [f"P{n}/1" for n in range(1, 8)]


def test_a_driver_that_is_exchanged_parts_no_infusion(tmp_path: Path) -> None:
    checks = [
        row.replace(",D1,", ",D7,") if hour > 2 and n <= 3 else row
        for n in range(1, 7)
        for hour, row in enumerate(day(f"I{n}", "P1", "D1", f"2026-06-{8 + n:02}"))
    ]
    log = read_exports([write(tmp_path, "checks.csv", HEADER, *checks)], POLICY)
    assert log.infusions.index.tolist() == [f"I{n}" for n in range(1, 7)]


def test_ditto_marks_are_no_other_patient(tmp_path: Path) -> None:
    first, *rest = [line(checked_at=f"2026-06-09T{hour}:00") for hour in HOURS]
    checks = [first, *(row.replace(",P1,", ",ditto,") for row in rest)]
    log = read_exports([write(tmp_path, "checks.csv", HEADER, *checks)], POLICY)
    assert log.infusions.index.tolist() == ["I1"]


def course(*entries: str, second: tuple[str, ...] = DAY) -> list[str]:
    """Give two days under one id: the entry at each change, and the second day."""
    days = [("2026-06-09", DAY), ("2026-06-10", second)]
    return [
        line(
            checked_at=f"{date}T{hour}:00",
            infusion_id="C1",
            entry=entry if hour == HOURS[0] else "check",
            volume_remaining_ml=volume,
        )
        for entry, (date, volumes) in zip(entries, days, strict=True)
        for hour, volume in zip(HOURS, volumes, strict=True)
    ]


@pytest.mark.parametrize(
    ("rows", "wanted"),
    [
        pytest.param(
            course("start", "syringe_change"),
            {"C1": 6, "C1 from 2026-06-10 02:00": 6},
            id="a change of syringe with what the new one holds",
        ),
        pytest.param(
            course("start", "start"),
            {"C1": 6, "C1 from 2026-06-10 02:00": 6},
            id="another start",
        ),
        pytest.param(
            course("start", "syringe_change", second=("", *DAY[1:])),
            {"C1": 6, "C1 from 2026-06-10 02:00": 6},
            id="a change of syringe without a volume",
        ),
        pytest.param(
            course("start", "syringe_change", second=("0.4", *DAY[1:])),
            {"C1": 7, "C1 from 2026-06-10 06:00": 5},
            id="a change of syringe with what the old one had left",
        ),
        pytest.param(
            course("start", "syringe_change")[:7],
            {"C1": 7},
            id="a change with no row after it ends the infusion",
        ),
        pytest.param(
            course("start", "check"),
            {"C1": 12},
            id="a rise without an entry is left to the delivery stage",
        ),
        pytest.param(
            course("check", "start")[1:],
            {"C1": 11},
            id="one start alone, among rows: its time may be wrong",
        ),
        pytest.param(
            course("start", "start", second=("2.4", "2.1", "1.8", "1.5", "1", "0.6")),
            {"C1": 12},
            id="a start without a rise: the same syringe started again",
        ),
        pytest.param(
            [*course("start", "check")[:1], *course("start", "check")[:6]],
            {"C1": 6},
            id="a start charted twice, of which one is an exact duplicate",
        ),
    ],
)
def test_an_id_that_goes_on_over_a_change_of_syringe_is_parted(
    tmp_path: Path, rows: list[str], wanted: dict[str, int]
) -> None:
    log = log_of(tmp_path, rows, TABLE, ["C1,Alder Ward,P1,2026-06-09T02:00,24,17"])
    assert log.infusions["checks"].to_dict() == wanted
    said = [note for note in log.notes if "go on over a change of syringe" in note]
    assert len(said) == len(wanted) - 1
