"""Contents of a syringe as charted, and what a volume of it holds of each drug.

Arithmetic on what the chart says was made up: the share of the syringe's volume times
the amount charted. It says nothing of what reached the patient, and advises no dose.
"""

import math
import re
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any

#: ``drug amount unit``: a name may have several words, a number a decimal comma.
_PART = re.compile(
    r"(?P<drug>[^\d\s]\S*(?:\s+[^\d\s]\S*)*)\s+(?P<amount>\d+(?:[.,]\d+)?)\s*(?P<unit>[^\W\d_][^\s;\d]*)"
)

UNREADABLE = "The contents charted are not readable as drug, amount and unit."


@dataclass(frozen=True, slots=True)
class Drug:
    """A drug of a syringe, as charted."""

    name: str
    amount: float
    unit: str


def read_contents(text: str) -> tuple[Drug, ...] | None:
    """Read ``drug amount unit; drug amount unit``.

    Parameters
    ----------
    text : str
        As charted.

    Returns
    -------
    tuple of Drug or None
        Empty where nothing is charted; None where any part cannot be read, since half
        a syringe's contents would be taken for all of them.

    Examples
    --------
    >>> read_contents("morphine 20 mg; midazolam 7,5 mg")[1]
    Drug(name='midazolam', amount=7.5, unit='mg')
    """
    parts = [part.strip() for part in text.split(";") if part.strip()]
    found = [_PART.fullmatch(part) for part in parts]
    drugs = tuple(
        Drug(m["drug"], float(m["amount"].replace(",", ".")), m["unit"])
        for m in found
        if m is not None
    )
    return drugs if len(drugs) == len(parts) else None


def amounts_in_words(
    volume_ml: float, limits_ml: tuple[float, float], infusion: Mapping[Hashable, Any]
) -> str:
    """Say how much of each drug charted a volume of the syringe holds.

    Parameters
    ----------
    volume_ml : float
        Delivered minus set; the sign plays no part here.
    limits_ml : (float, float)
        Its 95 % limits; an end on the other side of 0 counts as 0.
    infusion : mapping
        contents, and made_up_to_ml, else start_volume_ml: what they were made up to.

    Returns
    -------
    str
        One sentence with a space before it; empty where no contents or no volume of
        the syringe is charted.
    """
    contents = infusion.get("contents", "")
    if math.isnan(volume_ml) or not isinstance(contents, str) or not contents.strip():
        return ""
    drugs = read_contents(contents)
    if drugs is None:
        return f" {UNREADABLE}"
    made_up, start = (
        float(infusion.get(name, float("nan")))
        for name in ("made_up_to_ml", "start_volume_ml")
    )
    whole = made_up if made_up > 0 else start
    if not whole > 0:
        return ""
    basis = "made up to" if made_up > 0 else "taken as made up to the start volume of"
    side = -1 if volume_ml < 0 else 1
    low, high = sorted(max(side * limit, 0.0) for limit in limits_ml)
    said = [
        f"{drug.name} {_digits(drug.amount * abs(volume_ml) / whole)} {drug.unit} "
        f"(95 % interval {_digits(drug.amount * low / whole)} to "
        f"{_digits(drug.amount * high / whole)}, of {drug.amount:g} {drug.unit})"
        for drug in drugs
    ]
    return f" That volume as charted, {basis} {whole:g} mL: {', '.join(said)}."


def _digits(amount: float) -> str:
    """Write two significant digits, never as a power of ten."""
    rounded = float(f"{amount:.2g}")
    return f"{rounded:.0f}" if rounded >= 10 else f"{rounded:g}"
