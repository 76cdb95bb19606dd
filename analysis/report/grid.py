"""A table as the report prints it."""

from collections.abc import Sequence
from dataclasses import dataclass

#: Rows that a reader takes in at a glance.
GLANCE_ROWS = 8

#: Rows of a long table that are printed; the style sheet counts to the same number.
PRINTED_ROWS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """A table as it is printed: a caption, headings, and rows of text.

    ``numeric`` holds the places of columns that are set to the right; ``more`` says
    where the rows are that the page does not show. A table that `is_for_search` can be
    sorted and filtered once it is long, and is printed with its first `PRINTED_ROWS`;
    tables of wards are not, for sorting would rank them.
    """

    caption: str
    head: Sequence[str]
    rows: Sequence[Sequence[str]]
    numeric: frozenset[int] = frozenset()
    more: str = ""
    last_is_total: bool = False
    is_for_search: bool = False

    @property
    def is_long(self) -> bool:
        """True where sorting and filtering help.

        Returns
        -------
        bool
            False for a table that is read at one glance.
        """
        return self.is_for_search and len(self.rows) > GLANCE_ROWS

    @property
    def not_printed(self) -> int:
        """Count the rows that are on the page and not on paper.

        Returns
        -------
        int
            0 where all are printed.
        """
        return max(len(self.rows) - PRINTED_ROWS, 0) if self.is_long else 0
