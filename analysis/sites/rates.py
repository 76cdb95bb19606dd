"""Site reactions: events, site-days and the rate, by ward and month."""

import numpy as np
import pandas as pd

from analysis.columns import RATES
from analysis.intervals import poisson_exact
from analysis.lookup import by_key
from analysis.terms import ALL

MEASURE = "site_reactions"


def exposure(episodes: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    """Cut the time each site was watched at ward and month boundaries.

    Parameters
    ----------
    episodes : DataFrame
        As given by `site_episodes`; excluded sites add nothing.
    rows : DataFrame
        As given by `rows_of_sites`: the ward of a row holds until the next one.

    Returns
    -------
    DataFrame
        One row a piece: site, patient_id, ward, month, days.
    """
    at_risk = episodes[episodes["exclusion"] == ""]
    looks = rows[rows["site"].isin(at_risk.index)][["site", "checked_at", "ward"]]
    looks = looks.rename(columns={"checked_at": "from_at"})
    begins = pd.DataFrame(
        {
            "site": at_risk.index,
            "from_at": at_risk["starts_at"],
            "ward": at_risk["ward"],
        }
    )
    pieces = pd.concat([begins, looks], ignore_index=True)
    pieces = pieces.sort_values(["site", "from_at"], kind="stable")
    ends = by_key(pieces["site"], at_risk["ends_at"])
    pieces["to_at"] = pieces.groupby("site")["from_at"].shift(-1).fillna(ends)
    pieces["to_at"] = pieces["to_at"].where(pieces["to_at"] < ends, ends)
    starts = by_key(pieces["site"], at_risk["starts_at"])
    pieces["from_at"] = pieces["from_at"].where(pieces["from_at"] > starts, starts)
    pieces = pieces[pieces["to_at"] > pieces["from_at"]]
    frames = [_within(pieces, first, after) for first, after in _months(pieces)]
    out = pd.concat(frames, ignore_index=True) if frames else _no_pieces()
    out["patient_id"] = by_key(out["site"], episodes["patient_id"])
    keys = ["site", "patient_id", "ward", "month"]
    return out.groupby(keys)[["days"]].sum().reset_index()


def _no_pieces() -> pd.DataFrame:
    return pd.DataFrame({"site": [], "ward": [], "month": [], "days": []})


def _months(pieces: pd.DataFrame) -> list[tuple[pd.Timestamp, pd.Timestamp]]:
    """Give first moment and end of every local month the pieces touch."""
    if not len(pieces):
        return []
    zone = pieces["from_at"].dt.tz
    first = pieces["from_at"].min().tz_localize(None).to_period("M")
    last = pieces["to_at"].max().tz_localize(None).to_period("M")
    return [
        (m.start_time.tz_localize(zone), (m + 1).start_time.tz_localize(zone))
        for m in pd.period_range(first, last, freq="M")
    ]


def _within(
    pieces: pd.DataFrame, first: pd.Timestamp, after: pd.Timestamp
) -> pd.DataFrame:
    ends = pieces["to_at"].where(pieces["to_at"] < after, after)
    begins = pieces["from_at"].where(pieces["from_at"] > first, first)
    days = (ends - begins).dt.total_seconds() / 86400
    out = pieces[["site", "ward"]].assign(month=f"{first:%Y-%m}", days=days)
    return out[days > 0]


def reaction_rates(episodes: pd.DataFrame, pieces: pd.DataFrame) -> pd.DataFrame:
    """Count reactions over site-days, with exact limits.

    Parameters
    ----------
    episodes : DataFrame
        As given by `site_episodes`.
    pieces : DataFrame
        As given by `exposure`.

    Returns
    -------
    DataFrame
        The ``rates`` table: all wards and each, all months and each. The limits assume
        that sites are independent.
    """
    events = episodes[(episodes["exclusion"] == "") & episodes["event_at"].notna()]
    events = pd.DataFrame(
        {
            "ward": events["event_ward"],
            "month": events["event_at"].dt.strftime("%Y-%m"),
        }
    )
    wards = [ALL, *sorted(set(pieces["ward"]) | set(events["ward"]))]
    months = [ALL, *sorted(set(pieces["month"]) | set(events["month"]))]
    rows = [
        _rate_row(ward, month, events, pieces) for ward in wards for month in months
    ]
    table = pd.DataFrame(rows, columns=RATES.names)
    # A reaction seen at the first look after a transfer has no exposure in that ward.
    some = (table["exposure_days"] > 0) | (table["events"] > 0)
    table = table[some | (table["ward"] == ALL)]
    low, high = poisson_exact(
        table["events"].to_numpy(), table["exposure_days"].to_numpy()
    )
    days = table["exposure_days"].where(table["exposure_days"] > 0)
    table = table.assign(
        rate_per_1000=1000 * table["events"] / days, low=1000 * low, high=1000 * high
    )
    return table.reset_index(drop=True)


def _rate_row(
    ward: str, month: str, events: pd.DataFrame, pieces: pd.DataFrame
) -> dict[str, object]:
    def mine(frame: pd.DataFrame) -> pd.DataFrame:
        keep = np.ones(len(frame), dtype=bool)
        if ward != ALL:
            keep &= (frame["ward"] == ward).to_numpy()
        if month != ALL:
            keep &= (frame["month"] == month).to_numpy()
        return frame[keep]

    at_risk = mine(pieces)
    return {
        "measure": MEASURE,
        "ward": ward,
        "period": month,
        "events": len(mine(events)),
        "exposure_days": at_risk["days"].sum(),
        "patients": at_risk["patient_id"].nunique(),
    }
