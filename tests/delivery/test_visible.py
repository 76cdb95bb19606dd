"""What could first have shown a finding."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.delivery.decision import Event
from analysis.delivery.quoted import Reading
from analysis.delivery.sentences import event_in_words
from analysis.delivery.visible import first_visible
from analysis.terms import FindingKind
from tests.tiny import audit, moment, only, syringe

SD = 0.5


def rows_off(off_sd: tuple[float, ...], doubtful: tuple[int, ...]) -> list[Reading]:
    """Give readings every 4 h, so many standard deviations off the line."""
    first = pd.Timestamp("2026-06-01T14:00", tz="Europe/London")
    return [
        Reading(
            row=place,
            cited=f"checks.csv:{place + 2}",
            infusion_id="I1",
            ward="Alder Ward",
            patient_id="P1",
            driver_id="D1",
            column="volume_remaining_ml",
            charted_ml=8.0,
            checked_at=first + pd.Timedelta(hours=4 * place),
            elapsed_h=4.0 * (place + 1),
            observed_ml=8.0,
            expected_ml=8.0 - SD * off,
            residual_ml=SD * off,
            base_ml=16.0,
            rate_ml_h=0.67,
            sd_ml=SD,
            reading_sd_ml=0.1,
            time_step_h=0.25,
            is_floored=True,
            is_doubtful=place in doubtful,
            basis="set rate",
        )
        for place, off in enumerate(off_sd)
    ]


@pytest.mark.parametrize(
    ("off_sd", "doubtful", "volume_ml", "began", "wanted"),
    [
        # How far each of five readings is off, in its standard deviations; the shape
        # puts the fourth (position 3) beyond reading error.
        pytest.param((0, 1, 3.5, 4, 4), (), -2.0, 0, 2, id="one beyond its limit"),
        pytest.param((0, 1, 3.0, 4, 4), (), -2.0, 0, 3, id="one exactly at its limit"),
        pytest.param((0, 1, 3.5, 4, 4), (2,), -2.0, 0, 3, id="one that is doubtful"),
        pytest.param((0, 1, -3.5, 4, 4), (), -2.0, 0, 3, id="one on the other side"),
        pytest.param((0, 1, -3.5, -4, -4), (), 2.0, 0, 2, id="one ahead, of a surge"),
        pytest.param((0, 1, 3.5, 4, 4), (), np.nan, 0, 2, id="one of a volume risen"),
        pytest.param((0, 3.5, 1, 4, 4), (), -2.0, 2, 3, id="one before the onset"),
        pytest.param((0, 1, 1, 2, 4), (), -2.0, 0, 3, id="one only after the shape's"),
        pytest.param((0, 1, 1, 2, 2), (), -2.0, 0, 3, id="none beyond its limit"),
    ],
)
def test_the_first_reading_that_could_have_shown_it(
    off_sd: tuple[float, ...],
    doubtful: tuple[int, ...],
    volume_ml: float,
    began: int,
    wanted: int,
) -> None:
    rows = rows_off(off_sd, doubtful)
    event = Event(
        infusion_id="I1",
        kind=FindingKind.STALL,
        began_h=(0.0, 8.0),
        ended_h=(8.0, 12.0),
        first_visible=3,
        largest=4,
        volume_ml=volume_ml,
        volume_low_ml=volume_ml,
        volume_high_ml=volume_ml,
        slips=np.zeros(5),
    )
    assert first_visible(event, rows, rows[began].checked_at) == wanted


@pytest.mark.parametrize(
    ("slips", "quoted"),
    [
        # All five are doubtful, as each would be a slip if there was no event.
        pytest.param((0, 0, 0, 0, 0), 4, id="the one furthest off"),
        pytest.param(
            (0, 0, 0, 0, 0.6), 3, id="not one that the event does not explain"
        ),
    ],
)
def test_a_finding_quotes_what_it_rests_on(
    slips: tuple[float, ...], quoted: int
) -> None:
    rows = rows_off((0, 1, 3.5, 4, 5), (0, 1, 2, 3, 4))
    event = Event(
        infusion_id="I1",
        kind=FindingKind.STALL,
        began_h=(0.0, 8.0),
        ended_h=(8.0, 12.0),
        first_visible=2,
        largest=3,
        volume_ml=-2.0,
        volume_low_ml=-2.5,
        volume_high_ml=-1.5,
        slips=np.array(slips),
        probability=0.4,
        rival_probability=0.0,
    )
    said = event_in_words(event, rows, {})
    assert f"{rows[quoted].residual_ml:.1f} mL behind" in said.split("(limit")[0]


def test_a_window_is_as_wide_as_the_ward_writes_its_times(tmp_path: Path) -> None:
    # Half the set rate throughout, times on the hour: it began at 10:00, which may
    # have been written for any time within an hour of it.
    rows = syringe(
        {h: round(16 - 0.5 * 16 / 24 * h, 1) for h in (0, 4, 8, 12, 16, 20, 24)},
        start="2026-06-01T10:00",
        entries={24: "end"},
    )
    slow = only(audit(tmp_path, rows), "slow")
    assert slow["began_earliest"] == moment("2026-06-01T09:00")
    assert slow["began_latest"] == moment("2026-06-01T11:00")
    # 1.33 mL behind at 4 h: hours written whole are worth 0.19 mL (0.667 / sqrt(12)),
    # a start offset 0.2, a reading 0.1: three standard deviations are 0.9 mL.
    assert slow["first_visible"] == moment("2026-06-01T14:00")
