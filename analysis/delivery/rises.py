"""Rises of volume: a refill, or a syringe changed without a row."""

from functools import cache

import numpy as np

from analysis.delivery.batches import Array, Batch
from analysis.delivery.shapes import Shapes, Told, from_start

#: Volumes added to a syringe [mL].
_ADDED_ML = (2.0, 3.0, 4.5, 6.0, 8.0, 10.0, 13.0, 16.0)

#: A rise must raise the reading by more than this [mL].
_LEAST_RISE_ML = 1.0

#: Volumes that differ by less are the same [mL].
_SAME_ML = 1e-4

#: A rise back to a full syringe rather than to some level.
_REFILL = 0.6

#: Parts of a gap after which it was refilled.
_REFILLED = (0.15, 0.5, 0.85)


def rises(batch: Batch, nodes: int) -> Shapes:  # noqa: ARG001 - one signature
    """Lay out volume that rose in a gap: a refill, or a change without a row.

    Parameters
    ----------
    batch : Batch
        n infusions.
    nodes : int
        Not used.

    Returns
    -------
    Shapes
        Back to a full syringe at some moment of a gap, or by some volume.
    """
    n, k = batch.shape
    hours = from_start(batch.elapsed_h)
    width = hours[:, 1:] - hours[:, :-1]
    refills = batch.line_at(
        np.concatenate([hours[:, :-1] + part * width for part in _REFILLED], axis=1)
    )
    added = np.repeat(_ADDED_ML, k).astype(batch.elapsed_h.dtype)
    amount = np.concatenate([refills, np.broadcast_to(added, (n, len(added)))], axis=1)
    gap, has, share = _rise_grid(k)
    before = from_start(batch.delivered_ml)
    falls = (before[:, 1:] - before[:, :-1]).take(gap, axis=1)
    rises_enough = amount - falls > _LEAST_RISE_ML + _SAME_ML
    weight = np.where(rises_enough, share, 0.0)
    total = weight.sum(1, keepdims=True)
    with np.errstate(divide="ignore"):
        log_weight = np.log(weight / np.where(total > 0, total, 1))

    def told() -> Told:
        window = np.stack([hours[:, gap], hours[:, gap + 1]], axis=-1)
        return Told(np.full(amount.shape, np.nan), window, window)

    return Shapes(
        lost_ml=(amount * has.astype(amount.dtype)[:, None, :]).transpose(1, 2, 0),
        log_weight=log_weight,
        other_log_ratio=np.zeros(amount.shape),
        ratio=np.full(amount.shape[1], np.nan),
        told=told,
    )


@cache
def _rise_grid(k: int) -> tuple[Array, Array, Array]:
    """Give the gap of each rise, which readings have it, (k, s), and its share."""
    refills, others = len(_REFILLED), len(_ADDED_ML)
    gap = np.tile(np.arange(k), refills + others)
    share = np.r_[
        np.full(k * refills, _REFILL / (k * refills)),
        np.full(k * others, (1 - _REFILL) / (k * others)),
    ]
    return gap, np.tri(k)[:, gap], share
