"""What decisions add up to: the share confirmed, and false flags beside the promise."""

import numpy as np
import pandas as pd

from analysis.intervals import wilson
from analysis.review.matching import Review
from analysis.terms import ALL, Decision, FindingGroup, YesNo

#: Columns of `flags_by_month`, in order.
FLAGS = (
    "month",
    "listed",
    "decided",
    "confirmed",
    "false",
    "unclear",
    "by_threshold",
    "by_list",
)
_FALSE = (Decision.CHARTING_ERROR, Decision.EXPLAINED)


def shares_confirmed(review: Review) -> pd.DataFrame:
    """Give the share of decided findings that were confirmed, by group.

    Parameters
    ----------
    review : Review
        Decisions with their findings; unmatched ones take no part.

    Returns
    -------
    DataFrame
        group (all groups together last, as ``all``), listed, then one column for each
        `Decision`, and share, low, high: confirmed of those confirmed, charting error
        or explained, with Wilson's 95 % limits; NaN where nothing was decided. Unclear
        ones are counted and are in no share.
    """
    table = review.decisions[["group", "decision"]].astype("object")
    every = pd.concat([table, table.assign(group=ALL)])
    groups = [str(g) for g in FindingGroup if (table["group"] == g).any()]
    counts = (
        pd.crosstab(every["group"], every["decision"].fillna(""))
        .reindex(index=[*groups, ALL], fill_value=0)
        .reindex(columns=["", *map(str, Decision)], fill_value=0)
    )
    shares = counts.drop(columns="").rename_axis("group").reset_index()
    shares.columns.name = None
    shares.insert(1, "listed", counts.sum(axis=1).to_numpy())
    confirmed = shares[str(Decision.CONFIRMED)].to_numpy(float)
    judged = confirmed + shares[[str(word) for word in _FALSE]].sum(axis=1).to_numpy()
    shares["share"] = confirmed / np.where(judged > 0, judged, np.nan)
    shares["low"], shares["high"] = wilson(confirmed, judged)
    return shares


def flags_by_month(
    review: Review, infusions: pd.DataFrame, wanted_per_1000: float
) -> pd.DataFrame:
    """Count delivery flags that turned out false beside the number promised.

    Parameters
    ----------
    review : Review
        Decisions on findings of this log, and those of months before, which count too.
    infusions : DataFrame
        The infusions table: month and evaluable.
    wanted_per_1000 : float
        The policy's target of false flags per 1,000 uneventful infusions.

    Returns
    -------
    DataFrame
        `FLAGS`, a row a month and a last one, ``all``, over months with a decision.
        False is charting error or explained. ``by_threshold`` is promised for a month
        that has a decision, NaN where it has none or the log does not hold the month;
        ``by_list`` is the sum of 1 - event_probability of those decided, unclear ones
        left out.
    """
    names = ["month", "group", "event_probability", "decision"]
    mine = review.decisions[names].assign(is_listed=True)
    before = review.unmatched[names].assign(is_listed=False)
    some = [part for part in (mine, before) if len(part)] or [mine]
    table = pd.concat(some, ignore_index=True)
    table = table[table["group"] == FindingGroup.DELIVERY]
    table = table[table["is_listed"] | table["decision"].notna()]
    by_month = _counts(table).groupby(table["month"].fillna("")).sum()
    evaluable = infusions[infusions["evaluable"] == YesNo.YES]
    judged = evaluable["month"].value_counts().reindex(by_month.index)
    promised = judged.where(by_month["decided"] > 0)
    by_month["by_threshold"] = promised * wanted_per_1000 / 1000
    rows = by_month.sort_index().rename_axis("month").reset_index()
    total = pd.DataFrame([{"month": ALL, **by_month[by_month["decided"] > 0].sum()}])
    return pd.concat([rows, total] if len(rows) else [total], ignore_index=True)[
        list(FLAGS)
    ]


def _counts(table: pd.DataFrame) -> pd.DataFrame:
    decision = table["decision"]
    is_judged = decision.isin([Decision.CONFIRMED, *_FALSE])
    return pd.DataFrame(
        {
            "listed": 1,
            "decided": decision.notna().astype(int),
            "confirmed": (decision == Decision.CONFIRMED).astype(int),
            "false": decision.isin(_FALSE).astype(int),
            "unclear": (decision == Decision.UNCLEAR).astype(int),
            "by_list": (1 - table["event_probability"]).where(is_judged).fillna(0.0),
        },
        index=table.index,
    )
