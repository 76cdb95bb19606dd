"""One infusion of a report: its readings and its start."""

from collections.abc import Iterable
from dataclasses import replace

import pandas as pd

from analysis.audit import AuditResult
from analysis.terms import YesNo


def only_infusions(result: AuditResult, infusion_ids: Iterable[str]) -> AuditResult:
    """Narrow an audit's readings and infusions, so that each is looked for among few.

    Parameters
    ----------
    result : AuditResult
        The audit.
    infusion_ids : iterable of str
        Infusions to keep.

    Returns
    -------
    AuditResult
        All other tables as they were.
    """
    wanted = set(infusion_ids)
    return replace(
        result,
        readings=result.readings[result.readings["infusion_id"].isin(wanted)],
        infusions=result.infusions[result.infusions["infusion_id"].isin(wanted)],
    )


def readings_of(result: AuditResult, infusion_id: str) -> pd.DataFrame:
    """Give the readings of one infusion that can be drawn.

    Parameters
    ----------
    result : AuditResult
        The audit.
    infusion_id : str
        The infusion.

    Returns
    -------
    DataFrame
        Sorted by elapsed_h [h]; columns elapsed_h, observed_ml, expected_ml, sd_ml [mL]
        and is_doubtful. Rows without a volume or without an expected line are left out.
    """
    rows = result.readings[result.readings["infusion_id"] == infusion_id]
    drawn = pd.DataFrame(
        {
            "elapsed_h": rows["elapsed_h"].astype("float64"),
            "observed_ml": (rows["expected_ml"] + rows["residual_ml"]).astype(
                "float64"
            ),
            "expected_ml": rows["expected_ml"].astype("float64"),
            "sd_ml": rows["sd_ml"].astype("float64"),
            "is_doubtful": rows["doubtful"] == YesNo.YES,
        }
    )
    known = drawn.dropna(subset=["elapsed_h", "observed_ml"])
    return known.sort_values("elapsed_h", kind="stable", ignore_index=True)


def started_at(result: AuditResult, infusion_id: str) -> pd.Timestamp | None:
    """Give the start of an infusion in the policy's zone; None where it is not known.

    Parameters
    ----------
    result : AuditResult
        The audit.
    infusion_id : str
        The infusion.

    Returns
    -------
    Timestamp or None
        With offset.
    """
    own = result.infusions[result.infusions["infusion_id"] == infusion_id]
    moments = own["started_at"].dropna()
    if moments.empty:
        return None
    moment: pd.Timestamp = moments.iloc[0].tz_convert(result.policy.zone)
    return moment
