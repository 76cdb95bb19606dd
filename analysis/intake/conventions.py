"""How a file writes its dates and times: decided for it as a whole, never for a row."""

import calendar
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import NamedTuple

import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from analysis.intake.clocks import Clock, clock_of, plain
from analysis.intake.day_and_time import (
    DAY_NUMBERS,
    FIRST_YEAR,
    LAST_YEAR,
    Order,
    as_strings,
    day_and_time,
)


class OrderFound(NamedTuple):
    """The order of dates in a file, what shows it, and whether it is settled."""

    order: Order
    evidence: str
    is_certain: bool


#: Share of dates against the order of all others that are taken for slips of the pen.
_SLIPS = 0.01

#: Times from which a file without a single one after noon is taken for a 12-hour clock.
_ENOUGH_TIMES = 10


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
        day, _ = day_and_time(as_strings(counts.index))
        for token, n in zip(day, counts, strict=True):
            if token:
                days[token] += int(n)
    return days


def _numeric(day: str) -> tuple[int, int, int, bool] | None:
    """Give the three numbers of a date that depends on an order, and if 2-digit."""
    found = DAY_NUMBERS.fullmatch(day)
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
    if not FIRST_YEAR <= year <= LAST_YEAR or not 1 <= month <= 12:
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
        cells = as_strings(counts.index)
        is_iso = pc.match_substring_regex(cells, _ISO)
        is_other = ~is_iso.to_numpy(zero_copy_only=False)
        of_iso += int(counts[~is_other].sum())
        cells, counts = cells.filter(pa.array(is_other)), counts[is_other]
        day, time = day_and_time(cells)
        for cell, d, t, n in zip(cells, day, time, counts, strict=True):
            times[plain(t if d else str(cell))] += int(n)
    return times, of_iso


_ISO = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:"
