"""Whether rows of a chart follow each other, by how their dates and times are read.

One date decides the order of a whole file where all others can be read both ways. Where
it is a slip of the pen, every chart lies months apart; the other order shows it. Times
of a 12-hour clock without am and pm run back where the volume runs on.
"""

from collections.abc import Sequence

import pandas as pd

from analysis.intake import dates

#: Rows looked at.
_ROWS = 20_000
#: A step from row to row of a chart that no infusion makes, days; common practice.
_JUMP = 20
_DAY_S = 86_400
#: How many times as many such steps as in the other order tell.
_CLEARLY = 3
#: Dates that can be read in one order only, and may be slips: so many, or this share.
_FEW, _FEW_OF_ALL = 2, 0.05
_OTHER = {"dmy": "mdy", "mdy": "dmy"}


def other_order_follows(day: pd.Series, charts: Sequence[pd.Series], order: str) -> str:
    """Give the order in which charts follow from day to day, where this one jumps.

    Parameters
    ----------
    day : Series of str, shape (n,)
        Cells with the day of each row, in the order of the file.
    charts : sequence of Series of str
        Columns that tell charts apart: patient, infusion, driver.
    order : str
        Order of day and month that the dates are to be read in.

    Returns
    -------
    str
        ``dmy`` or ``mdy``; empty where charts follow as they are read, or in neither
        order.

    Examples
    --------
    >>> days = pd.Series(["03/10/2026"] * 4 + ["10/31/2026", "04/10/2026"])
    >>> other_order_follows(days, [], "mdy")
    'dmy'
    """
    other = _OTHER.get(order, "")
    if not other:
        return ""
    head = day.iloc[:_ROWS]
    chart = pd.Series("", index=head.index, dtype="str")
    for part in charts:
        chart = chart + "\x1f" + part.loc[head.index]
    days, others = _days(head, order), _days(head, other)
    # Dates that tell the order cannot be compared; more than a few of them are right.
    both = days.index.intersection(others.index)
    if len(days) - len(both) > max(_FEW, _FEW_OF_ALL * len(days)):
        return ""
    jumps = _jumps(days[both], chart)
    is_better = jumps > 0 and _jumps(others[both], chart) * _CLEARLY <= jumps
    return other if is_better else ""


def runs_back(moment: pd.Series, volume: pd.Series, chart: pd.Series) -> list[int]:
    """Give the places of rows that are earlier than the row before, and have less left.

    Parameters
    ----------
    moment : Series of datetime64, shape (n,)
        Times of checks in the order of the file; NaT where unknown.
    volume : Series of float, shape (n,)
        Volume remaining, mL; NaN where unknown.
    chart : Series of str, shape (n,)
        What each row belongs to.

    Returns
    -------
    list of int
        Places from 0, where most rows are later than the row before them; in a file
        with the newest row first it is read from below.
    """
    known = moment.notna() & volume.notna()
    place = pd.Series(range(len(known)), index=known.index)
    rows = pd.DataFrame({"at": moment, "ml": volume, "chart": chart, "place": place})[
        known
    ]
    step = rows.groupby("chart", sort=False)["at"].diff().dt.total_seconds()
    if (step < 0).sum() > (step > 0).sum():
        rows = rows.iloc[::-1]
        step = rows.groupby("chart", sort=False)["at"].diff().dt.total_seconds()
    falls = rows.groupby("chart", sort=False)["ml"].diff() < 0
    return [int(at) for at in rows.loc[(step < 0) & falls, "place"]]


def _days(day: pd.Series, order: str) -> pd.Series:
    iso, _ = dates.read_clock(day, None, order=order)
    return pd.to_datetime(iso.str[:10].where(iso != "")).dropna()


def _jumps(days: pd.Series, chart: pd.Series) -> int:
    rows = pd.DataFrame({"at": days, "chart": chart[days.index]})
    step = rows.groupby("chart", sort=False)["at"].diff().dt.total_seconds()
    return int((step.abs() >= _JUMP * _DAY_S).sum())
