"""Every ward: its measures, its sites, its log; then what was not judged."""

import math
from collections.abc import Sequence

from analysis.audit import AuditResult
from analysis.compliance import Family, Measure
from analysis.report import facts
from analysis.report.definitions import definition
from analysis.report.grid import Grid
from analysis.report.section import Section, section
from analysis.report.sections import words
from analysis.report.sections.ward_log import log_in_words, sites_in_words
from analysis.terms import ALL

#: Months shown side by side, the report's own among them.
_MOST_MONTHS = 4

#: Families side by side in one table, and its name.
_TABLES = (
    ("checks, continuity, lines", (Family.CHECKS, Family.CONTINUITY, Family.LINES)),
    ("set-up and record", (Family.SET_UP, Family.RECORD)),
    ("how it is charted, neither good nor bad", (Family.HABITS,)),
)


def each_ward(result: AuditResult) -> Section:
    """Show every ward: its measures, its sites, its log; then what was not judged.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    Section
        All wards together first, where there are several, then the wards in
        alphabetical order, each on a page of its own on paper. What was not judged is
        one table behind them: its length would push each ward onto a second page.
    """
    standings = {standing.ward: standing for standing in facts.standings(result)}
    months = facts.periods(result, _MOST_MONTHS)
    parts = []
    for ward in _parts(result):
        log = facts.ward_log(result, ward)
        parts.append(
            {
                "name": "All wards together" if ward == ALL else ward,
                "tables": _measures_grids(result, ward, months),
                "rates": _rates_grid(result, ward, months),
                "standing": standings[ward],
                "findings": _finding_counts(result, ward),
                "sites": sites_in_words(log),
                "log": log_in_words(log, result),
            }
        )
    return section(
        "wards",
        wards=parts,
        month=words.month(result.month),
        left_out=_left_out_grid(result),
    )


def _parts(result: AuditResult) -> list[str]:
    """Name what has figures: all wards, where there are several, and each."""
    return [*([] if facts.is_one_ward(result) else [ALL]), *facts.wards(result)]


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
                lacking = facts.lacking(result, measure.name)
                rows.append((measure.label, lacking, *blank))
                continue
            found = [measured.get((measure.name, ward, month)) for month in months]
            cells = _measure_cells(found, measure)
            if measure.name == "checks_on_time" and (said := late.get(ward)):
                cells[0] += f"\n{said}"
            rows.append((_label(measure), *cells))
        grids.append(
            Grid(
                caption=f"{_ward_words(ward)}, {about}: {words.month(months[0])}",
                head=(
                    "measure",
                    "counted of judged",
                    "figure",
                    "95 % interval",
                    "change from the month before",
                    *(words.month_head(month, result) for month in months[1:]),
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
            words.of(now, measure.unit),
            _figure(now, measure),
            words.interval(now.low, now.high, measure.per),
            _change(now, measure),
        ]
    return cells + [words.EN_DASH if m is None else _before(m, measure) for m in before]


def _label(measure: Measure) -> str:
    return measure.label + (f", per {measure.per_unit}" if measure.per_unit else "")


def _figure(measured: facts.Measured, measure: Measure) -> str:
    if not measure.per_unit or math.isnan(measured.proportion):
        return words.percent(measured)
    return f"{measure.per * measured.proportion:.1f} h"


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
        return words.of(measured, measure.unit)
    return _figure(measured, measure)


def _ward_words(ward: str) -> str:
    return "All wards" if ward == ALL else ward


def _rates_grid(result: AuditResult, ward: str, months: Sequence[str]) -> Grid:
    rates, fewest = facts.all_rates(result), result.policy.smallest_group_patients
    rows = []
    for name in sorted({key[0] for key in rates}):
        found = [rates.get((name, ward, month)) for month in months]
        lacking = facts.lacking(result, name)
        blank = [""] * (1 + len(months))
        cells = [lacking, *blank] if lacking else _rate_cells(found, fewest)
        rows.append((definition(name).label, *cells))
    return Grid(
        caption=f"{_ward_words(ward)}: rates in {words.month(months[0])}",
        head=(
            "rate",
            "events in site-days",
            "per 1,000 site-days",
            "95 % interval",
            *(words.month_head(month, result) for month in months[1:]),
        ),
        rows=rows,
        numeric=frozenset(range(1, 4 + len(months))),
    )


def _rate_cells(found: Sequence[facts.Rate | None], fewest: int) -> list[str]:
    """Give events and days; a rate of a handful of patients would be an extreme one."""
    now, *before = found
    if now is None or now.exposure_days <= 0:
        cells = ["nothing observed", "", ""]
    elif now.patients < fewest:
        cells = [f"{now.events} in {now.exposure_days:,.1f}", "counts only", ""]
    else:
        cells = [
            f"{now.events} in {now.exposure_days:,.1f}",
            words.number(now.per_1000),
            words.interval(now.low, now.high),
        ]
    return cells + [
        words.EN_DASH if rate is None else f"{rate.events} in {rate.exposure_days:,.1f}"
        for rate in before
    ]


def _finding_counts(result: AuditResult, ward: str) -> list[str]:
    """Count the ward's findings of the month by kind, the first to look at first."""
    month = facts.in_order(facts.month_findings(result))
    own = month if ward == ALL else month[month["ward"] == ward]
    counts = own["kind"].value_counts(sort=False)
    return [f"{facts.words(str(kind))} {n:,}" for kind, n in counts.items()]


def _left_out_grid(result: AuditResult) -> Grid:
    """Show what was not judged in each ward, and in all of them together."""
    [ward, *_] = every = _parts(result)
    return Grid(
        caption=f"{ward if len(every) == 1 else 'All wards and each'}: not judged in "
        f"{words.month(result.month)}, and why",
        head=("ward", "left out", "of the measures"),
        rows=[
            (_ward_words(ward), *row)
            for ward in every
            for row in _left_out(result, ward)
        ],
    )


def _left_out(result: AuditResult, ward: str) -> list[tuple[str, str]]:
    """Say what a ward leaves out; measures with the same reasons stand together."""
    together: dict[str, list[str]] = {}
    for measure, reasons in facts.exclusions(result, ward, result.month).items():
        said = "; ".join(f"{reason} {n:,}" for reason, n in reasons.items())
        together.setdefault(said, []).append(definition(measure).label)
    return [(said, "; ".join(labels)) for said, labels in together.items()]
