"""Cannula sites: when placed, what was seen, until when watched, and why it ended.

One cannula placement is one site. What does not depend on what counts as a reaction is
found once (`site_courses`); episodes are then cut by a definition (`site_episodes`), so
that several definitions cost little more than one.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.intake import Log
from analysis.intake.infusions import DERIVED
from analysis.lookup import by_key, whole_seconds
from analysis.sites.attribution import placed_by_rows
from analysis.sites.definition import Definition
from analysis.terms import (
    NO_WARD,
    EndReason,
    Entry,
    Exclusion,
    LineKind,
    RemovalReason,
    SiteEnd,
    SiteOutcome,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Courses:
    """What is known of each site, whatever counts as a reaction.

    Attributes
    ----------
    sites : DataFrame
        One row a site, indexed by site: patient_id, ward (of its first row), last_ward,
        location, material, gauge, is_derived, first_row, last_row, has_signs,
        placed_earliest, placed_latest, placed_at (their middle; NaT where not known),
        starts_at (placed_at, or the first row of a site placed before the log or nobody
        knows when), is_left_truncated, removed_at (the middle where it lies between two
        times; NaT while in place), removal_reason, is_contradictory (removed before it
        was inserted), gone_at (removal, else the last row), leaves (`SiteEnd` but for a
        reaction), first_source, last_look_source, listed_source.
    looks : DataFrame
        Rows up to the site's removal, in order of time: site, place (of the site in
        `sites`), checked_at, ward, infusion_id, site_signs, source.
    """

    sites: pd.DataFrame
    looks: pd.DataFrame


def site_courses(log: Log, rows: pd.DataFrame) -> Courses:
    """Follow every site from its placement to its removal or the last look.

    Parameters
    ----------
    log : Log
        Canonical tables.
    rows : DataFrame
        As given by `rows_of_sites`.

    Returns
    -------
    Courses
        A date alone is anywhere in its local day, and the middle is taken of what the
        looks leave of it.
    """
    table = log.lines[log.lines["kind"] == LineKind.CANNULA].drop_duplicates("line_id")
    table = table.set_index("line_id")
    looks, known = _looks(rows, table["removed_at_latest"])
    sites = pd.DataFrame(index=known)
    first = _by_site(looks[~looks["place"].duplicated()], sites.index)
    last = _by_site(looks[~looks["place"].duplicated(keep="last")], sites.index)
    sites["is_derived"] = sites.index.str.startswith(DERIVED)
    sites["first_row"], sites["last_row"] = first["checked_at"], last["checked_at"]
    for name in ("patient_id", "ward"):
        sites[name] = _filled(first[name], table[name])
    sites["ward"] = sites["ward"].mask(sites["ward"] == "", NO_WARD)
    sites["last_ward"] = last["ward"].fillna(sites["ward"])
    where = looks[looks["site_location"] != ""].drop_duplicates("place")
    seen_in = _by_site(where, sites.index)["site_location"]
    listed_in = table["location"].mask(table["location"] == "")
    sites["location"] = _filled(listed_in.reindex(sites.index), seen_in)
    for name in ("material", "gauge", "removal_reason"):
        sites[name] = _filled(table[name].reindex(sites.index))
    signed = looks.loc[looks["site_signs"] != "", "place"].unique()
    sites["has_signs"] = np.isin(np.arange(len(sites)), signed)
    _add_start(sites, table, rows, log.checks["checked_at"].min())
    _add_end(sites, table, _replaced(sites, first, table.index))
    sites["gone_at"] = sites["gone_at"].fillna(log.checks["checked_at"].iloc[-1])
    sites["leaves"] = _leaves(sites, last, rows, log)
    sites["first_source"] = first["source"]
    sites["last_look_source"] = last["source"]
    sites["listed_source"] = table["source"]
    return Courses(sites=sites, looks=looks)


def _looks(rows: pd.DataFrame, removed: pd.Series) -> tuple[pd.DataFrame, pd.Index]:
    """Give the rows up to each site's removal, and all sites in order of name.

    Each name is looked up once: rows are many, and sites are not.
    """
    codes, named = pd.factorize(rows["site"])
    cut = removed.reindex(named).take(codes).set_axis(rows.index)
    is_in = cut.isna() | (rows["checked_at"] <= cut)
    looks, codes = rows[is_in], codes[is_in.to_numpy()]
    known = removed.index.union(pd.Index(named[np.unique(codes)])).rename("site")
    return looks.assign(place=known.get_indexer(pd.Index(named))[codes]), known


def _by_site(rows: pd.DataFrame, sites: pd.Index) -> pd.DataFrame:
    """Give the one row of each site, missing where it has none."""
    every = rows.set_index("place").reindex(np.arange(len(sites)))
    return every.set_axis(sites)


def _filled(values: pd.Series, other: pd.Series | None = None) -> pd.Series:
    """Give texts, of another source where missing, and empty where both are."""
    if other is not None:
        values = values.fillna(other.reindex(values.index))
    return values.astype("str").fillna("")


def _middle(earliest: pd.Series, latest: pd.Series) -> pd.Series:
    return whole_seconds(earliest + (latest - earliest) / 2)


def _add_start(
    sites: pd.DataFrame,
    table: pd.DataFrame,
    rows: pd.DataFrame,
    log_start: pd.Timestamp,
) -> None:
    """Add when a site was placed, and from when it is watched.

    A date alone starts at the middle of what is left of that day before the first look.
    """
    by_rows = placed_by_rows(rows, table.index).reindex(sites.index)
    earliest = table["inserted_at"].reindex(sites.index).fillna(by_rows["earliest"])
    latest = table["inserted_at_latest"].reindex(sites.index).fillna(by_rows["latest"])
    latest = latest.where(~(latest > sites["first_row"]), sites["first_row"])
    loose = sites.assign(earliest=earliest, latest=latest)
    loose = loose[table.index.get_indexer(loose.index) < 0]
    earliest = _after_removal(loose, table).reindex(sites.index).fillna(earliest)
    latest = latest.where(latest >= earliest, earliest)
    placed = _middle(earliest, latest)
    before = placed.isna() | (placed < log_start)
    sites["placed_earliest"], sites["placed_latest"] = earliest, latest
    sites["placed_at"] = placed
    sites["is_left_truncated"] = before
    sites["starts_at"] = placed.where(~before, sites["first_row"])


def _after_removal(loose: pd.DataFrame, table: pd.DataFrame) -> pd.Series:
    """Say when a cannula was removed while the site of rows alone was being placed.

    It was placed then at the earliest: one is removed as the next is in, or before.
    """
    removed = table[["patient_id", "removed_at"]].dropna()
    pairs = loose[["patient_id", "earliest", "latest"]].reset_index(names="site")
    pairs = pairs.merge(removed, on="patient_id")
    between = (pairs["earliest"] < pairs["removed_at"]) & (
        pairs["removed_at"] <= pairs["latest"]
    )
    last: pd.Series = pairs[between].groupby("site")["removed_at"].max()
    return last


def _replaced(sites: pd.DataFrame, first: pd.DataFrame, listed: pd.Index) -> pd.Series:
    """Say when sites that no table lists were replaced: as the next one was placed."""
    own = sites[listed.get_indexer(sites.index) < 0]
    own = own.sort_values("first_row", kind="stable")
    named = first.reindex(own.index)
    following = own.groupby([named["patient_id"], named["run_driver_id"]])
    at = following["placed_at"].shift(-1)
    replaced: pd.Series = at.where(at >= own["last_row"]).reindex(sites.index)
    return replaced


def _add_end(sites: pd.DataFrame, table: pd.DataFrame, replaced: pd.Series) -> None:
    """Add when a site was removed, and until when it can be watched.

    A date alone ends at the middle of what is left of that day after the last look.
    """
    earliest = table["removed_at"].reindex(sites.index)
    latest = table["removed_at_latest"].reindex(sites.index)
    last = sites["last_row"]
    removed = _middle(earliest.mask(earliest < last, last), latest).fillna(replaced)
    is_said = (sites["removal_reason"] != "") & removed.isna()
    # Removed on no known day: at its last row at the earliest, and that is all we know.
    sites["removed_at"] = removed.fillna(sites["last_row"].where(is_said))
    gone = sites["removed_at"].fillna(last)
    gone = gone.where(~(gone < last), last)
    # What nothing dates and no row names is left for the end of the log.
    sites["gone_at"] = gone.fillna(sites["starts_at"])
    sites["is_contradictory"] = (latest < sites["placed_earliest"]).astype(bool)


_OF_REMOVAL = {
    str(RemovalReason.DIED): SiteEnd.DEATH,
    str(RemovalReason.END_OF_TREATMENT): SiteEnd.END_OF_TREATMENT,
}
_OF_INFUSION = {
    str(EndReason.DIED): SiteEnd.DEATH,
    str(EndReason.TRANSFERRED): SiteEnd.TRANSFER,
    str(EndReason.STOPPED): SiteEnd.END_OF_TREATMENT,
    str(EndReason.COMPLETED): SiteEnd.END_OF_TREATMENT,
}


def _leaves(
    sites: pd.DataFrame, last: pd.DataFrame, rows: pd.DataFrame, log: Log
) -> pd.Series:
    """Say why a site is no longer watched, but for a reaction.

    The reason charted for its removal; without one, death, where its last infusion
    ended with it and nothing of the patient is charted later; a removal, where it was
    removed or another site of the same patient and driver came after; how its last
    infusion ended, where nothing of the patient is charted later; else the end of
    observation.
    """
    keys = ["patient_id", "run_driver_id"]
    newest = rows.groupby(keys)["checked_at"].max()
    owner = pd.MultiIndex.from_frame(last[keys])
    is_followed = newest.reindex(owner).set_axis(last.index) > last["checked_at"]
    is_last = last["checked_at"] >= by_key(
        last["patient_id"], log.checks.groupby("patient_id")["checked_at"].max()
    )
    ended = by_key(last["infusion_id"], log.infusions["end_reason"]).astype("object")
    of_infusion = ended.map(_OF_INFUSION)
    of_infusion = of_infusion.fillna(
        last["entry"].map({Entry.END: SiteEnd.END_OF_TREATMENT})
    )
    of_infusion = of_infusion.where(is_last)
    reason = sites["removal_reason"].astype("object").map(_OF_REMOVAL)
    is_removed = sites["removed_at"].notna() | is_followed
    is_unsaid = (sites["removal_reason"] == "") & ~is_followed
    reason = reason.fillna(of_infusion.where(is_unsaid & (ended == EndReason.DIED)))
    said = reason.fillna(
        pd.Series(SiteEnd.REMOVAL, sites.index).where(is_removed).astype("object")
    )
    said = said.fillna(of_infusion).fillna(SiteEnd.END_OF_OBSERVATION)
    named: pd.Series = said.map(str).astype("str")
    return named


def site_episodes(courses: Courses, definition: Definition) -> pd.DataFrame:
    """Cut every site at its reaction, its removal or the last look.

    A reaction is the earliest of: any reaction sign, enough different minor signs at
    one check, removal for a reaction reason; one a site. A site already showing one
    when first seen, and not known to have been placed before that look within the log,
    is prevalent.

    Parameters
    ----------
    courses : Courses
        As given by `site_courses`.
    definition : Definition
        Says which signs and removal reasons make a reaction.

    Returns
    -------
    DataFrame
        One row a site, indexed by site: patient_id, ward (of its first row), location,
        material, gauge, is_derived, placed_at, starts_at, ends_at, event_at (NaT
        without a reaction), clear_at (when it was last known to have had none: at a
        look before it, or the last look that recorded signs, or a removal for a charted
        reason; else the placement; NaT if neither is known), event_ward,
        is_left_truncated, end (`SiteEnd`), outcome, exclusion, first_source and
        last_source.
    """
    sites, looks = courses.sites, courses.looks
    is_reaction = definition.is_reaction(looks["site_signs"])
    hit = _by_site(looks[is_reaction].drop_duplicates("place"), sites.index)
    names = ["patient_id", "ward", "location", "material", "gauge", "is_derived"]
    out = sites[[*names, "placed_at", "starts_at", "is_left_truncated"]].copy()
    by_removal = sites["removal_reason"].isin(definition.removal_reasons)
    out["event_at"] = hit["checked_at"].fillna(sites["removed_at"].where(by_removal))
    out["event_ward"] = _filled(hit["ward"], sites["last_ward"])
    out["ends_at"] = out["event_at"].fillna(sites["gone_at"])
    gone_clear = (sites["removal_reason"] != "") & bool(definition.removal_reasons)
    out["clear_at"] = _last_clear(looks, is_reaction, out, gone_clear)
    is_event = out["event_at"].notna()
    out["end"] = sites["leaves"].mask(is_event, str(SiteEnd.REACTION))
    _add_outcome(out, sites, _is_judged(sites, definition))
    own = sites["listed_source"]
    out["first_source"] = sites["first_source"].fillna(own)
    out["last_source"] = hit["source"].fillna(sites["last_look_source"]).fillna(own)
    return out


def _last_clear(
    looks: pd.DataFrame,
    is_reaction: pd.Series,
    out: pd.DataFrame,
    gone_clear: pd.Series,
) -> pd.Series:
    """Give when each site was last known to have had no reaction.

    The last look before its reaction that recorded none, or the last of all; a removal
    for a charted reason that is none (`gone_clear`); else its placement.
    """
    event = out["event_at"].take(looks["place"].to_numpy()).set_axis(looks.index)
    at = looks["checked_at"]
    is_clear = (looks["site_signs"] != "") & ~is_reaction & ~(at >= event)
    clear = looks.loc[is_clear, ["place", "checked_at"]]
    newest = _by_site(clear.drop_duplicates("place", keep="last"), out.index)
    known = newest["checked_at"].mask(
        gone_clear & out["event_at"].isna(), out["ends_at"]
    )
    last: pd.Series = known.fillna(out["starts_at"].where(~out["is_left_truncated"]))
    return last


def _is_judged(sites: pd.DataFrame, definition: Definition) -> pd.Series:
    """Mark sites of which it is known whether they had a reaction by a definition.

    A sign, or none, is charted; or a reason for removal, whether or not it is a
    reaction. By removals alone a listed cannula that is still in place had none, as far
    as reasons are charted at all. Where nothing is a reaction, nothing is judged.
    """
    is_said = sites["removal_reason"] != ""
    by_removal = is_said & bool(definition.removal_reasons)
    if definition.reads_signs:
        judged: pd.Series = sites["has_signs"].astype(bool) | by_removal
        return judged
    stays = sites["listed_source"].notna() & sites["removed_at"].isna()
    return by_removal | (stays & bool(is_said.any()) & (not definition.is_empty))


def _add_outcome(out: pd.DataFrame, sites: pd.DataFrame, is_judged: pd.Series) -> None:
    """Add outcome and exclusion; not judged is told apart from no reaction."""
    at_first_look = (out["event_at"] <= sites["first_row"]) & ~(
        out["starts_at"] < sites["first_row"]
    )
    too_early = (out["event_at"] < sites["placed_earliest"]).astype(bool)
    silent = ~is_judged
    watched = (out["ends_at"] > out["starts_at"]).astype(bool)
    event = out["event_at"].notna()
    out["outcome"] = np.select(
        [at_first_look, silent, event],
        [
            str(SiteOutcome.PREVALENT),
            str(SiteOutcome.NOT_RECORDED),
            str(SiteOutcome.REACTION),
        ],
        default=str(SiteOutcome.NO_REACTION),
    )
    out["exclusion"] = np.select(
        [sites["is_contradictory"], too_early, at_first_look, silent, ~watched],
        [
            str(Exclusion.CONTRADICTORY),
            str(Exclusion.REACTION_BEFORE_FITTED),
            str(Exclusion.PREVALENT),
            str(Exclusion.SIGNS_NOT_RECORDED),
            str(Exclusion.NO_EXPOSURE),
        ],
        default="",
    )
