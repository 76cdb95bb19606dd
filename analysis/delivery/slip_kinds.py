"""What kind of slip a reading is consistent with, and how common each kind is.

What is misread hangs on the scales of a service, and what is copied on its habits.
Shares of kinds are stated (`slips.py`); a log with slips of its own says which it has.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.delivery.batches import Array, Batch, batches
from analysis.delivery.likelihood import gaussian
from analysis.delivery.runs import runs_of
from analysis.delivery.slips import ROOT_2PI, STATED_KINDS, slip_parts

#: Slips by which kinds are thought to be as stated.
_WORTH = 20.0
_ROUNDS = 10

#: A reading less probably a slip is left as it is.
_LEAST = 0.01

#: Readings in a batch.
_MOST = 100_000


@dataclass(frozen=True, slots=True)
class SlipKinds:
    """What kind of slip readings are, if they are slips: few hardly may be.

    Attributes
    ----------
    at : array of int, shape (m,)
        Readings that may be slips; of all others kinds are as stated.
    of_each : array of float, shape (m, kinds)
        Probability of each kind, in the order of `STATED_KINDS`.
    """

    at: Array
    of_each: Array

    def ratios(self, shares: Array, n: int) -> Array:
        """Give how much likelier each reading is a slip where kinds have other shares.

        Parameters
        ----------
        shares : array of float, shape (kinds,)
            Share of each kind; they add up to 1.
        n : int
            Readings.

        Returns
        -------
        array of float, shape (n,)
            Over what it is with the stated shares.
        """
        ratio = np.full(n, shares.sum() / STATED_KINDS.sum())
        ratio[self.at] = self.of_each @ (shares / STATED_KINDS)
        return ratio


def kinds_of_slips(readings: pd.DataFrame, slips: Array) -> SlipKinds:
    """Tell what kind of slip each reading is, if it is one and nothing else happened.

    Parameters
    ----------
    readings : DataFrame
        n readings with noise, in order of infusion and time.
    slips : array of float, shape (n,)
        Probability that a reading is a slip, with no event.

    Returns
    -------
    SlipKinds
        By the stated shares.
    """
    is_likely = slips > _LEAST
    runs = runs_of(readings["infusion_id"])
    some = np.flatnonzero(runs.each(runs.any(is_likely)))
    kinds = np.empty((len(some), len(STATED_KINDS)))
    for batch in batches(readings.take(some), _MOST):
        kinds[batch.row.ravel()] = _kinds(batch).reshape(-1, len(STATED_KINDS))
    own = is_likely[some]
    return SlipKinds(some[own], kinds[own])


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


def kind_shares(kinds: SlipKinds, slips: Array) -> Array:
    """Estimate the share of each kind among slips.

    Parameters
    ----------
    kinds : SlipKinds
        As given by `kinds_of_slips`.
    slips : array of float, shape (n,)
        Probability that a reading is a slip; 0 for one that does not count.

    Returns
    -------
    array of float, shape (kinds,)
        EM estimate, pulled to the stated shares; adds up to 1.
    """
    slips = slips[kinds.at]
    likely = slips > _LEAST
    of_each, slips = kinds.of_each[likely], slips[likely]
    shares: Array = STATED_KINDS
    for _ in range(_ROUNDS):
        each = of_each * (shares / STATED_KINDS)
        total = each.sum(1)
        is_slip = slips * total / (1 - slips + slips * total)
        counts = (is_slip / total) @ each
        shares = (counts + _WORTH * STATED_KINDS) / (counts.sum() + _WORTH)
    return shares
