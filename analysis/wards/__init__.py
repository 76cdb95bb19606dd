"""Wards and months: what may be said of each, knowing chance."""

from analysis.wards.comparisons import compare_wards
from analysis.wards.funnel import Funnel, funnel_of
from analysis.wards.splits import OVERLAP, months_held, reading_splits, reading_steps
from analysis.wards.trends import DELIVERY, Lines, follow_months

__all__ = [
    "DELIVERY",
    "OVERLAP",
    "Funnel",
    "Lines",
    "compare_wards",
    "follow_months",
    "funnel_of",
    "months_held",
    "reading_splits",
    "reading_steps",
]
