"""One number with and without zeros before it, as a spreadsheet leaves some of them."""

from collections import Counter

import pandas as pd

from analysis.intake.layout import OPEN
from analysis.intake.proposal import Draft

_NUMBERS = ("patient_id", "infusion_id", "driver_id")


def lost_zeros(draft: Draft) -> Draft:
    """Ask where a column writes the same number with leading zeros and without.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.

    Returns
    -------
    Draft
        With what was found.
    """
    for column in _NUMBERS:
        header = draft.header(column)
        if header and (found := _both_ways(_padded_or_bare(draft, header))):
            bare, padded, count = found
            text = (
                f"{header} reads {bare} and {padded} ({count} such numbers), which may "
                f"be one: write {len(padded)} if zeros were lost, 0 if they are "
                "different"
            )
            digits = {**draft.table.digits, column: OPEN}
            draft = draft.put(digits=digits).ask(f"digits.{column}", text, blocks=True)
    return draft


def _padded_or_bare(draft: Draft, header: str) -> list[str]:
    """Give the numbers of a column; none where not one of them begins with a zero."""
    codes = pd.Series(draft.profiles[header].counts.index, dtype="str")
    is_padded = codes.str.fullmatch("0[0-9]+")
    return list(codes[codes.str.isdigit()]) if is_padded.any() else []


def _both_ways(codes: list[str]) -> tuple[str, str, int] | None:
    """Give a number written both ways, and how many are; None where none is."""
    numbers = [code for code in codes if code.isascii() and code.isdigit()]
    padded = {c.lstrip("0"): c for c in numbers if c.startswith("0") and c.strip("0")}
    both = [c for c in numbers if c in padded]
    if not both:
        return None
    width = Counter(len(padded[c]) for c in both).most_common(1)[0][0]
    first = next(c for c in both if len(padded[c]) == width)
    return first, padded[first], len(both)
