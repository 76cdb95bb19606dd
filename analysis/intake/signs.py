"""Signs of a site charted in columns of their own: redness yes or no, and so on."""

from collections.abc import Iterable, Mapping, Sequence

import pandas as pd

from analysis.intake import synonyms, words
from analysis.intake.layout import OPEN
from analysis.intake.profiles import Profile
from analysis.intake.proposal import Draft, listed
from analysis.intake.reading import Reading
from analysis.intake.sheet import Sheet
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
        A header as the file has it.

    Returns
    -------
    str
        A `SiteSign`, or empty.

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
        The proposal so far.

    Returns
    -------
    Draft
        The same with what was found, and what must be asked.
    """
    taken = {h for headers in draft.table.columns.values() for h in headers}
    found: dict[str, list[str]] = {}
    for header, about in draft.profiles.items():
        sign = sign_of(header)
        if sign and header not in taken and _says_yes_or_no(about):
            found.setdefault(sign, []).append(header)
    filled = [h for headers in found.values() for h in headers
              if not draft.profiles[h].is_empty()]  # fmt: skip
    if not filled or set(found) <= _ANYWHERE:
        return draft
    signs_of = {sign: tuple(headers) for sign, headers in found.items()}
    return _asked(draft.put(signs_of=signs_of), filled)


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
    own = {words.key_of(k): v for k, v in layout.words.get(WORDS, {}).items()}
    empty = pd.Series("", index=sheet.cells.index, dtype="str")
    seen, denied, is_open = empty, empty.eq("none"), empty.eq("none")
    said_no = pd.Series(0, index=empty.index)
    for sign, header in _pairs(layout.signs_of):
        cell = sheet.cells[header]
        answer = _read_answers(cell, own)
        _fault_unread(reading, cell, answer, header)
        seen = seen.where(answer != "yes", seen + ";" + sign)
        said_no += (answer == "no").astype("int64")
        is_open |= (answer == "") & bool((answer != "").any())
    denied = (said_no >= 2) & ~is_open & (seen == "")
    signs = seen.str.strip(";").mask(denied, str(SiteSign.NONE))
    before = reading.text.get("site_signs", empty)
    reading.text["site_signs"] = _joined(reading, before, signs, sheet)
    header = next(h for _, h in _pairs(layout.signs_of))
    reading.headers.setdefault("site_signs", header)


def _pairs(signs_of: Mapping[str, Iterable[str]]) -> list[tuple[str, str]]:
    return [(sign, header) for sign, headers in signs_of.items() for header in headers]


def _read_answers(cell: pd.Series, own: Mapping[str, str]) -> pd.Series:
    found = {c: own.get(words.key_of(c)) or _answer(c) or "" for c in cell.unique()}
    return cell.map(found).astype("str")


def _fault_unread(
    reading: Reading, cell: pd.Series, answer: pd.Series, header: str
) -> None:
    text = f"{header} reads '{{value}}', which is neither yes nor no; the row is kept "
    why = (str(RejectReason.NOT_IN_LIST), text + "without it")
    reading.fault(cell[(answer == "") & (cell != "")], "site_signs", header, why)


def _joined(
    reading: Reading, before: pd.Series, signs: pd.Series, sheet: Sheet
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
    header = next(h for _, h in _pairs(sheet.layout.signs_of))
    reading.fault(signs[torn], "site_signs", header, why)
    return whole.mask(torn, "").map(lambda v: ";".join(dict.fromkeys(v.split(";"))))
