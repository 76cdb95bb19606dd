"""Cells of one column to canonical text; what cannot be turned is a fault."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from analysis.columns import Column, Kind
from analysis.intake import numbers, site_words, synonyms, words
from analysis.intake.layout import Holds, TableLayout
from analysis.intake.mixtures import one_form
from analysis.intake.profiles import YES_NO
from analysis.intake.reading_times import read_times
from analysis.intake.sheet import Sheet
from analysis.intake.sheet_errors import SHEET_ERRORS
from analysis.intake.so_far import Reading
from analysis.intake.spelling import NAMES, one_spelling
from analysis.intake.vocabulary import KNOWN_WORDS
from analysis.lookup import each_once
from analysis.terms import RejectReason, SiteSign

_PER_DAY = 24.0


def read_numbers(
    reading: Reading, column: Column, header: str, sheet: Sheet, cell: pd.Series
) -> None:
    """Read numbers with their units and qualifiers; `cell` may be part of a table.

    Parameters
    ----------
    reading : Reading
        What was read so far; added to.
    column : Column
        The column to read.
    header : str
        The file's own header.
    sheet : Sheet
        The table, with its layout.
    cell : Series of str
        The cells; empty where nothing is charted.
    """
    said = _in_words(column.name, cell)
    read = numbers.read_plain(said, sheet.layout.decimal or None)
    value = read["value"].astype("str").fillna("")
    unit = read["unit"].astype("str").fillna("")
    if column.unit == "mL/h":
        value, no_unit = _hourly(value, unit, sheet, cell.index)
        text = f"{header} of {{value}} has no unit: per hour or per 24 h is not said"
        why = (str(RejectReason.NO_UNIT), text)
        reading.fault(cell[no_unit], column.name, header, why)
    else:
        no_unit = pd.Series(data=False, index=cell.index)
        wrong = {u for u in unit.unique() if u not in ("", column.unit)}
        value = value.mask(unit.isin(wrong), "")
    if sheet.layout.units.get(column.name) == "parts of 1":
        value = _times_hundred(value)
    other = _other_unit(column, sheet, cell).mask(unit != "", "")
    value = value.mask(other != "", "")
    for beside in other[other != ""].unique():
        why = _in_another(header, column, beside)
        reading.fault(cell[other == beside], column.name, header, why)
    bad = cell[(value == "") & (cell != "") & ~no_unit & (other == "")]
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


def _in_words(column: str, cell: pd.Series) -> pd.Series:
    """Give hours and minutes as hours, and a syringe with its size as the size."""
    form = {"planned_duration_h": numbers.hours_of, "syringe_size_ml": numbers.size_of}
    if column not in form:
        return cell
    plain = each_once(cell, form[column])
    return cell.mask(plain != "", plain)


def _in_another(header: str, column: Column, unit: str) -> tuple[str, str]:
    text = f"{header} of {column.name} reads '{{value}}' in '{unit}', and not in "
    return str(RejectReason.OTHER_UNIT), (
        f"{text}{column.unit}; the row is kept without it"
    )


def _other_unit(column: Column, sheet: Sheet, cell: pd.Series) -> pd.Series:
    """Give the unit beside each value of an item, where it is not the column's own.

    In a table with a row a check a column of units is that of the rate.
    """
    charted = sheet.read(synonyms.UNITS)
    if not charted or sheet.layout.holds is not Holds.ITEMS or not column.unit:
        return pd.Series("", index=cell.index, dtype="str")
    beside = charted[0].reindex(cell.index).astype("str").fillna("")

    def is_own(unit: str) -> bool:
        if column.unit == "mL/h":
            return bool(_time_of_rate(unit))
        return numbers.unit_of(unit) == column.unit

    return beside.mask(each_once(beside, is_own, "bool") | (cell == ""), "")


def _times_hundred(value: pd.Series) -> pd.Series:
    hundred = pd.to_numeric(value, errors="coerce") * 100
    text = pd.Series(np.char.mod("%.6g", hundred.fillna(0.0)), index=value.index)
    return text.astype("str").where(hundred.notna(), "")


def _hourly(
    value: pd.Series, unit: pd.Series, sheet: Sheet, index: pd.Index
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
    kind = each_once(unit, _time_of_rate)
    if (kind == "hour").all():
        return value, pd.Series(data=False, index=index)
    out = value.where(kind == "hour", "").where(kind != "day", each_once(value, _daily))
    return out, (kind == "") & (unit == "") & (value != "")


def _time_of_rate(unit: str) -> str:
    if synonyms.is_travel(unit):
        return ""
    if synonyms.is_per_day(unit):
        return "day"
    return "hour" if synonyms.is_per_hour(unit) else ""


def _daily(value: str) -> str:
    return f"{float(value) / _PER_DAY:.4f}" if value else ""


def read_words(
    reading: Reading, column: Column, header: str, sheet: Sheet, cell: pd.Series
) -> None:
    """Read words of a closed list; the layout's own words lead.

    Parameters
    ----------
    reading : Reading
        What was read so far; added to.
    column : Column
        The column to read.
    header : str
        The file's own header.
    sheet : Sheet
        The table, with its layout.
    cell : Series of str
        The cells; empty where nothing is charted.
    """
    own = {
        words.key_of(k): v for k, v in sheet.layout.words.get(column.name, {}).items()
    }
    found = {c: _known_words(c, column, own) for c in cell.unique() if c}
    nothing: tuple[list[str], list[str]] = ([], [])
    known = each_once(cell, lambda c: ";".join(found.get(c, nothing)[0]))
    reading.text[column.name] = known
    reading.originals[column.name] = cell
    reading.headers[column.name] = header
    if not any(unknown for _, unknown in found.values()):
        return
    bad = each_once(cell, lambda c: ";".join(found.get(c, nothing)[1]))
    has_several = column.kind is Kind.CHOICES
    torn = [c for c in found if has_several and site_words.contradicts(c, own)]
    is_torn = cell.isin(torn) & (bad != "")
    text = f"{header} reads '{{value}}', "
    kept = "the row is kept without it"
    listed = f"{text}which is none of: {', '.join(column.choices)}; {kept}"
    why = (str(RejectReason.NOT_IN_LIST), listed)
    reading.fault(bad[(bad != "") & ~is_torn], column.name, header, why)
    both = f"{text}none and something else at once; {kept}"
    why = (str(RejectReason.CONTRADICTION), both)
    reading.fault(bad[is_torn], column.name, header, why)


def _known_words(
    cell: str, column: Column, own: Mapping[str, str]
) -> tuple[list[str], list[str]]:
    """Give the words of the closed list in a cell, and what could not be read."""
    key = words.key_of(cell)
    if key in own:
        return [w.strip() for w in own[key].split(";") if w.strip()], []
    if column.kind is Kind.CHOICES:
        known, unknown = site_words.site_signs(cell, own)
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


def read_text(
    reading: Reading, column: Column, headers: Sequence[str], sheet: Sheet
) -> None:
    """Read names and codes: parts joined, lost zeros put back by the layout.

    Parameters
    ----------
    reading : Reading
        What was read so far; added to.
    column : Column
        The column to read.
    headers : sequence of str
        The file's own headers.
    sheet : Sheet
        The table, with its layout.
    """
    is_name = column.name in NAMES
    parts, wrong = [], []
    for header in headers:
        part, is_wrong = _without_formulas(sheet.cells[header], is_name=is_name)
        parts.append(_with_zeros(part, _digits_for(header, sheet.layout)))
        wrong.append(is_wrong)
    out = parts[0]
    for part in parts[1:]:
        out = out + "/" + part
    if len(parts) > 1 or wrong[0].any():
        for part, is_wrong in zip(parts, wrong, strict=True):
            out = out.where((part != "") & ~is_wrong, "")
    if column.name == "gauge":
        out = out.str.replace(r"^(\d+)\s*[gG]$", r"\1", regex=True)
    if is_name:
        out = one_spelling(out)
    reading.text[column.name] = out.astype("str")
    reading.headers[column.name] = headers[-1]
    # The other parts of an id are columns of their own.
    bad = parts[-1][wrong[-1]]
    for is_formula, what in ((False, "an error"), (True, "a formula")):
        text = f"{headers[-1]} reads '{{value}}', {what} of the sheet; the row is kept "
        why = (str(RejectReason.ERROR_VALUE), f"{text}without it")
        mine = bad.str.startswith("=") == is_formula
        reading.fault(bad[mine], column.name, headers[-1], why)


def _without_formulas(
    cells: pd.Series, *, is_name: bool
) -> tuple[pd.Series, pd.Series]:
    """Give cells, and which hold what a sheet wrote in place of a value.

    A note may begin with the sign of a formula; a name or a code that does is the same
    for rows that have nothing in common but the formula. One in quotes alone is a code
    kept from losing its zeros.
    """
    is_wrong = cells.isin(SHEET_ERRORS)
    if is_name and (is_formula := cells.str.startswith("=")).any():
        cells = cells.mask(is_formula, cells.str.replace(_QUOTED, r"\1", regex=True))
        is_wrong |= cells.str.startswith("=")
    return cells, is_wrong


def _with_zeros(cells: pd.Series, digits: int) -> pd.Series:
    if not digits:
        return cells
    is_number = cells.str.fullmatch(r"\d+")
    return cells.where(~is_number, cells.str.zfill(digits))


_QUOTED = r'^="([^"]*)"$'


def _digits_for(header: str, layout: TableLayout) -> int:
    for column, digits in layout.digits.items():
        if layout.columns.get(column, ()) == (header,) and isinstance(digits, int):
            return digits
    return 0


def read_column(reading: Reading, column: Column, sheet: Sheet) -> None:
    """Read one column of a table with a row a check, an infusion or a line.

    Parameters
    ----------
    reading : Reading
        What was read so far; added to.
    column : Column
        The column to read.
    sheet : Sheet
        The table, with its layout.
    """
    headers = sheet.layout.columns[column.name]
    match column.kind:
        case Kind.TIME | Kind.DAY_OR_TIME:
            read_times(reading, column.name, headers, sheet)
        case Kind.NUMBER:
            read_numbers(reading, column, headers[0], sheet, sheet.cells[headers[0]])
        case Kind.CHOICE | Kind.CHOICES:
            read_words(reading, column, headers[0], sheet, sheet.cells[headers[0]])
        case _:
            read_text(reading, column, headers, sheet)
            if column.name == "contents":
                told = reading.text["contents"]
                reading.text["contents"] = each_once(told, one_form)
