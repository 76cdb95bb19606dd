"""Words for the look of a site: signs seen, signs denied, and nothing seen."""

import re
from collections.abc import Mapping

from analysis.intake import words
from analysis.terms import SiteSign

_CONDITION = words.spread({
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
    {"none", "nad", "wnl", "ok", "okay", "clean", "fine", "good", "normal", "healthy",
    "intact", "satisfactory", "clear", "nil", "unremarkable", "settled", "resolved",
    "dry", "well"}
)  # fmt: skip
_PLAINLY_NONE = frozenset({"none", "nad", "nil", "wnl"})
_NOTHING_PHRASES = {
    "nothing abnormal detected", "no abnormality detected", "within normal limits",
    "no concerns", "no reaction", "no problems", "no signs", "no issues",
    "nothing seen", "nothing abnormal", "no abnormality", "all well", "looks well",
    "no reactions", "no change", "no abnormalities", "no signs of reaction", "no sign",
    "no complications", "no problem", "no symptoms", "no adverse signs", "no concern",
}  # fmt: skip
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
NEGATIONS = frozenset({"no", "not", "nil", "without", "non", "denies", "never"})
_PAST = frozenset(
    {"previously", "previous", "was", "were", "had", "formerly", "earlier", "recent"}
)
#: What stands between the parts of a cell.
_PARTED = re.compile(r"([;,+/&|\n]|\band\b|\bwith\b|\bbut\b)")


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
    >>> site_signs("no redness or swelling", {}), site_signs("blotchy", {})
    ((['none'], []), ([], ['blotchy']))
    """
    whole = words.key_of(cell)
    if whole in own:
        return _split(own[whole]), []
    known: list[str] = []
    unknown: list[str] = []
    is_denied = False
    pieces = _PARTED.split(whole)
    for i in range(0, len(pieces), 2):
        part = pieces[i].strip()
        if not part:
            continue
        joint = pieces[i - 1] if i else ""
        is_denied = _is_denied(part, joint, "".join(pieces[i:]), was=is_denied)
        signs = (
            _split(own[part]) if part in own else _signs_of(part, is_denied=is_denied)
        )
        known += signs or []
        unknown += [part] if signs is None else []
    different = list(dict.fromkeys(known))
    seen = [sign for sign in different if sign != SiteSign.NONE]
    if contradicts(cell, own):
        return [], [whole]
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
    parts = [part.strip() for part in _PARTED.split(words.key_of(cell))]
    signs = (
        _split(own[part]) if part in own else _signs_of(part, is_denied=False) or []
        for part in parts
        if part
    )
    is_seen = any(sign != SiteSign.NONE for found in signs for sign in found)
    return is_seen and any(part in _PLAINLY_NONE for part in parts)


def _split(text: str) -> list[str]:
    return [word.strip() for word in text.split(";") if word.strip()]


def _is_denied(part: str, joint: str, rest: str, *, was: bool) -> bool:
    """Tell whether a part is denied: by itself, or by the denial of the part before.

    "No redness, swelling or pain" denies all three, "not red, swollen" the first.
    """
    first = part.split(maxsplit=1)[0]
    if first in NEGATIONS:
        return True
    goes_on = joint == "/" or re.search(r"\b(?:or|nor)\b", rest) is not None
    return was and joint in {"/", ","} and goes_on


def _signs_of(part: str, *, is_denied: bool) -> list[str] | None:
    """Read one part; None where it holds a word that is not known."""
    if part in _NOTHING_PHRASES or part == "nil":
        return [str(SiteSign.NONE)]
    tokens = [t for t in re.split(r"[\s.()'-]+", part) if t]
    if any(token in _PAST for token in tokens):
        return [] if _all_known(tokens) else None
    rest = [t for t in tokens if t not in _FILLERS | {"or", "nor"}]
    if is_denied:
        rest = [t for t in rest if t not in NEGATIONS]
        return [str(SiteSign.NONE)] if rest and _all_known(rest) else None
    if not rest:
        return [] if tokens and set(tokens) <= {"+", "++", "+++"} else None
    if not all(t in _CONDITION or t in _NOTHING for t in rest):
        return None
    return [_CONDITION.get(t, str(SiteSign.NONE)) for t in rest]


def _all_known(tokens: list[str]) -> bool:
    plain = _FILLERS | NEGATIONS | _PAST | _NOTHING | {"or", "nor"}
    return all(t in _CONDITION or t in plain for t in tokens)
