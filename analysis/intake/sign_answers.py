"""What columns or items of single signs say of a site, read as one record of it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.intake import words
from analysis.intake.layout import SIGNS, TableLayout
from analysis.intake.sheet import Sheet
from analysis.intake.signs import WORDS, answer
from analysis.intake.so_far import Reading
from analysis.lookup import each_once
from analysis.terms import RejectReason, SiteSign


def read_signs(reading: Reading, sheet: Sheet) -> None:
    """Read the columns of signs into the one of `site_signs`, beside what it has.

    Parameters
    ----------
    reading : Reading
        What was read so far; its site_signs are added to.
    sheet : Sheet
        The table. A sign is seen where a column of it says yes. None were seen where
        two or more signs are denied, none is seen, no column of a sign is blank and
        the column of all signs is blank too.
    """
    rows = sheet.raw.cells.index.to_series()
    answers = [
        (
            sign,
            [_read(reading, sheet.layout, h, (sheet.cells[h], rows)) for h in headers],
        )
        for sign, headers in sheet.layout.signs_of.items()
    ]
    _put_signs(reading, reading, answers, rows.index)


def read_sign_items(
    reading: Reading,
    sheet: Sheet,
    cells: tuple[pd.Series, pd.Series, pd.Series],
    index: pd.Index,
) -> list[pd.DataFrame]:
    """Read the items that are signs into the column of `site_signs`.

    Parameters
    ----------
    reading : Reading
        What was read of the checks so far, on `index`; its site_signs are added to.
    sheet : Sheet
        A table of items.
    cells : tuple of (Series of str, Series of str, Series of int)
        Name and value of each item, and the check it belongs to, on the raw rows.
    index : Index
        The checks.

    Returns
    -------
    list of DataFrame
        Faults of raw rows: values that are neither yes nor no, or both at one time.
    """
    item, value, row = cells
    part, answers = Reading(), []
    for sign, names in sheet.layout.items.items():
        if sign not in SIGNS:
            continue
        mine = [(name, item == name) for name in names]
        told = [_read(part, sheet.layout, n, (value[i], row[i])) for n, i in mine]
        answers.append((sign, told))
    _put_signs(reading, part, answers, index)
    return part.faults


@dataclass(frozen=True)
class _Told:
    """What one column or item says of its sign: cells, answers, and row of each."""

    header: str
    cell: pd.Series
    answer: pd.Series
    row: pd.Series


def _read(
    reading: Reading,
    layout: TableLayout,
    header: str,
    cells: tuple[pd.Series, pd.Series],
) -> _Told:
    """Give yes, no or nothing for each cell; what is neither is a fault."""
    cell, row = cells
    own = {words.key_of(k): v for k, v in layout.words.get(WORDS, {}).items()}
    # A layout's "" is a meaning too: not recorded.
    given = each_once(cell, lambda c: own.get(words.key_of(c), answer(c) or ""))
    is_settled = each_once(cell, lambda c: words.key_of(c) in own, "bool")
    is_unread = (given == "") & (cell != "") & ~is_settled
    text = f"{header} reads '{{value}}', which is neither yes nor no; the row is kept "
    why = (str(RejectReason.NOT_IN_LIST), text + "without it")
    reading.fault(cell[is_unread], "site_signs", header, why)
    return _Told(header, cell, given, row)


def _put_signs(
    reading: Reading,
    part: Reading,
    answers: Sequence[tuple[str, Sequence[_Told]]],
    index: pd.Index,
) -> None:
    """Put the answers to all signs together, beside what site_signs has.

    Faults of single cells go to `part`, those of whole rows to `reading`.
    """
    if not answers:
        return
    blank = pd.Series("", index=index, dtype="str")
    before = _reindexed(reading.text.get("site_signs", blank), index)
    charted = _reindexed(reading.originals.get("site_signs", blank), index)
    seen, torn = blank, pd.Series(data=False, index=index)
    is_open = (before != SiteSign.NONE) & (charted != "")
    denials = pd.Series(0, index=index)
    for sign, told in answers:
        is_seen, is_denied = _agreed(part, told, index)
        seen = seen.where(~is_seen, seen + ";" + sign)
        denials += is_denied
        is_open |= ~(is_seen | is_denied)
        torn |= is_denied & (";" + before + ";").str.contains(f";{sign};", regex=False)
    is_none = (denials >= _ENOUGH) & ~is_open & (seen == "")
    seen = seen.str.strip(";")
    torn |= (before == SiteSign.NONE) & (seen != "")
    header = answers[0][1][0].header
    text = "the columns of single signs say '{value}', and another column the opposite"
    why = (str(RejectReason.CONTRADICTION), f"{text}; the row is kept without either")
    said = seen.mask(seen == "", str(SiteSign.NONE))
    reading.fault(said[torn], "site_signs", header, why)
    whole = (before.where(before != SiteSign.NONE, "") + ";" + seen).str.strip(";")
    whole = whole.mask((whole == "") & ((before == SiteSign.NONE) | is_none), _NONE)
    reading.text["site_signs"] = each_once(
        whole.mask(torn, ""), lambda cell: ";".join(dict.fromkeys(cell.split(";")))
    )
    reading.headers.setdefault("site_signs", header)


_NONE = str(SiteSign.NONE)


def _reindexed(cells: pd.Series, index: pd.Index) -> pd.Series:
    return cells.reindex(index).astype("str").fillna("")


#: One sign denied does not say that there were none.
_ENOUGH = 2


def _agreed(
    part: Reading, told: Sequence[_Told], index: pd.Index
) -> tuple[pd.Series, pd.Series]:
    """Tell in which rows a sign was seen, and where denied; both at once is neither."""
    seen, denied = np.zeros(len(index), bool), np.zeros(len(index), bool)
    for t in told:
        place = index.get_indexer(pd.Index(t.row))
        seen[place[t.answer == "yes"]] = True
        denied[place[t.answer == "no"]] = True
    torn = pd.Series(seen & denied, index=index)
    for t in told if torn.any() else ():
        text = f"{t.header} reads '{{value}}', and what stands beside it at the same "
        text += "time says the opposite; the row is kept without either"
        is_torn = torn.reindex(t.row).set_axis(t.row.index) & (t.answer != "")
        why = (str(RejectReason.CONTRADICTION), text)
        part.fault(t.cell[is_torn], "site_signs", t.header, why)
    return pd.Series(seen, index=index) & ~torn, pd.Series(denied, index=index) & ~torn
