"""How often readings are slips, by where they stand, and two in one infusion.

A last reading that is a slip has no reading after it that would tell it from a stop,
and neither have the few readings of a short infusion: most false flags would be such if
they were wrong as often as others are. They may well be: but then more of them would be
off the line than events explain. Two slips in one infusion may be commoner than by
chance (one hand, one night) or rarer. The log says which.
"""

from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np
import pandas as pd

from analysis.delivery.batches import Array
from analysis.delivery.runs import runs_of
from analysis.delivery.scan import Evidence
from analysis.delivery.slip_kinds import SlipKinds, kind_shares
from analysis.delivery.slips import STATED_KINDS
from analysis.terms import Entry

#: Slips, and infusions with two, by which a log is thought to be as fitted.
_WORTH_SLIPS, _WORTH_PAIRS = 4.0, 3.0
_ROUNDS = 60
#: Rounds end where a ratio moves by less than this.
_SAME = 1e-9
_MOST = 4.0

#: Readings of an infusion that is not short.
_MANY = 4

#: Second slips are counted in infusions of so many readings or more (in shorter ones
#: they cannot be told from an event), and are so much commoner at the most.
_TELLS_PAIRS, _MOST_PAIRS = 4, 20.0

#: Nothing takes more than this off the evidence of no event.
_LEAST = 1e-3


class Place(IntEnum):
    """Where a reading stands: plain checks, and rows at which something is done."""

    AMONG_MANY = 0
    OF_THREE = 1
    OF_TWO = 2
    ALONE = 3
    LAST = 4
    AT_A_CHANGE = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class SlipRatios:
    """How much oftener slips are than fitted to the ward.

    Attributes
    ----------
    by_place : tuple of float
        Of readings by `Place`.
    second : float
        Two slips in one infusion, over what these shares give by chance.
    kinds : tuple of float
        Share of each kind among slips, in the order of `STATED_KINDS`.
    """

    by_place: tuple[float, ...]
    second: float
    kinds: tuple[float, ...] = tuple(STATED_KINDS)

    def of(self, readings: pd.DataFrame) -> Array:
        """Give the ratio of each reading.

        Parameters
        ----------
        readings : DataFrame
            In order of infusion and time: infusion_id, entry.

        Returns
        -------
        array of float, shape (n,)
            In the same order.
        """
        each: Array = np.array(self.by_place)[places(readings)]
        return each


def places(readings: pd.DataFrame) -> Array:
    """Tell where each reading stands.

    Parameters
    ----------
    readings : DataFrame
        In order of infusion and time: infusion_id, entry.

    Returns
    -------
    array of int, shape (n,)
        Values of `Place`.
    """
    runs = runs_of(readings["infusion_id"])
    few = np.array([Place.ALONE, Place.OF_TWO, Place.OF_THREE, Place.AMONG_MANY])
    place = runs.each(few[np.minimum(runs.sizes, _MANY) - 1])
    place[runs.ends[runs.sizes >= _MANY]] = Place.LAST
    is_plain = (readings["entry"] == Entry.CHECK).to_numpy(dtype=bool)
    return np.where(is_plain, place, Place.AT_A_CHANGE)


def slip_ratios(
    readings: pd.DataFrame, evidence: Evidence, none: pd.Series, kinds: SlipKinds
) -> SlipRatios:
    """Estimate how often readings are slips, over what is fitted to the ward.

    Parameters
    ----------
    readings : DataFrame
        Readings with noise, in order of infusion and time.
    evidence : Evidence
        Of those readings (`scan`).
    none : Series of float
        Probability of no event by infusion_id.
    kinds : SlipKinds
        Of these readings (`kinds_of_slips`).

    Returns
    -------
    SlipRatios
        EM estimates, each round with the probability that nothing but slips happened,
        pulled to 1; those of few and of last plain checks to that of many.
    """
    place = places(readings)
    runs = runs_of(readings["infusion_id"])
    names = readings["infusion_id"].iloc[runs.begins]
    weight = runs.each(none.reindex(names).to_numpy())
    slip = evidence.slips.clip(upper=1.0).to_numpy() * weight
    # Readings after it tell what kind of slip it is, and that it is no event.
    of_kinds = kind_shares(kinds, np.where(place == Place.AMONG_MANY, slip, 0.0))
    odds = slip * kinds.ratios(of_kinds, len(readings))
    slip = odds / (1 - slip + odds)
    shares = readings["slip_share"].to_numpy()
    ratios = [1.0] * len(Place)
    for kind in Place:
        mine = place == kind
        is_plain = kind is not Place.AT_A_CHANGE
        start = ratios[Place.AMONG_MANY] if is_plain else 1.0
        most = _MOST if is_plain else 1.0
        ratios[kind] = _em(slip[mine], float(shares[mine].sum()), start, most)
    found = SlipRatios(by_place=tuple(ratios), second=1.0, kinds=tuple(of_kinds))
    shares = shares * found.of(readings)
    tells = runs.sizes >= _TELLS_PAIRS
    share, square = runs.total(shares)[tells], runs.total(shares**2)[tells]
    chance = float(((share**2 - square) / 2).sum())
    both = np.minimum(runs.total(evidence.both.to_numpy() * weight / 2)[tells], 1)
    second = _em(both, chance, 1.0, _MOST_PAIRS, worth=_WORTH_PAIRS)
    return replace(found, second=second)


def _em(
    probability: Array,
    expected: float,
    start: float,
    most: float,
    *,
    worth: float = _WORTH_SLIPS,
) -> float:
    """Give the ratio of found to expected at which each agrees with the other.

    It is pulled to where it starts from, by so many slips.
    """
    ratio = start
    for _ in range(_ROUNDS):
        odds = ratio * probability
        found = float((odds / (1 - probability + odds)).sum())
        before, ratio = ratio, min((found + worth) / (expected + worth / start), most)
        if abs(ratio - before) < _SAME:
            break
    return ratio


def with_slip_ratios(
    readings: pd.DataFrame, evidence: Evidence, ratios: SlipRatios, kinds: SlipKinds
) -> Evidence:
    """Give the evidence when slips are that much commoner, and of such kinds.

    Parameters
    ----------
    readings : DataFrame
        Readings with noise, in order of infusion and time.
    evidence : Evidence
        Of those readings, with slips as fitted.
    ratios : SlipRatios
        As given by `slip_ratios`.
    kinds : SlipKinds
        Of these readings (`kinds_of_slips`).

    Returns
    -------
    Evidence
        Of no event with each slip, and each two, weighed anew; that of events stays (a
        slip is seldom what they take).
    """
    ratio = ratios.of(readings) * kinds.ratios(np.array(ratios.kinds), len(readings))
    runs = runs_of(readings["infusion_id"])
    both = evidence.both.clip(upper=1.0)
    one = (evidence.slips.clip(upper=1.0) - both).clip(lower=0.0)
    # Two slips are each other's: half of their change is put down to either.
    usual = ratios.by_place[Place.AMONG_MANY]
    two = ratio * usual * ratios.second
    change = runs.total((one * (ratio - 1) + both * (two - 1) / 2).to_numpy())
    change = np.log(np.maximum(1 + change, _LEAST))
    total = np.exp(runs.each(change))
    names = readings["infusion_id"].iloc[runs.begins]
    more = pd.Series(change, index=names).reindex(evidence.table.index)
    return replace(
        evidence,
        table=evidence.table.assign(none=evidence.table["none"] + more),
        slips=((ratio * one + two * both) / total).clip(upper=1.0),
        both=(two * both / total).clip(upper=1.0),
    )
