"""What the plot of an infusion shows: its lines, readings, window and checks."""

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.delivery.close import NONE
from analysis.figures import IncidentCourse
from analysis.incident.facts.course import Course, course, delivery_finding
from analysis.incident.facts.timeline import elapsed_h
from analysis.incident.review import Incident
from analysis.terms import CheckOutcome, FindingKind

_LINE = ["elapsed_h", "volume_ml"]
#: Two lines nowhere further apart than this are drawn on each other [mL].
_ONE_LINE_ML = 0.3

#: Points of a line.
_POINTS = 241


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """The plot's content; None where there is nothing to draw, with the reason.

    ``is_one_line`` is True where the prescribed line and the one by the rate set lie on
    each other; None where one of them is not known. ``is_assumed`` is True where the
    fitted line goes on past the last reading, as if nothing had moved until the end.
    """

    course: IncidentCourse | None
    reason: str = ""
    fitted_kind: str = ""
    is_one_line: bool | None = None
    is_assumed: bool = False


def drawn(incident: Incident) -> Drawn:
    """Gather what the plot shows.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    Drawn
        Without a course where neither a reading nor a line is known.
    """
    readings = _readings(incident)
    set_rate = _set_rate(incident)
    if readings.empty and set_rate.empty:
        why = "no volume can be drawn: none is charted, and no line can be worked out"
        return Drawn(course=None, reason=why)
    shown = _explained(incident)
    fitted = (
        incident.explained[shown].line.rename(columns={"fitted_ml": "volume_ml"})
        if incident.explained
        else _no_line()
    )
    kind = incident.explained[shown].kind if incident.explained else ""
    prescribed = _prescribed(incident)
    last_h = _last_h(incident)
    is_assumed = kind == FindingKind.STALL_TO_END and _ends_before(fitted, last_h)
    if is_assumed:
        fitted = _stood_still(fitted, last_h)
    late, missed = (
        _due(incident, outcome) for outcome in (CheckOutcome.LATE, CheckOutcome.MISSED)
    )
    start = incident.known["started_at"]
    found = course(incident)
    began, surely_began, surely_ended, ended = (
        elapsed_h(incident, at) if not found.is_throughout else math.nan
        for at in found.window
    )
    is_given = bool(incident.rows["is_floored"].eq(other=False).any())
    shows = IncidentCourse(
        readings=readings,
        replaced=_replaced(incident, is_given=is_given),
        set_rate=set_rate,
        prescribed=prescribed if not is_given else _no_line(),
        fitted=fitted,
        window=(began, surely_began, surely_ended, ended),
        hatched=_hatched(incident, found),
        pauses=_pauses(incident),
        late_h=late,
        missed_h=missed,
        last_h=max([last_h, *late, *missed, 1.0]),
        is_given=is_given,
        started_at=start if pd.notna(start) else None,
    )
    return Drawn(
        course=shows,
        fitted_kind=kind,
        is_one_line=_is_one_line(shows),
        is_assumed=is_assumed,
    )


def _ends_before(line: pd.DataFrame, hour: float) -> bool:
    return len(line) > 0 and bool(line["elapsed_h"].iloc[-1] < hour)


def _stood_still(line: pd.DataFrame, hour: float) -> pd.DataFrame:
    """Draw a line on to an hour, level: the volume told is what that comes to."""
    return pd.concat([line, line.tail(1).assign(elapsed_h=hour)], ignore_index=True)


def _is_one_line(drawn: IncidentCourse) -> bool | None:
    if drawn.prescribed.empty or drawn.set_rate.empty:
        return None
    hours = drawn.set_rate["elapsed_h"]
    prescribed = np.interp(
        hours, drawn.prescribed["elapsed_h"], drawn.prescribed["volume_ml"]
    )
    apart = np.abs(prescribed - drawn.set_rate["volume_ml"].to_numpy(float))
    return bool(apart.max() < _ONE_LINE_ML)


def _no_line() -> pd.DataFrame:
    return pd.DataFrame(columns=_LINE, dtype="float64")


def _explained(incident: Incident) -> int:
    """Give the place of the explanation to draw: the finding's, else that of none."""
    finding = delivery_finding(incident)
    kinds = [one.kind for one in incident.explained]
    kind = finding["kind"] if finding is not None else NONE
    return kinds.index(kind) if kind in kinds else 0


def _readings(incident: Incident) -> pd.DataFrame:
    rows = incident.rows
    known = rows[rows["observed_ml"].notna()].sort_values("elapsed_h", kind="stable")
    return pd.DataFrame(
        {
            "elapsed_h": known["elapsed_h"].astype("float64"),
            "observed_ml": known["observed_ml"].astype("float64"),
            "sd_ml": known["sd_ml"].astype("float64"),
            "is_doubtful": known["is_doubtful"].astype(bool),
        }
    ).reset_index(drop=True)


def _set_rate(incident: Incident) -> pd.DataFrame:
    """Give the set-rate line, with its end at an empty syringe where it has one."""
    rows = incident.rows
    known = rows[rows["delivered_ml"].notna() & rows["base_ml"].notna()]
    known = known[~known["is_after_end"].astype(bool)]
    known = known.sort_values("elapsed_h", kind="stable")
    if known.empty:
        return _no_line()
    hours = np.unique(
        np.r_[
            np.linspace(0, known["elapsed_h"].iloc[-1], _POINTS),
            known["elapsed_h"].to_numpy(float),
        ]
    )
    given = np.interp(hours, known["elapsed_h"], known["delivered_ml"], left=0.0)
    end = _last_h(incident)
    if end > hours[-1] and not known["is_paused_after"].iloc[-1]:
        more = (end - hours[-1]) * known["rate_ml_h"].iloc[-1]
        hours, given = np.r_[hours, end], np.r_[given, given[-1] + more]
    level = float(known["base_ml"].iloc[0]) - given
    if known["is_floored"].iloc[0]:
        level = np.clip(level, 0, None)
    return pd.DataFrame({"elapsed_h": hours, "volume_ml": level})


def _prescribed(incident: Incident) -> pd.DataFrame:
    """Give the prescribed line: start volume over planned duration."""
    known = incident.known
    volume, end = known["start_volume_ml"], elapsed_h(incident, known["planned_end"])
    if math.isnan(volume) or math.isnan(end) or not end > 0:
        return _no_line()
    last = _last_h(incident)
    hours = np.unique([0.0, min(end, last), last])
    level = np.clip(volume * (1 - hours / end), 0, None)
    return pd.DataFrame({"elapsed_h": hours, "volume_ml": level})


def _last_h(incident: Incident) -> float:
    """Give the hour of the last row, or of the end where that is later."""
    times = [*incident.rows["checked_at"], incident.known["observed_end"]]
    hours = [elapsed_h(incident, at) for at in times]
    return max([hour for hour in hours if not math.isnan(hour)], default=1.0)


def _hatched(incident: Incident, found: Course) -> tuple[float, float]:
    """Give the hours between which the lines are hatched."""
    if found.finding is None:
        return (math.nan, math.nan)
    began, _, _, ended = (elapsed_h(incident, at) for at in found.window)
    last = _last_h(incident)
    return (began, last if found.is_throughout or math.isnan(ended) else ended)


def _pauses(incident: Incident) -> tuple[tuple[float, float], ...]:
    """Give the gaps that lie on a documented pause."""
    rows = incident.rows[["checked_at", "is_paused_after"]]
    ends = rows["checked_at"].shift(-1).fillna(incident.known["observed_end"])
    return tuple(
        (elapsed_h(incident, begin), elapsed_h(incident, end))
        for begin, end, paused in zip(
            rows["checked_at"], ends, rows["is_paused_after"], strict=True
        )
        if paused and end > begin
    )


def _due(incident: Incident, outcome: CheckOutcome) -> tuple[float, ...]:
    units = incident.units
    mine = units[
        (units["measure"] == "checks_on_time") & (units["outcome"] == str(outcome))
    ]
    return tuple(sorted(elapsed_h(incident, at) for at in mine["due_at"]))


def _replaced(incident: Incident, *, is_given: bool) -> pd.DataFrame:
    rows = incident.superseded
    column = "volume_delivered_ml" if is_given else "volume_remaining_ml"
    known = rows[rows[column].notna()]
    volume = known[column].astype("float64")
    return pd.DataFrame(
        {
            "elapsed_h": [elapsed_h(incident, at) for at in known["checked_at"]],
            "observed_ml": (-volume if is_given else volume).to_numpy(),
        },
        columns=["elapsed_h", "observed_ml"],
        dtype="float64",
    )
