"""The first screen: what to act on, which charts to pull, wards, trust."""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from analysis import figures
from analysis.audit import AuditResult
from analysis.report import facts
from analysis.report.cells import texts
from analysis.report.definitions import definition
from analysis.report.facts.figures import REACTIONS
from analysis.report.grid import Grid
from analysis.report.section import Section, section
from analysis.report.sections import words
from analysis.terms import ALL

#: Infusions that may still be running, named for each ward.
_MOST_RUNNING = 12

#: Wards of one dot plot: with its caption it fits on a page.
_MOST_DOTS = 36


def first_screen(
    result: AuditResult, list_limit: int, *, is_recent: bool = False
) -> Section:
    """Answer the four questions a reader comes with.

    Parameters
    ----------
    result : AuditResult
        The audit.
    list_limit : int
        Longest list of charts to pull.
    is_recent : bool
        The log ended so short a time ago that an infusion may be running still.

    Returns
    -------
    Section
        Title, banners, and what to act on, charts to pull, wards, trust.
    """
    now = facts.act_now(result)
    pulls = facts.charts_to_pull(result, list_limit)
    standings = facts.standings(result)
    return section(
        "first_screen",
        is_recent=is_recent,
        month=words.month(result.month),
        result=result,
        log_start=words.date(result.log_start),
        log_end=words.date(result.log_end),
        standings=standings,
        running=_running_lines(now.running, result),
        running_total=len(now.running),
        flagged=_by_infusion(now.running_flagged, result),
        over=_finding_lines(now.over, result),
        behind=_finding_lines(now.behind, result),
        charts=_pull_grid(pulls),
        standing=_standing_grid(standings, result),
        dots=_ward_figures(standings, result),
        rhythms=facts.other_rhythms(result),
        trust=facts.trust(result),
        absent=_absent(result),
    )


def _absent(result: AuditResult) -> dict[str, list[str]]:
    """Say once why some measures cannot be given, and which ones those are.

    By what lacks it: the export, or the policy.
    """
    labels: dict[tuple[str, str], list[str]] = {}
    for name, sentence in result.not_in_export.items():
        head, why = sentence.rstrip(".").split(": ", 1)
        labels.setdefault((head, why), []).append(definition(name).label)
    said: dict[str, list[str]] = {}
    for (head, why), some in labels.items():
        said.setdefault(head, []).append(f"{', '.join(some)}: {why}.")
    return said


def _finding_lines(findings: pd.DataFrame, result: AuditResult) -> list[dict[str, str]]:
    """Give findings as short lines of a list; those with a plot can be gone to."""
    plotted = set(texts(facts.delivery_findings(result)["finding_id"]))
    return [
        {
            "ward": words.plain(row["ward"]),
            "patient": words.plain(row["patient_id"]),
            "infusion": words.plain(row["infusion_id"]),
            "when": words.when(seen) if pd.notna(seen := row["first_visible"]) else "",
            "reason": _first_reason(row),
            "hours": words.hours_of(row),
            "anchor": row["finding_id"] if row["finding_id"] in plotted else "",
        }
        for row in facts.rows_of(findings)
    ]


def _by_infusion(findings: pd.DataFrame, result: AuditResult) -> list[dict[str, str]]:
    """Give a line an infusion: the finding that leads, and how many others it has."""
    same = ["ward", "patient_id", "infusion_id"]
    lines = _finding_lines(findings.drop_duplicates(same), result)
    groups = findings.groupby(same, sort=False, dropna=False)
    for line, (_, own) in zip(lines, groups, strict=True):
        if len(own) > 1:
            line["hours"] += f"; {words.some(len(own) - 1, 'other finding')}"
            line["hours"] = line["hours"].removeprefix("; ")
    return lines


def _running_lines(running: pd.DataFrame, result: AuditResult) -> list[str]:
    """Name the infusions that may still be running, with the last row, ward by ward."""
    own = result.readings[result.readings["source"].isin(set(running["last_source"]))]
    last = dict(zip(own["source"], own["checked_at"], strict=True))
    by_ward: dict[str, list[str]] = {}
    for row in facts.rows_of(running.sort_values(["ward", "infusion_id"])):
        by_ward.setdefault(words.plain(row["ward"]), []).append(
            f"{words.plain(row['infusion_id'])} (patient "
            f"{words.plain(row['patient_id'])}{_last_row(last, row)})"
        )
    return [
        f"{ward}: {', '.join(ids[:_MOST_RUNNING])}"
        + (f" and {len(ids) - _MOST_RUNNING} more" if len(ids) > _MOST_RUNNING else "")
        for ward, ids in by_ward.items()
    ]


def _last_row(times: Mapping[Any, Any], row: Mapping[str, Any]) -> str:
    """Say when the last row was charted: a log of wards ends at different times."""
    last = times.get(row["last_source"])
    return f", last row {words.when(last)}" if last is not None else ""


def _first_reason(row: Mapping[str, Any]) -> str:
    volume = words.volume(row).split(" (")[0]
    return facts.words(row["kind"]) + (f", {volume}" if volume else "")


def _pull_grid(pulls: facts.PullList) -> Grid:
    rows = [
        (
            str(place),
            pull.ward,
            pull.patient_id,
            pull.infusion_id,
            *_reason(pull.findings),
            _seen(pull.findings),
            _pull_sources(pull.findings),
        )
        for place, pull in enumerate(pulls.charts, start=1)
    ]
    more = f"{pulls.more:,} more charts: see review.xlsx" if pulls.more else ""
    return Grid(
        caption="Charts to pull, in this order",
        head=(
            "no.",
            "ward",
            "patient",
            "infusion",
            "why",
            "hours",
            "first seen, or due",
            "rows in the log",
        ),
        rows=rows,
        numeric=frozenset({0, 5}),
        more=more,
        is_for_search=True,
    )


def _reason(findings: pd.DataFrame) -> tuple[str, str]:
    """Say what puts a chart in its place, and what else is in it."""
    first, *rest = facts.rows_of(findings)
    again = sum(row["kind"] == first["kind"] for row in rest)
    lead = _first_reason(first) + (f" ({again + 1} times)" if again else "")
    counted = Counter(
        facts.words(row["kind"]) for row in rest if row["kind"] != first["kind"]
    )
    others = ", ".join(
        f"{n} x {kind}" if n > 1 else kind for kind, n in counted.items()
    )
    return lead + (f"; also {others}" if others else ""), words.hours(first)


def _seen(findings: pd.DataFrame) -> str:
    seen = facts.seen_at(findings).iloc[0]
    return "" if pd.isna(seen) else words.when(seen)


def _pull_sources(findings: pd.DataFrame) -> str:
    return words.sources(facts.rows_of(findings)[0])


def _standing_grid(standings: Sequence[facts.Standing], result: AuditResult) -> Grid:
    leading = [name for name in facts.LEADING if name in facts.measures(result)]
    shown = [name for name in leading if name not in result.not_in_export]
    is_one = facts.is_one_ward(result)
    rows = [
        (
            "all wards" if standing.ward == ALL else standing.ward,
            *(_standing_cell(standing.measures.get(name), name) for name in shown),
            f"{standing.delivery} of {standing.infusions}"
            if standing.infusions
            else "none evaluated",
            _reactions_cell(standing.reactions, result),
        )
        for standing in standings
        if standing.ward != ALL or not is_one
    ]
    month = words.month(result.month)
    return Grid(
        caption=f"The ward in {month}"
        if is_one
        else f"Wards in {month}, in alphabetical order",
        head=(
            "ward",
            *(definition(name).label for name in shown),
            "Infusions with a delivery finding, of those evaluated",
            "Site reactions",
        ),
        rows=rows,
        numeric=frozenset(range(1, len(shown) + 3)),
        last_is_total=not is_one,
    )


def _standing_cell(measured: facts.Measured | None, name: str) -> str:
    if measured is None:
        return facts.NOTHING_DUE
    if not measured.has_figure:
        return measured.shown
    counts = words.of(measured, definition(name).unit)
    if math.isnan(measured.proportion):
        return counts
    return f"{words.percent(measured)}\n{counts}"


def _reactions_cell(rate: facts.Rate | None, result: AuditResult) -> str:
    if rate is None:
        return facts.lacking(result, REACTIONS) or "nothing observed"
    return f"{rate.events} in {rate.exposure_days:,.0f} site-days"


def _ward_figures(
    standings: Sequence[facts.Standing], result: AuditResult
) -> list[dict[str, str]]:
    """Draw the leading measures side by side, so many wards as fit on a page."""
    wards = [standing for standing in standings if standing.ward != ALL]
    shown = [
        name
        for name in facts.LEADING
        if any(name in standing.measures for standing in wards)
        and name not in result.not_in_export
    ]
    if not shown:
        return []
    rows = math.ceil(len(wards) / math.ceil(len(wards) / _MOST_DOTS))
    return [
        _ward_figure(wards[start : start + rows], shown)
        for start in range(0, len(wards), rows)
    ]


def _ward_figure(
    wards: Sequence[facts.Standing], shown: Sequence[str]
) -> dict[str, str]:
    rows = {name: [_dot(standing, name) for standing in wards] for name in shown}
    with figures.house_style():
        drawn = figures.figure(7.6, 0.95 + 0.22 * len(wards))
        axes = drawn.subplots(1, len(shown), sharey=True, squeeze=False)[0]
        for ax, name in zip(axes, shown, strict=True):
            figures.ward_dots(rows[name], definition(name).label, ax=ax)
        source = figures.svg_source(drawn)
    said = [figures.ward_alt(rows[name], definition(name).label) for name in shown]
    return {"source": source, "alt": " ".join(said)}


def _dot(standing: facts.Standing, name: str) -> figures.DotRow:
    measured = standing.measures.get(name)
    if measured is None:
        nan = math.nan
        return figures.DotRow(
            ward=standing.ward, proportion=nan, low=nan, high=nan, counts="no figure"
        )
    return figures.DotRow(
        ward=standing.ward,
        proportion=measured.proportion,
        low=measured.low,
        high=measured.high,
        counts=words.of(measured, definition(name).unit)
        if measured.has_figure
        else measured.shown,
    )
