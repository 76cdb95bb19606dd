"""Infusions whose end is in doubt: rows after it, or none when the log ends."""

import pandas as pd

from analysis.intake import Log
from analysis.lookup import by_key, by_keys, clock
from analysis.terms import EndKind


def running_findings(
    log: Log, ends: pd.DataFrame, last_source: pd.Series
) -> pd.DataFrame:
    """Give one finding for each infusion that may still be running when its log ends.

    Parameters
    ----------
    log : Log
        Canonical tables.
    ends : DataFrame
        As given by `observe`.
    last_source : Series of str
        Source of each infusion's last row, by infusion_id.

    Returns
    -------
    DataFrame
        Findings without id and month.
    """
    ids = ends.index[ends["end_kind"] == EndKind.RUNNING]
    infusions, ends = log.infusions.loc[ids], ends.loc[ids]
    sentences = [
        f"Started {clock(start)}, last row {clock(last)}, no end charted, and the log "
        f"of its ward ends before its planned end, {clock(planned)}: it may still be "
        "running."
        for start, last, planned in zip(
            infusions["started_at"],
            infusions["last_row"],
            ends["planned_end"],
            strict=True,
        )
    ]
    return pd.DataFrame(
        {
            "ward": infusions["ward"],
            "patient_id": infusions["patient_id"],
            "infusion_id": ids,
            "driver_id": infusions["driver_id"],
            "group": "continuity",
            "kind": "may_still_be_running",
            "anchor": "",
            "happened_at": ends["observed_end"],
            "began_earliest": infusions["started_at"],
            "first_source": last_source.reindex(ids),
            "last_source": last_source.reindex(ids),
            "sentence": pd.Series(sentences, index=ids, dtype="str"),
        }
    ).reset_index(drop=True)


def after_end_findings(log: Log, ends: pd.DataFrame) -> pd.DataFrame:
    """Give one charting finding for each row charted after its infusion's end.

    Parameters
    ----------
    log : Log
        Canonical tables.
    ends : DataFrame
        As given by `observe`.

    Returns
    -------
    DataFrame
        Findings without id and month.
    """
    names = ["infusion_id", "checked_at", "ward", "patient_id", "driver_id", "source"]
    rows = log.checks.loc[log.checks["infusion_id"] != "", names]
    end = by_key(rows["infusion_id"], ends["observed_end"])
    late = rows[rows["checked_at"] > end]
    end = end[late.index]
    return pd.DataFrame(
        {
            "ward": late["ward"],
            "patient_id": late["patient_id"],
            "infusion_id": late["infusion_id"],
            "driver_id": late["driver_id"],
            "group": "charting",
            "kind": "row_after_end",
            "anchor": late["checked_at"].map(
                lambda t: f"{t.tz_convert('UTC').isoformat()} checked_at"
            ),
            "happened_at": late["checked_at"],
            "first_visible": late["checked_at"],
            "first_source": late["source"],
            "last_source": late["source"],
            "sentence": [
                f"Row charted at {clock(at)}, after its infusion's end, {clock(over)}"
                f"{_doubtful(driver)} No check was due any more."
                for at, over, driver in zip(
                    late["checked_at"], end, _shared_driver(log, late, end), strict=True
                )
            ],
        }
    )


def _shared_driver(log: Log, late: pd.DataFrame, end: pd.Series) -> pd.Series:
    """Name the driver where it began with another patient at the infusion's end."""
    own = by_keys(late["infusion_id"], log.infusions[["driver_id", "patient_id"]])
    own = own.set_axis(late.index).astype("str").assign(started_at=end)
    starts = log.infusions[["driver_id", "started_at", "patient_id"]]
    starts = starts[starts["driver_id"] != ""].astype({"driver_id": "str"})
    both = own.reset_index(names="row").merge(starts, on=["driver_id", "started_at"])
    is_other = both["patient_id_x"] != both["patient_id_y"].astype("str")
    rows = set(both.loc[is_other, "row"])
    return own["driver_id"].where(own.index.isin(rows), "")


def _doubtful(driver: str) -> str:
    if not driver:
        return ": one of the two times is doubtful."
    return (
        f", when driver {driver} was started for another patient: one of the times, or "
        "the number of the driver, is doubtful."
    )
