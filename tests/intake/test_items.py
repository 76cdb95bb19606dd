"""A table with a row an item: its unit is read, and no value of it is lost unsaid."""

from pathlib import Path

import pandas as pd
import pytest

from analysis.errors import InputError
from analysis.intake import Log, read_exports
from analysis.intake.exports import read_raws
from analysis.intake.layout_file import parse_layout
from analysis.intake.layout_text import to_toml
from analysis.intake.recognise import propose_all
from tests.intake.logs import POLICY, write

HEADER = "Ward,MRN,Syringe No,Item,Value,Unit,Taken at"
TIMES = [f"2026-10-13 {hour:02}:05" for hour in (0, 4, 8, 12)]
ROWS = [
    f"Ash,P1,I1,{item},{value},{unit},{time}"
    for i, time in enumerate(TIMES)
    for item, value, unit in [
        ("Volume left", f"{20 - 3.2 * i:.1f}", "mL"),
        ("Rate", "0.8", "mL/h"),
        ("Battery", str(98 - i), "%"),
    ]
]


def read(folder: Path, rows: list[str]) -> Log:
    return read_exports([write(folder, "log.csv", HEADER, *rows)], POLICY)


@pytest.mark.parametrize("unit", ["%", "mg", "mm", "cm", "drops", "V"])
def test_a_volume_in_another_unit_is_set_aside(tmp_path: Path, unit: str) -> None:
    rows = [row.replace("13.6,mL", f"13.6,{unit}") for row in ROWS]
    log = read(tmp_path, rows)
    assert log.checks["volume_remaining_ml"].fillna(-1).tolist() == [20, 16.8, -1, 10.4]
    assert log.set_aside["source"].tolist() == ["log.csv:8"]
    assert f"'13.6' in '{unit}', and not in mL" in log.set_aside["sentence"].iloc[0]


def test_a_rate_or_a_battery_in_another_unit_is_set_aside(tmp_path: Path) -> None:
    rows = [*ROWS]
    rows[1] = rows[1].replace("mL/h", "mm/h")
    rows[2] = rows[2].replace("%", "V")
    log = read(tmp_path, rows)
    assert log.checks[["set_rate_ml_h", "battery_pct"]].isna().sum().tolist() == [1, 1]
    assert len(log.set_aside) == 2
    assert not len(log.rejected)


@pytest.mark.parametrize("unit", ["", "ml", "mls", "(mL)", "millilitres"])
def test_a_volume_in_ml_or_without_a_unit_is_read(tmp_path: Path, unit: str) -> None:
    log = read(tmp_path, [row.replace("13.6,mL", f"13.6,{unit}") for row in ROWS])
    assert not log.checks["volume_remaining_ml"].isna().any()
    assert not len(log.set_aside)


@pytest.mark.parametrize(
    "time",
    [
        pytest.param(TIMES[1], id="at the time of other items"),
        pytest.param("2026-10-13 10:05", id="at a time of its own"),
    ],
)
def test_a_value_beside_no_item_stands_in_the_ledger(tmp_path: Path, time: str) -> None:
    log = read(tmp_path, [*ROWS, f"Ash,P1,I1,,12,mL,{time}"])
    assert log.set_aside["source"].tolist() == ["log.csv:14"]
    assert log.set_aside["sentence"].tolist() == ["no Item says what '12' is; it is "
                                                  "not used"]  # fmt: skip
    volumes = pd.Series([20, 16.8, 13.6, 10.4])
    assert log.checks["volume_remaining_ml"].tolist() == pytest.approx(volumes)


def test_two_values_of_an_item_at_one_time_are_a_contradiction(tmp_path: Path) -> None:
    log = read(tmp_path, [*ROWS, f"Ash,P1,I1,Volume left,9.9,mL,{TIMES[1]}"])
    assert log.set_aside["reason"].tolist() == ["contradiction"] * 2


def test_items_that_nobody_knows_are_asked_item_by_item(tmp_path: Path) -> None:
    names = {"Volume left": "SD what", "Rate": "SD pace", "Battery": "SD power"}
    rows = list(ROWS)
    for known, own in names.items():
        rows = [row.replace(f",{known},", f",{own},") for row in rows]
    with pytest.raises(InputError, match=r"'SD what' \(4\), .*under \[table.items\]"):
        read(tmp_path, rows)
    path = write(tmp_path, "log.csv", HEADER, *rows)
    printed = to_toml(propose_all(read_raws([path])))
    assert 'holds = "items"' in printed
    layout = parse_layout(printed.replace('["?"]', '"SD what"'), "layout")
    log = read_exports([path], POLICY, layout)
    assert log.checks["volume_remaining_ml"].tolist() == [20, 16.8, 13.6, 10.4]
