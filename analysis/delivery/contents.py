"""Contents of a syringe as charted, and what a volume of it holds of each drug.

Arithmetic on what the chart says was made up: the share of the syringe's volume times
the amount charted. It says nothing of what reached the patient, and advises no dose.
"""

import math
import re
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from functools import lru_cache
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


@lru_cache(maxsize=1024)
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Amounts:
    """What a volume of a syringe holds of each drug, as charted.

    Attributes
    ----------
    drugs : tuple of (Drug, float, float, float)
        Each drug, and the amount of it with lower and upper limit, in the drug's unit.
    whole_ml : float
        What the contents are taken as made up to.
    is_made_up : bool
        That volume is charted as made up to; False: the start volume stands in.
    """

    drugs: tuple[tuple[Drug, float, float, float], ...]
    whole_ml: float
    is_made_up: bool


def drug_amounts(
    volume_ml: float, limits_ml: tuple[float, float], infusion: Mapping[Hashable, Any]
) -> Amounts | None:
    """Give how much of each drug charted a volume of the syringe holds.

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
    Amounts or None
        None where contents or volumes are not charted or not readable.
    """
    contents = infusion.get("contents", "")
    drugs = read_contents(contents) if isinstance(contents, str) else None
    made_up, start = (
        float(infusion.get(name, float("nan")))
        for name in ("made_up_to_ml", "start_volume_ml")
    )
    whole = made_up if made_up > 0 else start
    if not drugs or math.isnan(volume_ml) or not whole > 0:
        return None
    side = -1 if volume_ml < 0 else 1
    low, high = sorted(max(side * limit, 0.0) for limit in limits_ml)
    return Amounts(
        drugs=tuple(
            (
                drug,
                drug.amount * abs(volume_ml) / whole,
                drug.amount * low / whole,
                drug.amount * high / whole,
            )
            for drug in drugs
        ),
        whole_ml=whole,
        is_made_up=made_up > 0,
    )


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
    if read_contents(contents) is None:
        return f" {UNREADABLE}"
    found = drug_amounts(volume_ml, limits_ml, infusion)
    if found is None:
        return ""
    made_up = "made up to", "taken as made up to the start volume of"
    basis = made_up[0 if found.is_made_up else 1]
    said = [
        f"{drug.name} {digits(amount)} {drug.unit} (95 % interval {digits(low)} to "
        f"{digits(high)}, of {drug.amount:g} {drug.unit})"
        for drug, amount, low, high in found.drugs
    ]
    return f" That volume as charted, {basis} {found.whole_ml:g} mL: {', '.join(said)}."


def digits(amount: float) -> str:
    """Write two significant digits, never as a power of ten.

    Parameters
    ----------
    amount : float
        Not negative.

    Returns
    -------
    str
        The number alone.

    Examples
    --------
    >>> digits(0.01234), digits(123.4)
    ('0.012', '120')
    """
    text = f"{amount:.2g}"
    return f"{float(text):.0f}" if "e+" in text else text
