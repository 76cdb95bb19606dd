"""What running light, alarm, battery, action and words of a row are worth."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.delivery import judge_delivery
from analysis.delivery.evidence import stopped_log_ratio
from analysis.intake import read_exports
from tests.tiny import POLICY, Row, audit, kinds, syringe, write_csv

HOURS = (0, 3.9, 8.1, 12, 16.2, 20, 23.6)


def row(**cells: object) -> tuple[pd.DataFrame, pd.Series]:
    plain: dict[str, object] = {
        "entry": "check",
        "running": "",
        "alarm": "",
        "action": "",
        "battery_pct": np.nan,
        "is_paused_after": False,
    }
    observed = pd.Series([float(str(cells.pop("observed", 8.0)))])
    return pd.DataFrame([{**plain, **cells}]), observed


@pytest.mark.parametrize(
    ("cells", "ratio"),
    [
        # The stated shares: of rows with the driver stopped, over with it running.
        pytest.param({}, 1.0, id="nothing recorded says nothing"),
        pytest.param({"running": "no"}, 0.45 / 0.01, id="not running"),
        pytest.param({"running": "yes"}, 0.55 / 0.99, id="running"),
        pytest.param({"alarm": "occlusion"}, 0.30 / 0.005, id="occlusion alarm"),
        pytest.param({"alarm": "end of infusion"}, 1.0, id="another alarm"),
        pytest.param({"alarm": "battery flat"}, 60.0, id="a battery that is used up"),
        pytest.param({"alarm": "Low battery"}, 1.0, id="a low battery: it still runs"),
        pytest.param({"alarm": "battery low"}, 1.0, id="the same in another order"),
        pytest.param({"battery_pct": 5}, 0.10 / 0.01, id="battery at the bound"),
        pytest.param({"battery_pct": 6}, 1.0, id="battery above the bound"),
        pytest.param(
            {"action": "Found stopped, restarted"}, 0.20 / 0.002, id="found stopped"
        ),
        pytest.param({"action": "site checked"}, 1.0, id="another action"),
        pytest.param(
            {"running": "no", "battery_pct": 0}, 45 * 10.0, id="two cells multiply"
        ),
        pytest.param({"running": "no", "entry": "pause"}, 1.0, id="a pause row"),
        pytest.param(
            {"running": "no", "is_paused_after": True},
            1.0,
            id="a plain check during a documented pause",
        ),
        pytest.param({"running": "no", "entry": "end"}, 1.0, id="the end row"),
        pytest.param(
            {"running": "no", "observed": 0.5}, 1.0, id="nearly empty: stands by itself"
        ),
        pytest.param(
            {"running": "no", "observed": 0.6}, 45.0, id="not quite nearly empty"
        ),
    ],
)
def test_each_cell_is_worth_its_stated_ratio(
    cells: dict[str, object], ratio: float
) -> None:
    said = stopped_log_ratio(*row(**cells))
    assert np.exp(said.iloc[0]) == pytest.approx(ratio)


def stopped_at_last() -> list[Row]:
    """Give an infusion of which the last reading alone, and its light, are off."""
    volumes = (16.0, 13.4, 10.6, 8.0, 5.2, 2.7, 2.5)
    rows = syringe(dict(zip(HOURS, volumes, strict=True)), set_rate_ml_h=0.6667)
    lights = ["yes"] * 6 + ["no"]
    return [{**row, "running": light} for row, light in zip(rows, lights, strict=True)]


def test_other_evidence_can_be_switched_off(tmp_path: Path) -> None:
    log = read_exports([write_csv(tmp_path / "checks.csv", stopped_at_last())], POLICY)
    both = judge_delivery(log, POLICY).infusions["event_probability"].iloc[0]
    alone = judge_delivery(log, replace(POLICY, other_evidence="no"))
    dark = [{**row, "running": ""} for row in stopped_at_last()]
    without = audit(tmp_path / "dark", dark).infusions["event_probability"].iloc[0]
    assert both > 0.5 > alone.infusions["event_probability"].iloc[0]
    assert alone.infusions["event_probability"].iloc[0] == pytest.approx(
        without, abs=1e-3
    )


def test_a_documented_pause_with_checks_during_it_is_not_a_stall(
    tmp_path: Path,
) -> None:
    # 4.2 h on purpose, looked at once: 10.6 mL at all three rows.
    hours = (0, 3.9, 8.1, 10, 12.3, 16.2, 20, 23.6)
    volumes = (16.0, 13.4, 10.6, 10.6, 10.6, 8.0, 5.5, 3.1)
    rows = syringe(
        dict(zip(hours, volumes, strict=True)),
        entries={8.1: "pause", 12.3: "resume", 23.6: "end"},
        cells={8.1: {"running": "no"}, 10: {"running": "no"}, 12.3: {"running": "yes"}},
        set_rate_ml_h=0.6667,
    )
    assert kinds(audit(tmp_path, rows), "delivery") == []
