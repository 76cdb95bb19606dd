"""What alarm, running light, battery and words of a row say beside a finding."""

from pathlib import Path

import pandas as pd
import pytest

from analysis.delivery.beside import Said, words_beside
from tests.tiny import Row, audit, only, syringe

HOURS = (0, 3.9, 8.1, 12, 16.2, 20, 23.6)
OPEN, SHUT = "\N{LEFT DOUBLE QUOTATION MARK}", "\N{RIGHT DOUBLE QUOTATION MARK}"


def stalled(cells: dict[float, Row]) -> list[Row]:
    """Give an infusion that stood still from 8.1 to 16.2 h, with other cells."""
    volumes = (16.0, 13.4, 10.6, 10.6, 10.6, 8.0, 5.6)
    return syringe(
        dict(zip(HOURS, volumes, strict=True)),
        entries={23.6: "end"},
        cells=cells,
        set_rate_ml_h=0.6667,
    )


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        pytest.param(
            {16.2: {"note": "paused for scan"}},
            f"The chart speaks of a pause: {OPEN}paused for scan{SHUT} at 2 Jun 02:15.",
            id="words of a pause are quoted",
        ),
        pytest.param(
            {16.2: {"action": "line straightened, driver restarted"}},
            f"The chart speaks of the driver: {OPEN}line straightened, driver re",
            id="an action is quoted",
        ),
        pytest.param(
            {16.2: {"note": "held for over-sedation, restarted 02:00"}},
            f"over 0.99. The chart speaks of a pause: {OPEN}held for over-sedation, "
            f"restarted 02:00{SHUT} at 2 Jun 02:15.",
            id="words of both are quoted once",
        ),
        pytest.param(
            {12: {"alarm": "occlusion"}},
            f"Alarm charted: {OPEN}occlusion{SHUT} at 1 Jun 22:03.",
            id="an alarm of a block is quoted",
        ),
        pytest.param(
            {12: {"running": "no"}, 16.2: {"running": "no"}},
            "Charted as not running at 1 Jun 22:03, 2 Jun 02:15.",
            id="a driver seen standing still",
        ),
        pytest.param(
            {8.1: {"battery_pct": 8}, 16.2: {"battery_pct": 97}},
            "Battery 8 % at 1 Jun 18:09 and 97 % at 2 Jun 02:15: changed in between.",
            id="a battery changed in the gap",
        ),
        pytest.param(
            {12: {"battery_pct": 4}, 16.2: {"battery_pct": 3}},
            "Battery 4 % at 1 Jun 22:03.",
            id="a battery that is used up",
        ),
        pytest.param(
            {23.6: {"note": "3.2 mL discarded, witnessed"}},
            f"The chart speaks of what was left: {OPEN}3.2 mL discarded, witnessed"
            f"{SHUT} at 2 Jun 09:39.",
            id="what was left at the end, long after the stop",
        ),
    ],
)
def test_what_rows_say_stands_beside_a_stall(
    tmp_path: Path, cells: dict[float, Row], said: str
) -> None:
    sentence = only(audit(tmp_path, stalled(cells)), "stall")["sentence"]
    assert said in sentence


@pytest.mark.parametrize(
    "cells",
    [
        pytest.param({"alarm": "end of infusion"}, id="an alarm of no stop"),
        pytest.param({"note": "dressing discarded"}, id="no volume was left"),
        pytest.param({"battery_pct": 60}, id="a battery that is well"),
        pytest.param({"running": "yes"}, id="a driver that runs"),
        pytest.param({"note": "slept well"}, id="words of something else"),
    ],
)
def test_what_has_nothing_to_do_with_a_stop_is_not_quoted(
    tmp_path: Path, cells: Row
) -> None:
    # In every row: a battery that falls slowly is no battery that was changed.
    rows = stalled(dict.fromkeys(HOURS[1:], cells))
    sentence = only(audit(tmp_path, rows), "stall")["sentence"]
    for words in ("The chart speaks", "Alarm", "not running", "Battery"):
        assert words not in sentence


def test_words_elsewhere_are_not_quoted() -> None:
    times = pd.to_datetime(["2026-06-01T10:00Z", "2026-06-01T14:00Z"])
    rows = [
        Said("I1", time, note=note)
        for time, note in zip(times, ("paused", "slept well"), strict=True)
    ]
    assert words_beside(rows, times[1], None) == ""
    assert "paused" in words_beside(rows, times[0], times[1])


def test_a_pause_row_is_no_driver_found_standing_still(tmp_path: Path) -> None:
    rows = stalled({8.1: {"running": "no"}})
    rows[2]["entry"] = "pause"
    rows[4] = {**rows[4], "entry": "resume"}
    # The pause is documented; that it stood still after it is not.
    rows[5]["volume_remaining_ml"], rows[6]["volume_remaining_ml"] = 10.6, 8.2
    finding = only(audit(tmp_path, rows), "stall")
    assert "not running" not in finding["sentence"]
