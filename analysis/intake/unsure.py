"""What the names and the times of a table leave unsure, and the questions it makes.

Steps of `recognise.propose`: each takes a draft and gives it with what it asks.
"""

import re
from collections.abc import Sequence

import pandas as pd

from analysis.intake import conventions, dates, modifiers, numbers, synonyms
from analysis.intake.clocks import Clock
from analysis.intake.fitting import fits
from analysis.intake.follow import other_order_follows, runs_back
from analysis.intake.layout import Holds
from analysis.intake.profiles import IS_CLOCK, IS_DAY, Profile
from analysis.intake.proposal import Draft, listed
from analysis.intake.spread import counted_with
from analysis.intake.synonyms import Strength


def parts_of_names(draft: Draft) -> Draft:
    """Ask for columns that are named by a part of a header only, if by any.

    A header of another thing that is charted is left out without a question, as are
    headers of columns whose loss changes nothing that is measured.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.

    Returns
    -------
    Draft
        With what was asked.
    """
    if draft.table.holds is not Holds.CHECKS:
        return draft
    taken = {h for headers in draft.table.columns.values() for h in headers}
    for header, found in draft.profiles.items():
        if header in taken or modifiers.are_of_another(synonyms.normal(header)):
            continue
        named = [c for c in synonyms.candidates(found.named)
                 if c.strength is Strength.PART and fits(c, found)]  # fmt: skip
        for column in (c.column for c in named):
            if column not in _ASKED_BY_PART or _has(draft, column):
                continue
            if column in _IDS and not modifiers.name_an_id(synonyms.normal(header)):
                continue
            columns = {**draft.table.columns, column: (header,)}
            text = (
                f"{header} may be {column} or another thing: a part of its name says "
                "so, and no other header does; write that header where it is right, "
                "else take the line out"
            )
            draft = draft.put(columns=columns).ask(
                f"columns.{column}", text, blocks=True
            )
            break
    return draft


#: Columns a log can do without, whose loss or misreading changes what is measured.
_ASKED_BY_PART = frozenset(
    {"infusion_id", "driver_id", "entry", "set_rate_ml_h", "site_signs"}
)
_IDS = frozenset({"infusion_id", "driver_id"})


def drivers_beside(draft: Draft) -> Draft:
    """Ask for a second volume beside the one that was taken: that of another driver.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.

    Returns
    -------
    Draft
        With what was asked.
    """
    free = [p.header for p in _free(draft) if not p.is_empty()]
    doubted = {column for column, _ in draft.doubts}
    for column in ("volume_remaining_ml", "volume_delivered_ml"):
        header = draft.header(column)
        others = counted_with(header, free) if column not in doubted else []
        if others:
            text = (
                f"{listed([header, *others])} stand side by side, as those of several "
                "drivers do: they are read where each has the number of its driver "
                "beside it under a header of the same form, such as Driver A no, "
                "Driver A ml left, Driver B no, Driver B ml left; add those"
            )
            draft = draft.ask(f"columns.{column}", text, blocks=True)
    return draft


def _has(draft: Draft, column: str) -> bool:
    is_of_signs = column == "site_signs" and bool(draft.table.signs_of)
    return column in draft.table.columns or is_of_signs


def lacking_times(draft: Draft) -> Draft:
    """Ask for the day or the time of day of checks where the other stands alone.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.

    Returns
    -------
    Draft
        With what was asked.
    """
    header = draft.header("checked_at")
    found = draft.profiles.get(header)
    if found is None:
        return _counted_from_start(draft)
    match found.time_kind:
        case "midnight" if found.rows - found.blank >= _ENOUGH_MIDNIGHTS:
            clocks = [p.header for p in _free(draft) if p.time_kind == "clock"]
            where = f", perhaps {clocks[0]}" if clocks else ""
            text = (
                f"{header} reads midnight on every row, so it says the day and not the "
                f"time of a check: name the column of its times beside it{where}, or "
                "export the times"
            )
        case "day":
            text = _lacking(draft, header, IS_CLOCK)
        case "clock":
            text = _lacking(draft, header, IS_DAY)
        case _:
            return draft
    return draft.ask("columns.checked_at", text, blocks=True) if text else draft


def _counted_from_start(draft: Draft) -> Draft:
    """Ask for the times of checks that are told as hours since the start alone."""
    since = [p.header for p in _free(draft)
             if _SINCE_START.search(synonyms.normal(p.named))]  # fmt: skip
    if not since or draft.table.holds is not Holds.CHECKS:
        return draft
    text = (
        f"{since[0]} counts from the start and no column gives the time of a check: it "
        "is not reckoned, since a change of the clock or a pause in between may count "
        "or not; add a column with day and time, such as 14/09/2026 16:05"
    )
    columns = {**draft.table.columns, "checked_at": (since[0],)}
    return draft.put(columns=columns).ask("columns.checked_at", text, blocks=True)


_SINCE_START = re.compile(
    r"\b(?:since|after|from)(?: the)? (?:start|set up|commencement|commencing)\b|"
    r"\belapsed\b|\binto (?:the )?infusion\b"
)

#: Checks of which one at least is not made at midnight.
_ENOUGH_MIDNIGHTS = 3
_SHORT_TIME = re.compile(r"\d{1,2}[.,]\d")
_NO_YEAR = re.compile(r"\d{1,2}[./ -](?:\d{1,2}|[a-z]{3,9})\.?")


def _free(draft: Draft) -> list[Profile]:
    taken = {h for headers in draft.table.columns.values() for h in headers}
    return [p for h, p in draft.profiles.items() if h not in taken]


def _lacking(draft: Draft, header: str, wanted: re.Pattern[str]) -> str:
    """Say what is wrong with the other part of a time, where a column has its name."""
    is_time = wanted is IS_CLOCK
    has, lacks, form = (
        ("day", "time", "16:05") if is_time else ("time", "day", "14/09/2026")
    )
    for other in _free(draft):
        named = {c.column for c in synonyms.candidates(other.named)}
        odd = [c for c in other.counts.index if not wanted.fullmatch(str(c))]
        if "checked_at" not in named or not odd:
            continue
        if not is_time and _NO_YEAR.fullmatch(odd[0]):
            return (
                f"{other.header} reads '{odd[0]}', a day without its year: write the "
                "year in every date"
            )
        if is_time and _SHORT_TIME.fullmatch(odd[0]):
            return (
                f"{other.header} reads '{odd[0]}', which may be a time that a "
                "spreadsheet took for a number (8.3 for 8.30) or a part of an hour: "
                "write times as 16:05"
            )
        return (
            f"{header} gives the {has} of a check only, and {other.header}, which "
            f"should give the {lacks}, reads '{odd[0]}': write it as {form}"
        )
    if draft.profiles[header].share(_FORMS[has].fullmatch) < _PLAINLY:
        return ""
    return (
        f"{header} gives the {has} of a check only, and no column gives its {lacks}: "
        f"add one, or write both in one cell, such as 14/09/2026 16:05"
    )


#: What a part of a time looks like; and the share of cells that must do so.
_FORMS = {"day": IS_DAY, "time": IS_CLOCK}
_PLAINLY = 0.95


#: Orders of dates in words.
IN_WORDS = {"dmy": "day first", "mdy": "month first"}


def other_order(draft: Draft, order: str) -> str:
    """Give the order in which charts follow where the order decided makes them jump.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.
    order : str
        The order decided.

    Returns
    -------
    str
        Empty where charts follow in the order decided, or in neither.
    """
    times = draft.table.columns.get("checked_at", ())
    if not times:
        return ""
    cells = draft.raw.cells
    charts = draft.headers(("patient_id", "infusion_id", "driver_id"))
    return other_order_follows(cells[times[0]], [cells[h] for h in charts], order)


def half_open(draft: Draft, texts: Sequence[pd.Series]) -> Draft:
    """Ask for the half of the clock where no time shows it and 24 hours do not fit.

    They do not where there are times at night and none in the afternoon, or where
    times run back while the volume goes on falling.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.
    texts : sequence of Series of str
        All cells that should hold clock times.

    Returns
    -------
    Draft
        With what was asked.
    """
    times = draft.table.columns.get("checked_at", ())
    if len(times) not in (1, 2) or not conventions.leaves_half_open(texts):
        return draft
    if draft.table.clock == Clock.H12:
        text = (
            f"no time under {times[-1]} is after 12:59, though there are times at "
            f"night: {_WRITE_HALVES}, or write 24 for clock if the times are right"
        )
        return draft.ask("clock", text, blocks=True)
    left = draft.header("volume_remaining_ml")
    if not left:
        return draft
    cells = draft.raw.cells.iloc[:_LOOKED_AT]
    beside = cells[times[1]] if len(times) > 1 else None
    # Rows of one day are compared, which either order of day and month tells.
    iso, _ = dates.read_clock(cells[times[0]], beside, order="dmy")
    moment = pd.to_datetime(iso.where(iso.str.len() > len("2026-09-14")), utc=True,
                            format="ISO8601", errors="coerce")  # fmt: skip
    read = numbers.read_plain(cells[left], None)["value"]
    chart = iso.str[: len("2026-09-14")]
    # What else tells two syringes of a patient apart, where no driver does.
    told = [h for group in draft.table.contents_of for h in group]
    for header in (*draft.headers(_OF_SYRINGE), *told):
        chart = chart + "\x1f" + cells[header]
    found = runs_back(moment, pd.to_numeric(read, errors="coerce"), chart)
    if not found:
        return draft
    line = draft.raw.lines.iloc[found[0]]
    text = (
        f"no time is after 12:59, and on line {line} the time under {times[-1]} runs "
        "back while the volume goes on falling, as where a clock of 12 hours is "
        f"written without am or pm: {_WRITE_HALVES}, or leave 24 for clock if the "
        "times are right"
    )
    return draft.ask("clock", text, blocks=True)


_OF_SYRINGE = (
    "patient_id", "infusion_id", "driver_id", "contents", "start_volume_ml",
    "made_up_to_ml", "syringe_size_ml", "set_rate_ml_h", "started_at",
)  # fmt: skip
_WRITE_HALVES = "write am or pm behind every time"


#: Rows looked at.
_LOOKED_AT = 20_000
