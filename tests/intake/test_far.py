"""A check dated years from the rest of its log: hand-made logs of a patient or two."""

from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner

from analysis.cli import steadyfall
from analysis.errors import InputError
from analysis.intake import Log, read_exports
from tests.intake.logs import HEADER, POLICY, line, read, write
from tests.tiny import audit, kinds, syringe

DAY = [f"2026-06-09T{hour:02}:00" for hour in (2, 6, 10, 14, 18, 22)]


def rows(*times: str, **cells: str) -> list[str]:
    return [line(checked_at=time, **cells) for time in times]


@pytest.mark.parametrize(
    ("extra", "far"),
    [
        pytest.param(rows("2099-06-09T22:03"), 1, id="a check in the far future"),
        pytest.param(rows("2027-06-09T22:03"), 1, id="the next year"),
        pytest.param(rows("2025-06-09T22:03"), 1, id="the year before, as in January"),
        pytest.param(rows("2026-12-09T22:03"), 0, id="half a year is not years"),
        pytest.param(
            rows("2025-06-09T03:00", "2025-06-09T07:00"),
            2,
            id="two rows of the same infusion in the year before",
        ),
        pytest.param(
            rows("2025-06-09T03:00", "2025-06-09T07:00", infusion_id="I0"),
            0,
            id="an infusion of its own a year before is one",
        ),
        pytest.param(
            rows("2061-06-09T22:03", patient_id="P2", infusion_id="I2"),
            1,
            id="the only row of its patient, and nobody near",
        ),
        pytest.param(
            rows("2026-06-08T22:03", "2061-06-08T22:03", patient_id="P2"),
            1,
            id="one of two rows, the other among the rest of the log",
        ),
        pytest.param(
            rows(*(d.replace("2026", "2024") for d in DAY), patient_id="P2"),
            0,
            id="a log of two years apart",
        ),
        pytest.param(
            [*rows("2099-06-09T22:03"), *rows("2099-06-09T22:03")],
            1,
            id="a copy of the row is no company",
        ),
    ],
)
def test_a_check_far_from_the_rest_cannot_be_placed(
    tmp_path: Path, extra: list[str], far: int
) -> None:
    for order in ([*rows(*DAY), *extra], [*extra, *rows(*DAY)]):
        log = read(tmp_path, *order)
        assert log.rejected["reason"].tolist() == ["time far from the rest"] * far
        copies = len(extra) - len(set(extra))
        assert len(log.checks) == 6 + len(extra) - far - copies
        assert log.account["exact_duplicates"].tolist() == [copies]


def test_of_very_few_rows_nothing_says_which_is_far(tmp_path: Path) -> None:
    log = read(tmp_path, *rows("2026-06-09T02:00"), *rows("2062-06-09T06:00"))
    assert len(log.checks) == 2


def test_a_far_row_that_is_corrected_is_superseded(tmp_path: Path) -> None:
    right = line(checked_at="2026-06-09T23:00", amends="checks.csv:8")
    log = read(tmp_path, *rows(*DAY), *rows("2062-06-09T23:00"), right)
    assert log.account["superseded"].tolist() == [1]
    assert len(log.rejected) == 0


def test_a_far_row_names_its_time_and_what_to_do(tmp_path: Path) -> None:
    log = read(tmp_path, *rows(*DAY), *rows("2062-06-09T23:00"))
    said = log.rejected.iloc[0]
    assert said["source"] == "checks.csv:8"
    assert "checked_at reads '2062-06-09T23:00'" in said["sentence"]
    assert said["sentence"].endswith("correct its date")


@pytest.mark.parametrize("year", ["2025", "2027", "2099"])
def test_a_wrong_year_moves_neither_the_month_nor_the_end_of_the_log(
    tmp_path: Path, year: str
) -> None:
    line = {0.0: 16.0, 4.0: 13.3, 8.0: 10.6, 12.0: 8.0, 16.0: 5.3, 20.0: 2.6, 23.9: 0.0}
    checks = syringe(line, entries={23.9: "end"})
    checks[5]["checked_at"] = str(checks[5]["checked_at"]).replace("2026", year, 1)
    result = audit(tmp_path, checks)
    assert result.month == "2026-06"
    assert result.rejected["source"].tolist() == ["checks.csv:7"]
    # The check of 20 h is not there; one was due then, and no other is missed.
    assert kinds(result) == ["check_missed"]


def test_a_file_whose_rows_are_mostly_rejected_stops_the_audit_with_the_reason(
    tmp_path: Path,
) -> None:
    good = rows(*DAY[:2])
    bad = rows("night round", "at eight", "after tea")
    path, out = write(tmp_path, "log.csv", HEADER, *good, *bad), tmp_path / "out"
    told = ["--tables-only", "--out", str(out)]
    found = CliRunner().invoke(steadyfall, ["audit", str(path), *told])
    assert isinstance(found.exception, InputError)
    assert str(found.exception).startswith(
        "log.csv: 3 of the 5 rows cannot be placed; the first, log.csv:4: "
    )
    assert "night round" in str(found.exception)
    assert not out.exists()
    # One good row more, and the rest is audited, its rejected rows told.
    path = write(tmp_path, "log.csv", HEADER, *rows(*DAY[:3]), *bad)
    found = CliRunner().invoke(steadyfall, ["audit", str(path), *told])
    assert found.exit_code == 0
    assert "6 rows read, 3 accepted, 3 rejected" in found.output


INFUSIONS = "infusion_id,ward,patient_id,started_at,planned_duration_h,ended_at"
LINES = "line_id,patient_id,ward,kind,inserted_at,removed_at"


def beside(folder: Path, name: str, *lines: str) -> Log:
    """Read a check log of one day with a table beside it."""
    checks = write(folder, "checks.csv", HEADER, *rows(*DAY))
    return read_exports([checks, write(folder, name, *lines)], POLICY)


@pytest.mark.parametrize(
    ("started", "ended", "far", "first"),
    [
        pytest.param(
            "2026-06-09T01:00", "2026-06-10T01:00", [], "2026-06-09T01:00", id="a day"
        ),
        pytest.param(
            "2025-06-09T02:00", "", ["started_at"], DAY[0], id="begun a year before"
        ),
        pytest.param(
            "", "2027-06-10T02:00", ["ended_at"], DAY[0], id="ended a year on"
        ),
        pytest.param(
            "2062-06-09T02:00",
            "2062-06-10T02:00",
            ["started_at", "ended_at"],
            DAY[0],
            id="both in another year",
        ),
        pytest.param(
            "2026-03-09T02:00", "", [], "2026-03-09T02:00", id="a wrong month is seen"
        ),
    ],
)
def test_times_of_an_infusion_years_from_its_checks_are_set_aside(
    tmp_path: Path, started: str, ended: str, far: list[str], first: str
) -> None:
    mine = f"I1,Alder ward,P1,{started},24,{ended}"
    other = "I9,Alder ward,P9,2024-06-09T02:00,24,2024-06-10T02:00"  # no check of it
    log = beside(tmp_path, "infusions.csv", INFUSIONS, mine, other)
    assert log.set_aside["column"].tolist() == far
    assert set(log.set_aside["source"]) == ({"infusions.csv:2"} if far else set())
    assert set(log.set_aside["reason"]) == (
        {"time far from the rest"} if far else set()
    )
    assert log.infusions["started_at"]["I1"] == pd.Timestamp(first, tz=POLICY.time_zone)
    assert pd.isna(log.infusions["ended_at"]["I1"]) == (not ended or bool(far))
    assert log.infusions["started_at"]["I9"].year == 2024


@pytest.mark.parametrize(
    ("cells", "far"),
    [
        pytest.param("N1,P1,,cannula,2026-06-08,2026-06-10", [], id="days apart"),
        pytest.param(
            "N1,P1,,cannula,2025-06-08,2026-06-10", ["inserted_at"], id="a year in use"
        ),
        pytest.param("N1,P1,,cannula,2025-06-08,", ["inserted_at"], id="still in use"),
        pytest.param(
            "N1,P1,,cannula,2026-06-08,2027-06-10", ["removed_at"], id="a year after"
        ),
        pytest.param("N1,P1,,cannula,2025-06-08,2025-06-10", [], id="an earlier stay"),
        pytest.param(
            "N1,P1,,cannula,2025-06-08,2027-06-10",
            ["inserted_at", "removed_at"],
            id="two years in use about one day of checks",
        ),
        pytest.param("N1,P9,,cannula,2025-06-08,", [], id="a patient without checks"),
    ],
)
def test_times_of_a_line_years_from_its_checks_are_set_aside(
    tmp_path: Path, cells: str, far: list[str]
) -> None:
    log = beside(tmp_path, "lines.csv", LINES, cells)
    assert log.set_aside["column"].tolist() == far
    for name in far:
        assert log.lines[[name, f"{name}_latest"]].isna().all(axis=None)


def test_an_infusion_is_held_against_the_checks_of_its_own_patient(
    tmp_path: Path,
) -> None:
    early = [line(checked_at=t.replace("2026", "2025"), patient_id="P2") for t in DAY]
    checks = write(tmp_path, "checks.csv", HEADER, *rows(*DAY), *early)
    table = write(
        tmp_path,
        "infusions.csv",
        INFUSIONS,
        "I1,Alder ward,P1,2025-06-09T02:00,24,",
        "I1,Alder ward,P2,2025-06-09T02:00,24,",
    )
    log = read_exports([checks, table], POLICY)
    assert log.set_aside["source"].tolist() == ["infusions.csv:2"]


def test_a_line_named_by_a_check_is_held_against_that_check(tmp_path: Path) -> None:
    lines = [line(checked_at=t) + ",N1" for t in DAY]
    checks = write(tmp_path, "checks.csv", f"{HEADER},site_id", *lines)
    both = "N1,P1,,cannula,2025-06-08,2025-06-10"  # seen in 2026
    log = read_exports([checks, write(tmp_path, "lines.csv", LINES, both)], POLICY)
    assert log.set_aside["column"].tolist() == ["inserted_at", "removed_at"]


def test_a_time_of_writing_years_from_its_check_is_set_aside(tmp_path: Path) -> None:
    lines = [line(checked_at=t) + "," + t for t in DAY[:4]]
    late = line(checked_at=DAY[4]) + "," + DAY[4].replace("2026", "2027")
    path = write(tmp_path, "checks.csv", f"{HEADER},recorded_at", *lines, late)
    log = read_exports([path], POLICY)
    assert log.set_aside["source"].tolist() == ["checks.csv:6"]
    assert log.checks["recorded_at"].notna().sum() == 4
