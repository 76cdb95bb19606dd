"""What rows and the table of infusions say of each syringe run, brought together."""

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.intake.scan import Ints
from analysis.lookup import are_among
from analysis.terms import Entry


def describe_infusions(checks: pd.DataFrame, table: pd.DataFrame) -> pd.DataFrame:
    """Bring together what checks and the infusions table say of each syringe run.

    Parameters
    ----------
    checks : DataFrame
        Accepted rows in order of time, with infusion_id.
    table : DataFrame
        Accepted rows of the infusions table; may be empty.

    Returns
    -------
    DataFrame
        One row an infusion, indexed by infusion_id: the columns of the infusions table,
        first_row, last_row (times of its first and last row), checks, has_start_row,
        described_at (the row that first describes it, as file:line). The table leads;
        the rows fill what it leaves empty. started_at is the start row's time, else the
        first row's; start_volume_ml the start row's reading. Empty text, NaN and NaT
        are "not known".
    """
    known = checks.loc[checks["infusion_id"] != "", DESCRIBING]
    by_row = by_infusion(known)
    given = _merged_table(_under_own_ids(table, by_row.index))
    out = given.reindex(given.index.union(by_row.index))
    for name in ("ward", "patient_id", "driver_id"):
        own = out[name].astype("str").fillna("")
        out[name] = own.where(own != "", by_row[name].reindex(out.index).fillna(""))
    for name in ("diluent", "contents", "end_reason", "described_at"):
        out[name] = out[name].astype("str").fillna("")
    for name in ("first_row", "last_row"):
        out[name] = by_row[name].reindex(out.index)
    out["checks"] = by_row["checks"].reindex(out.index, fill_value=0)
    out["has_start_row"] = by_row["has_start_row"].reindex(out.index, fill_value=False)
    start_time = by_row["start_row"].reindex(out.index)
    out["started_at"] = out["started_at"].fillna(start_time).fillna(out["first_row"])
    out["start_volume_ml"] = out["start_volume_ml"].fillna(
        by_row["start_volume_ml"].reindex(out.index)
    )
    return out.rename_axis("infusion_id")


def _under_own_ids(table: pd.DataFrame, known: pd.Index) -> pd.DataFrame:
    """Give an infusion the id it has after two patients under one id were parted."""
    own = table["infusion_id"] + " of " + table["patient_id"]
    return table.assign(
        infusion_id=table["infusion_id"].mask(are_among(own, known), own)
    )


def _merged_table(table: pd.DataFrame) -> pd.DataFrame:
    """Give one row an infusion: the first value charted for each column."""
    names = [n for n in table.columns if n not in _PROVENANCE and n != "infusion_id"]
    text = [n for n in names if pd.api.types.is_string_dtype(table[n])]
    frame = table.copy()
    frame[text] = frame[text].replace("", np.nan)
    frame["described_at"] = frame["source"]
    return frame.groupby("infusion_id")[[*names, "described_at"]].first()


#: What rows say of the infusion they belong to.
DESCRIBING = ["infusion_id", "ward", "patient_id", "driver_id", "entry", "checked_at",
               "volume_remaining_ml"]  # fmt: skip
_PROVENANCE = ("source", "file", "line")


def _are_starts(rows: pd.DataFrame) -> pd.Series:
    """Mark the rows that an infusion may start with."""
    opens = rows["entry"] == Entry.START
    changed = rows["entry"] == Entry.SYRINGE_CHANGE
    if changed.any():
        opens |= changed & ~rows["infusion_id"].duplicated()
    return opens


def _first_of(codes: Ints, is_it: npt.NDArray[np.bool_], n: int) -> Ints:
    """Give for each infusion the first of its rows that is marked, -1 for none."""
    at = np.flatnonzero(is_it)[::-1]
    first = np.full(n, -1, dtype=np.int64)
    first[codes[at]] = at  # the last one written is the first row
    return first


def by_infusion(rows: pd.DataFrame) -> pd.DataFrame:
    """Bring rows of the check log together: one a syringe run.

    Parameters
    ----------
    rows : DataFrame
        Accepted rows in order of time with an infusion_id: the columns `DESCRIBING`.

    Returns
    -------
    DataFrame
        By infusion_id: ward and patient_id of its first row, driver_id the first that
        is named (empty where none is), first_row and last_row its first and last time,
        checks, how many rows there are, and has_start_row, start_row and
        start_volume_ml, whether one of them starts it, its time and its reading.
    """
    codes, ids = pd.factorize(rows["infusion_id"], sort=True)
    checks = np.bincount(codes, minlength=len(ids))
    together, ends = np.argsort(codes, kind="stable"), np.cumsum(checks)
    first = rows.iloc[together[ends - checks]]
    is_named = (rows["driver_id"] != "").to_numpy()
    named = _first_of(codes, is_named, len(ids))
    driver = rows["driver_id"].iloc[named].mask(named < 0, "")
    start = _first_of(codes, _are_starts(rows).to_numpy(), len(ids))
    return pd.DataFrame(
        {
            "ward": first["ward"].array,
            "patient_id": first["patient_id"].array,
            "driver_id": driver.array,
            "first_row": first["checked_at"].array,
            "last_row": rows["checked_at"].iloc[together[ends - 1]].array,
            "checks": checks,
            "has_start_row": start >= 0,
            "start_row": rows["checked_at"].array.take(start, allow_fill=True),
            "start_volume_ml": pd.Series(rows["volume_remaining_ml"].to_numpy())
            .reindex(start)
            .array,
        },
        index=pd.Index(ids, name="infusion_id"),
    )
