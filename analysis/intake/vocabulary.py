"""The words of each column: known in general, or to be asked for."""

from analysis.intake import synonyms, words
from analysis.intake.layout import OPEN
from analysis.intake.profiles import YES_NO, Profile
from analysis.intake.proposal import Draft

KNOWN_WORDS: dict[str, dict[str, str]] = {
    "entry": words.ENTRY,
    "solution_appearance": words.SOLUTION,
    "end_reason": words.END_REASON,
    "removal_reason": words.REMOVAL,
    "kind": words.LINE_KIND,
    synonyms.STRUCK: words.STATUS,
    synonyms.WHY_CHANGED: words.REMOVAL,
}


#: Columns where a word that is not known would change which rows belong together.
_MUST_KNOW = frozenset({"entry", "kind", synonyms.STRUCK})


def read_vocabulary(draft: Draft) -> Draft:
    """Read the words of each column, and ask for those that are not known."""
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
    for cell, count in found.counts.items():
        word = str(cell)
        if (meaning := _meaning(column, word)) is not None:
            if column in _MUST_KNOW and meaning != word:
                own[word] = meaning
            continue
        is_mark = word in words.TICKS or word in words.CROSSES
        where = f"{found.header} reads {word!r} on {count} rows"
        if is_mark or column in _MUST_KNOW:
            own[word] = OPEN
            draft = draft.ask(
                f"words.{column}", f"{where}: {_ask_for(column)}", blocks=True
            )
        else:
            text = f"{where}, which is not known: it is set aside unless words give it"
            draft = draft.ask(f"words.{column}", text, blocks=False)
    if own:
        draft = draft.put(words={**draft.table.words, column: own})
    return draft


def _ask_for(column: str) -> str:
    if column in YES_NO:
        return "write yes or no (a cross can mean either)"
    if column == "site_signs":
        return "write none where it means that nothing was found, else the signs"
    choices = dict.fromkeys(KNOWN_WORDS[column].values())
    return f"write one of {', '.join(choices)}"


def _meaning(column: str, word: str) -> str | None:
    """Give what a word means in general; None where that is not known."""
    if column == "site_signs":
        known, unknown = words.site_signs(word, {})
        return None if unknown else ";".join(known)
    if column in YES_NO:
        return words.one_word(word, words.YES_NO_OF[column]) or words.one_word(
            word, words.YES_NO
        )
    if column == synonyms.WHY_CHANGED and word in words.FIRST_OF_ALL:
        return ""
    return words.one_word(word, KNOWN_WORDS[column])
