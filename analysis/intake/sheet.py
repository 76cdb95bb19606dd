"""A raw table before its cells are read: totals out, blanks filled, marks resolved."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import pandas as pd

from analysis.intake import synonyms, words
from analysis.intake.files import RawTable, row_text
from analysis.intake.layout import TableLayout


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
    """

    raw: RawTable
    layout: TableLayout
    cells: pd.DataFrame
    source: pd.Series

    @classmethod
    def of(cls, raw: RawTable, layout: TableLayout) -> "Sheet":
        """Take a raw table by its layout, whose headers may be spelled otherwise."""
        spelled = {synonyms.normal(h): h for h in raw.cells.columns}
        layout = _spelled(layout, {**spelled, **{h: h for h in raw.cells.columns}})
        raw = _without_totals(raw, layout)
        filled = resolved(raw.cells, layout)
        source = raw.file + ":" + raw.lines.astype("str")
        return cls(raw, layout, _recorded(filled, layout), source)

    def read(self, column: str) -> list[pd.Series]:
        """Give the cells of a column, one Series a header."""
        return [self.cells[h] for h in self.layout.columns.get(column, ())]

    def raw_text(self) -> pd.Series:
        """Give each row as it stands in the file."""
        return pd.Series(row_text(self.raw.cells), index=self.cells.index, dtype="str")


def _spelled(layout: TableLayout, headers: Mapping[str, str]) -> TableLayout:
    """Give a layout with the headers as the file at hand spells them."""

    def own(names: Iterable[str]) -> tuple[str, ...]:
        return tuple(headers.get(n, headers.get(synonyms.normal(n), n)) for n in names)

    return replace(
        layout,
        columns={k: own(v) for k, v in layout.columns.items()},
        contents_of=tuple(own(group) for group in layout.contents_of),
        fill_down=own(layout.fill_down),
        ditto=own(layout.ditto),
    )


def _without_totals(raw: RawTable, layout: TableLayout) -> RawTable:
    if not layout.not_rows:
        return raw
    cells = raw.cells
    first = pd.Series("", index=cells.index, dtype="str")
    for name in reversed(list(cells.columns)):
        first = cells[name].where(cells[name] != "", first)
    named = {words.key_of(word) for word in layout.not_rows}
    is_total = first.map({c: words.key_of(c) in named for c in first.unique()})
    is_total = is_total.astype(bool)
    kept = cells[~is_total].reset_index(drop=True)
    return replace(
        raw,
        cells=kept,
        lines=raw.lines[~is_total].reset_index(drop=True),
        other_lines=raw.other_lines + int(is_total.sum()),
    )


def resolved(cells: pd.DataFrame, layout: TableLayout) -> pd.DataFrame:
    """Fill blanks down and put the value above in place of ditto marks."""
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
    chart = _chart_of(cells, out, layout)
    for header in layout.ditto:
        is_ditto = cells[header].str.strip().str.casefold().isin(words.DITTO)
        value = out[header].mask(is_ditto)
        # A mark with nothing above it in its chart stays, and is set aside.
        above = value.groupby(chart).ffill()
        out[header] = above.where(above.notna(), out[header]).astype("str")
    return out


def _chart_of(
    cells: pd.DataFrame, filled: pd.DataFrame, layout: TableLayout
) -> pd.Series:
    """Tell the charts of a sheet apart: a ditto mark does not reach past its own."""
    days = set(layout.columns.get("checked_at", ()))
    grouping = [
        h
        for c in ("ward", "patient_id", "infusion_id", "driver_id")
        for h in layout.columns.get(c, ())
        if h not in days
    ]
    if not grouping:
        return pd.Series(0, index=cells.index)
    charts = filled[list(dict.fromkeys(grouping))]
    begins = (charts != charts.shift()).any(axis=1)
    given = [h for h in grouping if h in layout.fill_down]
    if given:
        begins |= (cells[given] != "").any(axis=1)
    return begins.cumsum()


def _recorded(cells: pd.DataFrame, layout: TableLayout) -> pd.DataFrame:
    """Empty the cells that hold a mark of "not recorded"."""
    marks = words.NOT_RECORDED | {words.key_of(w) for w in layout.not_recorded}
    used = {h for headers in layout.columns.values() for h in headers}
    used |= {h for group in layout.contents_of for h in group}
    out = cells.copy()
    for header in used:
        column = cells[header]
        empty = [c for c in column.unique() if c and words.key_of(c) in marks]
        if empty:
            out[header] = column.where(~column.isin(empty), "")
    return out


def identity(sheet: Sheet) -> pd.Series:
    """Give a key that is equal only for rows alike in every column.

    Blanks that repeat the value above are filled: rows of two charts are never alike.
    """
    filled = resolved(sheet.raw.cells, sheet.layout)
    names = {
        h: f"{column}.{i}" if i else column
        for column, headers in sheet.layout.columns.items()
        for i, h in enumerate(headers)
    }
    key = pd.Series("", index=filled.index, dtype="str")
    for header in sorted(filled.columns, key=lambda h: names.get(h, f"+{h}")):
        column = filled[header]
        name = names.get(header, f"+{header}")
        # An empty canonical cell is the same as a column that is not there.
        key = key + ("\x1f" + name + "=" + column).where(column != "", "")
    return key


def is_struck(sheet: Sheet) -> pd.Series:
    """Tell which rows the export itself marks as struck out or replaced."""
    cells = sheet.read(synonyms.STRUCK)
    if not cells:
        return pd.Series(data=False, index=sheet.cells.index)
    own = {
        words.key_of(k): v
        for k, v in sheet.layout.words.get(synonyms.STRUCK, {}).items()
    }
    meaning = {
        c: own.get(words.key_of(c)) or words.one_word(c, words.STATUS) or words.IN_FORCE
        for c in cells[0].unique()
        if c
    }
    return (cells[0].map(meaning) == words.STRUCK).astype(bool)
