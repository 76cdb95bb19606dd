"""What may lie behind each explanation, and what would confirm it.

The readings rank kinds of delivery; what lay behind a kind they cannot tell. For each
possibility: what to look for on the chart, in the driver's own log, and at the bedside
or on what was kept. Common practice, no source.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from analysis.delivery.close import NONE
from analysis.terms import FindingKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Possible:
    """One possibility behind an explanation, and what would confirm it."""

    what: str
    chart: str
    driver_log: str
    bedside: str


_BLOCKED = Possible(
    what="blocked or kinked between syringe and skin",
    chart="an occlusion alarm; a line or cannula changed then; solution cloudy or with "
    "crystals; site hard or swollen",
    driver_log="an occlusion or high-pressure event, and the time of the restart",
    bedside="kink, clamp or crystals in the set that was kept; resistance when it is "
    "tested",
)
_PAUSED = Possible(
    what="paused or stopped on purpose, or for transport, a scan or washing",
    chart="a pause, a transfer or a procedure in the notes; a decision to hold the "
    "medicine",
    driver_log="stop and start keys pressed, with times",
    bedside="what those who were there remember",
)
_POWER = Possible(
    what="battery flat, or driver off",
    chart="battery low in the rows before; a new battery; display blank",
    driver_log="low-battery warnings; power off and on",
    bedside="the battery that was in it, measured",
)
_SEATING = Possible(
    what="syringe not seated, or plunger not engaged",
    chart="a syringe-displaced alarm; the syringe refitted",
    driver_log="a syringe-displaced or -removed event",
    bedside="clamp and plunger catch of the driver that was kept",
)
_COPIED = Possible(
    what="readings not taken, or written later from memory",
    chart="whole rows alike; times of writing; the volume read by a second person",
    driver_log="volume given at the times of the readings",
    bedside="volume left when the syringe was taken down",
)
_RATE_LOW = Possible(
    what="set to less than prescribed, or re-programmed part-way",
    chart="rate on the driver beside volume over duration; a rate change not charted",
    driver_log="rate, volume and duration as confirmed at the start, and each change",
    bedside="the settings still in the driver",
)
_SIZE = Possible(
    what="another size or make of syringe confirmed than was fitted",
    chart="size of the syringe on chart and label; barrel scale beside display",
    driver_log="syringe confirmed at the start",
    bedside="the syringe that was kept",
)
_DRIVER = Possible(
    what="the driver itself runs fast or slow",
    chart="its other infusions before and after, below",
    driver_log="faults; date of the last service",
    bedside="a delivery test of the driver by whoever services it",
)
_PRIMED = Possible(
    what="volume primed away but counted in the start volume, or start volume misread",
    chart="volume made up and start volume; who primed the line, and when",
    driver_log="volume at the start; a purge",
    bedside="length and volume of the set",
)
_FREE_FLOW = Possible(
    what="emptied by gravity: syringe not seated or cracked, or driver held high",
    chart="driver moved; syringe refitted; air seen in the line; a wet dressing",
    driver_log="a syringe-displaced or -removed event; volume by the driver's motor",
    bedside="cracks, clamp and plunger catch; where the driver hung",
)
_PUSHED = Possible(
    what="given on purpose: a bolus, a purge, a faster rate",
    chart="a dose, a purge or a rate change in the notes",
    driver_log="boost, purge or rate change, with times",
    bedside="what those who were there remember",
)
_LEAKED = Possible(
    what="lost from the syringe or its connection",
    chart="wet bed, dressing or box; connection tightened",
    driver_log="nothing: the driver cannot see it",
    bedside="connection and syringe that were kept",
)
_NEW_SYRINGE = Possible(
    what="a new or refilled syringe without a row for it",
    chart="controlled-drug register; label and time of the next syringe",
    driver_log="a new syringe confirmed",
    bedside="syringes destroyed that day",
)
_OTHER_DRIVER = Possible(
    what="the row of another driver or patient",
    chart="the other drivers of the ward at that time; a check missing there",
    driver_log="volume given at that time",
    bedside="driver numbers at the bedside",
)
_TAKEN_DOWN = Possible(
    what="taken down or at its end, with rows that do not say so",
    chart="time of the next syringe, of a decision to stop, or of death",
    driver_log="stop key; end of infusion",
    bedside="volume destroyed and witnessed",
)
_AS_SET = Possible(
    what="delivered as set",
    chart="volume left at the syringe change or destroyed at the end",
    driver_log="no stop, no alarm; volume given by the end",
    bedside="no sign of a leak; dressing dry",
)
_OUT_OF_SIGHT = Possible(
    what="delivered by the driver, yet not to the patient",
    chart="wet dressing, leak, cannula out; symptoms back; extra doses needed",
    driver_log="nothing: the driver cannot see it",
    bedside="site, connections and clothing",
)

#: Kinds of delivery and the possibilities behind each; the log does not rank these.
POSSIBLE: Mapping[str, tuple[Possible, ...]] = {
    NONE: (_AS_SET, _OUT_OF_SIGHT),
    str(FindingKind.STALL): (_BLOCKED, _PAUSED, _POWER, _SEATING, _COPIED),
    str(FindingKind.STALL_TO_END): (_BLOCKED, _TAKEN_DOWN, _PAUSED, _POWER, _COPIED),
    str(FindingKind.SLOW): (_RATE_LOW, _SIZE, _DRIVER),
    str(FindingKind.OVER_DELIVERY): (_SIZE, _PUSHED, _PRIMED, _DRIVER),
    str(FindingKind.SURGE): (_FREE_FLOW, _PUSHED, _LEAKED, _OTHER_DRIVER),
    str(FindingKind.VOLUME_RISE): (_NEW_SYRINGE, _OTHER_DRIVER),
}

#: Kinds in the words of the explanations.
WORDS: Mapping[str, str] = {
    NONE: "no delivery event",
    str(FindingKind.STALL): "stopped for a while, then moved again",
    str(FindingKind.STALL_TO_END): "stopped, not seen to move again",
    str(FindingKind.SLOW): "slow throughout",
    str(FindingKind.OVER_DELIVERY): "fast throughout",
    str(FindingKind.SURGE): "an excess given within one gap",
    str(FindingKind.VOLUME_RISE): "the volume rose",
}
