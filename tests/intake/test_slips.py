"""One slip of the pen in a small file costs its own cell, and no column or file."""

from collections.abc import Sequence
from pathlib import Path

import pytest

from analysis.intake import Log, read_exports
from tests.intake.logs import POLICY, write

HEADER = "Ward,Patient No,Syringe No,Driver No,Date,Rate mL/h,Volume remaining,Battery"


def log_of(
    folder: Path, batteries: Sequence[str] = (), dates: Sequence[str] = ()
) -> Log:
    rows = [
        f"Alder,P1,S1,D1,{date},0.6,{15 - i},{battery}"
        for i, (battery, date) in enumerate(
            zip(
                batteries or ["98"] * len(dates),
                dates or [f"2026-10-01 {8 + i:02}:00" for i in range(len(batteries))],
                strict=True,
            )
        )
    ]
    return read_exports([write(folder, "log.csv", HEADER, *rows)], POLICY)


@pytest.mark.parametrize(
    "batteries",
    [
        pytest.param(["98", "98", "980"], id="one of three rows"),
        pytest.param(["98", "250", "97", "97"], id="between others"),
    ],
)
def test_one_impossible_battery_is_a_cell_set_aside(
    tmp_path: Path, batteries: list[str]
) -> None:
    log = log_of(tmp_path, batteries)
    assert log.set_aside["reason"].tolist() == ["impossible number"]
    assert log.checks["battery_pct"].notna().sum() == len(batteries) - 1


@pytest.mark.parametrize(
    "date",
    [
        pytest.param("31/02/2026 12:00", id="30 days in no February"),
        pytest.param("45/13/2026 12:00", id="neither day nor month"),
    ],
)
@pytest.mark.parametrize("others", [1, 2, 4])
def test_one_impossible_date_among_others_is_one_row_rejected(
    tmp_path: Path, date: str, others: int
) -> None:
    good = [f"2026-10-01 {8 + i:02}:00" for i in range(others)]
    log = log_of(tmp_path, dates=[*good, date])
    assert log.rejected["reason"].tolist() == ["time not readable"]
    assert len(log.checks) == others
