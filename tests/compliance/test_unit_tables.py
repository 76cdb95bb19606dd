"""Units by measure: the same as under each other, in less memory."""

import numpy as np
import pandas as pd
import pytest

from analysis.columns import UNITS
from analysis.compliance.measure import TALLY, UNIT_COLUMNS, WORDS, no_units
from analysis.compliance.unit_tables import Units
from analysis.terms import RecordOutcome, Tally

N = 2_000


def units_of_one_count(n: int = N) -> pd.DataFrame:
    """Give units of one count each: every third excluded, every other counted."""
    place = np.arange(n)
    excluded, counted = place % 3 == 0, place % 2 == 0
    tally = np.where(counted, str(Tally.COUNTED), str(Tally.NOT_COUNTED))
    tally = np.where(excluded, str(Tally.EXCLUDED), tally)
    outcome = np.where(counted, RecordOutcome.RECORDED, RecordOutcome.NOT_RECORDED)
    texts = dict.fromkeys(("infusion_id", "line_id", "first_source", "reason"), "")
    return pd.DataFrame(
        {
            **texts,
            "unit_id": [f"U{k:06}" for k in place],
            "ward": "Alder Ward",
            "patient_id": "P1",
            "due_at": pd.Timestamp("2026-06-30T22:00Z").tz_convert("Europe/London")
            + pd.to_timedelta(place * 60, unit="s"),
            "outcome": pd.Categorical(outcome.astype(str), dtype=WORDS),
            "tally": pd.Categorical(tally, dtype=TALLY),
            "numerator": np.where(excluded, np.nan, counted),
            "denominator": np.where(excluded, np.nan, 1.0),
            "last_source": "",
        },
        columns=UNIT_COLUMNS,
    )


def in_hours(n: int = N) -> pd.DataFrame:
    units = units_of_one_count(n)
    return units.assign(numerator=units["numerator"] * 0.5)


CASES = [
    pytest.param(units_of_one_count(), id="counts, which tally says"),
    pytest.param(in_hours(), id="hours, which it does not"),
    pytest.param(units_of_one_count().astype({"tally": "str"}), id="tally as text"),
    pytest.param(units_of_one_count()[::-1], id="in no order"),
]


@pytest.mark.parametrize("given", CASES)
def test_what_was_found_is_given_again_in_order(given: pd.DataFrame) -> None:
    units = Units.found([("a_measure", given), ("of_nothing", no_units())])
    found = units.of("a_measure")
    assert list(found.columns) == UNITS.names
    assert (found["measure"] == "a_measure").all()
    wanted = given.sort_values("unit_id", ignore_index=True)
    for name in UNIT_COLUMNS:
        told = found[name].astype(object)
        pd.testing.assert_series_equal(told, wanted[name].astype(object))
    assert found["month"].value_counts().to_dict() == {"2026-07": N - 60, "2026-06": 60}
    assert (len(units), len(units.of("of_nothing"))) == (N, 0)


def test_measures_together_are_each_ones_units_under_each_other() -> None:
    units = Units.found([("m", units_of_one_count()), ("h", in_hours(90))])
    units = units.and_of("last", units_of_one_count(7))
    every = units.together()
    assert every["measure"].astype(str).unique().tolist() == ["m", "h", "last"]
    again = Units.read(every)
    for one, other in zip(units.tables(), again.tables(), strict=True):
        pd.testing.assert_frame_equal(
            one.astype(object), other.reset_index(drop=True).astype(object)
        )
    assert len(again) == len(units) == N + 90 + 7


def test_what_tally_says_takes_no_memory() -> None:
    """A number is eight bytes: two of them a unit are gone, by construction."""
    given = units_of_one_count()
    kept = Units.found([("m", given)])._held["m"]
    assert not {"numerator", "denominator"} & set(kept.columns)
    assert np.shares_memory(
        kept["due_at"].array._ndarray, given["due_at"].array._ndarray
    )
