"""Findings of a report in words and in the order in which to look at them."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from analysis.audit import AuditResult
from analysis.report.cells import texts
from analysis.terms import FindingGroup, FindingKind

#: What a finding's kind is called where people read it.
KIND_WORDS: Mapping[str, str] = {
    FindingKind.STALL: "stopped for a while",
    FindingKind.STALL_TO_END: "stopped, not seen to move again",
    FindingKind.SLOW: "slow throughout",
    FindingKind.OVER_DELIVERY: "fast throughout: over-delivery",
    FindingKind.SURGE: "fast for a while: over-delivery",
    FindingKind.VOLUME_RISE: "volume rose",
    FindingKind.DOUBTFUL_READING: "doubtful reading",
    FindingKind.DOUBTFUL_RATE: "doubtful rate",
    FindingKind.VOLUMES_DISAGREE: "two volumes disagree",
    FindingKind.ROW_AFTER_END: "row after the end",
    FindingKind.ENTRY_ERROR: "suspected entry error",
    FindingKind.NEAR_DUPLICATE: "nearly the same row twice",
    FindingKind.START_OFFSET: "start volume off the line",
    FindingKind.SET_RATE_DIFFERS: "set rate does not match",
    FindingKind.SCALE_AND_DISPLAY: "scale and display part",
    FindingKind.MAY_STILL_BE_RUNNING: "may still be running",
    FindingKind.NO_SYRINGE_RUNNING: "no syringe running",
    FindingKind.CHANGED_LATE: "syringe changed late",
    FindingKind.CHECK_MISSED: "checks missed",
    FindingKind.LINE_OVERDUE: "extension set overdue",
    FindingKind.SITE_OVERDUE: "cannula site overdue",
    FindingKind.SITE_REACTION: "site reaction",
}

#: What on the chart, or beside it, tells a delivery finding from its rival. Common
#: practice, no source.
SETTLES: Mapping[str, str] = {
    FindingKind.STALL: "an alarm, an occlusion or a pause written at the time; the "
    "volume read at the same check by a second person; a line or site changed then",
    FindingKind.STALL_TO_END: "the volume left at the syringe change or destroyed at "
    "the end; an alarm or a stop written; whether the readings are copied from one row",
    FindingKind.SLOW: "the rate on the driver beside the rate prescribed; the "
    "syringe's size as confirmed; the hour at which the syringe was found empty",
    FindingKind.OVER_DELIVERY: "the syringe's size as confirmed at the start; the rate "
    "on the driver; the hour at which the syringe was found empty",
    FindingKind.SURGE: "a bolus, a purge or a rate change written; the reading before "
    "and after, each by a second person; the hour the syringe was found empty",
    FindingKind.VOLUME_RISE: "a new syringe or a refill written at that time; whether "
    "the row belongs to another driver of the ward",
}

#: Which finding to look at first: what may still matter now, what was given early, what
#: was missed, what hides the truth, then the rest. Within a step, most hours first.
_STEPS: tuple[tuple[FindingKind, ...], ...] = (
    (FindingKind.MAY_STILL_BE_RUNNING,),
    (FindingKind.OVER_DELIVERY, FindingKind.SURGE),
    (FindingKind.STALL_TO_END, FindingKind.STALL, FindingKind.SLOW),
    (FindingKind.NO_SYRINGE_RUNNING, FindingKind.CHANGED_LATE),
    (FindingKind.VOLUME_RISE,),
    (
        FindingKind.DOUBTFUL_READING,
        FindingKind.DOUBTFUL_RATE,
        FindingKind.ENTRY_ERROR,
    ),
    (FindingKind.SCALE_AND_DISPLAY, FindingKind.SET_RATE_DIFFERS),
    (FindingKind.ROW_AFTER_END, FindingKind.START_OFFSET),
    (FindingKind.CHECK_MISSED,),
    (FindingKind.SITE_REACTION,),
    (FindingKind.LINE_OVERDUE, FindingKind.SITE_OVERDUE),
    (FindingKind.VOLUMES_DISAGREE, FindingKind.NEAR_DUPLICATE),
)

_STEP_OF = {str(kind): step for step, kinds in enumerate(_STEPS) for kind in kinds}


def rows_of(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Give the rows of a frame as dicts by column name.

    Parameters
    ----------
    frame : DataFrame
        Any.

    Returns
    -------
    list of dict
        In the order of the frame; missing values as they are.
    """
    return [
        {str(name): value for name, value in row.items()}
        for row in frame.to_dict("records")
    ]


def words(kind: str) -> str:
    """Say a kind or a group in words; an unknown one stands as it is.

    Parameters
    ----------
    kind : str
        As in the findings table.

    Returns
    -------
    str
        Words for a reader.
    """
    return KIND_WORDS.get(kind, kind.replace("_", " "))


def month_findings(result: AuditResult) -> pd.DataFrame:
    """Give the findings of the report's month.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    DataFrame
        Rows of the findings table, in its order.
    """
    return result.findings[result.findings["month"] == result.month]


def in_order(findings: pd.DataFrame) -> pd.DataFrame:
    """Put findings in the order in which to look at them.

    Parameters
    ----------
    findings : DataFrame
        Rows of the findings table.

    Returns
    -------
    DataFrame
        The same rows: what may still be running, over-delivery, delivery missed (most
        hours first), doubtful readings, checks, reactions, lines. Missing hours last.
    """
    keys = pd.DataFrame(
        {
            "step": findings["kind"].map(_STEP_OF).fillna(len(_STEPS)),
            "hours": -findings["hours_equivalent"].abs().fillna(-1),
            "volume": -findings["volume_ml"].abs().fillna(-1),
            "ward": texts(findings["ward"]),
            "finding_id": texts(findings["finding_id"]),
        },
        index=findings.index,
    )
    return findings.loc[keys.sort_values(list(keys.columns), kind="stable").index]


def seen_at(findings: pd.DataFrame) -> pd.Series:
    """Give when each finding was first seen: on paper a chart is looked for by date.

    Parameters
    ----------
    findings : DataFrame
        Rows of the findings table.

    Returns
    -------
    Series of Timestamp
        Time of the first reading that showed it; of what no reading shows (a check or
        a change that was due) the earliest time it began. Missing where neither is
        known.
    """
    seen: pd.Series = findings["first_visible"].fillna(findings["began_earliest"])
    return seen


def delivery_findings(result: AuditResult) -> pd.DataFrame:
    """Give the month's delivery findings in the order in which to look at them.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    DataFrame
        Rows of the findings table.
    """
    month = month_findings(result)
    return in_order(month[month["group"] == FindingGroup.DELIVERY])


def other_findings(result: AuditResult) -> dict[tuple[str, str], pd.DataFrame]:
    """Give the month's other findings by group and kind, each in order.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    dict of (str, str) to DataFrame
        Groups and kinds in the order of their closed lists; empty ones are left out.
    """
    month = in_order(month_findings(result))
    groups = [str(g) for g in FindingGroup if g is not FindingGroup.DELIVERY]
    found = {
        (group, str(kind)): month[(month["group"] == group) & (month["kind"] == kind)]
        for group in groups
        for kind in FindingKind
    }
    return {key: rows for key, rows in found.items() if len(rows)}


def unseen_h(
    finding: Mapping[str, object], started: pd.Timestamp | None = None
) -> float:
    """Give the hours from the earliest onset to the first check that could show it.

    Parameters
    ----------
    finding : mapping
        A row of the findings table.
    started : Timestamp, optional
        Start of the infusion: a window is as wide as the ward writes its times, but
        nothing went unseen before there was an infusion.

    Returns
    -------
    float
        Hours; NaN where either is not known.
    """
    began, seen = finding["began_earliest"], finding["first_visible"]
    if not isinstance(began, pd.Timestamp) or not isinstance(seen, pd.Timestamp):
        return np.nan
    if started is not None and pd.notna(started):
        began = max(began, started)
    return (seen - began) / pd.Timedelta(hours=1)
