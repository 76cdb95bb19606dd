"""Written times to instants: whole seconds, true elapsed hours, clock changes settled.

Local wall-clock times are read in the policy's zone. On the night when clocks go back
an hour comes twice; rows of one chart in their order in the file say which of the two
is meant where a time runs back, and are marked where nothing does.
"""

from collections.abc import Callable
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from analysis.texts import same

#: Notes written beside a time that had to be settled.
FIRST_OF_TWO = "clocks went back: first of the two hours assumed"
SECOND_OF_TWO = "clocks went back: second of the two hours, by row order"
DID_NOT_EXIST = (
    "clocks went forward: this local time did not exist, read as one hour on"
)

_FIRST_YEAR, _LAST_YEAR = 2000, 2100
_PATTERN = (
    r"(?P<day>[0-9]{4}-[0-9]{2}-[0-9]{2})"
    r"(?:[T ](?P<hour>[0-9]{2}):(?P<minute>[0-9]{2})"
    r"(?::(?P<second>[0-9]{2})(?:[.,][0-9]+)?)?)?"
    r"\s*(?P<offset>Z|[+-](?:0[0-9]|1[0-4]):?[0-5][0-9])?"
)


def read_times(
    text: pd.Series, zone: ZoneInfo, charts: Callable[[], pd.Series]
) -> tuple[pd.Series, pd.Series, pd.Series]:
    """Read ISO 8601 times.

    Parameters
    ----------
    text : Series of str, shape (n,)
        Cells in the order of the file; empty where nothing is charted.
    zone : ZoneInfo
        Zone of times without an offset.
    charts : callable
        Gives what each row belongs to, as a Series of shape (n,): rows of one chart are
        expected in order of time. Called where a clock change must be settled only.

    Returns
    -------
    times : Series of datetime64[us, zone], shape (n,)
        NaT where the cell is empty, unreadable or a date alone.
    notes : Series of str, shape (n,)
        What had to be settled; empty where nothing had.
    is_date : Series of bool, shape (n,)
        True where a date stands alone.
    """
    if (text == "").all():
        return _no_times(text, zone)
    # A month has fewer minutes than a large log has rows: each is read once.
    codes, different = pd.factorize(text)
    found = _local_times(pd.Series(different, dtype="str"))
    if (plain := _plain_times(*found, zone)) is not None:
        none = pd.Series(same("", len(text)), index=text.index)
        times, is_date = (s.take(codes).set_axis(text.index) for s in plain)
        return times, none, is_date
    local, is_date, offset = (s.take(codes).set_axis(text.index) for s in found)
    local = local.mask(is_date)
    has_offset = offset.notna()
    if not has_offset.any():
        settled, notes = _settle(local, zone, charts)
        return settled.dt.tz_convert(zone), notes, is_date
    settled, notes = _settle(local.mask(has_offset), zone, charts)
    exact = (local - offset).dt.tz_localize(UTC)
    utc = settled.where(~has_offset, exact)
    return utc.dt.tz_convert(zone), notes, is_date


def read_spans(text: pd.Series, zone: ZoneInfo) -> tuple[pd.Series, pd.Series]:
    """Read times that may be dates alone, as the first and last second they can mean.

    Parameters
    ----------
    text : Series of str, shape (n,)
        Cells; empty where nothing is charted.
    zone : ZoneInfo
        Zone of times without an offset.

    Returns
    -------
    earliest, latest : Series of datetime64[us, zone], shape (n,)
        Equal for a time; a whole local day for a date; NaT where nothing can be read.
    """
    if (text == "").all():
        none, _, _ = _no_times(text, zone)
        return none, none

    def alone() -> pd.Series:
        return pd.Series(np.arange(len(text)), index=text.index)

    times, _, is_date = read_times(text, zone, alone)
    day = pd.to_datetime(text.where(is_date), format="%Y-%m-%d", errors="coerce")
    first, _ = _settle(day, zone, alone)
    after, _ = _settle(day + pd.Timedelta(days=1), zone, alone)
    last = after - pd.Timedelta(seconds=1)
    return (
        times.where(~is_date, first.dt.tz_convert(zone)),
        times.where(~is_date, last.dt.tz_convert(zone)),
    )


def _no_times(
    text: pd.Series, zone: ZoneInfo
) -> tuple[pd.Series, pd.Series, pd.Series]:
    times = pd.Series(pd.NaT, index=text.index, dtype=pd.DatetimeTZDtype("us", zone))
    return (
        times,
        pd.Series(same("", len(text)), index=text.index),
        pd.Series(data=False, index=text.index),
    )


def _local_times(text: pd.Series) -> tuple[pd.Series, pd.Series, pd.Series]:
    """Give local times, which of them are dates alone, and offsets (NaT for none)."""
    parts, local = _parsed(text)
    is_date = local.notna() & parts["hour"].isna()
    return local, is_date, _offset_of(parts["offset"])


def _plain_times(
    local: pd.Series, is_date: pd.Series, offset: pd.Series, zone: ZoneInfo
) -> tuple[pd.Series, pd.Series] | None:
    """Give times where no offset and no clock change asks for the rows around them."""
    if offset.notna().any():
        return None
    times = local.mask(is_date)
    settled = times.dt.tz_localize(zone, ambiguous="NaT", nonexistent="NaT")
    is_odd = times.notna() & settled.isna()
    return None if is_odd.any() else (settled, is_date)


def _parsed(text: pd.Series) -> tuple[pd.DataFrame, pd.Series]:
    parts = text.str.extract(f"^{_PATTERN}$")
    is_midnight = (parts["hour"] == "24") & (parts["minute"] == "00")
    is_midnight &= parts["second"].fillna("00") == "00"
    hour = parts["hour"].mask(is_midnight, "00").fillna("00")
    clock = (
        parts["day"]
        + " "
        + hour
        + ":"
        + parts["minute"].fillna("00")
        + ":"
        + parts["second"].fillna("00")
    )
    local = pd.to_datetime(clock, format="%Y-%m-%d %H:%M:%S", errors="coerce")
    local = local.astype("datetime64[us]")
    local = local.mask(~local.dt.year.between(_FIRST_YEAR, _LAST_YEAR))
    return parts, local.mask(is_midnight, local + pd.Timedelta(days=1))


def _offset_of(text: pd.Series) -> pd.Series:
    digits = text.replace("Z", "+00:00").str.replace(":", "")
    minutes = pd.to_numeric(digits.str[1:3]) * 60 + pd.to_numeric(digits.str[3:5])
    return pd.to_timedelta(minutes.where(digits.str[0] == "+", -minutes), unit="m")


def _settle(
    local: pd.Series, zone: ZoneInfo, charts: Callable[[], pd.Series]
) -> tuple[pd.Series, pd.Series]:
    """Turn local times into UTC, and say where the clock change had to be settled."""
    notes = pd.Series(same("", len(local)), index=local.index)
    first = np.ones(len(local), dtype=bool)
    plain = local.dt.tz_localize(zone, ambiguous="NaT", nonexistent="NaT")
    odd = local.notna() & plain.isna()
    if not odd.any():
        return plain.dt.tz_convert(UTC), notes
    twice = odd & local[odd].map(lambda t: _comes_twice(t, zone)).reindex(
        local.index, fill_value=False
    ).astype(bool)
    second = _runs_back(local, twice, charts())
    first = (~second).to_numpy()
    notes[twice] = FIRST_OF_TWO
    notes[second] = SECOND_OF_TWO
    notes[odd & ~twice] = DID_NOT_EXIST
    utc = local.dt.tz_localize(
        zone, ambiguous=first, nonexistent=pd.Timedelta(hours=1)
    ).dt.tz_convert(UTC)
    return utc, notes


def _comes_twice(local: datetime, zone: ZoneInfo) -> bool:
    early = local.replace(tzinfo=zone, fold=0).utcoffset()
    late = local.replace(tzinfo=zone, fold=1).utcoffset()
    return early is not None and late is not None and early > late


def _runs_back(local: pd.Series, twice: pd.Series, chart: pd.Series) -> pd.Series:
    """Mark doubled times that stand after a later one of the same chart and night."""
    if not twice.any():
        return pd.Series(data=False, index=local.index)
    frame = pd.DataFrame({"local": local, "chart": chart})[twice]
    place = pd.Series(np.arange(len(local)), index=local.index)[twice]
    later = _share_of_later_steps(local[~twice], chart[~twice])
    later = frame["chart"].map(later).fillna(1.0)
    place = place.mask(later <= 1 - _ORDERED, -place)
    frame = frame.loc[place.sort_values().index]
    keys = [frame["chart"], frame["local"].dt.date]
    latest_before = frame.groupby(keys)["local"].transform(
        lambda times: times.cummax().shift()
    )
    ran_back = frame["local"] < latest_before
    # Once a chart has run back, its later rows of that night are in the second hour.
    second = ran_back.groupby(keys).cummax()
    # Rows in no order say nothing of which hour is meant.
    second &= (later >= _ORDERED) | (later <= 1 - _ORDERED)
    return second.reindex(local.index, fill_value=False).astype(bool)


#: Share of a chart's steps that go one way from which its rows are in order: a late
#: entry or two do not make a chart that is in none.
_ORDERED = 0.9


def _share_of_later_steps(local: pd.Series, chart: pd.Series) -> pd.Series:
    """Give for each chart the share of steps to a later row; one to an earlier is none.

    A chart without a step is not in it.
    """
    step = local.groupby(chart).diff().dt.total_seconds()
    step = step[step.notna() & (step != 0)]
    share: pd.Series = (step > 0).groupby(chart[step.index]).mean()
    return share
