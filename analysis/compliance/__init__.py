"""Adherence: observed ends, then one file a family of measures."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import pandas as pd

from analysis.compliance.checks import (
    after_end_findings,
    check_findings,
    checks_on_time,
    covered_time,
    gaps_between_checks,
    running_findings,
)
from analysis.compliance.lines import (
    line_findings,
    line_segments,
    lines_changed_in_time,
)
from analysis.compliance.observation import observe
from analysis.compliance.units import stack_units
from analysis.intake import Log
from analysis.policy import Policy

__all__ = ["IN_HOURS", "Adherence", "judge_adherence"]

#: Measures whose numerator and denominator are hours.
IN_HOURS = frozenset({"covered_time"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Adherence:
    """Units of every measure, and what they rest on.

    Attributes
    ----------
    ends : DataFrame
        As given by `observe`.
    units : DataFrame
        The units table.
    names : tuple of str
        Measures in order, also those without a unit.
    findings : list of DataFrame
        Check, charting, continuity and line findings, without id and month.
    not_in_export : mapping of str to str
        Measures that the export cannot give, and why.
    """

    ends: pd.DataFrame
    units: pd.DataFrame
    names: tuple[str, ...]
    findings: list[pd.DataFrame]
    not_in_export: Mapping[str, str]


def judge_adherence(log: Log, policy: Policy) -> Adherence:
    """Find the units of every measure and what became of each.

    Parameters
    ----------
    log : Log
        Canonical tables.
    policy : Policy
        The limits in force.

    Returns
    -------
    Adherence
        Every measure is among `names`, whether or not the export can give it.
    """
    ends = observe(log, policy)
    gaps = gaps_between_checks(log, ends, policy)
    segments = line_segments(log, ends)
    units = {
        "covered_time": covered_time(gaps),
        "checks_on_time": checks_on_time(gaps),
    }
    for grace in policy.grace_also_h:
        units[f"checks_on_time_grace_{grace:.1f}"] = checks_on_time(gaps, grace)
    units["lines_changed_in_time"] = lines_changed_in_time(segments, policy)
    last_source = log.checks.groupby("infusion_id")["source"].last()
    return Adherence(
        ends=ends,
        units=stack_units(units),
        names=tuple(units),
        findings=[
            check_findings(units["checks_on_time"], log.infusions),
            after_end_findings(log, ends),
            running_findings(log, ends, last_source),
            line_findings(units["lines_changed_in_time"], segments, policy),
        ],
        not_in_export=MappingProxyType(_absent(log)),
    )


def _absent(log: Log) -> dict[str, str]:
    has_table = (log.lines["kind"] == "extension_set").any()
    if has_table or log.columns["checks"] & {"line_id", "line_changed"}:
        return {}
    return {
        "lines_changed_in_time": "Not in this export: it has no lines table with "
        "extension sets, no line_id and no line_changed column."
    }
