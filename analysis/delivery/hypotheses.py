"""What may have happened to an infusion, as data: kinds of event, and ways of none.

To add a kind: write the function that gives its shapes, in a file beside `stops.py`,
and name it in `HYPOTHESES`. Shares are stated, not fitted: common practice, no source;
the share of all events together is estimated from the log.
"""

from collections.abc import Callable
from dataclasses import dataclass

from analysis.delivery.batches import Batch
from analysis.delivery.ratios import over_delivery, slow
from analysis.delivery.rises import rises
from analysis.delivery.shapes import Shapes
from analysis.delivery.stops import stalls, stalls_to_end
from analysis.delivery.surges import surges
from analysis.terms import FindingKind

#: Ratios of delivered to set volume that are no event.
HARMLESS_RATIOS = (0.91, 0.93, 0.95, 1.05, 1.07, 1.09)


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """A kind of event: its share among events and its shapes."""

    kind: FindingKind
    share: float
    shapes: Callable[[Batch, int], Shapes]


HYPOTHESES = (
    Hypothesis(FindingKind.STALL, 0.34, stalls),
    Hypothesis(FindingKind.STALL_TO_END, 0.18, stalls_to_end),
    Hypothesis(FindingKind.SLOW, 0.17, slow),
    Hypothesis(FindingKind.OVER_DELIVERY, 0.13, over_delivery),
    Hypothesis(FindingKind.SURGE, 0.11, surges),
    Hypothesis(FindingKind.VOLUME_RISE, 0.07, rises),
)


@dataclass(frozen=True, slots=True)
class NoEvent:
    """A way to be off the line that is no event: share, start offset, ratio."""

    share: float
    offset_ml: float = 0.0
    ratio: float = 1.0


#: Priming counted in the start volume (older sets to 1.5 mL), a late start or start-up
#: lag (5 to 75 min), and drivers within a tenth of the set rate.
NO_EVENT = (
    NoEvent(0.97),
    *(NoEvent(0.02 / 6, offset_ml=ml) for ml in (-1.5, -1.2, -0.9, -0.6, 0.5, 0.8)),
    *(NoEvent(0.01 / 6, ratio=ratio) for ratio in HARMLESS_RATIOS),
)
