"""Parts of an incident review: facts in, HTML out; each is one call of the notebook."""

from analysis.incident.sections.closing import (
    blind_spots,
    cautions,
    conclusion,
    made_with,
    policy_in_force,
    record,
)
from analysis.incident.sections.first import first_screen
from analysis.incident.sections.shown import plot, timeline, when
from analysis.incident.sections.weighed import amounts, checks, explanations, history

__all__ = [
    "amounts",
    "blind_spots",
    "cautions",
    "checks",
    "conclusion",
    "explanations",
    "first_screen",
    "history",
    "made_with",
    "plot",
    "policy_in_force",
    "record",
    "timeline",
    "when",
]
