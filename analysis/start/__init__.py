"""The audit for people who would rather not use a terminal: choices, account, report.

`panel` puts the functions of `steps.py` behind ordinary controls of a notebook.
"""

from analysis.start.steps import (
    Asked,
    Choices,
    choices_in,
    documents_of,
    make_report,
    months_in,
    row_account,
)

__all__ = [
    "Asked",
    "Choices",
    "choices_in",
    "documents_of",
    "make_report",
    "months_in",
    "row_account",
]
