"""One infusion: what the readings say beside the line they should be on."""

from collections.abc import Mapping

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from analysis.figures.style import INK, SHADE, SHADE_DARK, SOFT

# Two-sided 95 % of a normal distribution, for the error bars of honest readings.
_Z = 1.96

_HOUR = pd.Timedelta(hours=1)

# Marks of the time axis [h], and the longest time drawn with them.
_STEPS_H = ((1, 8), (4, 36), (12, 120), (48, np.inf))


def delivery_line(
    readings: pd.DataFrame,
    finding: Mapping[str, object],
    started_at: pd.Timestamp | None,
    *,
    ax: Axes,
) -> Axes:
    """Draw readings with their error, the expected line and the window in question.

    Parameters
    ----------
    readings : DataFrame
        Columns elapsed_h [h], observed_ml, expected_ml, sd_ml [mL], is_doubtful; sorted
        by time. An expected line or an SD that is not known leaves a gap.
    finding : mapping
        A row of the findings table; times that are not known shade nothing.
    started_at : Timestamp or None
        Start, in local time, for the clock above the plot; None: no clock.
    ax : Axes
        Where to draw.

    Returns
    -------
    Axes
        The same Axes.
    """
    last = float(readings["elapsed_h"].max()) if len(readings) else 24.0
    _shade_window(ax, finding, started_at, last)
    ax.plot(
        readings["elapsed_h"],
        readings["expected_ml"],
        color=INK,
        linestyle=(0, (5, 2)),
        linewidth=0.9,
        label="expected by the rate set",
    )
    _readings(ax, readings)
    # Where only volumes given are known they are drawn downwards from 0.
    hours_axis(ax, last, is_given=bool((readings["expected_ml"] < 0).any()))
    if started_at is not None:
        clock_marks(ax, started_at)
    if len(readings):
        ax.legend(loc="best", handlelength=2.6, borderaxespad=0.1)
    return ax


def _readings(ax: Axes, readings: pd.DataFrame) -> None:
    is_doubtful = readings["is_doubtful"].to_numpy(dtype=bool)
    ax.errorbar(
        readings["elapsed_h"],
        readings["observed_ml"],
        yerr=_Z * readings["sd_ml"],
        fmt="none",
        ecolor=SOFT,
        elinewidth=0.8,
        capsize=2,
    )
    good, bad = readings[~is_doubtful], readings[is_doubtful]
    ax.plot(
        good["elapsed_h"],
        good["observed_ml"],
        color=INK,
        marker="o",
        markersize=4,
        linestyle="-",
        linewidth=0.6,
        label="reading, 95 % error",
    )
    if len(bad):
        ax.plot(
            bad["elapsed_h"],
            bad["observed_ml"],
            color=INK,
            marker="X",
            markersize=7,
            markerfacecolor="white",
            linestyle="none",
            label="doubtful reading",
        )


def _shade_window(
    ax: Axes,
    finding: Mapping[str, object],
    started_at: pd.Timestamp | None,
    last: float,
) -> None:
    """Shade from earliest onset to latest end; darker what is inside for certain."""
    if started_at is None:
        return
    began, surely_began, surely_ended, ended = (
        _elapsed(finding[name], started_at)
        for name in ("began_earliest", "began_latest", "ended_earliest", "ended_latest")
    )
    if np.isnan(began):
        return
    ended = last if np.isnan(ended) else ended
    ax.axvspan(began, ended, color=SHADE, linewidth=0, zorder=0, label="window")
    surely_ended = ended if np.isnan(surely_ended) else surely_ended
    is_inside = (surely_began, surely_ended) != (began, ended)
    if is_inside and surely_began < surely_ended:
        ax.axvspan(surely_began, surely_ended, color=SHADE_DARK, linewidth=0, zorder=0)


def _elapsed(moment: object, started_at: pd.Timestamp) -> float:
    if not isinstance(moment, pd.Timestamp):
        return np.nan
    return (moment - started_at) / _HOUR


def hours_axis(ax: Axes, last: float, *, is_given: bool) -> None:
    """Mark hours since the start, and volumes.

    Parameters
    ----------
    ax : Axes
        Where the infusion is drawn.
    last : float
        End of the axis [h].
    is_given : bool
        Volumes are those given, drawn downwards from 0.
    """
    step = next(s for s, most in _STEPS_H if last <= most)
    ax.set_xticks(np.arange(0, last + step / 2, step))
    ax.set_xlim(-0.03 * last - 0.1, last * 1.03 + 0.1)
    ax.margins(y=0.12)
    if not is_given:
        ax.set_ylim(bottom=0)
    ax.yaxis.set_major_locator(MaxNLocator(nbins=5, integer=True))
    ax.set_xlabel("hours since the start")
    ax.set_ylabel("minus volume given, mL" if is_given else "volume remaining, mL")


def clock_marks(ax: Axes, started_at: pd.Timestamp) -> None:
    """Write local time above the marks of the time axis, and the date where it turns.

    As texts: a second axis would take longer to draw than all the rest.

    Parameters
    ----------
    ax : Axes
        With its marks in hours since the start.
    started_at : Timestamp
        Start, in local time.
    """
    day = None
    for mark in ax.get_xticks():
        moment = (started_at.tz_convert("UTC") + mark * _HOUR).tz_convert(started_at.tz)
        text = f"{moment:%H:%M}"
        ax.text(
            mark,
            1.03,
            text if moment.date() == day else f"{moment.day} {moment:%b}\n{text}",
            transform=ax.get_xaxis_transform(),
            ha="center",
            va="bottom",
            fontsize="small",
        )
        day = moment.date()


def delivery_alt(
    readings: pd.DataFrame, finding: Mapping[str, object], what: str
) -> str:
    """Say in words what `delivery_line` shows.

    Parameters
    ----------
    readings : DataFrame
        As for `delivery_line`.
    finding : mapping
        A row of the findings table.
    what : str
        The finding's kind in words.

    Returns
    -------
    str
        Made from the numbers alone.
    """
    points = "; ".join(
        f"{row['elapsed_h']:.1f} h {row['observed_ml']:.1f} mL"
        + (
            f" (expected {row['expected_ml']:.1f})"
            if pd.notna(row["expected_ml"])
            else ""
        )
        + (" doubtful" if row["is_doubtful"] else "")
        for row in readings.to_dict("records")
    )
    return (
        f"Volume remaining of infusion {finding['infusion_id']} over hours since the "
        f"start: {what}. {points or 'No reading can be drawn'}."
    )
