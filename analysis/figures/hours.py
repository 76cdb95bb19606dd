"""The hours of the day at which checks were not on time: late above, missed below."""

import textwrap
from collections.abc import Hashable
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, MaxNLocator

from analysis.figures.style import FAINT, INK, SOFT


def hour_bars(table: pd.DataFrame, title: str, *, ax: Axes) -> Axes:
    """Draw one ward's late and missed checks by the local hour they fell due.

    Parameters
    ----------
    table : DataFrame
        Rows of one ward, as given by `analysis.wards.checks_by_hour`.
    title : str
        Name of the ward.
    ax : Axes
        Where to draw.

    Returns
    -------
    Axes
        The same Axes: late checks upwards and filled, missed ones downwards and
        hatched. Hours with too few checks or patients to show have a cross on the line.
    """
    start = table["from_h"].to_numpy(float)
    width = table["to_h"].to_numpy(float) - start
    late, missed = (table[name].to_numpy(float) for name in ("late", "missed"))
    is_shown = table["is_shown"].to_numpy(dtype=bool)
    common: dict[str, Any] = {"align": "edge", "edgecolor": INK, "linewidth": 0.7}
    ax.bar(start, np.nan_to_num(late), width, color=SOFT, label="late", **common)
    ax.bar(
        start,
        -np.nan_to_num(missed),
        width,
        color="white",
        hatch="/////",
        label="missed",
        **common,
    )
    ax.axhline(0, color=INK, linewidth=0.8)
    if not is_shown.all():
        ax.plot(
            (start + width / 2)[~is_shown],
            np.zeros(int((~is_shown).sum())),
            linestyle="none",
            marker="x",
            markersize=4.5,
            color=INK,
            label="too few to show",
        )
    ax.set_xlim(0, 24)
    ax.set_xticks(range(0, 25, 4), [f"{hour:02}" for hour in range(0, 25, 4)])
    most = max(float(np.nanmax([*late, *missed, 0.0])), 4.0)
    ax.set_ylim(-1.1 * most, 1.1 * most)
    ax.yaxis.set_major_locator(MaxNLocator(nbins=6, integer=True))
    ax.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{abs(value):.0f}"))
    ax.yaxis.grid(visible=True, color=FAINT, linewidth=0.4)
    ax.set_axisbelow(True)
    ax.set_xlabel("hour of the day at which the check fell due")
    ax.set_ylabel("checks")
    ax.set_title(textwrap.fill(title, 46))
    ax.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), handlelength=1.6)
    return ax


def hour_alt(table: pd.DataFrame, title: str) -> str:
    """Say in words what `hour_bars` shows.

    Parameters
    ----------
    table : DataFrame
        As for `hour_bars`.
    title : str
        Name of the ward.

    Returns
    -------
    str
        Made from the numbers alone.
    """
    said = [
        f"{row['from_h']:02} to {row['to_h']:02}: {_stretch(row)}"
        for row in table.to_dict("records")
    ]
    return f"{title}, checks not on time by hour due. {'; '.join(said)}."


def _stretch(row: dict[Hashable, Any]) -> str:
    """Say what became of the checks of one stretch of the day."""
    if not row["is_shown"]:
        return "too few to show"
    if not row["due"]:
        return "nothing due"
    return f"{row['late']:.0f} late, {row['missed']:.0f} missed of {row['due']} due"
