"""One raw table turned into a canonical text table, with its faults and its account."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import pandas as pd

from analysis.columns import CHECKS, INFUSIONS, Table
from analysis.intake.files import RawTable
from analysis.intake.reading import Reading
from analysis.intake.sheet import Sheet

#: Checks with the columns of their infusion beside them, as many exports have them.
CHECKS_WIDE = Table(
    CHECKS.name,
    CHECKS.row,
    (*CHECKS.columns, *(c for c in INFUSIONS.columns if c.name not in CHECKS.names)),
)


#: What became of a raw row that feeds no row of a canonical table.
DUPLICATE, SUPERSEDED, NO_PLACE = "exact duplicate", "superseded", "no place"

FAULT_COLUMNS = ["column", "value", "reason", "sentence", "header", "source", "row"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Turned:
    """One raw table as a canonical text table.

    Attributes
    ----------
    raw : RawTable
        The table, without the rows that are none.
    table : Table
        What `text` holds: `CHECKS_WIDE`, ``INFUSIONS`` or ``LINES``.
    text : DataFrame of str
        Columns of `table`, with file, line, source, row_text, identity, is_struck.
    headers : dict of str to str
        Column to the file's own header, for messages.
    originals : DataFrame of str
        Cells of `text` as they stand in the file, where they were turned.
    faults : DataFrame
        Cells that could not be turned (`FAULT_COLUMNS`), on the index of `text`.
    qualifiers : DataFrame
        source, column, value, qualifier: numbers charted as about, below or above.
    feeds : Series of int
        Raw row to the row of `text` it feeds; a raw row may occur twice, or never.
    fate : Series of str
        Raw row to what became of it, where it feeds no row.
    unused : tuple of str
        Headers and items without a place.
    beside : tuple of Turned
        What the same raw rows say of other tables.
    is_beside : bool
        It was made of rows that another table has: they are in the account once.
    notes : tuple of str
        What was found in reading that leaves a doubt, in sentences.
    """

    raw: RawTable
    table: Table
    text: pd.DataFrame
    headers: dict[str, str]
    originals: pd.DataFrame
    faults: pd.DataFrame
    qualifiers: pd.DataFrame
    feeds: pd.Series
    fate: pd.Series
    unused: tuple[str, ...]
    beside: "tuple[Turned, ...]" = ()
    is_beside: bool = False
    notes: tuple[str, ...] = ()


def no_fate() -> pd.Series:
    """Give the fates of a table whose every raw row feeds a row.

    Returns
    -------
    Series of str
        Empty.
    """
    return pd.Series([], dtype="str", index=pd.Index([], dtype="int64"))


def frame_of(reading: Reading, table: Table, index: pd.Index) -> pd.DataFrame:
    """Give what was read as a text table with all columns of `table`.

    Parameters
    ----------
    reading : Reading
        What was read of each column.
    table : Table
        The kind of table.
    index : Index
        Rows wanted.

    Returns
    -------
    DataFrame of str
        Columns of the table; empty text where nothing was read.
    """
    empty = pd.Series("", index=index, dtype="str")
    return pd.DataFrame(
        {
            name: reading.text.get(name, empty).reindex(index).astype("str").fillna("")
            for name in table.names
        },
        index=index,
    )


def finished(
    sheet: Sheet,
    table: Table,
    reading: Reading,
    rows: tuple[pd.DataFrame, pd.Series, pd.Series],
) -> Turned:
    """Put a turned table together; `rows` are its text, feeds and fate.

    Parameters
    ----------
    sheet : Sheet
        The raw table.
    table : Table
        What it holds.
    reading : Reading
        What was read of it.
    rows : tuple of (DataFrame, Series, Series)
        Text, which rows each raw row feeds, and the fate of those that feed
        none.

    Returns
    -------
    Turned
        For `type_sheets`.
    """
    text, feeds, fate = rows
    used = {header for _, header in sheet.layout.named()}
    return Turned(
        raw=sheet.raw,
        table=table,
        text=text,
        headers=reading.headers,
        originals=pd.DataFrame(reading.originals, index=text.index),
        faults=_placed(reading.faults, text),
        qualifiers=_qualified(reading.qualifiers, text),
        feeds=feeds,
        fate=fate,
        unused=tuple(h for h in sheet.raw.cells.columns if h and h not in used),
        notes=tuple(reading.notes),
    )


def _placed(faults: Iterable[pd.DataFrame], text: pd.DataFrame) -> pd.DataFrame:
    """Give faults the place of their row, where they have none of their own."""
    some = [f for f in faults if len(f)]
    if not some:
        return pd.DataFrame(columns=FAULT_COLUMNS, dtype="str")
    return pd.concat([_in_place(f, text) for f in some])[FAULT_COLUMNS]


def _in_place(faults: pd.DataFrame, text: pd.DataFrame) -> pd.DataFrame:
    if "source" in faults:
        return faults
    return faults.assign(
        source=text["source"].reindex(faults.index),
        row=text["row_text"].reindex(faults.index),
    )


def _qualified(found: Sequence[pd.DataFrame], text: pd.DataFrame) -> pd.DataFrame:
    names = ["source", "column", "value", "qualifier"]
    if not found:
        return pd.DataFrame(columns=names, dtype="str")
    every = pd.concat(found)
    every["source"] = text["source"].reindex(every.index)
    return every[names].reset_index(drop=True)
