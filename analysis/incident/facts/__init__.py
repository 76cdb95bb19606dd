"""Facts of an incident review: from one infusion to small tables, no layout."""

from analysis.incident.facts.amounts import Amount, amounts, contents_said
from analysis.incident.facts.beyond import beyond_the_plunger
from analysis.incident.facts.blind import cannot_show, rate_ml_h, reading_step_said
from analysis.incident.facts.cautions import cautions
from analysis.incident.facts.course import Course, Reading, course, delivery_finding
from analysis.incident.facts.drawn import Drawn, drawn
from analysis.incident.facts.explanations import (
    WORTH_SETTING_OUT,
    Explanation,
    Trace,
    explanations,
    traces,
)
from analysis.incident.facts.related import (
    DAYS,
    SAME,
    History,
    Other,
    histories,
    line_findings,
    named,
    others,
)
from analysis.incident.facts.steps import is_open, next_steps
from analysis.incident.facts.timeline import Moment, elapsed_h, staff_names, timeline

__all__ = [
    "DAYS",
    "SAME",
    "WORTH_SETTING_OUT",
    "Amount",
    "Course",
    "Drawn",
    "Explanation",
    "History",
    "Moment",
    "Other",
    "Reading",
    "Trace",
    "amounts",
    "beyond_the_plunger",
    "cannot_show",
    "cautions",
    "contents_said",
    "course",
    "delivery_finding",
    "drawn",
    "elapsed_h",
    "explanations",
    "histories",
    "is_open",
    "line_findings",
    "named",
    "next_steps",
    "others",
    "rate_ml_h",
    "reading_step_said",
    "staff_names",
    "timeline",
    "traces",
]
