"""What widens the interval of a ward, and what that of all wards, by hand."""

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
    found = measure_units([units], ["m"], frozenset({"m"} if is_hours else ()))
    found = found[found["period"] == "all"]
    return dict(zip(found["ward"], found[column].astype("float64"), strict=True))


def correlation(x: list[float], n: list[float]) -> float:
    return anova_icc(pd.Series(x).to_numpy(), pd.Series(n).to_numpy())


def test_one_correlation_serves_every_ward_and_all() -> None:
    # Patients of ward A have 10 units each, of ward B 4; in A they differ.
    own = [(5.0, 10.0), (10.0, 10.0)] * (PATIENTS // 2)
    units = units_of({"A": own, "B": [(4.0, 4.0)] * PATIENTS})
    x, n = zip(*own, *[(4.0, 4.0)] * PATIENTS, strict=True)
    icc = correlation(list(x), list(n))
    assert 0.1 < icc < 0.5
    effect = measured(units, "design_effect")
    assert effect["A"] == pytest.approx(1 + 9 * icc)
    assert effect["B"] == pytest.approx(1 + 3 * icc)
    # sum n (1 + (n - 1) ICC) / sum n over all patients.
    every = (20 * 10 * (1 + 9 * icc) + 20 * 4 * (1 + 3 * icc)) / 280
    assert effect["all"] == pytest.approx(every)


def test_a_patient_of_two_wards_is_one_in_all() -> None:
    units = units_of({"A": [(8, 10), (10, 10)] * 10, "B": [(8, 10), (10, 10)] * 10})
    units["patient_id"] = units["patient_id"].str[2:]
    assert measured(units, "patients") == {"all": 20, "A": 20, "B": 20}
    effect = measured(units, "design_effect")
    # Twenty units a patient in all, ten in each ward.
    icc = correlation([16, 20] * 10, [20, 20] * 10)
    assert effect["all"] == pytest.approx(1 + 19 * icc)
    assert effect["A"] == pytest.approx(1 + 9 * icc)


def test_hours_of_a_ward_of_few_are_worth_no_more_than_those_of_all() -> None:
    # Wards A and B: 20 patients of 10 h, half of them with 9 and half with 5 h covered:
    # ratio 0.7, squares 20 x 4 each. Ward C: three patients, all of 7 h.
    own = [(9.0, 10.0), (5.0, 10.0)] * (PATIENTS // 2)
    units = units_of({"A": own, "B": own, "C": [(7.0, 10.0)] * 3})
    # In all: ratio 0.7, squares 160, 43 patients of 430 h.
    variance = 160 * 43 / 42 / 430**2
    in_all = 0.7 * 0.3 / variance * few_clusters(pd.Series([43]))[0]
    size = in_all * 30 / 430
    z2 = 1.959963984540054**2
    half = (z2 * (0.7 * 0.3 / size + z2 / (4 * size**2))) ** 0.5 / (1 + z2 / size)
    high, low = (measured(units, end, is_hours=True)["C"] for end in ("high", "low"))
    assert high - low == pytest.approx(2 * half)
