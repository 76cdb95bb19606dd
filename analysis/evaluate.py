"""How well the audit finds planted events, and how often it flags without one.

By simulation on logs of the invented health service: more events and more slips than on
a real ward, so that both shares can be measured. Two rules in common use stand beside
the audit's own, on the same logs.
"""

import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from analysis.audit import AuditResult, run_audit
from analysis.policy import Policy
from analysis.synthetic import (
    DEMO_PLANTING,
    NO_EVENT,
    WARDS,
    SyntheticLog,
    make_log,
    write_log,
)
from analysis.terms import FindingGroup

#: Share of infusions with a delivery event and with a slip, and the smallest event
#: counted: delivery worth so many hours.
EVENT_SHARE, SLIP_SHARE, LEAST_EVENT_H = 0.12, 0.10, 1.5

#: Infusions that `make_log` makes of the demo's wards in its days, about.
_DEMO_INFUSIONS, _DAYS = 410, 62


@dataclass(frozen=True, slots=True, kw_only=True)
class Evaluation:
    """What a simulation found.

    Attributes
    ----------
    seed : int
        Seed of the simulated log.
    infusions : int
        Infusions that could be evaluated.
    table : DataFrame
        One row a rule: rule, events, found, found_share, found_se, uneventful, false,
        false_per_1000, false_se. Standard errors are binomial (Monte Carlo error).
    """

    seed: int
    infusions: int
    table: pd.DataFrame


def simulated_log(infusions: int, seed: int) -> SyntheticLog:
    """Make a log with about so many infusions, from the demo's wards and habits.

    Parameters
    ----------
    infusions : int
        Infusions wanted, about.
    seed : int
        The same seed gives the same log.

    Returns
    -------
    SyntheticLog
        With `EVENT_SHARE` events and `SLIP_SHARE` slips.
    """
    scale = infusions / _DEMO_INFUSIONS
    wards = [
        replace(ward, infusions_per_month=ward.infusions_per_month * scale)
        for ward in WARDS
    ]
    return make_log(
        rng=np.random.default_rng(seed),
        wards=wards,
        first_day=date(2026, 5, 1),  # no clock change: one thing at a time
        days=_DAYS,
        planting=replace(DEMO_PLANTING, event_share=EVENT_SHARE, slip_share=SLIP_SHARE),
    )


def evaluate(
    infusions: int, seed: int, *, progress: Callable[[str], None] | None = None
) -> Evaluation:
    """Measure what the audit finds and flags on a simulated log.

    Parameters
    ----------
    infusions : int
        Infusions wanted, about.
    seed : int
        The same seed gives the same figures.
    progress : callable, optional
        Called with a few words at each step.

    Returns
    -------
    Evaluation
        The audit's rule and two rules in common use.
    """
    say = progress or (lambda _: None)
    say("making a log")
    log = simulated_log(infusions, seed)
    with tempfile.TemporaryDirectory() as folder:
        write_log(log, Path(folder))
        exports = [Path(folder, f"{name}.csv") for name in ("checks", "infusions")]
        say("auditing it")
        result = run_audit(exports, Policy.example())
    truth = log.truth_infusions.set_index("infusion_id")
    judged = result.infusions.loc[result.infusions["evaluable"] == "yes", "infusion_id"]
    truth = truth.loc[truth.index.isin(judged)]
    rules = {
        "the audit's rule": _flagged_by_audit(result),
        "any reading more than 10 % of the fill off": _flagged_off(result, "fill"),
        "any reading more than 1 h off": _flagged_off(result, "hour"),
    }
    rows = [_row(name, flagged, truth) for name, flagged in rules.items()]
    return Evaluation(seed=seed, infusions=len(truth), table=pd.DataFrame(rows))


def _flagged_by_audit(result: AuditResult) -> set[str]:
    findings = result.findings
    return set(findings.loc[findings["group"] == FindingGroup.DELIVERY, "infusion_id"])


def _flagged_off(result: AuditResult, limit: str) -> set[str]:
    readings = result.readings.set_index("infusion_id")
    known = result.infusions.set_index("infusion_id")
    allowed = (
        0.1 * known["start_volume_ml"] if limit == "fill" else known["set_rate_ml_h"]
    )
    off = readings["residual_ml"].abs() > allowed.reindex(readings.index)
    return set(readings.index[off])


def _row(rule: str, flagged: set[str], truth: pd.DataFrame) -> dict[str, object]:
    is_flagged = truth.index.isin(flagged)
    hours = pd.to_numeric(truth["hours_equivalent"], errors="coerce").abs()
    is_event = (hours >= LEAST_EVENT_H).to_numpy()
    is_quiet = (truth["kind"] == NO_EVENT).to_numpy()
    events, found = int(is_event.sum()), int((is_event & is_flagged).sum())
    quiet, false = int(is_quiet.sum()), int((is_quiet & is_flagged).sum())
    share, rate = found / max(events, 1), false / max(quiet, 1)
    return {
        "rule": rule,
        "events": events,
        "found": found,
        "found_share": share,
        "found_se": float(np.sqrt(share * (1 - share) / max(events, 1))),
        "uneventful": quiet,
        "false": false,
        "false_per_1000": 1000 * rate,
        "false_se": float(1000 * np.sqrt(rate * (1 - rate) / max(quiet, 1))),
    }
