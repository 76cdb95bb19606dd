"""How much: the volume of each explanation, and what it holds of each drug charted."""

import math
from dataclasses import dataclass

from analysis.delivery.close import NONE, Explained
from analysis.delivery.contents import Amounts, drug_amounts, read_contents
from analysis.incident.facts.course import delivery_finding
from analysis.incident.facts.explanations import WORTH_SETTING_OUT
from analysis.incident.review import Incident


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """Volume of one explanation: mL with 95 % limits, negative: not delivered.

    ``hours`` is the volume at the rate first set; ``drugs`` is None where contents or
    volumes are not charted.
    """

    kind: str
    probability: float
    volume_ml: float
    low_ml: float
    high_ml: float
    hours: float
    drugs: Amounts | None


def amounts(incident: Incident) -> tuple[Amount, ...]:
    """Give the volume of every explanation worth setting out, and of the one listed.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    tuple of Amount
        The likeliest first; of an infusion without a delivery finding none, and none of
        a volume that rose, which has no volume of its own.
    """
    finding = delivery_finding(incident)
    if finding is None:
        return ()
    found = [
        _amount(incident, one)
        for one in incident.explained
        if one.kind != NONE
        and (one.kind == finding["kind"] or one.probability >= WORTH_SETTING_OUT)
    ]
    return tuple(one for one in found if not math.isnan(one.volume_ml))


def contents_said(incident: Incident) -> str:
    """Say whether drug amounts can be worked out from what is charted.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    str
        Empty where they can.
    """
    known = incident.known
    if not known["contents"]:
        return "The contents of the syringe are not in this export."
    if not read_contents(known["contents"]):
        return "The contents charted are not readable as drug, amount and unit."
    if math.isnan(known["made_up_to_ml"]) and math.isnan(known["start_volume_ml"]):
        return "Neither the volume made up nor the start volume is charted."
    return ""


def _amount(incident: Incident, one: Explained) -> Amount:
    event = one.event
    if event is None:
        msg = f"{one.kind}: has no event"
        raise ValueError(msg)
    rate = float(one.readings["rate_ml_h"].iloc[event.largest])
    limits = (event.volume_low_ml, event.volume_high_ml)
    return Amount(
        kind=one.kind,
        probability=one.probability,
        volume_ml=event.volume_ml,
        low_ml=event.volume_low_ml,
        high_ml=event.volume_high_ml,
        hours=abs(event.volume_ml) / rate if rate > 0 else math.nan,
        drugs=drug_amounts(event.volume_ml, limits, incident.known),
    )
