"""What widens the interval of a ward, and what that of all wards, by hand."""

import numpy as np
import pandas as pd
import pytest

from analysis.compliance.units import measure_units
from analysis.intervals import anova_icc, few_clusters

PATIENTS = 20


def units_of(wards: dict[str, list[tuple[float, float]]]) -> pd.DataFrame:
    """Give one row a patient: the numerator and denominator of their units."""
    rows = [
        {
            "ward": ward,
            "patient_id": f"{ward} {place}",
            "numerator": x,
            "denominator": n,
        }
        for ward, patients in wards.items()
        for place, (x, n) in enumerate(patients)
    ]
    own = {"measure": "m", "month": "2026-10", "tally": "counted"}
    return pd.DataFrame(rows).assign(**own)


def measured(
    units: pd.DataFrame, column: str, *, is_hours: bool = False
) -> dict[str, float]:
    """Give a column of the lines of the whole log, by ward."""
    found = measure_units(units, ["m"], frozenset({"m"} if is_hours else ()))
    found = found[found["period"] == "all"]
    return dict(zip(found["ward"], found[column].astype("float64"), strict=True))


def correlation(
    x: list[float], n: list[float], wards: list[str] | None = None
) -> float:
    """Give the correlation of patients' units, of one group or within wards."""
    groups = None if wards is None else np.array(wards)
    return anova_icc(np.array(x), np.array(n), groups)


def test_wards_that_differ_do_not_widen_the_interval_of_a_ward() -> None:
    # In each ward every patient has the same share: nothing there depends on who is
    # looked at. Taken together they are most unlike.
    units = units_of({"A": [(5, 10)] * PATIENTS, "B": [(10, 10)] * PATIENTS})
    effect = measured(units, "design_effect")
    assert effect["A"] == 1.0
    icc = correlation([5.0] * PATIENTS + [10.0] * PATIENTS, [10.0] * 2 * PATIENTS)
    assert effect["all"] == pytest.approx(1 + 9 * icc)
    assert icc > 0.25


@pytest.mark.parametrize(
    ("wards", "is_apart"),
    [
        pytest.param(4, True, id="30 patients more than wards"),
        pytest.param(5, False, id="29 patients more than wards"),
    ],
)
def test_wards_are_one_where_patients_cannot_be_told_from_them(
    wards: int, *, is_apart: bool
) -> None:
    # 34 patients in all; wards of all and of half, whose patients are alike.
    shares = [(10.0, 10.0), (5.0, 10.0)]
    parts = {f"W{k}": [shares[k % 2]] * 5 for k in range(wards)}
    parts["W0"] = [shares[0]] * (34 - 5 * (wards - 1))
    effect = measured(units_of(parts), "design_effect")
    assert (effect["W1"] == 1.0) == is_apart
    assert effect["all"] > 1.5


def test_a_patient_of_two_wards_is_one_in_all_and_one_in_each() -> None:
    units = units_of({"A": [(8, 10), (10, 10)] * 10, "B": [(8, 10), (10, 10)] * 10})
    units["patient_id"] = units["patient_id"].str[2:]
    assert measured(units, "patients") == {"all": 20, "A": 20, "B": 20}
    effect = measured(units, "design_effect")
    # Twenty units a patient in all, ten in each ward.
    of_all = correlation([16, 20] * 10, [20, 20] * 10)
    assert effect["all"] == pytest.approx(1 + 19 * of_all)
    of_ward = correlation([8, 10] * 20, [10] * 40, ["A"] * 20 + ["B"] * 20)
    assert effect["A"] == pytest.approx(1 + 9 * of_ward)


def test_hours_of_a_small_ward_are_worth_what_those_of_wards_are_on_average() -> None:
    # Ward A: 16 patients of 10 h, half of them with 8 and half with 6 h covered: ratio
    # 0.7, squares 16 x 1. Ward B: the same with 10 and 8 h: ratio 0.9, squares 16.
    # Ward C has three patients, 9, 8 and 10 h: ratio 0.9, squares 2.
    wards = {
        "A": [(8.0, 10.0), (6.0, 10.0)] * 8,
        "B": [(10.0, 10.0), (8.0, 10.0)] * 8,
        "C": [(9.0, 10.0), (8.0, 10.0), (10.0, 10.0)],
    }
    units = units_of(wards)
    # Each ward's own part in its ratio: 1 / 16, 1 / 16 and 1 / 3.
    spread = 0.21 * 160 * 15 / 16 + 0.09 * 160 * 15 / 16 + 0.09 * 30 * 2 / 3
    # 35 patients of three wards: 32 degrees of freedom.
    a_unit = (16 + 16 + 2) / spread / few_clusters(pd.Series([33]))[0]
    size = 30 / a_unit
    z2 = 1.959963984540054**2
    half = (z2 * (0.9 * 0.1 / size + z2 / (4 * size**2))) ** 0.5 / (1 + z2 / size)
    high, low = (measured(units, end, is_hours=True)["C"] for end in ("high", "low"))
    assert high - low == pytest.approx(2 * half)
