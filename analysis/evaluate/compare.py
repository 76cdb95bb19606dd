"""Two generic ways of finding outliers, for comparison.

A change-point search over the residuals of an infusion, and an isolation forest over a
few of its figures.
Needs the extra ``compare``: ``pip install steadyfall[compare]``.
"""

from importlib import import_module
from types import ModuleType

import numpy as np
import pandas as pd

from analysis.errors import SteadyfallError

#: Changes of slope that the search may place in one infusion.
_CHANGES = 2

_SEED = 1


class CompareError(SteadyfallError):
    """The libraries to compare with are not installed."""


def compared(readings: pd.DataFrame, infusions: pd.Index) -> dict[str, pd.Series]:
    """Score infusions by the generic ways.

    Parameters
    ----------
    readings : DataFrame
        The readings table: infusion_id, elapsed_h, residual_ml.
    infusions : Index
        Those to score.

    Returns
    -------
    dict of str to Series
        Score by infusion_id; the higher, the more unusual. 0 without readings.

    Raises
    ------
    CompareError
        When a library is not installed.
    """
    ruptures, forest = _library("ruptures"), _library("sklearn.ensemble")
    read = readings[readings["residual_ml"].notna()]
    read = read[read["infusion_id"].isin(infusions)]
    figures = _figures(read)
    model = forest.IsolationForest(n_estimators=200, random_state=_SEED)
    unusual = pd.Series(-model.fit(figures).score_samples(figures), index=figures.index)
    gain = {
        name: _gain(ruptures, own.to_numpy())
        for name, own in read.groupby("infusion_id")["residual_ml"]
    }
    found = {
        "change-point search (ruptures)": pd.Series(gain, dtype="float64"),
        "isolation forest (scikit-learn)": unusual,
    }
    return {name: score.reindex(infusions).fillna(0) for name, score in found.items()}


def _library(name: str) -> ModuleType:
    try:
        return import_module(name)
    except ImportError as error:
        msg = (
            f"{name.partition('.')[0]} is not installed: run "
            "pip install steadyfall[compare], or leave out --compare"
        )
        raise CompareError(msg) from error


def _gain(ruptures: ModuleType, residual: np.ndarray) -> float:
    """Give by how much the best changes of level lower the sum of squares [mL^2]."""
    n = len(residual)
    if n < 2:
        return float((residual**2).sum())
    search = ruptures.Dynp(model="l2", min_size=1, jump=1).fit(residual)
    ends = search.predict(n_bkps=min(_CHANGES, n - 1))
    return float((residual**2).sum() - search.cost.sum_of_costs(ends))


def _figures(read: pd.DataFrame) -> pd.DataFrame:
    by = read.groupby("infusion_id")["residual_ml"]
    step = by.diff().abs().groupby(read["infusion_id"]).max()
    return pd.DataFrame(
        {
            "least": by.min(),
            "most": by.max(),
            "last": by.last(),
            "spread": by.std().fillna(0),
            "step": step.fillna(0),
        }
    )
