"""What a volume should have been at any time, by the line and readings around it."""

from collections.abc import Hashable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.delivery.noise import FLOW_SD, LIMIT_SD

Array = npt.NDArray[Any]

#: Scatter of honest readings beside rounding: where the eye meets the stopper.
_EYE_SD_ML = 0.1
_HOUR_NS = 3600 * 10**9
#: A line is followed so long after an infusion's last row, no longer.
_BEYOND_LAST_H = 12.0


@dataclass(frozen=True, slots=True)
class Level:
    """Volume remaining that fits, and how far an honest reading may be from it [mL]."""

    volume_ml: float
    tolerance_ml: float
    base_ml: float

    def fits(self, volume_ml: float) -> bool:
        """Tell whether a volume remaining fits; the tolerance itself does.

        Parameters
        ----------
        volume_ml : float
            Volume remaining [mL].

        Returns
        -------
        bool
            True within the tolerance.
        """
        return abs(volume_ml - self.volume_ml) <= self.tolerance_ml


@dataclass(frozen=True, slots=True)
class Gap:
    """The rows of an infusion around a time, with none in between.

    Attributes
    ----------
    hours : float
        Length of the gap [h].
    nearest_h : float
        From the time in it to the nearer of its rows [h].
    rows : tuple of int
        Places of the two rows in the courses (`Courses.time_at`).
    """

    hours: float
    nearest_h: float
    rows: tuple[int, int]


class Courses:
    """Every infusion's expected line and its trusted readings.

    Parameters
    ----------
    lines : DataFrame
        As made by the delivery stage, with sd_ml, reading_sd_ml and is_doubtful.
    started_at : Series of Timestamp
        By infusion_id.
    is_suspect : Series of bool
        Rows, on the index of `lines`, whose reading is not to be trusted.
    """

    def __init__(
        self, lines: pd.DataFrame, started_at: pd.Series, is_suspect: pd.Series
    ) -> None:
        ordered = lines.sort_values(["infusion_id", "checked_at"], kind="stable")
        self._places = ordered.groupby("infusion_id").indices
        self._rows = ordered.index.to_numpy()
        self._times = ordered["checked_at"].array
        self._instants: Array = nanoseconds(ordered["checked_at"])
        self._elapsed: Array = ordered["elapsed_h"].to_numpy(float)
        self._delivered: Array = ordered["delivered_ml"].to_numpy(float)
        self._rate: Array = ordered["rate_ml_h"].to_numpy(float)
        self._base: Array = ordered["base_ml"].to_numpy(float)
        self._residual: Array = ordered["residual_ml"].to_numpy(float)
        self._is_floored: Array = ordered["is_floored"].to_numpy(bool)
        sd = ordered["reading_sd_ml"]
        sd = sd.fillna(sd.groupby(ordered["ward"]).transform("median"))
        self._sd: Array = sd.to_numpy(float)
        trusted = ordered["residual_ml"].notna() & ~ordered["is_doubtful"]
        self._is_trusted: Array = (trusted & ~is_suspect[ordered.index]).to_numpy(bool)
        known = started_at.dropna()
        self._started = dict(zip(known.index, nanoseconds(known), strict=True))

    def level(
        self, infusion_id: str, time: pd.Timestamp, *, without: Hashable = None
    ) -> Level | None:
        """Give the volume that fits an infusion at a time.

        Parameters
        ----------
        infusion_id : str
            The infusion.
        time : Timestamp
            When.
        without : hashable, optional
            Row of the log that has no say in it.

        Returns
        -------
        Level or None
            None before the start, long after the last row, or without a line.
        """
        places = self._places.get(infusion_id)
        started = self._started.get(infusion_id)
        if places is None or started is None:
            return None
        hour = (time.value - started) / _HOUR_NS
        own = self._elapsed[places]
        if not 0 <= hour <= own[-1] + _BEYOND_LAST_H:
            return None
        delivered = np.interp(hour, own, self._delivered[places])
        if hour > own[-1]:
            delivered += self._rate[places[-1]] * (hour - own[-1])
        base = float(self._base[places[0]])
        line = base - delivered
        if self._is_floored[places[0]]:
            line = max(line, 0.0)
        good = places[self._is_trusted[places] & (self._rows[places] != without)]
        off, far = self._residual_near(good, hour, float(delivered))
        sd = self._sd[places]
        if np.isnan(sd).all():  # no reading of it was compared with its line
            return None
        variance = 1.5 * np.nanmax(sd) ** 2 + _EYE_SD_ML**2
        tolerance = LIMIT_SD * float(np.sqrt(variance + (FLOW_SD * far) ** 2))
        if not np.isfinite(line + tolerance):
            return None
        return Level(float(line) + off, tolerance, base)

    def _residual_near(
        self, good: Array, hour: float, delivered: float
    ) -> tuple[float, float]:
        """Give the residual around an hour, and the volume since a trusted reading."""
        if not len(good):
            return 0.0, delivered
        own = self._elapsed[good]
        off = float(np.interp(hour, own, self._residual[good]))
        if own[0] <= hour <= own[-1]:
            return off, 0.0
        near = good[0] if hour < own[0] else good[-1]
        return off, abs(delivered - float(self._delivered[near]))

    def gap(
        self, infusion_id: str, time: pd.Timestamp, *, without: Hashable = None
    ) -> Gap | None:
        """Give the rows around a time; None where it is not between two rows.

        Parameters
        ----------
        infusion_id : str
            The infusion.
        time : Timestamp
            The moment.
        without : int or None
            Row that is left out.

        Returns
        -------
        Gap or None
            None where the time is not between two rows.
        """
        places = self._places.get(infusion_id)
        if places is None:
            return None
        if without is not None:
            places = places[self._rows[places] != without]
        instants = self._instants[places]
        after = int(instants.searchsorted(time.value))
        if not 0 < after < len(instants):
            return None
        start, end = instants[after - 1], instants[after]
        return Gap(
            hours=(end - start) / _HOUR_NS,
            nearest_h=min(time.value - start, end - time.value) / _HOUR_NS,
            rows=(int(places[after - 1]), int(places[after])),
        )

    def time_at(self, place: int) -> pd.Timestamp:
        """Give the time of a row by its place, as in `Gap`.

        Parameters
        ----------
        place : int
            Place of the row.

        Returns
        -------
        Timestamp
            In UTC.
        """
        time: pd.Timestamp = self._times[place]
        return time


def nanoseconds(times: pd.Series) -> Array:
    """Give times as whole nanoseconds of UTC, as in ``Timestamp.value``.

    Parameters
    ----------
    times : Series of datetime64, shape (n,)
        With a zone.

    Returns
    -------
    array of int, shape (n,)
        The smallest number of its type where a time is missing.
    """
    plain = times.dt.tz_convert("UTC").dt.tz_localize(None)
    found: Array = plain.to_numpy("datetime64[ns]").astype("int64")
    return found
