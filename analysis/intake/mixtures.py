"""Drugs of one syringe in one cell, as charts write them, to one form of contents."""

import re

#: A drug, its amount and the unit of that: ``morphine sulfate 10 mg``.
_DRUG = re.compile(
    r"[^\W\d_][^\d;+&\n]*?\s+\d+(?:[.,]\d+)?\s*(?:mg|mcg|g|[uµμ]g|micrograms?|units?|mmol)",
    re.I,
)
_JOINT = re.compile(r"\s*(?:[;+&\n]|\band\b|,(?=\s*[^\W\d_]{3,}))\s*", re.I)


def one_form(cell: str) -> str:
    """Give drugs that are joined by other marks as ``drug amount unit; ...``.

    Parameters
    ----------
    cell : str
        As charted.

    Returns
    -------
    str
        The cell itself where any part of it is not a drug with its amount and unit.

    Examples
    --------
    >>> one_form("morphine 10mg + midazolam 5 mg")
    'morphine 10mg; midazolam 5 mg'
    >>> one_form("morphine + midazolam"), one_form("morphine 10 mg")
    ('morphine + midazolam', 'morphine 10 mg')
    """
    parts = _JOINT.split(cell.strip())
    is_so = len(parts) > 1 and all(_DRUG.fullmatch(part) for part in parts)
    return "; ".join(parts) if is_so else cell
