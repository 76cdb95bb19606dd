"""Charting slips: what a reading that is plain wrong may have been instead.

A slip is told from a stop by the readings after it: a driver does not catch up. Kinds
and their frequency among slips are common practice, no source.
"""

import numpy as np
from scipy.special import logsumexp

from analysis.delivery.batches import Array, Batch

#: Share of each kind among slips: the reading above again, misread by whole mL, some
#: other value near the line (digits swapped, an hour off), anywhere in the syringe, or
#: beyond it (a decimal point).
COPIED, WHOLE_ML, NEAR, ANYWHERE, BEYOND = 0.33, 0.32, 0.17, 0.15, 0.03

#: Share of misread whole millilitres by how many: 1, 2, 5 or 10 (the printed figures
#: of a scale), and any other number up to ten.
WHOLE_SHARES = (
    np.array([0, 0.30, 0.12, 0.005, 0.005, 0.03, 0.005, 0.005, 0.005, 0.005, 0.03])
    * WHOLE_ML
    / np.sqrt(2 * np.pi)
)
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
    read, base = batch.observed_ml, batch.base_ml[:, None]
    before = np.concatenate([base, read[:, :-1]], axis=1)
    is_copy = np.abs(read - before) < 0.51 * batch.step_ml
    line = np.where(
        batch.is_floored[:, None],
        np.clip(base - batch.delivered_ml, 0, None),
        base - batch.delivered_ml,
    )
    is_near = np.abs(read - line) < NEAR_ML
    full = np.maximum(base, 16.0)
    is_within = np.abs(read) <= full
    density: Array = (
        COPIED * is_copy / batch.step_ml
        + NEAR * is_near / (2 * NEAR_ML)
        + ANYWHERE * is_within / full
        + BEYOND / _LARGEST_ML
    )
    return density


def log_slip(density: Array, error: Array, precision: Array) -> Array:
    """Give the log density of readings as slips, given all the other readings.

    Parameters
    ----------
    density : array of float, shape (n, k)
        As given by `slip_density`.
    error, precision : array of float, shape (n, s, k)
        Reading minus its mean given the others, and one over its variance, under each
        of s shapes.

    Returns
    -------
    array of float, shape (n, s, k)
        Log density per mL.
    """
    whole = np.clip(np.rint(error), -10, 10)
    whole = np.where(whole == 0, np.where(error < 0, -1.0, 1.0), whole)
    share = WHOLE_SHARES[np.abs(whole).astype("int8")]
    misread = (
        share * np.sqrt(precision) * np.exp(-0.5 * precision * (error - whole) ** 2)
    )
    total: Array = np.log(density[:, None, :] + share * misread)
    return total


def with_slips(
    plain: Array, log_odds: Array, conditional: Array, slip: Array, pair: Array | None
) -> tuple[Array, Array]:
    """Sum slips out of a likelihood: none, any one reading, any two.

    Parameters
    ----------
    plain : array of float, shape (n, s)
        Log likelihood without slips.
    log_odds : array of float, shape (n,)
        Log odds of a slip in one reading.
    conditional : array of float, shape (n, s, k)
        Log density of each reading given the others.
    slip : array of float, shape (n, s, k)
        As given by `log_slip`.
    pair : array of float or None, shape (n, s, k (k - 1) / 2)
        Log density of each two readings given the others, in the order of
        ``triu_indices``; None to leave pairs out.

    Returns
    -------
    total : array of float, shape (n, s)
        Log likelihood, slips summed out.
    probability : array of float, shape (n, s, k)
        Probability that each reading is a slip.
    """
    k = slip.shape[-1]
    odds = log_odds[:, None, None]
    one = odds + slip - conditional
    terms = [np.zeros((*plain.shape, 1)), one]
    first, second = np.triu_indices(k, 1)
    if pair is not None:
        terms.append(2 * odds + slip[..., first] + slip[..., second] - pair)
    every = np.concatenate(terms, axis=-1)
    total = logsumexp(every, axis=-1, keepdims=True)
    weight = np.exp(every - total)
    probability = weight[..., 1 : k + 1].copy()
    if pair is not None:
        both = weight[..., k + 1 :]
        for reading in range(k):
            mine = (first == reading) | (second == reading)
            probability[..., reading] += both[..., mine].sum(-1)
    no_slip = k * -np.log1p(np.exp(log_odds))
    return plain + no_slip[:, None] + total[..., 0], probability
