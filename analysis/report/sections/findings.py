"""Findings one by one: delivery with a plot, the others by group."""

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd
from matplotlib.figure import Figure

from analysis import figures
from analysis.audit import AuditResult
from analysis.delivery.simulated import SIMULATED
from analysis.report import facts
from analysis.report.cells import texts
from analysis.report.grid import Grid
from analysis.report.read_back import read_review
from analysis.report.section import Section, section
from analysis.report.sections import words
from analysis.review import Review, flags_by_month

#: Rows of a long table that are on the page; the rest is in the tables folder.
_MOST_ROWS = 200

#: Place of the axes in a delivery plot: left, bottom, width, height.
_PLOT = (0.075, 0.17, 0.91, 0.685)

_GROUP_WORDS = {
    "charting": "Charting",
    "set_up": "Set-up",
    "continuity": "Continuity",
    "check": "Checks",
    "line": "Lines",
    "site": "Sites",
}


def delivery_findings(result: AuditResult, folder: Path | str | None = None) -> Section:
    """Show every delivery finding of the month with its plot.

    Parameters
    ----------
    result : AuditResult
        The audit.
    folder : Path or str, optional
        Folder of the report: what was decided of the findings is read from its tables.

    Returns
    -------
    Section
        Ends with the number that could not be evaluated.
    """
    review = None if folder is None else read_review(folder, result.policy)
    findings = facts.delivery_findings(result)
    standing = facts.standings(result)[-1]
    drawn = facts.only_infusions(result, texts(findings["infusion_id"]))
    with figures.house_style():
        plot = figures.figure(6.6, 2.6, is_fitted=False)
        plot.add_axes(_PLOT)
        views = [_delivery_view(row, drawn, plot) for row in facts.rows_of(findings)]
    decided = {} if review is None else _decided(review)
    for view in views:
        view["decided"] = decided.get(view["id"], "")
    return section(
        "delivery",
        findings=views,
        standing=standing,
        reasons=facts.trust(result).not_evaluable,
        simulated=SIMULATED,
        by_threshold=result.policy.false_flags_per_1000 * standing.infusions / 1000,
        by_list=(1 - findings["event_probability"]).sum(),
        threshold=result.threshold,
        so_far=None if review is None else _so_far(review, result),
    )


def _decided(review: Review) -> dict[str, str]:
    """Give what was decided, in words, by finding."""
    given = review.decisions.dropna(subset="decision")
    return {
        row["finding_id"]: row["decision"]
        + (f": {words.plain(row['note'])}" if words.plain(row["note"]) else "")
        for row in facts.rows_of(given)
    }


def _so_far(review: Review, result: AuditResult) -> Mapping[str, Any] | None:
    """Give what decisions on delivery findings add up to; None without one."""
    table = flags_by_month(review, result.infusions, result.policy.false_flags_per_1000)
    total = facts.rows_of(table)[-1]
    return total if total["decided"] > 0 else None


def other_findings(result: AuditResult) -> Section:
    """Show the month's other findings, a table for each group.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    Section
        Groups without a finding are named in one sentence.
    """
    groups = facts.other_findings(result)
    return section(
        "others",
        grids=[_group_grid(*key, rows) for key, rows in groups.items()],
    )


def _delivery_view(
    row: Mapping[str, Any], result: AuditResult, plot: Figure
) -> dict[str, Any]:
    """Give what is shown of a finding; all are drawn on the axes of one figure."""
    infusion = words.plain(row["infusion_id"])
    readings = facts.readings_of(result, infusion)
    start = facts.started_at(result, infusion)
    what = facts.words(row["kind"])
    figures.delivery_line(readings, row, start, ax=figures.emptied(plot.axes[0]))
    return {
        "id": row["finding_id"],
        "title": what,
        "ward": words.plain(row["ward"]),
        "infusion": infusion,
        "patient": words.plain(row["patient_id"]),
        "driver": words.plain(row["driver_id"]),
        "sentence": words.plain(row["sentence"]),
        "source": figures.svg_source(plot),
        "alt": figures.delivery_alt(readings, row, what),
        "facts": _delivery_facts(row, start),
    }


def _delivery_facts(
    row: Mapping[str, Any], start: pd.Timestamp | None
) -> list[tuple[str, str]]:
    unseen = facts.unseen_h(row, start)
    began = row["began_earliest"]
    unseen_from = began if start is None or pd.isna(began) else max(began, start)
    between = words.span(unseen_from, row["first_visible"])
    pairs = [
        ("began", words.span(row["began_earliest"], row["began_latest"])),
        ("ended", words.ended(row["ended_earliest"], row["ended_latest"])),
        ("volume", words.volume(row)),
        ("in hours", words.hours(row)),
        ("time unseen", "" if math.isnan(unseen) else f"{unseen:.1f} h, {between}"),
        ("rows in the log", words.sources(row)),
        ("finding", words.plain(row["finding_id"])),
    ]
    pairs += _probabilities(row)
    settles = facts.SETTLES.get(row["kind"], "")
    pairs.append(("what would settle it", settles))
    return [(name, value) for name, value in pairs if value]


def _probabilities(row: Mapping[str, Any]) -> list[tuple[str, str]]:
    if pd.isna(row["event_probability"]):
        return []
    said = [("probability of a delivery event", f"{row['event_probability']:.2f}")]
    if pd.notna(row["rival_probability"]):
        rival = facts.words(words.plain(row["rival_kind"]))
        said.append(("other explanation", f"{rival}, {row['rival_probability']:.2f}"))
    return said


def _group_grid(group: str, kind: str, rows: pd.DataFrame) -> Grid:
    shown = [
        (
            words.plain(row["ward"]),
            words.plain(row["infusion_id"])
            or f"patient {words.plain(row['patient_id'])}",
            words.plain(row["sentence"]),
            words.sources(row),
        )
        for row in facts.rows_of(rows.head(_MOST_ROWS))
    ]
    return Grid(
        caption=f"{_GROUP_WORDS.get(group, group)}: {facts.words(kind)}, {len(rows):,}",
        head=("ward", "infusion", "finding", "rows in the log"),
        rows=shown,
        more=_rest(len(rows), "findings"),
        is_for_search=True,
    )


def _rest(rows: int, table: str) -> str:
    more = rows - _MOST_ROWS
    return f"{more:,} more in tables/{table}.csv" if more > 0 else ""
