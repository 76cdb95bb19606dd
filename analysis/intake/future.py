"""Checks dated after the day on which they are read."""

import pandas as pd


def future_checks(checks: pd.DataFrame, now: pd.Timestamp) -> list[str]:
    """Say which checks are dated later than they are read.

    Parameters
    ----------
    checks : DataFrame
        Accepted rows of the check log: checked_at and source.
    now : Timestamp
        When they are read, with its zone; given from outside, so that the same log
        gives the same result on any day.

    Returns
    -------
    list of str
        One sentence; none where no check is later.
    """
    later = checks[checks["checked_at"] > now]
    if not len(later):
        return []
    last = later.sort_values("checked_at").iloc[-1]
    today = _day(now.tz_convert(checks["checked_at"].dt.tz))
    return [
        f"{len(later)} of {len(checks)} checks are dated after today, {today} (the "
        f"last: {_day(last['checked_at'])}, {last['source']}): nobody can have made "
        "them yet. They were kept as written; correct the dates, or the order of day "
        "and month."
    ]


def _day(time: pd.Timestamp) -> str:
    return f"{time.day} {time:%B %Y}"
