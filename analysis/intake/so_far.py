"""What reading a table has given so far: canonical text, its origin, and faults."""

from dataclasses import dataclass, field

import pandas as pd

from analysis.intake.cells import faults_of
from analysis.terms import RejectReason


@dataclass(slots=True)
class Reading:
    """What reading a table has given so far: filled by readers alone."""

    text: dict[str, pd.Series] = field(default_factory=dict)
    originals: dict[str, pd.Series] = field(default_factory=dict)
    headers: dict[str, str] = field(default_factory=dict)
    faults: list[pd.DataFrame] = field(default_factory=list)
    qualifiers: list[pd.DataFrame] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def fault(
        self, bad: pd.Series, column: str, header: str, why: tuple[str, str]
    ) -> None:
        """Add one fault for each cell of `bad`; `why` is its reason and sentence.

        Parameters
        ----------
        bad : Series of str
            Cells that cannot be read.
        column : str
            Their canonical column.
        header : str
            The file's own header.
        why : tuple of (str, str)
            Reason and sentence.
        """
        if len(bad):
            reason, sentence = why
            found = faults_of(bad, column, RejectReason(reason), sentence)
            self.faults.append(found.assign(header=header))


def fault_each(
    reading: Reading, bad: pd.Series, why: pd.Series, place: tuple[str, str, str]
) -> None:
    """Add a fault a cell, in the words of the reader of times.

    Parameters
    ----------
    reading : Reading
        What was read so far; added to.
    bad : Series of str
        Cells that cannot be read.
    why : Series of str
        What is wrong with each.
    place : tuple of (str, str, str)
        Column, header and reason.
    """
    column, header, reason = place
    notes = why.reindex(bad.index).astype("str").fillna("")
    for note in notes.unique():
        cells = bad[notes == note]
        text = f"{header} reads '{{value}}'"
        text += f": {note}" if note else ", which is no time"
        reading.fault(cells, column, header, (reason, text))
