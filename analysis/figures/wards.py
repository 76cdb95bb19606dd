"""Wards side by side: a dot and its interval, in alphabetical order, never ranked."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes

from analysis.figures.style import FAINT, INK, SOFT, drawable


@dataclass(frozen=True, slots=True, kw_only=True)
class DotRow:
    """One ward of a dot plot; NaN proportion: `counts` is written instead of a dot."""

    ward: str
    proportion: float
    low: float
    high: float
    counts: str


def ward_dots(rows: Sequence[DotRow], title: str, *, ax: Axes) -> Axes:
    """Draw one measure of several wards as dots with 95 % intervals.

    Parameters
    ----------
    rows : sequence of DotRow
        From top to bottom, as given.
    title : str
        What is measured.
    ax : Axes
        Where to draw.

    Returns
    -------
    Axes
        The same Axes; percentages from 0 to 100.
    """
    for place, row in enumerate(rows):
        ax.axhline(place, color=FAINT, linewidth=0.5, zorder=0)
        if np.isnan(row.proportion):
            ax.text(
                1, place, row.counts, va="center", color=INK, backgroundcolor="white"
            )
            continue
        ax.plot(
            [100 * row.low, 100 * row.high], [place, place], color=SOFT, linewidth=1.4
        )
        ax.plot(100 * row.proportion, place, color=INK, marker="o", markersize=5)
    ax.set_yticks(range(len(rows)), [_short(row.ward) for row in rows])
    ax.set_ylim(len(rows) - 0.5, -0.5)
    ax.set_xlim(0, 102)
    ax.set_xticks([0, 25, 50, 75, 100])
    ax.set_xlabel("%, with 95 % interval")
    ax.set_title(textwrap.fill(title, 22))
    ax.tick_params(axis="y", length=0)
    ax.spines["left"].set_visible(False)
    return ax


def ward_alt(rows: Sequence[DotRow], title: str) -> str:
    """Say in words what `ward_dots` shows.

    Parameters
    ----------
    rows : sequence of DotRow
        As for `ward_dots`.
    title : str
        What is measured.

    Returns
    -------
    str
        Made from the numbers alone.
    """
    said = [
        f"{row.ward} {row.counts}"
        if np.isnan(row.proportion)
        else f"{row.ward} {100 * row.proportion:.1f} % " + _interval(row)
        for row in rows
    ]
    return f"{title}: {'; '.join(said)}."


def _interval(row: DotRow) -> str:
    if np.isnan(row.low):
        return "(no interval: too few patients)"
    return f"({100 * row.low:.1f} to {100 * row.high:.1f})"


def _short(ward: str) -> str:
    ward = drawable(ward)
    return ward if len(ward) <= 24 else ward[:23] + "\N{HORIZONTAL ELLIPSIS}"
