"""What rows and the table of infusions say of each syringe run, brought together."""

import numpy as np
import pandas as pd

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
    start = _start_rows(known)
    place = start.index.get_indexer(out.index)
    start = start.reset_index().reindex(place).set_axis(out.index)
    out["has_start_row"] = place >= 0
    start_time = start["checked_at"]
    out["started_at"] = out["started_at"].fillna(start_time).fillna(out["first_row"])
    out["start_volume_ml"] = out["start_volume_ml"].fillna(start["volume_remaining_ml"])
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


def _start_rows(checks: pd.DataFrame) -> pd.DataFrame:
    """Give the row each infusion starts with, where one is charted."""
    opens = checks["entry"] == Entry.START
    changed = checks["entry"] == Entry.SYRINGE_CHANGE
    if changed.any():
        opens |= changed & ~checks["infusion_id"].duplicated()
    starts = checks[opens]
    return starts[~starts.duplicated("infusion_id")].set_index("infusion_id")


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
        and checks, how many rows there are.
    """
    codes, ids = pd.factorize(rows["infusion_id"], sort=True)
    checks = np.bincount(codes, minlength=len(ids))
    together, ends = np.argsort(codes, kind="stable"), np.cumsum(checks)
    first = rows.iloc[together[ends - checks]]
    driver = np.full(len(ids), "", dtype=object)
    is_named = (rows["driver_id"] != "").to_numpy()
    of, at = np.unique(codes[is_named], return_index=True)
    driver[of] = rows.loc[is_named, "driver_id"].iloc[at]
    return pd.DataFrame(
        {
            "ward": first["ward"].array,
            "patient_id": first["patient_id"].array,
            "driver_id": pd.array(driver, dtype="str"),
            "first_row": first["checked_at"].array,
            "last_row": rows["checked_at"].iloc[together[ends - 1]].array,
            "checks": checks,
        },
        index=pd.Index(ids, name="infusion_id"),
    )
