"""Rows that name what is asked for, where none of them is part of the log.

Whoever asks for an infusion by its id has a chart in hand that bears it: that the log
holds none is no answer while its rows stand in the export and were set aside.
"""

import re
from collections.abc import Iterator

import pandas as pd

from analysis.intake import Log

#: Lines named for one reason, and reasons named in one sentence.
_LINES_NAMED = 5
_REASONS_NAMED = 3

#: Characters of an id from which its being in the text of a row says something.
_TELLING = 4

#: How far from a time asked for a row that could not be placed may be.
_NEAR = pd.Timedelta(hours=24)


def lost_rows_of(log: Log, column: str, asked: str) -> str:
    """Say what became of the rows that name an infusion or a patient.

    Parameters
    ----------
    log : Log
        The log; none of its accepted rows names it.
    column : str
        infusion_id or patient_id.
    asked : str
        As asked for; spaces around it and its case are not minded.

    Returns
    -------
    str
        How many, why, and on which lines, as part of a sentence; empty where no row of
        the export names it.
    """
    rows = log.unplaced
    named = rows.loc[_is(rows[column], asked), "source"]
    found = log.rejected[log.rejected["source"].isin(named)]
    if found.empty:
        found = log.rejected[_written_in(log.rejected["row"], asked)]
    parts = []
    if len(found):
        parts.append(f"{_rows(found['source'].nunique())} set aside: {_why(found)}")
    replaced = log.superseded
    replaced = replaced.loc[_is(replaced[column], asked), "source"]
    if len(replaced):
        parts.append(
            f"{_rows(len(replaced))} replaced by an amendment or struck out: "
            f"{_lines(list(replaced))}"
        )
    return "; ".join(parts)


def lost_rows_near(log: Log, patient_id: str, at: pd.Timestamp) -> str:
    """Say which rows of a patient were set aside and may be of a time.

    Parameters
    ----------
    log : Log
        The log.
    patient_id : str
        As asked for; spaces around it and its case are not minded.
    at : Timestamp
        With zone.

    Returns
    -------
    str
        As `lost_rows_of`. Rows whose time cannot be read are among them; of a patient
        who has no infusion in the log, all rows are.
    """
    if not _is(log.infusions["patient_id"], patient_id).any():
        return lost_rows_of(log, "patient_id", patient_id)
    rows = log.unplaced
    near = rows["checked_at"].isna() | ((rows["checked_at"] - at).abs() <= _NEAR)
    named = rows.loc[_is(rows["patient_id"], patient_id) & near, "source"]
    found = log.rejected[log.rejected["source"].isin(named)]
    if found.empty:
        return ""
    return f"{_rows(found['source'].nunique())} set aside: {_why(found)}"


def _is(names: pd.Series, asked: str) -> pd.Series:
    bare = names.astype("str").str.strip().str.casefold()
    return bare == asked.strip().casefold()


def _written_in(rows: pd.Series, asked: str) -> pd.Series:
    """Find an id in the text of rows whose columns cannot be told."""
    name = asked.strip()
    if len(name) < _TELLING:
        return pd.Series(data=False, index=rows.index)
    whole = rf"(?<![\w-]){re.escape(name)}(?![\w-])"
    return rows.astype("str").str.contains(whole, case=False, regex=True)


def _rows(count: int) -> str:
    return "1 row was" if count == 1 else f"{count:,} rows were"


def _why(found: pd.DataFrame) -> str:
    """Say the lines of each reason, the most frequent reason first."""
    ones = found.drop_duplicates("source")
    by_reason = sorted(
        (rows for _, rows in ones.groupby("reason", sort=False)), key=len, reverse=True
    )
    said = list(_reasons(by_reason[:_REASONS_NAMED]))
    rest = sum(map(len, by_reason[_REASONS_NAMED:]))
    return "; ".join([*said, *([f"{rest:,} for other reasons"] if rest else [])])


def _reasons(groups: list[pd.DataFrame]) -> Iterator[str]:
    for rows in groups:
        first = str(rows["sentence"].iloc[0]).rstrip(".")
        yield f"{_lines(list(rows['source']))} ({first})"


def _lines(sources: list[str]) -> str:
    """Name lines of files, each file once: "checks.csv:4, 7 and 2 more"."""
    named, rest = sources[:_LINES_NAMED], len(sources) - _LINES_NAMED
    files: dict[str, list[str]] = {}
    for source in named:
        file, _, line = source.rpartition(":")
        files.setdefault(file, []).append(line)
    said = ", ".join(f"{file}:{', '.join(lines)}" for file, lines in files.items())
    return said + (f" and {rest:,} more" if rest > 0 else "")
