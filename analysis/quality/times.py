"""Rows whose time is off by an hour, half a day or a day: row order and volume."""

from collections.abc import Hashable, Mapping
from typing import Any

import pandas as pd

from analysis.intake import Log
from analysis.lookup import by_key
from analysis.quality.course import Courses
from analysis.quality.explanations import SHIFTS_H, time_in_words
from analysis.quality.rows import DELIVERED, REMAINING, Rows
from analysis.quality.throughout import COLUMNS
from analysis.terms import Entry, EntryError


def doubtful_times(log: Log, after_end: frozenset[str]) -> pd.DataFrame:
    """Find the rows whose time the rows around them contradict.

    Parameters
    ----------
    log : Log
        Canonical tables.
    after_end : frozenset of str
        Sources of rows that stand after their infusion's observed end.

    Returns
    -------
    DataFrame
        Indexed by row: above, below (times of the infusion's rows before and after it
        in the file), in_order (those two are). Listed are rows before their infusion's
        start row, rows after its end, and both rows where time runs back in the order
        of the file.
    """
    rows = log.checks[log.checks["infusion_id"].isin(log.infusions.index)]
    ordered = rows.sort_values(["file", "infusion_id", "line"], kind="stable")
    by = ordered.groupby(["file", "infusion_id"])["checked_at"]
    time = ordered["checked_at"]
    out = pd.DataFrame({"above": by.shift(), "below": by.shift(-1)})
    out["in_order"] = ~(out["above"] > out["below"])
    runs_back = out["in_order"] & ((time < out["above"]) | (time > out["below"]))
    started = log.infusions["started_at"].where(log.infusions["has_start_row"])
    begins = by_key(ordered["infusion_id"], started)
    outside = (time < begins) | ordered["source"].isin(after_end)
    return out[(runs_back | outside) & (ordered["entry"] != Entry.START)]


def times_off(log: Log, courses: Courses, doubtful: pd.DataFrame) -> pd.DataFrame:
    """Find rows that fit their infusion only at another time.

    Parameters
    ----------
    log : Log
        Canonical tables.
    courses : Courses
        What a volume should be; doubtful rows have no say in it.
    doubtful : DataFrame
        As given by `doubtful_times`.

    Returns
    -------
    DataFrame
        `throughout.COLUMNS` with column checked_at. Another time is named only if the
        volume fits there and not where it stands, and if the rows above and below do
        not contradict it; without a volume the order alone must speak for it.
    """
    found = []
    rows = Rows(log.checks)
    around = doubtful.to_dict("records")
    for row, beside in zip(doubtful.index.tolist(), around, strict=True):
        said = _where_it_fits(rows.cells(row), courses, beside)
        if said:
            found.append((row, "checked_at", EntryError.TIME_OFF, said))
    return pd.DataFrame(found, columns=COLUMNS)


def _where_it_fits(
    row: Mapping[str, Any], courses: Courses, around: Mapping[Hashable, Any]
) -> str | None:
    """Name the time at which the row fits; None where none does."""
    at, above, below = row["checked_at"], around["above"], around["below"]
    if _volume_fits(row, courses, at):
        return None
    for hours in SHIFTS_H:
        time = at + pd.Timedelta(hours=hours)
        is_off = time < above or time > below  # NaT contradicts nothing
        if around["in_order"] and is_off:
            continue
        fits = _volume_fits(row, courses, time)
        is_between = around["in_order"] and above < time < below
        if fits or (fits is None and is_between):
            order = ", between the rows above and below it" if is_between else ""
            return time_in_words(hours, time) + order
    return None


def _volume_fits(
    row: Mapping[str, Any], courses: Courses, time: pd.Timestamp
) -> bool | None:
    """Tell whether the row's volume fits its infusion at a time; None without one."""
    if pd.isna(row[REMAINING]) and pd.isna(row[DELIVERED]):
        return None
    level = courses.level(row["infusion_id"], time, without=row["row"])
    if level is None:
        return False
    remaining = row[REMAINING]
    if pd.isna(remaining):
        remaining = level.base_ml - row[DELIVERED]
    return level.fits(float(remaining))
