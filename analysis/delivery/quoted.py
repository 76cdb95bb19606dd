"""Readings as findings quote them: by columns, and of those quoted alone.

Findings are few beside readings, and each looks at a handful of rows. Taken out of a
frame one by one, a row costs a hundred times what its cells cost: everything here is of
all findings at once.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.delivery.batches import Array
from analysis.delivery.runs import Runs, runs_of
from analysis.intake import Log
from analysis.lookup import clocks

#: Whose row it is.
WHOSE = ("ward", "patient_id", "infusion_id", "driver_id")

#: What findings look at in the lines.
_OF_LINE = [
    "infusion_id",
    "ward",
    "checked_at",
    "elapsed_h",
    "observed_ml",
    "expected_ml",
    "residual_ml",
    "base_ml",
    "rate_ml_h",
    "sd_ml",
    "reading_sd_ml",
    "time_step_h",
    "is_floored",
    "is_doubtful",
]


@dataclass(frozen=True, slots=True)
class Quoted:
    """Readings of m infusions that have a finding.

    Attributes
    ----------
    rows : DataFrame, n rows
        What findings look at in `Delivery.lines`, in order of infusion and time.
    runs : Runs
        Rows of each infusion.
    """

    rows: pd.DataFrame
    runs: Runs

    def column(self, name: str) -> Array:
        """Give a column.

        Parameters
        ----------
        name : str
            Numbers, or true and false.

        Returns
        -------
        array, shape (n,)
            Its values.
        """
        return np.asarray(self.rows[name].to_numpy())

    def first(self, is_so: Array, otherwise: Array) -> Array:
        """Find the first reading of each infusion that is so.

        Parameters
        ----------
        is_so : array of bool, shape (n,)
            Readings.
        otherwise : array of int, shape (m,)
            Position where none is.

        Returns
        -------
        array of int, shape (m,)
            Positions, counted from 0 in each infusion.
        """
        found = self.runs.first_row(is_so)
        return np.where(is_so[found], found - self.runs.begins, otherwise)

    def most(self, values: Array) -> Array:
        """Find the reading of each infusion with the most of something.

        Parameters
        ----------
        values : array of float, shape (n,)
            None missing.

        Returns
        -------
        array of int, shape (m,)
            Rows, the first of equals.
        """
        most = np.maximum.reduceat(values, self.runs.begins)
        return self.runs.first_row(values == self.runs.each(most))


def quoted(lines: pd.DataFrame, at: Array) -> Quoted:
    """Give the readings of some infusions.

    Parameters
    ----------
    lines : DataFrame
        As `Delivery.lines`, in order of infusion and time.
    at : array of int
        Which rows, in order.

    Returns
    -------
    Quoted
        Of those rows.
    """
    rows = lines[_OF_LINE].take(at)
    return Quoted(rows, runs_of(rows["infusion_id"]))


def charted(log: Log, index: pd.Index) -> pd.DataFrame:
    """Give rows of the check log as charted.

    Parameters
    ----------
    log : Log
        Canonical tables.
    index : Index
        Labels of rows.

    Returns
    -------
    DataFrame
        With whose they are, source, checked_at, clock (that time in words), rate and
        volumes.
    """
    names = [
        *WHOSE,
        "source",
        "checked_at",
        "set_rate_ml_h",
        "volume_remaining_ml",
        "volume_delivered_ml",
    ]
    rows = log.checks[names].take(log.checks.index.get_indexer(index))
    return rows.assign(clock=clocks(rows["checked_at"]))
