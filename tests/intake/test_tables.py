"""Which table a file holds, what places a row, and infusions without an id."""

from pathlib import Path

import pandas as pd
import pytest

from analysis.intake import read_exports
from tests.intake.logs import COLUMNS, HEADER, POLICY, canonical, line, read, write

TIMES = [f"2026-10-01T{hour:02d}:00" for hour in (4, 8, 12, 16, 20)]


def by_hour(**cells: str) -> list[str]:
    """Write five rows of one syringe; derived from driver where no id is given."""
    rows = []
    for time, left in zip(TIMES, (16, 13.3, 10.7, 8, 5.3), strict=True):
        entry = "start" if left == 16 else "check"
        own = {"checked_at": time, "volume_remaining_ml": f"{left:g}", "entry": entry}
        rows.append(line(own | cells))
    return rows


def test_a_split_or_permuted_log_gives_the_same_tables(tmp_path: Path) -> None:
    old = [line(checked_at=TIMES[4], infusion_id="", entry="end")]
    new = [line(checked_at=TIMES[4], infusion_id="", entry="start", note="new")]
    rows = (
        by_hour(infusion_id="") + old + new + by_hour(patient_id="P2", infusion_id="Z")
    )
    whole = read(tmp_path, *rows)
    split = read_exports(
        [
            write(tmp_path, "a.csv", HEADER, *rows[::-2]),
            write(tmp_path, "b.csv", HEADER.upper(), *rows[-2::-2]),
        ],
        POLICY,
    )
    pd.testing.assert_frame_equal(canonical(whole.checks), canonical(split.checks))
    pd.testing.assert_frame_equal(whole.infusions, split.infusions)


def test_derived_ids_do_not_change_when_rows_are_added(tmp_path: Path) -> None:
    first = read(tmp_path, *by_hour(infusion_id=""))
    larger = line(
        checked_at="2026-10-02T08:00", volume_remaining_ml="48", infusion_id=""
    )
    more = read(tmp_path, *by_hour(infusion_id=""), larger)
    ids = first.checks["infusion_id"].tolist()
    assert len(set(ids)) == 1
    assert ids[0].startswith("derived-")
    assert set(first.checks["infusion_note"]) == {"derived"}
    assert more.checks["infusion_id"].tolist()[:5] == ids
    assert more.checks["infusion_id"].iloc[5] not in ids


@pytest.mark.parametrize(
    ("readings", "starts", "runs"),
    [
        pytest.param(
            (16, 12, "", ""), (0, 0, 2, 2), 2, id="another start, and no reading"
        ),
        pytest.param(
            (16, 12, 16, 13), (0, 0, 2, 2), 2, id="changed early: a small rise"
        ),
        pytest.param(
            (16, 12, 9, 6), (0, 1, 2, 3), 1, id="a start each visit, and less is left"
        ),
        pytest.param(
            (16, 12, "", ""), (0, 0, 1, 1), 1, id="a start before the row above"
        ),
    ],
)
def test_a_start_named_since_the_row_before_begins_a_syringe(
    tmp_path: Path, readings: tuple[object, ...], starts: tuple[int, ...], runs: int
) -> None:
    rows = [
        f"Alder,P1,D1,{time},{left},2026-10-01T{4 * start + 3:02d}:30"
        for time, left, start in zip(TIMES, readings, starts, strict=False)
    ]
    header = "ward,patient_id,driver_id,checked_at,volume_remaining_ml,started_at"
    checks = read_exports([write(tmp_path, "a.csv", header, *rows)], POLICY).checks
    assert checks["infusion_id"].nunique() == runs


def test_two_patients_on_one_driver_at_one_time_are_two_infusions(
    tmp_path: Path,
) -> None:
    rows = by_hour(infusion_id="") + by_hour(infusion_id="", patient_id="P2")
    checks = read(tmp_path, *rows).checks
    assert checks.groupby("infusion_id")["patient_id"].nunique().tolist() == [1, 1]


@pytest.mark.parametrize("blank", ["ward", "patient_id"])
def test_other_rows_of_the_infusion_place_a_row(tmp_path: Path, blank: str) -> None:
    log = read(tmp_path, line(), line(**{blank: "", "checked_at": TIMES[2]}))
    assert log.rejected.empty
    assert len(set(log.checks[blank])) == 1


def test_rows_without_a_driver_beside_two_drivers_are_kept_and_counted(
    tmp_path: Path,
) -> None:
    rows = by_hour(infusion_id="") + by_hour(infusion_id="", driver_id="D2")
    lost = line(infusion_id="", driver_id="", checked_at="2026-10-01T10:00")
    log = read(tmp_path, *rows, lost)
    assert (log.checks["infusion_id"] == "").sum() == 1
    assert any("1 rows name no driver" in note for note in log.notes)


def test_unknown_columns_are_noted(tmp_path: Path) -> None:
    path = write(tmp_path, "checks.csv", HEADER + ",weather", line() + ",rain")
    notes = read_exports([path], POLICY).notes
    assert any("weather" in note for note in notes)
    assert len(COLUMNS) == HEADER.count(",") + 1
