"""Rows saved again under one number: a later version amends the one before."""

import re

import pandas as pd

from analysis.intake import synonyms
from analysis.intake.layout import ALLOWED, Holds
from analysis.intake.proposal import Draft
from analysis.intake.synonyms import Strength


def row_versions(draft: Draft) -> Draft:
    """Find a column of versions, and the number of the row that they are of.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.

    Returns
    -------
    Draft
        The same where no number of a row has several versions, or a row says itself
        which one it replaces.
    """
    columns = draft.table.columns
    is_open = synonyms.VERSION in ALLOWED[draft.table.holds]
    if not is_open or draft.table.holds is Holds.ITEMS or synonyms.REPLACES in columns:
        return draft
    used = {h for headers in columns.values() for h in headers}
    used -= set(columns.get(synonyms.ROW_ID, ()))
    free = [h for h in draft.profiles if h not in used]
    versions = [h for h in free if _names(h, synonyms.VERSION)]
    numbers = [h for h in free if _names(h, synonyms.ROW_ID) and h not in versions]
    cells = draft.raw.cells
    for version in versions:
        for number in numbers:
            if _are_versions(cells[number], cells[version]):
                text = (
                    f"rows with the same {number} are versions of one row by {version}:"
                    " each supersedes the one before"
                )
                found = {synonyms.ROW_ID: (number,), synonyms.VERSION: (version,)}
                draft = draft.put(columns={**columns, **found})
                entry = f"columns.{synonyms.VERSION}"
                return draft.ask(entry, text, blocks=False)
    return draft


def _names(header: str, column: str) -> bool:
    return any(
        c.column == column and c.strength > Strength.CONTAINS
        for c in synonyms.candidates(header)
    )


def _are_versions(number: pd.Series, version: pd.Series) -> bool:
    """Tell whether numbers of rows come again, each time with another version."""
    is_filled = (number != "") & (version != "")
    pairs = pd.DataFrame({"number": number, "version": version})[is_filled]
    pairs = pairs.drop_duplicates()
    again = pairs[pairs["number"].duplicated(keep=False)]
    # A number that is that of a patient or a driver has as many rows as it has checks.
    is_rare = pairs["number"].nunique() >= _MOST_ROWS * len(pairs)
    is_count = pairs["version"].str.fullmatch(_COUNT).all()
    return len(again) > 0 and bool(is_rare) and bool(is_count)


#: Share of the rows that numbers of rows differ in, however often they were amended.
_MOST_ROWS = 0.5
_COUNT = re.compile(r"[vV]?(?:[0-9]|[1-9][0-9])(?:\.0)?")


def earlier_version(
    number: pd.Series, version: pd.Series, source: pd.Series
) -> pd.Series:
    """Give each row the source of the version before it.

    Parameters
    ----------
    number, version : Series of str
        Number of the row and its version, as charted; a row with a blank has none.
    source : Series of str
        ``FILE:LINE`` of each row, on the same index.

    Returns
    -------
    Series of str
        Empty for a first version, and for a row of one version.
    """
    out = pd.Series("", index=number.index, dtype="str")
    is_filled = (number != "") & (version != "") & number.duplicated(keep=False)
    if not is_filled.any():
        return out
    count = version[is_filled].str.extract(r"(\d+)", expand=False)
    rows = pd.DataFrame({"number": number[is_filled], "count": pd.to_numeric(count)})
    rows = rows.dropna().drop_duplicates()
    rows = rows.sort_values(["number", "count"], kind="stable")
    rows["source"] = source.loc[rows.index]
    before = rows.groupby("number", sort=False)["source"].shift(1).fillna("")
    out.loc[before.index] = before.astype("str")
    return out
