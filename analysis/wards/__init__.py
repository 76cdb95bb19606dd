"""Wards and months: what may be said of each, knowing chance."""

from analysis.wards.comparisons import compare_wards
from analysis.wards.funnel import Funnel, funnel_of
from analysis.wards.hours import checks_by_hour, hours_in_words
from analysis.wards.splits import OVERLAP, months_held, reading_splits, reading_steps
from analysis.wards.trends import DELIVERY, Lines, follow_months

__all__ = [
    "DELIVERY",
    "OVERLAP",
    "Funnel",
    "Lines",
    "checks_by_hour",
    "compare_wards",
    "follow_months",
    "funnel_of",
    "hours_in_words",
    "months_held",
    "reading_splits",
    "reading_steps",
]
