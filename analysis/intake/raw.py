"""A file as text, before anything is known of its columns."""

from dataclasses import dataclass, field

import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

#: What stands for the encoding of a sheet.
WORKBOOK = "workbook"


@dataclass(frozen=True, slots=True)
class BrokenRecord:
    """A record that is not one: where it began, its text, and why."""

    line: int
    text: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Dialect:
    """How a text file is written; empty or None where it is to be found out.

    Attributes
    ----------
    encoding : str
        ``utf-8``, ``utf-16-le``, ``utf-16-be``, ``windows-1252``, or another by name;
        ``workbook`` for a sheet.
    delimiter : str
        One ASCII character between cells.
    quote : str or None
        The character around cells that hold a delimiter; empty for none at all.
    """

    encoding: str = ""
    delimiter: str = ""
    quote: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RawTable:
    """One file, or one sheet of a workbook, as text.

    Attributes
    ----------
    file : str
        Label used in ``file:line``; ``book.xlsx!Sheet`` for a sheet.
    sha256 : str
        Hash of the bytes that were read.
    cells : DataFrame of str, shape (rows, columns)
        Cells stripped of blanks around them; the columns are the file's own headers,
        ``column 7`` where one without a name has cells.
    lines : Series of int, shape (rows,)
        Line (row of the sheet) each row begins on, the first being 1; on the index of
        `cells`.
    broken : tuple of BrokenRecord
        Records that could not be split into the header's columns.
    other_lines : int
        Records before the header, the header wherever it stands, a row of units under
        it, empty records, and remarks below it.
    dialect : Dialect
        What the file was read with.
    preamble : tuple of tuple of str
        Cells of the records before the header.
    header_line : int
        Line of the header; 0 for a sheet that has none and so no rows.
    units : dict of str to str
        What a row of units under the header says, by column.
    notes : tuple of str
        What had to be settled to read the file, in sentences.
    is_hidden : bool
        It is a sheet that its workbook does not show.
    is_wide : bool
        Every row has more cells than the header, the last of them blank.
    """

    file: str
    sha256: str
    cells: pd.DataFrame
    lines: pd.Series
    broken: tuple[BrokenRecord, ...]
    other_lines: int
    dialect: Dialect = Dialect()
    preamble: tuple[tuple[str, ...], ...] = ()
    header_line: int = 0
    units: dict[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    is_hidden: bool = False
    is_wide: bool = False

    @property
    def is_sheet(self) -> bool:
        """Tell a sheet of a workbook from a file of text.

        Returns
        -------
        bool
            True where it is so.
        """
        return self.dialect.encoding == WORKBOOK


def row_text(cells: pd.DataFrame) -> pd.Series:
    """Give rows as lines of CSV, for the ledger.

    Parameters
    ----------
    cells : DataFrame of str, shape (rows, columns)
        Rows.

    Returns
    -------
    Series of str, shape (rows,)
        A line for each row, on the index of `cells`.

    Examples
    --------
    >>> row_text(pd.DataFrame({"a": ["1"], "b": ["x, y"]}, dtype="str")).tolist()
    ['1,"x, y"']
    """
    if not len(cells.columns):
        return pd.Series("", index=cells.index, dtype="str")
    columns = [_in_quotes(pa.chunked_array(cells[name])) for name in cells.columns]
    lines: pd.Series = pc.binary_join_element_wise(
        *columns, pa.scalar(",", pa.large_string())
    ).to_pandas()
    return lines.astype("str").set_axis(cells.index)


def _in_quotes(column: pa.ChunkedArray) -> pa.ChunkedArray:
    column = column.cast(pa.large_string())
    needs = pc.match_substring_regex(column, '[,"\r\n]')
    if not pc.any(needs).as_py():
        return column
    doubled = pc.replace_substring(column, '"', '""')
    mark = pa.scalar('"', pa.large_string())
    empty = pa.scalar("", pa.large_string())
    quoted = pc.binary_join_element_wise(mark, doubled, mark, empty)
    return pc.if_else(needs, quoted, column)
