"""A table with a row an item: the items of one check put together."""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.columns import Column, Kind
from analysis.intake import dates, synonyms
from analysis.intake.alike import first_alike
from analysis.intake.cells import faults_of
from analysis.intake.reading import read_column, read_numbers, read_words
from analysis.intake.sheet import Sheet, identity, is_struck
from analysis.intake.sign_answers import read_sign_items
from analysis.intake.so_far import Reading, fault_each
from analysis.intake.turned import (
    CHECKS_WIDE,
    DUPLICATE,
    FAULT_COLUMNS,
    NO_PLACE,
    SUPERSEDED,
    Turned,
    finished,
    frame_of,
)
from analysis.terms import RejectReason
from analysis.texts import same


def turn_items(sheet: Sheet) -> Turned:
    """Put the items of one check together: same patient, infusion and time, exactly.

    Parameters
    ----------
    sheet : Sheet
        The table, with its layout.

    Returns
    -------
    Turned
        One row a check.
    """
    layout = sheet.layout
    fate = pd.Series("", index=sheet.cells.index, dtype="str")
    fate[is_struck(sheet)] = SUPERSEDED
    # Blanks between cells as charted: copies are alike in every column.
    numbers = pd.Series(first_alike([identity(sheet)]), index=fate.index)
    fate[numbers.duplicated()] = DUPLICATE
    place = Reading()
    named = ("ward", "patient_id", "infusion_id", "driver_id")
    for column in CHECKS_WIDE.columns:
        if column.name in layout.columns and column.name not in layout.items:
            read_column(place, column, sheet)
        elif column.name in sheet.given:
            place.text[column.name] = sheet.given[column.name]
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
    nameless = _nameless(sheet, item, live)
    turned = _pivoted(sheet, place, (target, group, fate))
    turned = replace(turned, faults=pd.concat([turned.faults, nameless]))
    no_place = [str(name) for name in item[target == ""].unique() if name]
    return replace(turned, unused=(*turned.unused, *no_place))


def _nameless(sheet: Sheet, item: pd.Series, live: pd.Series) -> pd.DataFrame:
    """Set values aside that stand beside no item: nobody can tell what they are."""
    value = sheet.read(synonyms.VALUE)[0]
    bad = value[live & (item == "") & (value != "")]
    if not len(bad):
        return pd.DataFrame(columns=FAULT_COLUMNS, dtype="str")
    header = sheet.layout.columns[synonyms.ITEM][0]
    reason, text = RejectReason.NOT_IN_LIST, f"no {header} says what '{{value}}' is"
    found = faults_of(bad, synonyms.ITEM, reason, f"{text}; it is not used")
    found = found.assign(
        header=header, source=sheet.source[bad.index], row=sheet.raw_text(bad.index)
    )
    # They are of no check: a row that there is may be rejected, and they with it.
    return found[FAULT_COLUMNS].set_axis(np.full(len(bad), _OF_NO_ROW))


#: So far below any row that no number of rows of other tables makes it one.
_OF_NO_ROW = -(1 << 40)


def _pivoted(
    sheet: Sheet, place: Reading, parts: tuple[pd.Series, pd.Series, pd.Series]
) -> Turned:
    target, group, fate = parts
    first = group[~group.duplicated()]
    order = pd.Series(np.arange(len(first)), index=first.to_numpy())
    row = group.map(order).astype("int64")
    index = pd.RangeIndex(len(first))
    out = Reading(headers=dict(place.headers))
    for name, cell in place.text.items():
        out.text[name] = _commonest(cell.reindex(row.index), row, index)
    out.faults += _of_first(place.faults, row, sheet)
    value = sheet.read(synonyms.VALUE)[0]
    header = sheet.layout.columns[synonyms.VALUE][0]
    for column in CHECKS_WIDE.columns:
        mine = row[target.reindex(row.index) == column.name]
        if column.name in sheet.layout.items:
            _read_item(out, column, (header, value.reindex(mine.index), mine), sheet)
    item = sheet.read(synonyms.ITEM)[0].reindex(row.index)
    found = read_sign_items(out, sheet, (item, value.reindex(row.index), row), index)
    out.faults += _of_first(found, row, sheet)
    text = frame_of(out, CHECKS_WIDE, index)
    lines = sheet.raw.lines.reindex(row.index)
    joined = lines.astype("str").groupby(row).agg(";".join)
    text["file"] = same(sheet.raw.file, len(text))
    text["line"] = lines.groupby(row).min()
    text["source"] = sheet.raw.file + ":" + joined
    text["is_struck"] = False
    # Cells of one row may be of several checks: where times stand in the header.
    by = {"source": text["source"], "check": index.astype("str").to_series(index=index)}
    return finished(sheet, CHECKS_WIDE, out, (text, row, fate[fate != ""]), by)


def _commonest(cell: pd.Series, row: pd.Series, index: pd.Index) -> pd.Series:
    """Give the commonest cell of each row, the first of equals; blanks do not count."""
    frame = pd.DataFrame({"cell": cell, "row": row})[cell != ""]
    counts = frame.groupby(["row", "cell"], sort=False).size()
    top = counts.sort_values(ascending=False, kind="stable").reset_index()
    best = top[~top["row"].duplicated()].set_index("row")["cell"]
    return best.reindex(index).astype("str").fillna("")


def _of_first(
    faults: Iterable[pd.DataFrame], row: pd.Series, sheet: Sheet
) -> list[pd.DataFrame]:
    """Move faults of raw rows to the rows they feed, each with its own source."""
    moved = []
    for found in faults:
        mine = found[found.index.isin(row.index)]
        raw = sheet.raw_text(mine.index)
        at = mine.assign(source=sheet.source.reindex(mine.index), row=raw)
        moved.append(at.set_axis(row.reindex(mine.index).to_numpy()))
    return moved


def _read_item(
    out: Reading,
    column: Column,
    cells: tuple[str, pd.Series, pd.Series],
    sheet: Sheet,
) -> None:
    """Read the values of one item into its column of the rows they belong to."""
    header, value, row = cells
    part = Reading()
    match column.kind:
        case Kind.NUMBER:
            read_numbers(part, column, header, sheet, value)
        case Kind.CHOICE | Kind.CHOICES:
            read_words(part, column, header, sheet, value)
        case Kind.TIME | Kind.DAY_OR_TIME:
            iso, why = dates.read_clock(
                value, None, order=sheet.layout.date_order or "ymd", clock="24"
            )
            part.text[column.name] = iso.astype("str").fillna("")
            bad = value[(part.text[column.name] == "") & (value != "")]
            fault_each(
                part, bad, why, (column.name, header, RejectReason.TIME_NOT_READABLE)
            )
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
    part: Reading, column: Column, cells: tuple[str, pd.Series, pd.Series]
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
    reason = (str(RejectReason.CONTRADICTION), text)
    part.fault(value[torn], column.name, header, reason)
    return known[~torn.reindex(known.index)].groupby(row).first()
