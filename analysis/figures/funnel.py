"""Ten wards or more: each at its size, with the limits that chance allows there."""

import textwrap
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from analysis.figures.style import INK, SHADE, SOFT, drawable
from analysis.terms import YesNo
from analysis.wards import Funnel

#: Inches that the axes take up, about: enough to keep labels off each other.
_WIDTH, _HEIGHT = 4.2, 2.8
_LETTER = 0.11  # inches

#: Names beside the picture in one column.
_NAMES = 26

# Columns of `Funnel.curves`, how they are drawn, and what they are called.
_EXACT = (
    ("_998", (0, (5, 2)), "99.8 %, chance alone"),
    ("_95", (0, (1, 1.5)), "95 %, chance alone"),
)
_WIDE = (
    ("_998", "solid", "99.8 %, with the spread between wards"),
    ("_95", (0, (6, 1.5, 1, 1.5)), "95 %, with the spread between wards"),
)


def ward_funnel(funnel: Funnel, title: str, *, ax: Axes) -> Axes:
    """Draw one measure of many wards against their size, with funnel limits.

    Wards are numbered in alphabetical order and named beside the picture. The band is
    what lies inside the limits in force: those with the spread between wards from
    twelve wards, else chance alone. Only a ward outside the wider limits is drawn as a
    diamond.

    Parameters
    ----------
    funnel : Funnel
        What to draw.
    title : str
        What is measured.
    ax : Axes
        Where to draw.

    Returns
    -------
    Axes
        The same Axes; sizes across, percentages up.
    """
    wards = funnel.wards
    most = float(wards["size"].max()) * 1.05
    least = max(min(0.8 * float(wards["size"].min()), 0.04 * most), 1.0)
    curves = funnel.curves(np.round(np.geomspace(least, most, 120)))
    inside = "wide_" if funnel.is_widened else ""
    ax.fill_between(
        curves["size"],
        100 * curves[f"{inside}low_998"],
        100 * curves[f"{inside}high_998"],
        color=SHADE,
        linewidth=0,
        zorder=0,
    )
    ax.axhline(
        100 * funnel.centre, color=SOFT, linewidth=0.8, zorder=1, label="all wards"
    )
    _limits(ax, curves, "", _EXACT, 0.8)
    if funnel.is_widened:
        _limits(ax, curves, "wide_", _WIDE, 0.9)
    low, high = _range(funnel)
    ax.set_xlim(0, most)
    ax.set_ylim(low, high)
    is_different = (wards["different"] == YesNo.YES).to_numpy()
    _points(ax, wards, is_different)
    _numbers(ax, wards, (most, low, high))
    _names(ax, wards["ward"].tolist(), is_different)
    ax.set_xlabel(
        "size: independent units the hours are worth"
        if funnel.in_hours
        else "size: units judged"
    )
    ax.set_ylabel("%")
    ax.set_title(textwrap.fill(title, 60))
    ax.legend(
        loc="upper center", bbox_to_anchor=(0.5, -0.17), ncols=2, handlelength=3.2
    )
    return ax


def _limits(
    ax: Axes,
    curves: pd.DataFrame,
    spread: str,
    styles: tuple[tuple[str, Any, str], ...],
    width: float,
) -> None:
    for suffix, dashes, label in styles:
        for side in ("low", "high"):
            ax.plot(
                curves["size"],
                100 * curves[f"{spread}{side}{suffix}"],
                color=INK if spread else SOFT,
                linestyle=dashes,
                linewidth=width,
                label=label if side == "low" else "_nolegend_",
                zorder=2,
            )


def _range(funnel: Funnel) -> tuple[float, float]:
    """Give the percentages to draw: all wards, and the limits of their sizes."""
    at_wards = funnel.curves(funnel.wards["size"].to_numpy(float)).drop(columns="size")
    values = 100 * np.concatenate(
        [at_wards.to_numpy().ravel(), funnel.wards["proportion"].to_numpy(float)]
    )
    pad = 0.06 * (values.max() - values.min()) + 0.5
    return max(values.min() - pad, -1.0), min(values.max() + pad, 101.0)


def _points(ax: Axes, wards: pd.DataFrame, is_different: np.ndarray) -> None:
    for chosen, marker, size, fill in (
        (~is_different, "o", 4.5, "white"),
        (is_different, "D", 6.0, INK),
    ):
        ax.plot(
            wards["size"][chosen],
            100 * wards["proportion"][chosen],
            linestyle="none",
            marker=marker,
            markersize=size,
            markerfacecolor=fill,
            markeredgecolor=INK,
            markeredgewidth=0.9,
            zorder=4,
        )


def _numbers(ax: Axes, wards: pd.DataFrame, span: tuple[float, float, float]) -> None:
    """Write each ward's number beside its point, where there is most room."""
    most, low, high = span
    x = wards["size"].to_numpy(float) / most * _WIDTH
    y = (100 * wards["proportion"].to_numpy(float) - low) / (high - low) * _HEIGHT
    taken = np.column_stack([x, y])
    turns = np.arange(8) * np.pi / 4
    around = 1.25 * _LETTER * np.column_stack([np.cos(turns), np.sin(turns)])
    for place in range(len(wards)):
        spots = np.array([x[place], y[place]]) + around
        away = np.hypot(*(spots[:, None, :] - taken[None, :, :]).T).min(axis=0)
        inside = (spots > 0.05).all(axis=1) & (spots < [_WIDTH, _HEIGHT]).all(axis=1)
        best = spots[np.argmax(np.where(inside, np.minimum(away, _LETTER * 1.2), -1))]
        taken = np.vstack([taken, best])
        ax.text(
            best[0] / _WIDTH * most,
            low + best[1] / _HEIGHT * (high - low),
            str(place + 1),
            fontsize=6.5,
            color=INK,
            ha="center",
            va="center",
            zorder=5,
        )


def _names(ax: Axes, names: list[str], is_different: np.ndarray) -> None:
    """Name the numbers beside the picture, in alphabetical order."""
    lines = [
        f"{place + 1}  {textwrap.shorten(drawable(name), 26, placeholder='...')}"
        + (" - different" if is_different[place] else "")
        for place, name in enumerate(names)
    ]
    for column, start in enumerate(range(0, len(lines), _NAMES)):
        ax.text(
            1.03 + 0.4 * column,
            1.0,
            "\n".join(lines[start : start + _NAMES]),
            transform=ax.transAxes,
            va="top",
            fontsize=6.8,
            linespacing=1.35,
        )


def funnel_alt(funnel: Funnel, title: str) -> str:
    """Say in words what `ward_funnel` shows.

    Parameters
    ----------
    funnel : Funnel
        As for `ward_funnel`.
    title : str
        What is measured.

    Returns
    -------
    str
        Made from the numbers alone; wards in alphabetical order.
    """
    kind = (
        "limits that know of the spread between wards"
        if funnel.is_widened
        else "limits of chance alone"
    )
    said = [
        f"{row['ward']} {100 * row['proportion']:.1f} % "
        f"(limits {100 * row['limit_low']:.1f} to {100 * row['limit_high']:.1f})"
        + (" different" if row["different"] == YesNo.YES else "")
        for row in funnel.wards.to_dict("records")
    ]
    return (
        f"{title}: {len(said)} wards by size, all wards {100 * funnel.centre:.1f} %, "
        f"99.8 % {kind}. {'; '.join(said)}."
    )
