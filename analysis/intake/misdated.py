"""Dates that were spoilt before they came here: nothing read from them is right."""

import pandas as pd

_REAL = r"^[0-9]{4}-(?P<month>[0-9]{2})-(?P<day>[0-9]{2})(?:T|$)"
_TYPED = r"^(?P<first>[0-9]{1,2})[./-](?P<second>[0-9]{1,2})[./-][0-9]{2,4}\b"
_YEAR_FIRST = r"^[0-9]{4}[./-](?P<middle>[0-9]{1,2})[./-](?P<last>[0-9]{1,2})\b"

#: Share of dates with the year first that slips of the pen put out of order.
_SLIPS = 0.01


def swapped_in_sheet(cells: pd.Series) -> str:
    """Tell that a spreadsheet took days for months as a file was opened in it.

    It makes real dates of 03/09 and 12/09, as 9 March and 9 December, and leaves 13/09,
    which is no date to it, as text. So every date that is text has a day over 12, and
    no real one has.

    Parameters
    ----------
    cells : Series of str, shape (n,)
        A column of dates of a sheet, real ones with the year first.

    Returns
    -------
    str
        Why the dates cannot be used, in words; empty where nothing speaks for it.

    Examples
    --------
    >>> swapped_in_sheet(pd.Series(["2026-11-09T08:00:00", "13/09/2026 08:00"]))[:44]
    'dates up to the 12th are real ones and later'
    """
    different = pd.Series(cells.unique(), dtype="str")
    real = different.str.extract(_REAL)["day"].dropna().astype("int64")
    typed = different.str.extract(_TYPED).dropna().astype("int64")
    is_over = (typed > 12).sum(axis=1) == 1
    if not len(real) or not len(typed) or not is_over.all() or (real > 12).any():
        return ""
    example = different[typed.index[0]]
    return (
        f"dates up to the 12th are real ones and later ones are text ({example}), as "
        "where a spreadsheet took the day for the month; export it again as CSV, and "
        "do not open that in a spreadsheet before"
    )


def year_day_month(cells: pd.Series) -> str:
    """Tell dates that have the year first, then the day and then the month.

    Parameters
    ----------
    cells : Series of str, shape (n,)
        A column of dates.

    Returns
    -------
    str
        Why the dates cannot be used, in words; empty where nothing speaks for it.

    Examples
    --------
    >>> year_day_month(pd.Series(["2026-04-03", "2026-14-03"]))[:40]
    'dates have the year first and then the d'
    """
    counts = cells.value_counts()
    texts = pd.Series(counts.index, dtype="str")
    parts = texts.str.extract(_YEAR_FIRST).dropna().astype("int64")
    n = counts.to_numpy()[parts.index]
    is_turned = ((parts["middle"] > 12) & (parts["last"] <= 12)).to_numpy()
    if not is_turned.any() or n[is_turned].sum() <= _SLIPS * n.sum():
        return ""
    example = texts[parts.index[is_turned][0]]
    return (
        f"dates have the year first and then the day ({example}); export them with "
        "the month in the middle, or with the day first"
    )
