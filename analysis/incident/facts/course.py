"""When: last known good, first known bad, onset, end, and the time it went unseen."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from analysis.delivery.noise import LIMIT_SD
from analysis.incident.facts.timeline import elapsed_h
from analysis.incident.review import Incident
from analysis.report.facts import rows_of
from analysis.terms import FindingGroup, FindingKind

#: Kinds that are one ratio of the set rate from the start on.
THROUGHOUT = (FindingKind.SLOW, FindingKind.OVER_DELIVERY)

_WINDOW = ("began_earliest", "began_latest", "ended_earliest", "ended_latest")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One reading beside the line: mL, and hours at the rate in force."""

    at: pd.Timestamp
    elapsed_h: float
    source: str
    observed_ml: float
    expected_ml: float
    off_ml: float
    limit_ml: float
    rate_ml_h: float

    @property
    def hours(self) -> float:
        """Give how far off the line it is in hours of delivery.

        Returns
        -------
        float
            Positive: behind; NaN where no rate is known.
        """
        return self.off_ml / self.rate_ml_h if self.rate_ml_h > 0 else math.nan


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """What the readings say happened, and between which checks.

    Attributes
    ----------
    finding : mapping or None
        The delivery finding of the infusion; None where none is listed.
    last_good : Reading or None
        The last reading on the line, within its limit, before `first_bad` and before
        `first_visible`; of an infusion without a finding the last on the line of all.
    first_bad : Reading or None
        The first reading beyond its limit on the finding's side, else the first that
        could have shown it.
    last : Reading or None
        The last reading.
    first_visible : Reading or None
        The first check that could have shown it.
    window : tuple of Timestamp
        Earliest and latest onset, earliest and latest end, none outside the infusion as
        charted; NaT where not known.
    is_throughout : bool
        The finding is one ratio of the set rate from the start on: it has no onset.
    unseen_h : float
        Hours from the earliest onset, within the infusion, to `first_visible`; NaN
        without a finding.
    between : tuple of (Timestamp, str)
        Time and source of the rows charted from the earliest onset to `first_visible`.
    readings : tuple of Reading
        All that were judged, and the start.
    """

    finding: Mapping[str, Any] | None
    last_good: Reading | None
    first_bad: Reading | None
    last: Reading | None
    first_visible: Reading | None
    window: tuple[Any, Any, Any, Any]
    is_throughout: bool
    unseen_h: float
    between: tuple[tuple[pd.Timestamp, str], ...]
    readings: tuple[Reading, ...]


def course(incident: Incident) -> Course:
    """Tell when what the readings show can have happened.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    Course
        With Nones where there is no finding or no reading.
    """
    finding = delivery_finding(incident)
    rows = incident.rows
    judged = rows[rows["residual_ml"].notna() & ~rows["is_after_end"].eq(other=True)]
    judged = judged[~judged["is_doubtful"].eq(other=True)]
    readings = tuple(_reading(incident, row) for row in rows_of(judged))
    if finding is None:
        good = [r for r in readings if _is_on_line(r)]
        return Course(
            finding=None,
            last_good=good[-1] if good else None,
            first_bad=None,
            last=readings[-1] if readings else None,
            first_visible=None,
            window=(pd.NaT, pd.NaT, pd.NaT, pd.NaT),
            is_throughout=False,
            unseen_h=math.nan,
            between=(),
            readings=readings,
        )
    visible = _at(readings, finding["first_visible"])
    bad = _first_bad(readings, finding) or visible
    if visible is None or (bad is not None and bad.at < visible.at):
        visible = bad
    window = _window(incident, finding)
    # A check that could have shown it is no proof that all was well until then.
    told = [one.at for one in (bad, visible) if one is not None]
    good = [r for r in readings if all(r.at < at for at in told) and _is_on_line(r)]
    seen = visible.at if visible is not None else finding["first_visible"]
    about = (rows["checked_at"] >= window[0]) & (rows["checked_at"] <= seen)
    between = rows.loc[about, ["checked_at", "source"]]
    return Course(
        finding=finding,
        last_good=good[-1] if good else None,
        first_bad=bad,
        last=readings[-1] if readings else None,
        first_visible=visible,
        window=window,
        is_throughout=finding["kind"] in THROUGHOUT,
        unseen_h=(seen - max(window[0], incident.known["started_at"]))
        / pd.Timedelta(hours=1),
        between=tuple(between.itertuples(index=False, name=None)),
        readings=readings,
    )


def _window(
    incident: Incident, finding: Mapping[str, Any]
) -> tuple[Any, Any, Any, Any]:
    """Give the finding's window, no part of it outside the infusion as charted.

    A window is as wide as the times are written: in a ward that writes whole hours it
    reaches an hour before the start.
    """
    first, last = incident.known["started_at"], incident.known["observed_end"]
    one, two, three, four = (
        at if pd.isna(at) else min(max(at, first), last)
        for at in (finding[name] for name in _WINDOW)
    )
    return (one, two, three, four)


def delivery_finding(incident: Incident) -> dict[str, Any] | None:
    """Give the delivery finding of the infusion.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    dict or None
        A row of the findings table; None where none is listed.
    """
    found = incident.findings
    own = found[
        (found["infusion_id"] == incident.infusion_id)
        & (found["group"] == FindingGroup.DELIVERY)
    ]
    return rows_of(own)[0] if len(own) else None


def _reading(incident: Incident, row: Mapping[str, Any]) -> Reading:
    return Reading(
        at=row["checked_at"],
        elapsed_h=elapsed_h(incident, row["checked_at"]),
        source=row["source"],
        observed_ml=float(row["observed_ml"]),
        expected_ml=float(row["expected_ml"]),
        off_ml=float(row["residual_ml"]),
        limit_ml=LIMIT_SD * float(row["sd_ml"]),
        rate_ml_h=float(row["rate_ml_h"]),
    )


def _is_on_line(reading: Reading) -> bool:
    return abs(reading.off_ml) <= reading.limit_ml


def _first_bad(
    readings: tuple[Reading, ...], finding: Mapping[str, Any]
) -> Reading | None:
    """Find the first reading beyond its limit, on the side of the finding."""
    # A volume that rose has no volume of its own; what rose is behind the line.
    side = 1 if not finding["volume_ml"] > 0 else -1
    beyond = [r for r in readings if side * r.off_ml > r.limit_ml]
    return beyond[0] if beyond else None


def _at(readings: tuple[Reading, ...], when: Any) -> Reading | None:
    return next((r for r in readings if r.at == when), None)
