"""The monthly audit, start to end: the main path of the package."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from analysis.columns import INFUSION_RESULTS, READINGS
from analysis.compliance import Measure, Units, judge_adherence, measures_of
from analysis.compliance.units import count_exclusions, measure_units
from analysis.delivery import Delivery, Threshold, judge_delivery
from analysis.errors import PeriodError
from analysis.findings import collect_findings
from analysis.intake import Log, read_exports
from analysis.intake.future import future_checks
from analysis.intake.layout import Layout
from analysis.lookup import written
from analysis.memory import give_back
from analysis.policy import Policy
from analysis.quality import explain_findings
from analysis.quality.account import qualifiers
from analysis.sites import MEASURE as SITE_REACTIONS
from analysis.sites import judge_sites
from analysis.wards import (
    OVERLAP,
    Lines,
    compare_wards,
    follow_months,
    months_held,
    reading_splits,
)
from analysis.workers import Map, one_by_one


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditResult:
    """Everything an audit found; the frames have the columns of `analysis.columns`.

    Attributes
    ----------
    month : str
        Month the report is about, YYYY-MM.
    is_part_of_month : bool
        True where the log holds no whole month.
    log_start, log_end : Timestamp
        First and last accepted row, in the policy's time zone.
    policy : Policy
        The limits in force.
    account : DataFrame
        One row a file: file, table, sha256, rows_read, accepted, rejected, superseded,
        exact_duplicates, other_lines.
    noise : DataFrame
        One row a ward and kind of reading: ward, source (remaining or delivered),
        readings, reading_step_ml, start_step_ml, time_step_min, fitted noise
        (`fit_noise`), event_share, shortest_stall_h.
    threshold : Threshold
        Event probability from which an infusion is listed, and how it was found.
    not_in_export : mapping of str to str
        Measures that the export cannot give, and the sentence that says why.
    notes : tuple of str
        What had to be settled or assumed, in words.
    qualifiers : DataFrame
        Numbers charted as about, below, above or between: column, qualifier, cells,
        and source and value of the first of each.
    unit_tables : Units
        The units table, by measure.
    findings, infusions, readings, drivers, measures, exclusions, rates, comparisons, \
trends, rejected, set_aside : DataFrame
        The other output tables.
    """

    month: str
    is_part_of_month: bool
    log_start: pd.Timestamp
    log_end: pd.Timestamp
    policy: Policy
    account: pd.DataFrame
    noise: pd.DataFrame
    threshold: Threshold
    not_in_export: dict[str, str]
    notes: tuple[str, ...]
    qualifiers: pd.DataFrame
    findings: pd.DataFrame
    infusions: pd.DataFrame
    readings: pd.DataFrame
    drivers: pd.DataFrame
    measures: pd.DataFrame
    exclusions: pd.DataFrame
    unit_tables: Units
    rates: pd.DataFrame
    comparisons: pd.DataFrame
    trends: pd.DataFrame
    rejected: pd.DataFrame
    set_aside: pd.DataFrame

    @property
    def units(self) -> pd.DataFrame:
        """The units table, in one piece.

        Returns
        -------
        DataFrame
            Put together anew each time: `unit_tables` has them by measure, in a
            fraction of the memory.
        """
        return self.unit_tables.together()

    @property
    def declared(self) -> tuple[Measure, ...]:
        """Every adherence measure, in order, with its definition.

        Returns
        -------
        tuple of Measure
            Also those that the export cannot give.
        """
        return measures_of(self.policy.grace_also_h)


#: Stages that `run_audit` names to its caller as it comes to them.
STAGES = ("reading the export", "delivery", "adherence", "sites", "adding up")


def run_audit(  # noqa: PLR0913 - one argument an option of the command
    exports: Sequence[Path],
    policy: Policy,
    *,
    month: str | None = None,
    layout: Layout | None = None,
    progress: Callable[[str], None] | None = None,
    now: pd.Timestamp | None = None,
    run: Map = one_by_one,
) -> AuditResult:
    """Audit a check log.

    Parameters
    ----------
    exports : sequence of Path
        Exports, in any mix of files.
    policy : Policy
        The limits in force.
    month : str, optional
        Month of the report, YYYY-MM; without it the log decides (`choose_month`).
    layout : Layout, optional
        How the exports map to the canonical tables; without one, what can be
        recognised safely is.
    progress : callable, optional
        Called with each of `STAGES` as it begins.
    now : Timestamp, optional
        When the audit is made, with its zone: checks dated after it are told of.
    run : Map
        Does what falls into parts (`analysis.workers`); the tables are the same.

    Returns
    -------
    AuditResult
        All tables of the whole log.

    Raises
    ------
    InputError
        A file cannot be used as a whole.
    PeriodError
        The month is not a month, or the log has no row in it.
    """
    stages = iter(STAGES)

    def next_stage() -> None:
        give_back()
        if progress:
            progress(next(stages))

    next_stage()
    log = read_exports(exports, policy, layout)
    month, is_part = choose_month(log.checks["checked_at"], month)
    next_stage()
    delivery = judge_delivery(log, policy, run)
    next_stage()
    adherence = judge_adherence(log, delivery.lines, policy)
    next_stage()
    sites = judge_sites(log, policy)
    next_stage()
    units = adherence.units.and_of(SITE_REACTIONS, sites.units)
    measures = measure_units(units.tables(), adherence.names, adherence.in_hours)
    infusions = _infusion_results(log, delivery, adherence.ends)
    readings = _reading_results(log, delivery)
    splits = reading_splits(readings)
    months = months_held(log.checks)
    comparisons = compare_wards(measures, policy, adherence.measures, splits, months)
    return AuditResult(
        month=month,
        is_part_of_month=is_part,
        log_start=log.checks["checked_at"].iloc[0],
        log_end=log.checks["checked_at"].iloc[-1],
        policy=policy,
        account=log.account,
        noise=delivery.noise,
        threshold=delivery.threshold,
        not_in_export={**adherence.not_in_export, **sites.not_in_export},
        notes=(
            *log.notes,
            *(future_checks(log.checks, now) if now is not None else ()),
            *sites.notes,
            *policy.without_rows(log.checks["ward"].unique()),
        ),
        qualifiers=qualifiers(log.qualified),
        findings=collect_findings(
            explain_findings(
                [delivery.findings, *adherence.findings, sites.findings],
                log,
                policy,
                delivery,
            )
        ),
        infusions=infusions,
        readings=readings,
        drivers=delivery.drivers,
        measures=measures,
        exclusions=count_exclusions(units.tables(), [*adherence.names, SITE_REACTIONS]),
        unit_tables=units,
        rates=sites.rates,
        comparisons=comparisons,
        trends=follow_months(
            Lines(
                comparisons=comparisons,
                rates=sites.rates,
                infusions=infusions,
                splits=splits,
                months=months,
            ),
            adherence.measures,
            policy,
        ),
        rejected=log.rejected,
        set_aside=log.set_aside,
    )


def choose_month(times: pd.Series, month: str | None) -> tuple[str, bool]:
    """Choose the month of the report.

    Without `month`: the month of the log's last row if that is within 24 h of its end,
    else the month before; if the log has no such month, the latest, marked as part of
    a month. A few days at the end of the month before, exported to judge what crosses
    into the next, are no such month.

    Parameters
    ----------
    times : Series of datetime64, shape (n,)
        Times of the accepted rows, in order, in the policy's zone.
    month : str or None
        Month asked for, YYYY-MM.

    Returns
    -------
    month : str
        YYYY-MM.
    is_part : bool
        True where the log begins more than 24 h after the month's start or ends more
        than 24 h before its end.

    Raises
    ------
    PeriodError
        `month` is not written as YYYY-MM, or the log has no row in it.
    """
    local = times.dt.tz_localize(None)
    held = set(local.dt.strftime("%Y-%m"))
    first, last = local.iloc[0], local.iloc[-1]
    if month is not None:
        parsed = pd.to_datetime(month, format="%Y-%m", errors="coerce")
        if pd.isna(parsed) or len(month) != 7:
            msg = f"--month {month}: write the month as YYYY-MM, such as 2026-10"
            raise PeriodError(msg)
        if month not in held:
            msg = f"--month {month}: the log has no row in that month; it runs from "
            raise PeriodError(f"{msg}{first:%Y-%m-%d} to {last:%Y-%m-%d}")
        return month, _is_part(pd.Period(month), first, last)
    this = last.to_period("M")
    if last >= (this + 1).start_time - pd.Timedelta(hours=24):
        return str(this), _is_part(this, first, last)
    before = this - 1
    is_held = str(before) in held and first < this.start_time - OVERLAP
    chosen = before if is_held else this
    return str(chosen), _is_part(chosen, first, last)


def _is_part(month: pd.Period, first: pd.Timestamp, last: pd.Timestamp) -> bool:
    day = pd.Timedelta(hours=24)
    return bool(first > month.start_time + day or last < (month + 1).start_time - day)


def _infusion_results(log: Log, delivery: Delivery, ends: pd.DataFrame) -> pd.DataFrame:
    """Put together what is known of each infusion."""
    rows = log.checks[log.checks["set_rate_ml_h"] > 0]
    table = log.infusions.join(delivery.infusions).join(ends)
    table["set_rate_ml_h"] = rows.groupby("infusion_id")["set_rate_ml_h"].first()
    table["month"] = written(table["started_at"], "%Y-%m")
    return table.reset_index()[INFUSION_RESULTS.names]


def _reading_results(log: Log, delivery: Delivery) -> pd.DataFrame:
    """Put the expected line beside every accepted row."""
    added = delivery.lines[
        ["elapsed_h", "expected_ml", "residual_ml", "sd_ml", "slip_probability"]
    ]
    table = log.checks.join(added)
    is_doubtful = delivery.lines["is_doubtful"].reindex(table.index, fill_value=False)
    table["doubtful"] = np.where(is_doubtful, "yes", "no")
    table["month"] = written(table["checked_at"], "%Y-%m")
    return table[READINGS.names]
