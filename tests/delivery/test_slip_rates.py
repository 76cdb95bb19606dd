"""How often readings are slips, by where they stand, learned from the log."""

import numpy as np
import pandas as pd
import pytest

from analysis.delivery.scan import Evidence
from analysis.delivery.slip_kinds import SlipKinds
from analysis.delivery.slip_rates import (
    Place,
    SlipRatios,
    places,
    slip_ratios,
    with_slip_ratios,
)
from analysis.delivery.slips import STATED_KINDS
from analysis.delivery.threshold import by_list

SHARE = 0.02


def readings(sizes: list[int], entry: str = "check") -> pd.DataFrame:
    """Give infusions with so many readings each, all alike."""
    ids = np.repeat([f"I{i}" for i in range(len(sizes))], sizes)
    return pd.DataFrame({"infusion_id": ids, "entry": entry, "slip_share": SHARE})


def evidence(rows: pd.DataFrame, slips: np.ndarray, both: np.ndarray) -> Evidence:
    ids = pd.Index(rows["infusion_id"].unique(), name="infusion_id")
    table = pd.DataFrame({"none": 0.0, "stall": -9.0}, index=ids)
    return Evidence(
        table=table,
        slips=pd.Series(slips, index=rows.index),
        both=pd.Series(both, index=rows.index),
    )


def as_stated() -> SlipKinds:
    """Tell nothing of any reading's kind."""
    return SlipKinds(np.empty(0, dtype="int64"), np.empty((0, len(STATED_KINDS))))


def test_readings_are_told_apart_by_where_they_stand() -> None:
    rows = readings([1, 2, 3, 4, 5])
    rows.loc[14, "entry"] = "end"
    assert places(rows).tolist() == [
        Place.ALONE,
        *[Place.OF_TWO] * 2,
        *[Place.OF_THREE] * 3,
        *[Place.AMONG_MANY] * 3,
        Place.LAST,
        *[Place.AMONG_MANY] * 4,
        Place.AT_A_CHANGE,
    ]


@pytest.mark.parametrize(
    ("wrong", "low", "high"),
    [
        pytest.param(0.02, 0.9, 1.1, id="as many as fitted leave the share as it is"),
        pytest.param(0.06, 2.0, 3.1, id="three times as many raise it"),
        pytest.param(0.0, 0.0, 0.5, id="none at all lower it"),
    ],
)
def test_slips_of_short_infusions_are_counted_by_themselves(
    wrong: float, low: float, high: float
) -> None:
    rows = readings([3] * 300 + [6] * 300)
    place = places(rows)
    slips = np.zeros(len(rows))
    for kind, share in ((Place.AMONG_MANY, SHARE), (Place.OF_THREE, wrong)):
        mine = np.flatnonzero(place == kind)
        slips[mine[: round(share * len(mine))]] = 1.0
    none = pd.Series(1.0, index=rows["infusion_id"].unique())
    kinds = as_stated()
    found = slip_ratios(rows, evidence(rows, slips, np.zeros(len(rows))), none, kinds)
    assert low <= found.by_place[Place.OF_THREE] <= high
    assert found.by_place[Place.AMONG_MANY] == pytest.approx(1.0, abs=0.1)


def test_a_slip_thought_commoner_is_worth_that_much_more() -> None:
    rows = readings([5])
    ratios = SlipRatios(by_place=(2.0, *[1.0] * 5), second=1.0)
    slips = np.array([0.5, 0, 0, 0, 0])
    kinds = as_stated()
    given = evidence(rows, slips, np.zeros(5))
    found = with_slip_ratios(rows, given, ratios, kinds)
    # Half of the evidence was a slip: it doubles, the other half stays.
    assert found.table["none"].iloc[0] == pytest.approx(np.log(1.5))
    assert found.slips.iloc[0] == pytest.approx(2 / 3)


def test_a_kind_of_slip_thought_commoner_is_worth_that_much_more() -> None:
    rows = readings([5])
    shares = STATED_KINDS.copy()
    shares[0] *= 3
    ratios = SlipRatios(by_place=(1.0,) * 6, second=1.0, kinds=tuple(shares))
    kinds = SlipKinds(np.array([0]), np.eye(len(shares))[:1])
    given = evidence(rows, np.array([0.5, 0, 0, 0, 0]), np.zeros(5))
    found = with_slip_ratios(rows, given, ratios, kinds)
    assert found.table["none"].iloc[0] == pytest.approx(np.log(0.5 + 3 * 0.5))


def test_two_slips_thought_commoner_are_worth_that_much_more() -> None:
    rows = readings([5])
    ratios = SlipRatios(by_place=(1.0,) * 6, second=3.0)
    both = np.array([0.5, 0.5, 0, 0, 0])
    kinds = as_stated()
    found = with_slip_ratios(rows, evidence(rows, both, both), ratios, kinds)
    assert found.table["none"].iloc[0] == pytest.approx(np.log(0.5 + 3 * 0.5))
    assert found.slips.iloc[0] == pytest.approx(1.5 / 2)


def test_the_list_itself_expects_no_more_false_flags_than_wanted() -> None:
    event = np.r_[np.linspace(0.99, 0.05, 200), np.full(2000, 0.001)]
    limit = by_list(pd.Series(event), 0.01)
    wanted = 0.01 * (1 - event).sum()
    assert (1 - event)[event > limit].sum() <= wanted
    assert (1 - event)[event >= limit].sum() > wanted
