"""Dates and times in charts: read to ISO 8601 text, or refused with the reason."""

import datetime as dt

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.intake.clocks import Clock
from analysis.intake.conventions import decide_clock, decide_order
from analysis.intake.dates import read_clock
from analysis.intake.day_and_time import Order


def texts(*cells: str) -> pd.Series:
    return pd.Series(list(cells), dtype="str")


def read(date: str, time: str | None = None, **how: str) -> tuple[str, str]:
    beside = None if time is None else texts(time)
    order, clock = how.get("order", "dmy"), how.get("clock", "24")
    iso, why = read_clock(texts(date), beside, order=order, clock=clock)
    return str(iso.iloc[0]), str(why.iloc[0])


@pytest.mark.parametrize(
    ("cell", "order", "wanted"),
    [
        pytest.param("14.09.2026 13:05", "dmy", "2026-09-14T13:05", id="points"),
        pytest.param("9/14/2026 14:05", "mdy", "2026-09-14T14:05", id="month first"),
        pytest.param("21/09/2026", "dmy", "2026-09-21", id="a day alone stays a day"),
        pytest.param("14/9/26 16.30", "dmy", "2026-09-14T16:30", id="two-digit year"),
        pytest.param("14-Sep-26 09:15", "ymd", "2026-09-14T09:15", id="month by name"),
        pytest.param(
            "Sep 14, 2026 1:05 pm", "ymd", "2026-09-14T13:05", id="name first"
        ),
        pytest.param("Mon 14/09/2026 7:05", "dmy", "2026-09-14T07:05", id="weekday"),
        pytest.param("13:05 14/09/2026", "dmy", "2026-09-14T13:05", id="time first"),
        pytest.param("14/09/2026, 13:05", "dmy", "2026-09-14T13:05", id="a comma"),
        pytest.param(
            "26-09-14 10:00", "ymd", "2026-09-14T10:00", id="short year first"
        ),
        pytest.param("46279", "dmy", "2026-09-14", id="day number of a spreadsheet"),
        pytest.param("46279.5625", "dmy", "2026-09-14T13:30", id="with part of a day"),
        pytest.param("31/12/2026 24:00", "dmy", "2027-01-01T00:00", id="24:00"),
        pytest.param("29/02/2028 10:00", "dmy", "2028-02-29T10:00", id="a leap day"),
        pytest.param(
            "01/01/2000 00:00", "dmy", "2000-01-01T00:00", id="first day read"
        ),
        pytest.param("31/12/2099 23:59", "dmy", "2099-12-31T23:59", id="last day read"),
        pytest.param("", "dmy", "", id="an empty cell is nothing, and no fault"),
    ],
)
def test_a_moment_is_read(cell: str, order: str, wanted: str) -> None:
    assert read(cell, order=order) == (wanted, "")


# ISO 8601-1:2019, clauses 5.2.2, 5.3 and 5.4: calendar dates and times, with reduced
# precision, UTC designator and offsets, extended and basic.
@pytest.mark.parametrize(
    ("cell", "wanted"),
    [
        pytest.param("2026-09-14T13:05", "2026-09-14T13:05", id="extended"),
        pytest.param("2026-09-14 13:05", "2026-09-14T13:05", id="a blank for the T"),
        pytest.param("2026-09-14T13:05:59", "2026-09-14T13:05:59", id="seconds"),
        pytest.param("2026-09-14T13:05:59.5", "2026-09-14T13:05:59", id="fractions"),
        pytest.param("2026-09-14T13:05Z", "2026-09-14T13:05Z", id="UTC"),
        pytest.param("2026-09-14T13:05+01:00", "2026-09-14T13:05+01:00", id="offset"),
        pytest.param("2026-09-14T13:05-0330", "2026-09-14T13:05-03:30", id="its basic"),
        pytest.param("2026-09-14T13:05+01", "2026-09-14T13:05+01:00", id="hours only"),
        pytest.param("20260914T1305", "2026-09-14T13:05", id="basic"),
        pytest.param("20260914", "2026-09-14", id="basic date"),
        pytest.param("2026-09-14T24:00", "2026-09-15T00:00", id="end of day"),
    ],
)
@pytest.mark.parametrize("order", list(Order))
def test_iso_forms_are_read_whatever_the_order(
    cell: str, wanted: str, order: str
) -> None:
    assert read(cell, order=order) == (wanted, "")


@pytest.mark.parametrize(
    ("cell", "why"),
    [
        pytest.param(
            "31/09/2026 10:00", "no such date: September has 30 days", id="31"
        ),
        pytest.param("29/02/2026 10:00", "no such date: February has 28 days", id="29"),
        pytest.param("09/25/2026 10:00", "no such date: there is no month 25", id="m"),
        pytest.param("14/09/1999 10:00", "a date before 2000 or after 2099", id="1999"),
        pytest.param("14/09/1900 10:00", "a date before 2000 or after 2099", id="1900"),
        pytest.param("14/09/2100 10:00", "a date before 2000 or after 2099", id="2100"),
        pytest.param("14/09/2026 25:00", "no such clock time", id="25 hours"),
        pytest.param("14/09/2026 12:60", "no such clock time", id="60 minutes"),
        pytest.param("14/09/2026 24:01", "no such clock time", id="after midnight"),
        pytest.param("14/09/2026 13:05+15:00", "not a clock time", id="no such offset"),
        pytest.param("14/09/2026 13:05 XST", "not a clock time", id="unknown zone"),
        pytest.param(
            "14/09/2026 pm", "no clock time: only the half of the day", id="pm alone"
        ),
        pytest.param("see chart", "not a date", id="words"),
        pytest.param("14/09", "not a date", id="no year"),
        pytest.param("1/123/2026", "not a date", id="three digits"),
        pytest.param("2026-257", "not a date", id="day of the year"),
        pytest.param("99999", "not a date", id="a day number beyond 2099"),
    ],
)
def test_what_is_no_moment_is_refused_with_the_reason(cell: str, why: str) -> None:
    assert read(cell) == ("", why)


def test_without_an_order_a_date_with_slashes_is_not_read() -> None:
    assert read("03/04/2026 10:00", order="ymd") == (
        "",
        "a date that does not begin with its year",
    )


@pytest.mark.parametrize(
    ("time", "wanted"),
    [
        pytest.param("6.15pm", "18:15", id="a point, pm without a blank"),
        pytest.param("11 am", "11:00", id="an hour with am"),
        pytest.param("11:15pm", "23:15", id="a colon"),
        pytest.param("12.10 am", "00:10", id="twelve am is the first hour"),
        pytest.param("12.10 p.m.", "12:10", id="twelve pm is after noon"),
        pytest.param("12 noon", "12:00", id="noon"),
        pytest.param("noon", "12:00", id="noon alone"),
        pytest.param("12 midnight", "00:00", id="midnight begins the day charted"),
        pytest.param("16.30", "16:30", id="over 12 is plain"),
        pytest.param("00:10", "00:10", id="the 12-hour clock has no hour 0"),
        pytest.param("1630", "16:30", id="four figures"),
        pytest.param("1630 hrs", "16:30", id="four figures with hrs"),
    ],
)
def test_times_of_a_12_hour_file_are_read(time: str, wanted: str) -> None:
    assert read("14/9/26", time, clock="12") == (f"2026-09-14T{wanted}", "")


@pytest.mark.parametrize("time", ["7.15", "07:15", "7", "12:30", "0715"])
def test_am_or_pm_is_never_guessed(time: str) -> None:
    iso, why = read("14/9/26", time, clock="12")
    assert iso == ""
    assert why.startswith("no am or pm in a file kept on the 12-hour clock; write it")


@pytest.mark.parametrize("time", ["7.15", "07:15", "7:15", "0715", "7h15"])
def test_the_same_times_are_plain_in_a_24_hour_file(time: str) -> None:
    assert read("14/9/26", time) == ("2026-09-14T07:15", "")


@pytest.mark.parametrize(
    ("time", "why"),
    [
        pytest.param("13:05 am", "13:05 cannot be am", id="an hour that is not am"),
        pytest.param("11 noon", "11:00 cannot be noon", id="an hour that is not noon"),
        pytest.param("0.5", "either a clock time or a part of a day", id="a half"),
        pytest.param("0.604", "a part of a day with too few digits to tell the minute",
                     id="a coarse part of a day"),
        pytest.param("16.3", "not a clock time", id="16:03 or 16:30"),
        pytest.param("late", "not a clock time", id="a word"),
        pytest.param("", "a date without a time of day", id="an empty cell"),
    ],
)  # fmt: skip
def test_a_time_that_can_mean_two_things_is_not_read(time: str, why: str) -> None:
    assert read("14/9/26", time) == ("", why)


@pytest.mark.parametrize(
    ("time", "wanted"),
    [
        pytest.param("0.604166666666667", "14:30", id="all digits"),
        pytest.param("0.604167", "14:30", id="six digits"),
        pytest.param("0.6042", "14:30", id="four digits name one minute"),
        pytest.param("0.40625", "09:45", id="an exact fraction"),
        pytest.param("0.999999999", "next", id="the end of the day"),
        pytest.param("1899-12-30T11:54:00", "11:54:00", id="a time with day zero"),
        pytest.param("2026-09-14 11:54", "11:54", id="the same day once more"),
    ],
)
def test_times_of_spreadsheets_are_read(time: str, wanted: str) -> None:
    moment = "2026-09-15T00:00" if wanted == "next" else f"2026-09-14T{wanted}"
    assert read("14/9/26", time) == (moment, "")


def test_quarters_are_parts_of_a_day_where_others_are() -> None:
    iso, _ = read_clock(
        texts("14/9/26", "14/9/26"), texts("0.25", "0.604166667"), order="dmy"
    )
    assert iso.tolist() == ["2026-09-14T06:00", "2026-09-14T14:30"]


def test_a_quarter_is_a_clock_time_where_others_are() -> None:
    iso, _ = read_clock(
        texts("14/9/26", "14/9/26"), texts("0.25", "16.30"), order="dmy"
    )
    assert iso.tolist() == ["2026-09-14T00:25", "2026-09-14T16:30"]


@pytest.mark.parametrize(
    ("date", "time", "wanted"),
    [
        pytest.param(
            "2026-09-14T00:00:00", "10:00", "2026-09-14T10:00", id="empty one"
        ),
        pytest.param("2026-09-14 10:00", "10:00", "2026-09-14T10:00", id="the same"),
        pytest.param("2026-09-14 10:00", "", "2026-09-14T10:00", id="in the date cell"),
        pytest.param("2026-09-14 10:00", "11:00", "", id="two times"),
        pytest.param("2026-09-14", "2026-09-15 11:00", "", id="two days"),
        pytest.param("2026-09-14 00:00", "", "", id="a spreadsheet's midnight is none"),
        pytest.param("", "11:00", "", id="no date"),
    ],
)
def test_a_date_cell_and_a_time_cell_must_agree(
    date: str, time: str, wanted: str
) -> None:
    iso, why = read(date, time)
    assert iso == wanted
    assert bool(why) == (not wanted)


@pytest.mark.parametrize(
    ("cells", "order", "is_certain"),
    [
        pytest.param(["3/9/2026", "14/9/2026"], "dmy", True, id="a day over 12"),
        pytest.param(["9/3/2026", "9/14/2026"], "mdy", True, id="the other way"),
        pytest.param(["3.9.26 7.15", "14.9.26 8pm"], "dmy", True, id="with times"),
        pytest.param(["03/04/2026"], "dmy", False, id="both are possible"),
        pytest.param(["31/09/2026", "03/04/2026"], "dmy", False,
                     id="a date that exists in no order tells nothing"),
        pytest.param(["9/31/2026", "9/14/2026"], "mdy", True,
                     id="nor does it stand against the others"),
        pytest.param(["14/09/2026", "09/25/2026"], "dmy", False, id="contradiction"),
        pytest.param(["14/09/2026"] * 200 + ["09/25/2026"], "dmy", True,
                     id="one slip in two hundred"),
        pytest.param(["09/09/2026"], "dmy", True, id="either way the same day"),
        pytest.param(["2026-09-14"], "ymd", True, id="year first"),
        pytest.param(["2026-09-14", "21/09/2026"], "dmy", True, id="some year first"),
        pytest.param(["14 Sep 2026"], "ymd", True, id="month by name"),
        pytest.param(["26-09-14", "26-09-15", "26-09-17"], "ymd", False,
                     id="short years may come first"),
        pytest.param(["", "see chart"], "ymd", True, id="no dates"),
    ],
)  # fmt: skip
def test_the_file_as_a_whole_decides_the_order(
    cells: list[str],
    order: str,
    is_certain: bool,  # noqa: FBT001 - from the table
) -> None:
    found = decide_order([texts(*cells)])
    assert (found.order, found.is_certain) == (order, is_certain)


def test_the_evidence_quotes_a_date() -> None:
    assert "(14/9/2026)" in decide_order([texts("3/9/2026", "14/9/2026")]).evidence


@pytest.mark.parametrize(
    ("cells", "clock"),
    [
        pytest.param(["6.15pm", "11 am", "7.15", "16.30"], "12", id="most say it"),
        pytest.param(["08:15", "16:30", "20:15", "04:00", "6pm"], "24", id="one does"),
        pytest.param([f"{h}:10" for h in range(1, 13)], "12", id="never after noon"),
        pytest.param([f"{h}:10" for h in range(1, 9)], "24", id="too few to tell"),
        pytest.param([f"{h}:{m}0" for h in range(7, 13) for m in range(3)], "24",
                     id="mornings only"),
        pytest.param([f"{h}:10" for h in range(24)], "24", id="round the clock"),
        pytest.param(["14/9/26 6.15pm", "14/9/26 7 am"], "12", id="behind dates"),
        pytest.param([], "24", id="no times"),
        pytest.param([f"2026-09-14T{h:02d}:10" for h in range(1, 13)], "24",
                     id="ISO 8601 knows no am and pm"),
        pytest.param([f"14/9/26 {h:02d}:10+01:00" for h in range(1, 13)], "24",
                     id="nor does a time with an offset"),
    ],
)  # fmt: skip
def test_the_file_as_a_whole_decides_the_clock(cells: list[str], clock: str) -> None:
    assert decide_clock([texts(*cells)]) is Clock(clock)


def test_cells_keep_their_place_and_index() -> None:
    dates = pd.Series(["14/9/26", "", "14/9/26"], index=[5, 1, 3], dtype="str")
    times = pd.Series(["10:00", "", "x"], index=[5, 1, 3], dtype="str")
    iso, why = read_clock(dates, times, order="dmy")
    assert iso.to_dict() == {5: "2026-09-14T10:00", 1: "", 3: ""}
    assert why.to_dict() == {5: "", 1: "", 3: "not a clock time"}


# Local wall-clock times, as charts have them: without a zone.
MOMENTS = st.datetimes(
    dt.datetime(2000, 1, 1),  # noqa: DTZ001
    dt.datetime(2099, 12, 31),  # noqa: DTZ001
)
FORMS = {
    Order.DMY: ["%d/%m/%Y %H:%M", "%d.%m.%Y %I.%M %p", "%d-%m-%y %H%M"],
    Order.MDY: ["%m/%d/%Y %H:%M", "%m-%d-%y %I:%M%p"],
    Order.YMD: ["%Y-%m-%dT%H:%M", "%Y/%m/%d %H:%M", "%d %b %Y %H:%M", "%Y%m%d %H:%M"],
}


@given(MOMENTS, st.sampled_from([(o, f) for o, forms in FORMS.items() for f in forms]))
def test_a_moment_written_in_any_form_reads_back(
    moment: dt.datetime, how: tuple[Order, str]
) -> None:
    order, form = how
    assert read(moment.strftime(form), order=order) == (
        moment.strftime("%Y-%m-%dT%H:%M"),
        "",
    )


@given(st.text(alphabet="0123456789/:. -apmT"), st.sampled_from(list(Order)))
def test_a_cell_is_read_or_refused_and_never_both(cell: str, order: Order) -> None:
    iso, why = read(cell, order=order)
    assert bool(iso) + bool(why) == bool(cell.strip())


def column(*times: str) -> tuple[list[str], list[str]]:
    days = texts(*["14/09/2026"] * len(times))
    iso, why = read_clock(days, texts(*times), order="dmy", clock="24")
    return [str(moment)[11:] for moment in iso], why.tolist()


def test_times_of_digits_that_lost_zeros_are_minutes_past_midnight() -> None:
    assert column("1605", "405", "10", "5", "0") == (
        ["16:05", "04:05", "00:10", "00:05", "00:00"],
        [""] * 5,
    )


@pytest.mark.parametrize("other", ["1605", "0405"])
def test_two_digits_among_four_are_hours_or_minutes(other: str) -> None:
    read_, why = column(other, "10")
    assert read_[1] == ""
    assert why[1].startswith("either a full hour or")


def test_two_digits_among_times_with_points_are_hours() -> None:
    assert column("8:30", "10", "14") == (["08:30", "10:00", "14:00"], [""] * 3)


@pytest.mark.parametrize(
    "cell", ["08:00-08:15", "08:00-09:00", "0800-0815", "8.00 - 8.15"]
)
def test_a_span_of_times_is_no_offset(cell: str) -> None:
    read_, why = column(cell, "12:00", "16:00")
    assert read_ == ["", "12:00", "16:00"]
    assert why[0].startswith("a span of two times")


def test_an_offset_behind_every_time_is_one() -> None:
    read_, why = column("08:00-03:30", "09:00-03:30", "10:00-02:30")
    assert read_[0] == "08:00-03:30"
    assert why == [""] * 3


def test_bst_beside_gmt_is_british_summer_time() -> None:
    # Europe/London on 25 October 2026, the night the hour from 1 to 2 comes twice.
    assert column("01:30 BST", "01:30 GMT")[0] == ["01:30+01:00", "01:30Z"]
    assert column("01:30 BST", "02:30 BST")[1][0].startswith("BST is the name of")
