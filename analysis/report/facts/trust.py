"""Numbers that say how far the log can be trusted."""

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from analysis.audit import AuditResult
from analysis.intake.infusions import DERIVED
from analysis.report.cells import texts
from analysis.report.facts.findings import month_findings
from analysis.terms import EndKind, FindingKind, YesNo


@dataclass(frozen=True, slots=True, kw_only=True)
class Trust:
    """Numbers that say how far the log can be trusted.

    The first seven are of all files; the others of the month's infusions.
    """

    rows_read: int
    accepted: int
    rejected: int
    superseded: int
    exact_duplicates: int
    cells_set_aside: int
    derived_infusions: int
    infusions: int
    end_not_recorded: int
    not_evaluable: Mapping[str, int]
    doubtful_readings: int


def trust(result: AuditResult) -> Trust:
    """Count what says how far the log can be trusted.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    Trust
        Whole numbers.
    """
    account = result.account
    month = result.infusions[result.infusions["month"] == result.month]
    not_evaluable = month[month["evaluable"] != YesNo.YES]
    reasons = pd.Series(texts(not_evaluable["reason"]), dtype="str").value_counts()
    findings = month_findings(result)
    return Trust(
        rows_read=int(account["rows_read"].sum()),
        accepted=int(account["accepted"].sum()),
        rejected=int(account["rejected"].sum()),
        superseded=int(account["superseded"].sum()),
        exact_duplicates=int(account["exact_duplicates"].sum()),
        cells_set_aside=len(result.set_aside),
        derived_infusions=int(
            pd.Series(texts(result.infusions["infusion_id"]), dtype="str")
            .str.startswith(DERIVED)
            .sum()
        ),
        infusions=len(month),
        end_not_recorded=int((month["end_kind"] == EndKind.NOT_RECORDED).sum()),
        not_evaluable={str(reason): int(n) for reason, n in sorted(reasons.items())},
        doubtful_readings=int((findings["kind"] == FindingKind.DOUBTFUL_READING).sum()),
    )
