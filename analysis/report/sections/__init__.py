"""Sections of the monthly report: facts in, HTML out.

Each function is one call of the notebook. It takes the audit and gives a `Section`,
which shows itself in a notebook and in the page made from it.
"""

from analysis.report.sections.changes import what_changed
from analysis.report.sections.findings import delivery_findings, other_findings
from analysis.report.sections.first import first_screen
from analysis.report.sections.log import log_quality
from analysis.report.sections.reference import (
    cautions,
    definitions,
    policy_in_force,
    versions,
)
from analysis.report.sections.review import reviewed
from analysis.report.sections.wards import each_ward

__all__ = [
    "cautions",
    "definitions",
    "delivery_findings",
    "each_ward",
    "first_screen",
    "log_quality",
    "other_findings",
    "policy_in_force",
    "reviewed",
    "versions",
    "what_changed",
]
