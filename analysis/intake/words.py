"""Words of charts to words of the closed lists: general trade words, and no more.

Every reader takes one cell and gives the closed-list word or words, or nothing where
the word is not known: an unknown word is set aside, never guessed. A word that has two
meanings (a cross; a tick under the site) is asked about, and a layout settles it. Words
are trade usage (common practice, no source).
"""

import re
import unicodedata
from collections.abc import Mapping

from analysis.intake import other_languages
from analysis.intake.invisible import visible
from analysis.terms import (
    EndReason,
    Entry,
    LineKind,
    RemovalReason,
    SiteLocation,
    SolutionAppearance,
    YesNo,
)

#: Marks of "not recorded" in any column.
NOT_RECORDED = frozenset(
    {"-", "--", "---", "\u2013", "\u2014", "\u2212", "n/a", "n.a.", "na", "nd", "n/d",
     "nr", "n/r", "not done", "not recorded", "not charted", "not documented",
     "not taken", "not checked", "not assessed", "not applicable", "missing", "blank",
     "null", "(null)", "<null>", "\\n", "."}
)  # fmt: skip

#: Why nothing was looked at: no look, and no blank either.
REASONS = frozenset(
    {"asleep", "sleeping", "off ward", "refused", "declined", "unable", "not seen",
     "unable to check", "unable to see", "unable to assess", "not visible", "not in",
     "no access", "not examined", "covered", "dressed"}
)  # fmt: skip

TICKS = ("\u2713", "\u2714", "\u2705", "\u221a", "\u2611", "\U0001f5f8", "tick")
CROSSES = ("x", "\u00d7", "\u2717", "\u2718", "\u2715", "\u2716", "\u274c", "cross")

#: A cell that repeats the one above.
DITTO = frozenset(
    {'"', "''", "\u3003", "\u201d", "\u201c", "do", "do.", "ditto", ",,", "-\"-",
     "\u2033", "\u2193", "as above", "same as above", "as before", "dito", "idem"}
)  # fmt: skip


def spread(groups: Mapping[str, str]) -> dict[str, str]:
    """Give the closed-list word of each word that is used for it.

    Parameters
    ----------
    groups : mapping of str to str
        Closed-list word to the words used for it, parted by ``|``.

    Returns
    -------
    dict of str to str
        Each word used to its closed-list word.

    Examples
    --------
    >>> spread({"yes": "y|ja"})
    {'y': 'yes', 'ja': 'yes'}
    """
    return {
        word.strip(): str(target)
        for target, words in groups.items()
        for word in words.split("|")
    }


def _with(own: dict[str, str], others: Mapping[str, str]) -> dict[str, str]:
    """Add the words of other languages, which change no word that is known."""
    return {**spread(others), **own}


YES_NO = spread({
    YesNo.YES: "yes|y|true|t|1|ok|okay|done|checked|satisfactory|intact|ja|j|si|oui|on|"
    "correct|present|in place|confirmed|" + "|".join((*TICKS, other_languages.YES)),
    YesNo.NO: "no|n|false|f|0|off|not ok|absent|nein|non|" + other_languages.NO,
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
    "running": spread({
        YesNo.YES: "running|flashing|green|infusing|working|lit|light on|"
        "light flashing|"
        "flashing green|green flashing|going|in progress|active|started|seen",
        YesNo.NO: "stopped|not running|not flashing|red|paused|halted|standby|not lit|"
        "light off|no light|not infusing|stationary|not seen",
    }),
    "lockbox_locked": spread({
        YesNo.YES: "locked|closed|secure|secured|shut|in box|in lockbox",
        YesNo.NO: "unlocked|open|not locked|not secure|insecure|not closed|left open|"
        "no box|not in box",
    }),
    "label_present": spread({
        YesNo.YES: "labelled|labeled|complete|legible|attached|on syringe",
        YesNo.NO: "unlabelled|unlabeled|missing|no label|not labelled|not present",
    }),
    "line_changed": spread({
        YesNo.YES: "changed|new line|new|renewed|replaced",
        YesNo.NO: "not changed|unchanged|same",
    }),
    "site_changed": spread({
        YesNo.YES: "changed|new site|new|resited|re-sited|replaced|rotated",
        YesNo.NO: "not changed|unchanged|same",
    }),
}  # fmt: skip

ENTRY = _with(spread({
    Entry.START: "start|started|commenced|commence|set up|setup|set-up|new syringe|"
    "begin|"
    "begun|infusion started|start check|initial|initial set up|syringe started|"
    "start of infusion|connected|new infusion|starting|infusion start|new driver|"
    "initiated|infusion initiated|initiation|loaded|syringe loaded|syringe connected|"
    "syringe set up|driver set up|infusion set up|first check",
    Entry.CHECK: "check|checked|routine|routine check|obs|observation|observations|"
    "review|"
    "reading|visit|monitoring|4 hourly check|four hourly check|4-hourly check|4hrly|"
    "regular check|inspection|round|regular|monitor|hourly check|4 hr check|"
    "4 hourly|4 hourly obs|home visit|planned visit|check only|obs only|site check|"
    "in progress|ongoing|continuing|assessed|assessment|rate verify|rate verified|"
    "infusion check|reviewed|"
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
    "syringe removed|syringe down|syringe taken down|syringe disconnected|down|"
    "driver taken down|infusion taken down|infusion finished|infusion discontinued|"
    "infusion completed|syringe finished|infusion ended|driver removed|"
    "infusion stopped|infusion complete|final",
}), other_languages.ENTRY)  # fmt: skip

LOCATION = _with(spread({
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
}), other_languages.LOCATION)  # fmt: skip

SOLUTION = _with(spread({
    SolutionAppearance.CLEAR: "clear|nad|ok|okay|colourless|colorless|"
    "clear and colourless"
    "|clear & colourless|no precipitate|no precipitation|no crystals|not cloudy|"
    "clear solution|normal|satisfactory|clean|no change|no discolouration",
    SolutionAppearance.CLOUDY: "cloudy|hazy|milky|turbid|slightly cloudy|opaque|"
    "not clear|a bit cloudy|cloudiness",
    SolutionAppearance.CRYSTALS: "crystals|crystal|precipitate|precipitation|"
    "precipitated|precipitate seen|crystals in line|crystals in syringe|particles seen|"
    "precipitate in line|precipitate in syringe|crystals present|particles|"
    "crystallised|crystallized|crystallisation|bits|"
    "crystals seen|ppt|deposit",
    SolutionAppearance.DISCOLOURED: "discoloured|discolored|yellow|brown|pink|"
    "discolouration|discoloration|coloured|dark|tinged|colour change|colour changed",
}), other_languages.SOLUTION)  # fmt: skip

END_REASON = spread({
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

REMOVAL = spread({
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

LINE_KIND = spread({
    LineKind.EXTENSION_SET: "extension set|extension_set|extension|extension line|line|"
    "giving set|tubing|infusion set|admin set|administration set|ext set|set",
    LineKind.CANNULA: "cannula|needle|site|butterfly|winged needle|catheter|"
    "subcutaneous cannula|sc cannula",
})  # fmt: skip

#: What a mark says of its row.
IN_FORCE, STRUCK = "in force", "struck out"
STATUS = spread({
    IN_FORCE: "current|active|valid|final|in force|no|n|0|false|f|live|verified|signed|"
    "complete|completed|authorised|ok",
    STRUCK: "replaced|superseded|struck|struck out|strike out|strikethrough|deleted|"
    "void|"
    "voided|cancelled|canceled|entered in error|error|in error|amended|corrected|"
    "withdrawn|yes|y|1|true|t|x|old|invalid|retracted",
})  # fmt: skip

#: Words of `STATUS` that are said of rows, and of no driver.
ROW_STATUS = frozenset(
    {"current", "final", "in force", "verified", "signed", "authorised", "replaced",
     "superseded", "struck", "struck out", "strike out", "strikethrough", "deleted",
     "void", "voided", "entered in error", "in error", "amended", "corrected",
     "withdrawn", "retracted", "valid", "invalid"}
)  # fmt: skip


def status(cell: str) -> str | None:
    """Tell whether a row stands by a mark, which may have its reason behind it.

    Parameters
    ----------
    cell : str
        As charted.

    Returns
    -------
    str or None
        `IN_FORCE` or `STRUCK`; None where the mark is not known.

    Examples
    --------
    >>> status("VOID - wrong patient"), status("final"), status("see note")
    ('struck out', 'in force', None)
    """
    if known := one_word(cell, STATUS):
        return known
    first = re.split(r"\s[-\u2013]\s|:\s|\s?\(", key_of(cell), maxsplit=1)[0]
    is_struck = first in ROW_STATUS and STATUS.get(first) == STRUCK
    return STRUCK if is_struck else None


_SIDES = re.compile(
    r"\b(?:left|right|lt|rt|l|r|lhs|rhs|both|bilateral|side|sided|of|the|outer|inner|"
    r"anterior|lateral|aspect|quadrant|luq|ruq|llq|rlq|"
    + other_languages.SIDES
    + r")\b|[()/,.]"
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
