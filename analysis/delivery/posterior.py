"""Evidence to probabilities: how common events are is estimated from the log."""

import numpy as np
import pandas as pd
from scipy.special import logsumexp

from analysis.delivery.batches import Array
from analysis.delivery.hypotheses import HYPOTHESES

#: Stated share of infusions with an event, and how many infusions it is worth beside
#: those of the log, and the log's beside those of a ward.
STATED_SHARE = 0.05
_WORTH_LOG, _WORTH_WARD = 40.0, 60.0
_LEAST, _MOST = 0.002, 0.5
_ROUNDS = 30


def event_shares(evidence: pd.DataFrame, ward: pd.Series) -> pd.Series:
    """Estimate the share of infusions with an event, by ward.

    Parameters
    ----------
    evidence : DataFrame
        Log evidence (`Evidence.table`).
    ward : Series of str
        Ward of each infusion, on the same index.

    Returns
    -------
    Series of float
        By ward: the EM estimate, pulled to that of the whole log, and this to the
        stated share.
    """
    every = _share(_log_odds(evidence), STATED_SHARE, _WORTH_LOG)
    found = {
        name: _share(_log_odds(group), every, _WORTH_WARD)
        for name, group in evidence.groupby(ward)
    }
    return pd.Series(found, dtype="float64")


def _share(log_odds: Array, prior: float, worth: float) -> float:
    share = prior
    for _ in range(_ROUNDS):
        odds = np.log(share) - np.log1p(-share) + log_odds
        events = (1 / (1 + np.exp(-odds))).sum()
        share = (events + worth * prior) / (len(log_odds) + worth)
        share = float(np.clip(share, _LEAST, _MOST))
    return share


def _log_odds(evidence: pd.DataFrame) -> Array:
    shares = np.array([hypothesis.share for hypothesis in HYPOTHESES])
    kinds = evidence.to_numpy()[:, 1:]
    odds: Array = logsumexp(kinds, axis=1, b=shares) - evidence["none"].to_numpy()
    return np.clip(odds, -50, 50)


def probabilities(evidence: pd.DataFrame, share: pd.Series) -> pd.DataFrame:
    """Give the probability of each kind of event and of none.

    Parameters
    ----------
    evidence : DataFrame
        Log evidence.
    share : Series of float
        Prior share of events of each infusion, on the same index.

    Returns
    -------
    DataFrame
        As `evidence`; rows add up to 1.
    """
    prior = np.array([hypothesis.share for hypothesis in HYPOTHESES])
    events = share.to_numpy()[:, None] * prior
    log_prior = np.log(np.column_stack([1 - share.to_numpy(), events]))
    joint = evidence.to_numpy() + log_prior
    total = logsumexp(joint, axis=1, keepdims=True)
    return pd.DataFrame(
        np.exp(joint - total), index=evidence.index, columns=evidence.columns
    )
