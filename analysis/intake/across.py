"""Charts with a column a time, as flowsheets are printed, to one row a cell.

The times stand in the header: moments, clock times of the day in the row, or days of
the clock time in it. A row is then an item (rate, volume left, site) or a chart, and
each of its filled cells is a row of the log.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.errors import InputError
from analysis.intake import synonyms, words
from analysis.intake.clocks import NEXT_DAY
from analysis.intake.given import labels_above
from analysis.intake.profiles import IS_DAY, IS_MOMENT, IS_TIME_OF_DAY, READINGS
from analysis.intake.raw import RawTable
from analysis.lookup import each_once

#: Name of the new column of times by what stands in the header.
_KINDS = (
    ("Date and time", IS_MOMENT, 2),
    ("Time", IS_TIME_OF_DAY, 3),
    ("Date", IS_DAY, 2),
)
_FORMS = {name: form for name, form, _ in _KINDS}
ITEM, VALUE, READING = "Item", "Value", "Reading"
_DAY = "Date"


@dataclass(frozen=True, slots=True)
class _Times:
    """Where the times of a header stand, and what they are."""

    name: str
    places: list[int]


def times_across(cells: Sequence[str]) -> bool:
    """Tell whether a record is the header of a chart with a column a time.

    Parameters
    ----------
    cells : sequence of str
        Its cells.

    Returns
    -------
    bool
        True where its last cells are times, and the first is none.

    Examples
    --------
    >>> times_across(["Item", "14/09/2026 08:00", "14/09/2026 12:05"])
    True
    >>> times_across(["K1", "14/09/2026 08:00", "0.6"])
    False
    """
    return _times_in(cells) is not None


def _times_in(cells: Sequence[str]) -> _Times | None:
    """Find the times that end a header; None where it has too few."""
    width = max((i + 1 for i, cell in enumerate(cells) if cell), default=0)
    keys = [words.key_of(cell) for cell in cells[:width]]
    for name, form, fewest in _KINDS:
        at = [i for i, key in enumerate(keys) if key and form.fullmatch(key)]
        is_end = bool(at) and at == list(range(at[0], width))
        if is_end and at[0] > 0 and len(at) >= fewest:
            return _Times(name, at)
    return None


def one_row_a_cell(raw: RawTable) -> RawTable:
    """Give every filled cell under a time of the header a row of its own.

    Parameters
    ----------
    raw : RawTable
        A file or a sheet.

    Returns
    -------
    RawTable
        The same where no times stand in the header. Else what leads a row, the time,
        and the cell: a value of the item that the row names, or a reading. A clock time
        left of which a later one stands is of the next day.
    """
    headers = [str(h) for h in raw.cells.columns]
    found = _times_in(headers)
    if found is None or not len(raw.cells):
        return raw
    lead = headers[: found.places[0]]
    names = _names(raw, lead, found)
    if names is None:
        return raw
    times = [headers[i] for i in found.places]
    _refuse_other_times(raw, times[0], _FORMS[found.name])
    values = raw.cells[times].to_numpy(dtype=object)
    row, column = np.nonzero(values != "")
    cells = raw.cells[lead].iloc[row].reset_index(drop=True)
    cells = cells.rename(columns=dict(zip(lead, names, strict=True)))
    if found.name == "Time" and (day := _day_above(raw, lead)):
        cells[_DAY] = day
    said = _with_next_day(times) if found.name == "Time" else times
    cells[found.name] = np.array(said, dtype=object)[column]
    under = VALUE if ITEM in names or _item_of(raw, lead) else READING
    cells[under] = values[row, column]
    return replace(
        raw,
        cells=cells.astype("str"),
        lines=raw.lines.iloc[row].reset_index(drop=True),
        units={n: raw.units[h] for n, h in zip(names, lead, strict=True)
               if h in raw.units},
        notes=(*raw.notes, _told(raw.file, found, times, said)),
    )  # fmt: skip


def _refuse_other_times(raw: RawTable, first: str, form: re.Pattern[str]) -> None:
    """Refuse a table in which another chart begins, with times of its own."""
    is_time = each_once(
        raw.cells[first], lambda c: bool(form.fullmatch(words.key_of(c))), "bool"
    )
    if is_time.any():
        line, cell = raw.lines[is_time].iloc[0], raw.cells.loc[is_time, first].iloc[0]
        msg = f"{raw.file}: another header of times begins on line {line} ({cell}); "
        raise InputError(f"{msg}save each chart as a file or a sheet of its own")


def _day_above(raw: RawTable, lead: Sequence[str]) -> str:
    """Give the date above a header of clock times; empty where there is not one."""
    if any("checked_at" in synonyms.named(h) for h in lead):
        return ""
    told = labels_above(raw.preamble)
    said = {
        v for k, v in told.items() if synonyms.named(k) & {"checked_at", "started_at"}
    }
    days = [v for v in said if IS_DAY.fullmatch(words.key_of(v))]
    return days[0] if len(days) == 1 else ""


def _told(file: str, found: _Times, times: list[str], said: list[str]) -> str:
    text = (
        f"{file}: has a column a time ('{times[0]}' to '{times[-1]}'); each cell under "
        "one was read as a row of its own, and a blank one as none"
    )
    after = [t for t, s in zip(times, said, strict=True) if s != t]
    if found.name == "Time" and after:
        text += f"; from '{after[0]}' on they are of the day after the date of the row"
    return f"{text}."


def _names(raw: RawTable, lead: list[str], found: _Times) -> list[str] | None:
    """Give the columns that lead a row their names; None where it is no such chart."""
    item = _item_of(raw, lead)
    taken = {found.name, VALUE if item else READING}
    if taken & set(lead) or _is_log(raw, lead):
        return None
    if item and not synonyms.named(item) & {synonyms.ITEM}:
        return [ITEM if h == item else h for h in lead]
    is_chart = any("patient_id" in synonyms.named(h) for h in lead)
    return lead if item or is_chart else None


def _is_log(raw: RawTable, lead: list[str]) -> bool:
    """Tell whether what leads a row is a check already: it has its moment.

    The times behind it are then those of something else, such as rounds with ticks.
    """
    names = [(h, synonyms.named(h)) for h in lead]
    times = [h for h, named in names if "checked_at" in named]
    head = raw.cells[times].iloc[:_LOOKED_AT]
    forms = (IS_MOMENT, IS_DAY, IS_TIME_OF_DAY)
    is_moment, is_day, is_time = (
        any(_are_all(head[h], form) for h in times) for form in forms
    )
    return is_moment or (is_day and is_time)


def _are_all(cells: pd.Series, form: re.Pattern[str]) -> bool:
    filled = cells[cells != ""]
    fits = each_once(filled, lambda c: bool(form.fullmatch(words.key_of(c))), "bool")
    return len(filled) > 0 and bool(fits.mean() >= _MOST)


def _item_of(raw: RawTable, lead: list[str]) -> str:
    """Give the column that names what a row is of: three readings at the least."""
    for header in lead:
        different = raw.cells[header].iloc[:_LOOKED_AT].unique()
        named = {c for cell in different for c in synonyms.named(str(cell))}
        if len(named & READINGS) >= _FEWEST_ITEMS:
            return header
    return ""


#: Rows looked at; readings that a column of items names.
_LOOKED_AT, _FEWEST_ITEMS = 2_000, 3
#: Share of cells that must be times.
_MOST = 0.9


def _with_next_day(times: list[str]) -> list[str]:
    """Say of the clock times behind midnight that they are of the next day."""
    out, before, is_after = [], -1.0, False
    for time in times:
        now = minutes_of_day(time)
        is_after |= now < before
        before = max(before, now) if not is_after else now
        out.append(f"{time} {NEXT_DAY}" if is_after else time)
    return out


def minutes_of_day(time: str) -> float:
    """Give the minutes since midnight of a clock time.

    Parameters
    ----------
    time : str
        A clock time, with digits.

    Returns
    -------
    float
        Minutes.

    Examples
    --------
    >>> minutes_of_day("16.30"), minutes_of_day("0405"), minutes_of_day("2 pm")
    (990.0, 245.0, 840.0)
    """
    key = words.key_of(time)
    digits = re.findall(r"\d+", key)
    hour, minute = int(digits[0]), int(digits[1]) if len(digits) > 1 else 0
    if len(digits) == 1 and len(digits[0]) == 4:
        hour, minute = int(digits[0][:2]), int(digits[0][2:])
    if re.search(r"[ap]\.?m", key):
        hour = hour % 12 + 12 * ("p" in key)
    return hour * 60.0 + minute
