"""What dates and times look like in a cell, and which part of it is which."""

import datetime as dt
import re
from collections.abc import Iterable
from enum import StrEnum

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from analysis.intake import other_languages
from analysis.intake.invisible import visible


class Order(StrEnum):
    """In which order a date names year, month and day."""

    YMD = "ymd"
    DMY = "dmy"
    MDY = "mdy"


#: Years that a date of a log may have.
FIRST_YEAR, LAST_YEAR = 2000, 2099

#: First day of the day numbers of spreadsheets.
_DAY_ZERO = dt.date(1899, 12, 30)

_WEEKDAY = (
    r"(?:(?:(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*|"
    rf"{other_languages.WEEKDAYS})\.?,?\s+)?"
)
#: A letter of the name of a month.
LETTER = "[a-z\u00df-\u00f6\u00f8-\u00ff]"
_NUMERIC = r"[0-9]{1,4}[./-]\s?[0-9]{1,2}[./-]\s?[0-9]{1,4}"
_NAMED = (
    rf"[0-9]{{1,2}}(?:st|nd|rd|th|er)?[ ./-]?\s?(?:de )?{LETTER}{{3,10}}\.?,?[ ./-]?"
    r"\s?(?:de )?[0-9]{2,4}"
    r"|[a-z]{3,9}\.? [0-9]{1,2}(?:st|nd|rd|th)?,? [0-9]{2,4}"
)
_DAY = rf"{_WEEKDAY}(?P<day>{_NUMERIC}|{_NAMED}|[0-9]{{8}})"
_AT = rf"(?:at|{other_languages.AT})\s"
_DAY_FIRST = rf"(?i)^{_DAY}(?:(?:t|,?\s+(?:{_AT})?|,)(?P<time>\S.*))?$"
_TIME_FIRST = (
    r"(?i)^(?P<time>[0-9]{1,2}(?:[:.][0-9]{2}){1,2}(?:\s?[ap]\.?m\.?)?)"
    rf",?\s+(?:on\s)?{_DAY}$"
)
_SERIAL = r"[0-9]{5}(?:\.[0-9]+)?"

#: A date in three numbers, in whichever order.
DAY_NUMBERS = re.compile(r"([0-9]{1,4})[./-]\s?([0-9]{1,2})[./-]\s?([0-9]{1,4})")


def as_strings(cells: Iterable[str]) -> pa.StringArray:
    """Give cells as arrow text, without signs that nobody sees.

    Parameters
    ----------
    cells : iterable of str, length n
        None missing.

    Returns
    -------
    pyarrow Array of string, shape (n,)
        In the same order.
    """
    texts = pa.array(cells, type=pa.string())
    if pc.all(pc.string_is_ascii(texts), min_count=0).as_py():
        return texts
    return pa.array([visible(cell) for cell in texts.to_pylist()], type=pa.string())


def day_and_time(cells: pa.Array) -> tuple[list[str], list[str]]:
    """Split texts into day and time; both empty where no day is found.

    Parameters
    ----------
    cells : pyarrow Array of string, shape (n,)
        As given by `as_strings`; none missing.

    Returns
    -------
    days : list of str, length n
        As written; ISO 8601 where a spreadsheet's day number stood.
    times : list of str, length n
        As written, or a fraction of a day; empty where there is a day alone.

    Examples
    --------
    >>> day_and_time(as_strings(["14/9/26 6.15pm", "46279.5", "noon"]))
    (['14/9/26', '2026-09-14', ''], ['6.15pm', '0.5', ''])
    """
    trimmed = pc.utf8_trim_whitespace(cells)
    day_first = pc.extract_regex(trimmed, _DAY_FIRST)
    time_first = pc.extract_regex(trimmed, _TIME_FIRST)
    parts = []
    for name in ("day", "time"):
        first = pc.struct_field(day_first, name)
        second = pc.struct_field(time_first, name)
        parts.append(pc.fill_null(pc.coalesce(first, second), "").to_pylist())
    days, times = parts
    is_serial = pc.match_substring_regex(trimmed, f"^(?:{_SERIAL})$")
    for i in np.flatnonzero(is_serial.to_numpy(zero_copy_only=False)).tolist():
        if not days[i]:
            days[i], times[i] = _from_serial(trimmed[i].as_py())
    return days, times


def _from_serial(text: str) -> tuple[str, str]:
    """Give day and time of a day number, as a spreadsheet counts; else nothing."""
    whole, _, part = text.partition(".")
    day = _DAY_ZERO + dt.timedelta(days=int(whole))
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        return "", ""
    return day.isoformat(), f"0.{part}" if part.strip("0") else ""
