"""Sheets that a workbook hides: said where they are read, asked where they repeat."""

from collections.abc import Sequence
from dataclasses import replace

from analysis.intake.layout import Holds
from analysis.intake.proposal import Proposal, Question
from analysis.intake.raw import RawTable

#: Where in a layout the answer goes.
SKIP = "skip_sheets"


def hidden_notes(raws: Sequence[RawTable]) -> list[str]:
    """Say which sheets are read though their workbook does not show them.

    Parameters
    ----------
    raws : sequence of RawTable
        The tables that are read.

    Returns
    -------
    list of str
        A sentence a sheet.
    """
    return [
        f"{raw.file}: the sheet is hidden in its workbook, and was read all the same."
        for raw in raws
        if raw.is_hidden
    ]


def ask_hidden(
    raws: Sequence[RawTable], proposals: Sequence[Proposal]
) -> list[Proposal]:
    """Ask of a hidden sheet if it counts, where a sheet in sight holds the same.

    Parameters
    ----------
    raws : sequence of RawTable
        All files and sheets.
    proposals : sequence of Proposal
        One a table.

    Returns
    -------
    list of Proposal
        The same, with what must be settled.
    """
    pairs = list(zip(raws, proposals, strict=True))
    shown = {
        _what(p): p.file for raw, p in reversed(pairs)
        if raw.is_sheet and not raw.is_hidden and not p.is_beside
    }  # fmt: skip
    return [
        _asked(p, shown[_what(p)])
        if raw.is_hidden and not p.is_beside and _what(p) in shown
        else p
        for raw, p in pairs
    ]


def _what(proposal: Proposal) -> tuple[str, Holds]:
    """Give the workbook and the kind of table."""
    holds = proposal.table.holds
    kind = Holds.CHECKS if holds is Holds.ITEMS else holds
    return proposal.file.partition("!")[0], kind


def _asked(proposal: Proposal, other: str) -> Proposal:
    name = proposal.file.partition("!")[2]
    text = (
        f"the sheet '{name}' is hidden and holds a table of the same kind as "
        f"'{other.partition('!')[2]}': delete it from the workbook if it is a draft or "
        "an old copy, or name it under skip_sheets; where it counts, write "
        "skip_sheets = []"
    )
    question = Question(SKIP, text, blocks=True)
    return replace(proposal, questions=(question, *proposal.questions))
