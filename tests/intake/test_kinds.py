"""What a row of a table is, where a check log also says things of lines or infusions.

Every service, ward, person and number here is invented.
"""

from pathlib import Path

import pytest

from tests.intake.exports import read
from tests.intake.test_unseen import THREE

CLOCKS = ("00:05", "04:05", "08:05", "12:05")
VOLUMES = (20.0, 16.8, 13.6, 10.4)


def log_of(more: str, value: str) -> str:
    """Give a log of two infusions, with more columns before those of the check."""
    rows = [
        f"Amber,K{n},{value.format(n)},13/10/2026,{clock},{volume}"
        for n in (1, 2)
        for clock, volume in zip(CLOCKS, VOLUMES, strict=True)
    ]
    head = f"Ward,Patient,{more},Date,Time,Volume left"
    return "\n".join([head, *rows]) + "\n"


LOGS = [
    pytest.param("Infusion No,Started at,Start volume",
                 "I{},13/10/2026 00:00,20", id="start and fill of each infusion"),
    pytest.param("Line No,Kind,Inserted at", "E{},Extension set,12/10/2026 10:00",
                 id="the line in use"),
    pytest.param("Line changed", "12/10/2026", id="a date of a change of line"),
    pytest.param("Site changed", "12/10/2026", id="a date of a change of site"),
    pytest.param("Cannula No,Date inserted", "C{},12/10/2026", id="the cannula in use"),
]  # fmt: skip


@pytest.mark.parametrize(("more", "value"), LOGS)
def test_times_and_volumes_of_checks_make_a_check_log(
    tmp_path: Path, more: str, value: str
) -> None:
    log = read(tmp_path, {"log.csv": log_of(more, value), **THREE})
    mine = log.checks[log.checks["file"] == "log.csv"]
    assert sorted(mine["volume_remaining_ml"]) == sorted(VOLUMES * 2)
    assert mine["checked_at"].dt.strftime("%H:%M").unique().tolist() == list(CLOCKS)


@pytest.mark.parametrize(
    ("column", "kind"),
    [("Line changed", "extension_set"), ("Site changed", "cannula")],
)
def test_a_dated_change_on_checks_is_since_when_the_line_is_in(
    tmp_path: Path, column: str, kind: str
) -> None:
    log = read(tmp_path, {"log.csv": log_of(column, "12/10/2026")})
    assert log.lines["kind"].tolist() == [kind] * 2
    assert log.lines["inserted_at"].dt.strftime("%d/%m").tolist() == ["12/10"] * 2


def test_one_row_an_infusion_is_no_check_log(tmp_path: Path) -> None:
    text = """\
Infusion No,Ward,Patient,Date,Time,Volume,Duration (h),Diluent
R1,Amber,K1,14/09/2026,08:00,16,24,Water
R2,Amber,K1,15/09/2026,08:00,16,24,Water
"""
    log = read(tmp_path, {**THREE, "more.csv": text})
    assert not (log.checks["file"] == "more.csv").any()
    assert log.infusions.loc["R1", "diluent"] != ""


def test_several_rows_an_infusion_with_a_drug_each_are_no_check_log(
    tmp_path: Path,
) -> None:
    text = """\
Infusion No,Ward,Patient,Started at,Date,Start volume,Drug,Volume
R1,Amber,K1,14/09/2026 08:00,14/09/2026,16,morphine,1
R1,Amber,K1,14/09/2026 08:00,14/09/2026,16,midazolam,2
R2,Amber,K1,15/09/2026 08:00,15/09/2026,16,morphine,1
R2,Amber,K1,15/09/2026 08:00,15/09/2026,16,midazolam,2
"""
    log = read(tmp_path, {**THREE, "more.csv": text})
    assert not (log.checks["file"] == "more.csv").any()
