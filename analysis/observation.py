"""Until when an infusion is observed, and how that is known (the observed end)."""

import numpy as np
import pandas as pd

from analysis.intake import Log
from analysis.lookup import by_key
from analysis.policy import Policy
from analysis.terms import EndKind, Entry


def observe(log: Log, policy: Policy) -> pd.DataFrame:
    """Give the observed end of every infusion.

    In this order: its end or syringe_change row; its ended_at; the next start on the
    same driver (same patient where no driver is charted), never beyond its planned end
    unless its rows show it running. With none of these it is running at the end of the
    log if its planned end is later than that, else its end is not recorded and it is
    observed to its last row. The end of the log is the last accepted row of its ward.

    Parameters
    ----------
    log : Log
        Canonical tables.
    policy : Policy
        Gives the planned duration where none is charted.

    Returns
    -------
    DataFrame
        Indexed by infusion_id: observed_end (NaT for an infusion without rows and
        times), end_kind, planned_end, is_closed (a row stands at the observed end).
    """
    known = log.infusions
    rows = log.checks[log.checks["infusion_id"] != ""]
    planned = known["planned_duration_h"].fillna(
        policy.by_ward("planned_duration_h", known["ward"])
    )
    out = pd.DataFrame(index=known.index)
    out["planned_end"] = known["started_at"] + pd.to_timedelta(
        (planned * 3600).round(), unit="s"
    )
    own_end, own_kind = _own_end(rows, known.index)
    following = _next_start(rows, known)
    charted = known["ended_at"].where(known["ended_at"] >= known["started_at"])
    shown = known["last_row"].fillna(known["started_at"])
    latest = out["planned_end"].where(out["planned_end"] > shown, shown)
    by_next = following["started_at"].where(following["started_at"] < latest, latest)
    by_next = by_next.where(following["started_at"].notna())
    log_end = by_key(
        _ward_of_last_row(rows, known), log.checks.groupby("ward")["checked_at"].max()
    )
    running = log_end.where(out["planned_end"] > log_end)
    # A syringe_change row ends this infusion at its own time, planned end or not.
    is_change = (
        (following["entry"] == Entry.SYRINGE_CHANGE)
        & (following["patient_id"] == known["patient_id"])
        & (following["started_at"] >= shown)
    )
    out["observed_end"] = (
        own_end.fillna(following["started_at"].where(is_change))
        .fillna(charted)
        .fillna(by_next)
        .fillna(running)
        .fillna(known["last_row"])
    )
    out["end_kind"] = np.select(
        [own_end.notna(), is_change, charted.notna(), by_next.notna(), running.notna()],
        [
            own_kind,
            str(EndKind.SYRINGE_CHANGE),
            str(EndKind.ENDED_AT),
            str(EndKind.NEXT_START),
            str(EndKind.RUNNING),
        ],
        default=str(EndKind.NOT_RECORDED),
    )
    out["is_closed"] = own_end.notna() | is_change
    return out


def _own_end(rows: pd.DataFrame, index: pd.Index) -> tuple[pd.Series, pd.Series]:
    """Give the end or syringe_change row of each infusion, the latest of its kind."""
    later = rows.duplicated("infusion_id")
    is_end = (rows["entry"] == Entry.END) | (
        (rows["entry"] == Entry.SYRINGE_CHANGE) & later
    )
    last = rows[is_end].groupby("infusion_id")[["checked_at", "entry"]].last()
    last = last.reindex(index)
    kind = last["entry"].map(
        {
            Entry.END: str(EndKind.END_ROW),
            Entry.SYRINGE_CHANGE: str(EndKind.SYRINGE_CHANGE),
        }
    )
    return last["checked_at"], kind.astype("str").fillna("")


def _next_start(rows: pd.DataFrame, known: pd.DataFrame) -> pd.DataFrame:
    """Give start, entry and patient of the next run on the driver, else patient."""
    first_entry = rows.groupby("infusion_id")["entry"].first()
    frame = known[["patient_id", "driver_id", "started_at"]].copy()
    frame["entry"] = first_entry.reindex(known.index).fillna("")
    frame["key"] = np.where(
        frame["driver_id"] != "",
        "driver " + frame["driver_id"],
        "patient " + frame["patient_id"],
    )
    frame = frame.sort_values(["key", "started_at"], kind="stable")
    following = frame.groupby("key")[["started_at", "entry", "patient_id"]].shift(-1)
    same = following["started_at"] == frame["started_at"]
    following.loc[same, "started_at"] = pd.NaT
    return following.reindex(known.index)


def _ward_of_last_row(rows: pd.DataFrame, known: pd.DataFrame) -> pd.Series:
    last = rows.groupby("infusion_id")["ward"].last()
    return last.reindex(known.index).fillna(known["ward"])
