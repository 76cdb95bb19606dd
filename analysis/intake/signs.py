"""Signs of a site charted in columns of their own: redness yes or no, and so on."""

from collections.abc import Iterable, Mapping, Sequence

import pandas as pd

from analysis.intake import synonyms, words
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
    if not rest or any(w in words.NEGATIONS for w in rest.split()):
        return ""
    known, unknown = words.site_signs(rest, {})
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
        The table. A sign is seen where its column says yes; none were seen where two or
        more columns say no and no column that is ever filled is blank or says yes.
    """
    layout = sheet.layout
    if not layout.signs_of:
        return
    pairs = _pairs(layout.signs_of)
    answers = []
    for sign, header in pairs:
        cell = sheet.cells[header]
        answers.append((sign, _read_answers(reading, cell, header, layout)))
    _put_signs(reading, answers, pairs[0][1])


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
    part, answers, layout = Reading(), [], sheet.layout
    pairs = _pairs({s: names for s, names in layout.items.items() if s in SIGNS})
    for sign, name in pairs:
        mine = value[item == name]
        answer = _read_answers(part, mine, name, layout)
        said = answer[answer != ""]
        different = said.groupby(row[said.index]).nunique()
        is_torn = row[mine.index].isin(different.index[different > 1])
        text = f"{name} reads '{{value}}', and the other at the same time; neither is "
        why = (str(RejectReason.NOT_IN_LIST), f"{text}used")
        part.fault(mine[is_torn & (answer != "")], "site_signs", name, why)
        said = said[~is_torn[said.index]]
        one = said.groupby(row[said.index]).first()
        answers.append((sign, one.reindex(index).astype("str").fillna("")))
    if pairs:
        _put_signs(reading, answers, pairs[0][1])
    return part.faults


def _put_signs(
    reading: Reading, answers: Sequence[tuple[str, pd.Series]], header: str
) -> None:
    """Put the answers to all signs together, beside what site_signs has."""
    index = answers[0][1].index
    empty = pd.Series("", index=index, dtype="str")
    seen, is_open = empty, pd.Series(data=False, index=index)
    said_no = pd.Series(0, index=index)
    for sign, answer in answers:
        seen = seen.where(answer != "yes", seen + ";" + sign)
        said_no += (answer == "no").astype("int64")
        is_open |= (answer == "") & bool((answer != "").any())
    denied = (said_no >= 2) & ~is_open & (seen == "")
    signs = seen.str.strip(";").mask(denied, str(SiteSign.NONE))
    before = reading.text.get("site_signs", empty)
    before = before.reindex(index).astype("str").fillna("")
    reading.text["site_signs"] = _joined(reading, before, signs, header)
    reading.headers.setdefault("site_signs", header)


def _pairs(signs_of: Mapping[str, Iterable[str]]) -> list[tuple[str, str]]:
    return [(sign, header) for sign, headers in signs_of.items() for header in headers]


def _read_answers(
    reading: Reading, cell: pd.Series, header: str, layout: TableLayout
) -> pd.Series:
    """Give yes, no or nothing for each cell; what is neither is a fault."""
    own = {words.key_of(k): v for k, v in layout.words.get(WORDS, {}).items()}
    answer = each_once(
        cell, lambda c: own.get(words.key_of(c)) or _answer(c) or "", "str"
    )
    text = f"{header} reads '{{value}}', which is neither yes nor no; the row is kept "
    why = (str(RejectReason.NOT_IN_LIST), text + "without it")
    reading.fault(cell[(answer == "") & (cell != "")], "site_signs", header, why)
    return answer


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
    text = "a column of one sign and another column contradict each other; the row is "
    why = (str(RejectReason.NOT_IN_LIST), text + "kept without either")
    reading.fault(signs[torn], "site_signs", header, why)
    return whole.mask(torn, "").map(lambda v: ";".join(dict.fromkeys(v.split(";"))))
