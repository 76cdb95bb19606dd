"""Windows of a finding lie within the infusion; what could first have shown it."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.delivery.decision import Event
from analysis.delivery.windows import first_visible
from analysis.terms import FindingKind
from tests.tiny import audit, moment, only, syringe

HOURS = (0, 4, 8, 12, 16, 20, 24)


def test_no_window_reaches_beyond_the_infusion_where_whole_hours_are_written(
    tmp_path: Path,
) -> None:
    # Half the set rate throughout: it began with the infusion and ended with it.
    rows = syringe(
        {h: round(16 - 0.5 * 16 / 24 * h, 1) for h in HOURS},
        start="2026-06-01T10:00",
        entries={24: "end"},
    )
    slow = only(audit(tmp_path, rows), "slow")
    assert slow["began_earliest"] == moment("2026-06-01T10:00")
    # As wide as the ward writes its times, where the infusion leaves room for it.
    assert slow["began_latest"] == moment("2026-06-01T11:00")
    assert slow["ended_earliest"] == moment("2026-06-02T09:00")
    assert slow["ended_latest"] == moment("2026-06-02T10:00")
    assert slow["first_visible"] > slow["began_earliest"]


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
    times = pd.date_range("2026-06-01T14:00", periods=5, freq="4h", tz="Europe/London")
    rows = pd.DataFrame(
        {
            "checked_at": times,
            "residual_ml": 0.5 * np.array(off_sd),
            "sd_ml": 0.5,
            "is_doubtful": [place in doubtful for place in range(5)],
        }
    )
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
    assert first_visible(event, rows, times[began]) == wanted
