"""Cells that cannot be read are set aside; times are true hours over clock changes."""

from pathlib import Path

import pandas as pd
import pytest

from tests.intake.logs import line, read, zone_policy


@pytest.mark.parametrize(
    ("column", "value", "read_as", "reason"),
    [
        pytest.param("volume_remaining_ml", "10.5", 10.5, "", id="a number is read"),
        pytest.param("volume_remaining_ml", "", None, "", id="a blank is not a fault"),
        pytest.param("volume_remaining_ml", "60", 60.0, "", id="the limit is possible"),
        pytest.param(
            "volume_remaining_ml", "0", 0.0, "", id="nothing left is possible"
        ),
        pytest.param(
            "volume_remaining_ml",
            "60.1",
            None,
            "impossible number",
            id="over the limit",
        ),
        pytest.param(
            "volume_remaining_ml", "-0.1", None, "impossible number", id="below nothing"
        ),
        pytest.param("volume_remaining_ml", "10 mL", 10.0, "", id="its own unit"),
        pytest.param("volume_remaining_ml", "nan", None, "not a number", id="nan"),
        pytest.param("volume_remaining_ml", "1e1", None, "not a number", id="exponent"),
        pytest.param(
            "volume_remaining_ml", "\u0663", None, "not a number", id="foreign digits"
        ),
        pytest.param("set_rate_ml_h", "10.01", None, "impossible number", id="a rate"),
        pytest.param("site_signs", "redness", "redness", "", id="one sign"),
        pytest.param("site_signs", "Redness; PAIN", "redness;pain", "", id="two signs"),
        pytest.param("site_signs", "pain;pain", "pain", "", id="a sign written twice"),
        pytest.param("site_signs", "none", "none", "", id="none is an answer"),
        pytest.param(
            "site_signs", "", "", "", id="blank is not recorded, and no fault"
        ),
        pytest.param(
            "site_signs", "none;redness", "", "contradiction", id="none contradicts"
        ),
        pytest.param(
            "site_signs",
            "none;purple",
            "",
            "not in the list",
            id="none beside an unknown word is not none",
        ),
        pytest.param(
            "site_signs",
            "redness;purple",
            "redness",
            "not in the list",
            id="the known one of two signs stays",
        ),
        pytest.param("entry", "START", "start", "", id="case does not matter"),
        pytest.param("entry", "", "check", "", id="no entry is a check"),
        pytest.param("entry", "visit", "check", "", id="another word for a check"),
    ],
)
def test_cell_is_read_or_set_aside_and_the_row_stays(
    tmp_path: Path, column: str, value: str, read_as: object, reason: str
) -> None:
    row = line(**{column: value})
    log = read(tmp_path, row)
    assert len(log.checks) == 1
    found = log.checks[column].iloc[0]
    if read_as is None:
        assert pd.isna(found)
    else:
        assert found == read_as
    if not reason:
        assert log.set_aside.empty
        return
    entry = log.set_aside.iloc[0]
    assert (entry["source"], entry["column"]) == ("checks.csv:2", column)
    assert entry["reason"] == reason
    assert entry["value"] in value
    assert entry["value"] in entry["sentence"]
    assert entry["row"] == row


def hours(tmp_path: Path, zone: str, *times: str) -> list[float]:
    """Give true hours from the first row to each, in order of time."""
    rows = [line(checked_at=t, note=f"{n}") for n, t in enumerate(times)]
    checks = read(tmp_path, *rows, policy=zone_policy(zone)).checks
    assert len(checks) == len(times)
    by_row = checks.sort_values("line")["checked_at"]
    return [float(h) for h in (by_row - by_row.iloc[0]).dt.total_seconds().div(3600)]


# Clock changes of 2026: IANA tz database, files europe and australasia.
@pytest.mark.parametrize(
    ("zone", "times", "expected"),
    [
        pytest.param(
            "Europe/London",
            ["2026-03-28T20:00", "2026-03-29T20:00"],
            [0, 23],
            id="London, clocks forward: the day has 23 hours",
        ),
        pytest.param(
            "Europe/London",
            ["2026-10-24T20:00", "2026-10-25T20:00"],
            [0, 25],
            id="London, clocks back: the day has 25 hours",
        ),
        pytest.param(
            "Europe/London",
            ["2026-10-24T20:00", "2026-10-25T08:00"],
            [0, 13],
            id="started Saturday 20:00, checked Sunday 08:00: 13 hours",
        ),
        pytest.param(
            "Europe/London",
            ["2026-03-29T00:59", "2026-03-29T02:00"],
            [0, 1 / 60],
            id="London: one minute from 00:59 to 02:00",
        ),
        pytest.param(
            "Australia/Sydney",
            ["2026-04-04T20:00", "2026-04-05T20:00"],
            [0, 25],
            id="Sydney, clocks back",
        ),
        pytest.param(
            "Australia/Sydney",
            ["2026-10-03T20:00", "2026-10-04T20:00"],
            [0, 23],
            id="Sydney, clocks forward",
        ),
        pytest.param(
            "Australia/Brisbane",
            ["2026-10-03T20:00", "2026-10-04T20:00"],
            [0, 24],
            id="Brisbane has no clock change",
        ),
        pytest.param(
            "Europe/London",
            [
                "2026-10-24T22:00",
                "2026-10-25T01:45",
                "2026-10-25T01:15",
                "2026-10-25T05:00",
            ],
            [0, 3.75, 4.25, 8],
            id="the repeated hour by row order",
        ),
        pytest.param(
            "Europe/London",
            [
                "2026-10-25T05:00",
                "2026-10-25T01:15",
                "2026-10-25T01:45",
                "2026-10-24T22:00",
            ],
            [0, -3.75, -4.25, -8],
            id="the repeated hour by row order, newest row first",
        ),
        pytest.param(
            "Europe/London",
            [
                "2026-10-25T05:00",
                "2026-10-25T01:45",
                "2026-10-25T01:15",
                "2026-10-24T22:00",
            ],
            [0, -4.25, -4.75, -8],
            id="newest row first and nothing runs back: the first of the two hours",
        ),
        pytest.param(
            "Europe/London",
            [
                "2026-10-25T05:10",
                "2026-10-25T00:30",
                "2026-10-25T01:50",
                "2026-10-25T01:10",
                "2026-10-25T02:10",
            ],
            [0, -5 - 40 / 60, -4 - 20 / 60, -5, -3],
            id="rows in no order say nothing of the hour: the first is assumed",
        ),
        pytest.param(
            "Europe/London",
            ["2026-10-25T01:30+01:00", "2026-10-25T01:30+00:00"],
            [0, 1],
            id="the repeated hour by offsets",
        ),
        pytest.param(
            "Australia/Sydney",
            ["2026-04-05T02:30+1100", "2026-04-05T02:30+1000"],
            [0, 1],
            id="offsets without a colon",
        ),
        pytest.param(
            "Europe/London",
            ["2026-03-29T00:30", "2026-03-29T01:30"],
            [0, 1],
            id="an hour that did not exist is read as one hour on",
        ),
        pytest.param(
            "Europe/London",
            ["2026-10-01T20:00", "2026-10-01T24:00", "2026-10-02T00:00:30Z"],
            [0, 4, 5 + 30 / 3600],
            id="24:00 is midnight, seconds count, Z is UTC",
        ),
    ],
)
def test_elapsed_hours_are_true_hours(
    tmp_path: Path, zone: str, times: list[str], expected: list[float]
) -> None:
    assert hours(tmp_path, zone, *times) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("time", "note"),
    [
        pytest.param("2026-10-25T01:30", "first of the two", id="the repeated hour"),
        pytest.param("2026-03-29T01:30", "did not exist", id="the hour left out"),
        pytest.param("2026-10-25T01:30Z", "", id="an offset needs no note"),
        pytest.param("2026-10-25T02:00", "", id="after the repeated hour"),
    ],
)
def test_settled_times_are_marked(tmp_path: Path, time: str, note: str) -> None:
    log = read(tmp_path, line(checked_at=time))
    assert note in log.checks["time_note"].iloc[0]
    assert (log.checks["time_note"].iloc[0] == "") == (note == "")
    assert any(note in n for n in log.notes) == (note != "")


@pytest.mark.parametrize(
    "time",
    [
        pytest.param("2026-10-01T24:01", id="a minute after 24:00"),
        pytest.param("2026-10-01T24:00:30", id="half a minute after 24:00"),
        pytest.param("2026-10-01T10:60", id="minute 60"),
        pytest.param("2026-10-01T10:00+99:99", id="an offset of 99 hours"),
        pytest.param("2026-10-01T10:00+01:75", id="an offset of 75 minutes"),
        pytest.param("\u0662\u0660\u0662\u0666-10-01T10:00", id="foreign digits"),
        pytest.param("1899-12-31T10:00", id="a century too early"),
    ],
)
def test_a_time_that_is_none_is_not_guessed(tmp_path: Path, time: str) -> None:
    log = read(tmp_path, line(), line(checked_at=time))
    assert len(log.checks) == 1
    assert log.rejected["reason"].tolist() == ["time not readable"]
    assert time in log.rejected["sentence"].iloc[0]
