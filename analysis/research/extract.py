"""A reduced-identifier extract: pseudonyms, hours in place of dates, coarse words.

It is not anonymous, and needs local approval. No free text, no staff code, no driver
and no date is in it: words are those of the trade (`trade_words`), and those that few
patients share are coarsened. Whoever holds the
charts can still find a person by the hours of a site.
"""

import base64
import hmac
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter
from typing import Final

import numpy as np
import pandas as pd

from analysis.delivery.contents import read_contents
from analysis.errors import OutputError
from analysis.intake import Log
from analysis.lookup import by_key
from analysis.policy import Policy
from analysis.research.coarsen import OTHER, coarsen
from analysis.research.columns import EXTRACT_PERIODS, EXTRACT_SITES
from analysis.research.linkage import Linkage, in_whole_days, linkage
from analysis.research.risk import NOT_READABLE, NOT_RECORDED, with_syringes
from analysis.research.trade_words import trade_diluent, trade_drug, trade_material
from analysis.sites.episodes import Courses
from analysis.terms import YesNo

STANDING: Final = "reduced-identifier, not anonymous; needs local approval"

#: Characters of a pseudonym, of 5 bits each.
_LENGTH: Final = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class Extract:
    """What may be handed to a researcher, once that is approved.

    Attributes
    ----------
    least : int
        Patients that every combination of ward, location and drugs has.
    whole_days : bool
        Hours are rounded to whole days.
    sites, periods : DataFrame
        With the columns of `analysis.research.columns`.
    linkage : Linkage
        How many of its patients whoever holds the charts can find.
    """

    least: int
    whole_days: bool
    sites: pd.DataFrame
    periods: pd.DataFrame
    linkage: Linkage


@dataclass(frozen=True, slots=True, kw_only=True)
class Followed:
    """The sites of a log, followed and cut by one definition.

    Attributes
    ----------
    courses : Courses
        As given by `site_courses`.
    episodes : DataFrame
        As given by `site_episodes`.
    periods : DataFrame
        As given by `syringe_periods`.
    """

    courses: Courses
    episodes: pd.DataFrame
    periods: pd.DataFrame


def smallest_allowed(policy: Policy, asked: int | None) -> int:
    """Give the number of patients a combination of words must have.

    Parameters
    ----------
    policy : Policy
        Sets the least.
    asked : int or None
        More, if more is wanted.

    Returns
    -------
    int
        At least 2.

    Raises
    ------
    OutputError
        Fewer than the policy wants were asked for.
    """
    own = max(policy.smallest_group_patients, 2)
    if asked is not None and asked < own:
        msg = f"--smallest {asked}: the policy wants at least {own} patients"
        raise OutputError(f"{msg}; give that or more")
    return asked or own


def pseudonym(secret: bytes, kind: str, name: str) -> str:
    """Give the name that stands for another in an extract.

    Parameters
    ----------
    secret : bytes
        Key; without it nobody can list names and see which give this one.
    kind : str
        What is named, so that a patient and a site of one name differ.
    name : str
        As charted.

    Returns
    -------
    str
        Sixteen characters.
    """
    text = f"{kind}\x1f{name}".encode()
    digest = hmac.digest(secret, text, "sha256")
    return base64.b32encode(digest[: _LENGTH * 5 // 8]).decode()


def _pseudonyms(secret: bytes, kind: str, names: pd.Series) -> pd.Series:
    known = {name: pseudonym(secret, kind, str(name)) for name in names.unique()}
    return names.map(known).astype("str")


def make_extract(
    log: Log,
    followed: Followed,
    secret: bytes,
    least: int,
    *,
    whole_days: bool = False,
) -> Extract | None:
    """Make the extract of a log.

    Parameters
    ----------
    log : Log
        Canonical tables.
    followed : Followed
        Its sites.
    secret : bytes
        Key of the pseudonyms.
    least : int
        Patients that every combination of words must have.
    whole_days : bool
        Round hours to whole days.

    Returns
    -------
    Extract or None
        Sites in the order of their pseudonyms, which is no order of time. None where
        the log has fewer patients.
    """
    episodes = followed.episodes
    if episodes["patient_id"].nunique() < least:
        return None
    words = _drug_words(log)
    sites = _coarse_sites(followed.courses, episodes, words, least)
    hidden = sites.index[sites["drugs"] == OTHER]
    periods = _coarse_periods(log, followed, words, least)
    # What is coarse of a site is not given away by its periods.
    for name, gone in (
        ("drugs", hidden),
        ("ward", sites.index[sites["ward"] == OTHER]),
    ):
        periods[name] = periods[name].mask(periods["site"].isin(gone), OTHER)
    periods = coarsen(periods, ["drugs", "ward"], least)
    keys = _pseudonyms(secret, "site", pd.Series(episodes.index, episodes.index))
    sites = sites.assign(
        site=keys, patient=_pseudonyms(secret, "patient", sites["patient"])
    )
    periods = periods.assign(site=by_key(periods["site"], keys))
    sites = sites.reset_index(drop=True).sort_values("site", ignore_index=True)
    periods = periods.sort_values(["site", "from_h"], ignore_index=True)
    if whole_days:
        sites, periods = in_whole_days(sites), in_whole_days(periods)
    return Extract(
        least=least,
        whole_days=whole_days,
        sites=sites[EXTRACT_SITES.names],
        periods=periods[EXTRACT_PERIODS.names],
        linkage=linkage(sites, periods, least),
    )


def _drug_words(log: Log) -> pd.Series:
    """Give the drugs of every infusion, in order of name; each text is read once."""
    contents = log.infusions["contents"].astype("str").fillna("").str.strip()
    codes, different = pd.factorize(contents)
    words = np.array([*map(_drugs_in, different), NOT_RECORDED], dtype=object)
    return pd.Series(words[codes], index=contents.index, dtype="str")


def _drugs_in(text: str) -> str:
    drugs = read_contents(text)
    if drugs is None:
        return NOT_READABLE
    return "; ".join(sorted({trade_drug(d.name) for d in drugs})) or NOT_RECORDED


def _coarse_sites(
    courses: Courses,
    episodes: pd.DataFrame,
    words: pd.Series,
    least: int,
) -> pd.DataFrame:
    is_placed = episodes["placed_at"].notna()
    origin = episodes["placed_at"].fillna(episodes["starts_at"])

    def hours(at: pd.Series) -> pd.Series:
        return (at - origin).dt.total_seconds() / 3600

    order = episodes.assign(began=origin).sort_values("began", kind="stable")
    number = order.groupby("patient_id").cumcount() + 1
    out = pd.DataFrame(
        {
            "patient": episodes["patient_id"],
            "site_of_patient": number.reindex(episodes.index),
            "ward": episodes["ward"],
            "location": episodes["location"],
            "drugs": _drugs_of_sites(courses, words),
            "material": trade_material(episodes["material"]),
            "hours_from": is_placed.map({True: "placement", False: "first look"}),
            "entry_h": hours(episodes["starts_at"]),
            "end_h": hours(episodes["ends_at"]),
            "end": episodes["end"],
            "reaction": _yes(episodes["event_at"].notna()),
            "clear_h": hours(episodes["clear_at"]),
            "gone_h": hours(courses.sites["gone_at"]),
            "gone": courses.sites["leaves"],
            "derived": _yes(episodes["is_derived"]),
            "at_risk": _yes(episodes["exclusion"] == ""),
            "exclusion": episodes["exclusion"],
        }
    )
    for name in ("location", "material"):
        out[name] = out[name].mask(out[name] == "", NOT_RECORDED)
    # Reactions go with drugs and places: the ward is given up first.
    out = coarsen(out, ["drugs", "location", "ward"], least)
    return coarsen(out, ["material"], least)


def _drugs_of_sites(courses: Courses, words: pd.Series) -> pd.Series:
    """Give all drugs that a site had, in order of name."""
    runs = courses.looks["infusion_id"]
    codes, infusions = pd.factorize(runs, use_na_sentinel=False)
    pairs = pd.DataFrame({"place": courses.looks["place"].array, "code": codes})
    pairs = pairs.drop_duplicates()
    place, code = (pairs[name].to_numpy() for name in ("place", "code"))
    named = words.reindex(infusions).fillna(NOT_RECORDED).take(code).array
    sites = courses.sites.index.take(place)
    each = pd.DataFrame({"site": sites, "drugs": named}).drop_duplicates()
    each = each[~each["drugs"].isin([NOT_RECORDED, NOT_READABLE])]
    # Most sites have one set of drugs throughout; the others have theirs joined.
    several = each["site"].duplicated(keep=False)
    single = each[~several].set_index("site")["drugs"]
    both = pd.concat([single, pd.Series(dict(_joined(each[several])), dtype="str")])
    drugs: pd.Series = both.reindex(courses.sites.index).fillna(NOT_RECORDED)
    return drugs


def _joined(each: pd.DataFrame) -> Iterator[tuple[str, str]]:
    """Give sites with all their drugs; each different set of texts is joined once."""
    known: dict[frozenset[str], str] = {}
    pairs = sorted(zip(each["site"], each["drugs"], strict=True))
    for site, own in groupby(pairs, key=itemgetter(0)):
        texts = frozenset(text for _, text in own)
        if texts not in known:
            drugs = {drug for text in texts for drug in text.split("; ")}
            known[texts] = "; ".join(sorted(drugs))
        yield site, known[texts]


def _coarse_periods(
    log: Log, followed: Followed, words: pd.Series, least: int
) -> pd.DataFrame:
    pieces = followed.periods
    rows = pd.DataFrame(
        {
            "site": pieces["site"],
            "patient": followed.episodes["patient_id"]
            .take(pieces["place"].to_numpy())
            .array,
            "infusion_id": pieces["infusion_id"],
            "from_h": 24 * pieces["from_day"],
            "to_h": 24 * pieces["to_day"],
            "reaction": _yes(pieces["is_event"]),
            "ward": pieces["ward"],
            "location": "",
            "material": "",
            "drugs": by_key(pieces["infusion_id"], words).fillna(NOT_RECORDED),
        }
    )
    rows = with_syringes(rows, log)
    rows["volume_ml_24h"] = rows["volume_ml_24h"].round(0)
    rows["diluent"] = trade_diluent(rows["diluent"])
    return coarsen(rows, ["diluent"], least) if len(rows) else rows


def _yes(is_so: pd.Series) -> pd.Series:
    return is_so.map({True: str(YesNo.YES), False: str(YesNo.NO)})
