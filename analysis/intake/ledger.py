"""The books of an intake: what became of every row, and why."""

from collections.abc import Iterable, Sequence

import pandas as pd

from analysis.columns import REJECTED, Table
from analysis.errors import SteadyfallError
from analysis.intake.raw import RawTable
from analysis.lookup import by_key

ACCOUNT_COLUMNS = [
    "file",
    "table",
    "sha256",
    "rows_read",
    "accepted",
    "rejected",
    "superseded",
    "exact_duplicates",
    "other_lines",
]


def entries(faults: pd.DataFrame) -> pd.DataFrame:
    """Turn faults into ledger entries, under the file's own headers.

    Parameters
    ----------
    faults : DataFrame
        value, reason, sentence, header, source and row of each fault.

    Returns
    -------
    DataFrame
        Columns of the ``rejected`` table.
    """
    named = faults.drop(columns="column").rename(columns={"header": "column"})
    return named[REJECTED.names].reset_index(drop=True)


def broken_entries(raw: RawTable) -> pd.DataFrame:
    """Give the broken records of a file as ledger entries.

    Parameters
    ----------
    raw : RawTable
        The file.

    Returns
    -------
    DataFrame
        Columns of the ``rejected`` table.
    """
    return pd.DataFrame(
        [
            (
                f"{raw.file}:{broken.line}",
                "(row)",
                broken.why,
                "broken record",
                f"the row cannot be split into its columns: {broken.why}; mend or "
                "export it again",
                broken.text,
            )
            for broken in raw.broken
        ],
        columns=REJECTED.names,
        dtype="str",
    )


def stack(frames: Iterable[pd.DataFrame], table: Table) -> pd.DataFrame:
    """Put ledger entries of several files together.

    Parameters
    ----------
    frames : iterable of DataFrame
        Entries, in order.
    table : Table
        The table they make.

    Returns
    -------
    DataFrame
        All entries; empty with the table's columns where there is none.
    """
    some = [frame for frame in frames if len(frame)]
    if not some:
        return pd.DataFrame(columns=table.names, dtype="str")
    return pd.concat(some, ignore_index=True)[table.names]


def stack_frames(frames: Iterable[pd.DataFrame], names: Sequence[str]) -> pd.DataFrame:
    """Put text frames with the same columns together; empty ones give the columns.

    Parameters
    ----------
    frames : iterable of DataFrame
        In order.
    names : sequence of str
        Their columns.

    Returns
    -------
    DataFrame of str
        All rows, numbered anew.
    """
    some = [frame for frame in frames if len(frame)]
    if not some:
        return pd.DataFrame(columns=list(names), dtype="str")
    return pd.concat(some, ignore_index=True)[list(names)]


def account_of(
    raw: RawTable, table: str, *, rejected: int, superseded: int, duplicates: int
) -> dict[str, object]:
    """Give one file's row account.

    Parameters
    ----------
    raw : RawTable
        The file.
    table : str
        What it holds.
    rejected, superseded, duplicates : int
        Rows of each fate.

    Returns
    -------
    dict
        One row of `ACCOUNT_COLUMNS`; the rest is accepted, which `check_balance` tests.
    """
    rows_read = len(raw.cells) + len(raw.broken)
    return {
        "file": raw.file,
        "table": table,
        "sha256": raw.sha256,
        "rows_read": rows_read,
        "accepted": rows_read - rejected - superseded - duplicates,
        "rejected": rejected,
        "superseded": superseded,
        "exact_duplicates": duplicates,
        "other_lines": raw.other_lines,
    }


def check_balance(account: pd.DataFrame, accepted: pd.Series) -> None:
    """Compare the account with the rows that really came through.

    Parameters
    ----------
    account : DataFrame
        As made by `account_of`.
    accepted : Series of int
        Accepted rows counted in the canonical tables, by file.

    Raises
    ------
    SteadyfallError
        A row was lost or invented: a fault of the program, never of the input.
    """
    counted = by_key(account["file"], accepted).fillna(0).astype("int64")
    wrong = account[counted != account["accepted"]]
    if len(wrong):
        file = wrong["file"].iloc[0]
        msg = (
            f"{file}: the row account does not balance; this is a fault of the program"
        )
        raise SteadyfallError(f"{msg}, please report it")
