"""One infusion under review: three lines, the readings, and the checks on the axis."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from analysis.figures.delivery import clock_marks, hours_axis
from analysis.figures.style import FAINT, INK, SHADE, SHADE_DARK, SOFT

# Two-sided 95 % of a normal distribution, for the error bars of honest readings.
_Z = 1.96

#: Height of the marks of checks, as a share of the axes.
_MARKS_AT = 0.025


@dataclass(frozen=True, slots=True, kw_only=True)
class IncidentCourse:
    """What the plot of an incident shows; hours are elapsed, volumes mL.

    Attributes
    ----------
    readings : DataFrame
        elapsed_h, observed_ml, sd_ml, is_doubtful, in order of time.
    replaced : DataFrame
        elapsed_h, observed_ml of readings that an amendment replaced.
    set_rate, prescribed, fitted : DataFrame
        elapsed_h and volume_ml of each line; empty where it is not known.
    window : tuple of float
        Earliest and latest onset, earliest and latest end [h]; NaN where not known.
    hatched : tuple of float
        From and to where the volume between the lines is hatched [h]; NaN: nowhere.
    pauses : tuple of (float, float)
        From and to of documented pauses [h].
    late_h, missed_h : tuple of float
        Hours at which checks fell due that were late, or missed.
    last_h : float
        End of the axis.
    is_given : bool
        Volumes are those given, drawn downwards from 0.
    started_at : Timestamp or None
        Start, in local time; None: no clock above the plot.
    """

    readings: pd.DataFrame
    replaced: pd.DataFrame
    set_rate: pd.DataFrame
    prescribed: pd.DataFrame
    fitted: pd.DataFrame
    window: tuple[float, float, float, float]
    hatched: tuple[float, float]
    pauses: tuple[tuple[float, float], ...]
    late_h: tuple[float, ...]
    missed_h: tuple[float, ...]
    last_h: float
    is_given: bool
    started_at: pd.Timestamp | None


def incident_course(course: IncidentCourse, *, ax: Axes) -> Axes:
    """Draw an infusion under review.

    Parameters
    ----------
    course : IncidentCourse
        What to draw.
    ax : Axes
        Where to draw.

    Returns
    -------
    Axes
        The same Axes: what was not delivered, or given early, is hatched between the
        set-rate line and the fitted one, within the window.
    """
    _shade(ax, course)
    _hatch(ax, course)
    for line, style, label in (
        (course.prescribed, (0, (1, 2)), "prescribed"),
        (course.set_rate, (0, (5, 2)), "by the rate set"),
        (course.fitted, "solid", "fitted to the readings"),
    ):
        if len(line):
            ax.plot(
                line["elapsed_h"],
                line["volume_ml"],
                color=SOFT if style == "solid" else INK,
                linestyle=style,
                linewidth=1.8 if style == "solid" else 0.9,
                label=label,
            )
    _readings(ax, course)
    hours_axis(ax, course.last_h, is_given=course.is_given)
    if not course.is_given:
        ax.set_ylim(bottom=-0.04 * ax.get_ylim()[1])
    _checks(ax, course)
    if course.started_at is not None:
        clock_marks(ax, course.started_at)
    if ax.get_legend_handles_labels()[0]:
        ax.legend(
            loc="upper left", bbox_to_anchor=(1.0, 1.0), handlelength=2.6,
            borderaxespad=0.1,
        )  # fmt: skip
    return ax


def _shade(ax: Axes, course: IncidentCourse) -> None:
    """Shade pauses and the window."""
    for place, (begin, end) in enumerate(course.pauses):
        ax.axvspan(
            begin, end, facecolor="white", edgecolor=FAINT, hatch="....", linewidth=0,
            zorder=0, label="pause charted" if place == 0 else "_",
        )  # fmt: skip
    began, surely_began, surely_ended, ended = course.window
    if np.isnan(began):
        return
    ended = course.last_h if np.isnan(ended) else ended
    surely_ended = ended if np.isnan(surely_ended) else surely_ended
    ax.axvspan(began, ended, color=SHADE, linewidth=0, zorder=0, label="may lie here")
    if surely_began < surely_ended and (surely_began, surely_ended) != (began, ended):
        ax.axvspan(
            surely_began, surely_ended, color=SHADE_DARK, linewidth=0, zorder=0,
            label="lies here for certain",
        )  # fmt: skip


def _hatch(ax: Axes, course: IncidentCourse) -> None:
    """Hatch the volume between the set-rate line and the fitted one."""
    begin, end = course.hatched
    if np.isnan(begin) or not len(course.fitted) or not len(course.set_rate):
        return
    hours = course.fitted["elapsed_h"].to_numpy(float)
    line = np.interp(hours, course.set_rate["elapsed_h"], course.set_rate["volume_ml"])
    fitted = course.fitted["volume_ml"].to_numpy(float)
    inside = (hours >= begin) & (hours <= end)
    ax.fill_between(
        hours, line, fitted, where=inside.tolist(), facecolor="none",
        edgecolor=SOFT, hatch="////", linewidth=0, zorder=1,
        label="volume in question",
    )  # fmt: skip


def _readings(ax: Axes, course: IncidentCourse) -> None:
    readings = course.readings
    if len(readings):
        ax.errorbar(
            readings["elapsed_h"],
            readings["observed_ml"],
            yerr=_Z * readings["sd_ml"].fillna(0),
            fmt="none",
            ecolor=INK,
            elinewidth=0.8,
            capsize=2.5,
        )
    is_doubtful = readings["is_doubtful"].to_numpy(dtype=bool)
    for part, marker, fill, label in (
        (readings[~is_doubtful], "o", INK, "reading, 95 % error"),
        (readings[is_doubtful], "X", "white", "doubtful reading"),
        (course.replaced, "s", "white", "replaced reading"),
    ):
        if len(part):
            ax.plot(
                part["elapsed_h"],
                part["observed_ml"],
                color=INK,
                marker=marker,
                markersize=4.5 if marker == "o" else 6.5,
                markerfacecolor=fill,
                linestyle="none",
                label=label,
            )


def _checks(ax: Axes, course: IncidentCourse) -> None:
    """Mark on the axis when checks fell due that were late or missed."""
    for hours, marker, label in (
        (course.late_h, "v", "check late"),
        (course.missed_h, "x", "check missed"),
    ):
        if hours:
            ax.plot(
                hours,
                [_MARKS_AT] * len(hours),
                transform=ax.get_xaxis_transform(),
                color=INK,
                marker=marker,
                markersize=6,
                markeredgewidth=1.3,
                linestyle="none",
                clip_on=False,
                label=label,
            )


def incident_alt(course: IncidentCourse) -> str:
    """Say in words what `incident_course` shows.

    Parameters
    ----------
    course : IncidentCourse
        What is drawn.

    Returns
    -------
    str
        Made from the numbers alone.
    """
    points = "; ".join(
        f"{row['elapsed_h']:.1f} h {row['observed_ml']:.1f} mL"
        + (" doubtful" if row["is_doubtful"] else "")
        for row in course.readings.to_dict("records")
    )
    said = [f"Volume over hours since the start. {points or 'No reading'}."]
    for name, line in (
        ("Prescribed", course.prescribed),
        ("By the rate set", course.set_rate),
        ("Fitted", course.fitted),
    ):
        if len(line):
            first, last = line.iloc[0], line.iloc[-1]
            said.append(
                f"{name}: {first['volume_ml']:.1f} mL at {first['elapsed_h']:.1f} h to "
                f"{last['volume_ml']:.1f} mL at {last['elapsed_h']:.1f} h."
            )
    began, _, _, ended = course.window
    if not np.isnan(began):
        end = "the end" if np.isnan(ended) else f"{ended:.1f} h"
        said.append(f"Shaded from {began:.1f} h to {end}.")
    for word, hours in (("late", course.late_h), ("missed", course.missed_h)):
        if hours:
            said.append(f"Checks {word}, due at {_hours(hours)}.")
    return " ".join(said)


def _hours(hours: tuple[float, ...]) -> str:
    return ", ".join(f"{hour:.1f} h" for hour in hours)
