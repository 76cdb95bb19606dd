"""The words of each column: known in general, or to be asked for."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence

from analysis.intake import site_words, synonyms, words
from analysis.intake.fitting import is_ok_header, look_asked
from analysis.intake.layout import ALLOWED, OPEN, Holds
from analysis.intake.profiles import YES_NO, Profile
from analysis.intake.proposal import Draft
from analysis.intake.synonyms import Strength
from analysis.terms import SiteSign, YesNo

KNOWN_WORDS: dict[str, dict[str, str]] = {
    "entry": words.ENTRY,
    "solution_appearance": words.SOLUTION,
    "end_reason": words.END_REASON,
    "removal_reason": words.REMOVAL,
    "kind": words.LINE_KIND,
    synonyms.STRUCK: words.STATUS,
    synonyms.WHY_CHANGED: words.REMOVAL,
}


#: Columns of which words that mean something by their header stand in a layout.
_OWN_WORDS = frozenset(
    {"entry", "kind", synonyms.STRUCK, "site_signs", "solution_appearance"}
)

#: Columns where a word that is not known would change which rows belong together.
_MUST_KNOW = frozenset({"entry", "kind", synonyms.STRUCK})


def read_vocabulary(draft: Draft) -> Draft:
    """Read the words of each column, and ask for those that are not known.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.

    Returns
    -------
    Draft
        With what was found.
    """
    sources = {**draft.table.columns, **draft.table.items}
    for column, headers in sources.items():
        reader = KNOWN_WORDS.get(column)
        if reader is None and column not in YES_NO and column != "site_signs":
            continue
        for header in headers:
            draft = _words_of(draft, column, draft.profiles[header])
    return draft


def _words_of(draft: Draft, column: str, found: Profile) -> Draft:
    own: dict[str, str] = dict(draft.table.words.get(column, {}))
    strange: dict[str, int] = {}
    for cell, count in found.counts.items():
        word = str(cell)
        meaning = own.get(word) or _meaning(column, word, found.header)
        if meaning is None:
            strange[word] = int(count)
        elif column in _OWN_WORDS and _is_own(column, meaning, word):
            own[word] = meaning
    for word, count in strange.items():
        if word not in (*words.TICKS, *words.CROSSES) and column not in _MUST_KNOW:
            continue
        own[word] = OPEN
        where = f"{found.header} reads {word!r} on {count} rows"
        draft = draft.ask(
            f"words.{column}", f"{where}: {_ask_for(column)}", blocks=True
        )
    if own:
        draft = draft.put(words={**draft.table.words, column: own})
    unread = {word: n for word, n in strange.items() if word not in own}
    if column == "site_signs" and _is_foreign(found, unread):
        draft, unread = _asked_of_site(draft, found.header, unread)
    return _with_unread(draft, column, found.header, unread)


def _is_foreign(found: Profile, unread: Mapping[str, int]) -> bool:
    """Tell whether most looks of a site are charted in words that are not known."""
    named = synonyms.candidates(found.header)
    is_own = bool(named) and named[0].strength is Strength.CANONICAL
    strange = sum(n for word, n in unread.items()
                  if not site_words.contradicts(word, {})
                  and word not in words.REASONS)  # fmt: skip
    return not is_own and strange >= _FEW and 2 * strange > found.counts.sum()


#: Cells from which on words that are not known are a habit.
_FEW = 3


def _asked_of_site(
    draft: Draft, header: str, unread: dict[str, int]
) -> tuple[Draft, dict[str, int]]:
    """Ask for the words of a site that is mostly charted in words that are not known.

    Gives what is left of them: to ask for every word there is would help nobody.
    """
    asked = list(unread)[:_MOST_CODES]
    known = draft.table.words.get("site_signs", {})
    own = {**known, **dict.fromkeys(asked, OPEN)}
    shown = ", ".join(f"{word!r} ({unread[word]})" for word in asked[:_EXAMPLES])
    text = f"{header} reads {shown}, of which none is known: {_ask_for('site_signs')}"
    draft = draft.put(words={**draft.table.words, "site_signs": own})
    rest = {word: n for word, n in unread.items() if word not in asked}
    return draft.ask("words.site_signs", text, blocks=True), rest


def own_words(draft: Draft) -> Draft:
    """Take columns that say by name what they are, though their words are not known.

    The words are then asked for: a start or a reaction that is not read would be
    missed in silence.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.

    Returns
    -------
    Draft
        With these columns.
    """
    for column, names in _PLAINLY.items():
        is_of_signs = column == "site_signs" and bool(draft.table.signs_of)
        if (
            column in draft.table.columns
            or column not in ALLOWED[draft.table.holds]
            or draft.table.holds is Holds.ITEMS
            or is_of_signs
        ):
            continue
        taken = {h for headers in draft.table.columns.values() for h in headers}
        for header, found in draft.profiles.items():
            is_named = synonyms.without_unit(synonyms.normal(header)) in names
            is_place = found.share(words.location) > _PLACES
            if header not in taken and is_named and _are_words(found) and not is_place:
                columns = {**draft.table.columns, column: (header,)}
                draft = draft.put(columns=columns)
                break
    return draft


#: Headers that name a column and no other thing, whatever stands under them.
_PLAINLY = {
    "entry": frozenset(
        {"event", "event type", "entry", "entry type", "obs type", "visit type",
         "type of check", "type of entry", "type of visit", "check type", "record type"}
    ),
    "site_signs": frozenset(
        {"site", "site condition", "site appearance", "site check", "site assessment",
         "condition of site", "skin condition", "site observation", "site signs",
         "skin at site", "appearance of site", "site inspection", "site reaction"}
    ),
}  # fmt: skip


def _are_words(found: Profile) -> bool:
    """Tell whether a column holds a few words again and again, and no numbers."""
    has_word = found.share(lambda c: re.search("[a-z]{2}", c)) >= _MOSTLY
    is_few = 0 < len(found.counts) <= _MOST_CODES
    return has_word and is_few and found.time_kind == ""


_MOSTLY, _PLACES = 0.8, 0.2


def _is_own(column: str, meaning: str, word: str) -> bool:
    """Tell whether a meaning is worth a line: signs are read as they stand."""
    if column == "site_signs":
        return word in words.YES_NO and not site_words.site_signs(word, {})[0]
    if column == "solution_appearance":
        return words.one_word(word, words.SOLUTION) is None
    return meaning != word


#: Words of one column that are shown as examples.
_EXAMPLES = 5


def _with_unread(
    draft: Draft, column: str, header: str, unread: dict[str, int]
) -> Draft:
    """Say which words are not known: they are set aside unless a layout gives them."""
    if not unread:
        return draft
    shown = [f"{word!r} ({n})" for word, n in list(unread.items())[:_EXAMPLES]]
    more = len(unread) - len(shown)
    told = ", ".join(shown) + (f" and {more} more" if more > 0 else "")
    text = f"{header} reads {told}: not known, and set aside unless words give it"
    return draft.ask(f"words.{column}", text, blocks=False)


def _ask_for(column: str) -> str:
    if column in YES_NO:
        return "write yes or no (a cross can mean either)"
    if column == "site_signs":
        return "write none where it means that nothing was found, else the signs"
    choices = dict.fromkeys(KNOWN_WORDS[column].values())
    return f"write one of {', '.join(choices)}"


def _meaning(column: str, word: str, header: str) -> str | None:
    """Give what a word means in general; None where that is not known."""
    if column == "site_signs":
        return _signs_meant(word, header)
    if column == "solution_appearance":
        return words.one_word(word, words.SOLUTION) or look_asked(word, header) or None
    if column in YES_NO:
        return words.one_word(word, words.YES_NO_OF[column]) or words.one_word(
            word, words.YES_NO
        )
    if column == synonyms.WHY_CHANGED and word in words.FIRST_OF_ALL:
        return ""
    if column == synonyms.STRUCK:
        return words.status(word)
    return words.one_word(word, KNOWN_WORDS[column])


def _signs_meant(word: str, header: str) -> str | None:
    known, unknown = site_words.site_signs(word, {})
    if not unknown:
        return ";".join(known)
    is_yes = words.YES_NO.get(word) == YesNo.YES
    return str(SiteSign.NONE) if is_yes and is_ok_header(header) else None


#: Columns whose codes a legend may explain, with the words it may use.
_CODED: dict[str, Mapping[str, str] | None] = {
    "entry": words.ENTRY,
    "solution_appearance": words.SOLUTION,
    "site_signs": None,
}


def read_codes(draft: Draft) -> Draft:
    """Read codes by the lines above the header that say what each one means.

    A column of entries whose codes nothing explains is asked for: without it nobody
    can tell a start from a check.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.

    Returns
    -------
    Draft
        With what was found.
    """
    legend = _legend(draft.raw.preamble)
    for column, known in _CODED.items():
        header = _coded(draft, column)
        if not header:
            continue
        codes = [str(c) for c in draft.profiles[header].counts.index]
        meant = {c: _explained(legend.get(c, ""), known) for c in codes}
        if all(meant.values()):
            draft = _with_codes(draft, column, header, meant)
            text = f"{header} holds codes, read by the lines above the header"
            draft = draft.ask(f"words.{column}", text, blocks=False)
        elif column == "entry":
            draft = _with_codes(draft, column, header, {})
    return draft


def _coded(draft: Draft, column: str) -> str:
    """Give a header that names a column alone, and holds a few short codes."""
    if column in draft.table.columns or column not in ALLOWED[draft.table.holds]:
        return ""
    taken = {h for headers in draft.table.columns.values() for h in headers}
    for header, found in draft.profiles.items():
        named = synonyms.candidates(header)
        is_named = any(c.column == column and c.strength > Strength.CONTAINS
                       for c in named)  # fmt: skip
        codes = [str(c) for c in found.counts.index]
        is_coded = 1 < len(codes) <= _MOST_CODES and all(len(c) <= 3 for c in codes)
        if header not in taken and is_named and is_coded:
            return header
    return ""


#: Different codes that a column of entries or looks may have.
_MOST_CODES = 12
_PAIR = re.compile(r"(?:^|[\s,;(])(\w{1,3})\s*[=:-]\s*([a-z][a-z /+-]*[a-z])", re.I)


def _legend(preamble: Sequence[Sequence[str]]) -> dict[str, str]:
    """Give what each code means by the lines above the header."""
    lines = "\n".join(cell for row in preamble for cell in row)
    found = [m for part in re.split(r"[,;\n]", lines) for m in _PAIR.finditer(part)]
    pairs = [(words.key_of(m[1]), m[2].strip()) for m in found]
    counts = Counter(code for code, _ in pairs)
    return {code: meaning for code, meaning in pairs if counts[code] == 1}


def _explained(meaning: str, known: Mapping[str, str] | None) -> str:
    if known is not None:
        return words.one_word(meaning, known) or ""
    signs, unknown = site_words.site_signs(meaning, {}) if meaning else ([], [meaning])
    return "" if unknown else ";".join(signs)


def _with_codes(
    draft: Draft, column: str, header: str, meant: Mapping[str, str]
) -> Draft:
    columns = {**draft.table.columns, column: (header,)}
    return draft.put(columns=columns, words={**draft.table.words, column: dict(meant)})
