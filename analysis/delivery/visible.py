"""The first reading that could have shown a finding to whoever charted it."""

import numpy as np

from analysis.delivery.batches import Array
from analysis.delivery.noise import LIMIT_SD
from analysis.delivery.quoted import Quoted


def first_visible(read: Quoted, seen: Array, volume_ml: Array, began: Array) -> Array:
    """Find the first reading that could have shown each finding.

    Parameters
    ----------
    read : Quoted
        The readings of m infusions with a finding each.
    seen : array of int, shape (m,)
        Position of the first reading that the finding's shape puts beyond reading
        error.
    volume_ml : array of float, shape (m,)
        Delivered minus set; NaN of a volume that rose.
    began : array of datetime64, shape (m,)
        Earliest onset; NaT where it is not known.

    Returns
    -------
    array of int, shape (m,)
        Positions. A reading from the earliest onset on that is itself beyond its
        limit, on the side of the finding and not doubtful, could have shown it too: the
        earlier of the two.
    """
    # A volume that rose has no volume of its own; what rose is behind the line.
    side = read.runs.each(np.where(volume_ml > 0, -1, 1))
    shows = side * read.column("residual_ml") > LIMIT_SD * read.column("sd_ml")
    shows &= ~read.column("is_doubtful")
    shows &= read.rows["checked_at"].to_numpy("datetime64[us]") >= read.runs.each(began)
    return np.minimum(read.first(shows, seen), seen)
