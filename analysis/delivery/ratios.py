"""Slow or fast delivery throughout: one ratio of delivered to set volume."""

import numpy as np

from analysis.delivery.batches import Array, Batch
from analysis.delivery.shapes import Shapes, Told, between, held_ml, log_weights

#: Ratios of delivered to set volume; within 0.90 to 1.10 none is an event.
SLOW_RATIOS = (0.03, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.68, 0.75, 0.81, 0.86)
FAST_RATIOS = (1.14, 1.2, 1.28, 1.38, 1.5, 1.7, 2.0, 2.5, 3.5, 6.0)


def slow(batch: Batch, nodes: int) -> Shapes:
    """Lay out slow delivery throughout, at one ratio of the set rate.

    Parameters
    ----------
    batch : Batch
        n infusions.
    nodes : int
        As many ratios, between those of `SLOW_RATIOS`.

    Returns
    -------
    Shapes
        Equal weight.
    """
    ratios = between(SLOW_RATIOS, nodes)
    return _throughout(batch, ratios, np.gradient(ratios))


def over_delivery(batch: Batch, nodes: int) -> Shapes:
    """Lay out fast delivery throughout, at one ratio of the set rate.

    Parameters
    ----------
    batch : Batch
        n infusions.
    nodes : int
        As many ratios, between those of `FAST_RATIOS`.

    Returns
    -------
    Shapes
        Equal weight for equal steps of the logarithm of the ratio.
    """
    ratios = between(FAST_RATIOS, nodes)
    return _throughout(batch, ratios, np.gradient(ratios) / ratios)


def _throughout(batch: Batch, ratio: Array, weight: Array) -> Shapes:
    n, _ = batch.shape
    # Readings first, as the likelihood works on them.
    less = (1 - ratio).astype(batch.delivered_ml.dtype)
    lost = (batch.delivered_ml.T[:, :, None] * less).transpose(1, 2, 0)

    def told() -> Told:
        by_line = np.maximum(
            batch.end_delivered_ml[:, None], batch.delivered_ml[:, -1:]
        )
        held = held_ml(batch)
        # What is given early is at its most when the syringe empties.
        full = np.where(batch.is_floored, batch.base_ml, 0.0)[:, None]
        emptied = full * (1 - 1 / np.maximum(ratio, 1))
        fast = np.where(ratio * by_line > held, emptied, (ratio - 1) * by_line)
        window = np.zeros((n, len(ratio), 2))
        return Told(
            np.where(ratio > 1, fast, (ratio - 1) * np.minimum(by_line, held)),
            window,
            np.broadcast_to(batch.elapsed_h[:, -1:, None], window.shape),
        )

    return Shapes(
        lost_ml=lost,
        log_weight=log_weights(weight, n),
        other_log_ratio=np.zeros((n, len(ratio))),
        ratio=ratio,
        told=told,
    )
