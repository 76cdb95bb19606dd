"""What could first have shown a finding."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.delivery.quoted import Quoted
from analysis.delivery.runs import runs_of
from analysis.delivery.visible import first_visible
from tests.tiny import audit, moment, only, syringe

SD = 0.5


def rows_off(off_sd: tuple[float, ...], doubtful: tuple[int, ...]) -> pd.DataFrame:
    """Give readings every 4 h, so many standard deviations off the line."""
    place = np.arange(len(off_sd))
    first = pd.Timestamp("2026-06-01T14:00", tz="Europe/London")
    return pd.DataFrame(
        {
            "infusion_id": "I1",
            "checked_at": first + pd.to_timedelta(4 * place, unit="h"),
            "residual_ml": SD * np.array(off_sd),
            "sd_ml": SD,
            "is_doubtful": np.isin(place, doubtful),
        }
    )


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
    # Beside an infusion that shows something at once: each is looked at alone.
    other = rows_off((9, 9, 9, 9), ()).assign(infusion_id="I0")
    both = pd.concat([other, rows], ignore_index=True)
    times = both["checked_at"].to_numpy("datetime64[us]")
    seen = first_visible(
        Quoted(both, runs_of(both["infusion_id"])),
        np.array([1, 3]),
        np.array([-2.0, volume_ml]),
        times[[0, 4 + began]],
    )
    assert seen.tolist() == [0, wanted]


def test_without_an_onset_the_shape_alone_shows_it() -> None:
    rows = rows_off((9, 9, 9, 9), ())
    read = Quoted(rows, runs_of(rows["infusion_id"]))
    unknown = np.array(["NaT"], dtype="datetime64[us]")
    assert first_visible(read, np.array([2]), np.array([-2.0]), unknown).tolist() == [2]


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
