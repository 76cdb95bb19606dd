"""What reviewers decided: how far they are, what was confirmed, what was false."""

from pathlib import Path
from typing import Any

import pandas as pd

from analysis.audit import AuditResult
from analysis.report import facts
from analysis.report.grid import Grid
from analysis.report.read_back import read_review
from analysis.report.section import Section, section
from analysis.report.sections import words
from analysis.review import Review, flags_by_month, shares_confirmed
from analysis.terms import ALL, Decision, ReviewState

#: Rows of a long table that are on the page; the rest is in the tables folder.
_MOST_ROWS = 200


def reviewed(result: AuditResult, folder: Path | str) -> Section:
    """Show what was decided of the findings, and what the decisions add up to.

    Parameters
    ----------
    result : AuditResult
        The audit.
    folder : Path or str
        Folder of the report; the tables of its review are read.

    Returns
    -------
    Section
        Decisions whose finding is gone, and those that contradict, are listed.
    """
    review = read_review(folder, result.policy)
    mine = review.decisions[review.decisions["month"] == result.month]
    given = review.decisions["decision"].notna()
    return section(
        "review",
        total=len(mine),
        counts={str(s): int((mine["state"] == s).sum()) for s in ReviewState},
        decided_total=int(given.sum()),
        shares=_shares_grid(review),
        flags=_flags_grid(review, result),
        contradicting=_contradicting_grid(review.decisions),
        changed=_changed_grid(review.decisions),
        unmatched=_unmatched_grid(review.unmatched),
        unmatched_total=len(review.unmatched),
    )


def _shares_grid(review: Review) -> Grid:
    rows = [
        (
            "all" if row["group"] == ALL else row["group"].replace("_", "-"),
            words.number(row["listed"], 0),
            *(words.number(row[str(word)], 0) for word in Decision),
            "" if pd.isna(row["share"]) else f"{100 * row['share']:.0f} %",
            words.interval(row["low"], row["high"], 100),
        )
        for row in facts.rows_of(shares_confirmed(review))
    ]
    return Grid(
        caption="Decisions on the findings of this log",
        head=("about", "listed", *Decision, "share confirmed", "95 % interval"),
        rows=rows,
        numeric=frozenset(range(1, 8)),
        last_is_total=True,
    )


def _flags_grid(review: Review, result: AuditResult) -> Grid:
    table = flags_by_month(review, result.infusions, result.policy.false_flags_per_1000)
    rows = [
        (
            "all months" if row["month"] == ALL else words.month(row["month"]),
            f"{row['decided']:.0f} of {row['listed']:.0f}",
            *(words.number(row[name], 0) for name in ("confirmed", "false", "unclear")),
            words.number(row["by_threshold"]),
            words.number(row["by_list"]),
        )
        for row in facts.rows_of(table)
        if row["decided"] > 0
    ]
    return Grid(
        caption="False flags among delivery findings, so far",
        head=(
            "month",
            "decided of listed",
            "confirmed",
            "false flags",
            "unclear",
            "promised by the threshold",
            "promised by the list",
        ),
        rows=rows,
        numeric=frozenset(range(1, 7)),
        last_is_total=True,
    )


def _contradicting_grid(decisions: pd.DataFrame) -> Grid:
    rows = decisions[decisions["state"] == ReviewState.CONTRADICTING]
    return Grid(
        caption="Two decisions on one finding: settle which holds",
        head=("finding", "ward", "infusion", "what", "decisions"),
        rows=[
            (
                *(words.plain(row[n]) for n in ("finding_id", "ward", "infusion_id")),
                facts.words(row["kind"]),
                words.plain(row["said"]),
            )
            for row in facts.rows_of(rows.head(_MOST_ROWS))
        ],
        more=_rest(len(rows), "decisions"),
        is_for_search=True,
    )


def _changed_grid(decisions: pd.DataFrame) -> Grid:
    rows = decisions[decisions["before"].notna()]
    return Grid(
        caption="Decisions that replaced another one",
        head=("finding", "ward", "infusion", "what", "before", "now"),
        rows=[
            (
                *(words.plain(row[n]) for n in ("finding_id", "ward", "infusion_id")),
                facts.words(row["kind"]),
                words.plain(row["before"]),
                _now(row),
            )
            for row in facts.rows_of(rows.head(_MOST_ROWS))
        ],
        more=_rest(len(rows), "decisions"),
        is_for_search=True,
    )


def _now(row: dict[str, Any]) -> str:
    if pd.isna(row["decision"]):
        return "contradicting" if pd.notna(row["said"]) else "taken back"
    return f"{row['decision']} ({words.plain(row['decided_in'])})"


def _unmatched_grid(unmatched: pd.DataFrame) -> Grid:
    names = ("finding_id", "month", "ward", "infusion_id", "kind", "decision", "reason")
    return Grid(
        caption="Unmatched decisions: kept, though their finding is not in this log",
        head=("finding", "month", "ward", "infusion", "what", "decision", "why"),
        rows=[
            tuple(words.plain(row[name]) for name in names)
            for row in facts.rows_of(unmatched.head(_MOST_ROWS))
        ],
        more=_rest(len(unmatched), "unmatched"),
        is_for_search=True,
    )


def _rest(rows: int, table: str) -> str:
    more = rows - _MOST_ROWS
    return f"{more:,} more in tables/{table}.csv" if more > 0 else ""
