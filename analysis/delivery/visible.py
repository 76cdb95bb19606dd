"""The first reading that could have shown a finding to whoever charted it."""

from collections.abc import Sequence

import pandas as pd

from analysis.delivery.decision import Event
from analysis.delivery.noise import LIMIT_SD
from analysis.delivery.quoted import Reading


def first_visible(event: Event, rows: Sequence[Reading], began: pd.Timestamp) -> int:
    """Find the first reading that could have shown the finding.

    Parameters
    ----------
    event : Event
        The finding, with the first reading that its shape puts beyond reading error.
    rows : sequence of Reading
        The infusion's readings, as `Event` counts them.
    began : Timestamp
        Earliest onset.

    Returns
    -------
    int
        Its position. A reading from the earliest onset on that is itself beyond its
        limit, on the side of the finding and not doubtful, could have shown it too: the
        earlier of the two.
    """
    # A volume that rose has no volume of its own; what rose is behind the line.
    side = -1 if event.volume_ml > 0 else 1
    for position, row in enumerate(rows[: event.first_visible]):
        is_beyond = side * row.residual_ml > LIMIT_SD * row.sd_ml
        if is_beyond and not row.is_doubtful and row.checked_at >= began:
            return position
    return event.first_visible
