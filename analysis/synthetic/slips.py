"""Charting slips, planted in readings and times."""

import bisect
import itertools

from analysis.synthetic.cells import local_times, number_text
from analysis.synthetic.course import DAY, HOUR, Plan, Row, Truth
from analysis.terms import Entry

_SLIPS = (
    ("slip_copied", 0.40),
    ("slip_whole_ml", 0.27),
    ("slip_digits", 0.13),
    ("slip_decimal", 0.12),
    ("slip_time", 0.08),
)


def plant_slip(plan: Plan, rows: list[Row]) -> Truth | None:
    """Plant one charting slip in the rows of a syringe, if there is a row for it.

    Parameters
    ----------
    plan : Plan
        What all steps need.
    rows : list of Row
        Rows of one syringe, in order of time; one is changed.

    Returns
    -------
    Truth or None
        What was planted; None: nothing.
    """
    places = [
        k
        for k in range(1, len(rows))
        if rows[k].entry is Entry.CHECK
        and rows[k].cells["volume_remaining_ml"]
        and plan.first <= rows[k].written < plan.end
    ]
    if not places or not plan.chance(plan.planting.slip_share):
        return None
    place = plan.pick(places)
    row = rows[place]
    limits = list(itertools.accumulate(weight for _, weight in _SLIPS))
    draw = plan.rng.random() * limits[-1]
    kind = _SLIPS[min(bisect.bisect_right(limits, draw), len(_SLIPS) - 1)][0]
    if kind == "slip_time":
        return _time_slip(plan, row)
    honest = row.cells["volume_remaining_ml"]
    above = [r.cells["volume_remaining_ml"] for r in rows[:place]][-1]
    wrong = _slipped(plan, kind, above, honest)
    # A slip that changes nothing, or leaves the barrel, becomes a misread whole mL.
    while not wrong or wrong == honest or float(wrong) > row.syringe.size_ml:
        kind = "slip_whole_ml"
        wrong = _slipped(plan, kind, above, honest)
    row.cells["volume_remaining_ml"] = wrong
    return Truth(kind=kind, row=row, written=wrong, truth=honest)


def _slipped(plan: Plan, kind: str, above: str, honest: str) -> str:
    """Give the reading as a slip would write it; '' where that slip cannot be."""
    if kind == "slip_copied":
        return above
    if kind == "slip_digits":
        return _swapped(honest)
    if kind == "slip_decimal":
        value = float(honest)
        return number_text(value * 10 if value < 2 else value / 10)
    wrong = float(honest) + plan.pick((-5, -3, -2, -1, 1, 2, 3, 5))
    return number_text(wrong) if wrong >= 0 else ""


def _swapped(text: str) -> str:
    """Swap the first two different digits that stand side by side; '' if none do."""
    places = [k for k, sign in enumerate(text) if sign.isdigit()]
    for one, two in itertools.pairwise(places):
        if text[one] != text[two]:
            signs = list(text)
            signs[one], signs[two] = text[two], text[one]
            return "".join(signs)
    return ""


def _time_slip(plan: Plan, row: Row) -> Truth:
    """Plant a time that is off by an hour, half a day or a day."""
    honest = row.written
    shifts = [
        shift
        for shift in (-DAY, -DAY // 2, -HOUR, HOUR, DAY // 2)
        if plan.first <= honest + shift < plan.end
    ]
    row.written = honest + plan.pick(shifts)
    texts = local_times([row.written, honest])
    return Truth(kind="slip_time", row=row, written=texts[0], truth=texts[1])
