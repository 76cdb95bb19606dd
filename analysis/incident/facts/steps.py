"""What to do next: keep, ask for, read and compare, with this infusion's own times."""

from collections.abc import Iterator

import pandas as pd

from analysis.delivery.close import NONE
from analysis.incident.facts.course import Course, course
from analysis.incident.facts.explanations import Explanation, explanations
from analysis.incident.facts.timeline import timeline
from analysis.incident.review import Incident
from analysis.report.facts import SETTLES
from analysis.report.sections.words import when
from analysis.terms import EndKind, YesNo


def is_open(incident: Incident) -> bool:
    """Tell whether the infusion may still have been running when the log ended.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    bool
        By its observed end.
    """
    return bool(incident.known["end_kind"] == EndKind.RUNNING)


def next_steps(incident: Incident) -> tuple[tuple[str, str], ...]:
    """Say what a reviewer can do next, in order.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    tuple of (str, str)
        A leading word or two, and what to do. Common practice, no source.
    """
    found = course(incident)
    return (
        *_running(incident),
        _keep(incident),
        _ask(incident, found),
        *_read(incident, found),
        *_settle(incident, found),
        _fetch(incident),
    )


def _running(incident: Incident) -> Iterator[tuple[str, str]]:
    if is_open(incident):
        yield (
            "First, the patient.",
            f"No end is charted when the log ends, {when(incident.log_end)}: if the "
            "infusion may still be running, somebody looks at patient, driver and site "
            "now.",
        )


def _keep(incident: Incident) -> tuple[str, str]:
    first = incident.known["driver_id"]
    charted = dict.fromkeys([first, *incident.rows["driver_id"].fillna("")])
    drivers = [driver for driver in charted if driver]
    which = "the driver (its number is not charted)"
    if drivers:
        which = f"driver{'s' if drivers[1:] else ''} {' and '.join(drivers)}"
    kept = (
        f"{which}, its battery, the syringe with what is left, extension set and "
        "cannula."
    )
    if is_open(incident):
        # Of a driver that may still be on a patient nobody must read "leave it on".
        return (
            "Once it has been taken down and replaced, as local policy says, keep:",
            f"{kept} Clear nothing; copy its log before any service.",
        )
    return (
        "Keep as found:",
        f"{kept} Do not switch the driver off and clear nothing; copy its log before "
        "any service.",
    )


def _ask(incident: Incident, found: Course) -> tuple[str, str]:
    first, last = incident.known["started_at"], incident.known["observed_end"]
    above = ""
    if found.finding is not None:
        began, _, _, ended = found.window
        narrow = (began, last if pd.isna(ended) else ended)
        if narrow != (first, last):
            above = f", above all {when(narrow[0])} to {when(narrow[1])}"
    span = f"from {when(first)} to {when(last)}"
    if incident.rows.empty:
        span = "for the time at which the chart says it ran"
    elif first == last:
        span = f"around {when(first)}, the only time charted, and after it"
    return (
        "Ask for the driver's own log",
        f"{span}{above}: starts, stops, alarms, rate, "
        "volume given, syringe confirmed, battery; and how its clock stands.",
    )


def _read(incident: Incident, found: Course) -> Iterator[tuple[str, str]]:
    rows = [
        f"{reading.source} ({what})"
        for what, reading in (
            ("last known good", found.last_good),
            ("first known bad", found.first_bad),
        )
        if reading is not None and found.finding is not None
    ]
    moments = timeline(incident)
    rows += [f"{one.source} (doubtful reading)" for one in moments if one.is_doubtful]
    rows += [
        f"{one.source} (replaces {one.amends})"
        for one in moments
        if one.amends and one.kind == "row"
    ]
    if rows:
        yield ("Read on the chart itself:", f"{', '.join(dict.fromkeys(rows))}.")
    elif incident.known["evaluable"] != YesNo.YES:
        yield (
            "Not evaluable:",
            f"{incident.known['reason']}. The volume left at the syringe change, or "
            "destroyed and witnessed, and the driver's log can say what this log "
            "cannot.",
        )


def _settle(incident: Incident, found: Course) -> Iterator[tuple[str, str]]:
    ranked = explanations(incident)
    apart = _apart(ranked)
    if not ranked:
        return
    if found.finding is None:
        yield (
            "Look past the volumes:",
            "a leak or a dislodged cannula leaves a perfect line. Dressing, clothing, "
            "site, symptoms and extra doses at the time say more.",
        )
    first = ranked[0]
    if first.kind != NONE:
        told = f" Next likeliest: {apart.words}." if apart else ""
        yield (
            f"To confirm “{first.words}”:",
            f"{SETTLES[first.kind]}.{told}",
        )
    elif apart:
        yield (f"To rule out “{apart.words}”:", f"{SETTLES[apart.kind]}.")


def _apart(ranked: tuple[Explanation, ...]) -> Explanation | None:
    """Give the explanation that must be told apart from the first."""
    return next((one for one in ranked[1:] if one.is_set_out), None)


def _fetch(incident: Incident) -> tuple[str, str]:
    contents = incident.known["contents"]
    register = " (controlled-drug register)" if contents else ""
    return (
        "Set beside it",
        f"what the log does not hold: what was made up and what destroyed{register}, "
        "symptoms and doses given apart from the infusion, transfers, and the recall "
        "of those present, asked for as help and not as a reproach.",
    )
