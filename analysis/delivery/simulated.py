"""What the decision finds and flags on simulated logs: the figures a report may quote.

Made by ``steadyfall evaluate`` with the seed and number given here, and recomputed by
``tests/test_evaluate.py``: a change to the decision that moves them must say so.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Simulated:
    """Figures of one simulation; standard errors are Monte Carlo errors.

    Attributes
    ----------
    wanted, seed : int
        Arguments of the simulation.
    infusions : int
        Infusions that could be evaluated.
    least_event_h : float
        Smallest event counted as one to be found [h of delivery].
    found_share, found_se : float
        Share of planted events found.
    false_per_1000, false_se : float
        Uneventful infusions with a delivery finding, per 1,000.
    """

    wanted: int
    seed: int
    infusions: int
    least_event_h: float
    found_share: float
    found_se: float
    false_per_1000: float
    false_se: float


SIMULATED = Simulated(
    wanted=6000,
    seed=2,
    infusions=6176,
    least_event_h=1.5,
    found_share=0.919,
    found_se=0.010,
    false_per_1000=7.0,
    false_se=1.1,
)
