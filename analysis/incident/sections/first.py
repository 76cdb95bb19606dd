"""The first screen: what the readings say, when, how much, and what to do next."""

from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from analysis.delivery.contents import Amounts, digits
from analysis.incident import facts
from analysis.incident.review import Incident
from analysis.incident.sections.words import (
    end_said,
    probability,
    reading_said,
    wards_said,
)
from analysis.intake.infusions import DERIVED
from analysis.report import facts as report_facts
from analysis.report.section import Section, section
from analysis.report.sections import words
from analysis.terms import FindingGroup, FindingKind, YesNo

#: An event less probable than this is not the likeliest explanation.
_LIKELIER_THAN_NOT = 0.5


def first_screen(incident: Incident) -> Section:
    """Say what the readings are consistent with, and what to do next.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    Section
        Title, banners, the short answer, and the next steps.
    """
    known = incident.known
    finding = facts.delivery_finding(incident)
    return section(
        "incident_first",
        infusion=incident.infusion_id,
        is_derived=incident.infusion_id.startswith(DERIVED),
        ward=wards_said(incident),
        patient=known["patient_id"],
        driver=known["driver_id"] or "number not charted",
        started=words.date(known["started_at"])
        if pd.notna(known["started_at"])
        else words.UNKNOWN,
        ended=end_said(incident),
        has_rows=len(incident.rows) > 0,
        policy=incident.policy,
        verdict=_verdict(incident),
        is_listed=finding is not None,
        rests_on=_rests_on(incident),
        charting=_charting(incident),
        unplaced=len(incident.unplaced) if len(incident.rows) else 0,
        pairs=[*_pairs(incident), *facts.beyond_the_plunger(incident)],
        steps=facts.next_steps(incident),
        is_open=facts.is_open(incident),
    )


def _verdict(incident: Incident) -> str:
    """Say in one sentence what the readings are consistent with."""
    known, finding = incident.known, facts.delivery_finding(incident)
    if finding is not None:
        return _listed(incident, finding) + _how_much(finding)
    if known["evaluable"] != YesNo.YES:
        said = f"The volumes of this infusion cannot be judged: {known['reason']}."
        return said + ("" if len(incident.rows) else _no_row(incident))
    sure = probability(known["event_probability"])
    return (
        "The readings are consistent with delivery as set, as far as they can show it: "
        f"the probability of a delivery event is {sure}, and infusions over "
        f"{incident.threshold.probability:.2f} are listed."
    )


def _no_row(incident: Incident) -> str:
    """Say why there is nothing to judge of an infusion of the infusions table."""
    lost = len(incident.unplaced)
    if not lost:
        return " It stands in the table of infusions and has no row in the check log."
    rows = (
        f"{words.some(lost, 'row')} that may be of it {'was' if lost == 1 else 'were'}"
    )
    return (
        f" The check log has no row of it that could be placed: {rows} set aside, each "
        "with its reason below the timeline. Mend these in the export, or how it is "
        "read with a layout, and review again."
    )


def _rests_on(incident: Incident) -> str:
    """Name the one reading that a finding rests on; empty where there are more."""
    found = facts.course(incident)
    bad, last = found.first_bad, found.last
    is_one = bad is not None and last is not None and bad.at == last.at
    return bad.source if bad is not None and is_one else ""


def _listed(incident: Incident, finding: Mapping[str, Any]) -> str:
    """Say what a finding is consistent with, and how sure that is."""
    what = f"“{report_facts.words(finding['kind'])}”"
    event, own = finding["event_probability"], finding["kind_probability"]
    if event < _LIKELIER_THAN_NOT:
        return (
            "The readings are likelier delivery as set than not; yet the probability "
            f"of a delivery event, {probability(event)}, is over the "
            f"{incident.threshold.probability:.2f} from which infusions are listed. "
            f"If there was one, they are most consistent with {what}."
        )
    said = f"The readings are consistent with delivery {what}"
    if not finding["rival_probability"] >= facts.WORTH_SETTING_OUT:
        return f"{said} (probability {probability(own)})."
    rival = f"“{report_facts.words(finding['rival_kind'])}”"
    return (
        f"{said} ({probability(own)}), or {rival} "
        f"({probability(finding['rival_probability'])}); probability of any delivery "
        f"event {probability(event)}."
    )


def _how_much(finding: Mapping[str, Any]) -> str:
    """Say the volume at its largest departure; empty where there is none."""
    volume, hours = words.volume(finding).split(" (")[0], words.hours(finding)
    if not volume:
        return ""
    return f" At most {volume}" + (f", about {hours} of delivery." if hours else ".")


def _charting(incident: Incident) -> list[str]:
    """Give the charting findings: they bear on how far the readings can be trusted."""
    found = incident.findings
    own = found[
        (found["infusion_id"] == incident.infusion_id)
        & (found["group"] == FindingGroup.CHARTING)
    ]
    return [
        f"{row['sentence']} ({words.sources(row)})" for row in report_facts.rows_of(own)
    ]


def _pairs(incident: Incident) -> Iterator[tuple[str, str]]:
    found = facts.course(incident)
    if found.last_good is not None and incident.explained:
        yield "last known good", reading_said(found.last_good)
    finding = found.finding
    if finding is None:
        if incident.explained:
            yield "first known bad", "none: there is no delivery finding"
        return
    if found.first_bad is not None:
        yield "first known bad", reading_said(found.first_bad)
    yield from _windows(found)
    if volume := words.volume(finding):
        hours = words.hours(finding)
        whole = "volume"
        if finding["kind"] == FindingKind.STALL_TO_END:
            whole = "volume, if it stood still until the infusion's end"
        yield whole, volume + (f"; about {hours} of delivery" if hours else "")
        if found.last is not None:
            yield "at the last reading", reading_said(found.last)
    yield from _drugs(incident)


def _windows(found: facts.Course) -> Iterator[tuple[str, str]]:
    if found.is_throughout:
        yield "onset", "none: one ratio of the set rate from the start on"
    else:
        yield "onset, earliest to latest", words.span(*found.window[:2])
        yield "ended", words.ended(*found.window[2:])
    if found.first_visible is not None:
        between = words.span(found.window[0], found.first_visible.at)
        yield "time unseen", f"up to {found.unseen_h:.1f} h, {between}"


def _drugs(incident: Incident) -> Iterator[tuple[str, str]]:
    first = facts.amounts(incident)[:1]
    if first and first[0].drugs is not None:
        yield "of each drug, as charted", drugs_said(first[0].drugs)
    elif first:
        yield "of each drug", facts.contents_said(incident)


def drugs_said(amounts: Amounts) -> str:
    """Say amounts of drugs in a line.

    Parameters
    ----------
    amounts : Amounts
        As worked out.

    Returns
    -------
    str
        With 95 % intervals.
    """
    return "; ".join(
        f"{drug.name} {digits(amount)} {drug.unit} (95 % interval {digits(low)} to "
        f"{digits(high)}, of {drug.amount:g} {drug.unit})"
        for drug, amount, low, high in amounts.drugs
    )
