"""Columns or items that each ask for one sign of a site: redness yes or no."""

from collections.abc import Mapping, Sequence

from analysis.intake import site_words, synonyms, words
from analysis.intake.layout import OPEN
from analysis.intake.profiles import Profile
from analysis.intake.proposal import Draft, listed
from analysis.terms import SiteSign, YesNo

#: Where the words of these columns stand in a layout.
WORDS = "signs_of"

#: Words that say of a sign whether it was seen. "OK" under "Redness" does not.
_SEEN = frozenset(
    {"yes", "y", "true", "t", "1", "ja", "j", "si", "oui", "present", "seen",
     "positive", "slight", "mild", "moderate", "severe", "some", "+", "++", "+++"}
)  # fmt: skip
_NOT_SEEN = frozenset(
    {"no", "n", "false", "f", "0", "nein", "non", "absent", "not seen", "negative",
     "none", "nil", "nad"}
)  # fmt: skip
#: Marks and words that mean one thing under a sign on one chart, another on the next.
_UNSURE = (
    {*words.YES_NO, *words.CROSSES, "satisfactory", "normal"}
    - _SEEN - _NOT_SEEN - {*words.TICKS}
)  # fmt: skip
#: Above 1 a digit is a grade, and then 1 is one too.
_GRADES = frozenset("23456789")

_BESIDE = frozenset(
    {"site", "skin", "at", "of", "the", "any", "cannula", "seen", "present", "noted",
     "round", "around", "insertion", "signs", "sign", "grade", "graded", "to"}
)  # fmt: skip
_OF_SITE = frozenset({"site", "skin", "cannula", "insertion"})
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
    >>> sign_of("Site pain 0-3"), sign_of("Pain 0-10")
    ('pain', '')
    """
    name = synonyms.without_unit(synonyms.normal(header))
    rest = " ".join(
        w for w in name.split() if w not in _BESIDE and not w.isdigit()
    )  # "pain 0 to 3" asks for pain
    if not rest or any(w in site_words.NEGATIONS for w in rest.split()):
        return ""
    known, unknown = site_words.site_signs(rest, {})
    if len(known) != 1 or unknown or known[0] == SiteSign.NONE:
        return ""
    is_scale = any(w.isdigit() for w in name.split())
    of_patient = known[0] == SiteSign.PAIN and not _OF_SITE & set(name.split())
    return "" if is_scale and of_patient else known[0]  # pain 0 to 10 is the patient's


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
    return found.share(lambda c: answer(c) is not None or _is_asked(c)) >= 0.6


def answer(cell: str) -> str | None:
    """Tell what a cell under a sign says of it.

    Parameters
    ----------
    cell : str
        As charted.

    Returns
    -------
    str or None
        Yes, it was seen, or no; None where the cell says neither.

    Examples
    --------
    >>> answer("mild"), answer("Absent"), answer("OK")
    ('yes', 'no', None)
    """
    key = words.key_of(cell)
    if key in _SEEN or key in words.TICKS:
        return str(YesNo.YES)
    return str(YesNo.NO) if key in _NOT_SEEN else None


def _is_ticked_off(found: Profile) -> bool:
    """Tell ticks in most rows: they say that the sign was looked for, not seen."""
    ticks = sum(int(n) for c, n in found.counts.items() if str(c) in words.TICKS)
    return ticks > found.rows / 2


def _is_asked(cell: str) -> bool:
    key = words.key_of(cell)
    return key in _UNSURE or key in _GRADES


def _asked(draft: Draft, headers: Sequence[str]) -> Draft:
    """Ask for words with two meanings; say what a blank is where nothing says no."""
    said = {str(c) for h in headers for c in draft.profiles[h].counts.index}
    open_words = sorted(c for c in said if _is_asked(c))
    if any(_is_ticked_off(draft.profiles[h]) for h in headers):
        open_words = sorted({*open_words, *(c for c in said if c in words.TICKS)})
    if any(words.key_of(c) in _GRADES for c in said):
        open_words = sorted({*open_words, *(c for c in said if c in {"0", "1"})})
    if open_words:
        shown = " and ".join(f"'{word}'" for word in open_words[:_SHOWN])
        text = f"{listed(headers)} hold {shown}: write yes (the sign was seen) or no"
        own = {**draft.table.words, WORDS: dict.fromkeys(open_words, OPEN)}
        draft = draft.put(words=own).ask(f"words.{WORDS}", text, blocks=True)
    elif not any(answer(c) == YesNo.NO for c in said):
        text = (
            f"{listed(headers)} never say no: a blank there is read as not recorded, "
            f'unless words.{WORDS} says "" = "no"'
        )
        draft = draft.ask(f"words.{WORDS}", text, blocks=False)
    if len(headers) == 1:
        text = f"{headers[0]} alone tells of the site: no there is not read as none"
        draft = draft.ask(WORDS, text, blocks=False)
    return draft


_SHOWN = 4
