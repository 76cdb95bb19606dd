"""Curves of how long sites last, and ratios with their limits."""

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, NullLocator

from analysis.figures.style import FAINT, INK, SHADE, SOFT

_DASHES = ("-", (0, (5, 2)), (0, (1, 1.5)), (0, (6, 2, 1, 2)), (0, (3, 1, 1, 1, 1, 1)))

#: Days at which a text says where a curve stands.
_TOLD = (1, 2, 3, 5, 7)


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A curve, and its name; ``points`` has day, estimate, low, high and at_risk."""

    name: str
    points: pd.DataFrame


def curve_steps(
    curves: Sequence[Curve], title: str, *, ax: Axes, is_rising: bool = False
) -> Axes:
    """Draw shares of sites over the days since the placement.

    Parameters
    ----------
    curves : sequence of Curve
        The first is drawn with its limits, unless others have limits too.
    title : str
        What is shown.
    ax : Axes
        Where to draw.
    is_rising : bool
        Whether shares begin at 0.

    Returns
    -------
    Axes
        The same Axes; percentages from 0 to 100. Curves are told apart by their lines.
    """
    for place, curve in enumerate(curves):
        day = curve.points["day"].to_numpy(float)
        share = 100 * curve.points["estimate"].to_numpy(float)
        if place == 0 and not any(c.points["low"].notna().any() for c in curves[1:]):
            low, high = (
                100 * curve.points[name].to_numpy(float) for name in ("low", "high")
            )
            ax.fill_between(day, low, high, step="post", color=SHADE, linewidth=0)
        ax.plot(
            day,
            share,
            drawstyle="steps-post",
            color=INK if place % 2 == 0 else SOFT,
            linestyle=_DASHES[place % len(_DASHES)],
            linewidth=1.3,
            label=curve.name,
        )
    ax.set_ylim(0, 100 if not is_rising else _top(curves))
    ax.set_xlim(left=0)
    ax.xaxis.set_major_locator(MaxNLocator(nbins=8, integer=True))
    ax.yaxis.grid(visible=True, color=FAINT, linewidth=0.4)
    ax.set_axisbelow(True)
    ax.set_xlabel("days since the placement")
    ax.set_ylabel("% of sites")
    ax.set_title(textwrap.fill(title, 70))
    if len(curves) > 1:
        ax.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), handlelength=3.0)
    return ax


def _top(curves: Sequence[Curve]) -> float:
    most = max(float(np.nanmax([*c.points["estimate"], 0.0])) for c in curves)
    return min(100.0, 10 * math.ceil(10 * most + 1))


def curve_alt(curves: Sequence[Curve], title: str) -> str:
    """Say in words what `curve_steps` shows.

    Parameters
    ----------
    curves : sequence of Curve
        As for `curve_steps`.
    title : str
        What is shown.

    Returns
    -------
    str
        Where each curve stands after some days.
    """
    said = []
    for curve in curves:
        at = curve.points.set_index("day")["estimate"]
        told = [
            f"{100 * at[day]:.0f} % at {day} d"
            for day in _TOLD
            if day in at.index and not np.isnan(at[day])
        ]
        said.append(f"{curve.name}: {', '.join(told) or 'too few sites'}")
    return f"{title}. {'; '.join(said)}."


@dataclass(frozen=True, slots=True, kw_only=True)
class RatioRow:
    """One ratio; NaN: `words` stands in place of it."""

    name: str
    ratio: float
    low: float
    high: float
    words: str


def ratio_rows(rows: Sequence[RatioRow], title: str, *, ax: Axes) -> Axes:
    """Draw ratios with their limits, on the scale of the logarithm.

    Parameters
    ----------
    rows : sequence of RatioRow
        From top to bottom, as given.
    title : str
        What is shown.
    ax : Axes
        Where to draw.

    Returns
    -------
    Axes
        The same Axes, with an upright line at 1. Limits outside the picture end in an
        arrow.
    """
    ends = (0.2, 5.0)
    ax.axvline(1.0, color=SOFT, linewidth=0.9, linestyle=(0, (5, 2)), zorder=0)
    for place, row in enumerate(rows):
        if np.isnan(row.ratio):
            ax.text(1.0, place, row.words, va="center", ha="center", fontsize=6.5,
                    color=INK, backgroundcolor="white")  # fmt: skip
            continue
        low, high = max(row.low, ends[0]), min(row.high, ends[1])
        ax.plot([low, high], [place, place], color=SOFT, linewidth=1.4)
        for value, edge, mark in ((row.low, ends[0], "<"), (row.high, ends[1], ">")):
            if (value < edge) if mark == "<" else (value > edge):
                ax.plot(edge, place, color=SOFT, marker=mark, markersize=4)
        if ends[0] <= row.ratio <= ends[1]:
            ax.plot(row.ratio, place, color=INK, marker="o", markersize=4.5)
    ax.set_yticks(range(len(rows)), [_short(row.name) for row in rows])
    ax.set_ylim(len(rows) - 0.4, -0.6)
    ax.set_xscale("log")
    ax.set_xlim(0.93 * ends[0], 1.07 * ends[1])
    ax.xaxis.set_major_locator(FixedLocator([0.2, 0.5, 1, 2, 5]))
    ax.xaxis.set_minor_locator(NullLocator())
    ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    ax.set_xlabel("rate ratio, with 95 % interval by patient")
    ax.set_title(textwrap.fill(title, 70))
    ax.tick_params(axis="y", length=0)
    ax.spines["left"].set_visible(False)
    return ax


def ratio_alt(rows: Sequence[RatioRow], title: str) -> str:
    """Say in words what `ratio_rows` shows.

    Parameters
    ----------
    rows : sequence of RatioRow
        As for `ratio_rows`.
    title : str
        What is shown.

    Returns
    -------
    str
        Made from the numbers alone.
    """
    said = [
        f"{row.name} {row.words}"
        if np.isnan(row.ratio)
        else f"{row.name} {row.ratio:.2f} ({row.low:.2f} to {row.high:.2f})"
        for row in rows
    ]
    return f"{title}: {'; '.join(said)}."


def _short(name: str) -> str:
    return name if len(name) <= 46 else name[:45] + "\N{HORIZONTAL ELLIPSIS}"
