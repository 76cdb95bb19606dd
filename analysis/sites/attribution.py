"""Rows of the check log to cannula sites, and what rows alone say of a placement.

Rows point at a site by site_id; without one, a row belongs to the only cannula of the
lines table that was in its patient then; else sites are derived from site_changed and
location, and marked as derived.
"""

from typing import Final

import pandas as pd

from analysis.intake import Log
from analysis.intake.infusions import DERIVED
from analysis.lookup import are_among, short_hash
from analysis.terms import LineKind, SiteSign

_COLUMNS = [
    "source",
    "ward",
    "patient_id",
    "infusion_id",
    "entry",
    "checked_at",
    "site_id",
    "site_changed",
    "site_location",
    "site_signs",
    "run_driver_id",
]

_OWNER = ["patient_id", "run_driver_id"]

#: A site first named this long after the row before it was placed nobody knows when
#: (common practice, no source: a day is the usual life of a syringe).
_LONGEST_GAP: Final = pd.Timedelta(hours=24)


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
    rows = log.checks[_COLUMNS].copy()
    rows["site"] = rows["site_id"]
    cannulas = log.lines[log.lines["kind"] == LineKind.CANNULA]
    blank = rows["site"] == ""
    if blank.any():
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
    """Tell sites apart by site_changed rows and changes of location, per driver.

    A row that charts a change belongs to the site it found where it has a sign, or
    where its place is that of the row before and not of the one after: a cannula just
    placed shows no sign yet. Else it belongs to the new one. A place on one row alone
    between two of another makes no site.
    """
    order = rows.sort_values([*_OWNER, "checked_at"], kind="stable")
    owner = order.groupby(_OWNER, sort=False).ngroup()
    found = _is_of_the_old(order, owner)
    changed = (order["site_changed"] == "yes") & ~found
    changed |= found.groupby(owner).shift(fill_value=False)
    number = changed.astype("int64").groupby(owner).cumsum()
    place = order["site_location"].mask(order["site_location"] == "")
    keys = [owner, number]
    place = place.mask(_is_slip(place, keys)).groupby(keys).ffill()
    before = place.groupby(keys).shift()
    moved = place.notna() & before.notna() & (place != before)
    number = (changed | moved).astype("int64").groupby(owner).cumsum()
    first = order.groupby([owner, number])["checked_at"].transform("min")
    stamp = first.dt.tz_convert("UTC").dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    text = order["patient_id"] + "\x1f" + order["run_driver_id"] + "\x1f" + stamp
    labels = {key: DERIVED + short_hash(key) for key in text.unique()}
    named: pd.Series = text.map(labels)
    return named


def _is_slip(place: pd.Series, keys: list[pd.Series]) -> pd.Series:
    """Mark a place charted on one row alone, with another both before and after it.

    Without a change charted a cannula does not go and come back: the row is.
    """
    known = place.dropna()
    near = known.groupby([key.loc[known.index] for key in keys])
    before, after = near.shift(), near.shift(-1)
    odd = (before == after) & (known != before)
    return odd.reindex(place.index, fill_value=False).astype(bool)


def _is_of_the_old(order: pd.DataFrame, owner: pd.Series) -> pd.Series:
    """Mark rows that chart a change and speak of the site they found."""
    place = order["site_location"].mask(order["site_location"] == "")
    before = place.groupby(owner).ffill().groupby(owner).shift()
    after = place.groupby(owner).bfill().groupby(owner).shift(-1)
    shown = ~order["site_signs"].isin(["", str(SiteSign.NONE)])
    stays = (place == before) & after.notna() & (place != after)
    is_first = ~owner.duplicated()
    found: pd.Series = (
        (order["site_changed"] == "yes") & (shown | stays) & ~is_first
    ).fillna(value=False)
    return found.astype(bool)


def placed_by_rows(rows: pd.DataFrame, listed: pd.Index) -> pd.DataFrame:
    """Say when sites that no lines table lists were placed, as far as rows tell.

    Parameters
    ----------
    rows : DataFrame
        As given by `rows_of_sites`.
    listed : Index
        Sites of the lines table.

    Returns
    -------
    DataFrame
        One row a site that is not listed, indexed by site: earliest and latest moment.
        Both at the row that charts the change; else between the first row of the site
        and the row before it, if that is at most a day earlier; else NaT.
    """
    loose = ~are_among(rows["site"], listed)
    own = rows[are_among(rows["patient_id"], rows.loc[loose, "patient_id"].unique())]
    own = own.sort_values([*_OWNER, "checked_at"], kind="stable")
    owner = own.groupby(_OWNER, sort=False).ngroup()
    before = own["checked_at"].groupby(owner).shift()
    said = own["site_changed"] == "yes"
    said_before = said.groupby(owner).shift(fill_value=False)
    near = before.notna() & (own["checked_at"] - before <= _LONGEST_GAP)
    exact = own["checked_at"].where(said).fillna(before.where(said_before & near))
    out = pd.DataFrame(
        {
            "site": own["site"],
            "earliest": exact.fillna(before.where(near)),
            "latest": exact.fillna(own["checked_at"].where(near)),
            "at": own["checked_at"],
        }
    )
    out = out[loose.loc[out.index]].sort_values("at", kind="stable")
    return out.drop_duplicates("site").set_index("site")[["earliest", "latest"]]
