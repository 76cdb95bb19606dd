"""The first screen: what the readings say, when, how much, and what to do next."""

import math
from collections.abc import Iterator

import pandas as pd

from analysis.delivery.contents import Amounts, digits
from analysis.incident import facts
from analysis.incident.review import Incident
from analysis.incident.sections.words import end_said, reading_said, wards_said
from analysis.intake.infusions import DERIVED
from analysis.report import facts as report_facts
from analysis.report.section import Section, section
from analysis.report.sections import words
from analysis.terms import FindingGroup, YesNo


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
        policy=incident.policy,
        verdict=_verdict(incident),
        sentence=finding["sentence"] if finding is not None else "",
        charting=_charting(incident),
        pairs=list(_pairs(incident)),
        steps=facts.next_steps(incident),
        is_open=facts.is_open(incident),
    )


def _verdict(incident: Incident) -> str:
    """Say in one sentence what the readings are consistent with."""
    known, finding = incident.known, facts.delivery_finding(incident)
    if finding is not None:
        what = report_facts.words(finding["kind"])
        return f"The readings are consistent with delivery that was: {what}."
    if known["evaluable"] != YesNo.YES:
        return f"The volumes of this infusion cannot be judged: {known['reason']}."
    probability = known["event_probability"]
    said = "under 0.01" if probability < 0.01 else f"{probability:.2f}"
    return (
        "The readings are consistent with delivery as set, as far as they can show it: "
        f"the probability of a delivery event is {said}, and infusions over "
        f"{incident.threshold.probability:.2f} are listed."
    )


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
    if found.last_good is not None:
        yield "last known good", reading_said(found.last_good)
    finding = found.finding
    if finding is None:
        if incident.explained:
            yield "first known bad", "no reading is listed as off the line"
        return
    if found.first_bad is not None:
        yield "first known bad", reading_said(found.first_bad)
    began = words.span(finding["began_earliest"], finding["began_latest"])
    yield "onset, earliest to latest", began
    yield "ended", words.ended(finding["ended_earliest"], finding["ended_latest"])
    if not math.isnan(found.unseen_h):
        between = words.span(finding["began_earliest"], finding["first_visible"])
        yield "time unseen", f"up to {found.unseen_h:.1f} h, {between}"
    if volume := words.volume(finding):
        hours = words.hours(finding)
        yield "volume", volume + (f"; about {hours} of delivery" if hours else "")
    yield from _drugs(incident)


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
