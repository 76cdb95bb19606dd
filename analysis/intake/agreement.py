"""Where the files of one export say different things of the same infusion."""

import numpy as np
import pandas as pd

from analysis.intake.alike import numbered
from analysis.lookup import are_among, by_key

#: No infusion runs longer: the hard limit of a planned duration, `columns.INFUSIONS`.
_LONGEST = pd.Timedelta(hours=72)

_VOLUMES = ("volume_remaining_ml", "volume_delivered_ml")
_COMPARED = ["infusion_id", "patient_id", "checked_at", "entry", "source", *_VOLUMES]


def contradictions(rows: pd.DataFrame, table: pd.DataFrame) -> list[str]:
    """Say where checks and infusions, or two checks of one minute, do not agree.

    Parameters
    ----------
    rows : DataFrame
        Accepted rows of the check log in order of time, with infusion_id.
    table : DataFrame
        Accepted rows of the infusions table; may be empty.

    Returns
    -------
    list of str
        Sentences that quote the first of each, and say what leads.
    """
    mine = rows.loc[rows["infusion_id"] != "", _COMPARED]
    told = table[are_among(table["infusion_id"], mine["infusion_id"].unique())]
    said = [*_patients(mine, told), *_starts(mine, told)] if len(told) else []
    return said + _same_minute(mine)


def _patients(rows: pd.DataFrame, table: pd.DataFrame) -> list[str]:
    """Say of which infusions the table names a patient that no check names."""
    names = ["infusion_id", "patient_id"]
    known = rows.loc[rows["patient_id"] != "", [*names, "source"]]
    known = known[~pd.Series(numbered(known, names)).duplicated().to_numpy()]
    is_known = are_among(table["infusion_id"], known["infusion_id"].unique())
    told = table.loc[(table["patient_id"] != "") & is_known, [*names, "source"]]
    if not len(told):
        return []
    pairs = pd.MultiIndex.from_frame(known[names])
    wrong = told[~pd.MultiIndex.from_frame(told[names]).isin(pairs)]
    if not len(wrong):
        return []
    first = wrong.iloc[0]
    check = known[known["infusion_id"] == first["infusion_id"]].iloc[0]
    return [
        f"{len(wrong)} infusions stand under another patient in the infusions table "
        f"than on their checks (first: {first['infusion_id']}, of "
        f"{first['patient_id']} in {first['source']} and of {check['patient_id']} in "
        f"{check['source']}): each check counts for the patient it names, and the "
        "infusion for that of the table."
    ]


def _starts(rows: pd.DataFrame, table: pd.DataFrame) -> list[str]:
    """Say which infusions begin, by the table, when their checks cannot be theirs."""
    told = table.loc[table["started_at"].notna(), ["infusion_id", "started_at"]]
    if not len(told):
        return []
    # Rows are in order of time: the first of each infusion is its earliest.
    own = pd.Series(pd.factorize(rows["infusion_id"])[0], index=rows.index)
    ends = [rows[~own.duplicated(keep=keep)] for keep in ("first", "last")]
    first, last = (
        by_key(told["infusion_id"], end.set_index("infusion_id")["checked_at"])
        for end in ends
    )
    is_wrong = (told["started_at"] > last) | (told["started_at"] < first - _LONGEST)
    if not is_wrong.any():
        return []
    at = told.index[is_wrong][0]
    begins = _day(told.loc[at, "started_at"])
    return [
        f"{is_wrong.sum()} infusions begin, by the infusions table, after their last "
        f"check or more than {_LONGEST // pd.Timedelta(hours=1)} hours before their "
        f"first (first: {told.loc[at, 'infusion_id']}, on {begins} in "
        f"{table.loc[at, 'source']}, with checks from {_day(first.loc[at])} to "
        f"{_day(last.loc[at])}): the time of the table was used."
    ]


def _day(time: pd.Timestamp) -> str:
    return f"{time.day} {time:%B %Y %H:%M}"


def _same_minute(rows: pd.DataFrame) -> list[str]:
    """Say how often one infusion has two volumes at one time, and no row says why."""
    key = ["infusion_id", "checked_at", "entry"]
    number = numbered(rows, key)
    ordered = np.sort(number)
    if (np.diff(ordered) > 0).all():
        return []
    twice = rows[pd.Series(number).duplicated(keep=False).to_numpy()]
    for name in _VOLUMES:
        read = twice.dropna(subset=name)
        by = read.groupby(key, sort=False)[name]
        torn = read[by.transform("min") < by.transform("max")]
        if len(torn):
            return [_told(torn, name, torn.groupby(key).ngroups)]
    return []


def _told(torn: pd.DataFrame, name: str, count: int) -> str:
    key = ["infusion_id", "checked_at", "entry"]
    one = torn.iloc[0]
    is_beside = (torn[key] == one[key]).all(axis=1) & (torn[name] != one[name])
    two = torn[is_beside].iloc[0]
    return (
        f"{count} times an infusion has different volumes charted for one minute "
        f"(first: {one[name]:g} mL in {one['source']} and {two[name]:g} mL in "
        f"{two['source']}): all rows were kept; one is wrong, or two syringes stand "
        "under one id."
    )
