"""Rows that correct others: which row each names, and what names none that it may."""

import pandas as pd

from analysis.lookup import by_key


def amend_others(rows: pd.DataFrame) -> pd.Series:
    """Mark rows that name a row of another patient as the one they correct.

    Parameters
    ----------
    rows : DataFrame
        amends, source and patient_id, empty where they are not charted.

    Returns
    -------
    Series of bool
        False where either patient is blank, and where no row is named.
    """
    named = rows["amends"] != ""
    if not named.any():
        return named
    patients = pd.Series(rows["patient_id"].to_numpy(), index=rows["source"])
    patients = patients[~patients.index.duplicated()]
    theirs = by_key(rows["amends"], patients).astype("str").fillna("")
    own = rows["patient_id"]
    return named & (theirs != "") & (own != "") & (own != theirs)


def amendment_notes(rows: pd.DataFrame, kept: pd.Series) -> list[str]:
    """Say which amendments superseded nothing.

    Parameters
    ----------
    rows : DataFrame
        All rows of the check log: amends, source and patient_id.
    kept : Series of str
        Sources of those that were accepted.

    Returns
    -------
    list of str
        Sentences, for the notes of the log.
    """
    naming = rows.loc[rows["amends"] != "", ["amends", "source", "patient_id"]]
    if not len(naming):
        return []
    is_kept = naming["source"].isin(kept)
    is_known = naming["amends"].isin(rows["source"])
    notes = []
    unknown = naming.loc[is_kept & ~is_known, "amends"]
    if len(unknown):
        notes.append(
            f"amendments that do not name a row of these files as FILE:LINE: "
            f"{len(unknown)} (first: {unknown.iloc[0]}); nothing was superseded by "
            "them."
        )
    others = naming[is_kept & amend_others(rows)[naming.index]]
    if len(others):
        first = others.iloc[0]
        notes.append(
            f"amendments that name a row of another patient: {len(others)} (first: "
            f"{first['source']}, which names {first['amends']}); nothing was "
            "superseded by them, and both rows stand."
        )
    return notes
