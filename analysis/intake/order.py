"""Rows in order of time; rows of one moment as they were charted, where that is known.

The canonical tables do not depend on how an export was split into files, nor on the
order of its rows. Only rows of one moment (24:00 beside 00:00, the hour that comes
twice) are kept as they stand in the file, where the rows around them show which way it
runs; elsewhere what they say decides.
"""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.columns import CHECKS
from analysis.intake.alike import told_apart
from analysis.intake.rows import take_rows
from analysis.lookup import each_once
from analysis.terms import Entry

#: Within one infusion a start comes first and an end last.
_IN_RUN = {Entry.START: 0, Entry.SYRINGE_CHANGE: 0, Entry.RESUME: 2, Entry.END: 3}

#: Without ids the old syringe ends before the new one starts.
_BETWEEN_RUNS = {Entry.END: 3, Entry.SYRINGE_CHANGE: 4, Entry.START: 4, Entry.RESUME: 2}
_OTHER = 1

_CHART = ["patient_id", "driver_id", "infusion_id"]
_MOMENT = ["checked_at", *_CHART]


def in_order(rows: pd.DataFrame) -> pd.DataFrame:
    """Sort accepted rows of the check log.

    Parameters
    ----------
    rows : DataFrame
        Accepted rows, typed, with file and line; entry filled.

    Returns
    -------
    DataFrame
        The same rows on a new index: by time, patient, driver, infusion, entry, then by
        their place in the file where that is certain, and by all other canonical
        columns.
    """
    entry = rows["entry"]
    rank = _ranks(entry, _IN_RUN)
    if (no_id := rows["infusion_id"] == "").any():
        rank = rank.mask(no_id, _ranks(entry, _BETWEEN_RUNS))
    out = rows[[*_MOMENT, "file", "line"]].assign(rank=rank, at=np.arange(len(rows)))
    order, is_alike = _sorted(out)
    if is_alike.any():
        # Few rows are alike in all of these, and only they need the other columns.
        out = out.take(order).reset_index(drop=True)
        alike = pd.Series(is_alike)
        rest = [name for name in CHECKS.names if name not in _MOMENT]
        tied = out[alike].assign(place=_places(out)[alike])
        others = rows[rest].iloc[tied["at"]].set_axis(tied.index)
        tied = tied.join(others).sort_values(
            [*_MOMENT, "rank", "place", *rest, "file", "line"], kind="stable"
        )
        order[is_alike] = tied["at"].to_numpy()
    return take_rows(rows, order)


def _ranks(entry: pd.Series, ranks: Mapping[Entry, int]) -> pd.Series:
    of_word = {str(word): rank for word, rank in ranks.items()}
    return each_once(entry, lambda word: of_word.get(word, _OTHER), "int64")


def _sorted(
    rows: pd.DataFrame,
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.bool_]]:
    """Sort rows by moment, chart and rank; tell which have another that is alike.

    By whole numbers that stand for the texts: to sort texts takes several times longer.
    """
    chart, most = np.zeros(len(rows), dtype=np.int64), 1
    for name in _CHART:
        codes, different = pd.factorize(rows[name], sort=True)
        chart, most = told_apart(
            (chart, most), codes.astype(np.int64), max(len(different), 1)
        )
    moment = rows["checked_at"].astype("int64").to_numpy()
    keys = (rows["rank"].to_numpy(), chart, moment)
    order = np.lexsort(keys)
    is_same = np.ones(max(len(rows) - 1, 0), dtype=bool)  # as the row before
    for key in keys:
        is_same &= np.diff(key[order]) == 0
    is_alike = np.zeros(len(rows), dtype=bool)
    is_alike[1:] |= is_same
    is_alike[:-1] |= is_same
    return order, is_alike


def _places(rows: pd.DataFrame) -> pd.Series:
    """Give rows of one moment their place in the file; 0 where it says nothing.

    It does where they stand together in one file, between rows of their chart that run
    one way: to later ones, or to earlier ones where the newest row comes first.
    """
    chart = rows.groupby(_CHART, sort=False).ngroup()
    tied = rows.duplicated(_MOMENT, keep=False)
    near = chart.isin(chart[tied].unique())
    seen = rows.loc[near, ["file", "line", "checked_at"]].assign(chart=chart[near])
    seen = seen.sort_values(["chart", "file", "line"], kind="stable")
    by = seen.groupby(["chart", "file"], sort=False)["checked_at"]
    # Rows of one moment that stand together are one step of the chart.
    is_new = by.diff() != pd.Timedelta(0)
    block = is_new.cumsum()
    whole = seen.assign(block=block).groupby(["chart", "checked_at"])["block"]
    is_whole = whole.transform("nunique") == 1
    before = _way(by.diff()).where(is_new).groupby(block).transform("first")
    after = _way(-by.diff(-1)).groupby(block).transform("last")
    way = (before + after).clip(-1, 1).where(is_whole & (before * after >= 0), 0)
    places: pd.Series = (seen["line"] * way).reindex(rows.index).fillna(0)
    return places


def _way(step: pd.Series) -> pd.Series:
    """Give 1 for a step to a later row, -1 to an earlier one, 0 for none."""
    seconds = step.dt.total_seconds()
    way: pd.Series = (seconds > 0).astype("int64") - (seconds < 0).astype("int64")
    return way
