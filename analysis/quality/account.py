"""What of an export was not read as it stands: counts by reason, with an example."""

import pandas as pd

#: One row a reason, or a way of charting a number.
REASONS = ["column", "reason", "cells", "source", "value", "sentence"]
QUALIFIERS = ["column", "qualifier", "cells", "source", "value"]


def reasons(ledger: pd.DataFrame) -> pd.DataFrame:
    """Count the entries of a ledger by column and reason.

    Parameters
    ----------
    ledger : DataFrame
        Rows rejected or cells set aside, with the columns of ``rejected``.

    Returns
    -------
    DataFrame
        `REASONS`, the most frequent first: how many, and the source, value and
        sentence of the first of them.
    """
    return _counted(ledger, ["column", "reason"], REASONS)


def qualifiers(qualified: pd.DataFrame) -> pd.DataFrame:
    """Count the numbers charted as about, below, above or between.

    Parameters
    ----------
    qualified : DataFrame
        source, column, value (as charted), qualifier: one row a number.

    Returns
    -------
    DataFrame
        `QUALIFIERS`, the most frequent first, with the first of each as an example.
    """
    return _counted(qualified, ["column", "qualifier"], QUALIFIERS)


def _counted(rows: pd.DataFrame, by: list[str], names: list[str]) -> pd.DataFrame:
    first = rows.drop_duplicates(by).set_index(by)
    counts = rows.groupby(by).size().rename("cells")
    # Stable, so that reasons as frequent stand in the order of the file.
    table = first.join(counts).sort_values("cells", ascending=False, kind="stable")
    return table.reset_index()[names]
