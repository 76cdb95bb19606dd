"""The same driver, line, site and patient in the thirty days before and after."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from analysis.incident.review import Incident
from analysis.report.facts import in_order, rows_of
from analysis.terms import FindingGroup, YesNo

#: Days before the start and after the end that are looked at.
DAYS = 30

DRIVER, LINE, SITE, PATIENT = "driver", "extension set", "cannula", "patient"
SAME = (DRIVER, LINE, SITE, PATIENT)

#: Columns of an infusion, and of each of its rows: the line may change while it runs.
_OF_INFUSION = {DRIVER: "driver_id", PATIENT: "patient_id"}
_OF_ROW = {LINE: "line_id", SITE: "site_id"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Other:
    """Another infusion that shares something with this one.

    ``findings`` holds rows of the findings table about its delivery, set-up and
    continuity; ``is_before`` is True where it started first.
    """

    infusion_id: str
    ward: str
    started_at: pd.Timestamp
    observed_end: pd.Timestamp
    is_before: bool
    shares: tuple[str, ...]
    is_evaluable: bool
    event_probability: float
    findings: tuple[Mapping[str, Any], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """How many others share one thing, before and after.

    ``flagged_*`` counts those with a delivery finding, of the ``evaluable_*`` that
    could be compared with their line.
    """

    same: str
    named: str
    before: int
    evaluable_before: int
    flagged_before: int
    after: int
    evaluable_after: int
    flagged_after: int


_TOLD = (FindingGroup.DELIVERY, FindingGroup.SET_UP, FindingGroup.CONTINUITY)


def others(incident: Incident) -> tuple[Other, ...]:
    """Give the infusions that share driver, line, site or patient, in order of start.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    tuple of Other
        Those running at any time from `DAYS` before its start to `DAYS` after its end.
    """
    known, every = incident.known, incident.infusions
    span = pd.Timedelta(days=DAYS)
    near = (
        (every["started_at"] <= known["observed_end"] + span)
        & (every["observed_end"] >= known["started_at"] - span)
        & (every.index != incident.infusion_id)
    )
    sharing = {same: _sharing(incident, same) for same in SAME}
    mine = every[near & every.index.isin(set().union(*sharing.values()))]
    mine = mine.sort_values("started_at", kind="stable")
    told = incident.findings[incident.findings["group"].isin([str(g) for g in _TOLD])]
    told = told[told["infusion_id"].isin(mine.index)]
    said = {
        str(name): rows_of(in_order(rows)) for name, rows in told.groupby("infusion_id")
    }
    return tuple(
        Other(
            infusion_id=str(row["infusion_id"]),
            ward=row["ward"],
            started_at=row["started_at"],
            observed_end=row["observed_end"],
            is_before=bool(row["started_at"] < known["started_at"]),
            shares=tuple(same for same in SAME if row["infusion_id"] in sharing[same]),
            is_evaluable=row["evaluable"] == YesNo.YES,
            event_probability=float(row["event_probability"]),
            findings=tuple(said.get(str(row["infusion_id"]), ())),
        )
        for row in mine.reset_index().to_dict("records")
    )


def _sharing(incident: Incident, same: str) -> set[str]:
    """Name the infusions that have the same driver, line, site or patient."""
    every, known = incident.infusions, incident.known
    if column := _OF_INFUSION.get(same):
        if not known[column]:
            return set()
        return set(every.index[every[column] == known[column]])
    column = _OF_ROW[same]
    uses = incident.uses
    own = set(uses.loc[uses["infusion_id"] == incident.infusion_id, column]) - {""}
    return set(uses.loc[uses[column].isin(own), "infusion_id"])


def named(incident: Incident, same: str) -> str:
    """Name the driver, lines, sites or patient of the infusion.

    Parameters
    ----------
    incident : Incident
        The infusion.
    same : str
        One of `SAME`.

    Returns
    -------
    str
        Several with commas; empty where none is charted.
    """
    if column := _OF_INFUSION.get(same):
        return str(incident.known[column])
    column = _OF_ROW[same]
    found = incident.rows[column]
    return ", ".join(dict.fromkeys(found[found != ""]))


def line_findings(incident: Incident) -> pd.DataFrame:
    """Give the findings about the lines and sites that the infusion ran through.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    DataFrame
        Rows of the findings table: of this patient's extension sets and cannulas that
        its rows name. They belong to a line and not to one infusion.
    """
    found = incident.findings
    groups = [str(FindingGroup.LINE), str(FindingGroup.SITE)]
    own = found[
        found["group"].isin(groups)
        & (found["patient_id"] == incident.known["patient_id"])
    ]
    ids = set(incident.rows["line_id"]) | set(incident.rows["site_id"])
    either = "|".join(re.escape(name) for name in sorted(ids - {""}))
    is_named = own["sentence"].str.contains(rf"(?:^|\s)(?:{either})[\s:]", regex=True)
    named: pd.DataFrame = own[is_named] if either else own.iloc[:0]
    return named


def histories(incident: Incident) -> tuple[History, ...]:
    """Count the others by what they share.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    tuple of History
        One for each of `SAME`, also where nothing is charted or nothing shared.
    """
    every = others(incident)
    return tuple(_history(incident, same, every) for same in SAME)


def _history(incident: Incident, same: str, every: tuple[Other, ...]) -> History:
    mine = [one for one in every if same in one.shares]
    counted: dict[str, Any] = {}
    for when, is_before in (("before", True), ("after", False)):
        part = [one for one in mine if one.is_before is is_before]
        flagged = [one for one in part if _has_delivery(incident, one)]
        counted |= {
            when: len(part),
            f"evaluable_{when}": sum(one.is_evaluable for one in part),
            f"flagged_{when}": len(flagged),
        }
    return History(same=same, named=named(incident, same), **counted)


def _has_delivery(incident: Incident, other: Other) -> bool:
    return bool(incident.infusions.loc[other.infusion_id, "kind"])
