"""Sections of the monthly report: facts in, HTML out.

Each function is one call of the notebook. It takes the audit and gives a `Section`,
which shows itself in a notebook and in the page made from it.
"""

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from analysis import figures
from analysis.audit import AuditResult
from analysis.compliance import Family, Measure
from analysis.delivery.simulated import SIMULATED
from analysis.quality import habits
from analysis.report import facts, quality
from analysis.report.definitions import cautions as caution_texts
from analysis.report.definitions import definition
from analysis.report.grid import Grid
from analysis.report.manifest import read_manifest
from analysis.report.section import Section, section
from analysis.report.tables import texts
from analysis.terms import ALL

#: Rows of a long table that the page shows; the rest is in the tables folder.
_MOST_ROWS = 20
#: Infusions that may still be running, named for each ward.
_MOST_RUNNING = 12
#: Months shown side by side, the report's own among them.
_MOST_MONTHS = 4

#: Place of the axes in a delivery plot: left, bottom, width, height.
_PLOT = (0.075, 0.17, 0.91, 0.685)

_EN_DASH = "\N{EN DASH}"
_UNKNOWN = "not known"


def first_screen(result: AuditResult, list_limit: int) -> Section:
    """Answer the four questions a reader comes with.

    Parameters
    ----------
    result : AuditResult
        The audit.
    list_limit : int
        Longest list of charts to pull.

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
        month=_month(result.month),
        result=result,
        log_start=_date(result.log_start),
        log_end=_date(result.log_end),
        standings=standings,
        running=_running_lines(now.running),
        running_total=len(now.running),
        flagged=_finding_lines(now.running_flagged, result),
        over=_finding_lines(now.over, result),
        behind=_finding_lines(now.behind, result),
        charts=_pull_grid(pulls),
        standing=_standing_grid(standings, result),
        dots=_ward_figure(standings, result),
        trust=facts.trust(result),
    )


def each_ward(result: AuditResult) -> Section:
    """Show every ward: its measures, what was excluded, its sites.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    Section
        All wards together first, then the wards in alphabetical order.
    """
    standings = {standing.ward: standing for standing in facts.standings(result)}
    months = facts.periods(result, _MOST_MONTHS)
    parts = [
        {
            "name": "All wards together" if ward == ALL else ward,
            "tables": _measures_grids(result, ward, months),
            "rates": _rates_grid(result, ward, months),
            "excluded": _exclusion_lines(result, ward),
            "standing": standings[ward],
        }
        for ward in [ALL, *facts.wards(result)]
    ]
    return section("wards", wards=parts, month=_month(result.month))


def delivery_findings(result: AuditResult) -> Section:
    """Show every delivery finding of the month with its plot.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    Section
        Ends with the number that could not be evaluated.
    """
    findings = facts.delivery_findings(result)
    standing = facts.standings(result)[-1]
    drawn = facts.only_infusions(result, texts(findings["infusion_id"]))
    return section(
        "delivery",
        findings=[_delivery_view(row, drawn) for row in facts.rows_of(findings)],
        standing=standing,
        reasons=facts.trust(result).not_evaluable,
        simulated=SIMULATED,
        by_threshold=result.policy.false_flags_per_1000 * standing.infusions / 1000,
        by_list=(1 - findings["event_probability"]).sum(),
        threshold=result.threshold,
    )


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


def log_quality(result: AuditResult) -> Section:
    """Account for the log: rows and cells not read, notes, noise, habits of charting.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    Section
        Reasons are counted, with one example each; the rest is in the tables folder.
    """
    record = quality.Record.of_result(result)
    return section(
        "log",
        account=_account_grid(result.account),
        not_read=quality.not_read(record),
        noise=_noise_grid(result.noise),
        record=quality.grids(result),
        absent=habits.not_in_export(result.readings),
        changes=quality.measurement_changes(record),
        notes=result.notes,
    )


def definitions(result: AuditResult) -> Section:
    """Say what each measure of this audit means.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    Section
        One line a measure.
    """
    names = [*facts.measures(result), *sorted({*texts(result.rates["measure"])})]
    rows = [
        (definition(name).label, name, definition(name).meaning)
        for name in dict.fromkeys(names)
    ]
    grid = Grid(
        caption="Measures of this audit",
        head=("measure", "name in the tables", "what it means"),
        rows=rows,
    )
    return section("plain", grid=grid, items=())


def policy_in_force(result: AuditResult) -> Section:
    """Print every limit in force and who set it.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    Section
        The policy's entries.
    """
    entries = result.policy.entries()
    grid = Grid(
        caption=f"Policy in force: {result.policy.name} ({result.policy.path})",
        head=("where", "limit", "value", "set by"),
        rows=_text_rows(entries, ("ward", "limit", "value", "set_by")),
    )
    return section("plain", grid=grid, items=())


def cautions(result: AuditResult) -> Section:
    """Print what a reader must keep in mind.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    Section
        A numbered list.
    """
    return section("plain", grid=None, items=caution_texts(result))


def versions(folder: Path | str) -> Section:
    """Print what the report was made with and from.

    Parameters
    ----------
    folder : Path or str
        Folder of the report; its ``run.json`` is read.

    Returns
    -------
    Section
        Versions and hashes. The time of running stands in ``run.json`` alone.
    """
    run = read_manifest(folder)
    rows = [(name, number) for name, number in run["versions"].items()]
    rows.append(("policy, SHA-256", run["policy"]["sha256"]))
    grid = Grid(caption="Made with", head=("what", "version"), rows=rows)
    return section(
        "plain",
        grid=grid,
        items=(),
    )


# --- words ---


def _month(month: str) -> str:
    return f"{pd.Timestamp(month + '-01'):%B %Y}"


def _month_head(month: str, result: AuditResult) -> str:
    return _month(month) + (" (part)" if facts.is_part(result, month) else "")


def _when(moment: object) -> str:
    """Say a local time; where the clocks change that day, with its zone."""
    if not isinstance(moment, pd.Timestamp):
        return _UNKNOWN
    return f"{moment.day} {moment:%b} {_clock(moment)}"


def _clock(moment: pd.Timestamp) -> str:
    day = moment.normalize()
    turns = f"{day:%z}" != f"{day + pd.DateOffset(days=1):%z}"
    return f"{moment:%H:%M %Z}" if turns else f"{moment:%H:%M}"


def _date(moment: pd.Timestamp) -> str:
    return f"{moment.day} {moment:%B %Y}, {_clock(moment)}"


def _number(value: float | None, decimals: int = 1) -> str:
    # A column that is empty throughout comes back from run.json as None.
    if value is None or math.isnan(value):
        return _UNKNOWN
    return f"{value + 0.0:,.{decimals}f}"


def _amount(value: float, unit: str) -> str:
    """Give a part of a measure: whole units, hours with one place."""
    return _number(value, 1 if unit == "h" else 0)


def _of(measured: facts.Measured, unit: str) -> str:
    hours = " h" if unit == "h" else ""
    return (
        f"{_amount(measured.numerator, unit)} of "
        f"{_amount(measured.denominator, unit)}{hours}"
    )


def _percent(measured: facts.Measured) -> str:
    if not measured.has_figure:
        return measured.shown
    if math.isnan(measured.proportion):
        return "counts only"
    return f"{100 * measured.proportion:.1f} %"


def _interval(low: float, high: float, scale: float = 1.0) -> str:
    if math.isnan(low) or math.isnan(high):
        return ""
    return f"{scale * low:.1f} to {scale * high:.1f}"


def _volume(row: Mapping[str, Any]) -> str:
    """Say how far off the line, and which way."""
    volume = row["volume_ml"]
    if pd.isna(volume):
        return ""
    way = "behind" if volume < 0 else "ahead of"
    low, high = sorted((abs(row["volume_low_ml"]), abs(row["volume_high_ml"])))
    between = "" if math.isnan(low) else f" (95 % interval {low:.1f} to {high:.1f})"
    if row["volume_low_ml"] * row["volume_high_ml"] < 0:
        between = (
            f" (95 % interval {row['volume_low_ml']:.1f} to "
            f"{row['volume_high_ml']:.1f}, negative: behind)"
        )
    return f"{abs(volume):.1f} mL {way} the line{between}"


def _hours(row: Mapping[str, Any]) -> str:
    hours = row["hours_equivalent"]
    return "" if pd.isna(hours) else f"{abs(hours):.1f} h"


def _sources(row: Mapping[str, Any]) -> str:
    """Say the rows behind a finding: file:first to last, the file once if it is one."""
    first, last = _plain(row["first_source"]), _plain(row["last_source"])
    if first == last or not last:
        return first
    file, _, _ = first.rpartition(":")
    other, _, line = last.rpartition(":")
    return f"{first} to {line if file == other else last}"


def _plain(value: object) -> str:
    return "" if pd.isna(value) else str(value)  # type: ignore[call-overload]


def _span(first: object, last: object) -> str:
    """Say a window: one time where both ends are one, a day once where it is one."""
    if not isinstance(first, pd.Timestamp) or not isinstance(last, pd.Timestamp):
        known = first if isinstance(first, pd.Timestamp) else last
        return _when(known)
    if first == last:
        return _when(first)
    is_one_day = first.date() == last.date()
    return f"{_when(first)} to {_clock(last) if is_one_day else _when(last)}"


def _ended(first: object, last: object) -> str:
    """Say when a finding ended; without a latest time it was not seen to end."""
    if isinstance(last, pd.Timestamp):
        return _span(first, last)
    by = f" by {_when(first)}" if isinstance(first, pd.Timestamp) else ""
    return f"not seen to end{by}"


# --- the first screen ---


def _finding_lines(findings: pd.DataFrame, result: AuditResult) -> list[dict[str, str]]:
    """Give findings as short lines of a list; those with a plot can be gone to."""
    plotted = set(texts(facts.delivery_findings(result)["finding_id"]))
    return [
        {
            "ward": _plain(row["ward"]),
            "infusion": _plain(row["infusion_id"]),
            "reason": _first_reason(row),
            "hours": _hours(row),
            "anchor": row["finding_id"] if row["finding_id"] in plotted else "",
        }
        for row in facts.rows_of(findings)
    ]


def _running_lines(running: pd.DataFrame) -> list[str]:
    """Name the infusions that may still be running, ward by ward."""
    by_ward: dict[str, list[str]] = {}
    for row in facts.rows_of(running.sort_values(["ward", "infusion_id"])):
        by_ward.setdefault(_plain(row["ward"]), []).append(_plain(row["infusion_id"]))
    return [
        f"{ward}: {', '.join(ids[:_MOST_RUNNING])}"
        + (f" and {len(ids) - _MOST_RUNNING} more" if len(ids) > _MOST_RUNNING else "")
        for ward, ids in by_ward.items()
    ]


def _first_reason(row: Mapping[str, Any]) -> str:
    volume = _volume(row).split(" (")[0]
    return facts.words(row["kind"]) + (f", {volume}" if volume else "")


def _pull_grid(pulls: facts.PullList) -> Grid:
    rows = [
        (
            str(place),
            pull.ward,
            pull.infusion_id or f"patient {pull.patient_id}",
            *_reason(pull.findings),
            _pull_sources(pull.findings),
        )
        for place, pull in enumerate(pulls.charts, start=1)
    ]
    more = f"{pulls.more:,} more charts in tables/findings.csv" if pulls.more else ""
    return Grid(
        caption="Charts to pull, in this order",
        head=("no.", "ward", "infusion", "why", "hours", "rows in the log"),
        rows=rows,
        numeric=frozenset({0, 4}),
        more=more,
    )


def _reason(findings: pd.DataFrame) -> tuple[str, str]:
    """Say what puts a chart in its place, and what else is in it."""
    first, *rest = facts.rows_of(findings)
    counted = Counter(facts.words(row["kind"]) for row in rest)
    others = ", ".join(
        f"{n} x {kind}" if n > 1 else kind for kind, n in counted.items()
    )
    return _first_reason(first) + (f"; also {others}" if others else ""), _hours(first)


def _pull_sources(findings: pd.DataFrame) -> str:
    return _sources(facts.rows_of(findings)[0])


def _standing_grid(standings: Sequence[facts.Standing], result: AuditResult) -> Grid:
    leading = [name for name in facts.LEADING if name in facts.measures(result)]
    shown = [name for name in leading if name not in result.not_in_export]
    rows = [
        (
            "all wards" if standing.ward == ALL else standing.ward,
            *(_standing_cell(standing.measures.get(name), name) for name in shown),
            f"{standing.delivery} of {standing.infusions}",
            _reactions_cell(standing.reactions),
        )
        for standing in standings
    ]
    return Grid(
        caption=f"Wards in {_month(result.month)}, in alphabetical order",
        head=(
            "ward",
            *(definition(name).label for name in shown),
            "Infusions with a delivery finding, of those evaluated",
            "Site reactions",
        ),
        rows=rows,
        numeric=frozenset(range(1, len(shown) + 3)),
        last_is_total=True,
    )


def _standing_cell(measured: facts.Measured | None, name: str) -> str:
    if measured is None:
        return _EN_DASH
    if not measured.has_figure:
        return measured.shown
    counts = _of(measured, definition(name).unit)
    if math.isnan(measured.proportion):
        return counts
    return f"{_percent(measured)}\n{counts}"


def _reactions_cell(rate: facts.Rate | None) -> str:
    if rate is None:
        return _EN_DASH
    return f"{rate.events} in {rate.exposure_days:,.0f} site-days"


def _ward_figure(
    standings: Sequence[facts.Standing], result: AuditResult
) -> dict[str, str] | None:
    """Draw the leading measures side by side; None with nothing to draw."""
    wards = [standing for standing in standings if standing.ward != ALL]
    shown = [
        name
        for name in facts.LEADING
        if any(name in standing.measures for standing in wards)
        and name not in result.not_in_export
    ]
    if not wards or not shown:
        return None
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
        counts=_of(measured, definition(name).unit)
        if measured.has_figure
        else measured.shown,
    )


# --- each ward ---


#: Families side by side in one table, and its name.
_TABLES = (
    ("checks, continuity, lines", (Family.CHECKS, Family.CONTINUITY, Family.LINES)),
    ("set-up and record", (Family.SET_UP, Family.RECORD)),
    ("how it is charted, neither good nor bad", (Family.HABITS,)),
)


def _measures_grids(
    result: AuditResult, ward: str, months: Sequence[str]
) -> list[Grid]:
    """Give the measures of a ward, a table for a few families each."""
    measured = facts.all_measured(result)
    late = facts.late_and_missed(result)
    grids = []
    for about, families in _TABLES:
        rows = []
        for measure in result.declared:
            if measure.family not in families:
                continue
            if measure.name in result.not_in_export:
                blank = [""] * (2 + len(months))
                rows.append((measure.label, "not in this export", *blank))
                continue
            found = [measured.get((measure.name, ward, month)) for month in months]
            cells = _measure_cells(found, measure)
            if measure.name == "checks_on_time" and (said := late.get(ward)):
                cells[0] += f"\n{said}"
            rows.append((measure.label, *cells))
        grids.append(
            Grid(
                caption=f"{_ward_words(ward)}, {about}: {_month(months[0])}",
                head=(
                    "measure",
                    "counted of judged",
                    "figure",
                    "95 % interval",
                    "change from the month before",
                    *(_month_head(month, result) for month in months[1:]),
                ),
                rows=rows,
                numeric=frozenset(range(1, 5 + len(months))),
            )
        )
    return grids


def _measure_cells(
    found: Sequence[facts.Measured | None], measure: Measure
) -> list[str]:
    now, *before = found
    if now is None:
        cells = [facts.NOTHING_DUE, "", "", ""]
    elif not now.has_figure:
        cells = [now.shown, "", "", ""]
    else:
        cells = [
            _of(now, measure.unit),
            _figure(now, measure),
            _interval(now.low, now.high, measure.per),
            _change(now, measure),
        ]
    return cells + [_EN_DASH if m is None else _before(m, measure) for m in before]


def _figure(measured: facts.Measured, measure: Measure) -> str:
    if not measure.per_unit or math.isnan(measured.proportion):
        return _percent(measured)
    return f"{measure.per * measured.proportion:.1f} h per\n{measure.per_unit}"


def _change(measured: facts.Measured, measure: Measure) -> str:
    """Say how far from the month before, in points or per so many, with limits."""
    if math.isnan(measured.change):
        return ""
    low, high = (measure.per * x for x in (measured.change_low, measured.change_high))
    said = _signed(measure.per * measured.change)
    return said if math.isnan(low) else f"{said} ({_signed(low)} to {_signed(high)})"


def _signed(value: float) -> str:
    return f"{round(value, 1) + 0.0:+.1f}"  # never -0.0


def _before(measured: facts.Measured, measure: Measure) -> str:
    if measured.has_figure and math.isnan(measured.proportion):
        return _of(measured, measure.unit)
    return _figure(measured, measure)


def _ward_words(ward: str) -> str:
    return "All wards" if ward == ALL else ward


def _rates_grid(result: AuditResult, ward: str, months: Sequence[str]) -> Grid:
    rates = facts.all_rates(result)
    rows = []
    for name in sorted({key[0] for key in rates}):
        found = [rates.get((name, ward, month)) for month in months]
        rows.append((definition(name).label, *_rate_cells(found)))
    return Grid(
        caption=f"{_ward_words(ward)}: rates in {_month(months[0])}",
        head=(
            "rate",
            "events in site-days",
            "per 1,000 site-days",
            "95 % interval",
            *(_month_head(month, result) for month in months[1:]),
        ),
        rows=rows,
        numeric=frozenset(range(1, 4 + len(months))),
    )


def _rate_cells(found: Sequence[facts.Rate | None]) -> list[str]:
    now, *before = found
    if now is None or now.exposure_days <= 0:
        cells = ["nothing observed", "", ""]
    else:
        cells = [
            f"{now.events} in {now.exposure_days:,.1f}",
            _number(now.per_1000),
            _interval(now.low, now.high),
        ]
    return cells + [
        _EN_DASH if rate is None else f"{rate.events} in {rate.exposure_days:,.1f}"
        for rate in before
    ]


def _exclusion_lines(result: AuditResult, ward: str) -> list[str]:
    found = facts.exclusions(result, ward, result.month)
    return [
        f"{definition(measure).label}: "
        + ", ".join(f"{reason} {n:,}" for reason, n in reasons.items())
        for measure, reasons in found.items()
    ]


# --- findings ---


def _delivery_view(row: Mapping[str, Any], result: AuditResult) -> dict[str, Any]:
    infusion = _plain(row["infusion_id"])
    readings = facts.readings_of(result, infusion)
    start = facts.started_at(result, infusion)
    what = facts.words(row["kind"])
    with figures.house_style():
        drawn = figures.figure(6.6, 2.6, is_fitted=False)
        ax = drawn.add_axes(_PLOT)
        figures.delivery_line(readings, row, start, ax=ax)
        source = figures.svg_source(drawn)
    return {
        "id": row["finding_id"],
        "title": what,
        "ward": _plain(row["ward"]),
        "infusion": infusion,
        "patient": _plain(row["patient_id"]),
        "driver": _plain(row["driver_id"]),
        "sentence": _plain(row["sentence"]),
        "source": source,
        "alt": figures.delivery_alt(readings, row, what),
        "facts": _delivery_facts(row),
    }


def _delivery_facts(row: Mapping[str, Any]) -> list[tuple[str, str]]:
    unseen = facts.unseen_h(row)
    between = _span(row["began_earliest"], row["first_visible"])
    pairs = [
        ("began", _span(row["began_earliest"], row["began_latest"])),
        ("ended", _ended(row["ended_earliest"], row["ended_latest"])),
        ("volume", _volume(row)),
        ("in hours", _hours(row)),
        ("time unseen", "" if math.isnan(unseen) else f"{unseen:.1f} h, {between}"),
        ("rows in the log", _sources(row)),
        ("finding", _plain(row["finding_id"])),
    ]
    pairs += _probabilities(row)
    return [(name, value) for name, value in pairs if value]


def _probabilities(row: Mapping[str, Any]) -> list[tuple[str, str]]:
    if pd.isna(row["event_probability"]):
        return []
    said = [("probability of a delivery event", f"{row['event_probability']:.2f}")]
    if pd.notna(row["rival_probability"]):
        rival = facts.words(_plain(row["rival_kind"]))
        said.append(("next best reading", f"{rival}, {row['rival_probability']:.2f}"))
    return said


_GROUP_WORDS = {
    "charting": "Charting",
    "set_up": "Set-up",
    "continuity": "Continuity",
    "check": "Checks",
    "line": "Lines",
    "site": "Sites",
}


def _group_grid(group: str, kind: str, rows: pd.DataFrame) -> Grid:
    shown = [
        (
            _plain(row["ward"]),
            _plain(row["infusion_id"]) or f"patient {_plain(row['patient_id'])}",
            _plain(row["sentence"]),
            _sources(row),
        )
        for row in facts.rows_of(rows.head(_MOST_ROWS))
    ]
    return Grid(
        caption=f"{_GROUP_WORDS.get(group, group)}: {facts.words(kind)}, {len(rows):,}",
        head=("ward", "infusion", "finding", "rows in the log"),
        rows=shown,
        more=_rest(len(rows), "findings"),
    )


def _rest(rows: int, table: str) -> str:
    more = rows - _MOST_ROWS
    return f"{more:,} more in tables/{table}.csv" if more > 0 else ""


def _text_rows(frame: pd.DataFrame, names: Iterable[str]) -> list[tuple[str, ...]]:
    columns = [texts(frame[name]) for name in names]
    return list(zip(*columns, strict=True))


# --- the log ---


def _account_grid(account: pd.DataFrame) -> Grid:
    names = (
        "rows_read",
        "accepted",
        "rejected",
        "superseded",
        "exact_duplicates",
        "other_lines",
    )
    rows = [
        (
            _plain(row["file"]),
            _plain(row["table"]),
            *(_number(row[name], 0) for name in names),
            _plain(row["sha256"])[:12],
        )
        for row in facts.rows_of(account)
    ]
    return Grid(
        caption="Every row of every file: rows read = accepted + rejected + superseded "
        "+ exact duplicates. Other lines are headers, totals and blank ones",
        head=(
            "file",
            "table",
            "rows read",
            "accepted",
            "rejected",
            "superseded by an amendment",
            "exact duplicates",
            "other lines",
            "SHA-256 (begins)",
        ),
        rows=rows,
        numeric=frozenset(range(2, 8)),
    )


def _noise_grid(noise: pd.DataFrame) -> Grid:
    numbers = (
        ("reading_step_ml", 2),
        ("start_step_ml", 2),
        ("time_step_min", 0),
        ("reading_error_ml", 2),
        ("offset_ml", 2),
        ("offset_sd_ml", 2),
        ("flow_sd", 3),
        ("slip_share", 3),
        ("event_share", 3),
        ("shortest_stall_h", 1),
    )
    rows = [
        (
            _plain(row["ward"]),
            _plain(row["source"]),
            _number(row["readings"], 0),
            *(_number(row[name], decimals) for name, decimals in numbers),
        )
        for row in facts.rows_of(noise)
    ]
    return Grid(
        caption="How fine the readings are, by ward, and the shortest stop they could "
        "have shown",
        head=(
            "ward",
            "volume charted",
            "readings",
            "reading step, mL",
            "start step, mL",
            "time step, min",
            "reading error, mL",
            "start offset, mL",
            "its spread, mL",
            "spread of flow",
            "share of slips",
            "share of events",
            "shortest stop, h",
        ),
        rows=rows,
        numeric=frozenset(range(2, 13)),
    )
