"""Readings of many infusions as arrays: all that have the same number of readings."""

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

Array = npt.NDArray[Any]

#: Columns of the lines that a batch is made from, and what they are called here.
_COLUMNS = {
    "elapsed_h": "elapsed_h",
    "observed_ml": "observed_ml",
    "delivered_ml": "delivered_ml",
    "variance_ml2": "reading_variance_ml2",
    "step_ml": "reading_step_ml",
    "rate_ml_h": "rate_ml_h",
    "stopped_log_ratio": "stopped_log_ratio",
    "slip_share": "slip_share",
}
_SHARED = {
    "base_ml": "base_ml",
    "end_delivered_ml": "end_delivered_ml",
    "offset_ml": "offset_ml",
    "offset_sd_ml": "offset_sd_ml",
    "flow_sd": "flow_sd",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """Volume readings of n infusions with k readings each, in order of time.

    The line starts at elapsed 0 with base_ml; the start reading is not among them.

    Attributes
    ----------
    infusion_id : array of str, shape (n,)
        The infusions.
    row : array of int, shape (n, k)
        Position of each reading in the frame that the batch was made from.
    elapsed_h, observed_ml, delivered_ml : array of float, shape (n, k)
        Time, volume read, and volume that the line has delivered by then.
    variance_ml2 : array of float, shape (n, k)
        Variance of a reading by itself: rounding, reading and time error.
    step_ml, rate_ml_h : array of float, shape (n, k)
        Step that volumes are read in, and the rate in force just before the reading.
    stopped_log_ratio : array of float, shape (n, k)
        Log ratio of what the row's other cells say with the driver stopped at that
        moment to what they say with it running.
    base_ml : array of float, shape (n,)
        Volume that the line starts from; 0 where only volumes delivered are known.
    end_delivered_ml : array of float, shape (n,)
        Volume that the line has delivered by the end of the infusion.
    offset_ml, offset_sd_ml, flow_sd : array of float, shape (n,)
        Mean and standard deviation of true minus charted start volume, and standard
        deviation of the flow factor.
    slip_share : array of float, shape (n, k)
        Chance that the reading is a charting slip.
    is_floored : array of bool, shape (n,)
        The volume cannot fall below an empty syringe.
    """

    infusion_id: Array
    row: Array
    elapsed_h: Array
    observed_ml: Array
    delivered_ml: Array
    variance_ml2: Array
    step_ml: Array
    rate_ml_h: Array
    stopped_log_ratio: Array
    base_ml: Array
    end_delivered_ml: Array
    offset_ml: Array
    offset_sd_ml: Array
    flow_sd: Array
    slip_share: Array
    is_floored: Array

    @property
    def shape(self) -> tuple[int, int]:
        """Number of infusions and of readings of each.

        Returns
        -------
        tuple of int
            (n, k).
        """
        n, k = self.elapsed_h.shape
        return n, k

    def take(self, which: Any) -> "Batch":
        """Give some of the infusions.

        Parameters
        ----------
        which : slice or array
            Which, along the first axis.

        Returns
        -------
        Batch
            Of those.
        """
        return Batch(**{f.name: getattr(self, f.name)[which] for f in fields(self)})

    def single(self) -> "Batch":
        """Give the same infusions in single precision: half the memory to go through.

        Returns
        -------
        Batch
            A new one. Log evidence from it is within about 0.001 of that in double
            precision where it is not hopeless.
        """
        floats = {
            f.name: getattr(self, f.name).astype("float32")
            for f in fields(self)
            if getattr(self, f.name).dtype == "float64"
        }
        return replace(self, **floats)

    def having(self, **arrays: Array) -> "Batch":
        """Give the same infusions with other values of some arrays.

        Parameters
        ----------
        **arrays : array
            By name.

        Returns
        -------
        Batch
            A new one.
        """
        return replace(self, **arrays)

    def line_at(self, hours: Array) -> Array:
        """Give the volume that the line has delivered by some hours.

        Parameters
        ----------
        hours : array of float, shape (n, m)
            Elapsed hours, within the infusion's readings.

        Returns
        -------
        array of float, shape (n, m)
            mL, straight between readings.
        """
        width = np.diff(self.elapsed_h, axis=1, prepend=0)
        rise = np.diff(self.delivered_ml, axis=1, prepend=0)
        slope = np.divide(rise, width, out=np.zeros_like(width), where=width > 0)
        begin = self.elapsed_h - width
        volume = np.zeros(hours.shape, dtype=hours.dtype)
        # Gap by gap: sums along a short axis take several times as long.
        for gap in range(width.shape[1]):
            own = slice(gap, gap + 1)
            inside = hours - begin[:, own]
            np.clip(inside, 0, width[:, own], out=inside)
            inside *= slope[:, own]
            volume += inside
        return volume


def batches(readings: pd.DataFrame, most: int) -> Iterator[Batch]:
    """Cut readings into batches of infusions with the same number of readings.

    Parameters
    ----------
    readings : DataFrame
        Readings of evaluable infusions in order of infusion and time, with the columns
        of `expected_lines` and `with_noise`.
    most : int
        Readings in a batch at the most (a batch holds one infusion at the least).

    Yields
    ------
    Batch
        Fewest readings first.
    """
    ids = readings["infusion_id"].to_numpy()
    begins = np.flatnonzero(np.r_[True, ids[1:] != ids[:-1]][: len(ids)])
    sizes = np.diff(np.r_[begins, len(ids)])
    columns = {
        name: readings[source].to_numpy(float)
        for name, source in (_COLUMNS | _SHARED).items()
    }
    floored = readings["is_floored"].to_numpy(bool)
    for size in np.unique(sizes):
        every = begins[sizes == size]
        step = max(1, most // int(size))
        for at in range(0, len(every), step):
            first = every[at : at + step]
            row = first[:, None] + np.arange(size)
            yield Batch(
                infusion_id=ids[first],
                row=row,
                is_floored=floored[first],
                **{name: columns[name][row] for name in _COLUMNS},
                **{name: columns[name][first] for name in _SHARED},
            )
