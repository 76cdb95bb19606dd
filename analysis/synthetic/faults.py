"""Faulty rows and cells, and notes that look like markup or a formula."""

import itertools

from analysis.synthetic.course import Plan, Row, Truth
from analysis.terms import Entry

_AWKWARD = (
    "=2 syringes left in the drawer, counted with night nurse",
    "line < 72 h & dressing dry <seen with family>",
    '+ mouth care given; asked for "no visitors", back at 18:00',
)
_NOT_TIMES = ("", "2026-09-31T14:15", "night round")


def spoil(plan: Plan, rows: list[Row], slips: set[int]) -> list[Truth]:
    """Plant faulty rows and cells, and awkward notes; puts duplicates into `rows`.

    Parameters
    ----------
    plan : Plan
        What all steps need.
    rows : list of Row
        Rows of the log, in order.
    slips : set of int
        ``id`` of rows with a slip, which stay as they are.

    Returns
    -------
    list of Truth
        What was planted.
    """
    planting = plan.planting
    plain = [row for row in rows if _is_plain(row) and id(row) not in slips]
    counts = (
        planting.unreadable_times,
        planting.unreadable_volumes,
        planting.exact_duplicates,
        planting.awkward_notes,
    )
    order = plan.rng.permutation(len(plain))[: sum(counts)]
    chosen = iter([plain[k] for k in order])
    truths = []
    for k, row in enumerate(itertools.islice(chosen, counts[0])):
        text = _NOT_TIMES[k % len(_NOT_TIMES)]
        truth = row.cells["checked_at"]
        row.cells["checked_at"] = text
        truths.append(Truth(kind="fault_time", row=row, written=text, truth=truth))
    for row in itertools.islice(chosen, counts[1]):
        truth = row.cells["volume_remaining_ml"]
        row.cells["volume_remaining_ml"] = "see chart"
        truths.append(
            Truth(kind="fault_volume", row=row, written="see chart", truth=truth)
        )
    truths += [_duplicate(rows, row) for row in itertools.islice(chosen, counts[2])]
    for k, row in enumerate(itertools.islice(chosen, counts[3])):
        row.cells["note"] = _AWKWARD[k % len(_AWKWARD)]
        truths.append(Truth(kind="awkward_note", row=row, written=row.cells["note"]))
    return truths


def _is_plain(row: Row) -> bool:
    is_check = row.entry is Entry.CHECK and row.syringe.event is None
    return is_check and bool(row.cells["volume_remaining_ml"])


def _duplicate(rows: list[Row], row: Row) -> Truth:
    again = Row(
        syringe=row.syringe,
        minute=row.minute,
        written=row.written,
        entry=row.entry,
        place=row.place,
        cells=dict(row.cells),
    )
    rows.insert(rows.index(row) + 1, again)
    return Truth(kind="fault_duplicate", row=again)
