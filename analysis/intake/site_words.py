"""Words for the look of a site: signs seen, signs denied, and nothing seen."""

import re
from collections.abc import Iterator, Mapping

from analysis.intake import other_languages, words
from analysis.terms import SiteSign

_CONDITION = words.spread(other_languages.SIGNS) | words.spread({
    SiteSign.REDNESS: "red|redness|reddened|erythema|pink|pinkish|flushed|inflamed|"
    "inflammation|erythematous|pinkness",
    SiteSign.SWELLING: "swollen|swelling|puffy|puffiness|oedema|edema|oedematous|"
    "raised|"
    "swelled|boggy",
    SiteSign.HARDNESS: "hard|hardness|lump|lumpy|firm|induration|indurated|hardened|"
    "hardening|nodule|firmness|thickened",
    SiteSign.PAIN: "pain|painful|sore|tender|tenderness|soreness|hurts|stinging|"
    "discomfort|uncomfortable|aching",
    SiteSign.LEAKAGE: "leak|leaking|leakage|wet|damp|leaked|moist|weeping|leaks",
    SiteSign.BRUISING: "bruise|bruised|bruising|haematoma|hematoma|ecchymosis|bruises",
    SiteSign.BLEEDING: "bleeding|blood|bled|bloody|oozing blood|bleed|bloodstained",
    SiteSign.BLISTERING: "blister|blistered|blistering|blisters",
    SiteSign.OTHER: "other|itchy|itching|rash|pus|infected|hot|warm|broken skin|scab",
})  # fmt: skip
_NOTHING = frozenset(
    {"none", "nad", "wnl", "wdl", "ok", "okay", "clean", "fine", "good", "normal",
    "healthy", "intact", "satisfactory", "clear", "nil", "unremarkable", "settled",
    "resolved", "dry", "well"}
)  # fmt: skip
_NOTHING |= other_languages.NOTHING
_PLAINLY_NONE = frozenset({"none", "nad", "nil", "wnl", "wdl"})
_NOTHING_PHRASES = {
    "nothing abnormal detected", "no abnormality detected", "within normal limits",
    "within defined limits",
    "no concerns", "no reaction", "no problems", "no signs", "no issues",
    "nothing seen", "nothing abnormal", "no abnormality", "all well", "looks well",
    "no reactions", "no abnormalities", "no signs of reaction", "no sign",
    "nil of note", "nothing of note", "no complications", "no problem",
    "no symptoms", "no adverse signs", "no concern",
}  # fmt: skip
_NOTHING_PHRASES |= other_languages.NOTHING_PHRASES
#: Words of degree and place, which change no sign.
_FILLERS = frozenset(
    {"slight", "slightly", "sl", "slt", "mild", "mildly", "minimal", "moderate",
    "moderately", "severe", "severely", "very", "some", "bit", "a", "an", "little",
    "lot", "small", "large", "big", "under", "skin", "to", "touch", "on", "at",
    "site", "the", "around", "area", "of", "dressing", "looks", "look", "looking",
    "feels", "still", "now", "mainly", "only", "just", "is", "and", "with", "+", "++",
    "+++", "quite", "more", "less", "since", "yesterday", "today", "early", "mm",
    "cm", "insertion", "point", "surface", "patch", "localised", "local"}
)  # fmt: skip
_FILLERS |= other_languages.FILLERS
NEGATIONS = other_languages.NEGATIONS | frozenset(
    {"no", "not", "nil", "without", "non", "denies", "never"}
)
_PAST = frozenset(
    {"previously", "previous", "was", "were", "had", "formerly", "earlier", "recent"}
)
#: What ends all that was said before it: a denial goes no further. Words of degree are
#: cut short with a full stop that ends nothing.
_CLAUSES = re.compile(
    r"[;|\n()\[\]]|(?<!\bsl)(?<!\bslt)(?<!\bmod)(?<!\bsev)[.:]\s|"
    r"\s[-\u2013\u2014]\s|\bbut\b"
)
#: What stands between the parts of a clause.
_PARTED = re.compile(r"([,+/&]|\band\b|\bwith\b)")


def site_signs(cell: str, own: Mapping[str, str]) -> tuple[list[str], list[str]]:
    """Read the words for the look of a site.

    Parameters
    ----------
    cell : str
        As charted.
    own : mapping of str to str
        Words settled by a layout, as `key_of` gives them; they lead.

    Returns
    -------
    known : list of str
        Signs of the closed list; ``none`` alone where the words say nothing was seen.
    unknown : list of str
        Parts that could not be read.

    Examples
    --------
    >>> site_signs("slightly red + tender", {})
    (['redness', 'pain'], [])
    >>> site_signs("L thigh - NAD", {})
    (['none'], [])
    >>> site_signs("no redness or swelling", {}), site_signs("blotchy", {})
    ((['none'], []), ([], ['blotchy']))
    """
    whole = words.key_of(cell)
    if whole in own:
        return _split(own[whole]), []
    if contradicts(cell, own):
        return [], [whole]
    known: list[str] = []
    unknown: list[str] = []
    for clause in _CLAUSES.split(whole):
        for part, signs in _parts_of(clause, own):
            known += signs or []
            # Where the site is says nothing of its look.
            is_lost = signs is None and words.location(part) is None
            unknown += [part] if is_lost else []
    different = list(dict.fromkeys(known))
    seen = [sign for sign in different if sign != SiteSign.NONE]
    if not different and not unknown:  # words of degree or of the past alone
        return [], [whole]
    return (seen or different), unknown


def contradicts(cell: str, own: Mapping[str, str]) -> bool:
    """Tell whether a cell says that nothing was seen, and what was.

    Parameters
    ----------
    cell : str
        As charted.
    own : mapping of str to str
        Words settled by a layout, as `key_of` gives them; they lead.

    Returns
    -------
    bool
        True where one part of it is a word for none, and another a sign.

    Examples
    --------
    >>> contradicts("none; redness", {}), contradicts("none; odd", {})
    (True, False)
    """
    found = [
        (part, signs or [])
        for clause in _CLAUSES.split(words.key_of(cell))
        for part, signs in _parts_of(clause, own)
    ]
    is_seen = any(sign != SiteSign.NONE for _, signs in found for sign in signs)
    return is_seen and any(part in _PLAINLY_NONE for part, _ in found)


def _split(text: str) -> list[str]:
    return [word.strip() for word in text.split(";") if word.strip()]


def _parts_of(
    clause: str, own: Mapping[str, str]
) -> Iterator[tuple[str, list[str] | None]]:
    """Give each part of a clause with its signs; None where it cannot be read.

    "No redness, swelling or pain" denies all three. "No redness, swelling" may deny
    both or say that one is seen: its second part is not read.
    """
    pieces = _PARTED.split(clause)
    is_denied = may_be = False
    for i in range(0, len(pieces), 2):
        part, joint = pieces[i].strip(), pieces[i - 1] if i else ""
        if not part:
            continue
        is_list = re.search(r"\b(?:or|nor)\b", "".join(pieces[i:])) is not None
        goes_on = joint == "/" or (joint == "," and is_list)
        is_bare = set(_tokens(part)) <= set(_CONDITION)
        is_denied = part.split(maxsplit=1)[0] in NEGATIONS or (is_denied and goes_on)
        may_be = is_denied or (may_be and is_bare)
        if part in own:
            yield part, _split(own[part])
        elif may_be and not is_denied:
            yield part, None
        else:
            yield part, _signs_of(part, is_denied=is_denied)


def _tokens(part: str) -> list[str]:
    return [t for t in re.split(r"[\s.'-]+", part) if t and not _LENGTH.fullmatch(t)]


#: How far a sign reaches: ``redness 2cm``.
_LENGTH = re.compile(r"\d+[cm]m")


def _signs_of(part: str, *, is_denied: bool) -> list[str] | None:
    """Read one part; None where it holds a word that is not known, or says two things.

    What is denied are signs: "not dry" is no "dry", and no leak either.
    """
    if part in _NOTHING_PHRASES or part == "nil":
        return [str(SiteSign.NONE)]
    tokens = _tokens(part)
    if any(token in _PAST for token in tokens):
        return [] if _all_known(tokens) else None
    rest = [t for t in tokens if t not in _FILLERS | _OR]
    if is_denied:
        rest = [t for t in rest if t not in NEGATIONS]
        joined = 1 + sum(t in _OR for t in tokens)
        is_plain = set(rest) <= set(_CONDITION) and 0 < len(rest) <= joined
        return [str(SiteSign.NONE)] if is_plain else None
    if not rest:
        return [] if tokens and set(tokens) <= {"+", "++", "+++"} else None
    if set(rest) <= _NOTHING:
        return [str(SiteSign.NONE)]
    rest = [part] if part in _CONDITION else rest
    return [_CONDITION[t] for t in rest] if set(rest) <= set(_CONDITION) else None


_OR = frozenset({"or", "nor"})


def _all_known(tokens: list[str]) -> bool:
    plain = _FILLERS | NEGATIONS | _PAST | _NOTHING | _OR
    return all(t in _CONDITION or t in plain for t in tokens)
