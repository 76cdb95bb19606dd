"""Output tables to CSV; `read_back.py` reads them again.

The order of columns, their types and their decimals are those of `analysis.columns`.
Nothing depends on the machine: UTF-8, a line feed after each row, times in whole
seconds with their offset, so that two audits of one log give the same bytes.
"""

from collections.abc import Iterable, Iterator
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd

from analysis.audit import AuditResult
from analysis.columns import OUTPUT, REVIEW_OUTPUT, UNITS, Table
from analysis.compliance.coded import kind_of
from analysis.policy import Policy
from analysis.report.cells import cells, lines, plain_cells
from analysis.review import Review
from analysis.workers import Map, one_by_one

FOLDER = "tables"

# Rows turned to text together: all of them at once would take gigabytes.
_ROWS_AT_ONCE = 250_000


def table_files() -> list[str]:
    """Name the files that `write_tables` writes.

    Returns
    -------
    list of str
        Relative to its folder.
    """
    return [f"{FOLDER}/{table.name}.csv" for table in OUTPUT]


def review_files() -> list[str]:
    """Name the files that `write_review` writes.

    Returns
    -------
    list of str
        Relative to its folder.
    """
    return [f"{FOLDER}/{table.name}.csv" for table in REVIEW_OUTPUT]


def write_tables(result: AuditResult, folder: Path, run: Map = one_by_one) -> None:
    """Write every output table to ``folder/tables``.

    Parameters
    ----------
    result : AuditResult
        What to write; missing values become empty cells.
    folder : Path
        Folder of the report; it must exist.
    run : Map
        Turns parts of a long table to text.

    Raises
    ------
    KeyError
        A frame lacks a column of the data dictionary.
    """
    (folder / FOLDER).mkdir(exist_ok=True)
    for table in OUTPUT:
        path = folder / FOLDER / f"{table.name}.csv"
        units, is_units = result.unit_tables, table is UNITS
        frames = units.tables() if is_units else iter([getattr(result, table.name)])
        rows = len(units) if is_units else len(getattr(result, table.name))
        # A short table is written before another process has it.
        texts_of = run if rows > _ROWS_AT_ONCE else one_by_one
        rows_of = partial(_rows, table=table, policy=result.policy)
        with path.open("wb") as file:
            file.write(_header(table.names).encode())
            file.writelines(texts_of(rows_of, _parts(frames)))


def _parts(frames: Iterator[pd.DataFrame]) -> Iterator[pd.DataFrame]:
    """Cut tables into parts that hold no words of the others."""
    for frame in frames:
        for first in range(0, len(frame), _ROWS_AT_ONCE):
            part = frame.iloc[first : first + _ROWS_AT_ONCE]
            coded = part.select_dtypes("category").columns
            yield part.assign(**{name: _own_words(part[name].array) for name in coded})


def _own_words(coded: pd.Categorical) -> pd.Categorical:
    """Leave out words that no row has; sorting codes to find them takes longer."""
    codes = coded.codes
    # Words mostly stand in the order of the rows: a slice of them costs nothing.
    first, last = max(int(codes.min()), 0), int(codes.max())
    is_there = np.zeros(len(coded.categories) + 1, dtype=np.bool_)
    is_there[codes] = True  # the last place is that of -1, a missing value
    # (Of the array: an index that was looked into makes tables for a slice, too.)
    words = coded.categories.array[first : last + 1]
    if not is_there[first : last + 1].all():
        words = words.take(np.flatnonzero(is_there[first : last + 1]))
    place = np.cumsum(is_there, dtype=np.int32) - 1
    place[-1] = -1
    own = place.take(codes, mode="wrap")
    return pd.Categorical.from_codes(own, dtype=kind_of(pd.Index(words)))


def _rows(part: pd.DataFrame, table: Table, policy: Policy) -> bytes:
    columns = [cells(part[c.name], c, policy, quoted=True) for c in table.columns]
    return lines(columns)


def write_review(review: Review, folder: Path, policy: Policy) -> None:
    """Write the tables of a review to ``folder/tables``, which must exist.

    Parameters
    ----------
    review : Review
        What was decided of an audit's findings.
    folder : Path
        Folder of the report.
    policy : Policy
        Of the audit.
    """
    for table in REVIEW_OUTPUT:
        text = as_text(getattr(review, table.name), table, policy)
        write_csv(text, folder / FOLDER / f"{table.name}.csv")


def write_csv(text: pd.DataFrame, path: Path, *, encoding: str = "utf-8") -> None:
    """Write texts to a CSV file: UTF-8, a line feed after each row.

    Parameters
    ----------
    text : DataFrame of str
        As `as_text` gives it.
    path : Path
        The file; it is replaced.
    encoding : str
        "utf-8-sig" puts a byte order mark in front.
    """
    with path.open("wb") as file:
        file.write(_header(text.columns).encode(encoding))
        if len(text.columns):
            file.write(lines([plain_cells(text[name]) for name in text]))


def as_text(frame: pd.DataFrame, table: Table, policy: Policy) -> pd.DataFrame:
    """Give a table as it stands in its file.

    Parameters
    ----------
    frame : DataFrame
        With the columns of `table`, in any order.
    table : Table
        Its entry in the data dictionary.
    policy : Policy
        Times are written in its zone.

    Returns
    -------
    DataFrame of str
        Columns in the dictionary's order; an empty text for a missing value. A text
        that a spreadsheet would take for a formula starts with an apostrophe.
    """
    return pd.DataFrame(
        {
            column.name: cells(frame[column.name], column, policy).to_pylist()
            for column in table.columns
        },
        columns=table.names,
        dtype="str",
    )


def _header(names: Iterable[str]) -> str:
    return ",".join(names) + "\n"
