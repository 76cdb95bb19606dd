"""Findings of all stages in one table, each with an id that stays from run to run."""

from collections.abc import Sequence

import pandas as pd

from analysis.columns import FINDINGS, Kind
from analysis.lookup import short_hash, written


def collect_findings(parts: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Give findings an id and a month, and put them in order.

    finding_id is the first 12 base32 characters of the SHA-256 of group, infusion_id
    (for lines and sites: line_id) and anchor.

    Parameters
    ----------
    parts : sequence of DataFrame
        Findings of the stages: columns of the findings table as far as they have them,
        with anchor, happened_at and, for lines and sites, line_id.

    Returns
    -------
    DataFrame
        The findings table, sorted by ward, patient, time and id.
    """
    some = [part for part in parts if len(part)]
    if not some:
        return pd.DataFrame(columns=FINDINGS.names)
    every = pd.concat(
        [part.dropna(axis="columns", how="all") for part in some], ignore_index=True
    )
    every = every.reindex(columns=[*FINDINGS.names, "anchor", "happened_at", "line_id"])
    for column in FINDINGS.columns:
        if column.kind in (Kind.TEXT, Kind.CHOICE):
            every[column.name] = every[column.name].astype("str").fillna("")
        elif column.kind is Kind.TIME:
            every[column.name] = every[column.name].astype(every["happened_at"].dtype)
        else:
            every[column.name] = every[column.name].astype("float64")
    every["finding_id"] = _ids(every)
    every["month"] = written(every["happened_at"], "%Y-%m")
    every = every.sort_values(
        ["ward", "patient_id", "happened_at", "finding_id"], kind="stable"
    )
    return every[FINDINGS.names].reset_index(drop=True)


def _ids(every: pd.DataFrame) -> list[str]:
    """Give each finding its id; what shares one moment is told apart by its rows."""
    line = every["line_id"].astype("str").fillna("")
    owner = line.where(line != "", every["infusion_id"])
    anchor = every["anchor"].astype("str").fillna("")
    keys = [every["group"], owner, anchor]
    # In the order of the rows behind them: a sentence may be worded anew.
    place = every["first_source"].str.rpartition(":")
    place = place.set_axis(["file", "colon", "line"], axis="columns")
    place["line"] = pd.to_numeric(place["line"], errors="coerce")
    order = place.sort_values(["file", "line"], kind="stable").index
    by_row = [key.loc[order] for key in keys]
    again = every.loc[order].groupby(by_row).cumcount().reindex(every.index)
    return [
        short_hash(group, who, where if not more else f"{where} {more + 1}")
        for group, who, where, more in zip(*keys, again, strict=True)
    ]
