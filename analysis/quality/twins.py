"""Two rows of one infusion that are nearly the same check, or cannot both be one."""

from collections.abc import Mapping
from typing import Any

import pandas as pd

from analysis.intake import Log
from analysis.lookup import clock
from analysis.quality.rows import DELIVERED, RATE, REMAINING, Rows
from analysis.terms import FindingGroup, FindingKind

#: Two rows nearer than this, of nearly equal volumes, are nearly the same check.
_WITHIN_MIN = 5
_WITHIN_ML = 0.2

#: Rows that go on so near to each other for longer than this are a series: somebody
#: stands by, or a device writes.
_SERIES_MIN = 15

#: 13.2 - 13.0 is a little more than 0.2 in floating point.
_ROUNDING_ML = 1e-6


def near_duplicates(log: Log) -> pd.DataFrame:
    """Flag a row that repeats or contradicts the row before it of its infusion.

    Parameters
    ----------
    log : Log
        Canonical tables.

    Returns
    -------
    DataFrame
        Charting findings without id and month. Both rows stay and are counted as they
        stand; rows without an infusion are compared within patient and driver. Like
        rows of a series, each within minutes of the one before for longer than a
        quarter of an hour, are no finding; two volumes of one moment are, there too.
    """
    rows = log.checks
    loose = rows["patient_id"] + "\x1f" + rows["driver_id"]
    key = rows["infusion_id"].where(rows["infusion_id"] != "", loose)
    by = rows.groupby(key)
    near = rows["checked_at"] - by["checked_at"].shift()
    is_twin = near <= pd.Timedelta(minutes=_WITHIN_MIN)
    is_twin &= rows["entry"] == by["entry"].shift()
    # Without an infusion, two drivers may be read in one minute.
    is_same = is_twin & (near == pd.Timedelta(0)) & (rows["infusion_id"] != "")
    rate_before = by[RATE].shift()
    is_twin &= (rows[RATE] == rate_before) | rows[RATE].isna() | rate_before.isna()
    is_like = pd.Series(data=False, index=rows.index)
    is_torn = is_like.copy()
    for column in (REMAINING, DELIVERED):
        # Rounded, since 13.2 - 13.0 is a little more than 0.2 in floating point.
        before = by[column].shift()
        is_like |= (rows[column] - before).abs().round(6) <= _WITHIN_ML
        is_torn |= (
            is_same & (rows[column] != before) & rows[column].notna() & ~before.isna()
        )
    is_like &= is_twin
    is_like &= ~_of_a_series(rows["checked_at"], key, near, is_like)
    first = rows.index.to_series().groupby(key).shift()
    of = Rows(rows)
    twins = first[is_like | is_torn].astype("int64")
    pairs = zip(twins.tolist(), twins.index.tolist(), strict=True)
    found = [_finding(of.cells(one), of.cells(two)) for one, two in pairs]
    return pd.DataFrame(found)


def _of_a_series(
    at: pd.Series, key: pd.Series, near: pd.Series, is_asked: pd.Series
) -> pd.Series:
    """Tell rows of a series; only infusions that have a row asked for are looked at."""
    mine = key.isin(key[is_asked].unique())
    at, key = at[mine], key[mine]
    begins = ~(near[mine] <= pd.Timedelta(minutes=_WITHIN_MIN))
    by = at.groupby([key, begins.groupby(key).cumsum()])
    span = by.transform("max") - by.transform("min")
    is_long = span > pd.Timedelta(minutes=_SERIES_MIN)
    return is_long.reindex(is_asked.index, fill_value=False)


def _finding(one: Mapping[str, Any], two: Mapping[str, Any]) -> dict[str, object]:
    column = REMAINING if pd.notna(two[REMAINING]) else DELIVERED
    said = (
        "are nearly the same row twice. Consistent with one check saved twice; both "
        "rows stay and both are counted."
    )
    if abs(one[column] - two[column]) > _WITHIN_ML + _ROUNDING_ML:
        said = (
            "are two readings of one moment, of which at most one can be right. "
            "Consistent with a slip in one of them, or with two infusions under one "
            "id; both rows stay and both are counted."
        )
    return {
        "ward": two["ward"],
        "patient_id": two["patient_id"],
        "infusion_id": two["infusion_id"],
        "driver_id": two["driver_id"],
        "group": str(FindingGroup.CHARTING),
        "kind": str(FindingKind.NEAR_DUPLICATE),
        "anchor": f"{two['checked_at'].tz_convert('UTC').isoformat()} (row)",
        "happened_at": two["checked_at"],
        "first_visible": two["checked_at"],
        "first_source": one["source"],
        "last_source": two["source"],
        "sentence": (
            f"{one[column]:g} mL at {clock(one['checked_at'])} and {two[column]:g} mL "
            f"at {clock(two['checked_at'])} {said}"
        ),
    }
