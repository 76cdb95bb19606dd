"""Site reactions: who was watched, for how long, and what was seen."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import pandas as pd

from analysis.columns import RATES
from analysis.intake import Log
from analysis.lookup import clock
from analysis.policy import Policy
from analysis.sites.attribution import rows_of_sites
from analysis.sites.definition import definition_of
from analysis.sites.episodes import site_courses, site_episodes
from analysis.sites.rates import MEASURE, exposure, reaction_rates, site_spans
from analysis.terms import LineKind, SiteOutcome, Tally

__all__ = ["MEASURE", "Sites", "absent", "judge_sites"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sites:
    """Units, rates and findings of site reactions.

    Attributes
    ----------
    units : DataFrame
        One unit a site, without measure and month; the denominator is site-days.
    rates : DataFrame
        The rates table.
    findings : DataFrame
        One finding a reaction, without id and month.
    not_in_export : mapping of str to str
        Why there is no rate, where there is none.
    notes : tuple of str
        What had to be derived.
    """

    units: pd.DataFrame
    rates: pd.DataFrame
    findings: pd.DataFrame
    not_in_export: Mapping[str, str]
    notes: tuple[str, ...]


def judge_sites(log: Log, policy: Policy) -> Sites:
    """Find site reactions and the time at risk.

    Parameters
    ----------
    log : Log
        Canonical tables.
    policy : Policy
        Says what a reaction is.

    Returns
    -------
    Sites
        Sites that cannot be judged are excluded by name.
    """
    courses = site_courses(log, rows_of_sites(log))
    episodes = site_episodes(courses, definition_of(policy))
    pieces = exposure(site_spans(courses), episodes)
    derived = episodes.index.str.startswith("derived-").sum() if len(episodes) else 0
    notes = (
        f"Cannula sites without an id in the export: {derived}. They were derived from "
        "site_changed and location.",
    )
    return Sites(
        units=_units(episodes, pieces),
        rates=reaction_rates(episodes, pieces)[RATES.names],
        findings=_findings(episodes),
        not_in_export=MappingProxyType(
            {MEASURE: reason} if (reason := absent(log, policy)) else {}
        ),
        notes=notes if derived else (),
    )


def absent(log: Log, policy: Policy) -> str:
    """Say what an export or its policy lacks for any rate of site reactions.

    Parameters
    ----------
    log : Log
        Canonical tables.
    policy : Policy
        Says what a reaction is.

    Returns
    -------
    str
        A sentence; empty where nothing is lacking.
    """
    if definition_of(policy).is_empty:
        return (
            "Not in this policy: by its reaction_signs, minor_signs and "
            "reaction_removal_reasons nothing is a reaction."
        )
    has_reasons = (
        (log.lines["kind"] == LineKind.CANNULA) & (log.lines["removal_reason"] != "")
    ).any()
    if "site_signs" in log.columns["checks"] or has_reasons:
        return ""
    return (
        "Not in this export: it has no site_signs, and no lines table with reasons for "
        "the removal of cannulas."
    )


def _units(episodes: pd.DataFrame, pieces: pd.DataFrame) -> pd.DataFrame:
    days = pieces.groupby("site")["days"].sum().reindex(episodes.index)
    excluded = episodes["exclusion"] != ""
    event = episodes["outcome"] == SiteOutcome.REACTION
    return pd.DataFrame(
        {
            "unit_id": episodes.index,
            "ward": episodes["event_ward"],
            "patient_id": episodes["patient_id"],
            "infusion_id": "",
            "line_id": episodes.index,
            "due_at": episodes["ends_at"],
            "outcome": episodes["outcome"],
            "tally": np.select(
                [excluded, event],
                [str(Tally.EXCLUDED), str(Tally.COUNTED)],
                default=str(Tally.NOT_COUNTED),
            ),
            "reason": episodes["exclusion"],
            "numerator": event.astype("float64").where(~excluded),
            "denominator": days.where(~excluded),
            "first_source": episodes["first_source"],
            "last_source": episodes["last_source"],
        }
    ).reset_index(drop=True)


def _findings(episodes: pd.DataFrame) -> pd.DataFrame:
    hit = episodes[
        (episodes["outcome"] == SiteOutcome.REACTION) & (episodes["exclusion"] == "")
    ]
    at = hit["event_at"]
    return pd.DataFrame(
        {
            "ward": hit["event_ward"],
            "patient_id": hit["patient_id"],
            "infusion_id": "",
            "driver_id": "",
            "line_id": hit.index,
            "group": "site",
            "kind": "site_reaction",
            "anchor": "",
            "happened_at": at,
            "began_earliest": hit["clear_at"],
            "began_latest": at,
            "first_visible": at,
            "first_source": hit["last_source"],
            "last_source": hit["last_source"],
            "sentence": [
                f"Site {site}: a reaction by the policy's definition is charted at "
                f"{clock(time)}, {days:.1f} days after it was first watched."
                for site, time, days in zip(
                    hit.index,
                    at,
                    (at - hit["starts_at"]).dt.total_seconds() / 86400,
                    strict=True,
                )
            ],
        }
    ).reset_index(drop=True)
