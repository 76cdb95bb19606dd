"""Signs of a site charted in columns of their own: redness yes or no, and so on."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.intake import site_words, synonyms, words
from analysis.intake.layout import OPEN, SIGNS, TableLayout
from analysis.intake.profiles import Profile
from analysis.intake.proposal import Draft, listed
from analysis.intake.reading import Reading
from analysis.intake.sheet import Sheet
from analysis.lookup import each_once
from analysis.terms import RejectReason, SiteSign

#: Where the words of these columns stand in a layout.
WORDS = "signs_of"

_BESIDE = frozenset(
    {"site", "skin", "at", "of", "the", "any", "cannula", "seen", "present", "noted",
     "round", "around", "insertion", "signs", "sign"}
)  # fmt: skip
#: Words of degree: a sign that is slight is a sign.
_DEGREES = frozenset({"slight", "mild", "moderate", "severe", "some", "+", "++", "+++"})
_NOTHING = frozenset({"none", "nil", "nad"})
#: A sign that may as well be how the patient feels, where no other has a column.
_ANYWHERE = frozenset({str(SiteSign.PAIN), str(SiteSign.OTHER), str(SiteSign.BLEEDING)})


def sign_of(header: str) -> str:
    """Give the sign that a header names; empty where it names none, or more.

    Parameters
    ----------
    header : str
        As it stands in the file.

    Returns
    -------
    str
        A sign of the closed list; empty where none or several are named.

    Examples
    --------
    >>> sign_of("Redness Y/N"), sign_of("Leaking at site?"), sign_of("Site")
    ('redness', 'leakage', '')
    """
    name = synonyms.without_unit(synonyms.normal(header))
    rest = " ".join(w for w in name.split() if w not in _BESIDE)
    if not rest or any(w in site_words.NEGATIONS for w in rest.split()):
        return ""
    known, unknown = site_words.site_signs(rest, {})
    is_one = len(known) == 1 and not unknown and known[0] != SiteSign.NONE
    return known[0] if is_one else ""


def find_signs(draft: Draft) -> Draft:
    """Find columns that each say yes or no to one sign.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.

    Returns
    -------
    Draft
        With what was found.
    """
    taken = {h for headers in draft.table.columns.values() for h in headers}
    free = {h: p for h, p in draft.profiles.items() if h not in taken}
    signs_of, filled = _signs_among(free)
    return _asked(draft.put(signs_of=signs_of), filled) if filled else draft


def find_sign_items(draft: Draft, parts: Mapping[str, Profile]) -> Draft:
    """Find items that each say yes or no to one sign.

    Parameters
    ----------
    draft : Draft
        What is known of a table of items so far, with a profile of each item.
    parts : mapping of str to Profile
        Items without a column.

    Returns
    -------
    Draft
        With the signs among its items.
    """
    signs_of, filled = _signs_among(parts)
    if not filled:
        return draft
    return _asked(draft.put(items={**draft.table.items, **signs_of}), filled)


def _signs_among(
    profiles: Mapping[str, Profile],
) -> tuple[dict[str, tuple[str, ...]], list[str]]:
    """Give each sign with its headers, and which of these are filled: none, no sign."""
    found: dict[str, tuple[str, ...]] = {}
    for header, about in profiles.items():
        sign = sign_of(header)
        if sign and _says_yes_or_no(about):
            found[sign] = (*found.get(sign, ()), header)
    filled = [
        h for headers in found.values() for h in headers if not profiles[h].is_empty()
    ]
    return ({}, []) if set(found) <= _ANYWHERE else (found, filled)


def _says_yes_or_no(found: Profile) -> bool:
    if found.is_empty():
        return True
    return found.share(lambda c: _answer(c) is not None or c in words.CROSSES) >= 0.6


def _answer(cell: str) -> str | None:
    """Give yes or no; None where a cell says neither."""
    key = words.key_of(cell)
    if key in _DEGREES:
        return "yes"
    return "no" if key in _NOTHING else words.YES_NO.get(key)


def _asked(draft: Draft, headers: Sequence[str]) -> Draft:
    """Ask for crosses, and say what a blank is where nothing ever says no."""
    said = [c for h in headers for c in draft.profiles[h].counts.index]
    crosses = sorted({str(c) for c in said if c in words.CROSSES})
    if crosses:
        text = f"{listed(headers)} hold {crosses[0]!r}: write yes (the sign was seen) "
        own = {**draft.table.words, WORDS: dict.fromkeys(crosses, OPEN)}
        draft = draft.put(words=own).ask(f"words.{WORDS}", text + "or no", blocks=True)
    elif not any(_answer(str(c)) == "no" for c in said):
        text = (
            f"{listed(headers)} never say no: a blank there is read as not recorded, "
            f'unless words.{WORDS} says "" = "no"'
        )
        draft = draft.ask(f"words.{WORDS}", text, blocks=False)
    if len(headers) == 1:
        text = f"{headers[0]} alone tells of the site: no there is not read as none"
        draft = draft.ask(WORDS, text, blocks=False)
    return draft


def read_signs(reading: Reading, sheet: Sheet) -> None:
    """Read the columns of signs into the one of `site_signs`, beside what it has.

    Parameters
    ----------
    reading : Reading
        What was read so far; its site_signs are added to.
    sheet : Sheet
        The table. A sign is seen where a column of it says yes; none were seen where
        two or more signs are denied and no sign that is ever charted is blank or seen.
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
    answer = each_once(cell, lambda c: own.get(words.key_of(c)) or _answer(c) or "")
    text = f"{header} reads '{{value}}', which is neither yes nor no; the row is kept "
    why = (str(RejectReason.NOT_IN_LIST), text + "without it")
    reading.fault(cell[(answer == "") & (cell != "")], "site_signs", header, why)
    return _Told(header, cell, answer, row)


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
    empty = pd.Series("", index=index, dtype="str")
    seen, is_open = empty, pd.Series(data=False, index=index)
    denials = pd.Series(0, index=index)
    for sign, told in answers:
        is_seen, is_denied = _agreed(part, told, index)
        seen = seen.where(~is_seen, seen + ";" + sign)
        denials += is_denied
        is_charted = any((t.answer != "").any() for t in told)
        is_open |= ~(is_seen | is_denied) & is_charted
    is_none = (denials >= _ENOUGH) & ~is_open & (seen == "")
    signs = seen.str.strip(";").mask(is_none, str(SiteSign.NONE))
    before = reading.text.get("site_signs", empty)
    before = before.reindex(index).astype("str").fillna("")
    header = answers[0][1][0].header
    reading.text["site_signs"] = _joined(reading, before, signs, header)
    reading.headers.setdefault("site_signs", header)


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


def _joined(
    reading: Reading, before: pd.Series, signs: pd.Series, header: str
) -> pd.Series:
    """Join two records of one look; nothing seen and something seen is neither."""
    none = str(SiteSign.NONE)
    torn = ((before == none) & ~signs.isin(["", none])) | (
        (signs == none) & ~before.isin(["", none])
    )
    whole = before.where((signs == "") | (signs == before), before + ";" + signs)
    whole = whole.where(before != "", signs)
    text = "the columns of single signs say '{value}', and another column the opposite"
    why = (str(RejectReason.CONTRADICTION), f"{text}; the row is kept without either")
    reading.fault(signs[torn], "site_signs", header, why)
    return whole.mask(torn, "").map(lambda v: ";".join(dict.fromkeys(v.split(";"))))
