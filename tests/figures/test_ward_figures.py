"""Figures of many wards, of months and of hours, by what they draw."""

from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
import pytest
from matplotlib.axes import Axes
from matplotlib.backend_bases import RendererBase
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.text import Text

from analysis.columns import TRENDS
from analysis.figures import (
    DotRow,
    Scale,
    figure,
    funnel_alt,
    funnel_height,
    hour_alt,
    hour_bars,
    house_style,
    month_alt,
    month_line,
    svg_source,
    ward_dots,
    ward_funnel,
)
from analysis.wards import Funnel
from analysis.wards.trends import judge_part


def funnel(count: int, *, apart: float = 0.85) -> Funnel:
    """Give wards of different sizes; the last is called different if it is apart."""
    share = np.append(np.linspace(0.8, 0.9, count - 1), apart)
    is_widened = count >= 12
    said = ["no"] * (count - 1) + ["yes" if apart < 0.6 else "no"]
    wards = pd.DataFrame(
        {
            "ward": [f"Ward {chr(65 + place)}" for place in range(count)],
            "size": np.linspace(40, 500, count),
            "proportion": share,
            "limit_low": 0.7,
            "limit_high": 0.95,
            "different": said if is_widened else [np.nan] * count,
        }
    )
    return Funnel(
        centre=0.85,
        tau_squared=0.002 if is_widened else np.nan,
        in_hours=False,
        wards=wards,
    )


def drawn(found: Funnel) -> Axes:
    with house_style():
        return ward_funnel(found, "Checks on time", ax=figure(6.9, 4.1).subplots())


def labelled(ax: Axes) -> dict[str, Line2D]:
    return {str(line.get_label()): line for line in ax.get_lines()}


def marks(ax: Axes, marker: str) -> list[list[float]]:
    """Give the heights of points of one shape."""
    return [
        np.asarray(line.get_ydata(), float).tolist()
        for line in ax.get_lines()
        if line.get_marker() == marker and len(np.asarray(line.get_ydata()))
    ]


@pytest.mark.parametrize(
    ("count", "has_spread"),
    [
        pytest.param(10, False, id="ten wards: chance alone"),
        pytest.param(12, True, id="twelve wards: with the spread between them"),
    ],
)
def test_a_funnel_has_the_limits_in_force(count: int, has_spread: bool) -> None:  # noqa: FBT001 - a case
    ax = drawn(funnel(count))
    names = labelled(ax)
    assert ("99.8 %, with the spread between wards" in names) == has_spread
    exact = names["99.8 %, chance alone"]
    dashes = [vars(line)["_dash_pattern"] for line in names.values()]
    assert len({str(pattern) for pattern in dashes}) >= (4 if has_spread else 3)
    # The band is what lies within the limits in force.
    band = np.asarray(ax.collections[0].get_paths()[0].vertices)[:, 1]
    lowest = np.asarray(exact.get_ydata(), float).min()
    assert (band.min() < lowest - 1e-9) == has_spread
    assert "different" not in " ".join(text.get_text() for text in ax.texts)


def test_a_different_ward_is_told_by_its_shape_and_by_a_word() -> None:
    ax = drawn(funnel(12, apart=0.5))
    assert marks(ax, "D") == [[50.0]]
    assert len(marks(ax, "o")[0]) == 11
    [key] = [text.get_text() for text in ax.texts if "\n" in text.get_text()]
    assert key.splitlines()[0] == "1  Ward A"
    assert key.splitlines()[-1] == "12  Ward L - different"
    low, high = ax.get_ylim()
    assert low < 50 < high <= 101


def rendered(fig: Figure) -> RendererBase:
    """Draw in points of a screen, so that texts have an extent."""
    canvas = FigureCanvasAgg(fig)
    canvas.draw()  # type: ignore[no-untyped-call]
    renderer: RendererBase = canvas.get_renderer()  # type: ignore[no-untyped-call]
    return renderer


def crowded(count: int) -> Funnel:
    """Give wards of nearly one size and one proportion, and one that is apart."""
    crowd = funnel(count, apart=0.55)
    turn = np.arange(count - 1) * 2.4
    crowd.wards.loc[: count - 2, "size"] = (300 + 45 * np.cos(turn)).round()
    crowd.wards.loc[: count - 2, "proportion"] = 0.87 + 0.025 * np.sin(3 * turn)
    return crowd


@pytest.mark.parametrize("count", [12, 20, 30])
def test_numbers_of_wards_cover_no_other_number_and_no_point(count: int) -> None:
    found = crowded(count)
    with house_style():
        fig = figure(7.2, 3.4)
        ax = ward_funnel(found, "Checks on time", ax=fig.subplots())
        renderer = rendered(fig)
        # Of the text alone: an annotation's own extent has the line that leads away.
        boxes = [
            Text.get_window_extent(text, renderer)
            for text in ax.texts
            if text.get_text().isdigit()
        ]
    assert len(boxes) == count
    overlaps = [
        (one, two)
        for one in range(count)
        for two in range(one)
        if boxes[one].overlaps(boxes[two])
    ]
    assert not overlaps
    points = ax.transData.transform(
        np.column_stack([found.wards["size"], 100 * found.wards["proportion"]])
    )
    covered = [
        (label, point)
        for label, box in enumerate(boxes)
        for point, (x, y) in enumerate(points)
        if box.contains(x, y)
    ]
    assert not covered


def test_names_and_key_stand_clear_of_the_picture_and_of_each_other() -> None:
    with house_style():
        fig = figure(7.2, 3.4)
        ax = ward_funnel(crowded(30), "Checks on time", ax=fig.subplots())
        renderer = rendered(fig)
        columns = [t for t in ax.texts if "Ward" in t.get_text()]
        first, second = (text.get_window_extent(renderer) for text in columns)
        legend = ax.get_legend()
        assert legend is not None
        key = legend.get_window_extent(renderer)
        label = ax.xaxis.label.get_window_extent(renderer)
    assert len(columns[0].get_text().splitlines()) == 15
    assert not first.overlaps(second)
    assert not first.overlaps(ax.bbox)
    assert not key.overlaps(label)
    assert not key.overlaps(first)
    assert first.y0 > 0


@pytest.mark.parametrize("count", [45, 60])
def test_names_of_very_many_wards_stand_below_and_leave_the_picture_its_width(
    count: int,
) -> None:
    found = crowded(count)
    found.wards["ward"] = [f"Ward {k:02} {'of the house ' * 4}" for k in range(count)]
    found.wards.loc[0, "ward"] = "Rehabilitationstation" * 20
    with house_style():
        fig = figure(7.2, funnel_height(count))
        ax = ward_funnel(found, "Checks on time", ax=fig.subplots())
        renderer = rendered(fig)
        columns = [t for t in ax.texts if "\n" in t.get_text()]
        boxes = [text.get_window_extent(renderer) for text in columns]
        legend = ax.get_legend()
        assert legend is not None
        key = legend.get_window_extent(renderer)
    named = [line for text in columns for line in text.get_text().splitlines()]
    assert len(named) == count
    assert named[0] == "1  RehabilitationstationRe..."
    assert ax.bbox.width > 0.8 * fig.bbox.width
    assert ax.bbox.height > 0.9 * fig.dpi
    assert max(box.y1 for box in boxes) < key.y0
    assert min(box.y0 for box in boxes) >= 0
    assert max(box.x1 for box in boxes) <= fig.bbox.width
    assert not any(one.overlaps(two) for one, two in pairwise(boxes))


def test_a_funnel_in_words_has_every_ward_in_alphabetical_order() -> None:
    words = funnel_alt(funnel(12, apart=0.5), "Checks on time")
    assert words.startswith("Checks on time: 12 wards by size, all wards 85.0 %")
    assert "Ward A 80.0 % (limits 70.0 to 95.0); Ward B" in words
    assert words.endswith("Ward L 50.0 % (limits 70.0 to 95.0) different.")


def trend(counted: list[float], *, split: int | None = None) -> pd.DataFrame:
    """Give a line of months of 100 units, judged as the audit does."""
    months = [
        str(m) for m in pd.period_range("2024-11", periods=len(counted), freq="M")
    ]
    part = np.where(np.arange(len(counted)) >= (split or 999), 2, 1)
    x = np.array(counted)
    n = np.where(np.isnan(x), np.nan, 100.0)
    judged = [
        judge_part(x[part == number], n[part == number], is_rate=False)
        for number in sorted(set(part))
    ]
    words = ["finer from here" if place == split else "" for place in range(len(x))]
    table = pd.DataFrame(
        {"month": months, "part": part, "split": words, "proportion": x / n}
    )
    table = table.join(pd.concat(judged, ignore_index=True))
    return table.reindex(columns=TRENDS.names)


def line_of(rows: pd.DataFrame, **keywords: Any) -> Axes:
    with house_style():
        ax = figure(6.5, 2.6).subplots()
        return month_line(rows, "Checks on time, Ward A", ax=ax, **keywords)


STEADY = [84.0, 86.0] * 13

# Two levels, and a month far below both.
SHIFTED = [*[72.0, 80.0] * 6, *[86.0, 94.0] * 5, 90.0, 40.0]


@pytest.mark.parametrize(
    ("rows", "labels"),
    [
        pytest.param(trend(STEADY[:3]), {"month"}, id="three months: the line alone"),
        pytest.param(trend(STEADY[:10]), {"month", "median"}, id="run chart"),
        pytest.param(
            trend(STEADY[:15]), {"month", "mean", "trial limits"}, id="on trial"
        ),
        pytest.param(trend(STEADY[:20]), {"month", "mean", "limits"}, id="limits"),
        pytest.param(
            trend(SHIFTED),
            {"month", "mean", "limits", "month of a shift", "outside limits"},
            id="signals",
        ),
    ],
)
def test_a_line_shows_what_may_be_read_from_it(
    rows: pd.DataFrame, labels: set[str]
) -> None:
    ax = line_of(rows)
    _, found = ax.get_legend_handles_labels()
    assert set(found) == labels
    assert len(found) == len(set(found))
    low, high = ax.get_ylim()
    assert low < 100 * rows["proportion"].min() <= 100 * rows["proportion"].max() < high
    # A few per cent do not fill the picture, and nothing is above 100 %.
    assert high - low >= 19
    assert high <= 103


def test_the_key_stands_clear_of_the_months_in_a_low_picture() -> None:
    with house_style():
        fig = figure(7.2, 1.9)
        ax = month_line(trend(SHIFTED), "Checks on time", ax=fig.subplots())
        renderer = rendered(fig)
        legend = ax.get_legend()
        assert legend is not None
        key = legend.get_window_extent(renderer)
        names = [label.get_window_extent(renderer) for label in ax.get_xticklabels()]
    assert any("\n" in label.get_text() for label in ax.get_xticklabels())
    assert key.y1 <= min(box.y0 for box in names)
    assert key.y0 >= 0


def test_signals_are_told_by_shape() -> None:
    ax = line_of(trend(SHIFTED))
    assert marks(ax, "s") == [[40.0]]
    points = {line.get_label(): line for line in ax.get_lines()}
    shift = points["month of a shift"]
    assert len(np.asarray(shift.get_ydata())) == 23
    assert to_rgb(str(shift.get_markerfacecolor())) == (1.0, 1.0, 1.0)
    assert to_rgb(str(points["month"].get_markerfacecolor())) != (1.0, 1.0, 1.0)


def lines(ax: Axes) -> list[list[float]]:
    """Give the heights of the drawn lines themselves."""
    return [
        np.asarray(line.get_ydata(), float).tolist()
        for line in ax.get_lines()
        if line.get_linewidth() == 1.0 and line.get_marker() == "None"
    ]


def test_a_gap_stays_a_gap_and_a_split_a_new_line() -> None:
    [gap] = lines(line_of(trend([84.0, 86.0, np.nan, 85.0])))
    assert np.isnan(gap).tolist() == [False, False, True, False]
    ax = line_of(trend(STEADY[:8], split=5))
    assert [len(part) for part in lines(ax)] == [5, 3]
    assert "finer from here" in [text.get_text() for text in ax.texts]


@pytest.mark.parametrize("count", [1, 3, 12, 26])
def test_months_are_named_along_the_axis_and_each_year_once(count: int) -> None:
    ax = line_of(trend(STEADY[:count]))
    names = [label.get_text() for label in ax.get_xticklabels()]
    assert names[0] == "Nov\n2024"
    assert len(names) <= 9
    years = [name[4:] for name in names if "\n" in name]
    assert len(years) == len(set(years))


def test_a_line_without_any_figure_says_so() -> None:
    ax = line_of(trend([np.nan, np.nan]))
    assert "no month has enough to show" in [text.get_text() for text in ax.texts]
    assert month_alt(trend([np.nan]), "X") == "X, by month (none): 2024-11 no figure."


def test_months_in_words() -> None:
    rows = trend([84.0, np.nan, 86.0, 85.0], split=3)
    assert month_alt(rows, "Checks on time, Ward A") == (
        "Checks on time, Ward A, by month (line, point): 2024-11 84.0 %; 2024-12 no "
        "figure; 2025-01 86.0 %; [line split: finer from here] 2025-02 85.0 %."
    )
    rate = Scale(times=1000, unit="per 1,000 days")
    assert month_alt(trend([1.25]), "R", scale=rate).endswith(
        "2024-11 12.5 per 1,000 days."
    )


def hours() -> pd.DataFrame:
    start = np.arange(0, 24, 2)
    shown = start != 8
    return pd.DataFrame(
        {
            "ward": "A",
            "from_h": start,
            "to_h": start + 2,
            "due": np.where(shown, 20, 2),
            "late": np.where(shown, start % 5, np.nan),
            "missed": np.where(shown, start % 3, np.nan),
            "is_shown": shown,
        }
    )


def test_late_rises_and_missed_falls_and_what_is_not_shown_has_a_cross() -> None:
    with house_style():
        ax = hour_bars(hours(), "Ward A", ax=figure(5.2, 2.3).subplots())
    bars = [patch for patch in ax.patches if isinstance(patch, Rectangle)]
    heights = [bar.get_height() for bar in bars]
    late, missed = heights[:12], heights[12:]
    assert late == [0, 2, 4, 1, 0, 0, 2, 4, 1, 3, 0, 2]
    assert missed == [-v for v in [0, 2, 1, 0, 0, 1, 0, 2, 1, 0, 2, 1]]
    assert bars[0].get_hatch() != bars[12].get_hatch()
    [cross] = [line for line in ax.get_lines() if line.get_marker() == "x"]
    assert np.asarray(cross.get_xdata()).tolist() == [9.0]
    low, high = ax.get_ylim()
    assert low == -high
    found = ax.get_figure(root=True)
    assert isinstance(found, Figure)
    found.draw_without_rendering()
    assert "-" not in "".join(label.get_text() for label in ax.get_yticklabels())


def test_hours_without_a_late_check_have_an_empty_picture() -> None:
    table = hours().assign(late=0.0, missed=0.0, is_shown=True)
    with house_style():
        ax = hour_bars(table, "Ward A", ax=figure(5.2, 2.3).subplots())
    assert ax.get_ylim()[1] > 1
    hidden = hours().assign(late=np.nan, missed=np.nan, is_shown=False)
    with house_style():
        hour_bars(hidden, "Ward A", ax=figure(5.2, 2.3).subplots())


def test_hours_in_words() -> None:
    words = hour_alt(hours(), "Ward A")
    assert words.startswith("Ward A, checks not on time by hour due. 00 to 02: 0 late,")
    assert "02 to 04: 2 late, 2 missed of 20 due; " in words
    assert "08 to 10: too few to show; " in words


def test_a_letter_that_the_font_lacks_is_drawn_as_one_mark() -> None:
    name = "Ward \N{STETHOSCOPE} \N{LATIN SMALL LETTER A WITH DIAERESIS}"
    with house_style():
        drawn = figure(4, 2)
        row = DotRow(ward=name, proportion=0.5, low=0.4, high=0.6, counts="5 of 10")
        ax = ward_dots([row], "a", ax=drawn.subplots())
        svg_source(drawn)  # a warning would be an error here
    [label] = [text.get_text() for text in ax.get_yticklabels()]
    assert (
        label
        == "Ward \N{REPLACEMENT CHARACTER} \N{LATIN SMALL LETTER A WITH DIAERESIS}"
    )
