"""Site-days at risk with what was in the syringe then: the table behind a regression.

The syringe changes daily and with it drugs, volume and diluent, so that a site has a
row for each syringe and each band of its time in place. A reaction counts to the row
that it ends.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import pandas as pd

from analysis.delivery.contents import read_contents
from analysis.intake import Log
from analysis.lookup import by_key
from analysis.sites.episodes import Courses
from analysis.sites.rates import cut_at, pieces_at_risk, site_spans

NOT_RECORDED: Final = "not recorded"
NOT_READABLE: Final = "not readable"

#: Ends of bands of time in place [d] that a regression may tell apart, by how many
#: bands the events allow (common practice, no source).
_BANDS: Final = {1: (), 2: (2.0,), 3: (1.0, 3.0), 4: (1.0, 2.0, 4.0)}

#: Where time in place is cut to be told of, where events allow no bands [d].
_SHOWN: Final = (2.0,)

#: Events that one band needs.
EVENTS_A_BAND: Final = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Risk:
    """Site-days at risk.

    Attributes
    ----------
    rows : DataFrame
        One row a piece: site, place, patient_id, infusion_id, from_day and to_day
        (since the placement), band, in_place (the time in words), days, event (0 or 1),
        ward, location, material, diluent, volume_ml_24h.
    drugs : DataFrame
        One row an infusion and drug: infusion_id, drug, per_ml (amount in a mL),
        unit. An infusion whose contents cannot be read is not in it.
    contents : Series of str
        Of each infusion: ``charted``, `NOT_READABLE` or `NOT_RECORDED`.
    not_placed : int
        Sites at risk that are left out because nobody knows when they were placed.
    """

    rows: pd.DataFrame
    drugs: pd.DataFrame
    contents: pd.Series
    not_placed: int


def site_risk(log: Log, episodes: pd.DataFrame, periods: pd.DataFrame) -> Risk:
    """Cut the time at risk by syringe and by time in place.

    Parameters
    ----------
    log : Log
        Canonical tables.
    episodes : DataFrame
        As given by `site_episodes`.
    periods : DataFrame
        As given by `syringe_periods`.

    Returns
    -------
    Risk
        Of sites whose placement is known.
    """
    is_known = periods["is_placed"]
    not_placed = int(periods.loc[~is_known, "site"].nunique())
    pieces = periods[is_known]
    inner = band_edges(int(pieces["is_event"].sum()))
    # Told of by itself also where too few reactions are there to be told apart by it.
    shown = inner or _SHOWN
    edges = np.array([-np.inf, *shown, np.inf])
    place, band, begins, ends = cut_at(
        pieces["from_day"].to_numpy(float), pieces["to_day"].to_numpy(float), edges
    )
    names = ["site", "place", "infusion_id", "ward"]
    rows = pieces[names].take(place).reset_index(drop=True)
    is_last = np.append(place[1:] != place[:-1], True)[: len(place)]
    event = pieces["is_event"].to_numpy()[place] & is_last
    rows = rows.assign(
        from_day=begins,
        to_day=ends,
        band=band if inner else 0,
        in_place=np.array(_in_words(shown), dtype=object)[band],
        days=ends - begins,
        event=event,
    )
    rows["in_place"] = rows["in_place"].astype("str")
    rows["event"] = rows["event"].astype("int64")
    for name in ("patient_id", "location", "material"):
        rows[name] = episodes[name].take(rows["place"].to_numpy()).array
    # Asked for again by every regression: in numbers it is found at once.
    rows["patient_id"] = rows["patient_id"].astype("category")
    drugs, contents = syringe_drugs(log)
    return Risk(
        rows=with_syringes(rows, log),
        drugs=drugs,
        contents=contents,
        not_placed=not_placed,
    )


def syringe_periods(courses: Courses, episodes: pd.DataFrame) -> pd.DataFrame:
    """Cut the time each site was at risk by syringe and ward.

    Parameters
    ----------
    courses : Courses
        As given by `site_courses`.
    episodes : DataFrame
        As given by `site_episodes`.

    Returns
    -------
    DataFrame
        One row a period: site, place (of the site in `episodes`), infusion_id, ward,
        is_event, is_placed, and from_day and to_day since the placement, or since it
        was first watched where that is not known.
    """
    pieces = pieces_at_risk(site_spans(courses, "infusion_id"), episodes)
    place = pieces["place"].to_numpy()
    placed, starts = (
        episodes[name].take(place).set_axis(pieces.index)
        for name in ("placed_at", "starts_at")
    )
    origin = placed.fillna(starts)
    return pieces.assign(
        is_placed=placed.notna(),
        from_day=(pieces["from_at"] - origin).dt.total_seconds() / 86400,
        to_day=(pieces["to_at"] - origin).dt.total_seconds() / 86400,
    )


def band_edges(events: int) -> tuple[float, ...]:
    """Say where time in place is cut, given how many events there are.

    Parameters
    ----------
    events : int
        Reactions.

    Returns
    -------
    tuple of float
        Days; none with few events.
    """
    most = min(max(events // EVENTS_A_BAND, 1), max(_BANDS))
    return _BANDS[most]


def _in_words(edges: tuple[float, ...]) -> list[str]:
    """Name the bands between edges [d].

    Examples
    --------
    >>> _in_words((1.0, 3.0))
    ['up to 1 day', 'over 1 to 3 days', 'over 3 days']
    """
    first, last = edges[0], edges[-1]
    between = pairwise(edges)
    return [
        f"up to {first:g} day{'' if first == 1 else 's'}",
        *(f"over {low:g} to {high:g} days" for low, high in between),
        f"over {last:g} day{'' if last == 1 else 's'}",
    ]


def with_syringes(rows: pd.DataFrame, log: Log) -> pd.DataFrame:
    """Add what was in the syringe, and write words in one way.

    Parameters
    ----------
    rows : DataFrame
        infusion_id, ward, location and material.
    log : Log
        Canonical tables.

    Returns
    -------
    DataFrame
        With diluent and volume_ml_24h; words not recorded say so.
    """
    rows = rows.copy()
    runs = log.infusions
    made_up = runs["made_up_to_ml"].fillna(runs["start_volume_ml"])
    hours = runs["planned_duration_h"]
    # Without a planned duration a syringe is taken to last a day, as is usual.
    per_day = made_up * 24 / hours.fillna(24.0)
    rows["diluent"] = _text(by_key(rows["infusion_id"], runs["diluent"]))
    rows["volume_ml_24h"] = by_key(rows["infusion_id"], per_day)
    for name in ("location", "material", "ward"):
        rows[name] = _text(rows[name])
    rows["diluent"] = rows["diluent"].str.strip().str.lower()
    rows["material"] = rows["material"].str.strip().str.lower()
    return rows


def _text(values: pd.Series) -> pd.Series:
    words = values.astype("str").fillna("")
    return words.mask(words.str.strip() == "", NOT_RECORDED)


def syringe_drugs(log: Log) -> tuple[pd.DataFrame, pd.Series]:
    """Read the contents of every infusion; each different text is read once.

    Parameters
    ----------
    log : Log
        Canonical tables.

    Returns
    -------
    drugs : DataFrame
        As `Risk.drugs`.
    contents : Series of str
        As `Risk.contents`.
    """
    contents = log.infusions["contents"]
    made_up_ml = log.infusions["made_up_to_ml"].fillna(log.infusions["start_volume_ml"])
    words = contents.astype("str").fillna("").str.strip()
    codes, different = pd.factorize(words)
    read = [read_contents(str(text)) for text in different]
    state = [
        NOT_READABLE if drugs is None else "charted" if drugs else NOT_RECORDED
        for drugs in read
    ]
    listed = pd.DataFrame(
        [
            (code, drug.name.strip().lower(), drug.amount, drug.unit.lower())
            for code, drugs in enumerate(read)
            for drug in drugs or ()
        ],
        columns=pd.Index(["code", "drug", "amount", "unit"]),
    ).drop_duplicates(["code", "drug"])
    named = pd.DataFrame({"code": codes, "made_up": made_up_ml.to_numpy(float)})
    named["infusion_id"] = contents.index
    each = named.merge(listed, on="code")
    volume = each["made_up"].where(each["made_up"] > 0)
    each["per_ml"] = each["amount"].astype("float64") / volume
    kept = each[["infusion_id", "drug", "per_ml", "unit"]]
    states = np.array([*state, NOT_RECORDED], dtype=object)[codes]
    return kept, pd.Series(states, index=contents.index, dtype="str")
