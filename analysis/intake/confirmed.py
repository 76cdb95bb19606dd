"""Columns that several headers name alike, where the values tell which is which.

What remains falls and what was filled stays the same; two numbers of a driver that
always stand together name the same driver. Where the values do not tell, it is asked.
"""

from collections.abc import Sequence
from dataclasses import replace

import pandas as pd

from analysis.intake import numbers, synonyms
from analysis.intake.direction import Course
from analysis.intake.fitting import fits
from analysis.intake.layout import Holds
from analysis.intake.proposal import Draft, listed
from analysis.intake.synonyms import Candidate, Strength
from analysis.intake.volumes import is_canonical, steps_of

_LEFT, _DRIVER, _FILL = "volume_remaining_ml", "driver_id", "start_volume_ml"


def settle_doubts(draft: Draft) -> Draft:
    """Settle by the values which of several headers is a column.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.

    Returns
    -------
    Draft
        With what was found; what the values do not tell stays a doubt.
    """
    if draft.table.holds is not Holds.CHECKS:
        return draft
    draft = _remaining(draft)
    for column, headers in draft.doubts:
        if column == _DRIVER and _are_one_to_one(draft, headers):
            rank = {h: (draft.profiles[h].blank, _is_serial(h)) for h in headers}
            chosen = min(headers, key=rank.__getitem__)
            text = (
                f"{listed(headers)} always stand together, and either names the "
                f"driver: {chosen} was taken"
            )
            draft = _without_doubt(draft, column, chosen, text)
    return draft


def _without_doubt(draft: Draft, column: str, chosen: str, text: str) -> Draft:
    """Take a header for a column, and say why."""
    columns = {**draft.table.columns, column: (chosen,)}
    left = tuple(doubt for doubt in draft.doubts if doubt[0] != column)
    draft = replace(draft.put(columns=columns), doubts=left)
    return draft.ask(f"columns.{column}", text, blocks=False)


def _are_one_to_one(draft: Draft, headers: Sequence[str]) -> bool:
    """Tell whether columns name the same things: each value of one, one of the others.

    Rows in which one is blank tell nothing.
    """
    cells = draft.raw.cells[list(headers)]
    pairs = cells[(cells != "").all(axis=1)].drop_duplicates()
    return len(pairs) > 0 and all(pairs[h].is_unique for h in headers)


def _is_serial(header: str) -> bool:
    return bool({"serial", "sn", "asset", "barcode"} & set(_words(header)))


def _words(header: str) -> list[str]:
    return synonyms.normal(header).split()


def _remaining(draft: Draft) -> Draft:
    """Find what remains among the headers that may name it: the one that falls.

    A volume to be infused that falls is what is still to be infused.
    """
    chosen = draft.header(_LEFT)
    if chosen and is_canonical(chosen):
        return draft
    doubted = next((h for column, h in draft.doubts if column == _LEFT), [])
    if chosen and not doubted and steps_of(draft, chosen).moves():
        return draft
    taken = {h for hs in draft.table.columns.values() for h in hs} - {chosen}
    courses = {
        header: steps_of(draft, header)
        for header in draft.profiles
        if header not in taken and _may_remain(draft, header)
    }
    falling = [h for h, found in courses.items() if found.is_falling()]
    if len(falling) != 1 or falling == [chosen] or not _tells(courses, falling[0]):
        if doubted and falling == [chosen] and _tells(courses, chosen):
            return _taken(draft, chosen, courses)
        return draft
    return _taken(draft, falling[0], courses)


def _may_remain(draft: Draft, header: str) -> bool:
    found = draft.profiles[header]
    named = [c for c in synonyms.candidates(found.named) if c.strength > Strength.PART]
    columns = {c.column for c in named}
    if "vtbi" in columns:
        return fits(Candidate(_LEFT, Strength.SYNONYM), found)
    return any(c.column == _LEFT and fits(c, found) for c in named)


def _tells(courses: dict[str, Course], falling: str) -> bool:
    """Tell whether one falls where all others stay the same."""
    return all(c.is_level() for h, c in courses.items() if h != falling)


def _taken(draft: Draft, falling: str, courses: dict[str, Course]) -> Draft:
    found = courses[falling]
    text = (
        f"{falling} falls from check to check ({found.falls} down, {found.rises} up), "
        "as what is left does"
    )
    level = [h for h in courses if h != falling]
    if level:
        text += f", while {listed(level)} stay{'s' * (len(level) == 1)} the same"
    if fill := _fill_among(draft, falling, level):
        columns = {**draft.table.columns, _FILL: (fill,)}
        draft = draft.put(columns=columns)
        text += f": {fill} was taken for what the syringe held at its start"
    return _without_doubt(draft, _LEFT, falling, text)


def _fill_among(draft: Draft, falling: str, level: Sequence[str]) -> str:
    """Give the header of the fill: never below what is left, near it at the start."""
    if _FILL in draft.table.columns or len(level) != 1:
        return ""
    left, fill = _values(draft, falling), _values(draft, level[0])
    known = left.notna() & fill.notna()
    if not known.any() or "vtbi" in {c.column for c in synonyms.candidates(level[0])}:
        return ""
    is_below = (left <= fill + _STEP_ML)[known].mean() >= _MOST
    is_near = left[known].max() >= _NEAR * fill[known].median()
    is_nominal = fill[known].isin(_NOMINAL_ML).all()
    return level[0] if is_below and is_near and not is_nominal else ""


def _values(draft: Draft, header: str) -> pd.Series:
    head = draft.raw.cells[header].iloc[:_LOOKED_AT]
    read = numbers.read_plain(head, draft.table.decimal or None)["value"]
    return pd.to_numeric(read, errors="coerce")


#: Rows looked at; reading step of a scale, mL; share of rows that must agree; how near
#: the first reading is to the fill.
_LOOKED_AT, _STEP_ML, _MOST, _NEAR = 20_000, 0.5, 0.95, 0.85
#: Sizes that syringes are sold in, mL (common practice, no source): no fill is told
#: from them.
_NOMINAL_ML = frozenset({5.0, 10.0, 20.0, 30.0, 50.0, 60.0})
