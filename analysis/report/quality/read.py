"""What of a log was not read as it stands: rows, cells, qualified numbers."""

import pandas as pd

from analysis.quality import account
from analysis.report import facts
from analysis.report.grid import Grid
from analysis.report.quality.record import Record

#: How a number was charted, and what it was read as.
_QUALIFIED = {
    "approximate": ("about", "the number itself"),
    "below": ("below", "the number itself"),
    "above": ("above", "the number itself"),
    "range": ("between two numbers", "their middle"),
}


def not_read(record: Record) -> list[Grid]:
    """Show why rows were rejected and cells set aside, with the first of each.

    Parameters
    ----------
    record : Record
        The log as it was read.

    Returns
    -------
    list of Grid
        One of rows, one of cells; one row a column and reason.
    """
    return [
        _reasons(
            record.rejected,
            "Rows that could not be placed, kept in full in",
            "rejected",
        ),
        _reasons(
            record.set_aside,
            "Cells that could not be read; their rows stay, without that value. All in",
            "set_aside",
        ),
    ]


def _reasons(ledger: pd.DataFrame, caption: str, table: str) -> Grid:
    return Grid(
        caption=f"{caption} tables/{table}.csv: {len(ledger):,}",
        head=("how many", "column", "reason", "the first", "what it says"),
        rows=[
            (
                f"{row['cells']:,}",
                str(row["column"]),
                str(row["reason"]),
                str(row["source"]),
                str(row["sentence"]),
            )
            for row in facts.rows_of(account.reasons(ledger))
        ],
        numeric=frozenset({0}),
    )


def qualified(record: Record) -> Grid:
    """Show how many numbers were charted as about, below, above or between.

    Parameters
    ----------
    record : Record
        The log as it was read.

    Returns
    -------
    Grid
        One row a column and way of charting; none where all numbers are plain.
    """
    return Grid(
        caption="Numbers charted with a qualifier, read as a number",
        head=("column", "charted as", "read as", "how many", "the first", "its cell"),
        rows=[
            (
                str(row["column"]),
                *_QUALIFIED[str(row["qualifier"])],
                f"{row['cells']:,}",
                str(row["source"]),
                str(row["value"]),
            )
            for row in facts.rows_of(record.qualifiers)
        ],
        numeric=frozenset({3}),
    )
