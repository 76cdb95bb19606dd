"""What changed since the month before."""

from collections.abc import Mapping
from typing import Any

from analysis.audit import AuditResult
from analysis.compliance import Measure
from analysis.report import facts
from analysis.report.grid import Grid
from analysis.report.section import Section, section
from analysis.report.sections import words
from analysis.terms import ALL


def what_changed(result: AuditResult) -> Section:
    """Say what changed since the month before by more than chance would bring.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    Section
        With the number of changes compared, and of those chance alone would bring.
    """
    found = facts.changes(result)
    by_name = {measure.name: measure for measure in result.declared}
    rows = [
        _row(row, by_name[row["measure"]])
        for row in facts.rows_of(found.beyond)
        if row["measure"] in by_name
    ]
    grid = Grid(
        caption=f"{words.month(result.month)} against {words.month(found.before)}: "
        "changes whose interval leaves out 0",
        head=(
            "measure",
            "ward",
            "before",
            "now",
            "change",
            "95 % interval",
            "more than chance",
        ),
        rows=rows,
        numeric=frozenset({2, 3, 4, 5}),
    )
    return section(
        "changes",
        grid=grid,
        before=words.month(found.before),
        compared=found.compared,
        standing=int(found.beyond["stands_out"].sum()),
        by_chance=words.number(found.by_chance),
    )


def _row(row: Mapping[str, Any], measure: Measure) -> tuple[str, ...]:
    per, now, change = measure.per, row["proportion"], row["change"]
    unit = f" h per {measure.per_unit}" if measure.per_unit else " %"
    low, high = per * row["change_low"], per * row["change_high"]
    return (
        measure.label,
        "all wards" if row["ward"] == ALL else words.plain(row["ward"]),
        f"{per * (now - change):.1f}{unit}",
        f"{per * now:.1f}{unit}",
        f"{per * change:+.1f}",
        f"{low:+.1f} to {high:+.1f}",
        "yes" if row["stands_out"] else "cannot be told",
    )
