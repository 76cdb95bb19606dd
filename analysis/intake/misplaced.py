"""A line taken for the header that is none, or only a part of one: what it is."""

import re
from collections.abc import Sequence

from analysis.intake import synonyms
from analysis.intake.synonyms import Strength

#: A date or a clock time: no name of a column.
_TIME = re.compile(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}|\d{1,2}:\d{2}")
_DIGIT = re.compile(r"\d")

#: So many names of columns make a header, in a line or below each other.
_FEW = 3


def misplaced(names: Sequence[str], first: Sequence[str], below: Sequence[str]) -> str:
    """Say what a line is in which the same name stands twice.

    Parameters
    ----------
    names : sequence of str
        The line taken for the header.
    first : sequence of str
        Cells of the first column under it.
    below : sequence of str
        Cells of the line under it.

    Returns
    -------
    str
        What is amiss and what to do; empty where the line is a header like others.
    """
    known = _known(names)
    beside = _known([*names[:1], *first])
    if beside >= _FEW and beside > known:
        return (
            "the names of the columns stand one below the other, in the first column: "
            "turn the table so that they stand in one line, and a check in each line "
            "below"
        )
    if any(_TIME.search(name) for name in names):
        return (
            "there is no line with the names of the columns; this one is a row of the "
            "log: write the names in a line above it"
        )
    filled = [cell for cell in below if cell]
    goes_on = filled and not any(_DIGIT.search(cell) for cell in filled)
    if known >= _FEW and goes_on and len(filled) < len(names):
        return (
            "the names of the columns take two lines: write each name in one line, as "
            f"'{_joined(names, below)}'"
        )
    return ""


def _known(cells: Sequence[str]) -> int:
    """Count the columns that cells name, each by more than a part of a cell."""
    found = {
        candidates[0].column
        for cell in cells
        if cell and (candidates := synonyms.candidates(cell))
        if candidates[0].strength > Strength.CONTAINS
    }
    return len(found)


def _joined(names: Sequence[str], below: Sequence[str]) -> str:
    return next(
        f"{name} {under}" for name, under in zip(names, below, strict=False)
        if name and under
    )  # fmt: skip
