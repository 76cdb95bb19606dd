"""Raw tables to canonical text tables, by a layout: cells as a canonical CSV has them.

Whatever the shape of an export, what leaves here is text under the names of
`columns.py`, each row with its file and lines. A cell that cannot be turned is a fault
under the file's own header and with its own text; nothing is guessed and nothing is
dropped: every raw row feeds a row, or is named here as a copy, as superseded, or as
read and without a place.
"""

from dataclasses import replace

import pandas as pd

from analysis.columns import INFUSIONS, LINES, Table
from analysis.intake import numbers, synonyms, words
from analysis.intake.changes import turn_changes
from analysis.intake.dated import lines_of_checks, read_line_dates
from analysis.intake.items import turn_items
from analysis.intake.layout import Holds, TableLayout
from analysis.intake.raw import RawTable
from analysis.intake.reading import read_column
from analysis.intake.sheet import Sheet, identity, is_struck, status_of
from analysis.intake.sign_answers import read_signs
from analysis.intake.so_far import Reading
from analysis.intake.turned import (
    CARRIED,
    CHECKS_WIDE,
    DUPLICATE,
    FAULT_COLUMNS,
    NO_PLACE,
    SUPERSEDED,
    Turned,
    finished,
    frame_of,
    no_fate,
)
from analysis.intake.unread_signs import set_contradicted_aside
from analysis.intake.versions import earlier_version
from analysis.lookup import each_once
from analysis.terms import RejectReason
from analysis.texts import same

__all__ = [
    "CARRIED",
    "CHECKS_WIDE",
    "DUPLICATE",
    "FAULT_COLUMNS",
    "NO_PLACE",
    "SUPERSEDED",
    "Turned",
    "turn",
]


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
    sheet = Sheet.of(raw, layout)
    match layout.holds:
        case Holds.ITEMS:
            return turn_items(sheet)
        case Holds.LINE_CHANGES:
            return turn_changes(sheet)
        case Holds.CHECKS:
            return _turn_rows(sheet, CHECKS_WIDE)
        case Holds.INFUSIONS:
            return _turn_rows(sheet, INFUSIONS)
        case _:
            return _turn_rows(sheet, LINES)


def _turn_rows(sheet: Sheet, table: Table) -> Turned:
    reading = Reading()
    layout = sheet.layout
    for column in table.columns:
        if column.name in layout.columns:
            read_column(reading, column, sheet)
        elif column.name in sheet.given:
            reading.text[column.name] = sheet.given[column.name]
    if layout.contents_of:
        reading.text["contents"] = _contents(sheet)
        reading.headers["contents"] = layout.contents_of[0][0]
    read_signs(reading, sheet)
    set_contradicted_aside(reading, sheet)
    read_line_dates(reading, sheet)
    _changed_by_entry(reading, sheet)
    _amended(reading, sheet)
    _unknown_status(reading, sheet)
    text = frame_of(reading, table, sheet.cells.index)
    text["file"] = same(sheet.raw.file, len(text))
    text["line"] = sheet.raw.lines
    text["source"] = sheet.source
    text["is_struck"] = is_struck(sheet)
    if table is LINES:
        text["line_id"] = text["line_id"].where(text["line_id"] != "", _line_ids(text))
    rows = pd.Series(sheet.cells.index, index=sheet.cells.index, dtype="int64")
    parts = (text, rows, no_fate())
    turned = finished(sheet, table, reading, parts, identity(sheet))
    beside = lines_of_checks(sheet, text, reading) if table is CHECKS_WIDE else []
    return replace(turned, beside=tuple(beside))


def _changed_by_entry(reading: Reading, sheet: Sheet) -> None:
    """Read a change of line or site that the entry names, where no column does."""
    cells = sheet.read("entry")
    for column, known in words.CHANGES.items():
        if not cells or column in reading.text:
            continue
        is_so = {c: words.key_of(c) in known for c in cells[0].unique()}
        changed = each_once(cells[0], is_so.__getitem__, "bool")
        if changed.any():
            blank = pd.Series("", index=changed.index, dtype="str")
            reading.text[column] = blank.mask(changed, "yes")
            reading.headers[column] = sheet.layout.columns["entry"][0]


def _amended(reading: Reading, sheet: Sheet) -> None:
    """Turn the number of a replaced row into FILE:LINE; an unknown one stays."""
    replaces = sheet.read(synonyms.REPLACES)
    ids = sheet.read(synonyms.ROW_ID)
    version = sheet.read(synonyms.VERSION)
    if ids and version and not replaces:
        before = earlier_version(ids[0], version[0], sheet.source)
        reading.text["amends"] = before
        reading.originals["amends"] = version[0]
        reading.headers["amends"] = sheet.layout.columns[synonyms.VERSION][0]
        return
    if not replaces or not ids:
        return
    known = pd.Series(sheet.source.to_numpy(), index=ids[0].to_numpy())
    known = known[~known.index.duplicated() & (known.index != "")]
    named = replaces[0].map(known.to_dict())
    reading.text["amends"] = named.where(named.notna(), replaces[0]).astype("str")
    reading.originals["amends"] = replaces[0]
    reading.headers["amends"] = sheet.layout.columns[synonyms.REPLACES][0]


def _unknown_status(reading: Reading, sheet: Sheet) -> None:
    """Say of marks that are not known that their rows were kept as in force."""
    cells = sheet.read(synonyms.STRUCK)
    if not cells:
        return
    is_known = each_once(cells[0], lambda c: bool(status_of(c, sheet.layout)), "bool")
    header = sheet.layout.columns[synonyms.STRUCK][0]
    text = f"{header} reads '{{value}}', which does not say whether the row stands: it "
    text += f"is kept as in force; say under words.{synonyms.STRUCK} in a layout"
    why = (str(RejectReason.NOT_IN_LIST), text)
    reading.fault(cells[0][~is_known & (cells[0] != "")], synonyms.STRUCK, header, why)


def _contents(sheet: Sheet) -> pd.Series:
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
