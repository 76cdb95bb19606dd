"""Figures are tested by what they draw, not by their pixels."""

import base64
import math

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from analysis.figures import (
    DotRow,
    delivery_alt,
    delivery_line,
    emptied,
    figure,
    house_style,
    svg_source,
    ward_alt,
    ward_dots,
)

START = pd.Timestamp("2026-10-24 20:00", tz="Europe/London")


def readings() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "elapsed_h": [0.0, 4.0, 8.0, 12.0],
            "observed_ml": [16.0, 13.4, 13.4, 8.0],
            "expected_ml": [16.0, 13.33, 10.67, 8.0],
            "sd_ml": [0.1, 0.1, 0.2, float("nan")],
            "is_doubtful": [False, False, True, False],
        }
    )


def finding(*hours: float | None) -> dict[str, object]:
    names = ("began_earliest", "began_latest", "ended_earliest", "ended_latest")
    times = [pd.NaT if h is None else START + pd.Timedelta(hours=h) for h in hours]
    return {"infusion_id": "I $1$", **dict(zip(names, times, strict=True))}


def whole(ax: Axes) -> Figure:
    found = ax.get_figure(root=True)
    assert found is not None
    return found


def heights(line: Line2D) -> list[float]:
    values: list[float] = np.asarray(line.get_ydata()).tolist()
    return values


def drawn(row: dict[str, object], start: pd.Timestamp | None = START) -> Axes:
    with house_style():
        return delivery_line(readings(), row, start, ax=figure(6, 3).subplots())


def test_readings_line_and_doubtful_reading_are_told_apart_by_shape() -> None:
    ax = drawn(finding(4, 8, 8, 12))
    lines = {str(line.get_label()): line for line in ax.get_lines()}
    good, bad = lines["reading, 95 % error"], lines["doubtful reading"]
    assert heights(good) == [16.0, 13.4, 8.0]
    assert heights(bad) == [13.4]
    assert good.get_marker() != bad.get_marker()
    expected = lines["expected by the rate set"]
    assert expected.get_linestyle() != good.get_linestyle()


def test_error_bars_are_1_96_standard_deviations() -> None:
    ax = drawn(finding(4, 8, 8, 12))
    [bars] = [c for c in ax.collections if len(c.get_paths()) == 4]
    low, high = np.asarray(bars.get_paths()[2].vertices)[:, 1]
    assert high - low == pytest.approx(2 * 1.96 * 0.2)


@pytest.mark.parametrize(
    ("hours", "spans"),
    [
        pytest.param((4, 6, 8, 10), [(4, 10), (6, 8)], id="light outside, dark inside"),
        pytest.param((4, 8, 8, 12), [(4, 12)], id="nothing lies in it for certain"),
        pytest.param((4, 6, None, None), [(4, 12), (6, 12)], id="to the last reading"),
        pytest.param((None, None, None, None), [], id="no time is known"),
    ],
)
def test_window_in_question(
    hours: tuple[float | None, ...], spans: list[tuple[float, float]]
) -> None:
    ax = drawn(finding(*hours))
    found = [
        (round(patch.get_x(), 6), round(patch.get_x() + patch.get_width(), 6))
        for patch in ax.patches
        if isinstance(patch, Rectangle)
    ]
    assert found == spans


def test_axes_have_units_and_a_clock_that_knows_the_clocks_go_back() -> None:
    ax = drawn(finding(4, 6, 8, 10))
    assert ax.get_xlabel() == "hours since the start"
    assert ax.get_ylabel() == "volume remaining, mL"
    labels = [text.get_text() for text in ax.texts]
    # 25 October 2026, Europe/London: 02:00 BST is 01:00 GMT (IANA).
    assert labels == ["24 Oct\n20:00", "25 Oct\n00:00", "03:00", "07:00"]


def test_without_a_start_there_is_no_clock() -> None:
    ax = drawn(finding(4, 6, 8, 10), None)
    assert list(ax.texts) == []
    assert list(ax.patches) == []


def test_an_infusion_without_readings_can_be_drawn() -> None:
    with house_style():
        ax = delivery_line(
            readings().iloc[:0], finding(4, 6, 8, 10), START, ax=figure(6, 3).subplots()
        )
        assert svg_source(whole(ax))
    assert "No reading can be drawn" in delivery_alt(
        readings().iloc[:0], finding(4, 6, 8, 10), "slow"
    )


def test_delivery_alt_is_made_from_the_numbers() -> None:
    said = delivery_alt(readings(), finding(4, 6, 8, 10), "slow")
    assert "8.0 h 13.4 mL (expected 10.7) doubtful" in said
    assert "I $1$" in said


def dots() -> list[DotRow]:
    nan = math.nan
    return [
        DotRow(ward="A $x$", proportion=0.8, low=0.7, high=0.9, counts="8 of 10"),
        DotRow(ward="B" * 40, proportion=nan, low=nan, high=nan, counts="1 of 2"),
    ]


def test_wards_stand_as_given_with_counts_in_place_of_a_dot() -> None:
    with house_style():
        ax = ward_dots(dots(), "Checks on time", ax=figure(4, 2).subplots())
        assert svg_source(whole(ax))
    dot = [line for line in ax.get_lines() if line.get_marker() == "o"]
    assert [np.asarray(line.get_xdata()).tolist() for line in dot] == [[80.0]]
    assert [text.get_text() for text in ax.texts] == ["1 of 2"]
    labels = [tick.get_text() for tick in ax.get_yticklabels()]
    assert labels[0] == "A $x$"
    assert len(labels[1]) == 24
    assert ax.yaxis_inverted()


def test_ward_alt_is_made_from_the_numbers() -> None:
    said = ward_alt(dots(), "Checks on time")
    assert said == (f"Checks on time: A $x$ 80.0 % (70.0 to 90.0); {'B' * 40} 1 of 2.")


def test_house_style_leaves_settings_as_they_were() -> None:
    before = dict(mpl.rcParams)
    with house_style():
        assert mpl.rcParams["svg.hashsalt"] == "steadyfall"
    assert dict(mpl.rcParams) == before


def test_the_same_picture_is_the_same_text_without_a_date() -> None:
    sources = []
    for _ in range(2):
        with house_style():
            ax = delivery_line(
                readings(), finding(4, 6, 8, 10), START, ax=figure(6, 3).subplots()
            )
            sources.append(svg_source(whole(ax)))
    assert sources[0] == sources[1]
    svg = base64.b64decode(sources[0].split(",", 1)[1]).decode()
    assert "dc:date" not in svg


def test_what_is_drawn_on_emptied_axes_is_the_same_picture() -> None:
    unlike = readings().assign(
        elapsed_h=[0.0, 20.0, 40.0, 60.0],
        observed_ml=[30.0, 20.0, 11.0, -1.0],
        expected_ml=[-1.0, -2.0, -3.0, -4.0],
    )
    with house_style():
        used = figure(6.6, 2.6, is_fitted=False)
        ax = used.add_axes((0.1, 0.2, 0.8, 0.7))
        delivery_line(unlike, finding(1, 2, 30, 50), START, ax=ax)
        before = svg_source(used)
        delivery_line(readings(), finding(4, 8, 9, None), None, ax=emptied(ax))
        new = figure(6.6, 2.6, is_fitted=False)
        own = new.add_axes((0.1, 0.2, 0.8, 0.7))
        delivery_line(readings(), finding(4, 8, 9, None), None, ax=own)
        assert svg_source(used) == svg_source(new) != before
