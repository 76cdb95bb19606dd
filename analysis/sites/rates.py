"""Site reactions: events, site-days and the rate, by ward and month."""

from typing import Final

import numpy as np
import pandas as pd

from analysis.columns import RATES
from analysis.intervals import patient_terms, poisson_exact, rate_clustered
from analysis.lookup import by_key, written
from analysis.sites.episodes import Courses
from analysis.terms import ALL, RateInterval

MEASURE: Final = "site_reactions"

_CELL = ["ward", "month", "patient_id"]
_GROUP = ["ward", "period"]


def site_spans(courses: Courses, *by: str) -> pd.DataFrame:
    """Give from when to when each site was under what its rows say.

    Parameters
    ----------
    courses : Courses
        As given by `site_courses`.
    *by : str
        Columns of the rows beside ward, such as ``infusion_id``.

    Returns
    -------
    DataFrame
        One row a span, in order of site and time: site, place, from_at, ward and `by`.
        A row's values hold until the next one; the first row's hold from the placement.
        A site without a row has one span, of its own ward and with `by` empty.
    """
    names = ["ward", *by]
    looks = courses.looks[["place", "checked_at", *names]]
    order = looks.sort_values("place", kind="stable")
    change = order["place"].diff() != 0
    for name in names:
        codes = pd.Series(pd.factorize(order[name])[0], index=order.index)
        change |= codes.diff() != 0
    spans = order[change].rename(columns={"checked_at": "from_at"})
    silent = np.setdiff1d(np.arange(len(courses.sites)), spans["place"].unique())
    own = courses.sites.iloc[silent]
    alone = pd.DataFrame(
        {"place": silent, "from_at": own["starts_at"].array, "ward": own["ward"].array}
    ).assign(**dict.fromkeys(by, ""))
    parts = [part for part in (spans, alone) if len(part)]
    spans = pd.concat(parts or [spans], ignore_index=True)
    spans = spans.sort_values(["place", "from_at"], kind="stable", ignore_index=True)
    place = spans["place"].to_numpy(dtype="int64")
    starts = courses.sites["starts_at"].take(place).set_axis(spans.index)
    is_first = ~spans["place"].duplicated()
    from_at = spans["from_at"].mask(is_first, starts)
    spans["from_at"] = from_at.where(~(from_at < starts), starts)
    spans["site"] = courses.sites.index.take(place)
    return spans


def pieces_at_risk(spans: pd.DataFrame, episodes: pd.DataFrame) -> pd.DataFrame:
    """Cut spans to the time each site was at risk.

    Parameters
    ----------
    spans : DataFrame
        As given by `site_spans`.
    episodes : DataFrame
        As given by `site_episodes`; excluded sites add nothing.

    Returns
    -------
    DataFrame
        Spans with to_at, each longer than nothing; is_event where the site's reaction
        ends it.
    """
    place = spans["place"].to_numpy(dtype="int64")
    ends = episodes["ends_at"].take(place).set_axis(spans.index)
    is_in = (episodes["exclusion"] == "").to_numpy()[place]
    to_at = spans["from_at"].shift(-1)
    to_at = to_at.where(spans["place"] == spans["place"].shift(-1), ends)
    to_at = to_at.where(to_at < ends, ends)
    has_event = episodes["event_at"].notna().to_numpy()[place]
    pieces = spans.assign(to_at=to_at, is_event=has_event & (to_at == ends))
    pieces = pieces[is_in & (pieces["to_at"] > pieces["from_at"])]
    # A span that begins at the reaction is left out; the one before it ends there.
    last = ~pieces["place"].duplicated(keep="last")
    out: pd.DataFrame = pieces.assign(is_event=pieces["is_event"] & last)
    return out


def cut_at(
    begins: np.ndarray, ends: np.ndarray, edges: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Cut stretches at edges.

    Parameters
    ----------
    begins, ends : array, shape (n,)
        Of each stretch; each longer than nothing.
    edges : array, shape (m,)
        In order; the first before all stretches, the last at or after all.

    Returns
    -------
    place, bin, begins, ends : arrays, shape (k,)
        Of each piece: the stretch it is of, the edge it lies after, and its own ends.

    Examples
    --------
    >>> cut_at(np.array([0.5]), np.array([2.0]), np.array([0.0, 1.0, 2.0]))[1:]
    (array([0, 1]), array([0.5, 1. ]), array([1., 2.]))
    """
    first = np.searchsorted(edges, begins, side="right") - 1
    last = np.searchsorted(edges, ends, side="left") - 1
    again = last - first + 1
    place = np.repeat(np.arange(len(begins)), again)
    bins = np.repeat(first, again) + (
        np.arange(again.sum()) - np.repeat(np.cumsum(again) - again, again)
    )
    return (
        place,
        bins,
        np.maximum(begins[place], edges[bins]),
        np.minimum(ends[place], edges[bins + 1]),
    )


def exposure(spans: pd.DataFrame, episodes: pd.DataFrame) -> pd.DataFrame:
    """Cut the time each site was watched at ward and month boundaries.

    Parameters
    ----------
    spans : DataFrame
        As given by `site_spans`.
    episodes : DataFrame
        As given by `site_episodes`; excluded sites add nothing.

    Returns
    -------
    DataFrame
        One row a piece: site, patient_id, ward, month, days.
    """
    pieces = pieces_at_risk(spans, episodes)
    keys = ["site", "patient_id", "ward", "month"]
    if not len(pieces):
        return pd.DataFrame({name: [] for name in keys}, dtype="str").assign(days=0.0)
    edges, months = _month_edges(pieces)
    place, month, begins, ends = cut_at(
        _utc(pieces["from_at"]), _utc(pieces["to_at"]), edges
    )
    out = pd.DataFrame(
        {
            "site": pieces["site"].take(place).array,
            "ward": pieces["ward"].take(place).array,
            "month": months.take(month),
            "days": (ends - begins) / np.timedelta64(86400, "s"),
        }
    )
    out["patient_id"] = by_key(out["site"], episodes["patient_id"])
    return out.groupby(keys)[["days"]].sum().reset_index()


def _utc(times: pd.Series) -> np.ndarray:
    utc: np.ndarray = times.dt.tz_convert("UTC").dt.tz_localize(None).to_numpy()
    return utc.astype("datetime64[us]")


def _month_edges(pieces: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Give the beginnings of all local months the pieces touch, and their names."""
    zone = pieces["from_at"].dt.tz
    first = pieces["from_at"].min().tz_localize(None).to_period("M")
    last = pieces["to_at"].max().tz_localize(None).to_period("M")
    months = pd.period_range(first, last + 1, freq="M")
    edges = pd.Series(months.start_time.tz_localize(zone))
    return _utc(edges), np.array(months.strftime("%Y-%m"), dtype=object)


def reaction_rates(episodes: pd.DataFrame, pieces: pd.DataFrame) -> pd.DataFrame:
    """Count reactions over site-days, with limits.

    Parameters
    ----------
    episodes : DataFrame
        As given by `site_episodes`.
    pieces : DataFrame
        As given by `exposure`.

    Returns
    -------
    DataFrame
        The ``rates`` table with the limits of both kinds beside the ones that lead
        (exact_low, exact_high, clustered_low, clustered_high): all wards and each, all
        months and each. Exact limits take sites as independent; those clustered by
        patient lead where there are enough events and patients for them, and patients
        differ at all.
    """
    own = grouped_rates(_cells(episodes, pieces))
    low, high = poisson_exact(own["events"].to_numpy(), own["exposure"].to_numpy())
    clustered = rate_clustered(own)
    leads = clustered["low"].notna()
    table = pd.DataFrame(
        {
            "measure": MEASURE,
            **{name: own.index.get_level_values(name) for name in _GROUP},
            "events": own["events"].array,
            "exposure_days": own["exposure"].array,
            "patients": own["patients"].array,
            "rate_per_1000": (1000 * own["events"] / _some(own["exposure"])).array,
            "exact_low": 1000 * low,
            "exact_high": 1000 * high,
            "clustered_low": 1000 * clustered["low"].array,
            "clustered_high": 1000 * clustered["high"].array,
            "interval": np.where(
                leads, str(RateInterval.CLUSTERED), str(RateInterval.EXACT)
            ),
        }
    )
    for side in ("low", "high"):
        exact, robust = table[f"exact_{side}"], table[f"clustered_{side}"]
        table[side] = robust.where(leads.to_numpy(), exact)
    beside = ["exact_low", "exact_high", "clustered_low", "clustered_high"]
    return table[[*RATES.names, *beside]]


def _some(days: pd.Series) -> pd.Series:
    return days.where(days > 0)


def _cells(episodes: pd.DataFrame, pieces: pd.DataFrame) -> pd.DataFrame:
    """Give events and site-days of every patient in every ward and month."""
    hit = episodes[(episodes["exclusion"] == "") & episodes["event_at"].notna()]
    events = pd.DataFrame(
        {
            "ward": hit["event_ward"],
            "month": written(hit["event_at"], "%Y-%m"),
            "patient_id": hit["patient_id"],
        }
    )
    counts = events.groupby(_CELL).size().rename("events")
    days = pieces.groupby(_CELL)["days"].sum().rename("exposure")
    # A reaction seen at the first look after a transfer has no exposure in that ward.
    both = pd.concat([counts, days], axis=1).fillna(0.0)
    return both.rename_axis(_CELL).reset_index()


def grouped_rates(cells: pd.DataFrame) -> pd.DataFrame:
    """Add cells up to wards and months, each and all, patients kept apart.

    Parameters
    ----------
    cells : DataFrame
        ward, month, patient_id, events, exposure.

    Returns
    -------
    DataFrame
        Indexed by ward and period, ``all`` first and then by name: events, exposure,
        patients (with exposure) and spread (`rate_clustered`).
    """
    views = [
        cells.assign(
            ward=cells["ward"] if by_ward else ALL,
            period=cells["month"] if by_month else ALL,
        )
        for by_ward in (False, True)
        for by_month in (False, True)
    ]
    keys = [*_GROUP, "patient_id"]
    each = pd.concat(views).groupby(keys)[["events", "exposure"]].sum().reset_index()
    terms = patient_terms(
        each["events"], each["exposure"], [each[name] for name in _GROUP]
    )
    each = each.assign(patients=each["exposure"] > 0, spread=terms**2)
    sums = each.groupby(_GROUP)[["events", "exposure", "patients", "spread"]].sum()
    # All wards together have a line in every period, if only to say that it is empty.
    wanted = pd.MultiIndex.from_product(
        [[ALL], [ALL, *sorted(cells["month"].unique())]], names=_GROUP
    )
    held = pd.MultiIndex.from_tuples(list(sums.index), names=_GROUP)
    sums = sums.reindex(wanted.union(held), fill_value=0)
    counts = {"events": "int64", "patients": "int64"}
    return _all_first(sums).astype(counts)


def _all_first(sums: pd.DataFrame) -> pd.DataFrame:
    """Put ``all`` before every name, in wards and in periods."""
    order = sums.index.to_frame(index=False).astype("object")
    ward, period = (order[name] for name in _GROUP)
    keys = pd.DataFrame({"a": ward != ALL, "b": ward, "c": period != ALL, "d": period})
    return sums.iloc[keys.sort_values(["a", "b", "c", "d"]).index.to_numpy()]
