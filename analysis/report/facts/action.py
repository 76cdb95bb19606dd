"""What may need action now, and which charts to pull."""

from dataclasses import dataclass
from itertools import islice

import pandas as pd

from analysis.audit import AuditResult
from analysis.report.cells import texts
from analysis.report.facts.findings import in_order, month_findings
from analysis.terms import FindingKind

_OVER = (FindingKind.OVER_DELIVERY, FindingKind.SURGE)

_BEHIND = (FindingKind.STALL_TO_END, FindingKind.STALL, FindingKind.SLOW)


@dataclass(frozen=True, slots=True, kw_only=True)
class ActNow:
    """What may need action today: rows of the findings table, in order.

    ``running`` are infusions of the whole log that may still be running, since its end
    is nearest to now; ``running_flagged`` are the other findings of those infusions.
    ``over`` and ``behind`` are of the month.
    """

    running: pd.DataFrame
    running_flagged: pd.DataFrame
    over: pd.DataFrame
    behind: pd.DataFrame


@dataclass(frozen=True, slots=True, kw_only=True)
class Pull:
    """A chart to pull: its findings, the one that puts it in its place first.

    That the infusion may still be running comes last: it lifts the chart above the
    others and is not what is wrong with it.
    """

    ward: str
    patient_id: str
    infusion_id: str
    findings: pd.DataFrame


@dataclass(frozen=True, slots=True, kw_only=True)
class PullList:
    """The first charts to pull, and how many more there are."""

    charts: tuple[Pull, ...]
    more: int


def act_now(result: AuditResult) -> ActNow:
    """Pick what may need action today.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    ActNow
        Empty frames where there is nothing.
    """
    month = in_order(month_findings(result))
    every = in_order(result.findings)
    is_running = every["kind"] == FindingKind.MAY_STILL_BE_RUNNING
    running = set(texts(every.loc[is_running, "infusion_id"])) - {""}
    return ActNow(
        running=every[is_running],
        running_flagged=every[every["infusion_id"].isin(running) & ~is_running],
        over=month[month["kind"].isin(_OVER)],
        behind=month[month["kind"].isin(_BEHIND)],
    )


def charts_to_pull(result: AuditResult, limit: int) -> PullList:
    """List the charts to pull, in order: one entry a chart, with all its findings.

    Parameters
    ----------
    result : AuditResult
        The audit. Findings of the month count, and those of any infusion that may still
        be running; its chart goes before the others, in the order of its other
        findings. Running alone is no reason to pull a chart: every log ends with
        infusions under way.
    limit : int
        Longest list wanted.

    Returns
    -------
    PullList
        A chart is an infusion; where a finding names none (a line, a site), a patient.
    """
    findings = result.findings
    is_running = findings["kind"] == FindingKind.MAY_STILL_BE_RUNNING
    flagged = set(texts(act_now(result).running_flagged["infusion_id"]))
    is_flagged = findings["infusion_id"].isin(flagged)
    is_other = (findings["month"] == result.month) & ~is_running & ~is_flagged
    ordered = pd.concat(
        [
            in_order(findings[is_flagged & ~is_running]),
            findings[is_flagged & is_running],
            in_order(findings[is_other]),
        ]
    )
    charts: dict[tuple[str, ...], list[int]] = {}
    keys = zip(
        *(texts(ordered[name]) for name in ("ward", "patient_id", "infusion_id")),
        strict=True,
    )
    for place, key in enumerate(keys):
        charts.setdefault(key, []).append(place)
    listed = [
        Pull(
            ward=key[0],
            patient_id=key[1],
            infusion_id=key[2],
            findings=ordered.iloc[places],
        )
        for key, places in islice(charts.items(), limit)
    ]
    return PullList(charts=tuple(listed), more=len(charts) - len(listed))
