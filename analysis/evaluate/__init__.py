"""How well the audit finds planted events, and how often its intervals hold the truth.

Events by simulation on logs of the invented health service; two rules in common use,
and at request two generic searches, stand beside the audit's own on the same logs.
"""

import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from analysis.audit import AuditResult, run_audit
from analysis.evaluate.compare import compared
from analysis.evaluate.intervals import (
    COVERAGE_LOGS,
    Coverage,
    coverage_lines,
    interval_coverage,
    true_covered,
)
from analysis.evaluate.scores import (
    LEAST_EVENT_H,
    Case,
    case,
    expected_false,
    false_by_slip,
    intervals_held,
    kinds,
    reliability,
    rule_row,
)
from analysis.evaluate.settings import SETTINGS, simulated_log
from analysis.evaluate.small import SMALL_LOGS, SmallLogs, evaluate_small, small_lines
from analysis.intake import read_exports
from analysis.policy import Policy
from analysis.synthetic import write_log

__all__ = [
    "COVERAGE_LOGS",
    "LEAST_EVENT_H",
    "SETTINGS",
    "SMALL_LOGS",
    "Coverage",
    "Evaluation",
    "SmallLogs",
    "coverage_lines",
    "evaluate",
    "interval_coverage",
    "simulated_log",
    "small_lines",
    "small_logs",
    "true_covered",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Evaluation:
    """What a simulation found.

    Attributes
    ----------
    setting : str
        A name of `SETTINGS`.
    seed : int
        Seed of the simulated log.
    infusions : int
        Infusions that could be evaluated.
    limit : float
        Event probability from which the audit lists an infusion.
    table : DataFrame
        One row a rule (`rule_row`).
    slips, kinds, intervals, reliability : DataFrame
        As given by `false_by_slip`, `kinds`, `intervals_held` and `reliability`.
    false_said : float
        Sum of 1 - event_probability over the list.
    false_found : int
        Uneventful infusions on the list.
    """

    setting: str
    seed: int
    infusions: int
    limit: float
    table: pd.DataFrame
    slips: pd.DataFrame
    kinds: pd.DataFrame
    intervals: pd.DataFrame
    reliability: pd.DataFrame
    false_said: float
    false_found: int


def evaluate(
    infusions: int,
    seed: int,
    *,
    setting: str = "ordinary",
    is_compared: bool = False,
    progress: Callable[[str], None] | None = None,
) -> Evaluation:
    """Measure what the audit finds and flags on a simulated log.

    Parameters
    ----------
    infusions : int
        Infusions wanted, about.
    seed : int
        The same seed gives the same figures.
    setting : str
        A name of `SETTINGS`.
    is_compared : bool
        Score the generic searches too.
    progress : callable, optional
        Called with a few words at each step.

    Returns
    -------
    Evaluation
        The audit's rule and two rules in common use.

    Raises
    ------
    CompareError
        When the libraries to compare with are not installed.
    """
    say = progress or (lambda _: None)
    say("making a log")
    log = simulated_log(infusions, seed, setting)
    with tempfile.TemporaryDirectory() as folder:
        write_log(log, Path(folder))
        exports = [Path(folder, f"{name}.csv") for name in ("checks", "infusions")]
        say("auditing it")
        result = run_audit(exports, Policy.example())
    own = case(result.infusions, result.findings, log)
    say("scoring")
    said, false = expected_false(own)
    return Evaluation(
        setting=setting,
        seed=seed,
        infusions=len(own.truth),
        limit=result.threshold.probability,
        table=pd.DataFrame(_rules(own, result, is_compared=is_compared)),
        slips=false_by_slip(own),
        kinds=kinds(own),
        intervals=intervals_held(own),
        reliability=reliability(own),
        false_said=said,
        false_found=false,
    )


def small_logs(
    infusions: int,
    seed: int,
    *,
    setting: str = "ordinary",
    logs: int = SMALL_LOGS,
    progress: Callable[[str], None] | None = None,
) -> SmallLogs:
    """Measure what the audit finds and flags in logs of few infusions.

    Parameters
    ----------
    infusions : int
        Infusions, about, of the simulated log that the small ones are cut from.
    seed : int
        The same seed gives the same figures.
    setting : str
        A name of `SETTINGS`.
    logs : int
        Small logs of each size, at the most.
    progress : callable, optional
        Called with a few words at each step.

    Returns
    -------
    SmallLogs
        By size.
    """
    made = simulated_log(infusions, seed, setting)
    with tempfile.TemporaryDirectory() as folder:
        write_log(made, Path(folder))
        exports = [Path(folder, f"{name}.csv") for name in ("checks", "infusions")]
        log = read_exports(exports, Policy.example())
    table = evaluate_small(log, made, logs=logs, progress=progress)
    return SmallLogs(setting=setting, seed=seed, table=table)


def _rules(
    own: Case, result: AuditResult, *, is_compared: bool
) -> list[dict[str, object]]:
    """Score the audit's rule, those in common use and the generic searches."""
    truth = own.truth
    listed = np.asarray(truth.index.isin(own.findings.index))
    rows = [rule_row("the audit's rule", own.probability, listed, truth)]
    rules = {
        "any reading more than 10 % of the fill off": _off(result, "fill"),
        "any reading more than 1 h off": _off(result, "hour"),
    }
    for name, share in rules.items():
        score = share.reindex(truth.index).fillna(0)
        rows.append(rule_row(name, score, (score > 1).to_numpy(), truth))
    if is_compared:
        for name, score in compared(result.readings, truth.index).items():
            # No limit of their own: the one that leaves the wanted false flags.
            limit = np.quantile(score[truth["is_quiet"]], 0.99)
            rows.append(rule_row(name, score, (score > limit).to_numpy(), truth))
    return rows


def _off(result: AuditResult, limit: str) -> pd.Series:
    """Give the largest residual of each infusion over what a practice rule allows."""
    readings = result.readings.set_index("infusion_id")
    known = result.infusions.set_index("infusion_id")
    allowed = (
        0.1 * known["start_volume_ml"] if limit == "fill" else known["set_rate_ml_h"]
    )
    off = readings["residual_ml"].abs() / allowed.reindex(readings.index)
    return off.groupby(level=0).max()
