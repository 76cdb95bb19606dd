"""The figures that a report quotes are those of the simulation it names."""

import numpy as np
import pandas as pd
import pytest

from analysis.delivery.simulated import SIMULATED
from analysis.evaluate import (
    LEAST_EVENT_H,
    SETTINGS,
    evaluate,
    simulated_log,
    small_lines,
    small_logs,
)
from analysis.evaluate.compare import CompareError, compared
from analysis.evaluate.scores import (
    Case,
    expected_false,
    intervals_held,
    reliability,
    rule_row,
)
from analysis.evaluate.words import evaluation_lines


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


def scored() -> Case:
    """Give ten infusions by hand: four events, of which one is listed for nothing."""
    names = [f"I{place}" for place in range(10)]
    truth = pd.DataFrame(
        {
            "kind": ["stall"] * 4 + ["none"] * 6,
            "is_event": [True] * 4 + [False] * 6,
            "is_quiet": [False] * 4 + [True] * 6,
        },
        index=names,
    )
    said = [0.995, 0.95, 0.6, 0.05, 0.6, 0.01, 0.01, 0.01, 0.01, 0.01]
    probability = pd.Series(said, index=names)
    listed = pd.DataFrame({"event_probability": probability[probability > 0.5]})
    return Case(truth=truth, probability=probability, findings=listed)


def test_a_rule_is_scored_as_by_hand() -> None:
    own = scored()
    flagged = (own.probability > 0.5).to_numpy()
    row = rule_row("by hand", own.probability, flagged, own.truth)
    assert (row["events"], row["found"], row["uneventful"], row["false"]) == (
        4,
        3,
        6,
        1,
    )
    assert row["found_se"] == pytest.approx(np.sqrt(0.75 * 0.25 / 4))
    assert row["false_per_1000"] == pytest.approx(1000 / 6)
    # At 2 per 1,000 of six, the limit is just under the largest: 0.6 is above it.
    assert row["at_2"] == pytest.approx(0.75)


def test_false_flags_by_the_list_and_as_they_are() -> None:
    said, false = expected_false(scored())
    assert said == pytest.approx(0.005 + 0.05 + 0.4 + 0.4)
    assert false == 1


def test_bands_of_probability_hold_what_was_said_and_what_was_there() -> None:
    table = reliability(scored())
    counted = dict(zip(table["high"], table["infusions"], strict=True))
    assert counted == {0.02: 5, 0.1: 1, 0.7: 2, 0.99: 1, 1.0: 1}
    middle = table[table["high"] == 0.7].iloc[0]
    assert (middle["said"], middle["found"]) == pytest.approx((0.6, 0.5))


def test_windows_and_intervals_hold_what_was_planted_as_by_hand() -> None:
    at = pd.Timestamp("2026-05-01T12:00", tz="Europe/London")
    hour, names = pd.Timedelta(hours=1), ["I1", "I2", "I3", "I4"]
    truth = pd.DataFrame(
        {
            "kind": ["surge"] * 3 + ["none"],
            "is_event": [True] * 3 + [False],
            "is_quiet": [False] * 3 + [True],
            "onset": [at, at, at, pd.NaT],
            "volume_ml": [3.0, 3.0, 3.0, np.nan],
        },
        index=names,
    )
    findings = pd.DataFrame(
        {
            # The third is taken for another kind, from the start on; the fourth is
            # false and stands in no figure.
            "kind": ["surge", "surge", "over_delivery", "surge"],
            "began_earliest": [at - hour, at + hour, at - 5 * hour, at],
            "began_latest": [at + hour, at + 2 * hour, at - 5 * hour, at],
            "volume_ml": [3.5, 2.0, 3.0, 1.0],
            "volume_low_ml": [2.5, 1.0, 2.0, 0.5],
            "volume_high_ml": [4.5, 2.5, 4.0, 1.5],
        },
        index=names,
    )
    probability = pd.Series(0.9, index=names)
    table = intervals_held(
        Case(truth=truth, probability=probability, findings=findings)
    )
    surge = table.loc["surge"]
    assert (surge["found"], surge["onsets"], surge["volumes"]) == (3, 3, 2)
    assert surge["right"] == pytest.approx(2 / 3)
    assert surge["onset_held"] == pytest.approx(1 / 3)
    assert surge["onset_held_right"] == pytest.approx(1 / 2)
    assert surge["onset_h"] == pytest.approx(1.0)
    assert surge["volume_held"] == pytest.approx(1 / 2)
    assert surge["volume_error_ml"] == pytest.approx(0.75)
    assert surge["volume_bias_ml"] == pytest.approx(-0.25)


@pytest.mark.parametrize("setting", list(SETTINGS))
def test_every_setting_has_its_log_and_its_lines(setting: str) -> None:
    outcome = evaluate(250, 3, setting=setting)
    lines = evaluation_lines(outcome)
    assert setting in lines[0]
    assert lines[-1] == "By simulation, not measured on your wards."
    assert outcome.slips["infusions"].sum() == outcome.table["uneventful"].iloc[0]


def test_a_hard_log_has_second_slips_and_two_ways_of_reading() -> None:
    hard, same = (simulated_log(250, 3, "hard").checks for _ in range(2))
    assert hard.equals(same)
    skylark = hard[(hard["ward"] == "Skylark Ward") & (hard["entry"] == "check")]
    has = skylark["volume_remaining_ml"] != ""
    only_given = ~has & (skylark["volume_delivered_ml"] != "")
    assert 0.1 < only_given.sum() / (only_given | has).sum() < 0.5


def test_small_logs_are_judged_each_by_itself() -> None:
    found, again = (small_logs(250, 3, logs=3) for _ in range(2))
    assert found.table.equals(again.table)
    table = found.table.set_index("size")
    assert table.index.tolist() == [5, 15, 30]
    assert (table["logs"] == 3).all()
    # One limit for all: none of them has the infusions to find its own.
    assert (table["limit"] == table["limit"].iloc[0]).all()
    # Each infusion is in one log; events too small to count are in neither figure.
    judged = table["events"] + table["uneventful"]
    assert (judged <= 3 * table.index).all()
    assert (judged > 2 * table.index).all()
    lines = small_lines(found)
    assert lines[1].startswith("3 logs of 5 infusions: ")
    assert lines[-1] == "By simulation, not measured on your wards."


def test_without_the_libraries_one_sentence_says_what_to_do(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def missing(name: str) -> None:
        raise ImportError(name)

    monkeypatch.setattr("analysis.evaluate.compare.import_module", missing)
    with pytest.raises(CompareError, match=r"pip install steadyfall\[compare\]"):
        compared(pd.DataFrame(), pd.Index([]))
