"""The figures that a report quotes are those of the simulation it names."""

import pytest

from analysis.delivery.simulated import SIMULATED
from analysis.evaluate import LEAST_EVENT_H, evaluate


@pytest.fixture(scope="module")
def simulation() -> dict[str, float]:
    outcome = evaluate(SIMULATED.wanted, SIMULATED.seed)
    row = {str(name): value for name, value in outcome.table.iloc[0].items()}
    return {**row, "infusions": outcome.infusions}


def test_figures_in_the_report_are_those_of_the_simulation(
    simulation: dict[str, float],
) -> None:
    assert simulation["infusions"] == SIMULATED.infusions
    assert SIMULATED.least_event_h == LEAST_EVENT_H
    assert round(simulation["found_share"], 3) == SIMULATED.found_share
    assert round(simulation["found_se"], 3) == SIMULATED.found_se
    assert round(simulation["false_per_1000"], 1) == SIMULATED.false_per_1000
    assert round(simulation["false_se"], 1) == SIMULATED.false_se


def test_same_seed_gives_the_same_figures_and_another_seed_others() -> None:
    first, again, other = (evaluate(300, seed).table for seed in (7, 7, 8))
    assert first.equals(again)
    assert not first.equals(other)
