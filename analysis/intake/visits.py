"""A change of syringe in one row, with what the old one had left and the new one holds.

A visit that takes one syringe down and sets the next one up is two entries of a log:
the end of the one and the start of the other.
"""

from dataclasses import replace

import pandas as pd

from analysis.intake import numbers, synonyms, words
from analysis.intake.layout import OPEN
from analysis.intake.proposal import Draft
from analysis.intake.raw import RawTable
from analysis.lookup import each_once
from analysis.terms import Entry

#: Words of a volume that is read before anything is done at a visit.
_OF_OLD = frozenset({"arrival", "old", "before", "residual", "residue", "taken"})
_LEFT, _FILL = "volume_remaining_ml", "start_volume_ml"


def ends_and_starts(raw: RawTable) -> RawTable:
    """Give a change of syringe two rows where both its volumes are charted in one.

    Parameters
    ----------
    raw : RawTable
        A file or a sheet.

    Returns
    -------
    RawTable
        The same without a column of what was left on arrival and one of what the new
        syringe holds. Else each row that names a change of syringe and has both is an
        end with the one and a start with the other, on the same line.
    """
    headers = [str(h) for h in raw.cells.columns]
    old = [h for h in headers if _LEFT in synonyms.named(h) and _OF_OLD & _words(h)]
    new = [h for h in headers if _FILL in synonyms.named(h) and "new" in _words(h)]
    entry = [h for h in headers if "entry" in synonyms.named(h)]
    if len(old) != 1 or len(new) != 1 or not entry:
        return raw
    is_both = (raw.cells[old[0]] != "") & (raw.cells[new[0]] != "")
    told = {h: is_both & each_once(raw.cells[h], _is_change, "bool") for h in entry}
    header, is_change = max(told.items(), key=lambda pair: int(pair[1].sum()))
    if not is_change.any():
        return raw
    first, second = raw.cells.copy(), raw.cells[is_change].copy()
    first.loc[is_change, [header, new[0]]] = [str(Entry.END), ""]
    second[[header, old[0]]] = [str(Entry.START), ""]
    both = pd.concat([first, second]).sort_index(kind="stable")
    text = (
        f"{raw.file}: {int(is_change.sum())} changes of syringe have {old[0]} and "
        f"{new[0]} in one row: each was read as an end with the one and a start with "
        "the other, on the same line."
    )
    return replace(
        raw,
        cells=both.reset_index(drop=True).astype("str"),
        lines=raw.lines.loc[both.index].reset_index(drop=True),
        notes=(*raw.notes, text),
    )


def _words(header: str) -> set[str]:
    return set(synonyms.normal(header).split())


def _is_change(cell: str) -> bool:
    return words.one_word(cell, words.ENTRY) == Entry.SYRINGE_CHANGE


def volumes_at_changes(draft: Draft) -> Draft:
    """Ask whose volume stands at changes of syringe, where it is far from a full one.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far, with the words of its entries.

    Returns
    -------
    Draft
        With what was asked.
    """
    header, entry = draft.header(_LEFT), draft.header("entry")
    own = draft.table.words.get("entry", {})
    if not header or not entry or entry not in draft.raw.cells:
        return draft
    meant = {
        c: own.get(words.key_of(c)) or words.one_word(c, words.ENTRY)
        for c in draft.raw.cells[entry].unique()
    }
    changes = [c for c, m in meant.items() if m == Entry.SYRINGE_CHANGE]
    if not changes:
        return draft
    read = numbers.read_plain(draft.raw.cells[header], None)["value"]
    volume = pd.to_numeric(read, errors="coerce")
    at = volume[draft.raw.cells[entry].isin(changes)].dropna()
    low = at[at < _LOW * volume.max()]
    if len(low) < _ENOUGH or len(low) < _MOST * len(at):
        return draft
    words_ = {**own, **{words.key_of(c): OPEN for c in changes}}
    text = (
        f"{header} is {low.iloc[0]:g} mL at '{changes[0]}' and low at {len(low)} of "
        f"{len(at)} such rows, as what the old syringe had left is: write end if it is "
        "that, so that the next syringe begins with the next row; syringe_change if it "
        "is what the new one holds"
    )
    draft = draft.put(words={**draft.table.words, "entry": words_})
    return draft.ask("words.entry", text, blocks=True)


#: A volume below this share of the largest is no new syringe; rows, and their share, in
#: which it must be so.
_LOW, _ENOUGH, _MOST = 0.4, 2, 0.6
