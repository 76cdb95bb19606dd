"""Quick looks may only pass over infusions that the whole scan would not list."""

import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.delivery import judge_delivery
from analysis.delivery.batches import Batch
from analysis.delivery.scan import scan
from analysis.evaluate.settings import simulated_log
from analysis.intake import Log, read_exports
from analysis.policy import Policy
from analysis.synthetic import (
    DEMO_PLANTING,
    WARDS,
    SyntheticLog,
    make_log,
    write_log,
)

#: The module: the package exports the function of that name.
SCAN = sys.modules[scan.__module__]

#: So near the limit an infusion may be listed by one and not by the other.
EDGE = 0.01

Look = Callable[[Batch, np.ndarray], np.ndarray]


def demo() -> SyntheticLog:
    return make_log(
        rng=np.random.default_rng(71),
        wards=WARDS,
        first_day=date(2026, 5, 1),
        days=62,
        planting=DEMO_PLANTING,
    )


#: A log, the fewest to be listed, and how far quick looks may move a probability.
LOGS = {
    "demo": (demo, 30, 0.05),
    "ordinary": (lambda: simulated_log(700, 71), 60, 0.10),
    "hard": (lambda: simulated_log(700, 71, "hard"), 60, 0.10),
    "few events": (lambda: simulated_log(700, 71, "few_events"), 10, 0.01),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("log")


def read(made: SyntheticLog, folder: Path) -> Log:
    write_log(made, folder)
    exports = [Path(folder, f"{name}.csv") for name in ("checks", "infusions")]
    return read_exports(exports, Policy.example())


def nothing_is_clear(batch: Batch, most: np.ndarray) -> np.ndarray:  # noqa: ARG001 - as it is called
    return np.zeros(batch.shape[0], dtype=bool)


@pytest.mark.parametrize("name", LOGS)
def test_with_and_without_the_quick_looks_the_same_is_found(
    name: str, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make, fewest, furthest = LOGS[name]
    log = read(make(), folder)
    passed: list[str] = []

    def watched(look: Look) -> Look:
        def own(batch: Batch, most: np.ndarray) -> np.ndarray:
            clear = look(batch, most)
            passed.extend(batch.infusion_id[clear])
            return clear

        return own

    with monkeypatch.context() as patch:
        patch.setattr(SCAN, "is_clear", watched(SCAN.is_clear))
        quick = judge_delivery(log, Policy.example())
    # Every infusion on the fine grid, whatever the coarse one says.
    monkeypatch.setattr(SCAN, "is_clear", nothing_is_clear)
    monkeypatch.setattr(SCAN, "_CLEAR", -np.inf)
    whole = judge_delivery(log, Policy.example())

    # The limit is the probability of an infusion of the list: those that stand within
    # what the quick looks may change of it fall to either side by chance.
    on_edge = {
        infusion
        for found in (quick, whole)
        for infusion, probability in found.infusions["event_probability"].items()
        if abs(probability - found.threshold.probability) < EDGE
    }
    assert len(on_edge) < 5
    alike = ["infusion_id", "kind", "first_source"]
    listed = [
        found.findings.loc[
            (found.findings["group"] == "delivery")
            & ~found.findings["infusion_id"].isin(on_edge),
            alike,
        ].sort_values("infusion_id", ignore_index=True)
        for found in (quick, whole)
    ]
    assert len(listed[0]) > fewest - len(on_edge)
    pd.testing.assert_frame_equal(listed[0], listed[1])
    # Most infusions are passed over, none of them near the list by the whole scan.
    clear = whole.infusions.index.intersection(passed)
    assert len(clear) > len(whole.infusions) / 3
    event = whole.infusions.loc[clear, "event_probability"]
    assert event.max() < whole.threshold.probability / 2
    change = quick.infusions["event_probability"] - whole.infusions["event_probability"]
    assert change.abs().max() < furthest
