"""The plain delivery rule: what readings are, and are not, consistent with.

Cases are volumes remaining by elapsed hour of the invented reference infusion, 16.0 mL
over 24 h, with what the trade's signature table says of them.
"""

from pathlib import Path
from typing import Any

import pytest

from tests.tiny import Row, audit, kinds, moment, only, syringe

HOURS = (0, 3.9, 8.1, 12, 16.2, 20, 23.6)
RATE = 16 / 24


def run(
    *volumes: float | None, hours: tuple[float, ...] = HOURS, **cells: Any
) -> list[Row]:
    """Give one infusion with these volumes, ended at its last row."""
    return syringe(
        dict(zip(hours, volumes, strict=True)),
        start="2026-06-01T10:07",
        entries={hours[-1]: "end"},
        **{"set_rate_ml_h": 0.6667, **cells},
    )


def stopped() -> list[Row]:
    """Give an infusion found stopped at its last check, and ended soon after."""
    volumes = (16.0, 13.4, 10.6, 8.0, 5.2, 2.7, 2.5, None)
    rows = run(*volumes, hours=(*HOURS, 23.8))
    lights = ["yes"] * (len(HOURS) - 1) + ["no", ""]
    return [{**row, "running": light} for row, light in zip(rows, lights, strict=True)]


def ratio(k: float, start: float = 16.0, rate: float = RATE) -> list[float]:
    """Give the volumes of an infusion that runs at k times its rate throughout."""
    return [round(max(start - k * rate * h, 0), 1) for h in HOURS]


@pytest.mark.parametrize(
    ("rows", "found"),
    [
        pytest.param(run(*ratio(1)), [], id="on the line"),
        pytest.param(
            run(16.0, 13.4, 10.6, 10.6, 10.6, 8.0, 5.6),
            ["stall"],
            id="a plateau of two readings, then movement, is a stall",
        ),
        pytest.param(
            run(16.0, 13.4, 10.6, 9.3, 9.3, 9.3, 9.3),
            ["stall_to_end"],
            id="a plateau to the last reading is a stall to the end",
        ),
        pytest.param(
            run(16.0, 13.4, 10.6, 8.0, 5.2, 2.7, 2.7),
            ["doubtful_reading"],
            id="the last reading alone is the one before again: likelier copied",
        ),
        pytest.param(
            stopped(),
            ["stall_to_end"],
            id="the last reading alone is off and the driver is charted as stopped",
        ),
        pytest.param(
            run(16.0, 13.4, 10.6, 10.6, 5.2, 2.7, 0.3),
            ["doubtful_reading"],
            id="one reading off, the next one back: a driver does not catch up",
        ),
        pytest.param(
            run(16.0, 13.4, 10.6, 5.0, 5.2, 2.7, 0.3),
            ["doubtful_reading"],
            id="one reading ahead, the next one back",
        ),
        pytest.param(
            run(16.0, 13.4, 10.6, 10.6, 10.6, 2.7, 0.3),
            ["doubtful_reading", "doubtful_reading"],
            id="two carried down, the next one back",
        ),
        pytest.param(run(*ratio(0.92)), [], id="0.92 of the rate is no event"),
        pytest.param(
            run(*ratio(0.92, 36, 1.5), set_rate_ml_h=1.5),
            [],
            id="0.92 of a large volume is beyond the limit and still no event",
        ),
        pytest.param(
            run(*ratio(1.08, 36, 1.5), set_rate_ml_h=1.5),
            [],
            id="1.08 of a large volume is no event either",
        ),
        pytest.param(run(*ratio(0.8)), ["slow"], id="0.8 of the rate is slow"),
        pytest.param(run(*ratio(0.5)), ["slow"], id="half the rate is slow"),
        pytest.param(
            run(*ratio(1.25)), ["over_delivery"], id="1.25 of the rate is fast"
        ),
        pytest.param(
            run(*ratio(2.0)), ["over_delivery"], id="twice the rate empties it early"
        ),
        pytest.param(
            run(16.0, 13.4, 6.0, 3.4, 0.6, 0.0, 0.0),
            ["surge"],
            id="a cliff, then the set rate: a surge",
        ),
        pytest.param(
            run(16.0, 13.4, 10.6, 14.8, 12.0, 9.5, 7.1),
            ["volume_rise"],
            id="a volume that rises: a refill or an uncharted change",
        ),
        pytest.param(
            run(16.0, 12.1, 9.3, 6.7, 3.9, 1.4, 0.0),
            ["start_offset"],
            id="1.3 mL ahead from the first reading on is priming",
        ),
        pytest.param(
            run(16.0, 14.2, 11.4, 8.8, 6.0, 3.5, 1.1),
            [],
            id="0.8 mL behind throughout is within start-up lag and noise",
        ),
    ],
)
def test_readings_are_consistent_with(
    tmp_path: Path, rows: list[Row], found: list[str]
) -> None:
    result = audit(tmp_path, rows)
    assert kinds(result) == found
    delivery = [k for k in found if k not in {"doubtful_reading", "start_offset"}]
    assert result.infusions["kind"].tolist() == [*delivery, ""][:1]


@pytest.mark.parametrize(
    "by_reading",
    [
        pytest.param(0.2, id="it had hardly begun at the reading"),
        pytest.param(0.5, id="it was half over at the reading"),
        pytest.param(0.8, id="it was nearly over at the reading"),
    ],
)
def test_a_surge_seen_while_it_lasts(tmp_path: Path, by_reading: float) -> None:
    given = [5.0 * part for part in (0, 0, by_reading, 1, 1, 1, 1)]
    read = [max(16 - RATE * h - more, 0) for h, more in zip(HOURS, given, strict=True)]
    found = only(audit(tmp_path, run(*(round(ml, 1) for ml in read))), "surge")
    assert found["volume_low_ml"] < 5.0 < found["volume_high_ml"]
    assert found["volume_ml"] == pytest.approx(5.0, abs=0.5)
    assert found["began_earliest"] <= moment("2026-06-01T18:13")
    assert found["began_latest"] >= moment("2026-06-01T18:13")


def test_a_stall_says_how_much_and_when_it_could_first_be_seen(tmp_path: Path) -> None:
    result = audit(tmp_path, run(16.0, 13.4, 10.6, 10.6, 10.6, 8.0, 5.6))
    stall = only(result, "stall")
    # Behind by 5.4 mL at 16.2 h and 5.33 at 23.6 h: 8 h of 0.667 mL/h.
    assert stall["volume_ml"] == pytest.approx(-5.4, abs=0.1)
    assert stall["volume_low_ml"] < stall["volume_ml"] < stall["volume_high_ml"] < 0
    assert stall["hours_equivalent"] == pytest.approx(8.1, abs=0.2)
    assert stall["first_visible"] == moment("2026-06-01T22:07")
    assert stall["first_source"] == "checks.csv:5"
    assert "consistent with" in stall["sentence"].lower()
    assert "Not delivered by the last reading: 5.3 mL" in stall["sentence"]
    assert "one reading" not in stall["sentence"]


def test_a_finding_of_the_last_reading_alone_says_so(tmp_path: Path) -> None:
    found = only(
        audit(tmp_path, stopped()),
        "stall_to_end",
    )
    assert "Rests on one reading, the last." in found["sentence"]


def test_a_late_finish_is_delayed_and_not_caught_up(tmp_path: Path) -> None:
    hours = (0, 4.1, 8.2, 12.1, 16.2, 20.1, 24.2, 28.3)
    volumes = (16.0, 13.3, 13.3, 10.7, 8.0, 5.3, 2.6, 0.0)
    result = audit(tmp_path, run(*volumes, hours=hours))
    stall = only(result, "stall")
    assert kinds(result, "charting") == []
    assert "Delayed: the syringe later emptied." in stall["sentence"]
    # 4.1 h at 16/24 mL/h were not given.
    assert stall["volume_low_ml"] <= -4.1 * RATE <= stall["volume_high_ml"]


def test_more_than_was_in_the_barrel_is_never_given(tmp_path: Path) -> None:
    found = only(audit(tmp_path, run(*ratio(2.0))), "over_delivery")
    # Half is due when the syringe is empty, at 12 h.
    assert found["volume_low_ml"] <= 8.0 <= found["volume_high_ml"] < 16.0
    assert "Volume given early." in found["sentence"]


def test_delivered_volumes_are_judged_like_remaining_ones(tmp_path: Path) -> None:
    rows = run(16.0, 13.4, 10.6, 10.6, 10.6, 8.0, 5.6)
    delivered: list[Row] = [
        {
            **row,
            "volume_remaining_ml": None,
            "volume_delivered_ml": round(
                16 - float(str(row["volume_remaining_ml"])), 1
            ),
        }
        for row in rows
    ]
    result = audit(tmp_path, delivered)
    assert kinds(result) == ["stall"]
    assert only(result, "stall")["volume_ml"] == pytest.approx(-5.4, abs=0.1)


def test_without_a_rate_the_prescribed_line_stands_in_and_is_marked(
    tmp_path: Path,
) -> None:
    result = audit(tmp_path, run(*ratio(1), set_rate_ml_h=None))
    row = result.infusions.iloc[0]
    assert (row["evaluable"], row["reason"]) == (
        "yes",
        "no rate charted: prescribed line",
    )
    assert result.readings["expected_ml"].iloc[3] == pytest.approx(8.0)
    assert kinds(result) == []
    slow = audit(tmp_path, run(*ratio(0.7), set_rate_ml_h=None))
    assert kinds(slow) == ["slow"]


def test_without_a_start_volume_the_line_goes_through_the_first_reading(
    tmp_path: Path,
) -> None:
    result = audit(tmp_path, run(None, 13.4, 10.6, 10.6, 10.6, 8.0, 5.6))
    row = result.infusions.iloc[0]
    assert row["reason"] == "no start volume: line from first reading"
    assert kinds(result) == ["stall"]
    assert only(result, "stall")["volume_ml"] == pytest.approx(-5.4, abs=0.2)


@pytest.mark.parametrize(
    ("rows", "reason"),
    [
        pytest.param(run(*[None] * 7), "no volume reading", id="no volume anywhere"),
        pytest.param(
            run(16.0, None, None, None, None, None, None),
            "no volume reading after the start",
            id="the start volume only",
        ),
        pytest.param(
            run(None, None, 10.6, None, None, None, None),
            "no start volume and one reading only",
            id="one reading and no start volume",
        ),
        pytest.param(
            run(None, 13.4, 10.6, 8.0, 5.2, 2.7, 0.3, set_rate_ml_h=None),
            "no rate and no planned duration",
            id="neither rate nor start volume",
        ),
    ],
)
def test_an_infusion_that_cannot_be_judged_is_never_taken_as_delivered(
    tmp_path: Path, rows: list[Row], reason: str
) -> None:
    result = audit(tmp_path, rows)
    row = result.infusions.iloc[0]
    assert (row["evaluable"], row["reason"], row["kind"]) == ("no", reason, "")
    assert kinds(result, "delivery") == []


def test_a_rate_on_one_row_that_the_volumes_do_not_follow_is_doubtful(
    tmp_path: Path,
) -> None:
    rows = run(*ratio(1))
    rows[3]["set_rate_ml_h"] = 6.67
    result = audit(tmp_path, rows)
    assert kinds(result) == ["doubtful_rate"]
    found = only(result, "doubtful_rate")
    assert found["first_source"] == "checks.csv:5"
    assert result.readings["residual_ml"].abs().max() < 0.1


def test_a_rate_change_row_that_stands_alone_is_followed(tmp_path: Path) -> None:
    volumes = (16.0, 13.4, 10.6, 8.0, 3.8, 0.0, 0.0)
    rows = run(*volumes)
    rows[3].update(entry="rate_change", set_rate_ml_h=1.0)
    for row in rows[4:]:
        row["set_rate_ml_h"] = 1.0
    assert kinds(audit(tmp_path, rows)) == []


def test_a_new_rate_first_seen_at_a_plain_check_has_a_step_of_unknown_time(
    tmp_path: Path,
) -> None:
    rows = syringe(
        {0: 16.0, 4: 13.3, 8: 10.0, 12: 6.0, 14: 4.0},
        set_rate_ml_h=0.667,
        start="2026-06-01T10:07",
        entries={14: "end"},
    )
    for row in rows[2:]:
        row["set_rate_ml_h"] = 1.0
    readings = audit(tmp_path, rows).readings
    # Half of the 4 h at 0.667, half at 1.0: 16 - 4 x 0.667 - 4 x 0.8335.
    assert readings["expected_ml"].iloc[2] == pytest.approx(9.998, abs=1e-3)
    # Uniform over 4 h x 0.333 mL/h = 1.332 mL: SD 0.385 mL on top of the rest.
    rest = readings["sd_ml"].iloc[1]
    assert readings["sd_ml"].iloc[2] > (rest**2 + 0.385**2) ** 0.5 - 0.005


def test_remaining_and_delivered_that_do_not_add_up_are_quoted(tmp_path: Path) -> None:
    rows = run(*ratio(1))
    for row in rows:
        remaining = float(str(row["volume_remaining_ml"]))
        row["volume_delivered_ml"] = round(16 - remaining, 1)
    rows[3]["volume_delivered_ml"] = 5.0
    result = audit(tmp_path, rows)
    assert kinds(result) == ["volumes_disagree"]
    assert (
        "8 mL remaining and 5 mL delivered"
        in only(result, "volumes_disagree")["sentence"]
    )


@pytest.mark.parametrize("length", [3.0, 4.5, 6.0, 9.0])
@pytest.mark.parametrize("onset", [1.0, 2.5, 5.0, 8.0, 10.25])
def test_the_windows_of_a_noise_free_stall_hold_its_true_onset_and_end(
    tmp_path: Path, onset: float, length: float
) -> None:
    hours = (0, 4, 8, 12, 16, 20, 24)
    volumes = [
        round(16 - RATE * (min(h, onset) + max(h - onset - length, 0)), 2)
        for h in hours
    ]
    result = audit(tmp_path, run(*volumes, hours=hours))
    stall = only(result, "stall")
    began, ended = onset * 3600, (onset + length) * 3600
    start = moment("2026-06-01T10:07")
    window = [
        (stall[name] - start).total_seconds()
        for name in ("began_earliest", "began_latest", "ended_earliest", "ended_latest")
    ]
    assert window[0] <= began <= window[1]
    assert window[2] <= ended <= window[3]


def test_a_pause_is_flat_and_the_rest_at_the_set_rate(tmp_path: Path) -> None:
    rows = run(16.0, 13.4, 10.6, 10.6, 7.8, 5.3, 2.9)
    rows[2]["entry"], rows[3]["entry"] = "pause", "resume"
    result = audit(tmp_path, rows)
    assert kinds(result) == []
    expected = result.readings["expected_ml"]
    assert expected.iloc[2] == expected.iloc[3] == pytest.approx(10.6, abs=0.01)


def test_a_stop_that_outlasts_its_pause_is_still_a_stall(tmp_path: Path) -> None:
    rows = run(16.0, 13.4, 10.6, 10.6, 10.6, 10.6, 8.2)
    rows[2]["entry"], rows[3]["entry"] = "pause", "resume"
    assert kinds(audit(tmp_path, rows), "delivery") == ["stall"]


def test_flow_factor_is_delivered_over_set_volume(tmp_path: Path) -> None:
    row = audit(tmp_path, run(*ratio(0.95))).infusions.iloc[0]
    assert row["flow_factor"] == pytest.approx(0.95, abs=0.005)
    assert row["flow_factor_low"] < 0.95 < row["flow_factor_high"]


def test_a_window_may_end_in_the_hour_that_comes_twice(tmp_path: Path) -> None:
    rows = syringe(
        {0: 16.0, 4: 13.3, 8: 10.7, 12: 10.7, 16: 10.7, 20: 8.0, 24: 5.3},
        start="2026-10-24T16:30",
        entries={24: "end"},
    )
    stall = only(audit(tmp_path, rows), "stall")
    window = [stall[n] for n in ("began_earliest", "began_latest")]
    # 8 h after 16:30 is 00:30; 9.5 h after it is 01:00 for the second time.
    assert window[0] <= moment("2026-10-25T00:30") <= window[1]


def test_an_empty_start_gives_no_prescribed_line(tmp_path: Path) -> None:
    rows = run(0.0, 13.4, 10.6, 8.0, 5.2, 2.7, 0.3, set_rate_ml_h=None)
    row = audit(tmp_path, rows).infusions.iloc[0]
    assert row["reason"] == "no rate and no planned duration"


def test_a_stop_from_the_start_on_is_said_to_be_one(tmp_path: Path) -> None:
    rows = run(*[16.0] * 7)
    sentence = only(audit(tmp_path / "charted", rows), "stall_to_end")["sentence"]
    assert "delivery that did not begin: no reading shows clear movement." in sentence
    assert "No rate is charted" not in sentence
    zero = run(*[16.0] * 7, set_rate_ml_h=0)
    by_plan = only(audit(tmp_path / "zero", zero), "stall_to_end")["sentence"]
    assert (
        "No rate is charted to judge by: the expected line is the start volume over "
        "the planned duration."
    ) in by_plan
    later = run(16.0, 13.4, 10.6, 9.3, 9.3, 9.3, 9.3)
    sentence = only(audit(tmp_path / "later", later), "stall_to_end")["sentence"]
    assert "did not begin" not in sentence
