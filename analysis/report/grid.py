"""A table as the report prints it."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """A table as it is printed: a caption, headings, and rows of text.

    ``numeric`` holds the places of columns that are set to the right; ``more`` says
    where the rows are that the page does not show.
    """

    caption: str
    head: Sequence[str]
    rows: Sequence[Sequence[str]]
    numeric: frozenset[int] = frozenset()
    more: str = ""
    last_is_total: bool = False
