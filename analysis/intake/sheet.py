"""A raw table before its cells are read: totals out, blanks filled, marks resolved."""

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from analysis.intake import synonyms, words
from analysis.intake.given import constant_of, without_headings
from analysis.intake.layout import TableLayout
from analysis.intake.profiles import is_written_time
from analysis.intake.raw import RawTable, row_text
from analysis.intake.spelling import NAMES, one_spelling
from analysis.lookup import each_once
from analysis.texts import by_codes, same
from analysis.threads import side_by_side


@dataclass(frozen=True, slots=True)
class Sheet:
    """A raw table with its blanks filled and its ditto marks resolved.

    Attributes
    ----------
    raw : RawTable
        Without the rows that are none.
    layout : TableLayout
        Its headers as the file spells them.
    cells : DataFrame of str
        Filled cells, marks of "not recorded" emptied.
    source : Series of str
        ``file:line``.
    given : dict of str to Series of str
        Column to its value for each row, where that stands in none of its cells.
    """

    raw: RawTable
    layout: TableLayout
    cells: pd.DataFrame
    source: pd.Series
    given: dict[str, pd.Series]

    @classmethod
    def of(cls, raw: RawTable, layout: TableLayout) -> "Sheet":
        """Take a raw table by its layout, whose headers may be spelled otherwise.

        Parameters
        ----------
        raw : RawTable
            The table as read.
        layout : TableLayout
            What its columns are.

        Returns
        -------
        Sheet
            Without the rows that are none.
        """
        spelled = {synonyms.normal(h): h for h in raw.cells.columns}
        layout = _spelled(layout, {**spelled, **{h: h for h in raw.cells.columns}})
        raw = _without_totals(raw, layout)
        times = layout.columns.get("checked_at", ())
        rows, given = without_headings(raw, layout.constants, times)
        given = {name: cells.reset_index(drop=True) for name, cells in given.items()}
        if len(rows) < len(raw.cells):
            raw = only_rows(raw, raw.cells.index.isin(rows.index))
        for name, where in layout.constants.items():
            if name not in given:
                value = constant_of(name, where, raw)
                given[name] = pd.Series(value, index=raw.cells.index, dtype="str")
        given = {n: one_spelling(v) if n in NAMES else v for n, v in given.items()}
        filled = resolved(raw.cells, layout)
        source = _sources(raw)
        return cls(raw, layout, _recorded(filled, layout), source, given)

    def read(self, column: str) -> list[pd.Series]:
        """Give the cells of a column, one Series a header.

        Parameters
        ----------
        column : str
            A canonical column.

        Returns
        -------
        list of Series of str
            Empty where the layout has none.
        """
        return [self.cells[h] for h in self.layout.columns.get(column, ())]

    def raw_text(self, rows: pd.Index) -> pd.Series:
        """Give some rows as they stand in the file.

        Parameters
        ----------
        rows : Index
            The raw rows wanted; few, as all texts take as much memory as the file.

        Returns
        -------
        Series of str
            As CSV, on `rows`.
        """
        return row_text(self.raw.cells.loc[rows])


def _sources(raw: RawTable) -> pd.Series:
    """Give ``file:line`` of each row."""
    file, colon = (pa.scalar(text, pa.large_string()) for text in (raw.file, ":"))

    def named_by(lines: pa.Array) -> pa.Array:
        return pc.binary_join_element_wise(file, lines.cast(pa.large_string()), colon)

    lines = pa.array(raw.lines)
    parts = range(0, max(len(lines), 1), _PART)
    named = pa.concat_arrays(
        side_by_side(named_by, [lines.slice(at, _PART) for at in parts])
    )
    if not (np.diff(raw.lines.to_numpy()) > 0).all():  # several rows made of a line
        return pd.Series(named.to_pandas(), dtype="str").set_axis(raw.lines.index)
    rows = np.arange(len(named), dtype=np.int32)
    return pd.Series(by_codes(rows, named, is_tidy=True), index=raw.lines.index)


#: Lines named at once.
_PART = 1 << 18


def _spelled(layout: TableLayout, headers: Mapping[str, str]) -> TableLayout:
    """Give a layout with the headers as the file at hand spells them."""

    def own(names: Iterable[str]) -> tuple[str, ...]:
        return tuple(headers.get(n, headers.get(synonyms.normal(n), n)) for n in names)

    return replace(
        layout,
        columns={k: own(v) for k, v in layout.columns.items()},
        contents_of=tuple(own(group) for group in layout.contents_of),
        signs_of={k: own(v) for k, v in layout.signs_of.items()},
        fill_down=own(layout.fill_down),
        ditto=own(layout.ditto),
    )


def _without_totals(raw: RawTable, layout: TableLayout) -> RawTable:
    if not layout.not_rows:
        return raw
    named = {words.key_of(word) for word in layout.not_rows}
    times = layout.columns.get("checked_at", ())
    is_total = rows_called(raw.cells, named, times)
    return only_rows(raw, ~is_total.to_numpy(dtype=bool))


def rows_called(
    cells: pd.DataFrame, names: Collection[str], times: Sequence[str]
) -> pd.Series:
    """Mark rows whose first cell is one of `names`, and that have no time of their own.

    A row with a time is a row of the log, whatever its first cell says.

    Parameters
    ----------
    cells : DataFrame of str
        The rows.
    names : collection of str
        Words of rows that are none, as compared.
    times : sequence of str
        Headers of the time of check.

    Returns
    -------
    Series of bool
        True for rows that are none.
    """
    if not names:
        return pd.Series(data=False, index=cells.index)
    first = first_filled(cells)
    is_called = each_once(first, lambda c: words.key_of(c) in names, "bool")
    called = cells[is_called]
    is_timed = pd.Series(data=bool(times), index=called.index)
    for header in times:
        is_timed &= called[header].map(is_written_time).astype(bool)
    return pd.Series(cells.index.isin(called.index[~is_timed]), index=cells.index)


def first_filled(cells: pd.DataFrame) -> pd.Series:
    """Give the first cell of each row that is not blank; empty where all are.

    Parameters
    ----------
    cells : DataFrame of str
        The rows.

    Returns
    -------
    Series of str
        One a row.
    """
    first = pd.Series(same("", len(cells)), index=cells.index)
    for name in cells.columns:
        blank = first == ""
        if not blank.any():
            break
        first = cells[name] if blank.all() else first.mask(blank, cells[name])
    return first


def only_rows(raw: RawTable, is_row: npt.NDArray[np.bool_]) -> RawTable:
    """Count the records that are no rows among the other lines of a table.

    Parameters
    ----------
    raw : RawTable
        The table as read.
    is_row : array of bool
        Which records are rows.

    Returns
    -------
    RawTable
        With those rows alone.
    """
    if is_row.all():
        return raw
    return replace(
        raw,
        cells=raw.cells[is_row].reset_index(drop=True),
        lines=raw.lines[is_row].reset_index(drop=True),
        other_lines=raw.other_lines + int((~is_row).sum()),
    )


def resolved(cells: pd.DataFrame, layout: TableLayout) -> pd.DataFrame:
    """Fill blanks down and put the value above in place of ditto marks.

    Parameters
    ----------
    cells : DataFrame of str
        The rows.
    layout : TableLayout
        Says where blanks and marks repeat.

    Returns
    -------
    DataFrame of str
        Of the same shape.
    """
    if not layout.fill_down and not layout.ditto:
        return cells
    out = cells.copy()
    order = [h for h in cells.columns if h in layout.fill_down]
    group: pd.Series = pd.Series(0, index=cells.index)
    for header in order:
        # Within one value of the columns to the left, a blank repeats the value above.
        begins = cells[header] != ""
        value = cells[header].where(begins)
        out[header] = value.groupby(group).ffill().astype("str").fillna("")
        group = (begins | (group != group.shift())).cumsum()
    names = naming(layout)
    for i, header in enumerate(names):
        if header in layout.ditto:
            # The same as above, unless a name to its left is another than above.
            left = out[names[:i]]
            chart = (left != left.shift()).any(axis=1).cumsum()
            above = out[header].mask(_are_dittos(cells[header])).groupby(chart).ffill()
            out[header] = above.astype("str").fillna("")
    chart = _chart_of(cells, out, layout)
    for header in (h for h in layout.ditto if h not in names):
        # A mark with nothing above it in its chart stays, and is set aside.
        above = out[header].mask(_are_dittos(cells[header])).groupby(chart).ffill()
        out[header] = above.where(above.notna(), out[header]).astype("str")
    return out


def _are_dittos(cells: pd.Series) -> pd.Series:
    return each_once(cells, lambda cell: cell.strip().casefold() in words.DITTO, "bool")


def naming(layout: TableLayout) -> list[str]:
    """Give the headers of what a row belongs to.

    Parameters
    ----------
    layout : TableLayout
        With the headers as the file spells them.

    Returns
    -------
    list of str
        Those of ward, patient, infusion and driver, in this order.
    """
    days = set(layout.columns.get("checked_at", ()))
    names = [
        h
        for c in ("ward", "patient_id", "infusion_id", "driver_id")
        for h in layout.columns.get(c, ())
        if h not in days
    ]
    return list(dict.fromkeys(names))


def _chart_of(
    cells: pd.DataFrame, filled: pd.DataFrame, layout: TableLayout
) -> pd.Series:
    """Tell the charts of a sheet apart: a ditto mark does not reach past its own."""
    grouping = naming(layout)
    if not grouping:
        return pd.Series(0, index=cells.index)
    charts = filled[grouping]
    begins = (charts != charts.shift()).any(axis=1)
    given = [h for h in grouping if h in layout.fill_down]
    if given:
        begins |= (cells[given] != "").any(axis=1)
    return begins.cumsum()


def _recorded(cells: pd.DataFrame, layout: TableLayout) -> pd.DataFrame:
    """Empty the cells that hold a mark of "not recorded"."""
    marks = words.NOT_RECORDED | {words.key_of(w) for w in layout.not_recorded}
    used = {header for _, header in layout.named()}
    has_digits = any(_DIGIT.search(mark) for mark in marks)
    out = cells.copy()
    for header in used:
        column = cells[header]
        different = pd.Series(column.unique(), dtype="str")
        if not has_digits:  # then no code, number or time is a mark
            different = different[~different.str.contains(_DIGIT.pattern)]
        empty = [c for c in different if c and words.key_of(c) in marks]
        if empty:
            out[header] = column.where(~column.isin(empty), "")
    return out


_DIGIT = re.compile("[0-9]")


def identity(sheet: Sheet) -> dict[str, pd.Series]:
    """Give what rows are compared by: all their cells, under names all files share.

    Blanks that repeat the value above are filled: rows of two charts are never alike.

    Parameters
    ----------
    sheet : Sheet
        The table, with its layout.

    Returns
    -------
    dict of str to Series of str
        By canonical name, else by the file's own header behind a plus sign. An empty
        cell is the same as a column that is not there.
    """
    filled = resolved(sheet.raw.cells, sheet.layout)
    names = {
        h: f"{column}.{i}" if i else column
        for column, headers in sheet.layout.columns.items()
        for i, h in enumerate(headers)
    }
    cells = {names.get(h, f"+{h}"): filled[h] for h in filled.columns}
    return {**sheet.given, **cells}


def is_struck(sheet: Sheet) -> pd.Series:
    """Tell which rows the export itself marks as struck out or replaced.

    Parameters
    ----------
    sheet : Sheet
        The table, with its layout.

    Returns
    -------
    Series of bool
        One a row; False where the export does not say.
    """
    cells = sheet.read(synonyms.STRUCK)
    if not cells:
        return pd.Series(data=False, index=sheet.cells.index)
    meant = each_once(cells[0], lambda cell: status_of(cell, sheet.layout))
    return meant == words.STRUCK


def status_of(cell: str, layout: TableLayout) -> str:
    """Tell whether a row stands, by the mark that the export gives it.

    Parameters
    ----------
    cell : str
        The mark.
    layout : TableLayout
        Its own words lead.

    Returns
    -------
    str
        `words.IN_FORCE` or `words.STRUCK`; empty where the mark is not known.
    """
    own = layout.words.get(synonyms.STRUCK, {})
    named = {words.key_of(k): v for k, v in own.items()}
    return named.get(words.key_of(cell)) or words.status(cell) or ""
