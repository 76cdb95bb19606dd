"""Surges: volume given beyond the line at once, within a gap or about a reading."""

from dataclasses import dataclass
from functools import cache

import numpy as np

from analysis.delivery.batches import Array, Batch
from analysis.delivery.shapes import (
    Shapes,
    Told,
    between,
    from_start,
    held_ml,
    log_weights,
)

#: Volumes given at once [mL].
SURGES_ML = (0.9, 1.3, 1.8, 2.4, 3.2, 4.2, 5.5, 7.5, 10.0, 14.0)

#: Parts of it given before the one reading that a surge is seen at.
_SEEN = (0.25, 0.5, 0.75)

#: With more readings half of it will do: the shapes grow with the readings, their cost
#: with the square, and what is seen of a surge is soon seen again.
_FEW_READINGS = 24


def surges(batch: Batch, nodes: int) -> Shapes:
    """Lay out volume given beyond the line within one gap, or about one reading.

    Parameters
    ----------
    batch : Batch
        n infusions.
    nodes : int
        Half as many volumes, between those of `SURGES_ML`.

    Returns
    -------
    Shapes
        Any gap with equal chance; weight falling with the volume.
    """
    n, k = batch.shape
    grid = _surge_grid(k, nodes // 2)
    lost = -(grid.volume_ml * grid.share).astype(batch.elapsed_h.dtype)
    s = lost.shape[1]

    def told() -> Told:
        gap = grid.gap
        hours = from_start(batch.elapsed_h)
        end = hours[:, np.minimum(gap + np.where(grid.is_about, 2, 1), k)]
        window = np.stack([hours[:, gap], end], axis=-1)
        # No more than is left by the line half-way through the window.
        middle = batch.line_at((hours[:, gap] + end) / 2)
        left = held_ml(batch) - middle
        volume = np.minimum(grid.volume_ml, np.clip(left, 0, None))
        return Told(volume, window, window)

    return Shapes(
        lost_ml=np.moveaxis(
            np.broadcast_to(lost[:, None], (k, n, lost.shape[1])), 0, 2
        ),
        log_weight=log_weights(grid.weight, n),
        other_log_ratio=np.zeros((n, s)),
        ratio=np.full(s, np.nan),
        told=told,
    )


@dataclass(frozen=True, slots=True)
class _Surges:
    """Volumes given at once: volume, share of it by each reading, gap, weight.

    A surge is in the gap before a reading, or about it: a part by the reading itself.
    """

    volume_ml: Array
    share: Array
    gap: Array
    is_about: Array
    weight: Array


@cache
def _surge_grid(k: int, volumes: int) -> _Surges:
    after = np.triu(np.ones((k, k)))
    seen = _SEEN if k <= _FEW_READINGS else _SEEN[1:2]
    about = [np.where(np.eye(k, dtype=bool), part, after)[:-1] for part in seen]
    # Row j of `after`: all readings from j on have it; of `about`: a part by j itself.
    steps = np.concatenate([after, *about])
    gap = np.r_[np.arange(k), np.tile(np.arange(k - 1), len(seen))]
    is_about = np.arange(len(gap)) >= k
    chance = np.where(is_about, 1 / len(seen), 1)
    sizes = between(SURGES_ML, volumes)
    return _Surges(
        volume_ml=np.repeat(sizes, len(steps)),
        share=np.tile(steps, (volumes, 1)).T,
        gap=np.tile(gap, volumes),
        is_about=np.tile(is_about, volumes),
        weight=np.outer(np.gradient(sizes) / sizes, chance).ravel(),
    )
