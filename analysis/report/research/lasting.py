"""Curves, medians and ratios of a study: facts in, HTML out."""

import math
from typing import Any

from analysis import figures
from analysis.report.cells import texts
from analysis.report.facts import rows_of
from analysis.report.grid import Grid
from analysis.report.research.words import (
    days_words,
    p_words,
    ratio_words,
    span_words,
)
from analysis.report.section import Section, section
from analysis.research import Study
from analysis.research.factors import TIME_IN_PLACE
from analysis.research.risk import EVENTS_A_BAND, band_edges
from analysis.terms import ALL

_NOT_AT_SAME_TIME = (
    f" With fewer than {2 * EVENTS_A_BAND} reactions sites are not set beside others "
    "of the same time in place: what is used longer may look worse or better for that."
)

Blocks = list[tuple[str, Any]]


def time_to_reaction(study: Study) -> Section:
    """Draw how many sites are still free of a reaction, and what they come to.

    Parameters
    ----------
    study : Study
        The study.

    Returns
    -------
    Section
        Curves, a test of groups, and ends that compete.
    """
    blocks: Blocks = []
    free = _curves(study, "free of reaction", ALL)
    between = _curves(study, "free of reaction, between looks", ALL)
    if study.absent:
        return section(
            "blocks", blocks=[("text", f"No curve is given. {study.absent}")]
        )
    if not (free.points["day"] > 0).any():
        said = "Too few sites of a known placement were followed for a curve."
        return section("blocks", blocks=[("text", said)])
    both = [
        figures.Curve(name="by the check that saw it", points=free.points),
        figures.Curve(name="between two looks", points=between.points),
    ]
    blocks.append(
        _figure(
            both,
            "Sites still free of a reaction",
            "Line: Kaplan-Meier, a reaction counted when it was seen, with 95 % limits "
            "(log-log). Dashed: it lies between the last clear look and that one "
            "(self-consistency estimate, without limits), blank where the data do not "
            "say. Sites removed or no longer watched are followed until then; for the "
            "dashed line, until they were last known to have no reaction, and those "
            "in place before the log began are left out.",
        )
    )
    blocks += _group_figures(study)
    blocks += _competing(study)
    return section("blocks", blocks=blocks)


def _curves(study: Study, curve: str, group: str) -> figures.Curve:
    found = study.curves
    own = found[(found["curve"] == curve) & (found["group"] == group)]
    return figures.Curve(name=group, points=own.reset_index(drop=True))


def _figure(
    curves: list[figures.Curve], title: str, caption: str, *, is_rising: bool = False
) -> tuple[str, Any]:
    with figures.house_style():
        drawn = figures.figure(7.2, 2.9)
        figures.curve_steps(curves, title, ax=drawn.subplots(), is_rising=is_rising)
        source = figures.svg_source(drawn)
    alt = figures.curve_alt(curves, title)
    shown = {"source": source, "alt": alt, "caption": caption, "label": title}
    return "figure", shown


def _group_figures(study: Study) -> Blocks:
    blocks: Blocks = []
    names = texts(study.curves["group"].drop_duplicates())
    for test in rows_of(study.tests):
        groups = [n for n in names if n.startswith(f"{test['factor']}: ")]
        curves = [
            figures.Curve(
                name=name.split(": ", 1)[1],
                points=_curves(study, "free of reaction", name).points,
            )
            for name in groups
        ]
        found = (
            f"chi-square {test['chi_square']:.2f} on "
            f"{test['freedom']} degree{'' if test['freedom'] == 1 else 's'} of "
            f"freedom, P {p_words(test['p'])}; it takes sites as independent"
        )
        said = (
            f"Log-rank test of {len(groups)} groups: {_note(test) or found}. Groups "
            "of fewer than ten patients are left out."
        )
        blocks.append(
            _figure(curves, f"Still free of a reaction, by {test['factor']}", said)
        )
    return blocks


def _competing(study: Study) -> Blocks:
    names = [
        n for n in texts(study.curves["curve"].drop_duplicates()) if "came to" in n
    ]
    if not names:
        return []
    curves = [
        figures.Curve(
            name=name.removeprefix("came to "), points=_curves(study, name, ALL).points
        )
        for name in names
    ]
    return [
        _figure(
            curves,
            "What sites came to first",
            "Cumulative incidence (Aalen-Johansen): a site removed for another reason, "
            "or whose patient died, can have no reaction any more. Sites in place "
            "before the log began are left out.",
            is_rising=True,
        )
    ]


def lasting(study: Study) -> Section:
    """Say how long sites last.

    Parameters
    ----------
    study : Study
        The study.

    Returns
    -------
    Section
        Medians with limits, sites still in place counted as such.
    """
    if not study.durations["sites"].any():
        said = "No site of a known placement was followed, so there is no median."
        return section("blocks", blocks=[("text", said)])
    by: dict[str, dict[str, dict[str, Any]]] = {}
    for row in rows_of(study.durations):
        by.setdefault(row["group"], {})[row["until"]] = row
    grid = Grid(
        caption="Median days since the placement, with 95 % intervals; sites that came "
        "to it of those followed",
        head=("sites", "to a reaction", "to failure", "to removal"),
        rows=[
            (
                "all sites" if group == ALL else group,
                *(_median(own[until]) for until in ("reaction", "failure", "removal")),
            )
            for group, own in by.items()
        ],
        numeric=frozenset({1, 2, 3}),
    )
    return section(
        "blocks",
        blocks=[
            (
                "text",
                "Failure is a reaction or a removal, whichever came first; removal is "
                "for any reason while treatment went on. Sites still in place at "
                "death, at the end of treatment or of the log are followed until then. "
                "The mean of those that were removed alone would be too short, and is "
                "not given.",
            ),
            ("grid", grid),
            (
                "text",
                "Not reached: fewer than half came to it. Not given: fewer than five "
                "sites were at risk by then, and one of them more or less would move "
                "the median far; no limit is given either that so few decide.",
            ),
        ],
    )


def _median(row: dict[str, Any]) -> str:
    limits = span_words(row["low_days"], row["high_days"])
    # Why it is not given stands below the table: in a cell it is too wide.
    days = _note(row).split(":")[0] or days_words(row["median_days"])
    said = days + (f" ({limits})" if limits else "")
    return f"{said}\n{row['events']:,} of {row['sites']:,}"


def association(study: Study) -> Section:
    """Show what reactions are associated with.

    Parameters
    ----------
    study : Study
        The study.

    Returns
    -------
    Section
        Ratios one by one, drawn and in a table, and all together.
    """
    rows = rows_of(study.associations)
    if not rows:
        text = (
            "Nothing is set side by side: sites at risk differ in nothing that the log "
            "records, or in nothing that has five reactions."
        )
        return section("blocks", blocks=[("text", text)])
    drawn = [
        figures.RatioRow(
            name=_short(row),
            ratio=row["ratio"],
            low=row["low"],
            high=row["high"],
            words="too few reactions",
        )
        for row in rows
        if not _is_reference(row)
    ]
    is_at_same_time = _is_at_same_time(rows)
    title = (
        "Reactions at the same time in place, against the reference"
        if is_at_same_time
        else "Reactions against the reference"
    )
    with figures.house_style():
        page = figures.figure(7.2, 0.9 + 0.19 * len(drawn))
        figures.ratio_rows(drawn, title, ax=page.subplots())
        source = figures.svg_source(page)
    picture = {
        "source": source,
        "alt": figures.ratio_alt(drawn, title),
        "label": title,
        "caption": "One thing at a time. Left of the line fewer reactions than the "
        "reference, right of it more.",
    }
    blocks: Blocks = [
        (
            "text",
            "Poisson regression of reactions on site-days, for each thing by itself"
            + (" and with time in place" if is_at_same_time else "")
            + ", then for all of them together. Drugs, diluent and volume are those of "
            "the syringe in place at the time. Limits are clustered by patient."
            + ("" if is_at_same_time else _NOT_AT_SAME_TIME),
        ),
        ("figure", picture),
        ("grid", _association_grid(rows, is_at_same_time=is_at_same_time)),
    ]
    if notes := _notes(rows):
        blocks += [("head", "Not estimated, or unsteady"), ("list", notes)]
    if study.joint_note:
        blocks.append(("text", f"All together: {study.joint_note}."))
    blocks.append(("text", f"Proportional hazards: {_early_and_late(rows)}"))
    return section("blocks", blocks=blocks)


def _is_at_same_time(rows: list[dict[str, Any]]) -> bool:
    """Say whether the ratios are at the same time in place, as events allow it."""
    own = [int(row["events"]) for row in rows if row["factor"] == TIME_IN_PLACE]
    return bool(band_edges(sum(own)))


def _is_reference(row: dict[str, Any]) -> bool:
    return bool(row["level"] == row["reference"])


def _early_and_late(rows: list[dict[str, Any]]) -> str:
    """Say for which of the things tested the ratio is not the same early and late."""
    # Each level of a factor carries the P of the factor.
    by = {str(row["factor"]): row["p_changes"] for row in rows}
    tested = {factor: p for factor, p in by.items() if not math.isnan(p)}
    if not tested:
        return (
            "not tested; nothing has enough reactions on either side both early and "
            "late."
        )
    changes = [f"{name} (P {p_words(p)})" for name, p in tested.items() if p < 0.05]
    asked = f"for {len(tested)} of the {len(by)} things"
    if not changes:
        return (
            f"tested {asked}; no ratio was found to differ between the earlier and "
            "the later half of reactions, as far as so many can tell."
        )
    return (
        f"tested {asked}; the ratio is not the same early and late for "
        f"{', '.join(changes)}: read it as a mean over time in place. One test in "
        "twenty says so by chance."
    )


def _short(row: dict[str, Any]) -> str:
    """Name a level as it fits beside a picture: a drug is known by its name."""
    name = f"{row['factor']}: {row['level']}"
    return name.removeprefix("drug: ").removeprefix("concentration: ")


def _association_grid(rows: list[dict[str, Any]], *, is_at_same_time: bool) -> Grid:
    """Give the ratios, without a model that none was estimated by."""
    when = "at the same time in place" if is_at_same_time else "by regression"
    models = {
        "as counted, exact": [_ratio(row, "exact_") for row in rows],
        f"{when}, by patient": [
            "reference" if _is_reference(row) else _ratio(row, "") for row in rows
        ],
        "by Cox's model, by patient": [_ratio(row, "cox_") for row in rows],
        "all together, by patient": [_ratio(row, "joint_") for row in rows],
    }
    used = {name: ratios for name, ratios in models.items() if any(ratios)}
    first = [
        (
            f"{row['factor']}: {row['level']}",
            f"{row['events']:,} in {row['exposure_days']:,.0f}",
        )
        for row in rows
    ]
    beside = zip(*used.values(), strict=True)
    return Grid(
        caption="Rate ratios with 95 % intervals",
        head=("what", "reactions in site-days", *used),
        rows=[(*names, *ratios) for names, ratios in zip(first, beside, strict=True)],
        numeric=frozenset(range(1, 2 + len(used))),
    )


def _ratio(row: dict[str, Any], prefix: str) -> str:
    values = (row[f"{prefix}{name}"] for name in ("ratio", "low", "high"))
    return ratio_words(*values).replace(" (", "\n(")


def _note(row: dict[str, Any]) -> str:
    """Give a row's note; of a table read back it is missing where it is blank."""
    return row["note"] if isinstance(row["note"], str) else ""


def _notes(rows: list[dict[str, Any]]) -> list[str]:
    """Say of which factors there is no ratio, or an unsteady one, and why."""
    by: dict[str, list[str]] = {}
    for row in rows:
        if note := _note(row):
            by.setdefault(note, []).append(str(row["factor"]))
    return [f"{', '.join(dict.fromkeys(names))}: {note}." for note, names in by.items()]
