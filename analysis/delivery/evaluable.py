"""Which infusions can be judged by their volumes, and by which rows."""

from typing import Any

import numpy as np
import pandas as pd

from analysis.delivery.batches import Array
from analysis.delivery.line import PRESCRIBED
from analysis.delivery.runs import Runs
from analysis.terms import NotEvaluable

#: Readings of one infusion that are weighed against each other, each with each: one
#: every three minutes of a day. Memory for them grows with their square.
_MOST_READINGS = 500


def is_reading(lines: pd.DataFrame) -> Array:
    """Tell readings of a running driver: neither the start's nor after the end.

    Parameters
    ----------
    lines : DataFrame
        As given by `expected_lines`.

    Returns
    -------
    array of bool
        In the order of `lines`.
    """
    has = lines["residual_ml"].notna() & ~lines["is_start"] & ~lines["is_after_end"]
    return has.to_numpy(dtype=bool)


def evaluable(
    lines: pd.DataFrame, infusions: pd.DataFrame, runs: Runs, place: Array
) -> pd.DataFrame:
    """Say of each infusion whether its volumes can be judged, and if not, why.

    Parameters
    ----------
    lines : DataFrame
        As given by `expected_lines`.
    infusions : DataFrame
        One row an infusion, indexed by infusion_id.
    runs : Runs
        Rows of each infusion that has any.
    place : array of int
        Where the infusion of each run stands in `infusions`.

    Returns
    -------
    DataFrame
        On the index of `infusions`: evaluable (yes/no), reason (why not, or what the
        line rests on), kind (empty as yet).
    """
    first = lines[["has_start_volume", "basis"]].iloc[runs.begins]

    def each(values: Array) -> Array:
        return in_place(values, place, len(infusions), 0)

    readings = each(runs.total(is_reading(lines)))
    found = {
        "has_volume": each(runs.any((lines["source"] != "").to_numpy(bool))),
        "has_line": each(runs.any(lines["delivered_ml"].notna().to_numpy())),
        "is_anchored": each(first["has_start_volume"].to_numpy(bool)),
        "has_zero": each(runs.any(lines["is_zero_rate"].to_numpy(bool))),
        "is_prescribed": each((first["basis"] == PRESCRIBED).to_numpy(bool)),
    }
    out = pd.DataFrame(index=infusions.index)
    anchored = found["is_anchored"]
    reason = np.select(
        [
            ~found["has_volume"],
            ~found["has_line"],
            ~anchored & (readings < 2),
            readings < 1,
            readings > _MOST_READINGS,
        ],
        [
            str(NotEvaluable.NO_VOLUME),
            str(NotEvaluable.NO_LINE),
            str(NotEvaluable.NO_START),
            str(NotEvaluable.NO_READING_AFTER_START),
            str(NotEvaluable.TOO_MANY_READINGS),
        ],
        default="",
    )
    out["evaluable"] = np.where(reason == "", "yes", "no")
    rests = np.select(
        [
            found["is_prescribed"] & found["has_zero"],
            found["is_prescribed"],
            ~anchored,
        ],
        [
            "no rate but 0 charted: prescribed line",
            "no rate charted: prescribed line",
            "no start volume: line from first reading",
        ],
        default="",
    )
    out["reason"] = np.where(reason == "", rests, reason)
    out["kind"] = ""
    return out


def in_place(values: Array, place: Array, n: int, missing: Any) -> Array:
    """Put values of some infusions where they stand among all.

    Parameters
    ----------
    values : array, shape (m,)
        One an infusion.
    place : array of int, shape (m,)
        Where each stands.
    n : int
        All infusions.
    missing : scalar
        What the others have.

    Returns
    -------
    array, shape (n,)
        Of the type of `values`.
    """
    out = np.full(n, missing, dtype=values.dtype)
    out[place] = values
    return out


def judged_rows(lines: pd.DataFrame, runs: Runs, is_evaluable: Array) -> Array:
    """Find where the readings of evaluable infusions stand.

    Parameters
    ----------
    lines : DataFrame
        As given by `expected_lines`.
    runs : Runs
        Rows of each infusion that has any.
    is_evaluable : array of bool
        Of each run.

    Returns
    -------
    array of int
        Rows of `lines`, in order.
    """
    at = np.flatnonzero(runs.each(is_evaluable) & is_reading(lines))
    # Without a start volume the first reading is the line's own beginning.
    run = runs.each(np.arange(len(runs.begins)))[at]
    first = np.r_[True, run[1:] != run[:-1]][: len(run)]
    kept: Array = at[~first | lines["has_start_volume"].to_numpy(bool)[at]]
    return kept
