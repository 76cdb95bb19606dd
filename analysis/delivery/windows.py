"""When a finding can have begun and ended, and the first reading that could show it."""

from collections.abc import Hashable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from analysis.delivery.decision import Event
from analysis.delivery.noise import LIMIT_SD


def clocks(
    hours: tuple[float, float], infusion: Mapping[Hashable, Any], rows: pd.DataFrame
) -> tuple[pd.Timestamp, pd.Timestamp]:
    """Give earliest and latest as times.

    Parameters
    ----------
    hours : tuple of float
        Earliest and latest, elapsed; NaN where not known.
    infusion : mapping
        The infusion: started_at and observed_end.
    rows : DataFrame
        Its readings in order of time: checked_at, time_step_h.

    Returns
    -------
    tuple of Timestamp
        No finer than the ward writes its times, and no part of it before the charted
        start or after the observed end (its last reading, if that is later); NaT where
        not known.
    """
    started, ended = infusion["started_at"], infusion["observed_end"]
    last = rows["checked_at"].iloc[-1]
    last = last if pd.isna(ended) else max(ended, last)
    step = float(rows["time_step_h"].max())
    earliest, latest = hours[0] - step, hours[1] + step
    return _clock(started, earliest, last), _clock(started, latest, last)


def _clock(started: pd.Timestamp, hour: float, last: pd.Timestamp) -> pd.Timestamp:
    if not np.isfinite(hour):
        return pd.NaT  # type: ignore[return-value]
    at = started + pd.Timedelta(seconds=round(hour * 3600))
    return min(max(at, started), last)


def first_visible(event: Event, rows: pd.DataFrame, began: pd.Timestamp) -> int:
    """Find the first reading that could have shown the finding.

    Parameters
    ----------
    event : Event
        The finding, with the first reading that its shape puts beyond reading error.
    rows : DataFrame
        The infusion's readings, as `Event` counts them: checked_at, residual_ml, sd_ml,
        is_doubtful.
    began : Timestamp
        Earliest onset.

    Returns
    -------
    int
        Its position. A reading from the earliest onset on that is itself beyond its
        limit, on the side of the finding and not doubtful, could have shown it too: the
        earlier of the two.
    """
    # A volume that rose has no volume of its own; what rose is behind the line.
    side = -1 if event.volume_ml > 0 else 1
    beyond = side * rows["residual_ml"] > LIMIT_SD * rows["sd_ml"]
    beyond &= ~rows["is_doubtful"].astype(bool) & (rows["checked_at"] >= began)
    places = np.flatnonzero(beyond)
    if not len(places):
        return event.first_visible
    return min(int(places[0]), event.first_visible)
