"""A layout in the making: its evidence and the questions it leaves open."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from analysis.intake.layout import TableLayout
from analysis.intake.profiles import Profile
from analysis.intake.raw import RawTable


@dataclass(frozen=True, slots=True)
class Question:
    """What an export leaves open.

    Attributes
    ----------
    entry : str
        Where in the layout the answer goes.
    text : str
        The question and what was found, in words.
    blocks : bool
        The table cannot be read before it is answered.
    """

    entry: str
    text: str
    blocks: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """A layout for one raw table, with its evidence and its questions.

    Attributes
    ----------
    file : str
        Label of the raw table.
    table : TableLayout
        What was recognised.
    evidence : dict of str to str
        Entry of the layout to why it is so.
    questions : tuple of Question
        What is open, and what was chosen and should be looked at.
    unused : tuple of str
        Headers without a place.
    is_beside : bool
        It is a sheet of notes or the like beside others that are tables of a log.
    """

    file: str
    table: TableLayout
    evidence: dict[str, str]
    questions: tuple[Question, ...]
    unused: tuple[str, ...]
    is_beside: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """A proposal in the making; `doubts`: columns that several headers fit alike."""

    raw: RawTable
    profiles: dict[str, Profile]
    table: TableLayout
    evidence: dict[str, str] = field(default_factory=dict)
    questions: tuple[Question, ...] = ()
    doubts: tuple[tuple[str, list[str]], ...] = ()

    def header(self, column: str) -> str:
        """Give the one header of a column; empty where it has none or several.

        Parameters
        ----------
        column : str
            A canonical column.

        Returns
        -------
        str
            The file's own header.
        """
        headers = self.table.columns.get(column, ())
        return headers[0] if len(headers) == 1 else ""

    def headers(self, columns: Iterable[str]) -> list[str]:
        """Give all headers of `columns`, in order.

        Parameters
        ----------
        columns : iterable of str
            Canonical columns.

        Returns
        -------
        list of str
            The file's own headers.
        """
        return [h for c in columns for h in self.table.columns.get(c, ())]

    def day(self) -> str:
        """Give the header of the day of a check, where it stands apart; else empty.

        Returns
        -------
        str
            The file's own header.
        """
        headers = self.table.columns.get("checked_at", ())
        return headers[0] if len(headers) > 1 else ""

    def say(self, entry: str, text: str) -> "Draft":
        """Add evidence.

        Parameters
        ----------
        entry : str
            Entry of the layout.
        text : str
            What speaks for it.

        Returns
        -------
        Draft
            With the evidence.
        """
        return replace(self, evidence={**self.evidence, entry: text})

    def ask(self, entry: str, text: str, *, blocks: bool) -> "Draft":
        """Add a question.

        Parameters
        ----------
        entry : str
            Entry of the layout.
        text : str
            What must be known.
        blocks : bool
            Nothing can be read before it is answered.

        Returns
        -------
        Draft
            With the question.
        """
        return replace(self, questions=(*self.questions, Question(entry, text, blocks)))

    def put(self, **changes: Any) -> "Draft":
        """Change the layout.

        Parameters
        ----------
        **changes
            Entries of the table with their new values.

        Returns
        -------
        Draft
            With the changed layout.
        """
        return replace(self, table=replace(self.table, **changes))


def listed(names: Sequence[str]) -> str:
    """Give names as one reads them aloud: a, b and c.

    Parameters
    ----------
    names : sequence of str
        At least one.

    Returns
    -------
    str
        For a sentence.
    """
    return " and ".join([", ".join(names[:-1]), names[-1]]) if names[1:] else names[0]
