"""Dates and clock times as wards write them to ISO 8601 text, or the reason why not.

Which number is the day, and whether the clock has 12 or 24 hours, is settled before,
for a file as a whole (`conventions`). Nothing is guessed: a time without am or pm in a
file kept on the 12-hour clock is not read.
"""

import calendar
import datetime as dt
import re

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.intake import other_languages
from analysis.intake.clocks import TIME_PARTS, Clock, read_each, read_times
from analysis.intake.day_and_time import (
    DAY_NUMBERS,
    FIRST_YEAR,
    LAST_YEAR,
    LETTER,
    Order,
    as_strings,
    day_and_time,
)
from analysis.intake.invisible import visible
from analysis.texts import spread

#: Years that spreadsheets put before a time that has no date.
_NO_DATE = ("1899", "1900", "1970")

_DAY_MONTH = re.compile(
    rf"([0-9]{{1,2}})[a-z]{{0,2}}[ ./-]*(?:de )?({LETTER}{{3,10}})[ .,/-]*(?:de )?"
    r"([0-9]+)"
)
_MONTH_DAY = re.compile(r"([a-z]{3,9})\.? ([0-9]{1,2})[a-z]{0,2},? ([0-9]+)")

_NOT_A_DATE = "not a date"
_NO_TIME = "a date without a time of day"
_DISAGREE = "the date and the time beside it name different moments"


def read_clock(
    date_text: pd.Series,
    time_text: pd.Series | None = None,
    *,
    order: str,
    clock: str = Clock.H24,
) -> tuple[pd.Series, pd.Series]:
    """Read dates, times or both as ISO 8601 text.

    Parameters
    ----------
    date_text : Series of str, shape (n,)
        Dates, or dates with times; empty where nothing is charted.
    time_text : Series of str, shape (n,), optional
        Clock times in a column of their own.
    order : str
        An `Order`: ``ymd``, ``dmy`` or ``mdy``. Dates that name the year first, or the
        month by a word, are read whatever it is.
    clock : str
        A `Clock`: ``24`` or ``12``.

    Returns
    -------
    iso : Series of str, shape (n,)
        ``2026-09-14T13:05``, with seconds and offset where they are written;
        ``2026-09-14`` for a date alone if there is no column of times. Empty where the
        cells are empty or cannot be read. 24:00 is midnight at the end of its day, 12
        midnight at its start. Day numbers and day fractions of spreadsheets are read.
    why : Series of str, shape (n,)
        Why a cell that is not empty could not be read, in words; else empty.

    Examples
    --------
    >>> cells = pd.Series(["14/9/26 6.15pm", "31/09/2026 10:00"])
    >>> iso, why = read_clock(cells, order="dmy")
    >>> iso.tolist(), why.tolist()
    (['2026-09-14T18:15', ''], ['', 'no such date: September has 30 days'])
    """
    codes, cells = pd.factorize(date_text.fillna(""))
    day, own = day_and_time(as_strings(cells))
    days = read_each(day, lambda token: _read_day(token, Order(order)), _DAY_PARTS)
    is_lost = (days["iso"] == "") & (days["why"] == "")
    is_lost &= pd.Series(cells, dtype="str").str.strip() != ""
    days["why"] = days["why"].mask(is_lost, _NOT_A_DATE)
    times = read_times(own, Clock(clock))
    if time_text is None:
        iso, why = _together(days, times, may_be_day=True)
        whole = pd.DataFrame({"iso": spread(iso, codes), "why": spread(why, codes)})
    else:
        beside, place = _beside(time_text, Order(order), Clock(clock))
        days, times = _joined(
            days.take(codes).reset_index(drop=True),
            times.take(codes).reset_index(drop=True),
            beside.take(place).reset_index(drop=True),
        )
        iso, why = _together(days, times, may_be_day=False)
        whole = pd.DataFrame({"iso": iso, "why": why})
    whole.index = date_text.index
    return whole["iso"], whole["why"]


_DAY_PARTS = ["iso", "next", "why"]


def _together(
    days: pd.DataFrame, times: pd.DataFrame, *, may_be_day: bool
) -> tuple[pd.Series, pd.Series]:
    """Join days and times of the same rows."""
    has_day, has_time = days["iso"] != "", times["time"] != ""
    day = days["iso"].mask(times["is_next"] != "", days["next"])
    both = (day + "T" + times["time"]).where(has_day & has_time, "")
    why = days["why"].mask(has_day & (times["why"] != ""), times["why"])
    is_alone = has_day & ~has_time & (times["why"] == "")
    if may_be_day:
        return both.mask(is_alone, day), why
    why = why.mask(is_alone, _NO_TIME)
    is_lost = ~has_day & has_time & (why == "")
    return both, why.mask(is_lost, "no date beside the time")


#: A time that says no more than its day; whose midnight it is, is that of the day.
_MIDNIGHT = r"00:00(?::00)?(?:Z|[+-][0-9]{2}:[0-9]{2})?"


def _joined(
    days: pd.DataFrame, own: pd.DataFrame, beside: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Settle what date cells and time cells of the same rows say, either with both."""
    midnight = own["time"].str.fullmatch(_MIDNIGHT) & (own["is_next"] == "")
    says_time = (own["time"] != "") & ~midnight
    is_blank = (beside["time"] == "") & (beside["why"] == "")
    differs = says_time & ~is_blank & (beside["time"] != own["time"])
    says_day = beside["day"] != ""
    differs |= says_day & (days["iso"] != "") & (days["iso"] != beside["day"])
    times = beside[TIME_PARTS].copy()
    for part in TIME_PARTS:
        times[part] = times[part].mask(is_blank & says_time, own[part])
    times["time"] = times["time"].mask(differs, "")
    times["why"] = times["why"].mask(differs, _DISAGREE)
    is_free = says_day & (days["iso"] == "") & (days["why"] == "")
    days = days.assign(
        iso=days["iso"].mask(is_free, beside["day"]),
        next=days["next"].mask(is_free, beside["day_next"]),
    )
    return days, times


def _beside(
    time_text: pd.Series, order: Order, clock: Clock
) -> tuple[pd.DataFrame, npt.NDArray[np.intp]]:
    """Read the different cells of a column of times; give also which each row has."""
    codes, cells = pd.factorize(time_text.fillna(""))
    day, time = day_and_time(as_strings(cells))
    days = read_each(day, lambda token: _read_day(token, order), _DAY_PARTS)
    # Spreadsheets put a day of 1899 or 1900 before a time that has none.
    is_real = pd.Series(day).ne("") & ~pd.Series(day).str.contains("|".join(_NO_DATE))
    whole = [
        t if d else visible(str(c)) for c, d, t in zip(cells, day, time, strict=True)
    ]
    times = read_times(whole, clock)
    times["day"] = days["iso"].where(is_real, "")
    times["day_next"] = days["next"].where(is_real, "")
    return times, codes


def _read_day(token: str, order: Order) -> tuple[str, str, str]:
    """Give a day, the next one, and why it is none."""
    numbers = _day_numbers(token.lower(), order)
    if isinstance(numbers, str):
        return "", "", numbers
    year, month, day = numbers
    if not FIRST_YEAR <= year <= LAST_YEAR:
        return "", "", f"a date before {FIRST_YEAR} or after {LAST_YEAR}"
    if not 1 <= month <= 12:
        return "", "", f"no such date: there is no month {month}"
    last = calendar.monthrange(year, month)[1]
    if not 1 <= day <= last:
        name = calendar.month_name[month]
        return "", "", f"no such date: {name} has {last} days"
    date = dt.date(year, month, day)
    return date.isoformat(), (date + dt.timedelta(days=1)).isoformat(), ""


def _day_numbers(token: str, order: Order) -> tuple[int, int, int] | str:
    """Give year, month and day, or why the token has none."""
    if found := DAY_NUMBERS.fullmatch(token):
        return _ordered((found[1], found[2], found[3]), order)
    if found := _DAY_MONTH.fullmatch(token):
        return _named(found[3], found[2], found[1])
    if found := _MONTH_DAY.fullmatch(token):
        return _named(found[3], found[1], found[2])
    if re.fullmatch("[0-9]{8}", token):
        return int(token[:4]), int(token[4:6]), int(token[6:])
    return _NOT_A_DATE


def _ordered(parts: tuple[str, str, str], order: Order) -> tuple[int, int, int] | str:
    first, second, last = parts
    if len(first) == 4 and len(last) <= 2:
        return int(first), int(second), int(last)
    if len(first) > 2 or len(last) not in (2, 4):
        return _NOT_A_DATE
    if order is Order.YMD:
        if len(last) == 4:
            return "a date that does not begin with its year"
        return 2000 + int(first), int(second), int(last)
    year = int(last) + (2000 if len(last) == 2 else 0)
    day, month = (first, second) if order is Order.DMY else (second, first)
    return year, int(month), int(day)


_MONTHS = [name.lower() for name in calendar.month_name]


def _named(year: str, month: str, day: str) -> tuple[int, int, int] | str:
    fits = [i for i, name in enumerate(_MONTHS) if name and name.startswith(month)]
    others = other_languages.MONTHS if not fits else ()
    fits += [i for i, names in enumerate(others, 1)
             if any(name.startswith(month) for name in names.split("|"))]  # fmt: skip
    if len(fits) != 1 or len(year) not in (2, 4):
        return _NOT_A_DATE
    return int(year) + (2000 if len(year) == 2 else 0), fits[0], int(day)
