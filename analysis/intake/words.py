"""Words of charts to words of the closed lists: general trade words, and no more.

Every reader takes one cell and gives the closed-list word or words, or nothing where
the word is not known: an unknown word is set aside, never guessed. A word that has two
meanings (a cross, a tick under the site) is in no list here; a layout settles it.
Words are trade usage (common practice, no source).
"""

import re
import unicodedata
from collections.abc import Mapping

from analysis.intake.invisible import visible
from analysis.terms import (
    EndReason,
    Entry,
    LineKind,
    RemovalReason,
    SiteLocation,
    SiteSign,
    SolutionAppearance,
    YesNo,
)

#: Marks of "not recorded" in any column.
NOT_RECORDED = frozenset(
    {"-", "--", "---", "\u2013", "\u2014", "\u2212", "n/a", "n.a.", "na", "nd", "n/d",
     "nr", "n/r", "not done", "not recorded", "not charted", "not documented",
     "not taken", "not checked", "not assessed", "not applicable", "missing", "blank",
     "null", "."}
)  # fmt: skip

TICKS = ("\u2713", "\u2714", "\u2705", "\u221a", "\u2611", "\U0001f5f8", "tick")
CROSSES = ("x", "\u00d7", "\u2717", "\u2718", "\u2715", "\u2716", "\u274c", "cross")

#: A cell that repeats the one above.
DITTO = frozenset(
    {'"', "''", "\u3003", "\u201d", "\u201c", "do", "do.", "ditto", ",,", "-\"-",
     "\u2033"}
)  # fmt: skip


def _spread(groups: Mapping[str, str]) -> dict[str, str]:
    return {
        word.strip(): str(target)
        for target, words in groups.items()
        for word in words.split("|")
    }


YES_NO = _spread({
    YesNo.YES: "yes|y|true|1|ok|okay|done|checked|satisfactory|intact|ja|j|si|oui|on|"
    "correct|present|in place|confirmed|" + "|".join(TICKS),
    YesNo.NO: "no|n|false|0|off|not ok|absent|nein|non",
})  # fmt: skip

#: Entries that are a check, and say that something was changed at it.
CHANGES = {
    "line_changed": frozenset(
        {"line change", "line changed", "extension changed", "extension change",
         "new line", "extension set changed", "giving set changed", "line renewed",
         "extension line changed", "giving set change"}
    ),
    "site_changed": frozenset(
        {"site change", "site changed", "resited", "re-sited", "resite", "re-site",
         "new site", "cannula changed", "cannula resited", "cannula change",
         "site rotated", "needle changed", "site resited", "cannula re-sited"}
    ),
}  # fmt: skip

#: Words that answer one question and no other.
YES_NO_OF = {
    "running": _spread({
        YesNo.YES: "running|flashing|green|infusing|working|lit|light on|"
        "light flashing|"
        "flashing green|green flashing|going|in progress|active|started|seen",
        YesNo.NO: "stopped|not running|not flashing|red|paused|halted|standby|not lit|"
        "light off|no light|not infusing|stationary|not seen",
    }),
    "lockbox_locked": _spread({
        YesNo.YES: "locked|closed|secure|secured|shut|in box|in lockbox",
        YesNo.NO: "unlocked|open|not locked|not secure|insecure|not closed|left open|"
        "no box|not in box",
    }),
    "label_present": _spread({
        YesNo.YES: "labelled|labeled|complete|legible|attached|on syringe",
        YesNo.NO: "unlabelled|unlabeled|missing|no label|not labelled|not present",
    }),
    "line_changed": _spread({
        YesNo.YES: "changed|new line|new|renewed|replaced",
        YesNo.NO: "not changed|unchanged|same",
    }),
    "site_changed": _spread({
        YesNo.YES: "changed|new site|new|resited|re-sited|replaced|rotated",
        YesNo.NO: "not changed|unchanged|same",
    }),
}  # fmt: skip

ENTRY = _spread({
    Entry.START: "start|started|commenced|commence|set up|setup|set-up|new syringe|"
    "begin|"
    "begun|infusion started|start check|initial|initial set up|syringe started|"
    "start of infusion|connected|new infusion|starting|infusion start|new driver",
    Entry.CHECK: "check|checked|routine|routine check|obs|observation|observations|"
    "review|"
    "reading|visit|monitoring|4 hourly check|four hourly check|4-hourly check|4hrly|"
    "regular check|inspection|round|regular|monitor|hourly check|4 hr check|"
    "4 hourly|4 hourly obs|home visit|planned visit|check only|obs only|site check|"
    + "|".join(sorted(set().union(*CHANGES.values()))),
    Entry.RATE_CHANGE: "rate change|rate changed|rate chg|rate_change|change of rate|"
    "rate altered|rate adjusted|new rate|rate increased|rate decreased|dose change|"
    "rate amended",
    Entry.SYRINGE_CHANGE: "syringe change|syringe changed|syringe_change|"
    "change syringe|"
    "change of syringe|syringe renewed|renewal|reload|reloaded|renewed|replenished|"
    "syringe replaced|recharge|syringe chg",
    Entry.PAUSE: "pause|paused|stopped (temporary)|temporarily stopped|temporary stop|"
    "suspended|interrupted|on hold|held|hold|stopped temporarily|stop (temporary)|"
    "temporary pause|stopped temp",
    Entry.RESUME: "resume|resumed|restart|restarted|re-started|re-start|recommenced|"
    "continued|restarted after pause|started again",
    Entry.END: "end|ended|stop|stopped|taken down|take down|takedown|finish|finished|"
    "completed|complete|discontinued|removed|disconnected|end of infusion|"
    "infusion ended|driver removed|infusion stopped|infusion complete|final",
})  # fmt: skip

LOCATION = _spread({
    SiteLocation.ABDOMEN: "abdomen|abdominal|abdo|abd|tummy|stomach|belly|"
    "abdominal wall|lower abdomen|upper abdomen|iliac fossa|flank",
    SiteLocation.UPPER_ARM: "upper arm|arm|deltoid|outer arm|upper outer arm|"
    "upper outer aspect of arm",
    SiteLocation.THIGH: "thigh|leg|upper leg|anterior thigh|outer thigh|lateral thigh",
    SiteLocation.CHEST: "chest|chest wall|anterior chest|upper chest|subclavicular|"
    "pectoral|infraclavicular|anterior chest wall|upper chest wall",
    SiteLocation.BACK: "back|scapula|scapular|upper back|shoulder blade|interscapular|"
    "subscapular",
    SiteLocation.OTHER: "other|buttock|forearm|lower leg|hip",
})  # fmt: skip

SOLUTION = _spread({
    SolutionAppearance.CLEAR: "clear|nad|ok|okay|colourless|colorless|"
    "clear and colourless"
    "|clear & colourless|no precipitate|no precipitation|no crystals|not cloudy|"
    "clear solution|normal|satisfactory|clean|no change|no discolouration",
    SolutionAppearance.CLOUDY: "cloudy|hazy|milky|turbid|slightly cloudy|opaque|"
    "not clear|a bit cloudy|cloudiness",
    SolutionAppearance.CRYSTALS: "crystals|crystal|precipitate|precipitation|"
    "precipitated|particles|crystallised|crystallized|crystallisation|bits|"
    "crystals seen|ppt|deposit",
    SolutionAppearance.DISCOLOURED: "discoloured|discolored|yellow|brown|pink|"
    "discolouration|discoloration|coloured|dark|tinged|colour change|colour changed",
})  # fmt: skip

END_REASON = _spread({
    EndReason.COMPLETED: "completed|complete|finished|syringe empty|empty|ran through|"
    "infusion complete|infusion completed|planned|routine|24 h complete|done|"
    "planned change|routine change",
    EndReason.CHANGED_EARLY: "changed early|early change|dose change|dose changed|"
    "changed|drug change|prescription changed|prescription change",
    EndReason.STOPPED: "stopped|discontinued|no longer needed|oral route|withdrawn|"
    "treatment stopped|end of treatment|stopped early|converted to oral",
    EndReason.DIED: "died|death|deceased|patient died|rip|patient death|passed away",
    EndReason.TRANSFERRED: "transferred|transfer|discharged|moved|discharge|"
    "transferred out",
    EndReason.OTHER: "other",
})  # fmt: skip

REMOVAL = _spread({
    RemovalReason.ROUTINE: "routine|due|due change|planned|rotation|routine change|"
    "72 h|"
    "scheduled|date due|expired|time up|routine rotation|change due|planned change",
    RemovalReason.REACTION: "reaction|site reaction|site red|red|redness|inflamed|"
    "inflammation|swollen|swelling|site swollen|sore|painful|pain|site sore|hard|lump|"
    "site hard|site inflamed|site painful|hardness|irritation|site reacted",
    RemovalReason.BLOCKAGE: "blockage|blocked|occlusion|occluded|kinked|line blocked|"
    "site blocked|cannula blocked",
    RemovalReason.LEAK: "leak|leaking|leakage|leaked|wet|site leaking|line leaking",
    RemovalReason.DISLODGED: "dislodged|fallen out|fell out|pulled out|came out|"
    "displaced|cannula out|out|accidentally removed|removed by patient",
    RemovalReason.END_OF_TREATMENT: "end of treatment|end_of_treatment|stopped|"
    "treatment ended|discontinued|no longer needed|treatment stopped|end of therapy",
    RemovalReason.DIED: "died|death|deceased|patient died|rip|passed away",
    RemovalReason.OTHER: "other",
})  # fmt: skip

#: Words for "the first one", which is no reason for taking one out.
FIRST_OF_ALL = frozenset({"new", "first", "initial", "started", "set up", "start"})

LINE_KIND = _spread({
    LineKind.EXTENSION_SET: "extension set|extension_set|extension|extension line|line|"
    "giving set|tubing|infusion set|admin set|administration set|ext set|set",
    LineKind.CANNULA: "cannula|needle|site|butterfly|winged needle|catheter|"
    "subcutaneous cannula|sc cannula",
})  # fmt: skip

#: What a mark says of its row.
IN_FORCE, STRUCK = "in force", "struck out"
STATUS = _spread({
    IN_FORCE: "current|active|valid|final|in force|no|n|0|false|live|verified|signed|"
    "complete|completed|authorised|ok",
    STRUCK: "replaced|superseded|struck|struck out|strike out|strikethrough|deleted|"
    "void|"
    "voided|cancelled|canceled|entered in error|error|in error|amended|corrected|"
    "withdrawn|yes|y|1|true|x|old|invalid|retracted",
})  # fmt: skip

#: Words of `STATUS` that are said of rows, and of no driver.
ROW_STATUS = frozenset(
    {"current", "final", "in force", "verified", "signed", "authorised", "replaced",
     "superseded", "struck", "struck out", "strike out", "strikethrough", "deleted",
     "void", "voided", "entered in error", "in error", "amended", "corrected",
     "withdrawn", "retracted", "valid", "invalid"}
)  # fmt: skip

_CONDITION = _spread({
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
    [
        "none",
        "nad",
        "wnl",
        "ok",
        "okay",
        "clean",
        "fine",
        "good",
        "normal",
        "healthy",
        "intact",
        "satisfactory",
        "clear",
        "nil",
        "unremarkable",
        "settled",
        "resolved",
        "dry",
        "well",
    ]
)
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
    [
        "slight",
        "slightly",
        "sl",
        "slt",
        "mild",
        "mildly",
        "minimal",
        "moderate",
        "moderately",
        "severe",
        "severely",
        "very",
        "some",
        "bit",
        "a",
        "an",
        "little",
        "lot",
        "small",
        "large",
        "big",
        "under",
        "skin",
        "to",
        "touch",
        "on",
        "at",
        "site",
        "the",
        "around",
        "area",
        "of",
        "dressing",
        "looks",
        "look",
        "looking",
        "feels",
        "still",
        "now",
        "mainly",
        "only",
        "just",
        "is",
        "and",
        "with",
        "+",
        "++",
        "+++",
        "quite",
        "more",
        "less",
        "since",
        "yesterday",
        "today",
        "early",
        "mm",
        "cm",
        "insertion",
        "point",
        "surface",
        "patch",
        "localised",
        "local",
    ]
)
NEGATIONS = frozenset({"no", "not", "nil", "without", "non", "denies", "never"})
_PAST = frozenset(
    {"previously", "previous", "was", "were", "had", "formerly", "earlier", "recent"}
)
_SIDES = re.compile(
    r"\b(?:left|right|lt|rt|l|r|lhs|rhs|both|bilateral|side|sided|of|the|outer|inner|"
    r"anterior|lateral|aspect|quadrant|luq|ruq|llq|rlq)\b|[()/,.]"
)


def key_of(cell: str) -> str:
    """Give the form in which words are compared: case, accents and blanks apart.

    Parameters
    ----------
    cell : str
        As charted.

    Returns
    -------
    str
        The form that is compared.

    Examples
    --------
    >>> key_of("  Nad. ")
    'nad'
    """
    plain = unicodedata.normalize("NFKC", visible(cell)).casefold()
    return re.sub(r"\s+", " ", plain).strip().rstrip(".!") or plain.strip()


def one_word(cell: str, known: Mapping[str, str]) -> str | None:
    """Give the closed-list word of `cell`, or None where it is not known.

    Parameters
    ----------
    cell : str
        As charted.
    known : mapping of str to str
        Closed-list word of each known form.

    Returns
    -------
    str or None
        None where it is not known.
    """
    key = key_of(cell)
    return known.get(key) or known.get(key.replace("-", " ").replace("_", " "))


def location(cell: str) -> str | None:
    """Give the place on the body, whatever side is charted with it.

    Parameters
    ----------
    cell : str
        As charted.

    Returns
    -------
    str or None
        A word of the closed list; None where it names no place.

    Examples
    --------
    >>> location("L upper arm"), location("chest wall (R)"), location("bed 4")
    ('upper arm', 'chest', None)
    """
    whole = one_word(cell, LOCATION)
    if whole:
        return whole
    bare = re.sub(r"\s+", " ", _SIDES.sub(" ", key_of(cell))).strip()
    return LOCATION.get(bare)


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
    whole = key_of(cell)
    if whole in own:
        return _split(own[whole]), []
    known: list[str] = []
    unknown: list[str] = []
    is_denied = False
    pieces = re.split(r"([;,+/&|\n]|\band\b|\bwith\b|\bbut\b)", whole)
    for i in range(0, len(pieces), 2):
        words = pieces[i].strip()
        if not words:
            continue
        joint = pieces[i - 1] if i else ""
        is_denied = _is_denied(words, joint, "".join(pieces[i:]), was=is_denied)
        signs = (
            _split(own[words])
            if words in own
            else _signs_of(words, is_denied=is_denied)
        )
        known += signs or []
        unknown += [words] if signs is None else []
    different = list(dict.fromkeys(known))
    seen = [sign for sign in different if sign != SiteSign.NONE]
    if seen and any(p.strip() in _PLAINLY_NONE for p in pieces):
        return [], [whole]  # nothing seen, and something seen
    if not different and not unknown:  # words of degree or of the past alone
        return [], [whole]
    return (seen or different), unknown


def _split(words: str) -> list[str]:
    return [word.strip() for word in words.split(";") if word.strip()]


def _is_denied(words: str, joint: str, rest: str, *, was: bool) -> bool:
    """Tell whether a part is denied: by itself, or by the denial of the part before.

    "No redness, swelling or pain" denies all three, "not red, swollen" the first.
    """
    first = words.split(maxsplit=1)[0]
    if first in NEGATIONS:
        return True
    goes_on = joint == "/" or re.search(r"\b(?:or|nor)\b", rest) is not None
    return was and joint in {"/", ","} and goes_on


def _signs_of(words: str, *, is_denied: bool) -> list[str] | None:
    """Read one part; None where it holds a word that is not known."""
    if words in _NOTHING_PHRASES or words == "nil":
        return [str(SiteSign.NONE)]
    tokens = [t for t in re.split(r"[\s.()'-]+", words) if t]
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
