"""Ten wards or more: each at its size, with the limits that chance allows there."""

import math
import textwrap
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patheffects import withStroke
from matplotlib.transforms import ScaledTranslation, Transform

from analysis.figures.apart import beside_points
from analysis.figures.style import INK, SHADE, SOFT, drawable
from analysis.terms import YesNo
from analysis.wards import Funnel

#: Width that a digit of a ward's number takes up, with some air [inches].
_DIGIT = 0.07
#: From so far on a line leads from the number to its point [inches].
_FAR = 0.15

#: Names beside the picture in one column, at most, and the width of a letter [inches].
_NAMES = 22
_LETTER = 0.06
#: Columns that fit beside it; of more wards the names stand below, in so many columns
#: of this width [inches].
_BESIDE, _BELOW = 2, 3
_WIDTH = 2.25
#: Height of a name, and of what stands between the picture and names below [inches].
_LINE, _KEY = 0.128, 1.1
#: Letters of a name.
_LETTERS = 26

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
    _names(ax, wards["ward"].tolist(), is_different)
    ax.set_xlabel(
        "size: independent units the hours are worth"
        if funnel.in_hours
        else "size: units judged"
    )
    ax.set_ylabel("%")
    ax.set_title(textwrap.fill(title, 60))
    ax.legend(
        loc="upper center",
        bbox_to_anchor=(0.5, 0.0),
        bbox_transform=_shifted(ax, 0.0, -0.45),
        ncols=2,
        handlelength=3.2,
    )
    _numbers(ax, wards)
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


def _numbers(ax: Axes, wards: pd.DataFrame) -> None:
    """Write each ward's number beside its point, with a line to it if it is far."""
    span = _inches(ax)
    (left, right), (low, high) = ax.get_xlim(), ax.get_ylim()
    start, scale = np.array([left, low]), np.array([right - left, high - low])
    data = np.column_stack([wards["size"], 100 * wards["proportion"]]).astype(float)
    points = (data - start) / scale * span
    said = [str(place + 1) for place in range(len(wards))]
    halves = np.array([[_DIGIT * len(text) / 2, _DIGIT * 0.7] for text in said])
    spots = beside_points(points, halves, span)
    far = np.hypot(*(spots - points).T) > _FAR
    for text, at, spot, is_far in zip(said, data, spots, far, strict=True):
        ax.annotate(
            text,
            xy=at,
            xytext=spot / span * scale + start,
            fontsize=6.5,
            color=INK,
            ha="center",
            va="center",
            arrowprops={
                "arrowstyle": "-",
                "color": SOFT,
                "linewidth": 0.5,
                "shrinkA": 0,
                "shrinkB": 2.5,
            }
            if is_far
            else None,
            zorder=5,
            path_effects=[withStroke(linewidth=1.8, foreground="white")],
        )


def _inches(ax: Axes) -> tuple[float, float]:
    """Give width and height of axes once everything has found its place [inches]."""
    drawn = ax.get_figure(root=True)
    if drawn is not None and (engine := drawn.get_layout_engine()) is not None:
        engine.execute(drawn)
    box = ax.get_position()
    width, height = drawn.get_size_inches() if drawn is not None else (1.0, 1.0)
    return float(box.width * width), float(box.height * height)


def _names(ax: Axes, names: list[str], is_different: np.ndarray) -> None:
    """Name the numbers beside the picture, in alphabetical order."""
    lines = [
        f"{place + 1}  {_short(drawable(name))}"
        + (" - different" if is_different[place] else "")
        for place, name in enumerate(names)
    ]
    is_below = _is_below(len(lines))
    columns = _BELOW if is_below else math.ceil(len(lines) / _NAMES)
    rows = math.ceil(len(lines) / columns)
    right, down = (-0.4, -_KEY) if is_below else (0.1, 0.0)
    for start in range(0, len(lines), rows):
        column = lines[start : start + rows]
        ax.text(
            0.0 if is_below else 1.0,
            0.0 if is_below else 1.0,
            "\n".join(column),
            transform=_shifted(ax, right, down),
            va="top",
            fontsize=6.8,
            linespacing=1.35,
        )
        right += _WIDTH if is_below else _LETTER * max(map(len, column)) + 0.1


def _is_below(wards: int) -> bool:
    return wards > _NAMES * _BESIDE


def _short(name: str) -> str:
    return name if len(name) <= _LETTERS else f"{name[: _LETTERS - 3].rstrip()}..."


def funnel_height(wards: int) -> float:
    """Give the height that a funnel of so many wards needs.

    Parameters
    ----------
    wards : int
        Wards drawn.

    Returns
    -------
    float
        Inches.
    """
    least = 3.4
    return least + _LINE * math.ceil(wards / _BELOW) if _is_below(wards) else least


def _shifted(ax: Axes, right: float, up: float) -> Transform:
    """Give the axes' own places, so many inches further."""
    drawn = ax.get_figure(root=True)
    if drawn is None:
        return ax.transAxes
    return ax.transAxes + ScaledTranslation(right, up, drawn.dpi_scale_trans)


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
