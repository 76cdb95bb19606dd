"""Adherence: one file a family of measures, each a declared thing with its units."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import pandas as pd

from analysis.compliance import continuity, habits, lines, record, set_up
from analysis.compliance.after_end import after_end_findings, running_findings
from analysis.compliance.checks import (
    checks_family,
    gaps_between_checks,
)
from analysis.compliance.coded import as_texts, coded_log
from analysis.compliance.measure import Basis, Family, Measure, no_units
from analysis.compliance.missed import check_findings
from analysis.compliance.rate_findings import rate_findings
from analysis.compliance.readings import pairs_of
from analysis.compliance.segments import CANNULA, EXTENSION_SET, line_segments
from analysis.compliance.succession import syringe_runs
from analysis.compliance.unit_tables import Units
from analysis.compliance.visits import visits_of
from analysis.intake import Log
from analysis.observation import observe
from analysis.policy import Policy

__all__ = ["Adherence", "Family", "Measure", "Units", "judge_adherence", "measures_of"]


def measures_of(graces: Sequence[float]) -> tuple[Measure, ...]:
    """List every measure, in the order of the report.

    Parameters
    ----------
    graces : sequence of float
        Graces at which checks on time are shown besides [h].

    Returns
    -------
    tuple of Measure
        The same ones whatever the export holds.
    """
    return (
        *checks_family(graces),
        *continuity.FAMILY,
        *lines.FAMILY,
        *set_up.FAMILY,
        *record.FAMILY,
        *habits.FAMILY,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Adherence:
    """Units of every measure, and what they rest on.

    Attributes
    ----------
    ends : DataFrame
        Observed end of every infusion, as given by `observe`.
    measures : tuple of Measure
        In order, also those without a unit.
    units : Units
        Of each measure, in alphabetical order of their names.
    findings : list of DataFrame
        Check, charting, set-up, continuity and line findings, without id and month.
    not_in_export : mapping of str to str
        Measures that the export cannot give, and why.
    """

    ends: pd.DataFrame
    measures: tuple[Measure, ...]
    units: Units
    findings: list[pd.DataFrame]
    not_in_export: Mapping[str, str]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the measures, in order.

        Returns
        -------
        tuple of str
            As in measures.csv.
        """
        return tuple(measure.name for measure in self.measures)

    @property
    def in_hours(self) -> frozenset[str]:
        """Names of the measures whose numerator and denominator are hours.

        Returns
        -------
        frozenset of str
            As in measures.csv.
        """
        return frozenset(m.name for m in self.measures if m.in_hours)


def judge_adherence(log: Log, lines_set: pd.DataFrame, policy: Policy) -> Adherence:
    """Find the units of every measure and what became of each.

    Parameters
    ----------
    log : Log
        Canonical tables.
    lines_set : DataFrame
        Set-rate line at each row, as given by `expected_lines`.
    policy : Policy
        The limits in force.

    Returns
    -------
    Adherence
        Every measure is among `measures`, whether or not the export can give it.
    """
    index = log.infusions.index
    log, lines_set = coded_log(log, lines_set)
    ends = observe(log, policy)
    runs = syringe_runs(log, ends, lines_set, policy)
    visits = visits_of(log, ends)
    basis = Basis(
        log=log,
        ends=ends,
        gaps=gaps_between_checks(log, ends, policy),
        sets=line_segments(log, ends, EXTENSION_SET),
        cannulas=line_segments(log, ends, CANNULA),
        runs=runs,
        changes=continuity.syringe_changes(runs),
        lines=lines_set,
        visits=visits,
        pairs=pairs_of(lines_set, visits, log.checks["running"]),
        policy=policy,
    )
    measures = measures_of(policy.grace_also_h)
    lacking = {m.name: why for m in measures if (why := m.lacks(log))}
    findings: dict[str, pd.DataFrame] = {}
    tell = _findings_of(basis)

    def found() -> Iterator[tuple[str, pd.DataFrame]]:
        for measure in sorted(measures, key=lambda m: m.name):
            name = measure.name
            units = no_units() if name in lacking else measure.find(basis)
            if name in tell:
                findings[name] = tell[name](units)
            yield name, units

    units = Units.found(found())
    last_source = log.checks.groupby("infusion_id", observed=False)["source"].last()
    return Adherence(
        ends=as_texts(ends).set_axis(index),
        measures=measures,
        units=units,
        findings=[
            as_texts(part)
            for part in (
                findings["checks_on_time"],
                after_end_findings(log, ends),
                running_findings(log, ends, last_source),
                continuity.gap_findings(basis.changes),
                findings["set_rate_matches"],
                findings["lines_changed_in_time"],
                findings["sites_rotated_in_time"],
            )
        ],
        not_in_export=MappingProxyType(lacking),
    )


def _findings_of(basis: Basis) -> dict[str, Callable[[pd.DataFrame], pd.DataFrame]]:
    """Give what is told of the units of some measures, by their names."""
    return {
        "checks_on_time": lambda u: check_findings(u, basis.gaps, basis.log),
        "set_rate_matches": lambda u: rate_findings(u, basis),
        "lines_changed_in_time": lambda u: lines.line_findings(
            u, basis.sets, EXTENSION_SET, basis.policy
        ),
        "sites_rotated_in_time": lambda u: lines.line_findings(
            u, basis.cannulas, CANNULA, basis.policy
        ),
    }
