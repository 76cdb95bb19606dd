"""From site reactions to research: the main path from exports to a study."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from analysis.intake import Log, read_exports
from analysis.intake.layout import Layout
from analysis.policy import Policy
from analysis.research.association import associations
from analysis.research.curves import curve_table, duration_table, group_tests
from analysis.research.extract import (
    Extract,
    Followed,
    make_extract,
    smallest_allowed,
)
from analysis.research.flow import ends_table, flow_table
from analysis.research.risk import site_risk, syringe_periods
from analysis.research.survival import site_times
from analysis.sites import absent
from analysis.sites.attribution import rows_of_sites
from analysis.sites.definition import Definition, definition_of, definitions
from analysis.sites.episodes import Courses, site_courses, site_episodes
from analysis.sites.rates import exposure, reaction_rates, site_spans
from analysis.terms import Exclusion

__all__ = ["STAGES", "Extract", "Study", "run_study", "study_sites"]

#: Stages that `run_study` names to its caller as it comes to them.
STAGES = ("reading the export", "sites", "rates", "curves", "associations", "extract")


@dataclass(frozen=True, slots=True, kw_only=True)
class Study:
    """Everything a study of site reactions found.

    Attributes
    ----------
    policy : Policy
        The limits in force.
    log_start, log_end : Timestamp
        First and last accepted row, in the policy's time zone.
    sites, patients : int
        Sites found, and patients who had one.
    account : DataFrame
        One row a file, as of an audit.
    absent : str
        Why there is no rate; empty where there is one.
    notes : tuple of str
        What had to be settled or derived, in words.
    joint_note : str
        Why there is no regression of all factors together, or why it is unsteady.
    definitions, rates, curves, durations, tests, associations, flow, ends : DataFrame
        Tables with the columns of `analysis.research.columns`.
    """

    policy: Policy
    log_start: pd.Timestamp
    log_end: pd.Timestamp
    sites: int
    patients: int
    account: pd.DataFrame
    absent: str
    notes: tuple[str, ...]
    joint_note: str
    definitions: pd.DataFrame
    rates: pd.DataFrame
    curves: pd.DataFrame
    durations: pd.DataFrame
    tests: pd.DataFrame
    associations: pd.DataFrame
    flow: pd.DataFrame
    ends: pd.DataFrame


def run_study(  # noqa: PLR0913 - all but three by keyword
    exports: Sequence[Path],
    policy: Policy,
    secret: bytes,
    *,
    layout: Layout | None = None,
    least: int | None = None,
    whole_days: bool = False,
    progress: Callable[[str], None] | None = None,
) -> tuple[Study, Extract | None]:
    """Study the site reactions of a log.

    Parameters
    ----------
    exports : sequence of Path
        Exports, in any mix of files.
    policy : Policy
        The limits in force.
    secret : bytes
        Key of the pseudonyms (`load_secret`).
    layout : Layout, optional
        How the exports map to the canonical tables.
    least : int, optional
        Patients that every combination of ward, location and drugs in the extract has;
        the policy's if not given.
    whole_days : bool
        Round hours in the extract to whole days.
    progress : callable, optional
        Called with each of `STAGES` as it begins.

    Returns
    -------
    study : Study
        Tables of the whole log.
    extract : Extract or None
        None where the log has too few patients for one.

    Raises
    ------
    InputError
        A file cannot be used as a whole.
    """
    say = progress or _silent
    say(STAGES[0])
    log = read_exports(exports, policy, layout)
    return study_sites(
        log, policy, secret, least=least, whole_days=whole_days, progress=say
    )


def study_sites(  # noqa: PLR0913 - all but three by keyword
    log: Log,
    policy: Policy,
    secret: bytes,
    *,
    least: int | None = None,
    whole_days: bool = False,
    progress: Callable[[str], None] | None = None,
) -> tuple[Study, Extract | None]:
    """Study the site reactions of a log that has been read.

    Parameters
    ----------
    log : Log
        Canonical tables.
    policy : Policy
        The limits in force.
    secret : bytes
        Key of the pseudonyms.
    least : int, optional
        As for `run_study`.
    whole_days : bool
        As for `run_study`.
    progress : callable, optional
        As for `run_study`.

    Returns
    -------
    study : Study
        Tables of the whole log.
    extract : Extract or None
        None where the log has too few patients for one.
    """
    say = progress or _silent
    say(STAGES[1])
    rows = rows_of_sites(log)
    courses = site_courses(log, rows)
    episodes = site_episodes(courses, definition_of(policy))
    say(STAGES[2])
    rates, counted = _by_definition(courses, definitions(policy))
    say(STAGES[3])
    times = site_times(courses, episodes)
    curves, durations = curve_table(times), duration_table(times)
    say(STAGES[4])
    periods = syringe_periods(courses, episodes)
    risk = site_risk(log, episodes, periods)
    associated, joint_note = associations(risk, times)
    say(STAGES[5])
    least = smallest_allowed(policy, least)
    followed = Followed(courses=courses, episodes=episodes, periods=periods)
    extract = make_extract(log, followed, secret, least, whole_days=whole_days)
    study = Study(
        policy=policy,
        log_start=log.checks["checked_at"].iloc[0],
        log_end=log.checks["checked_at"].iloc[-1],
        sites=len(courses.sites),
        patients=int(courses.sites["patient_id"].nunique()),
        account=log.account,
        absent=absent(log, policy),
        notes=(*log.notes, *_notes(courses, risk.not_placed)),
        joint_note=joint_note,
        definitions=counted,
        rates=rates,
        curves=curves,
        durations=durations,
        tests=group_tests(times),
        associations=associated,
        flow=flow_table(log, rows, courses, episodes),
        ends=ends_table(episodes),
    )
    return study, extract


def _silent(words: str) -> None:
    del words


def _by_definition(
    courses: Courses, every: Sequence[Definition]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Give rates by each definition, and how many sites each leaves at risk."""
    spans = site_spans(courses)
    rates, counted = [], []
    for each in every:
        episodes = site_episodes(courses, each)
        found = reaction_rates(episodes, exposure(spans, episodes))
        rates.append(found.assign(definition=each.name))
        prevalent = int((episodes["exclusion"] == Exclusion.PREVALENT).sum())
        at_risk = int((episodes["exclusion"] == "").sum())
        counted.append(
            {
                "definition": each.name,
                "words": each.words,
                "at_risk": at_risk,
                "prevalent": prevalent,
                "not_judged": len(episodes) - at_risk - prevalent,
            }
        )
    return pd.concat(rates, ignore_index=True), pd.DataFrame(counted)


def _notes(courses: Courses, not_placed: int) -> list[str]:
    notes = []
    derived = int(courses.sites["is_derived"].sum())
    if derived:
        notes.append(
            f"Cannula sites without an id in the export: {derived}. They were derived "
            "from site_changed and location."
        )
    late = courses.sites["is_left_truncated"] & courses.sites["placed_at"].notna()
    if late.any():
        notes.append(
            f"Sites in place before the log began: {int(late.sum())}. They count "
            "from their first row on; in curves they come in late, and they take no "
            "part in the estimates of competing ends and between looks."
        )
    if not_placed:
        notes.append(
            f"Sites at risk whose placement is not known: {not_placed}. They are in "
            "the rates, and in no curve or regression."
        )
    return notes
