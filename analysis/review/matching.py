"""Decisions put to the findings of an audit: decided, open, new, unmatched."""

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.columns import DECISIONS, UNMATCHED
from analysis.review.files import no_decisions
from analysis.review.standing import TOLD
from analysis.terms import ReviewState, Unmatched


@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """What was decided of an audit's findings.

    Attributes
    ----------
    decisions : DataFrame
        One row a finding, in the order of the findings; columns of `DECISIONS`.
    unmatched : DataFrame
        One row a decision without a finding; columns of `UNMATCHED`.
    """

    decisions: pd.DataFrame
    unmatched: pd.DataFrame


def put_together(
    findings: pd.DataFrame, given: pd.DataFrame, months: Collection[str]
) -> Review:
    """Put decisions to findings by finding_id.

    Parameters
    ----------
    findings : DataFrame
        The findings table.
    given : DataFrame of str
        Rows of working lists (`read_decisions`), of any number of files; put to what
        stood before (`put_to_what_stood`) where there was a run before.
    months : collection of str
        Months the log has rows of, YYYY-MM.

    Returns
    -------
    Review
        Every finding once, and every decision, note or initials: with its finding, or
        among the unmatched. Two lists that decide one finding differently leave it
        ``contradicting``, without a decision, and both stand in ``said``.
    """
    filled = ["decision", "note", "initials", *TOLD]
    given = given.reindex(columns=[*no_decisions().columns, *TOLD], fill_value="")
    is_filled = (given[filled] != "").any(axis=1)
    is_known = given["finding_id"].isin(set(findings["finding_id"]))
    mine = _by_finding(given[is_known & is_filled])
    table = findings[
        [name for name in DECISIONS.names if name in findings.columns]
    ].merge(mine, on="finding_id", how="left", validate="1:1")
    is_listed = table["finding_id"].isin(set(given["finding_id"]))
    table["state"] = np.select(
        [table["said"].notna(), table["decision"].notna(), is_listed],
        [ReviewState.CONTRADICTING, ReviewState.DECIDED, ReviewState.OPEN],
        ReviewState.NEW,
    )
    return Review(
        decisions=table[DECISIONS.names],
        unmatched=_unmatched(given[~is_known & is_filled], months),
    )


def _by_finding(given: pd.DataFrame) -> pd.DataFrame:
    """Give one row a finding: the decision all its rows agree on, and all notes."""
    columns = ["decision", "said", *TOLD, "note", "initials", "decided_in"]
    by_id = given.groupby("finding_id", sort=True)
    decided = given[given["decision"] != ""]
    votes = decided.groupby("finding_id")["decision"]
    is_one = votes.min() == votes.max()
    said = (decided["decision"] + " (" + decided["source"] + ")").groupby(
        decided["finding_id"]
    )
    table = pd.DataFrame(
        {
            "decision": votes.first().where(is_one),
            "said": said.agg("; ".join).where(~is_one),
            **{name: by_id[name].max().replace("", None) for name in TOLD},
            "note": by_id["note"].agg(_joined),
            "initials": by_id["initials"].agg(_joined),
            "decided_in": given["source"]
            .where((given[["decision", "note", "initials"]] != "").any(axis=1), "")
            .groupby(given["finding_id"])
            .agg(_joined),
        },
        columns=pd.Index(columns),
        dtype="object",
    )
    return table.rename_axis("finding_id").reset_index()


def _joined(texts: pd.Series) -> str | None:
    """Join texts, leaving out one that another has already taken up."""
    joined = ""
    for text in texts:
        if f"; {joined}; " in f"; {text}; ":
            joined = text
        elif f"; {text}; " not in f"; {joined}; ":
            joined = f"{joined}; {text}" if joined else text
    return joined or None


def _unmatched(given: pd.DataFrame, months: Collection[str]) -> pd.DataFrame:
    """Give decisions without a finding; two that say the same are one."""
    given = given[(given[["decision", "note", "initials"]] != "").any(axis=1)]
    same = ["finding_id", "decision", "note", "initials"]
    rows = given.drop_duplicates(same).rename(
        columns={
            "infusion": "infusion_id",
            "probability": "event_probability",
            "source": "decided_in",
        }
    )
    is_of_log = rows["month"].isin(set(months))
    rows["reason"] = np.where(is_of_log, Unmatched.GONE, Unmatched.OTHER_LOG)
    rows["event_probability"] = pd.to_numeric(
        rows["event_probability"], errors="coerce"
    )
    return rows[UNMATCHED.names].reset_index(drop=True).replace("", None)
