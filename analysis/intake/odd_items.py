"""A table with a row an item whose items nobody knows by name: asked item by item."""

from collections.abc import Sequence
from dataclasses import replace

from analysis.intake import synonyms
from analysis.intake.layout import OPEN, Holds
from analysis.intake.proposal import Proposal, Question
from analysis.intake.raw import RawTable
from analysis.intake.synonyms import Strength

_VOLUME = "volume_remaining_ml"

#: Items that a sentence lists.
_SHOWN = 8


def ask_items(
    raws: Sequence[RawTable], proposals: Sequence[Proposal]
) -> list[Proposal]:
    """Ask which item is the volume, where a table without one has items and values.

    Parameters
    ----------
    raws : sequence of RawTable
        All files and sheets.
    proposals : sequence of Proposal
        One a table.

    Returns
    -------
    list of Proposal
        The same; such a table is laid out by item, with the volume left open.
    """
    return [_asked(raw, p) for raw, p in zip(raws, proposals, strict=True)]


def _asked(raw: RawTable, proposal: Proposal) -> Proposal:
    table = proposal.table
    lacks = [q for q in proposal.questions if q.blocks and q.entry == "columns"]
    if table.holds is not Holds.CHECKS or not lacks or proposal.is_beside:
        return proposal
    item, value = _named(raw, synonyms.ITEM), _named(raw, synonyms.VALUE)
    if not item or not value or item == value:
        return proposal
    counts = raw.cells[item][raw.cells[item] != ""].value_counts()
    if not len(counts) or len(counts) * 2 > len(raw.cells):
        return proposal  # names of items come again and again
    shown = ", ".join(f"'{name}' ({n})" for name, n in counts.head(_SHOWN).items())
    more = f" and {len(counts) - _SHOWN} more" if len(counts) > _SHOWN else ""
    text = (
        f"{item} names an item in each row and {value} holds its value, and no item is "
        f"known as a volume: {shown}{more}; write under [table.items] which is "
        f"{_VOLUME}, and which is set_rate_ml_h, battery_pct or another column"
    )
    columns = {
        name: headers
        for name, headers in table.columns.items()
        if not {item, value} & set(headers)
    }
    columns |= {synonyms.ITEM: (item,), synonyms.VALUE: (value,)}
    table = replace(table, holds=Holds.ITEMS, columns=columns, items={_VOLUME: (OPEN,)})
    others = tuple(q for q in proposal.questions if q not in lacks)
    question = Question("items", text, blocks=True)
    unused = tuple(h for h in proposal.unused if h not in (item, value))
    return replace(proposal, table=table, questions=(question, *others), unused=unused)


def _named(raw: RawTable, column: str) -> str:
    """Give the one header that names a column by more than a part of it."""
    found = [
        header
        for header in raw.cells.columns
        if any(
            c.column == column and c.strength > Strength.CONTAINS
            for c in synonyms.candidates(header)
        )
    ]
    return found[0] if len(found) == 1 else ""
