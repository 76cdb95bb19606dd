"""Nothing seen at a site, while a column that is not read says otherwise.

Such a row is no sight of a healthy site: it is kept without a look, and told of.
"""

import re
from collections.abc import Callable

import pandas as pd

from analysis.intake import modifiers, site_words, synonyms, words
from analysis.intake.sheet import Sheet
from analysis.intake.so_far import Reading
from analysis.lookup import each_once
from analysis.terms import RejectReason, SiteSign, YesNo

#: Rows by which a column is judged, different cells that a column of words has at most,
#: and the share of its cells that must be about a site.
_LOOKED_AT, _MOST_WORDS, _SHARE = 20_000, 100, 0.5


def set_contradicted_aside(reading: Reading, sheet: Sheet) -> None:
    """Set aside where nothing was seen by one column, and a sign by one not read.

    Parameters
    ----------
    reading : Reading
        What was read so far; its site_signs are changed.
    sheet : Sheet
        The table.
    """
    if "site_signs" not in reading.text:
        return
    is_none = reading.text["site_signs"] == SiteSign.NONE
    named = {header for _, header in sheet.layout.named()}
    own = reading.headers.get("site_signs", "site_signs")
    for header in sheet.cells.columns:
        if header in named or not is_none.any():
            continue
        says = _says_sign(str(header), sheet.cells[header])
        if says is None:
            continue
        is_torn = is_none & each_once(sheet.cells[header], says, "bool")
        text = (
            f"{own} says that nothing was seen, and {header}, which is not read, says "
            "'{value}'; the row is kept without either: name the column in a layout, "
            "if it is of the site"
        )
        why = (str(RejectReason.CONTRADICTION), text)
        reading.fault(sheet.cells[header][is_torn], "site_signs", str(header), why)
        blank = reading.text["site_signs"].mask(is_torn, "")
        reading.text["site_signs"] = blank
        is_none &= ~is_torn


def _says_sign(header: str, cells: pd.Series) -> Callable[[str], bool] | None:
    """Give what tells a sign in the cells of a column; None where it is of no site."""
    name = synonyms.normal(header)
    if modifiers.are_of_another(name):
        return None
    head = cells.iloc[:_LOOKED_AT]
    counts = head[head != ""].value_counts()
    if not 0 < len(counts) <= _MOST_WORDS:
        return None
    of_site = {"site_signs", "site_score"} & {
        c.column for c in synonyms.candidates(header)
    }
    tests: list[Callable[[str], bool]] = [_reads, _is_number, _is_answer]
    about = [t for t in tests if sum(counts[[t(str(c)) for c in counts.index]])
             >= _SHARE * counts.sum()]  # fmt: skip
    if not about or (about[0] is not _reads and not of_site):
        return None
    if about[0] is _reads:
        return _is_sign
    if about[0] is _is_answer:
        return lambda c: words.one_word(c, words.YES_NO) == YesNo.YES
    # A grade above the lowest is a sign, whether the scale begins with 0 or with 1.
    lowest = min(float(c) for c in map(str, counts.index) if _is_number(c))
    return lambda c: _is_number(c) and float(c) > lowest


def _reads(cell: str) -> bool:
    known, unknown = site_words.site_signs(cell, {}) if cell else ([], [])
    return bool(known) and not unknown


def _is_sign(cell: str) -> bool:
    return _reads(cell) and site_words.site_signs(cell, {})[0] != [str(SiteSign.NONE)]


def _is_number(cell: str) -> bool:
    return re.fullmatch(r"\d(?:\.\d+)?", cell) is not None


def _is_answer(cell: str) -> bool:
    return words.one_word(cell, words.YES_NO) is not None
