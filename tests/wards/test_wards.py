"""What may be said of a ward: counts only until there is enough to say more."""

from pathlib import Path

import pandas as pd
import pytest

from analysis.wards import compare_wards
from tests.tiny import audit, policy_but, syringe, whole


def measures(units: int, excluded: int, patients: int, judged: float) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {
                "measure": "checks_on_time",
                "ward": "Alder Ward",
                "period": "all",
                "units": units,
                "numerator": judged / 2,
                "denominator": judged,
                "excluded": excluded,
                "patients": patients,
                "design_effect": float("nan"),
                "proportion": 0.5 if judged else float("nan"),
                "low": 0.2,
                "high": 0.8,
            }
        ]
    )


@pytest.mark.parametrize(
    ("table", "shown"),
    [
        pytest.param(measures(10, 0, 5, 10), "proportion", id="ten units, five people"),
        pytest.param(measures(9, 0, 5, 9), "counts only", id="nine units are too few"),
        pytest.param(measures(12, 3, 5, 9), "counts only", id="excluded ones left out"),
        pytest.param(measures(90, 0, 4, 90), "counts only", id="four people too few"),
        pytest.param(measures(8, 8, 0, 0), "nothing due", id="all units excluded"),
        pytest.param(measures(0, 0, 0, 0), "nothing due", id="no unit at all"),
    ],
)
def test_what_is_shown_of_a_ward(table: pd.DataFrame, shown: str) -> None:
    before = table.copy(deep=True)
    found = compare_wards(table, policy_but(smallest_group_patients=5)).iloc[0]
    assert found["shown"] == shown
    assert found[["proportion", "low", "high"]].notna().all() == (shown == "proportion")
    pd.testing.assert_frame_equal(table, before)


def test_the_smallest_group_is_the_policys(tmp_path: Path) -> None:
    rows = [
        row
        for n in range(3)
        for row in syringe(
            {0: 16.0, 4: 13.3, 8: 10.7, 12: 8.0, 16: 5.3},
            patient_id=f"P{n}",
            infusion_id=f"I{n}",
            driver_id=f"D{n}",
            entries={16: "end"},
        )
    ]
    for smallest, shown in ((3, "proportion"), (4, "counts only")):
        policy = policy_but(smallest_group_patients=smallest)
        found = audit(tmp_path, rows, policy=policy)
        line = whole(found.comparisons, "checks_on_time", "Alder Ward")
        assert (line["shown"], line["denominator"]) == (shown, 12)
