"""Whether the days of a chart follow each other, by the order that dates are read in.

One date decides the order of a whole file where all others can be read both ways. Where
it is a slip of the pen, every chart lies months apart; the other order shows it.
"""

from collections.abc import Sequence

import pandas as pd

from analysis.intake import dates

#: Rows looked at.
_ROWS = 20_000
#: A step from row to row of a chart that no infusion makes, days; common practice.
_JUMP = 20
#: Fewest such steps that tell, and how many times as many as in the other order.
_FEWEST, _CLEARLY = 2, 3
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
    jumps = _jumps(head, chart, order)
    if jumps < _FEWEST or _jumps(head, chart, other) * _CLEARLY > jumps:
        return ""
    return other


def _jumps(day: pd.Series, chart: pd.Series, order: str) -> int:
    iso, _ = dates.read_clock(day, None, order=order)
    known = pd.to_datetime(iso.str[:10].where(iso != "")).dropna()
    step = known.groupby(chart[known.index], sort=False).diff().dt.days.abs()
    return int((step >= _JUMP).sum())
