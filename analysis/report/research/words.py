"""Numbers and facts of a study in words."""

import math
from collections.abc import Mapping
from typing import Any

from analysis.report.facts import rows_of
from analysis.research import Study
from analysis.terms import ALL


def counted(number: int, what: str) -> str:
    """Write how many of something there are.

    Parameters
    ----------
    number : int
        How many.
    what : str
        One of it.

    Returns
    -------
    str
        With an s unless there is one.

    Examples
    --------
    >>> counted(1, "site"), counted(1200, "site")
    ('1 site', '1,200 sites')
    """
    return f"{number:,} {what}{'' if number == 1 else 's'}"


def rate_words(row: Mapping[str, Any]) -> str:
    """Write a rate with the limits that lead.

    Parameters
    ----------
    row : mapping
        Of the rates table.

    Returns
    -------
    str
        Such as ``65 (45 to 95)``; the upper limit alone where there was no reaction.
    """
    if not float(row["exposure_days"]) > 0:
        return "nobody at risk"
    if not row["events"]:
        return f"0 (up to {row['high']:.0f})"
    return f"{row['rate_per_1000']:.0f} ({row['low']:.0f} to {row['high']:.0f})"


def days_words(value: float) -> str:
    """Write a number of days.

    Parameters
    ----------
    value : float
        Days; missing where not reached.

    Returns
    -------
    str
        One decimal.
    """
    return "not reached" if math.isnan(value) else f"{value:.1f}"


def span_words(low: float, high: float) -> str:
    """Write an interval of days.

    Parameters
    ----------
    low, high : float
        Days; missing where there is no such limit.

    Returns
    -------
    str
        Empty where there is neither.
    """
    if math.isnan(low) and math.isnan(high):
        return ""
    if math.isnan(high):
        return f"{low:.1f} or longer"
    return f"up to {high:.1f}" if math.isnan(low) else f"{low:.1f} to {high:.1f}"


def ratio_words(ratio: float, low: float, high: float) -> str:
    """Write a ratio with its limits.

    Parameters
    ----------
    ratio, low, high : float
        Missing where there is none.

    Returns
    -------
    str
        Empty where there is none.
    """
    if math.isnan(ratio):
        return ""
    upper = "no upper limit" if math.isinf(high) or math.isnan(high) else f"{high:.2f}"
    return f"{ratio:.2f} ({low:.2f} to {upper})"


def p_words(value: float) -> str:
    """Write a probability.

    Parameters
    ----------
    value : float
        Missing where not tested.

    Returns
    -------
    str
        Three decimals, or ``under 0.001``.
    """
    if math.isnan(value):
        return ""
    return "under 0.001" if value < 0.001 else f"{value:.3f}"


def outside_one(study: Study) -> tuple[list[dict[str, Any]], int]:
    """Give the ratios whose interval leaves 1 out, and how many were looked at.

    Parameters
    ----------
    study : Study
        The study.

    Returns
    -------
    outside : list of dict
        Rows of the associations table.
    looked_at : int
        Ratios estimated.
    """
    rows = [row for row in rows_of(study.associations) if not math.isnan(row["ratio"])]
    return [row for row in rows if row["low"] > 1 or row["high"] < 1], len(rows)


def main_rate(study: Study) -> Mapping[str, Any]:
    """Give the rate of all wards over the whole log by the policy's definition.

    Parameters
    ----------
    study : Study
        The study.

    Returns
    -------
    mapping
        A row of the rates table.
    """
    found = study.rates
    is_main = (found["ward"] == ALL) & (found["period"] == ALL)
    return next(iter(rows_of(found[is_main])))
