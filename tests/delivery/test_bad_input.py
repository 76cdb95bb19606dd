"""Infusions charted badly: decided, or not evaluable with a reason, and counted."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from tests.tiny import Row, audit, kinds, only, syringe

RATE = 16 / 24
HOURS = (0, 4, 8, 12, 16, 20, 24)


def on_the_line(hours: tuple[float, ...] = HOURS) -> list[Row]:
    """Give an infusion that runs as set."""
    volumes = {hour: round(16 - RATE * hour, 1) for hour in hours}
    return syringe(volumes, entries={hours[-1]: "end"}, set_rate_ml_h=RATE)


def often(volume: Callable[[float], float], readings: int = 400) -> list[Row]:
    """Give an infusion with 400 readings, two to three minutes and a half apart."""
    hours = np.linspace(0, 24, readings).round(3).tolist()
    volumes = {hour: max(round(volume(hour), 1), 0.0) for hour in hours}
    return syringe(volumes, entries={hours[-1]: "end"}, set_rate_ml_h=RATE)


def stalled(hour: float) -> float:
    """Give the volume with a stop from 9 to 13 h."""
    return 16 - RATE * (min(hour, 9) + max(hour - 13, 0))


# Wanted: evaluable, reason, kinds of delivery findings.
@pytest.mark.parametrize(
    ("rows", "wanted"),
    [
        pytest.param(on_the_line((0, 4)), ("yes", "", []), id="one reading, on it"),
        pytest.param(
            syringe({0: 16.0, 8: 15.9, 8.2: None}, entries={8.2: "end"}),
            ("yes", "", ["stall_to_end"]),
            id="one reading, where it began",
        ),
        pytest.param(
            syringe({0: 16.0}),
            ("no", "no volume reading after the start", []),
            id="a start row alone",
        ),
        pytest.param(
            syringe({0: None, 8: 10.7}, set_rate_ml_h=RATE),
            ("no", "no start volume and one reading only", []),
            id="one reading and no start volume",
        ),
        pytest.param(
            often(stalled, 5_000),
            ("no", "more readings than a chart of one infusion holds", []),
            id="readings taken off a driver, whose weighing would take gigabytes",
        ),
        pytest.param(
            on_the_line()[1:],
            ("yes", "no start volume: line from first reading", []),
            id="no start volume, several readings",
        ),
        pytest.param(
            [{**row, "set_rate_ml_h": None} for row in on_the_line()],
            ("yes", "no rate charted: prescribed line", []),
            id="no rate",
        ),
        pytest.param(
            [{**row, "set_rate_ml_h": 0} for row in on_the_line()],
            ("yes", "no rate but 0 charted: prescribed line", []),
            id="a rate of zero and a volume that falls",
        ),
        pytest.param(
            [
                {**row, "set_rate_ml_h": 0, "volume_remaining_ml": 16.0}
                for row in on_the_line()
            ],
            ("yes", "no rate but 0 charted: prescribed line", ["stall_to_end"]),
            id="a rate of zero and a volume that stays",
        ),
        pytest.param(
            [
                {**row, "set_rate_ml_h": 0 if i == 3 else RATE}
                for i, row in enumerate(on_the_line())
            ],
            ("yes", "", []),
            id="a rate of zero on one row",
        ),
        pytest.param(
            [on_the_line()[i] for i in (0, 3, 1, 2, 6, 4, 5)],
            ("yes", "", []),
            id="rows out of the order of time",
        ),
        pytest.param(
            often(lambda hour: 16 - RATE * hour), ("yes", "", []), id="400 readings"
        ),
        pytest.param(
            often(stalled), ("yes", "", ["stall"]), id="400 readings about a stop"
        ),
    ],
)
def test_what_is_charted_badly_is_decided_or_has_a_reason(
    tmp_path: Path, rows: list[Row], wanted: tuple[str, str, list[str]]
) -> None:
    result = audit(tmp_path, rows)
    (row,) = result.infusions.to_dict("records")
    assert (row["evaluable"], row["reason"], kinds(result, "delivery")) == wanted
    assert len(result.readings) == len(rows)
    assert (row["event_probability"] >= 0) == (row["evaluable"] == "yes")


def test_400_readings_tell_when_and_how_much(tmp_path: Path) -> None:
    stall = only(audit(tmp_path, often(stalled)), "stall")
    assert stall["volume_ml"] == pytest.approx(-4 * RATE, abs=0.15)
    start = stall["began_earliest"].normalize() + np.timedelta64(10 * 60 + 3, "m")
    for name, hour in (("began", 9), ("ended", 13)):
        earliest, latest = (
            (stall[f"{name}_{end}"] - start).total_seconds() / 3600
            for end in ("earliest", "latest")
        )
        assert earliest <= hour <= latest
        assert latest - earliest < 1.5
