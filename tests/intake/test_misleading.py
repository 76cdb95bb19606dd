"""Exports that mislead: asked about or left out by name, and never read wrongly.

Every service, ward, person and number here is invented.
"""

import datetime as dt
import re
from collections.abc import Sequence
from pathlib import Path

import pytest
import xlsxwriter

from analysis.errors import InputError, LayoutError
from analysis.intake import read_exports
from analysis.intake.layout_file import parse_layout
from analysis.policy import Policy
from tests.intake.exports import printed, read, write

TIMES = (8, 12, 16, 20)
VOLUMES = (16, 13.6, 11.2, 8.8)


def table(header: str, *values: str) -> str:
    """Give a log of four checks with one more column."""
    lines = [f"Ward,Patient,Checked at,Volume left,{header}"]
    lines += [
        f"Amber,K1,14/09/2026 {hour:02d}:00,{ml},{value}"
        for hour, ml, value in zip(TIMES, VOLUMES, values, strict=True)
    ]
    return "\n".join(lines) + "\n"


NOT_USED = [
    pytest.param("Rate ml/min", "0.01", "set_rate_ml_h", id="a rate per minute"),
    pytest.param("Rate mg/h", "2.5", "set_rate_ml_h", id="a rate of the drug"),
    pytest.param("Rate (\u00b5L/h)", "6", "set_rate_ml_h", id="a rate in microlitres"),
    pytest.param("Prescribed rate ml/h", "0.6", "set_rate_ml_h", id="a rate ordered"),
    pytest.param("Previous rate ml/h", "0.6", "set_rate_ml_h", id="the rate before"),
    pytest.param("Breakthrough volume given", "1", "volume_delivered_ml",
                 id="what was given beside the infusion"),
    pytest.param("Volume given since last check", "2.4", "volume_delivered_ml",
                 id="what was given since the check before"),
    pytest.param("Driver not running", "N", "running", id="not running"),
    pytest.param("Box unlocked", "N", "lockbox_locked", id="unlocked"),
    pytest.param("Label missing", "N", "label_present", id="a label missing"),
    pytest.param("Battery", "4", "battery_pct", id="bars of a battery"),
    pytest.param("Site not OK", "N", "site_signs", id="a site that is not well"),
]  # fmt: skip


@pytest.mark.parametrize(("header", "value", "column"), NOT_USED)
def test_a_column_that_only_sounds_like_another_is_named_and_not_used(
    tmp_path: Path, header: str, value: str, column: str
) -> None:
    log = read(tmp_path, {"log.csv": table(header, *[value] * 4)})
    assert column not in log.columns["checks"]
    assert f"log.csv: columns read and not used: {header}." in log.notes


NO_VOLUME = [
    pytest.param("Volume left (L)", id="litres"),
    pytest.param("Volume left (mg)", id="milligrams"),
    pytest.param("Expected volume remaining", id="what should be left"),
    pytest.param("Previous volume left", id="what was left before"),
]


@pytest.mark.parametrize("header", NO_VOLUME)
def test_what_is_no_reading_of_the_volume_is_asked_about(
    tmp_path: Path, header: str
) -> None:
    text = table("Rate ml/h", *["0.6"] * 4).replace("Volume left", header)
    with pytest.raises(InputError, match="has no column volume_remaining_ml"):
        read(tmp_path, {"log.csv": text})


def test_a_scheduled_time_is_not_that_of_the_check(tmp_path: Path) -> None:
    text = table("Rate ml/h", *["0.6"] * 4).replace("Checked at", "Scheduled time")
    with pytest.raises(InputError, match="has no column checked_at"):
        read(tmp_path, {"log.csv": text})


# --- layouts that lie -----------------------------------------------------------------

LAYOUT = """\
{top}[[table]]
holds = "checks"
date_order = "dmy"
clock = "24"
decimal = "."
{keys}
[table.columns]
ward = "Ward"
patient_id = "Patient"
checked_at = "Checked at"
set_rate_ml_h = "Rate ml/h"
volume_remaining_ml = "Volume left"
{more}
"""


def layout(top: str = "", keys: str = "", more: str = "") -> str:
    return LAYOUT.format(top=top, keys=keys, more=more)


LIES = [
    pytest.param(layout(top='zone = "Mars/Base"\n'), "zone reads 'Mars/Base'",
                 id="a zone that is none"),
    pytest.param(layout(top='zone = "../../passwd"\n'), "zone reads",
                 id="a zone that is a path"),
    pytest.param(layout(more='[table.digits]\npatient_id = true'),
                 "digits.patient_id must be a whole number from 0 to 30",
                 id="true for a number of digits"),
    pytest.param(layout(more='[table.digits]\npatient_id = "four"'),
                 "digits.patient_id must be a whole number from 0 to 30",
                 id="a word for a number of digits"),
    pytest.param(layout(more='[table.digits]\npatient_id = 1000000000'),
                 "whole number from 0 to 30", id="more digits than memory"),
    pytest.param(layout(more='[table.words.running]\nGreen = "explode"'),
                 "words.running.Green means 'explode', which is none of yes, no",
                 id="words that mean nothing"),
    pytest.param(layout(more='[table.words.ward]\nA = "B"'),
                 "ward has no closed list of words", id="words of a name"),
    pytest.param(layout(more='[table.constants]\nbanana = "3"'),
                 "constants.banana is no column", id="a constant of no column"),
    pytest.param(layout(more='[table.constants]\nward = "B"'),
                 "ward stands under both columns and constants", id="two wards"),
    pytest.param(layout(more='[table.units]\nvolume_remaining_ml = "L"'),
                 "a unit can be given of set_rate_ml_h and battery_pct only",
                 id="a unit of a volume"),
    pytest.param(layout(more='volume_delivered_ml = "Volume left"'),
                 "'Volume left' is named as volume_remaining_ml and volume_delivered",
                 id="one header for what is left and what was given"),
    pytest.param(layout(more='battery_pct = ["Rate ml/h", "Ward"]'),
                 "battery_pct names 2 headers", id="two headers for one number"),
    pytest.param(layout(more='driver_id = []'), "driver_id names no header",
                 id="a column of no header"),
    pytest.param(layout(keys='fill_down = ["Volume left"]'),
                 "fill_down: 'Volume left' holds readings", id="readings filled down"),
    pytest.param(layout(keys='contents_of = [[]]'), "contents_of names no header",
                 id="a drug of no header"),
    pytest.param('[[table]]\nholds = "checks"\ncolumns = "x"',
                 "columns must be a table", id="columns that are a text"),
    pytest.param(layout().replace('"checks"', '"items"'),
                 "names no item, which a table of items needs", id="no items in it"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "says"), LIES)
def test_a_layout_that_cannot_be_is_refused_as_it_is_loaded(
    text: str, says: str
) -> None:
    with pytest.raises(LayoutError, match=re.escape(says)) as refused:
        parse_layout(text, "layout.toml")
    head, *points = str(refused.value).splitlines()
    assert head.startswith("layout.toml:")
    assert (head == "layout.toml:") == (len(points) > 1)
    for n, point in enumerate(points, 1):
        assert point.startswith(f"  {n}. table 1 (from line 1): ")


MISFITS = [
    pytest.param('ditto = ["Nope"]', "has no column 'Nope'", id="marks under nothing"),
    pytest.param('encoding = "rot13"', "no encoding 'rot13'", id="no code of text"),
    pytest.param('encoding = "idna"', "no encoding 'idna'", id="a code of names"),
    pytest.param('encoding = "a\\u0000b"', "no encoding", id="no name of a code"),
]


@pytest.mark.parametrize(("keys", "says"), MISFITS)
def test_a_layout_that_does_not_fit_the_file_ends_in_one_sentence(
    tmp_path: Path, keys: str, says: str
) -> None:
    files = {"log.csv": table("Rate ml/h", *["0.6"] * 4)}
    with pytest.raises(InputError, match=f"log.csv: .*{says}"):
        read(tmp_path, files, layout(keys=keys))


AGAINST = [
    pytest.param(
        layout().replace("volume_remaining_ml", "volume_delivered_ml"),
        r"Volume left is named as volume_delivered_ml, but falls .*\(3 down, 0 up\)",
        id="what is left taken for what was given",
    ),
    pytest.param(
        layout(more='[table.units]\nset_rate_ml_h = "mL/24 h"'),
        "Rate ml/h is said to be in mL/24 h, .* as in mL/h",
        id="a rate per hour taken for one per day",
    ),
]


@pytest.mark.parametrize(("text", "says"), AGAINST)
def test_a_layout_that_the_values_contradict_is_refused(
    tmp_path: Path, text: str, says: str
) -> None:
    with pytest.raises(InputError, match=f"log.csv: {says}; correct the layout"):
        read(tmp_path, {"log.csv": table("Rate ml/h", *["0.6"] * 4)}, text)


def test_what_was_given_since_the_last_check_is_no_running_total(
    tmp_path: Path,
) -> None:
    text = table("Rate ml/h", *["0.6"] * 4).replace("Volume left", "Volume given")
    for old, new in zip(VOLUMES, (0.1, 2.4, 2.3, 2.5), strict=True):
        text = text.replace(f",{old},", f",{new},")
    with pytest.raises(InputError, match="Volume given does not show which way"):
        read(tmp_path, {"log.csv": text})


# --- dates and marks ------------------------------------------------------------------

MOMENT = "dd/mm/yyyy hh:mm"


def opened(path: Path, dates: Sequence[object]) -> Path:
    """Write a sheet of which some dates are real and others text."""
    with xlsxwriter.Workbook(path, {"default_date_format": MOMENT}) as book:
        sheet = book.add_worksheet("Log")
        sheet.write_row(0, 0, ["Ward", "Patient", "Checked at", "Volume left"])
        for i, date in enumerate(dates):
            sheet.write_row(i + 1, 0, ["Amber", "K1", date, 16 - i])
    return path


def day(year: int, month: int, of_month: int, hour: int = 8) -> dt.datetime:
    return dt.datetime(year, month, of_month, hour)  # noqa: DTZ001 - a sheet has no zone


def test_days_taken_for_months_by_a_spreadsheet_are_refused(tmp_path: Path) -> None:
    # 11/09, 12/09 and 13/09/2026, opened where the month comes first.
    dates = [day(2026, 11, 9), day(2026, 12, 9), "13/09/2026 08:00"]
    path = opened(tmp_path / "log.xlsx", dates)
    says = "took the day for the month"
    with pytest.raises(InputError, match=rf"log.xlsx!Log, Checked at: .*{says}"):
        read_exports([path], Policy.example())
    told = parse_layout(printed([path]), "layout")
    with pytest.raises(InputError, match=says):
        read_exports([path], Policy.example(), told)


def test_typed_dates_among_real_ones_take_no_midnight_away(tmp_path: Path) -> None:
    dates = [day(2026, 9, 14), "14/09/2026 12:00", day(2026, 9, 15, 0)]
    log = read_exports([opened(tmp_path / "log.xlsx", dates)], Policy.example())
    assert log.checks["checked_at"].dt.hour.tolist() == [8, 12, 0]


SHORT = "Ward,Patient,Checked at,Volume left\n" + "".join(
    f"Amber,K1,{{}} {hour:02d}:00,{ml}\n"
    for hour, ml in zip(TIMES, VOLUMES, strict=True)
)


@pytest.mark.parametrize(
    ("days", "says"),
    [
        pytest.param(["26-09-14"] * 4, "two-digit years may stand first",
                     id="one day with its year in two digits first"),
        pytest.param(["25/12/31", "26/01/01", "26/01/01", "26/01/01"],
                     "two-digit years may stand first", id="two days of two years"),
        pytest.param(["2026-03-04", "2026-03-04", "2026-03-04", "2026-14-04"],
                     "the year first and then the day", id="the month at the end"),
    ],
)  # fmt: skip
def test_a_year_that_stands_first_is_not_taken_for_a_day(
    tmp_path: Path, days: list[str], says: str
) -> None:
    with pytest.raises(InputError, match=says):
        read(tmp_path, {"log.csv": SHORT.format(*days)})


NIGHT = """\
Ward,Patient,Date,Time,Volume left
Amber,K1,14/09/2026,20:00,16
Amber,K1,,23:30,13.6
Amber,K1,,03:30,11.2
Amber,K1,,07:30,8.8
Amber,K1,15/09/2026,11:30,6.4
"""


def test_rows_past_midnight_under_one_date_are_told(tmp_path: Path) -> None:
    files = {"night.csv": NIGHT}
    with pytest.raises(InputError, match="many cells under Date are blank"):
        read(tmp_path, files)
    log = read(tmp_path, files, printed(write(tmp_path, files)))
    assert len(log.checks) == 5
    assert any(
        "2 rows have no Date of their own" in note and "first: line 4" in note
        for note in log.notes
    )


def test_a_ditto_mark_under_patient_is_the_patient_above(tmp_path: Path) -> None:
    text = table("Rate ml/h", *["0.6"] * 4)
    rows = text.splitlines()
    rows[2] = rows[2].replace("K1", "ditto")
    log = read(tmp_path, {"log.csv": "\n".join(rows) + "\n"})
    assert log.checks["patient_id"].tolist() == ["K1"] * 4
    rows[1] = rows[1].replace("K1", "ditto")  # nothing stands above it
    log = read(tmp_path, {"log.csv": "\n".join(rows) + "\n"})
    assert log.checks["patient_id"].tolist() == ["K1"] * 2
    assert log.rejected["source"].tolist() == ["log.csv:2", "log.csv:3"]


ONE_SLIP = """\
Ward,Patient,Date,Time,Volume left
Amber,K1,03/10/2026,08:00,16
Amber,K1,03/10/2026,12:00,13.6
Amber,K1,10/31/2026,16:00,11.2
Amber,K1,04/10/2026,08:00,8.8
"""


def test_a_slip_in_one_date_does_not_decide_the_order_of_all(tmp_path: Path) -> None:
    files = {"log.csv": ONE_SLIP}
    with pytest.raises(InputError, match="months apart, and read day first"):
        read(tmp_path, files)
    given = printed(write(tmp_path, files))
    log = read(tmp_path, files, given.replace('date_order = "?"', 'date_order = "dmy"'))
    assert log.checks["checked_at"].dt.month.unique().tolist() == [10]
    assert log.rejected["source"].tolist() == ["log.csv:4"]
    log = read(tmp_path, files, given.replace('date_order = "?"', 'date_order = "mdy"'))
    assert not len(log.rejected)


def test_months_between_two_charts_of_a_patient_leave_the_order(tmp_path: Path) -> None:
    text = ONE_SLIP.replace("10/31/2026", "05/10/2026").replace("03/10", "13/03")
    log = read(tmp_path, {"log.csv": text})
    assert log.checks["checked_at"].dt.month.unique().tolist() == [3, 10]


def test_a_year_that_is_a_slip_leaves_the_order(tmp_path: Path) -> None:
    text = ONE_SLIP.replace("10/31/2026", "13/03/2027").replace("04/10", "13/10")
    log = read(tmp_path, {"log.csv": text})
    assert log.checks["checked_at"].dt.month.tolist() == [10, 10, 10, 3]
