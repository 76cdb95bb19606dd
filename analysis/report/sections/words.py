"""How a report says months, times, amounts and intervals."""

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from analysis.audit import AuditResult
from analysis.report import facts
from analysis.terms import FindingGroup

EN_DASH = "\N{EN DASH}"

UNKNOWN = "not known"


def month(period: str) -> str:
    """Say a month.

    Parameters
    ----------
    period : str
        YYYY-MM.

    Returns
    -------
    str
        As "October 2026".
    """
    return f"{pd.Timestamp(period + '-01'):%B %Y}"


def month_head(period: str, result: AuditResult) -> str:
    """Say a month as the head of a column.

    Parameters
    ----------
    period : str
        YYYY-MM.
    result : AuditResult
        The audit.

    Returns
    -------
    str
        Marked where the log holds only a part of it.
    """
    return month(period) + (" (part)" if facts.is_part(result, period) else "")


def when(moment: object) -> str:
    """Say a local time; where the clocks change that day, with its zone.

    Parameters
    ----------
    moment : object
        A Timestamp in the policy's zone, or missing.

    Returns
    -------
    str
        Day, month and time; "not known" where missing.
    """
    if not isinstance(moment, pd.Timestamp):
        return UNKNOWN
    return f"{moment.day} {moment:%b} {clock(moment)}"


def clock(moment: pd.Timestamp) -> str:
    """Say a time of day; where the clocks change that day, with its zone.

    Parameters
    ----------
    moment : Timestamp
        With zone.

    Returns
    -------
    str
        HH:MM.
    """
    day = moment.normalize()
    turns = f"{day:%z}" != f"{day + pd.DateOffset(days=1):%z}"
    return f"{moment:%H:%M %Z}" if turns else f"{moment:%H:%M}"


def date(moment: pd.Timestamp) -> str:
    """Say a day and a time in full.

    Parameters
    ----------
    moment : Timestamp
        With zone.

    Returns
    -------
    str
        As "3 October 2026, 09:40".
    """
    return f"{moment.day} {moment:%B %Y}, {clock(moment)}"


def number(value: float | None, decimals: int = 1) -> str:
    """Say a number.

    Parameters
    ----------
    value : float or None
        NaN or None where missing.
    decimals : int
        Places after the point.

    Returns
    -------
    str
        With thousands set apart; "not known" where missing.
    """
    # A column that is empty throughout comes back from run.json as None.
    if value is None or math.isnan(value):
        return UNKNOWN
    return f"{value + 0.0:,.{decimals}f}"


def some(n: int, noun: str) -> str:
    """Say how many of something.

    Parameters
    ----------
    n : int
        How many.
    noun : str
        For one of them.

    Returns
    -------
    str
        As "1 ward", "2 wards".
    """
    return f"{n:,} {noun}{'' if n == 1 else 's'}"


def amount(value: float, unit: str) -> str:
    """Give a part of a measure: whole units, hours with one place.

    Parameters
    ----------
    value : float
        Units or hours.
    unit : str
        "h" for hours.

    Returns
    -------
    str
        The number alone.
    """
    return number(value, 1 if unit == "h" else 0)


def of(measured: facts.Measured, unit: str) -> str:
    """Say how many units were counted of those judged.

    Parameters
    ----------
    measured : Measured
        The figure.
    unit : str
        "h" for hours.

    Returns
    -------
    str
        As "5 of 7".
    """
    h = " h" if unit == "h" else ""
    return (
        f"{amount(measured.numerator, unit)} of {amount(measured.denominator, unit)}{h}"
    )


def percent(measured: facts.Measured) -> str:
    """Say a proportion as a percentage, or why there is none.

    Parameters
    ----------
    measured : Measured
        The figure.

    Returns
    -------
    str
        With one place.
    """
    if not measured.has_figure:
        return measured.shown
    if math.isnan(measured.proportion):
        return "counts only"
    return f"{100 * measured.proportion:.1f} %"


def interval(low: float, high: float, scale: float = 1.0) -> str:
    """Say an interval.

    Parameters
    ----------
    low, high : float
        Limits; NaN where not known.
    scale : float
        Both are multiplied by it.

    Returns
    -------
    str
        Empty where not known.
    """
    if math.isnan(low) or math.isnan(high):
        return ""
    return f"{scale * low:.1f} to {scale * high:.1f}"


def volume(row: Mapping[str, Any]) -> str:
    """Say how far off the line, and which way.

    Parameters
    ----------
    row : mapping
        A row of the findings table.

    Returns
    -------
    str
        With its 95 % interval; empty where not known.
    """
    volume = row["volume_ml"]
    if pd.isna(volume):
        return ""
    way = "behind" if volume < 0 else "ahead of"
    low, high = sorted((abs(row["volume_low_ml"]), abs(row["volume_high_ml"])))
    between = "" if math.isnan(low) else f" (95 % interval {low:.1f} to {high:.1f})"
    if row["volume_low_ml"] * row["volume_high_ml"] < 0:
        between = (
            f" (95 % interval {row['volume_low_ml']:.1f} to "
            f"{row['volume_high_ml']:.1f}, negative: behind)"
        )
    return f"{abs(volume):.1f} mL {way} the line{between}"


def hours(row: Mapping[str, Any]) -> str:
    """Say the hours of a finding.

    Parameters
    ----------
    row : mapping
        A row of the findings table.

    Returns
    -------
    str
        Empty where not known.
    """
    found = row["hours_equivalent"]
    return "" if pd.isna(found) else f"{abs(found):.1f} h"


#: What the hours of a finding are, by its group; a setting has none.
_HOURS = {
    FindingGroup.DELIVERY: "about {} of delivery",
    FindingGroup.CHECK: "{} between two checks",
    FindingGroup.CONTINUITY: "{} without a syringe running",
    FindingGroup.LINE: "at least {} over the limit",
    FindingGroup.SITE: "at least {} over the limit",
}


def hours_of(row: Mapping[str, Any]) -> str:
    """Say the hours of a finding, and what they are hours of.

    Parameters
    ----------
    row : mapping
        A row of the findings table.

    Returns
    -------
    str
        Empty where not known, or where the finding is not counted in hours.
    """
    said, known = hours(row), _HOURS.get(row["group"])
    return known.format(said) if said and known else ""


def sources(row: Mapping[str, Any]) -> str:
    """Say the rows behind a finding: file:first to last, the file once if it is one.

    Parameters
    ----------
    row : mapping
        A row of the findings table.

    Returns
    -------
    str
        Empty where not known.
    """
    first, last = plain(row["first_source"]), plain(row["last_source"])
    if first == last or not last:
        return first
    file, _, _ = first.rpartition(":")
    other, _, line = last.rpartition(":")
    return f"{first} to {line if file == other else last}"


def plain(value: object) -> str:
    """Give a value as text.

    Parameters
    ----------
    value : object
        Any.

    Returns
    -------
    str
        Empty where missing.
    """
    return "" if pd.isna(value) else str(value)  # type: ignore[call-overload]


def span(first: object, last: object) -> str:
    """Say a window: one time where both ends are one, a day once where it is one.

    Parameters
    ----------
    first, last : object
        Timestamps, or missing.

    Returns
    -------
    str
        Of one missing end the other is said alone.
    """
    if not isinstance(first, pd.Timestamp) or not isinstance(last, pd.Timestamp):
        known = first if isinstance(first, pd.Timestamp) else last
        return when(known)
    if first == last:
        return when(first)
    is_one_day = first.date() == last.date()
    return f"{when(first)} to {clock(last) if is_one_day else when(last)}"


def ended(first: object, last: object) -> str:
    """Say when a finding ended; without a latest time it was not seen to end.

    Parameters
    ----------
    first, last : object
        Timestamps, or missing.

    Returns
    -------
    str
        In words.
    """
    if isinstance(last, pd.Timestamp):
        return span(first, last)
    by = f" by {when(first)}" if isinstance(first, pd.Timestamp) else ""
    return f"not seen to end{by}"
