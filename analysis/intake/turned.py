"""One raw table turned into a canonical text table, with its faults and its account."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import pandas as pd

from analysis.columns import CHECKS, INFUSIONS, Table
from analysis.intake.raw import RawTable
from analysis.intake.sheet import Sheet
from analysis.intake.so_far import Reading
from analysis.texts import same

#: Checks with the columns of their infusion beside them, as many exports have them.
CHECKS_WIDE = Table(
    CHECKS.name,
    CHECKS.row,
    (*CHECKS.columns, *(c for c in INFUSIONS.columns if c.name not in CHECKS.names)),
)

#: Columns of the infusions table that rows of a check log may carry.
CARRIED = tuple(name for name in CHECKS_WIDE.names if name not in CHECKS.names)

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
        Columns of `table`, with file, line, source, is_struck.
    row_text : callable
        Given some rows of `text`, gives each as it stands in the file: texts of all
        rows would take as much memory as the file.
    identity : mapping of str to Series of str
        What rows of `text` are compared by (`alike.first_alike`).
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
    row_text: Callable[[pd.Index], pd.Series]
    identity: Mapping[str, pd.Series]
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
    # One column of blanks for all that the table has not: text is never copied.
    blank = pd.Series(same("", len(index)), index=index)
    read = {
        name: cells.reindex(index).astype("str").fillna("")
        for name, cells in reading.text.items()
    }
    return pd.DataFrame(
        {name: read.get(name, blank) for name in table.names}, index=index, copy=False
    )


def finished(
    sheet: Sheet,
    table: Table,
    reading: Reading,
    rows: tuple[pd.DataFrame, pd.Series, pd.Series],
    identity: Mapping[str, pd.Series],
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
    identity : mapping of str to Series of str
        What rows are compared by.

    Returns
    -------
    Turned
        For `type_sheets`.
    """
    text, feeds, fate = rows
    used = {header for _, header in sheet.layout.named()}
    row_text = partial(_row_text, sheet, feeds)
    return Turned(
        raw=sheet.raw,
        table=table,
        text=text,
        row_text=row_text,
        identity=identity,
        headers=reading.headers,
        originals=pd.DataFrame(reading.originals, index=text.index),
        faults=_placed(reading.faults, text, row_text),
        qualifiers=_qualified(reading.qualifiers, text),
        feeds=feeds,
        fate=fate,
        unused=tuple(h for h in sheet.raw.cells.columns if h and h not in used),
        notes=tuple(reading.notes),
    )


def _row_text(sheet: Sheet, feeds: pd.Series, index: pd.Index) -> pd.Series:
    """Give rows as they stand in the file: one below the other where several feed."""
    mine = feeds[feeds.isin(index)]
    text = sheet.raw_text(mine.index).set_axis(mine.to_numpy())
    if not mine.is_unique:
        text = text.groupby(level=0).agg("\n".join).astype("str")
    return text.reindex(index)


def _placed(
    faults: Iterable[pd.DataFrame],
    text: pd.DataFrame,
    row_text: Callable[[pd.Index], pd.Series],
) -> pd.DataFrame:
    """Give faults the place of their row, where they have none of their own."""
    some = [f for f in faults if len(f)]
    if not some:
        return pd.DataFrame(columns=FAULT_COLUMNS, dtype="str")
    placed = [
        f
        if "source" in f
        else f.assign(source=text["source"].reindex(f.index), row=row_text(f.index))
        for f in some
    ]
    return pd.concat(placed)[FAULT_COLUMNS]


def _qualified(found: Sequence[pd.DataFrame], text: pd.DataFrame) -> pd.DataFrame:
    names = ["source", "column", "value", "qualifier"]
    if not found:
        return pd.DataFrame(columns=names, dtype="str")
    every = pd.concat(found)
    every["source"] = text["source"].reindex(every.index)
    return every[names].reset_index(drop=True)
