"""One infusion under review: everything of the log that bears on it, found once."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from analysis.compliance import Adherence, judge_adherence
from analysis.compliance.coded import as_texts
from analysis.delivery import Delivery, Threshold, judge_delivery
from analysis.delivery.close import Explained, look_closely
from analysis.errors import IncidentError
from analysis.findings import collect_findings
from analysis.incident.find import infusion_at, infusion_by_id, parse_time
from analysis.incident.lost import lost_rows_near, lost_rows_of
from analysis.intake import Log, read_exports
from analysis.intake.layout import Layout
from analysis.observation import observe
from analysis.policy import Policy
from analysis.quality import explain_findings
from analysis.sites import judge_sites

#: Measures whose units the review shows.
_OF_CHECKS = ("checks_on_time", "covered_time")

#: Stages that `review_incident` names to its caller as it comes to them.
STAGES = ("reading the export", "delivery", "adherence", "the infusion")


@dataclass(frozen=True, slots=True, kw_only=True)
class Incident:
    """One infusion and all that the log holds about it.

    Attributes
    ----------
    infusion_id : str
        The infusion.
    policy : Policy
        The limits in force.
    known : Mapping of str to value
        What is known of it: columns of the canonical infusions table, first_row,
        last_row, observed_end, end_kind, planned_end, evaluable, reason, kind,
        event_probability, flow_factor and its limits.
    rows : DataFrame
        Its accepted rows in order of time: columns of the check log, with the columns
        of the expected line (`expected_lines`) and slip_probability.
    superseded : DataFrame
        Rows that were replaced by an amendment to one of its rows, or struck out.
    unplaced : DataFrame
        Rows that could not be placed and name this infusion, or its patient and no
        infusion: source, sentence.
    set_aside : DataFrame
        Cells of its rows that could not be read.
    explained : tuple of Explained
        Every explanation of its readings, the likeliest first; empty where it cannot
        be evaluated.
    findings : DataFrame
        Findings of the whole log.
    units : DataFrame
        Checks of this infusion that fell due, with their outcome.
    lines : DataFrame
        Extension sets and cannulas that its rows name, or of its patient at the time.
    infusions : DataFrame
        All infusions of the log, as `known`, indexed by infusion_id.
    uses : DataFrame
        infusion_id, line_id and site_id, each pair once, of the whole log.
    noise : DataFrame
        Noise of its ward's readings.
    drivers : DataFrame
        Its driver over all its infusions; at most one row.
    threshold : Threshold
        Event probability from which an infusion is listed.
    account, rejected : DataFrame
        The log's row account, and rows that could not be placed.
    columns : frozenset of str
        Columns of the check log with a value anywhere in the export.
    notes : tuple of str
        What had to be settled or assumed.
    log_start, log_end : Timestamp
        First and last accepted row of the log.
    """

    infusion_id: str
    policy: Policy
    known: Mapping[Any, Any]
    rows: pd.DataFrame
    superseded: pd.DataFrame
    unplaced: pd.DataFrame
    set_aside: pd.DataFrame
    explained: tuple[Explained, ...]
    findings: pd.DataFrame
    units: pd.DataFrame
    lines: pd.DataFrame
    infusions: pd.DataFrame
    uses: pd.DataFrame
    noise: pd.DataFrame
    drivers: pd.DataFrame
    threshold: Threshold
    account: pd.DataFrame
    rejected: pd.DataFrame
    columns: frozenset[str]
    notes: tuple[str, ...]
    log_start: pd.Timestamp
    log_end: pd.Timestamp


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """Which infusion is asked for: by its id, or by patient and time."""

    infusion: str = ""
    patient: str = ""
    at: str = ""

    def checked(self) -> "Asked":
        """Refuse what is asked for in no way or in two.

        Returns
        -------
        Asked
            This one.

        Raises
        ------
        IncidentError
            Neither an id nor patient and time, or both.
        """
        if bool(self.infusion) == bool(self.patient or self.at):
            msg = "which infusion? give --infusion ID, or --patient ID with --at TIME"
            raise IncidentError(f"{msg}, and not both")
        if not self.infusion and not (self.patient and self.at):
            given, other = ("--patient", "--at TIME")
            if not self.patient:
                given, other = ("--at", "--patient ID")
            raise IncidentError(f"{given} needs {other} beside it")
        return self


def find_infusion(log: Log, policy: Policy, asked: Asked) -> str:
    """Tell which infusion of the log is asked for.

    Parameters
    ----------
    log : Log
        Canonical tables.
    policy : Policy
        Gives the zone, and planned durations where none are charted.
    asked : Asked
        What is asked for.

    Returns
    -------
    str
        infusion_id.

    Raises
    ------
    IncidentError
        No infusion of the log, or more than one.
    """
    asked.checked()
    if asked.infusion:
        lost = lost_rows_of(log, "infusion_id", asked.infusion)
        return infusion_by_id(log.infusions.index, asked.infusion, lost)
    at = parse_time(asked.at, policy)
    infusions = log.infusions.join(observe(log, policy))
    lost = lost_rows_near(log, asked.patient, at)
    return infusion_at(infusions, asked.patient, at, lost)


def review_incident(
    exports: Sequence[Path],
    policy: Policy,
    asked: Asked,
    *,
    layout: Layout | None = None,
    progress: Callable[[str], None] | None = None,
) -> Incident:
    """Read the exports and gather all that bears on one infusion.

    Judged exactly as the monthly audit of the same exports judges it.

    Parameters
    ----------
    exports : sequence of Path
        Exports, in any mix of files; opened for reading only.
    policy : Policy
        The limits in force.
    asked : Asked
        Which infusion.
    layout : Layout, optional
        How the exports map to the canonical tables.
    progress : callable, optional
        Called with each of `STAGES` as it begins.

    Returns
    -------
    Incident
        Also for an infusion that cannot be evaluated, or that is still running.

    Raises
    ------
    InputError
        A file cannot be used as a whole.
    IncidentError
        No infusion of the log is meant, or more than one.
    """
    stages = iter(STAGES)

    def next_stage() -> None:
        if progress:
            progress(next(stages))

    next_stage()
    log = read_exports(exports, policy, layout)
    infusion_id = find_infusion(log, policy, asked)
    next_stage()
    delivery = judge_delivery(log, policy)
    next_stage()
    adherence = judge_adherence(log, delivery.lines, policy)
    sites = judge_sites(log, policy)
    parts = [delivery.findings, *adherence.findings, sites.findings]
    findings = collect_findings(explain_findings(parts, log, policy, delivery))
    next_stage()
    infusions = log.infusions.join(delivery.infusions).join(adherence.ends)
    rows = _rows(log, delivery, infusion_id)
    known: Mapping[Any, Any] = infusions.loc[infusion_id].to_dict()
    own = log.checks[log.checks["infusion_id"] == infusion_id]
    used = log.checks[["infusion_id", "line_id", "site_id"]].drop_duplicates()
    return Incident(
        infusion_id=infusion_id,
        policy=policy,
        known=known,
        rows=rows,
        superseded=_superseded(log, rows, infusion_id),
        unplaced=_unplaced(log, known, infusion_id),
        set_aside=log.set_aside[log.set_aside["source"].isin(rows["source"])],
        explained=look_closely(
            delivery.lines[delivery.lines["infusion_id"] == infusion_id],
            own,
            log.infusions.loc[[infusion_id]],
            delivery.noise,
            delivery.probabilities[delivery.probabilities.index == infusion_id],
        ),
        findings=findings,
        units=_units(adherence, infusion_id),
        lines=_lines(log, rows, known),
        infusions=infusions,
        uses=used[(used["line_id"] != "") | (used["site_id"] != "")],
        noise=delivery.noise[delivery.noise["ward"].isin(set(rows["ward"]))],
        drivers=delivery.drivers[delivery.drivers["driver_id"] == known["driver_id"]],
        threshold=delivery.threshold,
        account=log.account,
        rejected=log.rejected,
        columns=log.columns["checks"],
        notes=log.notes,
        log_start=log.checks["checked_at"].iloc[0],
        log_end=log.checks["checked_at"].iloc[-1],
    )


def _units(adherence: Adherence, infusion_id: str) -> pd.DataFrame:
    """Find the checks of the infusion that fell due, and its covered time."""
    tables = [adherence.units.of(name) for name in _OF_CHECKS]
    own = [as_texts(t[t["infusion_id"] == infusion_id]) for t in tables]
    return pd.concat([t for t in own if len(t)] or own[:1], ignore_index=True)


def _rows(log: Log, delivery: Delivery, infusion_id: str) -> pd.DataFrame:
    """Put the expected line beside every row of the infusion."""
    own = log.checks[log.checks["infusion_id"] == infusion_id]
    added = delivery.lines.columns.difference(own.columns)
    return own.join(delivery.lines[added])


def _superseded(log: Log, rows: pd.DataFrame, infusion_id: str) -> pd.DataFrame:
    """Find the rows that amendments replaced, and those that these replaced before."""
    every = log.superseded
    chain = set(rows.loc[rows["amends"] != "", "amends"])
    while (
        more := set(
            every.loc[every["source"].isin(chain) & (every["amends"] != ""), "amends"]
        )
        - chain
    ):
        chain |= more
    is_own = every["source"].isin(chain) | (every["infusion_id"] == infusion_id)
    return every[is_own]


def _unplaced(log: Log, known: Mapping[Any, Any], infusion_id: str) -> pd.DataFrame:
    """Find rejected rows that may have been of this infusion, and why they were."""
    rows = log.unplaced
    is_own = (rows["infusion_id"] == infusion_id) | (
        (rows["infusion_id"] == "") & (rows["patient_id"] == known["patient_id"])
    )
    near = rows["checked_at"].isna() | (
        (rows["checked_at"] >= known["started_at"])
        & (rows["checked_at"] <= known["observed_end"])
    )
    sources = rows.loc[is_own & near, "source"]
    found = log.rejected[log.rejected["source"].isin(sources)]
    return found.drop_duplicates("source")[["source", "sentence"]]


def _lines(log: Log, rows: pd.DataFrame, known: Mapping[Any, Any]) -> pd.DataFrame:
    """Find the extension sets and cannulas that the infusion ran through."""
    named = set(rows["line_id"]) | set(rows["site_id"])
    lines = log.lines
    while_running = (
        (lines["patient_id"] == known["patient_id"])
        & (lines["inserted_at"] <= known["observed_end"])
        & ~(lines["removed_at_latest"] < known["started_at"])
    )
    is_own = lines["line_id"].isin(named - {""}) | while_running
    found: pd.DataFrame = lines[is_own].sort_values(
        ["kind", "inserted_at", "line_id"], kind="stable"
    )
    return found
