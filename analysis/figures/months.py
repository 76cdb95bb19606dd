"""One measure of one ward, month by month: a line, its centre and its limits."""

import textwrap
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator
from matplotlib.transforms import ScaledTranslation

from analysis.figures.style import FAINT, INK, SHADE, SOFT
from analysis.terms import Chart, Signal

#: Most month names along the axis.
_LABELS = 9

#: Room for a month and its year below the axis [pt].
_NAMES_PT = 29.0

#: A picture of percentages spans at least so many of them.
_LEAST_SPAN = 20.0

_TRIAL = (Chart.TRIAL_P, Chart.TRIAL_U)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """How figures of a line are written: ``100`` and ``%`` for a proportion."""

    times: float = 100.0
    unit: str = "%"

    @property
    def is_percent(self) -> bool:
        """True where no figure can be above 100.

        Returns
        -------
        bool
            By the unit.
        """
        return self.unit == "%"


PERCENT = Scale()


def month_line(
    rows: pd.DataFrame, title: str, *, ax: Axes, scale: Scale = PERCENT
) -> Axes:
    """Draw one measure of one ward by month.

    Parameters
    ----------
    rows : DataFrame
        Rows of the trends table of one measure and ward, in order of month; a month
        without a proportion is a gap.
    title : str
        What is measured, and where.
    ax : Axes
        Where to draw.
    scale : Scale
        How figures are written.

    Returns
    -------
    Axes
        The same Axes. Points outside limits stand in a square, points of a shift are
        hollow; a split of the line is an upright rule with its reason.
    """
    place = np.arange(len(rows))
    value = scale.times * rows["proportion"].to_numpy(float)
    for number in sorted(set(rows["part"])):
        own = (rows["part"] == number).to_numpy()
        _limits(ax, rows[own], place[own], scale)
        ax.plot(place[own], value[own], color=INK, linewidth=1.0, zorder=3)
    _points(ax, rows["signal"].fillna("").tolist(), place, value)
    _splits(ax, rows)
    _axes(ax, rows["month"].tolist())
    _heights(ax, rows, scale)
    ax.set_ylabel(scale.unit)
    ax.set_title(textwrap.fill(title, 60))
    handles, _ = ax.get_legend_handles_labels()
    if len(handles) > 1:
        # Below two lines of names of months, whatever the height of the picture.
        down = ScaledTranslation(0, -_NAMES_PT / 72, ax.figure.dpi_scale_trans)
        ax.legend(
            loc="upper center",
            bbox_to_anchor=(0.5, 0.0),
            bbox_transform=ax.transAxes + down,
            borderaxespad=0.0,
            ncols=5,
            handlelength=2.4,
        )
    return ax


def _limits(ax: Axes, own: pd.DataFrame, place: np.ndarray, scale: Scale) -> None:
    """Draw the centre and the limits of one part, as steps from month to month."""
    centre, low, high = (
        scale.times * own[name].to_numpy(float) for name in ("centre", "low", "high")
    )
    chart = str(own["chart"].iloc[0])
    edges = np.concatenate([place - 0.5, place[-1:] + 0.5])
    if np.isfinite(centre).any():
        name = "median" if chart == Chart.RUN else "mean"
        level = np.nanmax(centre)
        ax.plot(
            edges[[0, -1]],
            [level, level],
            color=SOFT,
            linewidth=0.9,
            linestyle=(0, (5, 2)),
            label=_once(ax, name),
            zorder=2,
        )
    if not np.isfinite(low).any():
        return
    word = "trial limits" if chart in _TRIAL else "limits"
    ax.stairs(high, edges, baseline=low, fill=True, color=SHADE, zorder=0)
    for side in (low, high):
        ax.stairs(
            side,
            edges,
            baseline=None,
            color=SOFT,
            linewidth=0.9,
            linestyle=(0, (1, 1.5)),
            label=_once(ax, word),
            zorder=1,
        )


def _once(ax: Axes, label: str) -> str:
    """Give a label that is not yet in the legend."""
    return "_nolegend_" if label in ax.get_legend_handles_labels()[1] else label


def _points(ax: Axes, signals: list[str], place: np.ndarray, value: np.ndarray) -> None:
    is_shift = np.array([Signal.SHIFT in text.split(";") for text in signals], bool)
    is_out = np.array([Signal.OUTSIDE in text.split(";") for text in signals], bool)
    for chosen, fill, label in (
        (~is_shift, INK, "month"),
        (is_shift, "white", "month of a shift"),
    ):
        if chosen.any():
            ax.plot(
                place[chosen],
                value[chosen],
                linestyle="none",
                marker="o",
                markersize=4.2,
                markerfacecolor=fill,
                markeredgecolor=INK,
                label=label,
                zorder=4,
            )
    if is_out.any():
        ax.plot(
            place[is_out],
            value[is_out],
            linestyle="none",
            marker="s",
            markersize=9,
            markerfacecolor="none",
            markeredgecolor=INK,
            label="outside limits",
            zorder=4,
        )


def _splits(ax: Axes, rows: pd.DataFrame) -> None:
    """Draw a rule where the line is split, and say why above the picture."""
    for place, words in enumerate(rows["split"].fillna("")):
        if not words:
            continue
        ax.axvline(place - 0.5, color=INK, linewidth=0.9, zorder=1)
        on_right = place > len(rows) / 2
        ax.text(
            place - (0.6 if on_right else 0.4),
            0.02,
            textwrap.fill(words, 34),
            transform=ax.get_xaxis_transform(),
            fontsize=6.5,
            ha="right" if on_right else "left",
            va="bottom",
            zorder=5,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.8},
        )


def _axes(ax: Axes, months: list[str]) -> None:
    step = -(-len(months) // _LABELS)
    shown = list(range(0, len(months), step))
    years = ["", *(months[i][:4] for i in shown)]
    times = [pd.Timestamp(f"{months[i]}-01") for i in shown]
    labels = [
        f"{time:%b}\n{months[i][:4]}" if months[i][:4] != years[k] else f"{time:%b}"
        for k, (i, time) in enumerate(zip(shown, times, strict=True))
    ]
    ax.set_xticks(shown, labels)
    ax.set_xlim(-0.6, max(len(months) - 0.4, 1))
    ax.yaxis.set_major_locator(MaxNLocator(nbins=6, steps=[1, 2, 5, 10]))
    ax.yaxis.grid(visible=True, color=FAINT, linewidth=0.4)
    ax.set_axisbelow(True)


def _heights(ax: Axes, rows: pd.DataFrame, scale: Scale) -> None:
    """Leave room about points and limits; a few per cent do not fill the picture."""
    values = scale.times * rows[["proportion", "low", "high"]].to_numpy(float)
    if not np.isfinite(values).any():
        ax.set_ylim(0, scale.times)
        ax.text(
            0.5,
            0.5,
            "no month has enough to show",
            transform=ax.transAxes,
            ha="center",
            va="center",
        )
        return
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    least = _LEAST_SPAN if scale.is_percent else 0.2 * high
    pad = max(0.12 * (high - low), (least - (high - low)) / 2, 1e-9)
    low, high = low - pad, high + pad
    top = 103.0 if scale.is_percent else np.inf
    ax.set_ylim(max(low - max(high - top, 0), -0.03 * high), min(high, top))


def month_alt(rows: pd.DataFrame, title: str, *, scale: Scale = PERCENT) -> str:
    """Say in words what `month_line` shows.

    Parameters
    ----------
    rows : DataFrame
        As for `month_line`.
    title : str
        What is measured, and where.
    scale : Scale
        How figures are written.

    Returns
    -------
    str
        Made from the numbers alone.
    """
    said = [_month_said(row, scale) for row in _records(rows)]
    charts = list(dict.fromkeys(rows["chart"]))
    return f"{title}, by month ({', '.join(map(str, charts))}): {'; '.join(said)}."


def _records(rows: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(k): v for k, v in row.items()} for row in rows.to_dict("records")]


def _month_said(row: dict[str, Any], scale: Scale) -> str:
    words = str(row["split"]) if pd.notna(row["split"]) else ""
    start = f"[line split: {words}] " if words else ""
    value = float(str(row["proportion"]))
    if np.isnan(value):
        return f"{start}{row['month']} no figure"
    signal = str(row["signal"]) if pd.notna(row["signal"]) else ""
    told = f" ({signal.replace(';', ', ')})" if signal else ""
    return f"{start}{row['month']} {scale.times * value:.1f} {scale.unit}{told}"
