"""Numbers and facts of a study in words."""

import math
from collections.abc import Mapping
from typing import Any, Final

from analysis.report.facts import rows_of
from analysis.research import Study
from analysis.research.linkage import Linkage
from analysis.terms import ALL

_LETTERS: Final = (
    *("no", "one", "two", "three", "four"),
    *("five", "six", "seven", "eight", "nine"),
)


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


def number_words(number: int) -> str:
    """Write a small number in letters.

    Parameters
    ----------
    number : int
        How many.

    Returns
    -------
    str
        In figures from ten on.

    Examples
    --------
    >>> number_words(7), number_words(12)
    ('seven', '12')
    """
    return _LETTERS[number] if number < len(_LETTERS) else str(number)


def sites_words(study: Study) -> str:
    """Say how many sites a study found, and of how many patients.

    Parameters
    ----------
    study : Study
        The study.

    Returns
    -------
    str
        Such as ``137 cannula sites of 99 patients``.
    """
    of = counted(study.patients, "patient")
    return f"{counted(study.sites, 'cannula site')} of {of}"


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
    if math.isinf(ratio):
        return f"no reaction beside it ({low:.2f} or more)"
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


def _of_days(found: Linkage, *, is_done: bool) -> str:
    if is_done:
        return (
            "Hours are rounded to whole days, so that rates and curves made of it "
            "differ from those of this study."
        )
    return (
        "With hours rounded to whole days (--whole-days) it would be "
        f"{found.alone_by_days:,}."
    )


def linkage_words(found: Linkage, least: int, *, whole_days: bool) -> list[str]:
    """Say how many patients of an extract can be found, and what is coarse in it.

    Parameters
    ----------
    found : Linkage
        As counted.
    least : int
        Patients that each combination of words has.
    whole_days : bool
        Hours are rounded to whole days.

    Returns
    -------
    list of str
        Sentences.
    """
    of = f"of its {counted(found.patients, 'patient')}"
    other = ", ".join(
        f"{name} in {100 * share:.0f} %" for name, share in found.other.items() if share
    )
    return [
        f"Whoever holds the charts can find {found.alone_by_rows:,} {of} without the "
        "key: made from the log, their rows are like no other patient's, hours and "
        f"all. {_of_days(found, is_done=whole_days)} Do not give it to anybody who can "
        "also see the charts and should not know who is who.",
        f"There is no date in it, but {found.at_ends_of_log:,} of its "
        f"{counted(found.sites, 'site')} were in place before the log began, or "
        "watched until no more is charted: whoever knows the log's first and last day "
        "may be able to date them. Do not tell these days with it.",
        f"At least {least} patients stand behind each combination of ward, location "
        "and drugs, and behind each material and each diluent, table by table. All "
        f"words of one row together have fewer in {found.rows_of_few:,} of "
        f"{counted(found.rows, 'row')}, and by the words of all rows of a patient "
        f"together {found.alone_by_words:,} {of} are alone, which a person who knows "
        "their drugs and places could use.",
        f"Written as other: {other or 'nothing'}"
        + (
            " (of sites; of diluent, of periods). More patients, or fewer different "
            "words, leave more."
            if other
            else "."
        ),
    ]


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
