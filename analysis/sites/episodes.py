"""Cannula sites: when placed, what was seen, until when watched.

One cannula placement is one site. Rows point at it by site_id; without one, a row
belongs to the only cannula of the lines table that was in its patient then; else sites
are derived from site_changed and location, and marked as derived.
"""

import numpy as np
import pandas as pd

from analysis.intake import Log
from analysis.intake.infusions import DERIVED, short_hash
from analysis.lookup import by_key, whole_seconds
from analysis.policy import Policy
from analysis.terms import NO_WARD, Exclusion, LineKind, SiteOutcome


def rows_of_sites(log: Log) -> pd.DataFrame:
    """Give the rows of the check log that say something of a site.

    Parameters
    ----------
    log : Log
        Canonical tables.

    Returns
    -------
    DataFrame
        Accepted rows in order of time, with site (its id); rows that cannot be
        assigned to one site are left out.
    """
    rows = log.checks.copy()
    rows["site"] = rows["site_id"]
    cannulas = log.lines[log.lines["kind"] == LineKind.CANNULA]
    blank = rows["site"] == ""
    with_table = rows["patient_id"].isin(cannulas["patient_id"])
    rows["site"] = rows["site"].mask(
        blank & with_table, _in_place(rows[blank & with_table], cannulas)
    )
    derive = blank & ~with_table & _says_anything(rows)
    rows["site"] = rows["site"].mask(derive, _derived(rows[derive]))
    return rows[rows["site"].astype("str").fillna("") != ""]


def _says_anything(rows: pd.DataFrame) -> pd.Series:
    return (
        (rows["site_signs"] != "")
        | (rows["site_location"] != "")
        | (rows["site_changed"] == "yes")
    )


def _in_place(rows: pd.DataFrame, cannulas: pd.DataFrame) -> pd.Series:
    """Give the only cannula that was in the row's patient, by its place if several."""
    loose = rows[["patient_id", "checked_at", "site_location"]].reset_index()
    pairs = loose.merge(cannulas, on="patient_id")
    inside = (
        pairs["inserted_at"].isna() | (pairs["inserted_at"] <= pairs["checked_at"])
    ) & (
        pairs["removed_at_latest"].isna()
        | (pairs["checked_at"] <= pairs["removed_at_latest"])
    )
    pairs = pairs[inside]
    several = pairs.duplicated("index", keep=False)
    agrees = pairs["location"] == pairs["site_location"]
    pairs = pairs[~several | agrees]
    single = pairs[~pairs.duplicated("index", keep=False)].set_index("index")
    return single["line_id"].reindex(rows.index).astype("str").fillna("")


def _derived(rows: pd.DataFrame) -> pd.Series:
    """Tell sites apart by site_changed rows and changes of location, per driver."""
    order = rows.sort_values(
        ["patient_id", "run_driver_id", "checked_at"], kind="stable"
    )
    keys = [order["patient_id"], order["run_driver_id"]]
    place = order["site_location"].replace("", np.nan).groupby(keys).ffill()
    before = place.groupby(keys).shift()
    moved = (order["site_changed"] == "yes") | (
        place.notna() & before.notna() & (place != before)
    )
    number = moved.astype("int64").groupby(keys).cumsum()
    first = order.groupby([*keys, number])["checked_at"].transform("min")
    stamp = first.dt.tz_convert("UTC").dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    text = order["patient_id"] + "\x1f" + order["run_driver_id"] + "\x1f" + stamp
    labels = {key: DERIVED + short_hash(key) for key in text.unique()}
    named: pd.Series = text.map(labels)
    return named


def site_episodes(log: Log, rows: pd.DataFrame, policy: Policy) -> pd.DataFrame:
    """Follow every site from its placement to a reaction, its removal or the last look.

    A reaction is the earliest of: any reaction sign, enough different minor signs at
    one check, removal for a reaction reason; one a site. A site already showing one
    when first seen, and not known to have been placed before that look within the log,
    is prevalent.

    Parameters
    ----------
    log : Log
        Canonical tables.
    rows : DataFrame
        As given by `rows_of_sites`.
    policy : Policy
        Says which signs and removal reasons make a reaction.

    Returns
    -------
    DataFrame
        One row a site, indexed by site: patient_id, ward (of its first row), starts_at,
        ends_at, event_at (NaT without a reaction), clear_at (the last look before it
        that saw none, else the placement; NaT if neither is known), event_ward,
        is_left_truncated, outcome, exclusion, first_source, last_source.
    """
    table = log.lines[log.lines["kind"] == LineKind.CANNULA].drop_duplicates("line_id")
    table = table.set_index("line_id")
    seen = rows.assign(is_reaction=_is_reaction(rows["site_signs"], policy))
    cut = by_key(seen["site"], table["removed_at_latest"])
    seen = seen[cut.isna() | (seen["checked_at"] <= cut)]
    by = seen.groupby("site")
    out = pd.DataFrame(index=table.index.union(by.size().index))
    out["first_row"], out["last_row"] = by["checked_at"].min(), by["checked_at"].max()
    for name in ("patient_id", "ward"):
        out[name] = by[name].first()
        out[name] = out[name].fillna(table[name]).astype("str").fillna("")
    out["ward"] = out["ward"].mask(out["ward"] == "", NO_WARD)
    out["has_signs"] = out.index.isin(seen.loc[seen["site_signs"] != "", "site"])
    _add_start(out, table, log)
    hit = seen[seen["is_reaction"]].groupby("site")
    out["event_at"], out["event_ward"] = hit["checked_at"].min(), hit["ward"].first()
    by_removal = table["removal_reason"].isin(policy.reaction_removal_reasons)
    by_removal = by_removal.reindex(out.index, fill_value=False)
    removed = _middle(table["removed_at"], table["removed_at_latest"])
    removed = removed.reindex(out.index)
    out["event_at"] = out["event_at"].fillna(removed.where(by_removal))
    out["event_ward"] = out["event_ward"].fillna(by["ward"].last()).fillna(out["ward"])
    out["clear_at"] = _last_clear(seen, out)
    watched = removed.fillna(out["last_row"])
    watched = watched.where(watched > out["last_row"], out["last_row"]).fillna(watched)
    # A cannula that nothing dates and no row names stands at the end of the log.
    known = out["event_at"].fillna(watched).fillna(out["starts_at"])
    out["ends_at"] = known.fillna(log.checks["checked_at"].iloc[-1])
    _add_outcome(out, table["removal_reason"] != "")
    look = by["source"]
    _add_sources(out, look.first(), look.last(), hit["source"].first(), table["source"])
    return out


def _add_sources(
    out: pd.DataFrame,
    first: pd.Series,
    last: pd.Series,
    shown: pd.Series,
    listed: pd.Series,
) -> None:
    """Add first_source and last_source: rows of the log, else of the lines table."""
    own = listed.reindex(out.index)
    out["first_source"] = first.reindex(out.index).fillna(own)
    out["last_source"] = shown.reindex(out.index).fillna(last).fillna(own)


def _is_reaction(signs: pd.Series, policy: Policy) -> pd.Series:
    """Tell for each row whether what was seen is a reaction by the policy."""
    reaction, minor = set(policy.reaction_signs), set(policy.minor_signs)
    said = {}
    for cell in signs.unique():
        words = set(cell.split(";"))
        said[cell] = bool(words & reaction) or (
            len(words & minor) >= policy.minor_signs_needed
        )
    return signs.map(said).astype(bool)


def _last_clear(seen: pd.DataFrame, sites: pd.DataFrame) -> pd.Series:
    """Give the last look before a site's reaction that saw none, else its placement."""
    clear = seen[(seen["site_signs"] != "") & ~seen["is_reaction"]]
    clear = clear[clear["checked_at"] < by_key(clear["site"], sites["event_at"])]
    looked = clear.groupby("site")["checked_at"].max().reindex(sites.index)
    placed = sites["starts_at"].where(~sites["is_left_truncated"])
    return looked.fillna(placed).where(sites["event_at"].notna())


def _middle(earliest: pd.Series, latest: pd.Series) -> pd.Series:
    return whole_seconds(earliest + (latest - earliest) / 2)


def _add_start(out: pd.DataFrame, table: pd.DataFrame, log: Log) -> None:
    """Add starts_at and is_left_truncated.

    A date alone starts at the middle of what is left of that day before the first look.
    """
    earliest = table["inserted_at"].reindex(out.index)
    latest = table["inserted_at_latest"].reindex(out.index)
    latest = latest.where(~(latest > out["first_row"]), out["first_row"])
    placed = _middle(earliest, latest.where(latest >= earliest, earliest))
    log_start = log.checks["checked_at"].min()
    before = placed.isna() | (placed < log_start)
    out["is_left_truncated"] = before
    out["starts_at"] = placed.where(~before, out["first_row"])


def _add_outcome(out: pd.DataFrame, is_judged: pd.Series) -> None:
    """Add outcome and exclusion; not judged is told apart from no reaction."""
    at_first_look = (out["event_at"] <= out["first_row"]) & ~(
        out["starts_at"] < out["first_row"]
    )
    # A charted reason for removal is a judgement, whether or not it is a reaction.
    silent = ~out["has_signs"] & ~is_judged.reindex(out.index, fill_value=False)
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
        [at_first_look, silent, ~watched],
        [
            str(Exclusion.PREVALENT),
            str(Exclusion.SIGNS_NOT_RECORDED),
            str(Exclusion.NO_EXPOSURE),
        ],
        default="",
    )
