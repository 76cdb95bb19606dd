"""Time in place has a ratio of its own; who comes in at an event is not at its risk."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.policy import Policy
from analysis.report.research import sections
from analysis.research import run_study
from analysis.research.factors import TIME_IN_PLACE
from analysis.research.regression import cox_fit
from analysis.research.survival import kaplan_meier

DEMO = Path(__file__).parents[2] / "synthetic_data"
FILES = [DEMO / name for name in ("checks.csv", "infusions.csv", "lines.csv")]


def test_time_in_place_stands_in_the_table_with_what_was_counted() -> None:
    policy = Policy.load(DEMO / "policy.toml")
    study, _ = run_study(FILES, policy, b"a key of this test alone")
    table = study.associations
    own = table[table["factor"] == TIME_IN_PLACE]
    assert own["level"].tolist() == ["up to 2 days", "over 2 days"]
    # Both are known of every row at risk whose placement is known.
    wards = table[table["factor"] == "ward"]
    for name in ("events", "exposure_days"):
        assert own[name].sum() == pytest.approx(wards[name].sum())
    late, early = (own.iloc[place] for place in (1, 0))
    counted = (late["events"] / late["exposure_days"]) / (
        early["events"] / early["exposure_days"]
    )
    assert late["exact_ratio"] == pytest.approx(counted)
    # Alone in its model, the regression gives what is counted.
    assert late["ratio"] == pytest.approx(counted)
    assert pd.isna(late["p_changes"])


@pytest.mark.parametrize(
    ("events", "said"),
    [
        pytest.param(
            (11, 13),
            "fewer than 40 reactions",
            id="too few reactions for bands of time",
        ),
        pytest.param((20, 19), "fewer than 40 reactions", id="one too few"),
        pytest.param((20, 20), "at the same time in place, by", id="just enough"),
    ],
)
def test_the_same_time_in_place_is_said_only_where_it_was_taken(
    events: tuple[int, int], said: str
) -> None:
    policy = Policy.load(DEMO / "policy.toml")
    study, _ = run_study(FILES, policy, b"a key of this test alone")
    table = study.associations
    own = table["factor"] == TIME_IN_PLACE
    table = table.assign(events=table["events"].mask(own, pd.NA))
    table.loc[own, "events"] = list(events)
    page = sections.association(replace(study, associations=table)).html
    either = ("fewer than 40 reactions", "at the same time in place, by")
    assert [words for words in either if words in page] == [said]


def times(entry: list[float]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "time": [2.0, 3.0, 3.5, 5.0, 6.0, 6.5] * 4,
            "is_event": [True, True, False, True, True, False] * 4,
            "entry": entry * 4,
            "patient_id": [f"P{place}" for place in range(24)],
        }
    )


def test_coxs_model_and_the_curves_agree_on_who_is_at_risk() -> None:
    flag = pd.DataFrame({"x": [0.0, 1.0, 1.0, 0.0, 1.0, 0.0] * 4})
    at_event = times([0.0, 0.0, 2.0, 0.0, 3.0, 2.0])
    later = times([0.0, 0.0, 2.001, 0.0, 3.001, 2.001])
    at_risk = [kaplan_meier(own)["at_risk"].tolist() for own in (at_event, later)]
    assert at_risk[0] == at_risk[1]
    found = [cox_fit(own, flag)["x"].ratio for own in (at_event, later)]
    assert found[0] == pytest.approx(found[1], rel=1e-9)
    earlier = cox_fit(times([0.0, 0.0, 1.999, 0.0, 2.999, 1.999]), flag)["x"].ratio
    assert not np.isclose(found[0], earlier)
