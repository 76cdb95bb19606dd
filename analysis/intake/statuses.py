"""A column that says whether its row stands: never left out because of its words."""

from analysis.intake import synonyms, words
from analysis.intake.layout import ALLOWED, OPEN, Holds
from analysis.intake.profiles import Profile
from analysis.intake.proposal import Draft, listed
from analysis.intake.synonyms import Strength


def row_status(draft: Draft) -> Draft:
    """Take a column named as the status of the row for that, whatever its words are.

    What its words mean is then read or asked for as of any column of that kind: a row
    struck out would else be counted among the others.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.

    Returns
    -------
    Draft
        With what was found.
    """
    if not draft.header(synonyms.STRUCK):
        draft = _with_status(draft)
    header = draft.header(synonyms.STRUCK)
    if not header:
        return draft
    said = {words.key_of(str(cell)) for cell in draft.profiles[header].counts.index}
    torn = sorted(_EITHER_WAY & said)
    if not set(torn) - {"original"} or said & _OLD_ROWS:
        return draft
    # An amended row may be the new one as well as the old one: in result statuses of
    # health records it stands; a word for old rows beside it would tell.
    known = draft.table.words.get(synonyms.STRUCK, {})
    own = {**known, **dict.fromkeys(torn, OPEN)}
    shown = listed([repr(word) for word in torn])
    text = f"{header} reads {shown}: write for each if its rows stand, {_CHOICE}"
    draft = draft.put(words={**draft.table.words, synonyms.STRUCK: own})
    return draft.ask(f"words.{synonyms.STRUCK}", text, blocks=True)


_CHOICE = f"{words.IN_FORCE}, or not, {words.STRUCK}"
_EITHER_WAY = frozenset({"original", "amended", "corrected", "modified"})
#: Words for the row that was put right, beside which an amended one is the new one.
_OLD_ROWS = frozenset(
    {"replaced", "superseded", "struck", "struck out", "current", "in force", "active"}
)


def _with_status(draft: Draft) -> Draft:
    if synonyms.STRUCK not in ALLOWED[draft.table.holds]:
        return draft
    columns = dict(draft.table.columns)
    running = draft.header("running")
    if running and _is_status(draft, running, draft.profiles[running]):
        columns.pop("running")
    used = {h for headers in columns.values() for h in headers}
    found = [
        header
        for header, about in draft.profiles.items()
        if header not in used and _is_status(draft, header, about)
    ]
    if not found:
        return draft
    draft = draft.put(columns={**columns, synonyms.STRUCK: (found[0],)})
    if len(found) == 1:
        return draft
    text = f"{listed(found)} can each say whether a row stands: name the right one"
    return draft.ask(f"columns.{synonyms.STRUCK}", text, blocks=True)


def _is_status(draft: Draft, header: str, about: Profile) -> bool:
    if about.is_empty() or not any(
        c.column == synonyms.STRUCK and c.strength > Strength.CONTAINS
        for c in synonyms.candidates(header)
    ):
        return False
    if synonyms.normal(header) != "status":
        return True
    # A status alone is as likely the driver's: a word that is said of rows tells.
    said = {words.key_of(str(cell)) for cell in about.counts.index}
    return draft.table.holds is Holds.CHECKS and bool(said & _SAID_OF_ROWS)


_SAID_OF_ROWS = words.ROW_STATUS | {"cancelled", "canceled", "wrong patient"}
