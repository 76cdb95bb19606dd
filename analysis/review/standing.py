"""Decisions of a run put to those that stood after the run before it.

A list may be given again with a decision changed in it, while the folder's own list
still carries the older one. What a list said before is no new decision: only what
differs from it is, and it replaces what stood. Two lists that both bring something new
contradict.
"""

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from analysis.review.files import no_decisions
from analysis.terms import Decision

#: Columns of what stood, all text.
STOOD = ("finding_id", "decision", "said", "before", "heard", "decided_in")

_Row = dict[str, Any]

#: Columns of the rows that come out, beside those of the lists.
TOLD = ("before", "heard")

# "word (file:row)", several joined by "; ", where a file's name may hold either.
_WORDS = "|".join(Decision)
_SPLIT = re.compile(rf"; (?=(?:{_WORDS}) \()")


def nothing_stood() -> pd.DataFrame:
    """Give what stands before the first run.

    Returns
    -------
    DataFrame
        No row; columns `STOOD`.
    """
    return pd.DataFrame(columns=pd.Index(STOOD), dtype="str")


def what_stood(decisions: Path) -> pd.DataFrame:
    """Read what was decided after the last run.

    Parameters
    ----------
    decisions : Path
        The published table of decisions.

    Returns
    -------
    DataFrame of str
        `STOOD`, one row a finding that a list had a decision on; none where the table
        is missing or of another version, as a first run has it.
    """
    try:
        table = pd.read_csv(decisions, dtype=str, keep_default_na=False, na_values=[])
    except (OSError, ValueError):
        return nothing_stood()
    if not set(STOOD) <= set(table.columns):
        return nothing_stood()
    stood = table[list(STOOD)]
    return stood[(stood[list(STOOD[1:5])] != "").any(axis=1)].reset_index(drop=True)


def put_to_what_stood(
    own: pd.DataFrame, given: pd.DataFrame, stood: pd.DataFrame
) -> pd.DataFrame:
    """Blank the decisions that something newer replaces.

    Parameters
    ----------
    own : DataFrame of str
        Rows of the folder's own lists (`read_decisions`), edited or not.
    given : DataFrame of str
        Rows of the lists given to this run.
    stood : DataFrame of str
        What was decided after the run before (`what_stood`).

    Returns
    -------
    DataFrame of str
        Rows of both, with ``before`` (what a decision replaced) and ``heard`` (what
        each list given said last). A decision that stood and is in no list any more is
        added again: a row deleted from a list takes nothing back, an emptied cell does.
    """
    by_id = {row["finding_id"]: _Stood.of(row) for row in _records(stood)}
    rows = [
        {**row, "is_own": is_own, "before": "", "heard": ""}
        for table, is_own in ((own, True), (given, False))
        for row in _records(table)
    ]
    by_finding: dict[str, list[_Row]] = {key: [] for key in by_id}
    for row in rows:
        by_finding.setdefault(row["finding_id"], []).append(row)
    nothing = _Stood.of(dict.fromkeys(STOOD, ""))
    out = [
        row
        for key, mine in by_finding.items()
        for row in _of_finding(key, mine, by_id.get(key, nothing))
    ]
    columns = pd.Index([*no_decisions().columns, *TOLD])
    return pd.DataFrame(out, columns=columns, dtype="str").fillna("")


def _records(table: pd.DataFrame) -> list[_Row]:
    names = [str(name) for name in table.columns]
    rows = table.itertuples(index=False, name=None)
    return [dict(zip(names, row, strict=True)) for row in rows]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stood:
    """What stood of one finding.

    Attributes
    ----------
    votes : dict of str to str
        Decision by source; more than one decision where lists contradict.
    written : str
        What the run wrote into the cell of the folder's list.
    before, told : str
        What it had replaced; itself, in words.
    heard : dict of str to set of str
        What each list given said last, by its file.
    """

    votes: dict[str, str]
    written: str
    before: str
    told: str
    heard: dict[str, set[str]]

    @classmethod
    def of(cls, row: dict[str, str]) -> "_Stood":
        word, source = row["decision"], row["decided_in"]
        votes = {source: word} if word else dict(_pairs(row["said"]))
        heard: dict[str, set[str]] = {}
        for file, told in _pairs(row["heard"]):
            heard.setdefault(file, set()).add(told)
        return cls(
            votes=votes,
            written=word,
            before=row["before"],
            told=f"{word} ({source})" if word else row["said"],
            heard=heard,
        )


def _pairs(text: str) -> list[tuple[str, str]]:
    """Give source and word of "word (source)", several joined by "; "."""
    parts = [part.partition(" (") for part in _SPLIT.split(text) if part]
    return [(source.removesuffix(")"), word) for word, _, source in parts]


def _of_finding(finding_id: str, rows: list[_Row], stood: _Stood) -> list[_Row]:
    """Give the rows of one finding with only those decisions that count now."""
    is_new = [_is_new(row, stood) for row in rows]
    news = [row for row, new in zip(rows, is_new, strict=True) if new]
    told = {"heard": _heard(rows, stood), "before": stood.before}
    words = set(stood.votes.values())
    kept: dict[str, str] = {}
    if not news or (len(words) > 1 and not any(row["is_own"] for row in news)):
        # A contradiction stands until one of its sides is changed.
        changed = {_file(row["source"]) for row in news}
        kept = {s: w for s, w in stood.votes.items() if _file(s) not in changed}
    if words - {row["decision"] for row in news} - set(kept.values()):
        told["before"] = stood.told
    blank = {**(rows[0] if rows else {}), "finding_id": finding_id}
    blank |= {"note": "", "initials": ""}
    return [
        {**row, **told, "decision": row["decision"] if new else ""}
        for row, new in zip(rows, is_new, strict=True)
    ] + [{**blank, **told, "decision": w, "source": s} for s, w in kept.items()]


def _is_new(row: _Row, stood: _Stood) -> bool:
    """Say whether a row says what it did not say at the run before."""
    if row["is_own"]:
        return bool(row["decision"] != stood.written)
    known = stood.heard.get(_file(row["source"]), set(stood.votes.values()))
    return bool(row["decision"]) and row["decision"] not in known


def _heard(rows: list[_Row], stood: _Stood) -> str:
    now: dict[str, set[str]] = {}
    for row in rows:
        if row["decision"] and not row["is_own"]:
            now.setdefault(_file(row["source"]), set()).add(row["decision"])
    return "; ".join(
        f"{word} ({file})"
        for file, said in sorted((stood.heard | now).items())
        for word in sorted(said)
    )


def _file(source: str) -> str:
    return source.rpartition(":")[0]
