"""Until when an infusion is observed, and how that is known (the observed end)."""

import numpy as np
import pandas as pd

from analysis.intake import Log
from analysis.lookup import by_key, by_keys
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
        times), end_kind, planned_end, is_closed (a row stands at the observed end),
        next_on_driver (the next start on the driver, else of the patient),
        ward_of_next (its ward, where it is the same patient's and gives the end; else
        empty).
    """
    known = log.infusions
    names = ["infusion_id", "entry", "checked_at", "ward"]
    rows = log.checks.loc[log.checks["infusion_id"] != "", names]
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
    goes_on = following["patient_id"] == known["patient_id"]
    is_change = (
        following["is_change"].eq(1) & goes_on & (following["started_at"] >= shown)
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
    out["next_on_driver"] = following["started_at"]
    by_following = own_end.isna() & (
        is_change | (out["end_kind"] == EndKind.NEXT_START)
    )
    out["ward_of_next"] = following["ward"].where(by_following & goes_on, "")
    return out


def _own_end(rows: pd.DataFrame, index: pd.Index) -> tuple[pd.Series, pd.Series]:
    """Give the end or syringe_change row of each infusion, the latest of its kind."""
    later = rows["infusion_id"].duplicated()
    is_end = (rows["entry"] == Entry.END) | (
        (rows["entry"] == Entry.SYRINGE_CHANGE) & later
    )
    ends = rows.loc[is_end, ["infusion_id", "checked_at", "entry"]]
    last = ends[~ends["infusion_id"].duplicated(keep="last")]
    last = by_keys(index, last.set_index("infusion_id"))
    kinds = pd.Series(str(EndKind.SYRINGE_CHANGE), index=index, dtype="str")
    return last["checked_at"], kinds.mask(
        last["entry"] == Entry.END, str(EndKind.END_ROW)
    )


def _next_start(rows: pd.DataFrame, known: pd.DataFrame) -> pd.DataFrame:
    """Give start, patient and ward of the next run on the driver, and how it began.

    Where no driver is charted, of the next run of the patient on whatever driver.
    """
    rows = rows[["infusion_id", "entry", "ward"]]
    first = rows[~rows["infusion_id"].duplicated()].set_index("infusion_id")
    first = by_keys(known.index, first)
    frame = known[["patient_id", "driver_id", "started_at"]].copy()
    frame["is_change"] = first["entry"] == Entry.SYRINGE_CHANGE
    frame["ward"] = first["ward"].fillna(known["ward"])
    has_driver = frame["driver_id"] != ""
    own = by_keys(known.index, _following(frame[has_driver], "driver_id"))
    if has_driver.all():
        return own
    return own.where(has_driver, _following(frame, "patient_id"))


def _following(runs: pd.DataFrame, key: str) -> pd.DataFrame:
    """Give the first run under the same key that started later, NaT where none did."""
    names = ["started_at", "is_change", "patient_id", "ward"]
    order = runs[runs["started_at"].notna()]
    order = order.sort_values([key, "started_at"], kind="stable")
    starts = order[~order.duplicated([key, "started_at"])]
    later = starts.groupby(key)[names].shift(-1)
    # Runs that started at one moment have the same next one.
    number = (~order.duplicated([key, "started_at"])).cumsum() - 1
    each = later.take(number.to_numpy()).set_axis(order.index)
    return by_keys(runs.index, each)


def _ward_of_last_row(rows: pd.DataFrame, known: pd.DataFrame) -> pd.Series:
    last = rows[~rows["infusion_id"].duplicated(keep="last")]
    own = by_key(known.index, last.set_index("infusion_id")["ward"])
    return own.fillna(known["ward"])
