"""A layout that the values of a file plainly contradict is refused, not followed."""

from pathlib import Path

import pytest

from analysis.errors import InputError
from analysis.intake import Log, read_exports
from analysis.intake.layout_file import parse_layout
from tests.intake.logs import POLICY, write

HEADER = "Ward,Patient No,Infusion No,Date,Time,Rate,Volume"
ROWS = [
    f"Ash,P1,I{day},{13 + day}/10/2026,{2 + 4 * i:02}:05,0.8,{20 - 3.2 * i:.1f}"
    for day in range(3)
    for i in range(6)
]
LAYOUT = """\
[[table]]
holds = "checks"
date_order = "dmy"
clock = "24"
decimal = "."
[table.columns]
ward = "Ward"
patient_id = "Patient No"
infusion_id = "Infusion No"
checked_at = ["Date", "Time"]
set_rate_ml_h = "Rate"
volume_remaining_ml = "Volume"
[table.units]
set_rate_ml_h = "mL/h"
"""
EXCHANGED = {'"Rate"': '"Volume"', '"Volume"': '"Rate"'}


def read(folder: Path, layout: str, rows: list[str] = ROWS) -> Log:
    path = write(folder, "log.csv", HEADER, *rows)
    return read_exports([path], POLICY, parse_layout(layout, "layout"))


def test_the_layout_as_it_should_be_is_followed(tmp_path: Path) -> None:
    assert len(read(tmp_path, LAYOUT).checks) == len(ROWS)


def test_a_rate_exchanged_with_a_volume_is_refused(tmp_path: Path) -> None:
    lines = [
        line.replace(old, EXCHANGED[old])
        for line in LAYOUT.splitlines()
        for old in [next((o for o in EXCHANGED if o in line), "")]
        if old
    ]
    swapped = LAYOUT.replace('set_rate_ml_h = "Rate"', lines[0])
    swapped = swapped.replace('volume_remaining_ml = "Volume"', lines[1])
    with pytest.raises(InputError, match="the two are exchanged; correct the layout"):
        read(tmp_path, swapped)


def test_a_clock_of_12_hours_for_times_past_noon_is_refused(tmp_path: Path) -> None:
    with pytest.raises(
        InputError, match=r'9 of 18 are past 12:59 .*write clock = "24"'
    ):
        read(tmp_path, LAYOUT.replace('clock = "24"', 'clock = "12"'))


def test_a_time_past_noon_in_a_log_of_12_hours_is_read(tmp_path: Path) -> None:
    early = [row for row in ROWS if ",02:" in row or ",06:" in row or ",10:" in row]
    rows = [row.replace(":05,", ":05 am,") for row in early]
    rows += [*(row.replace("/10/", "/11/") for row in rows), ROWS[-1]]
    log = read(tmp_path, LAYOUT.replace('clock = "24"', 'clock = "12"'), rows)
    assert len(log.checks) == len(rows)


def test_a_layout_that_places_no_row_says_what_to_do(tmp_path: Path) -> None:
    partial = '[[table]]\nholds = "checks"\n[table.columns]\n'
    with pytest.raises(InputError, match=r"name the right columns in a layout$"):
        read(tmp_path, f'{partial}volume_remaining_ml = "Volume"\n')
