"""Raw tables to canonical text tables, by a layout: cells as a canonical CSV has them.

Whatever the shape of an export, what leaves here is text under the names of
`columns.py`, each row with its file and lines. A cell that cannot be turned is a fault
under the file's own header and with its own text; nothing is guessed and nothing is
dropped: every raw row feeds a row, or is named here as a copy, as superseded, or as
read and without a place.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from analysis.columns import CHECKS, INFUSIONS, LINES, Column, Kind, Table
from analysis.errors import InputError
from analysis.intake import dates, numbers, synonyms, words
from analysis.intake.cells import faults_of
from analysis.intake.files import RawTable, row_text
from analysis.intake.layout import Holds, TableLayout
from analysis.intake.profiles import YES_NO
from analysis.intake.recognise import KNOWN_WORDS
from analysis.terms import LineKind, RejectReason, SiteSign

#: Checks with the columns of their infusion beside them, as many exports have them.
CHECKS_WIDE = Table(
    CHECKS.name,
    CHECKS.row,
    (*CHECKS.columns, *(c for c in INFUSIONS.columns if c.name not in CHECKS.names)),
)

#: What became of a raw row that feeds no row of a canonical table.
DUPLICATE, SUPERSEDED, NO_PLACE = "exact duplicate", "superseded", "no place"

FAULT_COLUMNS = ["column", "value", "reason", "sentence", "header", "source", "row"]
_PER_DAY = 24.0


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


def turn(raw: RawTable, layout: TableLayout) -> Turned:
    """Turn one raw table into a canonical text table.

    Parameters
    ----------
    raw : RawTable
        A file or a sheet.
    layout : TableLayout
        How its headers map; every header it names is in `raw`.

    Returns
    -------
    Turned
        All rows; what could not be read is among its faults.
    """
    sheet = _Sheet.of(raw, layout)
    match layout.holds:
        case Holds.ITEMS:
            return _turn_items(sheet)
        case Holds.LINE_CHANGES:
            return _turn_changes(sheet)
        case Holds.CHECKS:
            return _turn_rows(sheet, CHECKS_WIDE)
        case Holds.INFUSIONS:
            return _turn_rows(sheet, INFUSIONS)
        case _:
            return _turn_rows(sheet, LINES)


# --- the cells before they are read: totals, blanks, ditto marks ----------------------


@dataclass(frozen=True, slots=True)
class _Sheet:
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
    def of(cls, raw: RawTable, layout: TableLayout) -> "_Sheet":
        spelled = {synonyms.normal(h): h for h in raw.cells.columns}
        layout = _spelled(layout, {**spelled, **{h: h for h in raw.cells.columns}})
        raw = _without_totals(raw, layout)
        filled = _resolved(raw.cells, layout)
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


def _resolved(cells: pd.DataFrame, layout: TableLayout) -> pd.DataFrame:
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


# --- one column ----------------------------------------------------------------------


@dataclass(slots=True)
class _Reading:
    """What reading a table has given so far: filled by `_read_column` only."""

    text: dict[str, pd.Series] = field(default_factory=dict)
    originals: dict[str, pd.Series] = field(default_factory=dict)
    headers: dict[str, str] = field(default_factory=dict)
    faults: list[pd.DataFrame] = field(default_factory=list)
    qualifiers: list[pd.DataFrame] = field(default_factory=list)

    def fault(
        self, bad: pd.Series, column: str, header: str, why: tuple[str, str]
    ) -> None:
        """Add one fault for each cell of `bad`; `why` is its reason and sentence."""
        if len(bad):
            reason, sentence = why
            found = faults_of(bad, column, RejectReason(reason), sentence)
            self.faults.append(found.assign(header=header))


def _read_times(
    reading: _Reading, column: str, headers: Sequence[str], sheet: _Sheet
) -> None:
    """Read a time from one header, or from a day and a clock apart."""
    layout = sheet.layout
    parts = [sheet.cells[h] for h in headers]
    day, clock = parts[0], parts[1] if len(parts) > 1 else None
    order, kept = layout.date_order or "ymd", layout.clock or "24"
    iso, why = dates.read_clock(day, clock, order=order, clock=kept)
    if clock is not None:
        # A day without its time is no moment; where a day is enough it stays a day.
        is_line = column in ("inserted_at", "removed_at")
        alone, _ = dates.read_clock(day, None, order=order, clock=kept)
        iso = iso.mask(clock == "", alone if is_line else "")
    reading.text[column] = iso.astype("str").fillna("")
    shown = day if clock is None else (day + " " + clock).str.strip()
    reading.originals[column] = shown
    reading.headers[column] = headers[-1]
    _time_faults(reading, column, headers, sheet, why)


def _time_faults(
    reading: _Reading,
    column: str,
    headers: Sequence[str],
    sheet: _Sheet,
    why: pd.Series,
) -> None:
    """Say which cell of a time cannot be read, and why."""
    day = sheet.cells[headers[0]]
    lacking = reading.text[column] == ""
    reason = str(RejectReason.TIME_NOT_READABLE)
    if len(headers) == 1:
        bad = day[lacking & (day != "")]
        _each(reading, bad, why, (column, headers[0], reason))
        if column == "checked_at":
            _no_time(reading, day[day == ""], headers[0], "time")
        return
    clock = sheet.cells[headers[1]]
    is_day, note = dates.read_clock(
        day, None, order=sheet.layout.date_order or "ymd", clock="24"
    )
    bad_day = lacking & (day != "") & (is_day == "")
    own = sheet.raw.cells[headers[0]]
    hanging = bad_day & (own == "")
    _each(reading, day[bad_day & ~hanging], note, (column, headers[0], reason))
    for value in day[hanging].unique():
        rows = hanging & (day == value)
        text = f"no {headers[0]} of its own, and the one above it ({value}) is no date"
        reading.fault(own[rows], column, headers[0], (reason, text))
    bad_clock = lacking & ~bad_day & (clock != "") & (day != "")
    _each(reading, clock[bad_clock], why, (column, headers[1], reason))
    if column != "checked_at":
        return
    no_clock = lacking & ~bad_day & (clock == "")
    _no_time(reading, clock[no_clock], headers[1], "time")
    _no_time(reading, day[lacking & ~no_clock & (day == "")], headers[0], "date")


def _no_time(reading: _Reading, blank: pd.Series, header: str, what: str) -> None:
    text = f"no {what} of check; it is not guessed from the rows around it"
    reading.fault(blank, "checked_at", header, (str(RejectReason.NO_TIME), text))


def _each(
    reading: _Reading, bad: pd.Series, why: pd.Series, place: tuple[str, str, str]
) -> None:
    """Add a fault a cell, in the words of the reader of times."""
    column, header, reason = place
    notes = why.reindex(bad.index).astype("str").fillna("")
    for note in notes.unique():
        cells = bad[notes == note]
        text = f"{header} reads '{{value}}'"
        text += f": {note}" if note else ", which is no time"
        reading.fault(cells, column, header, (reason, text))


def _read_numbers(
    reading: _Reading, column: Column, header: str, sheet: _Sheet, cell: pd.Series
) -> None:
    """Read numbers with their units and qualifiers; `cell` may be part of a table."""
    read = numbers.read_plain(cell, sheet.layout.decimal or None)
    value = read["value"].astype("str").fillna("")
    unit = read["unit"].astype("str").fillna("")
    if column.unit == "mL/h":
        value, no_unit = _hourly(value, unit, sheet, cell.index)
        text = f"{header} of {{value}} has no unit: per hour or per 24 h is not said"
        reading.fault(
            cell[no_unit], column.name, header, (str(RejectReason.NOT_A_NUMBER), text)
        )
    else:
        no_unit = pd.Series(data=False, index=cell.index)
        wrong = {u for u in unit.unique() if u and not _suits(u, column)}
        value = value.mask(unit.isin(wrong), "")
    bad = cell[(value == "") & (cell != "") & ~no_unit]
    text = (
        f"{header} reads '{{value}}', which is not a number; the row is kept without it"
    )
    reading.fault(bad, column.name, header, (str(RejectReason.NOT_A_NUMBER), text))
    reading.text[column.name] = value
    reading.originals[column.name] = cell
    reading.headers[column.name] = header
    marked = read["qualifier"].astype("str").fillna("")
    marked = marked[(marked != "") & (value != "")]
    if len(marked):
        reading.qualifiers.append(
            pd.DataFrame(
                {
                    "column": column.name,
                    "value": cell[marked.index],
                    "qualifier": marked,
                }
            )
        )


_UNITS = {
    "mL": ("ml", "mls", "cc", "millilitre", "millilitres", "milliliter", "milliliters"),
    "%": ("percent", "pc"),
    "h": ("h", "hr", "hrs", "hour", "hours"),
}


def _suits(unit: str, column: Column) -> bool:
    return synonyms.normal(unit) in _UNITS.get(column.unit, ())


def _hourly(
    value: pd.Series, unit: pd.Series, sheet: _Sheet, index: pd.Index
) -> tuple[pd.Series, pd.Series]:
    """Bring rates to mL/h; and tell which have no unit at all."""
    charted = sheet.read(synonyms.UNITS)
    if charted:
        beside = charted[0].reindex(index).astype("str").fillna("")
        unit = unit.where(unit != "", beside)
    usual = sheet.layout.units.get("set_rate_ml_h", "")
    if not usual and not charted:
        usual = "mL/h"
    unit = unit.where(unit != "", usual)
    kinds = {
        u: "day"
        if synonyms.is_per_day(u)
        else "hour"
        if synonyms.is_per_hour(u)
        else ""
        for u in unit.unique()
        if not synonyms.is_travel(u)
    }
    kind = unit.map(kinds).astype("str").fillna("")
    amount = pd.to_numeric(value.where(kind == "day"), errors="coerce") / _PER_DAY
    digits = np.char.mod("%.4f", amount.fillna(0.0).to_numpy())
    daily = pd.Series(digits, index=value.index, dtype="str").where(amount.notna(), "")
    out = value.where(kind == "hour", "").where(kind != "day", daily)
    return out, (kind == "") & (unit == "") & (value != "")


def _read_words(
    reading: _Reading, column: Column, header: str, sheet: _Sheet, cell: pd.Series
) -> None:
    """Read words of a closed list; the layout's own words lead."""
    own = {
        words.key_of(k): v for k, v in sheet.layout.words.get(column.name, {}).items()
    }
    found = {c: _known_words(c, column, own) for c in cell.unique() if c}
    known = cell.map({c: ";".join(k) for c, (k, _) in found.items()})
    unknown = cell.map({c: ";".join(u) for c, (_, u) in found.items()})
    reading.text[column.name] = known.astype("str").fillna("")
    reading.originals[column.name] = cell
    reading.headers[column.name] = header
    bad = unknown.astype("str").fillna("")
    text = (
        f"{header} reads '{{value}}', which is none of: {', '.join(column.choices)}; "
        "the row is kept without it"
    )
    reading.fault(
        bad[bad != ""], column.name, header, (str(RejectReason.NOT_IN_LIST), text)
    )


def _known_words(
    cell: str, column: Column, own: Mapping[str, str]
) -> tuple[list[str], list[str]]:
    """Give the words of the closed list in a cell, and what could not be read."""
    key = words.key_of(cell)
    if key in own:
        return [w.strip() for w in own[key].split(";") if w.strip()], []
    if column.kind is Kind.CHOICES:
        known, unknown = words.site_signs(cell, own)
        if unknown and known == [SiteSign.NONE]:  # nothing seen, and something unread
            return [], [cell]
        return known, unknown
    if "location" in column.name:
        word = words.location(cell)
    elif column.name in YES_NO:
        word = words.one_word(cell, words.YES_NO_OF[column.name]) or words.one_word(
            cell, words.YES_NO
        )
    else:
        word = words.one_word(cell, KNOWN_WORDS[column.name])
    return ([word], []) if word else ([], [cell])


def _read_text(
    reading: _Reading, column: Column, headers: Sequence[str], sheet: _Sheet
) -> None:
    """Read names and codes: parts joined, lost zeros put back by the layout."""
    parts = []
    for header in headers:
        part = sheet.cells[header]
        digits = _digits_for(header, sheet.layout)
        if digits:
            is_number = part.str.fullmatch(r"\d+")
            part = part.where(~is_number, part.str.zfill(digits))
        parts.append(part)
    out = parts[0]
    for part in parts[1:]:
        out = out + "/" + part
    for part in parts:
        out = out.where(part != "", "") if len(parts) > 1 else out
    if column.name == "gauge":
        out = out.str.replace(r"^(\d+)\s*[gG]$", r"\1", regex=True)
    reading.text[column.name] = out.astype("str")
    reading.headers[column.name] = headers[-1]


def _digits_for(header: str, layout: TableLayout) -> int:
    for column, digits in layout.digits.items():
        if layout.columns.get(column, ()) == (header,) and isinstance(digits, int):
            return digits
    return 0


def _read_column(reading: _Reading, column: Column, sheet: _Sheet) -> None:
    """Read one column of a table with a row a check, an infusion or a line."""
    headers = sheet.layout.columns[column.name]
    match column.kind:
        case Kind.TIME | Kind.DAY_OR_TIME:
            _read_times(reading, column.name, headers, sheet)
        case Kind.NUMBER:
            _read_numbers(reading, column, headers[0], sheet, sheet.cells[headers[0]])
        case Kind.CHOICE | Kind.CHOICES:
            _read_words(reading, column, headers[0], sheet, sheet.cells[headers[0]])
        case _:
            _read_text(reading, column, headers, sheet)


# --- a row a check, an infusion or a line --------------------------------------------


def _turn_rows(sheet: _Sheet, table: Table) -> Turned:
    reading = _Reading()
    layout = sheet.layout
    for column in table.columns:
        if column.name in layout.columns:
            _read_column(reading, column, sheet)
        elif column.name in layout.constants:
            reading.text[column.name] = pd.Series(
                layout.constants[column.name], index=sheet.cells.index, dtype="str"
            )
    if layout.contents_of:
        reading.text["contents"] = _contents(sheet)
        reading.headers["contents"] = layout.contents_of[0][0]
    _amended(reading, sheet)
    text = _frame(reading, table, sheet.cells.index)
    text["file"] = sheet.raw.file
    text["line"] = sheet.raw.lines
    text["source"] = sheet.source
    text["row_text"] = sheet.raw_text()
    text["identity"] = _identity(sheet)
    text["is_struck"] = _is_struck(sheet)
    if table is LINES:
        text["line_id"] = text["line_id"].where(text["line_id"] != "", _line_ids(text))
    rows = pd.Series(sheet.cells.index, index=sheet.cells.index, dtype="int64")
    return _finished(sheet, table, reading, (text, rows, _no_fate()))


def _no_fate() -> pd.Series:
    return pd.Series([], dtype="str", index=pd.Index([], dtype="int64"))


def _frame(reading: _Reading, table: Table, index: pd.Index) -> pd.DataFrame:
    empty = pd.Series("", index=index, dtype="str")
    return pd.DataFrame(
        {
            name: reading.text.get(name, empty).reindex(index).astype("str").fillna("")
            for name in table.names
        },
        index=index,
    )


def _finished(
    sheet: _Sheet,
    table: Table,
    reading: _Reading,
    rows: tuple[pd.DataFrame, pd.Series, pd.Series],
) -> Turned:
    text, feeds, fate = rows
    used = {h for headers in sheet.layout.columns.values() for h in headers}
    used |= {h for group in sheet.layout.contents_of for h in group}
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


def _identity(sheet: _Sheet) -> pd.Series:
    """Give a key that is equal only for rows alike in every column.

    Blanks that repeat the value above are filled: rows of two charts are never alike.
    """
    filled = _resolved(sheet.raw.cells, sheet.layout)
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


def _is_struck(sheet: _Sheet) -> pd.Series:
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


def _amended(reading: _Reading, sheet: _Sheet) -> None:
    """Turn the number of a replaced row into FILE:LINE; an unknown one stays."""
    replaces = sheet.read(synonyms.REPLACES)
    ids = sheet.read(synonyms.ROW_ID)
    if not replaces or not ids:
        return
    known = pd.Series(sheet.source.to_numpy(), index=ids[0].to_numpy())
    known = known[~known.index.duplicated() & (known.index != "")]
    named = replaces[0].map(known.to_dict())
    reading.text["amends"] = named.where(named.notna(), replaces[0]).astype("str")
    reading.originals["amends"] = replaces[0]
    reading.headers["amends"] = sheet.layout.columns[synonyms.REPLACES][0]


def _contents(sheet: _Sheet) -> pd.Series:
    """Join drug, dose and unit of each group: ``drug 10 mg; drug 5 mg``."""
    out = pd.Series("", index=sheet.cells.index, dtype="str")
    for group in sheet.layout.contents_of:
        drug, *rest = (sheet.cells[h] for h in group)
        words_ = drug
        for part in rest:
            value = numbers.read_plain(part, sheet.layout.decimal or None)["value"]
            plain = value.astype("str").fillna("")
            shown = plain.where(plain != "", part)
            words_ = words_ + (" " + shown).where(shown != "", "")
        words_ = words_.where(drug != "", "")
        joint = pd.Series("; ", index=out.index).where((out != "") & (words_ != ""), "")
        out = out + joint + words_
    return out.astype("str")


def _line_ids(text: pd.DataFrame) -> pd.Series:
    """Name lines that have no id by patient, kind and day of insertion."""
    parts = text["patient_id"] + " " + text["kind"] + " " + text["inserted_at"]
    return "derived " + parts.str.replace("_", " ")


# --- one row an item -----------------------------------------------------------------


def _turn_items(sheet: _Sheet) -> Turned:
    """Put the items of one check together: same patient, infusion and time, exactly."""
    layout = sheet.layout
    fate = pd.Series("", index=sheet.cells.index, dtype="str")
    fate[_is_struck(sheet)] = SUPERSEDED
    # Blanks between cells as charted: copies are alike in every column.
    fate[_identity(sheet).duplicated()] = DUPLICATE
    place = _Reading()
    named = ("ward", "patient_id", "infusion_id", "driver_id")
    for column in CHECKS_WIDE.columns:
        if column.name in layout.columns and column.name not in layout.items:
            _read_column(place, column, sheet)
    item = sheet.read(synonyms.ITEM)[0]
    column_of = {n: c for c, names in layout.items.items() for n in names}
    target = item.map({i: column_of.get(i, "") for i in item.unique()}).astype("str")
    by = pd.DataFrame(
        {n: place.text[n] for n in (*named[1:], "checked_at") if n in place.text}
    )
    unreadable = by["checked_at"] == ""
    by["alone"] = by.index.to_series().where(unreadable, -1)
    live = fate == ""
    group = by[live].groupby(list(by.columns), sort=False).ngroup()
    has_reading = (target[live] != "").groupby(group).transform("any")
    fate[has_reading.index[~has_reading]] = NO_PLACE
    group = group[has_reading]
    return _pivoted(sheet, place, (target, group, fate))


def _pivoted(
    sheet: _Sheet, place: _Reading, parts: tuple[pd.Series, pd.Series, pd.Series]
) -> Turned:
    target, group, fate = parts
    first = group[~group.duplicated()]
    order = pd.Series(np.arange(len(first)), index=first.to_numpy())
    row = group.map(order).astype("int64")
    index = pd.RangeIndex(len(first))
    out = _Reading(headers=dict(place.headers))
    for name, cell in place.text.items():
        out.text[name] = _commonest(cell.reindex(row.index), row, index)
    out.faults += _of_first(place.faults, row, sheet)
    value = sheet.read(synonyms.VALUE)[0]
    header = sheet.layout.columns[synonyms.VALUE][0]
    for column in CHECKS_WIDE.columns:
        mine = row[target.reindex(row.index) == column.name]
        if column.name in sheet.layout.items:
            _read_item(out, column, (header, value.reindex(mine.index), mine), sheet)
    text = _frame(out, CHECKS_WIDE, index)
    lines = sheet.raw.lines.reindex(row.index)
    joined = lines.astype("str").groupby(row).agg(";".join)
    text["file"] = sheet.raw.file
    text["line"] = lines.groupby(row).min()
    text["source"] = sheet.raw.file + ":" + joined
    raw = sheet.raw_text().reindex(row.index)
    text["row_text"] = raw.groupby(row).agg("\n".join).astype("str")
    text["identity"] = text["source"]
    text["is_struck"] = False
    return _finished(sheet, CHECKS_WIDE, out, (text, row, fate[fate != ""]))


def _commonest(cell: pd.Series, row: pd.Series, index: pd.Index) -> pd.Series:
    """Give the commonest cell of each row, the first of equals; blanks do not count."""
    frame = pd.DataFrame({"cell": cell, "row": row})[cell != ""]
    counts = frame.groupby(["row", "cell"], sort=False).size()
    top = counts.sort_values(ascending=False, kind="stable").reset_index()
    best = top[~top["row"].duplicated()].set_index("row")["cell"]
    return best.reindex(index).astype("str").fillna("")


def _of_first(
    faults: Iterable[pd.DataFrame], row: pd.Series, sheet: _Sheet
) -> list[pd.DataFrame]:
    """Move faults of raw rows to the rows they feed, each with its own source."""
    moved = []
    for found in faults:
        mine = found[found.index.isin(row.index)]
        raw = sheet.raw_text().reindex(mine.index)
        at = mine.assign(source=sheet.source.reindex(mine.index), row=raw)
        moved.append(at.set_axis(row.reindex(mine.index).to_numpy()))
    return moved


def _read_item(
    out: _Reading,
    column: Column,
    cells: tuple[str, pd.Series, pd.Series],
    sheet: _Sheet,
) -> None:
    """Read the values of one item into its column of the rows they belong to."""
    header, value, row = cells
    part = _Reading()
    match column.kind:
        case Kind.NUMBER:
            _read_numbers(part, column, header, sheet, value)
        case Kind.CHOICE | Kind.CHOICES:
            _read_words(part, column, header, sheet, value)
        case Kind.TIME | Kind.DAY_OR_TIME:
            iso, why = dates.read_clock(
                value, None, order=sheet.layout.date_order or "ymd", clock="24"
            )
            part.text[column.name] = iso.astype("str").fillna("")
            bad = value[(part.text[column.name] == "") & (value != "")]
            _each(part, bad, why, (column.name, header, RejectReason.TIME_NOT_READABLE))
        case _:
            part.text[column.name] = value
    read = part.text[column.name]
    if column.kind is Kind.TEXT:
        joined = (
            read[read != ""].groupby(row).agg(lambda v: "; ".join(dict.fromkeys(v)))
        )
    else:
        joined = _agreed(part, column, (header, value, row))
    out.text[column.name] = joined
    out.originals[column.name] = value.groupby(row).first()
    out.headers[column.name] = header
    out.faults += _of_first(part.faults, row, sheet)
    out.qualifiers += [
        q.set_axis(row.reindex(q.index).to_numpy()) for q in part.qualifiers
    ]


def _agreed(
    part: _Reading, column: Column, cells: tuple[str, pd.Series, pd.Series]
) -> pd.Series:
    """Give the one value of an item; two that differ at one time are both set aside."""
    header, value, row = cells
    read = part.text[column.name]
    known = read[read != ""]
    different = known.groupby(row).nunique()
    torn = row.isin(different.index[different > 1]) & (read != "")
    text = (
        f"{header} of {column.name} reads '{{value}}', and another value at the same "
        "time; neither is used"
    )
    reason = (str(RejectReason.NOT_IN_LIST), text)
    part.fault(value[torn], column.name, header, reason)
    return known[~torn.reindex(known.index)].groupby(row).first()


# --- a row a change of line or site --------------------------------------------------

_KINDS = (
    (synonyms.LINE_CHANGED_ON, LineKind.EXTENSION_SET),
    (synonyms.SITE_CHANGED_ON, LineKind.CANNULA),
)


def _turn_changes(sheet: _Sheet) -> Turned:  # noqa: C901, PLR0915 - one shape
    """Turn dates of changes into lines: a change ends the one before it."""
    layout = sheet.layout
    parts, reading = [], _Reading()
    base = _Reading()
    for name in ("patient_id", "ward", "driver_id"):
        if name in layout.columns:
            _read_text(base, CHECKS[name], layout.columns[name], sheet)
    if "location" in layout.columns:
        header = layout.columns["location"][0]
        _read_words(base, LINES["location"], header, sheet, sheet.cells[header])
    why, is_first = _reasons(base, sheet)
    for column, kind in _KINDS:
        if column not in layout.columns:
            continue
        _read_times(base, column, layout.columns[column], sheet)
        part = pd.DataFrame({n: base.text[n] for n in base.text if n not in _DATES})
        part["inserted_at"] = base.text[column]
        part["why"], part["is_first"] = why, is_first
        part["kind"] = str(kind)
        part["raw_row"] = sheet.cells.index
        if kind is LineKind.EXTENSION_SET:
            part["location"] = ""
        parts.append(part[base.originals[column] != ""])
    rows = _ended(pd.concat(parts, ignore_index=True))
    neither = sheet.cells.index.difference(pd.Index(rows["raw_row"]))
    rows = pd.concat(
        [rows, pd.DataFrame({"raw_row": neither})], ignore_index=True
    ).fillna("")  # fmt: skip
    reading.headers = dict(base.headers)
    for name in LINES.names:
        if name in rows:
            reading.text[name] = rows[name].astype("str")
    text = _frame(reading, LINES, rows.index)
    raw_row = rows["raw_row"].astype("int64")
    for name, of_row in (
        ("line", sheet.raw.lines),
        ("source", sheet.source),
        ("row_text", sheet.raw_text()),
        ("identity", _identity(sheet)),
    ):
        text[name] = of_row.reindex(raw_row).to_numpy()
    text["file"] = sheet.raw.file
    text["identity"] = text["identity"] + "\x1f" + text["kind"]
    text["is_struck"] = _is_struck(sheet).reindex(raw_row).to_numpy()
    text["line_id"] = _change_ids(rows)
    reading.faults = _to_lines(base.faults, raw_row)
    feeds = pd.Series(rows.index, index=raw_row.to_numpy(), dtype="int64")
    return _finished(sheet, LINES, reading, (text, feeds, _no_fate()))


_DATES = (synonyms.LINE_CHANGED_ON, synonyms.SITE_CHANGED_ON)


def _reasons(base: _Reading, sheet: _Sheet) -> tuple[pd.Series, pd.Series]:
    """Read why something was changed; the first of all ends nothing."""
    cells = sheet.read(synonyms.WHY_CHANGED)
    blank = pd.Series("", index=sheet.cells.index, dtype="str")
    if not cells:
        return blank, pd.Series(data=False, index=blank.index)
    is_first = cells[0].map(
        {c: words.key_of(c) in words.FIRST_OF_ALL for c in cells[0].unique()}
    )
    header = sheet.layout.columns[synonyms.WHY_CHANGED][0]
    part = _Reading()
    _read_words(
        part, LINES["removal_reason"], header, sheet,
        cells[0].mask(is_first.astype(bool), ""),
    )  # fmt: skip
    base.faults += part.faults
    return part.text["removal_reason"], is_first.astype(bool)


def _ended(rows: pd.DataFrame) -> pd.DataFrame:
    """Let each change of a patient, driver and kind end the one before it."""
    keys = [k for k in ("patient_id", "driver_id", "kind") if k in rows]
    rows = rows.sort_values(
        ["inserted_at", "raw_row"], kind="stable", ignore_index=True
    )
    later = rows.groupby(keys)[["inserted_at", "why", "is_first"]].shift(-1)
    ends = later["is_first"].eq(False)  # noqa: FBT003 - a comparison, no flag
    rows["removed_at"] = later["inserted_at"].where(ends, "").fillna("")
    rows["removal_reason"] = later["why"].where(ends, "").fillna("")
    return rows


def _change_ids(rows: pd.DataFrame) -> pd.Series:
    driver = rows["driver_id"].astype("str") if "driver_id" in rows else ""
    key = rows["patient_id"].astype("str") + "/" + driver + "/"
    return "derived " + key + rows["kind"] + "/" + rows["inserted_at"].astype("str")


def _to_lines(faults: Iterable[pd.DataFrame], raw_row: pd.Series) -> list[pd.DataFrame]:
    """Move faults of raw rows to the first line each of them feeds."""
    first = pd.Series(raw_row.index, index=raw_row.to_numpy())
    first = first[~first.index.duplicated()]
    moved = []
    for found in faults:
        column = found["column"].where(~found["column"].isin(_DATES), "inserted_at")
        moved.append(found.assign(column=column).set_axis(
            first.reindex(found.index).to_numpy()))  # fmt: skip
    return moved


def check_headers(raw: RawTable, layout: TableLayout) -> None:
    """Refuse a table that lacks a header its layout names.

    Parameters
    ----------
    raw : RawTable
        The table.
    layout : TableLayout
        Its layout.

    Raises
    ------
    InputError
        Names the headers that are not there.
    """
    there = {synonyms.normal(h) for h in raw.cells.columns}
    lacking = sorted(layout.headers() - there)
    if lacking:
        msg = f"{raw.file}: has no column {', '.join(lacking)}, which the layout names"
        raise InputError(f"{msg}; name the right ones in the layout")
