"""Decisions of reviewers: read back, put to their findings, and added up."""

from analysis.review.files import LIST_COLUMNS, no_decisions, read_decisions
from analysis.review.matching import Review, put_together
from analysis.review.standing import put_to_what_stood, what_stood
from analysis.review.tally import FLAGS, flags_by_month, shares_confirmed

__all__ = [
    "FLAGS",
    "LIST_COLUMNS",
    "Review",
    "flags_by_month",
    "no_decisions",
    "put_to_what_stood",
    "put_together",
    "read_decisions",
    "shares_confirmed",
    "what_stood",
]
