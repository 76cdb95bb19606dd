"""What kind of slip a reading is consistent with, and how common each kind is.

What is misread hangs on the scales of a service, and what is copied on its habits.
Shares of kinds are stated (`slips.py`); a log with slips of its own says which it has.
"""

import numpy as np
import pandas as pd

from analysis.delivery.batches import Array, Batch, batches
from analysis.delivery.likelihood import gaussian
from analysis.delivery.slips import ROOT_2PI, STATED_KINDS, slip_parts

#: Slips by which kinds are thought to be as stated.
_WORTH = 20.0
_ROUNDS = 10

#: A reading less probably a slip is left as it is.
_LEAST = 0.01

#: Readings in a batch.
_MOST = 100_000


def kinds_of_slips(readings: pd.DataFrame, slips: Array) -> Array:
    """Tell what kind of slip each reading is, if it is one and nothing else happened.

    Parameters
    ----------
    readings : DataFrame
        n readings with noise, in order of infusion and time.
    slips : array of float, shape (n,)
        Probability that a reading is a slip, with no event.

    Returns
    -------
    array of float, shape (n, kinds)
        Probability of each kind by the stated shares, in the order of `STATED_KINDS`;
        the stated shares themselves for readings that hardly are slips.
    """
    kinds = np.tile(STATED_KINDS, (len(readings), 1))
    at = np.flatnonzero(slips > _LEAST)
    names = readings["infusion_id"]
    some = np.flatnonzero(names.isin(names.iloc[at].unique()).to_numpy())
    for batch in batches(readings.iloc[some], _MOST):
        kinds[some[batch.row.ravel()]] = _kinds(batch).reshape(-1, len(STATED_KINDS))
    kinds[slips <= _LEAST] = STATED_KINDS
    return kinds


def _kinds(batch: Batch) -> Array:
    """Give the probability of each kind, shape (n, k, kinds)."""
    n, k = batch.shape
    normal = gaussian(batch, np.zeros((n, 1, k)))
    precision = normal.precision[:, :, 0].T
    off = np.abs(normal.error[:, :, 0].T) / precision
    parts = [part * ROOT_2PI / np.sqrt(precision) for part in slip_parts(batch)]
    first = len(parts)
    # The nearest number alone, as `slip_weight` has it.
    nearest = np.clip(np.rint(off), 1, len(STATED_KINDS) - first)
    misread = np.exp(-0.5 * precision * (off - nearest) ** 2) / 2
    for place, share in enumerate(STATED_KINDS[first:]):
        parts.append(np.where(nearest == place + 1, share * misread, 0.0))
    weight = np.stack(parts, axis=2)
    kinds: Array = weight / weight.sum(2, keepdims=True)
    return kinds


def kind_shares(kinds: Array, slips: Array) -> Array:
    """Estimate the share of each kind among slips.

    Parameters
    ----------
    kinds : array of float, shape (n, kinds)
        As given by `kinds_of_slips`.
    slips : array of float, shape (n,)
        Probability that a reading is a slip; 0 for one that does not count.

    Returns
    -------
    array of float, shape (kinds,)
        EM estimate, pulled to the stated shares; adds up to 1.
    """
    likely = slips > _LEAST
    kinds, slips = kinds[likely], slips[likely]
    shares: Array = STATED_KINDS
    for _ in range(_ROUNDS):
        each = kinds * (shares / STATED_KINDS)
        total = each.sum(1)
        is_slip = slips * total / (1 - slips + slips * total)
        counts = (is_slip / total) @ each
        shares = (counts + _WORTH * STATED_KINDS) / (counts.sum() + _WORTH)
    return shares
