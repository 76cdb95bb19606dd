"""Runs of rows against a group-by: the same sums, shifts and fillings."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.delivery.runs import in_order, runs_of

SIZES = st.lists(st.integers(1, 6), min_size=1, max_size=8)


def keyed(sizes: list[int]) -> pd.Series:
    names = [f"I{i}" for i in range(len(sizes))]
    return pd.Series(np.repeat(names, sizes), dtype="str")


def values_of(sizes: list[int], seed: int) -> pd.Series:
    rng = np.random.default_rng(seed)
    values = rng.normal(size=sum(sizes)).round(3)
    values[rng.random(len(values)) < 0.3] = np.nan
    return pd.Series(values)


@given(SIZES, st.integers(0, 9))
def test_runs_give_what_a_group_by_gives(sizes: list[int], seed: int) -> None:
    key, values = keyed(sizes), values_of(sizes, seed)
    by, runs = values.groupby(key), runs_of(key)
    assert runs.sizes.tolist() == sizes
    assert runs_of(key.factorize()[0]).begins.tolist() == runs.begins.tolist()
    number = values.to_numpy()
    for step in (-2, -1, 1, 2):
        np.testing.assert_array_equal(runs.shift(number, step), by.shift(step))
    np.testing.assert_array_equal(
        runs.filled(number), by.ffill().groupby(key).bfill().to_numpy()
    )
    known = values.fillna(0.0)
    np.testing.assert_array_equal(
        runs.cumsum(known.to_numpy()), known.groupby(key).cumsum()
    )
    np.testing.assert_allclose(
        runs.total(known.to_numpy()), known.groupby(key).sum(), atol=1e-12
    )
    is_known = values.notna()
    assert runs.any(is_known.to_numpy()).tolist() == (
        is_known.groupby(key).any().tolist()
    )
    first = pd.Series(number[runs.first_row(is_known.to_numpy())])
    np.testing.assert_array_equal(first, by.first().to_numpy())


def test_no_rows_are_no_runs() -> None:
    runs = runs_of(pd.Series([], dtype="str"))
    nothing = np.empty(0)
    assert runs.each(runs.sizes).size == 0
    for found in (runs.total(nothing), runs.cumsum(nothing), runs.filled(nothing)):
        assert found.size == 0


@pytest.mark.parametrize(
    "hours", [pytest.param([0, 1, 2, 3], id="in order of time"), [3, 1, 0, 2]]
)
def test_rows_are_put_in_order_of_infusion_and_time(hours: list[int]) -> None:
    start = pd.Timestamp("2026-06-01", tz="Europe/London")
    rows = pd.DataFrame(
        {
            "infusion_id": pd.Series(["B", "A", "B", "A"], dtype="str"),
            "checked_at": [start + pd.Timedelta(hours=hour) for hour in hours],
        }
    )
    wanted = rows.sort_values(["infusion_id", "checked_at"], kind="stable")
    pd.testing.assert_frame_equal(in_order(rows), wanted)
