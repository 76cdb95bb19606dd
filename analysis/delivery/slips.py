"""Charting slips: what a reading that is plain wrong may have been instead.

A slip is told from a stop by the readings after it: a driver does not catch up. Kinds
and their frequency among slips are stated: common practice, no source; a log with
slips of its own says how frequent each is (`slip_kinds.py`).
"""

from typing import Any

import numpy as np

from analysis.delivery.batches import Array, Batch

#: Share of each kind among slips: the reading above again, misread by whole mL, some
#: other value near the line (digits swapped, an hour off), a tenth of such a value (a
#: decimal point), anywhere in the syringe, or beyond it (the point the other way).
COPIED, WHOLE_ML, NEAR, TENTH, ANYWHERE, BEYOND = 0.33, 0.31, 0.15, 0.07, 0.11, 0.03

#: Share of misread whole millilitres by how many: 1, 2, 5 or 10 (the printed figures
#: of a scale), and any other number up to ten.
WHOLE_SHARES = np.array(
    [0, 0.30, 0.12, 0.005, 0.005, 0.03, 0.005, 0.005, 0.005, 0.005, 0.03]
)
# Either way; together they are the share of misread millilitres.
_WHOLE_SHARES = WHOLE_ML * WHOLE_SHARES / (2 * WHOLE_SHARES.sum())

#: Stated share of each kind among slips, in the order of `slip_parts`; then of each
#: number of misread whole millilitres, from 1 on.
STATED_KINDS = np.r_[COPIED, NEAR, TENTH, ANYWHERE, BEYOND, 2 * _WHOLE_SHARES[1:]]
ROOT_2PI = float(np.sqrt(2 * np.pi))
NEAR_ML, _LARGEST_ML = 3.5, 60.0


def slip_density(batch: Batch) -> Array:
    """Give the density of readings that are slips, whatever the volume was.

    Parameters
    ----------
    batch : Batch
        n infusions with k readings.

    Returns
    -------
    array of float, shape (n, k)
        Per mL; misreadings by whole mL are not in it, they hang on the volume.
    """
    density: Array = sum(slip_parts(batch), np.zeros(batch.shape))
    single: Array = density.astype(batch.observed_ml.dtype)
    return single


def slip_parts(batch: Batch) -> list[Array]:
    """Give the density of readings that are slips by kind, whatever the volume was.

    Parameters
    ----------
    batch : Batch
        n infusions with k readings.

    Returns
    -------
    list of array of float, shape (n, k)
        Per mL, with its share: copied, near the line, a tenth, anywhere, beyond.
    """
    read, base = batch.observed_ml, batch.base_ml[:, None]
    before = np.concatenate([base, read[:, :-1]], axis=1)
    is_copy = np.abs(read - before) < 0.51 * batch.step_ml
    line = np.where(
        batch.is_floored[:, None],
        np.clip(base - batch.delivered_ml, 0, None),
        base - batch.delivered_ml,
    )
    is_near = np.abs(read - line) < NEAR_ML
    is_tenth = np.abs(10 * read - line) < NEAR_ML
    full = np.maximum(base, 16.0)
    is_within = np.abs(read) <= full
    return [
        COPIED * is_copy / batch.step_ml,
        NEAR * is_near / (2 * NEAR_ML),
        TENTH * is_tenth / (2 * NEAR_ML / 10),
        ANYWHERE * is_within / full,
        np.full(batch.shape, BEYOND / _LARGEST_ML),
    ]


def misread_shares(dtype: np.dtype[Any]) -> Array:
    """Give the share among slips of readings misread by so many whole mL, one way.

    Parameters
    ----------
    dtype : dtype
        Of floating point.

    Returns
    -------
    array of float, shape (11,)
        By the number of whole mL.
    """
    shares: Array = _WHOLE_SHARES.astype(dtype)
    return shares


def slip_weight(density: Array, off: Array, precision: Array) -> Array:
    """Give the chance of readings as slips, over that of the likeliest honest ones.

    Parameters
    ----------
    density : array of float, shape (n, k)
        As given by `slip_density`.
    off, precision : array of float, shape (k, n, s)
        Reading minus its mean given all the others, and the inverse of its variance so,
        under each of s shapes.

    Returns
    -------
    array of float, shape (k, n, s)
        Density as a slip, over the density of an honest reading at its mean, both
        given all the other readings.
    """
    # A misreading up or down is as likely: its size alone counts.
    far = np.abs(off)
    whole = np.rint(far)
    np.clip(whole, 1, 10, out=whole)
    share = misread_shares(off.dtype).take(whole.astype("int8"))
    far -= whole
    far *= far
    far *= precision
    far *= -0.5
    misread = np.exp(far, out=far)
    misread *= share
    weight: Array = (density * ROOT_2PI).T[:, :, None] / np.sqrt(precision)
    weight += misread
    return weight
