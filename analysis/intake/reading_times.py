"""Cells of times to canonical text: one column, or a day, a clock, and am or pm."""

from collections.abc import Sequence

import pandas as pd

from analysis.intake import dates, synonyms
from analysis.intake.clocks import without_zeros
from analysis.intake.sheet import Sheet, naming
from analysis.intake.so_far import Reading, fault_each
from analysis.terms import RejectReason


def read_times(
    reading: Reading, column: str, headers: Sequence[str], sheet: Sheet
) -> None:
    """Read a time from one header, or from a day, a clock, and am or pm apart.

    Parameters
    ----------
    reading : Reading
        What was read so far; added to.
    column : str
        The column to read.
    headers : sequence of str
        The file's own headers: one, or those of day, clock, and am or pm.
    sheet : Sheet
        The table, with its layout.
    """
    layout = sheet.layout
    parts = [sheet.cells[h] for h in headers]
    day, clock = parts[0], parts[1] if len(parts) > 1 else None
    if clock is not None and len(parts) > 2:
        clock = (clock + " " + parts[2]).str.strip().where(clock != "", "")
    order, kept = layout.date_order or "ymd", layout.clock or "24"
    is_line = column in ("inserted_at", "removed_at")
    is_moment = clock is None and not is_line
    whole = _with_midnights(day) if is_moment and sheet.raw.is_sheet else day
    iso, why = dates.read_clock(whole, clock, order=order, clock=kept)
    if clock is not None:
        # A day without its time is no moment; where a day is enough it stays a day.
        alone, _ = dates.read_clock(day, None, order=order, clock=kept)
        iso = iso.mask(clock == "", alone if is_line else "")
        if note := _past_midnight(iso, sheet, headers[0]):
            reading.notes.append(note)
        if note := _lost_zeros(clock, sheet, headers[1]):
            reading.notes.append(note)
    if _says_utc(headers):
        is_bare = iso.str.contains("T") & ~iso.str.contains(_OFFSET)
        iso = iso.mask(is_bare, iso + "Z")
        if is_bare.any():
            text = f"{headers[-1]} says UTC: its times were read so"
            reading.notes.append(f"{sheet.raw.file}: {text}.")
    reading.text[column] = iso.astype("str").fillna("")
    shown = day if clock is None else (day + " " + clock).str.strip()
    reading.originals[column] = shown
    reading.headers[column] = headers[:2][-1]
    _time_faults(reading, column, headers, sheet, why)


_OFFSET = r"(?:Z|[+-][0-9]{2}:[0-9]{2})$"


def _says_utc(headers: Sequence[str]) -> bool:
    """Tell whether a header of a time says that it is kept in UTC, and so not local."""
    said = {word for h in headers for word in synonyms.normal(h).split()}
    return bool({"utc", "gmt"} & said) and "bst" not in said


def _lost_zeros(clock: pd.Series, sheet: Sheet, header: str) -> str:
    """Say how many times were read as minutes past midnight."""
    minutes = without_zeros(set(clock.unique()))
    found = clock[clock.isin(minutes)] if minutes else clock.iloc[:0]
    if not len(found):
        return ""
    return (
        f"{sheet.raw.file}: {header} has lost zeros at the beginning of its times; "
        f"{len(found)} of one or two digits were read as minutes past midnight "
        f"(first: '{found.iloc[0]}' as 00:{found.iloc[0]:0>2})."
    )


def _past_midnight(iso: pd.Series, sheet: Sheet, day: str) -> str:
    """Say how many rows took their day from above though the clock passed midnight.

    In a chart 20:00, 23:30 and 03:30 under one date are two days. Which, nobody has
    said: the rows are kept as they are written.
    """
    if day not in sheet.layout.fill_down:
        return ""
    own = sheet.raw.cells[day] != ""
    charts = [own.cumsum(), *(sheet.cells[h] for h in naming(sheet.layout))]
    moment = pd.to_datetime(iso.mask(iso == ""), format="ISO8601", utc=True)
    hours = (moment - moment.min()).dt.total_seconds() / 3600
    went_back = hours.groupby(charts, sort=False).diff() <= -_HALF_A_DAY_H
    found = sheet.source[went_back.groupby(charts, sort=False).cummax() & ~own]
    if not len(found):
        return ""
    return (
        f"{sheet.raw.file}: {len(found)} rows have no {day} of their own, and the "
        f"clock went back half a day or more below the one that was taken (first: line "
        f"{sheet.raw.lines[found.index[0]]}); they may be of the next day, and were "
        "kept as written."
    )


_HALF_A_DAY_H = 12.0


def _with_midnights(cells: pd.Series) -> pd.Series:
    """Give days among date-times of a sheet their time: it keeps no 00:00."""
    is_day = cells.str.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
    has_time = ~is_day & cells.str.contains(":", regex=False)
    if is_day.sum() >= has_time.sum():
        return cells
    return cells.mask(is_day, cells + "T00:00:00")


def _time_faults(
    reading: Reading,
    column: str,
    headers: Sequence[str],
    sheet: Sheet,
    why: pd.Series,
) -> None:
    """Say which cell of a time cannot be read, and why."""
    day = sheet.cells[headers[0]]
    lacking = reading.text[column] == ""
    reason = str(RejectReason.TIME_NOT_READABLE)
    if len(headers) == 1:
        bad = day[lacking & (day != "")]
        fault_each(reading, bad, why, (column, headers[0], reason))
        if column == "checked_at":
            _no_time(reading, day[day == ""], headers[0], "time")
        return
    clock = sheet.cells[headers[1]]
    is_day, note = dates.read_clock(
        day, None, order=sheet.layout.date_order or "ymd", clock="24"
    )
    bad_day = lacking & (day != "") & (is_day == "")
    own = sheet.raw.cells[headers[0]]
    hanging = bad_day & (own == "")
    fault_each(reading, day[bad_day & ~hanging], note, (column, headers[0], reason))
    for value in day[hanging].unique():
        rows = hanging & (day == value)
        text = f"no {headers[0]} of its own, and the one above it ({value}) is no date"
        reading.fault(own[rows], column, headers[0], (reason, text))
    bad_clock = lacking & ~bad_day & (clock != "") & (day != "")
    fault_each(reading, clock[bad_clock], why, (column, headers[1], reason))
    if column != "checked_at":
        return
    no_clock = lacking & ~bad_day & (clock == "")
    _no_time(reading, clock[no_clock], headers[1], "time")
    _no_time(reading, day[lacking & ~no_clock & (day == "")], headers[0], "date")


def _no_time(reading: Reading, blank: pd.Series, header: str, what: str) -> None:
    text = f"no {what} of check; it is not guessed from the rows around it"
    reading.fault(blank, "checked_at", header, (str(RejectReason.NO_TIME), text))
