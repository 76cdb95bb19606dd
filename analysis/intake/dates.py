"""Dates and clock times as wards write them to ISO 8601 text, or the reason why not.

Which number is the day, and whether the clock has 12 or 24 hours, is settled for a file
as a whole and never for a row. Nothing is guessed: a time without am or pm in a file
kept on the 12-hour clock is not read.
"""

import calendar
import datetime as dt
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from enum import StrEnum
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from analysis.intake import other_languages
from analysis.intake.clocks import (
    TIME_PARTS,
    Clock,
    clock_of,
    plain,
    read_each,
    read_times,
)
from analysis.intake.invisible import visible
from analysis.texts import spread


class Order(StrEnum):
    """In which order a date names year, month and day."""

    YMD = "ymd"
    DMY = "dmy"
    MDY = "mdy"


class OrderFound(NamedTuple):
    """The order of dates in a file, what shows it, and whether it is settled."""

    order: Order
    evidence: str
    is_certain: bool


_FIRST_YEAR, _LAST_YEAR = 2000, 2099

#: Share of dates against the order of all others that are taken for slips of the pen.
_SLIPS = 0.01

#: Times from which a file without a single one after noon is taken for a 12-hour clock.
_ENOUGH_TIMES = 10

#: First day of the day numbers of spreadsheets.
_DAY_ZERO = dt.date(1899, 12, 30)
#: Years that spreadsheets put before a time that has no date.
_NO_DATE = ("1899", "1900", "1970")

_WEEKDAY = (
    r"(?:(?:(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*|"
    rf"{other_languages.WEEKDAYS})\.?,?\s+)?"
)
_LETTER = "[a-z\u00df-\u00f6\u00f8-\u00ff]"
_NUMERIC = r"[0-9]{1,4}[./-]\s?[0-9]{1,2}[./-]\s?[0-9]{1,4}"
_NAMED = (
    rf"[0-9]{{1,2}}(?:st|nd|rd|th|er)?[ ./-]?\s?(?:de )?{_LETTER}{{3,10}}\.?,?[ ./-]?"
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

_PARTS = re.compile(r"([0-9]{1,4})[./-]\s?([0-9]{1,2})[./-]\s?([0-9]{1,4})")
_DAY_MONTH = re.compile(
    rf"([0-9]{{1,2}})[a-z]{{0,2}}[ ./-]*(?:de )?({_LETTER}{{3,10}})[ .,/-]*(?:de )?"
    r"([0-9]+)"
)
_MONTH_DAY = re.compile(r"([a-z]{3,9})\.? ([0-9]{1,2})[a-z]{0,2},? ([0-9]+)")

_NOT_A_DATE = "not a date"
_NO_TIME = "a date without a time of day"
_DISAGREE = "the date and the time beside it name different moments"


def decide_order(texts: Sequence[pd.Series]) -> OrderFound:
    """Decide the order of day, month and year for a file as a whole.

    Parameters
    ----------
    texts : sequence of Series of str
        All cells that should hold dates, with or without a time; others tell nothing.

    Returns
    -------
    OrderFound
        ``is_certain`` is false where nothing tells day from month, or where dates
        contradict each other; ``order`` is then the likelier one, for a question.
        Dates that exist in neither order tell nothing. Dates with the year first, or
        with the month as a word, need no order.

    Examples
    --------
    >>> order, evidence, is_certain = decide_order([pd.Series(["3/9/2026", "14/9/26"])])
    >>> str(order), is_certain, evidence
    ('dmy', True, 'day first: the day is over 12 in 1 of 2 dates (14/9/26)')
    >>> decide_order([pd.Series(["03/04/2026"])]).is_certain
    False
    """
    votes = Counter[str]()
    example: dict[str, str] = {}
    found: list[tuple[int, int, int, bool]] = []
    # Sorted, so that the example is the same whatever order the columns come in.
    for day, n in sorted(_days_in(texts).items(), key=lambda pair: (-pair[1], pair[0])):
        parts = _numeric(day)
        if parts is None:
            continue
        found.append(parts)
        vote = _vote(parts)
        votes[vote] += n
        example.setdefault(vote, day)
    if not found:
        return OrderFound(Order.YMD, "no date depends on an order", is_certain=True)
    if _is_year_first(found):
        text = f"two-digit years may stand first ({next(iter(example.values()))})"
        return OrderFound(Order.YMD, text, is_certain=False)
    return _counted(votes, example)


def _counted(votes: Counter[str], example: dict[str, str]) -> OrderFound:
    day_first, month_first = votes[Order.DMY], votes[Order.MDY]
    order = Order.MDY if month_first > day_first else Order.DMY
    other = Order.DMY if order is Order.MDY else Order.MDY
    words = {Order.DMY: "day first", Order.MDY: "month first"}
    if not day_first and not month_first:
        if not votes["either"]:
            if not votes["same"]:  # dates of no calendar are read in no order
                return OrderFound(
                    Order.YMD, "no date depends on an order", is_certain=True
                )
            text = "day and month are the same number in every date"
            return OrderFound(order, text, is_certain=True)
        text = f"no date has a day over 12 ({example['either']})"
        return OrderFound(order, text, is_certain=False)
    text = f"{words[order]}: the day is over 12 in {votes[order]} of {votes.total()} "
    text += f"dates ({example[order]})"
    if not votes[other]:
        return OrderFound(order, text, is_certain=True)
    text += f"; {votes[other]} can only be {words[other]} ({example[other]})"
    is_slip = votes[other] <= _SLIPS * votes[order]
    return OrderFound(order, text, is_certain=is_slip)


def _days_in(texts: Iterable[pd.Series]) -> Counter[str]:
    days = Counter[str]()
    for text in texts:
        counts = text.value_counts()
        day, _ = _split(_strings(counts.index))
        for token, n in zip(day, counts, strict=True):
            if token:
                days[token] += int(n)
    return days


def _numeric(day: str) -> tuple[int, int, int, bool] | None:
    """Give the three numbers of a date that depends on an order, and if 2-digit."""
    found = _PARTS.fullmatch(day)
    if not found or len(found[1]) > 2 or len(found[3]) not in (2, 4):
        return None
    return int(found[1]), int(found[2]), int(found[3]), len(found[3]) == 2


def _vote(parts: tuple[int, int, int, bool]) -> str:
    first, second, year, is_short = parts
    year += 2000 if is_short else 0
    day_first = _exists(year, second, first)
    month_first = _exists(year, first, second)
    if day_first and month_first:
        return "same" if first == second else "either"
    if day_first or month_first:
        return Order.DMY if day_first else Order.MDY
    return "neither"


def _exists(year: int, month: int, day: int) -> bool:
    if not _FIRST_YEAR <= year <= _LAST_YEAR or not 1 <= month <= 12:
        return False
    return 1 <= day <= calendar.monthrange(year, month)[1]


def _is_year_first(found: list[tuple[int, int, int, bool]]) -> bool:
    """Tell dates like 26-09-14: the first number hardly changes, the last one does.

    Where a file is of one day, the later year is the likelier one: 26-09-14 may be
    2026 as well, but 14-09-26 is no 2014.
    """
    if not all(is_short for *_, is_short in found):
        return False
    firsts = {first for first, *_ in found}
    lasts = {last for _, _, last, _ in found}
    if len(firsts) > 2 or not any(first > 12 for first in firsts):
        return False
    changes, other = max(lasts) - min(lasts), max(firsts) - min(firsts)
    return changes > other or (changes == other == 0 and min(firsts) > max(lasts))


def decide_clock(texts: Sequence[pd.Series]) -> Clock:
    """Decide whether a file is kept on the 12-hour clock.

    Parameters
    ----------
    texts : sequence of Series of str
        All cells that should hold clock times, with or without a date.

    Returns
    -------
    Clock
        ``12`` where no fewer times say am or pm than leave it open, and where ten or
        more times, night hours among them, are all from 1:00 to 12:59.

    Examples
    --------
    >>> str(decide_clock([pd.Series(["6.15pm", "11 am", "7.15", "16.30"])]))
    '12'
    """
    halves = bare = night = 0
    times, of_24h = _times_in(texts)
    for time, n in times.items():
        found = clock_of(time)
        if found is None:
            continue
        hour = int(found["hour"])
        if found["half"]:
            halves += n
        elif 1 <= hour <= 12 and not found["zone"]:
            bare += n
            night += n * (hour <= 6)
        else:
            of_24h += n
    if halves:
        return Clock.H12 if halves >= bare else Clock.H24
    is_odd = not of_24h and bare >= _ENOUGH_TIMES and night > 0
    return Clock.H12 if is_odd else Clock.H24


def leaves_half_open(texts: Sequence[pd.Series]) -> bool:
    """Tell that no time shows on which half of the clock it is.

    Parameters
    ----------
    texts : sequence of Series of str
        All cells that should hold clock times, with or without a date.

    Returns
    -------
    bool
        True where there are times, all from 1:00 to 12:59 and none with am or pm.

    Examples
    --------
    >>> leaves_half_open([pd.Series(["8:00", "12:30"])])
    True
    >>> leaves_half_open([pd.Series(["8:00", "13:30"])])
    False
    """
    times, of_iso = _times_in(texts)
    found = [clock_of(time) for time in times]
    known = [f for f in found if f is not None]
    is_open = all(
        1 <= int(f["hour"]) <= 12 and not f["half"] and not f["zone"] for f in known
    )
    return bool(known) and is_open and not of_iso


def _times_in(texts: Iterable[pd.Series]) -> tuple[Counter[str], int]:
    """Count the times of each form, and apart ISO 8601, whose clock has 24 hours."""
    times = Counter[str]()
    of_iso = 0
    for text in texts:
        counts = text.value_counts()
        cells = _strings(counts.index)
        is_iso = pc.match_substring_regex(cells, _ISO)
        is_other = ~is_iso.to_numpy(zero_copy_only=False)
        of_iso += int(counts[~is_other].sum())
        cells, counts = cells.filter(pa.array(is_other)), counts[is_other]
        day, time = _split(cells)
        for cell, d, t, n in zip(cells, day, time, counts, strict=True):
            times[plain(t if d else str(cell))] += int(n)
    return times, of_iso


_ISO = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:"


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
    day, own = _split(_strings(cells))
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
    day, time = _split(_strings(cells))
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


def _strings(cells: Iterable[str]) -> pa.StringArray:
    texts = pa.array(cells, type=pa.string())
    if pc.all(pc.string_is_ascii(texts), min_count=0).as_py():
        return texts
    return pa.array([visible(cell) for cell in texts.to_pylist()], type=pa.string())


def _split(cells: pa.Array) -> tuple[list[str], list[str]]:
    """Split texts into day and time; both empty where no day is found."""
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
    if not _FIRST_YEAR <= day.year <= _LAST_YEAR:
        return "", ""
    return day.isoformat(), f"0.{part}" if part.strip("0") else ""


def _read_day(token: str, order: Order) -> tuple[str, str, str]:
    """Give a day, the next one, and why it is none."""
    numbers = _day_numbers(token.lower(), order)
    if isinstance(numbers, str):
        return "", "", numbers
    year, month, day = numbers
    if not _FIRST_YEAR <= year <= _LAST_YEAR:
        return "", "", f"a date before {_FIRST_YEAR} or after {_LAST_YEAR}"
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
    if found := _PARTS.fullmatch(token):
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
