"""Whether a volume falls or rises as a chart goes on, and how fast.

A header says what a volume is; its course says whether that can be so: what remains
falls, what was given rises, what was set stays as it is.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.intake import dates, numbers

#: Rows that are looked at: enough to tell a habit of charting.
_ROWS = 20_000

#: Longest time between two rows whose step tells a rate, h; common practice, no source.
_LONGEST_H = 12.0


@dataclass(frozen=True, slots=True)
class Course:
    """The steps of a volume from row to row of a chart.

    Attributes
    ----------
    falls, rises, level : int
        Steps down, up, and none.
    pace : float
        Median size of a step down or up per hour, mL/h; NaN without any.
    """

    falls: int
    rises: int
    level: int
    pace: float

    def moves(self) -> int:
        """Give the steps down and up.

        Returns
        -------
        int
            How many there are.
        """
        return self.falls + self.rises

    def is_falling(self) -> bool:
        """Tell whether the volume goes down, as what remains does.

        Returns
        -------
        bool
            True where it is so.
        """
        return self.falls >= _ENOUGH and self.falls > _CLEARLY * self.rises

    def is_rising(self) -> bool:
        """Tell whether the volume goes up, as what was given does.

        Returns
        -------
        bool
            True where it is so.
        """
        return self.rises >= _ENOUGH and self.rises > _CLEARLY * self.falls

    def is_level(self) -> bool:
        """Tell whether the volume stays as it is, as what was set does.

        Returns
        -------
        bool
            True where it is so.
        """
        return self.level >= _ENOUGH and self.level > _CLEARLY * self.moves()


#: Steps that show a course, and how many times as many as the others they must be.
_ENOUGH, _CLEARLY = 3, 2

_NONE = Course(0, 0, 0, float("nan"))


def course_of(
    volume: pd.Series,
    times: Sequence[pd.Series],
    charts: Sequence[pd.Series],
    how: tuple[str, str],
) -> Course:
    """Follow a volume through the charts of a table.

    Parameters
    ----------
    volume : Series of str, shape (n,)
        Cells of the volume.
    times : sequence of Series of str
        A column of moments, or one of days and one of clock times.
    charts : sequence of Series of str
        Columns that tell charts apart: patient, driver, infusion.
    how : tuple of str
        Order of dates and clock (`dates.read_clock`); an open order is read as day
        first, which is enough to tell a course.

    Returns
    -------
    Course
        Of the first rows. The step to a new syringe is one step against many.
    """
    head = volume.iloc[:_ROWS]
    plain = numbers.read_plain(head, None)["value"]
    value = pd.to_numeric(plain, errors="coerce")
    moment = _moments([t.loc[head.index] for t in times], how)
    known = value.notna() & moment.notna()
    if known.sum() <= _ENOUGH:
        return _NONE
    chart = pd.Series("", index=head.index, dtype="str")
    for part in charts:
        chart = chart + "\x1f" + part.loc[head.index]
    frame = pd.DataFrame({"chart": chart, "at": moment, "ml": value})[known]
    frame = frame.sort_values(["chart", "at"], kind="stable")
    by = frame.groupby("chart", sort=False)
    step, hours = by["ml"].diff(), by["at"].diff().dt.total_seconds() / 3600
    is_counted = (hours > 0) & (hours <= _LONGEST_H)
    counted, hours = step[is_counted], hours[is_counted]
    pace = (counted.abs() / hours)[counted != 0]
    return Course(
        falls=int((counted < 0).sum()),
        rises=int((counted > 0).sum()),
        level=int((counted == 0).sum()),
        pace=float(np.median(pace)) if len(pace) else float("nan"),
    )


def _moments(times: Sequence[pd.Series], how: tuple[str, str]) -> pd.Series:
    order, clock = how
    iso, _ = dates.read_clock(
        times[0], times[1] if len(times) > 1 else None, order=order, clock=clock
    )
    return pd.to_datetime(iso.where(iso != ""), format="ISO8601", errors="coerce",
                          utc=True)  # fmt: skip
