"""The plot, when it can have happened, and the timeline."""

import math
from typing import Any

from analysis import figures
from analysis.incident import facts
from analysis.incident.possible import WORDS
from analysis.incident.review import Incident
from analysis.incident.sections.words import (
    cut,
    elapsed,
    off_said,
    volume_said,
)
from analysis.report.grid import Grid
from analysis.report.section import Section, section
from analysis.report.sections import words

#: Place of the axes in the plot: left, bottom, width, height.
_PLOT = (0.065, 0.125, 0.71, 0.755)

_NOT_ROWS = {
    "replaced": "replaced",
    "due": "due, by the policy",
    "charted elsewhere": "",
    "calculated": "calculated",
}


def plot(incident: Incident) -> Section:
    """Draw the infusion: its lines, its readings, and its checks on the axis.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    Section
        A sentence in its place where nothing can be drawn.
    """
    drawn = facts.drawn(incident)
    if drawn.course is None:
        return section("incident_plot", source="", reason=drawn.reason)
    with figures.house_style():
        picture = figures.figure(7.8, 3.5, is_fitted=False)
        figures.incident_course(drawn.course, ax=picture.add_axes(_PLOT))
        source = figures.svg_source(picture)
    return section(
        "incident_plot",
        source=source,
        alt=figures.incident_alt(drawn.course),
        kind=WORDS.get(drawn.fitted_kind, ""),
        is_one_line=drawn.is_one_line,
        is_assumed=drawn.is_assumed,
        has_checks=bool(drawn.course.late_h or drawn.course.missed_h),
    )


def when(incident: Incident) -> Section:
    """Say between which checks it can have happened, so that it can be worked again.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    Section
        The readings beside their line, the windows, and who could have seen it when.
    """
    found = facts.course(incident)
    finding = found.finding
    return section(
        "incident_when",
        sentence=finding["sentence"] if finding is not None else "",
        worked=_worked(found),
        grid=_readings_grid(found) if found.readings else None,
        has_finding=finding is not None,
        began=words.span(*found.window[:2]),
        ended=words.ended(*found.window[2:]),
        is_throughout=found.is_throughout,
        unseen="" if math.isnan(found.unseen_h) else f"{found.unseen_h:.1f} h",
        visible=words.when(found.first_visible.at) if found.first_visible else "",
        between=[f"{words.when(at)} ({source})" for at, source in found.between],
        window_step=facts.reading_step_said(incident.noise),
    )


def _worked(found: facts.Course) -> str:
    """Work the difference at the first known bad reading, as by hand."""
    one, start = found.first_bad, found.readings[:1]
    if one is None or not start or start[0].expected_ml <= 0:
        return ""
    given = start[0].expected_ml - one.expected_ml
    return (
        f"Worked at {words.when(one.at)}: {volume_said(start[0].expected_ml)} by the "
        f"line at {words.when(start[0].at)}, less {given:.1f} mL by the rates set in "
        f"the {elapsed(one.elapsed_h - start[0].elapsed_h)} after it, is "
        f"{volume_said(one.expected_ml)}; {volume_said(one.observed_ml)} was read: "
        f"{off_said(one.off_ml)}."
    )


def _readings_grid(found: facts.Course) -> Grid:
    """Give each reading beside the set-rate line, with what is said of it."""
    rows = [
        (
            f"{words.when(one.at)}",
            elapsed(one.elapsed_h),
            f"{abs(one.expected_ml):.1f}",
            f"{abs(one.observed_ml):.1f}",
            off_said(one.off_ml),
            "" if math.isnan(one.limit_ml) else f"{one.limit_ml:.1f}",
            "" if math.isnan(one.hours) else f"{abs(one.hours):.1f}",
            _marks(one, found),
            one.source,
        )
        for one in found.readings
    ]
    return Grid(
        caption="Each reading beside the set-rate line, as it can be worked by hand",
        head=(
            "when",
            "elapsed",
            "by the rate set, mL",
            "read, mL",
            "difference",
            "limit, mL",
            "in hours",
            "what it shows",
            "row",
        ),
        rows=rows,
        numeric=frozenset({1, 2, 3, 5, 6}),
    )


def _marks(one: facts.Reading, found: facts.Course) -> str:
    said = [
        word
        for word, other in (
            ("last known good", found.last_good if found.finding else None),
            ("first known bad", found.first_bad),
            ("could have shown it", found.first_visible),
        )
        if other is not None and other.at == one.at
    ]
    return ", ".join(said)


def timeline(incident: Incident) -> Section:
    """Show everything charted of the infusion, in order of time.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    Section
        Every accepted row and every replaced one with its file and line.
    """
    return section(
        "incident_timeline",
        moments=[_moment(one) for one in facts.timeline(incident)],
        unplaced=[
            f"{row['source']}: {row['sentence']}"
            for row in incident.unplaced.to_dict("records")
        ],
        staff=len(facts.staff_names(incident)),
        has_staff="checked_by" in incident.columns,
    )


def _moment(one: facts.Moment) -> dict[str, Any]:
    return {
        "kind": one.kind,
        "when": words.when(one.at),
        "elapsed": elapsed(one.elapsed_h),
        "source": one.source or _NOT_ROWS[one.kind],
        "label": _NOT_ROWS.get(one.kind, "") if one.source else "",
        "said": [cut(part, one.source) for part in one.said],
        "note": cut(one.note, one.source),
        "left": "" if math.isnan(one.remaining_ml) else volume_said(one.remaining_ml),
        "expected": ""
        if math.isnan(one.expected_ml)
        else f"{abs(one.expected_ml):.1f} mL",
        "off": off_said(one.off_ml),
        "marks": [
            word
            for word, has in (
                ("beyond its limit", one.is_beyond and not one.is_doubtful),
                ("doubtful reading", one.is_doubtful),
                (f"replaced by {one.replaced_by}", bool(one.replaced_by)),
                ("struck out", one.kind == "replaced" and not one.replaced_by),
                (f"replaces {one.amends}", bool(one.amends) and one.kind == "row"),
            )
            if has
        ],
        "staff": one.staff,
        "is_change": one.is_staff_change,
    }
