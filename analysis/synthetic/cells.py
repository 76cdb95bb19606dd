"""Numbers and times as they stand in a file."""

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd

from analysis.synthetic.course import ZONE


def local_times(minutes: Sequence[int | None]) -> list[str]:
    """Write minutes since 1970, UTC, as local wall-clock times; '' for None.

    An offset is written within an hour that comes twice, and nowhere else.

    Parameters
    ----------
    minutes : sequence of int or None
        Minutes since 1970, UTC.

    Returns
    -------
    list of str
        Times to the minute, Europe/London; '' for None.
    """
    if not minutes:
        return []
    seconds = np.array([-1 if m is None else m for m in minutes], dtype="int64") * 60
    local = pd.to_datetime(seconds, unit="s", utc=True).tz_convert(ZONE)
    wall = local.tz_localize(None)
    is_twice = wall.tz_localize(ZONE, ambiguous="NaT", nonexistent="NaT").isna()
    plain = wall.strftime("%Y-%m-%dT%H:%M")
    texts = []
    for k, minute in enumerate(minutes):
        offset = local[k].isoformat()[-6:] if is_twice[k] else ""
        texts.append("" if minute is None else plain[k] + offset)
    return texts


def text_frame(rows: Iterable[dict[str, str]], names: Sequence[str]) -> pd.DataFrame:
    """Put rows of cells into a table of text.

    Parameters
    ----------
    rows : iterable of dict
        Cells by the name of their column.
    names : sequence of str
        Columns, in order.

    Returns
    -------
    DataFrame
        Text cells; '' where a row has none.
    """
    cells = [[row.get(name, "") for name in names] for row in rows]
    return pd.DataFrame(cells, columns=list(names), dtype="str")


def number_text(value: float) -> str:
    """Write a number as people do: at most three decimals, no trailing zeros.

    Parameters
    ----------
    value : float
        The number.

    Returns
    -------
    str
        Digits with a decimal point.
    """
    return f"{round(value, 3) + 0.0:.3f}".rstrip("0").rstrip(".")


def to_step(value: float, step: float) -> float:
    """Round to the step of a scale or a display.

    Parameters
    ----------
    value : float
        The number.
    step : float
        Step of the scale, in the same unit; 0: none.

    Returns
    -------
    float
        The nearest whole number of steps.
    """
    return round(value / step) * step if step else value
