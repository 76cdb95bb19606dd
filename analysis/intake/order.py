"""Rows in order of time; rows of one moment by what they say, not by where they stand.

So the canonical tables do not depend on the order of rows in a file, or on how an
export was split into files.
"""

import pandas as pd

from analysis.columns import CHECKS
from analysis.terms import Entry

#: Within one infusion a start comes first and an end last.
_IN_RUN = {Entry.START: 0, Entry.SYRINGE_CHANGE: 0, Entry.RESUME: 2, Entry.END: 3}

#: Without ids the old syringe ends before the new one starts.
_BETWEEN_RUNS = {Entry.END: 3, Entry.SYRINGE_CHANGE: 4, Entry.START: 4, Entry.RESUME: 2}
_OTHER = 1

_MOMENT = ["checked_at", "patient_id", "driver_id", "infusion_id"]


def in_order(rows: pd.DataFrame) -> pd.DataFrame:
    """Sort accepted rows of the check log.

    Parameters
    ----------
    rows : DataFrame
        Accepted rows, typed, with file and line; entry filled.

    Returns
    -------
    DataFrame
        The same rows on a new index: by time, patient, driver, infusion, entry, and
        then by all other canonical columns.
    """
    entry = rows["entry"]
    rank = entry.map(_IN_RUN).where(rows["infusion_id"] != "", entry.map(_BETWEEN_RUNS))
    ranked = rows.assign(rank=rank.fillna(_OTHER).astype("int64"))
    out = ranked.sort_values([*_MOMENT, "rank"], kind="stable", ignore_index=True)
    # Few rows are alike in all of these, and only they need the other columns.
    alike = out.duplicated([*_MOMENT, "rank"], keep=False)
    if alike.any():
        rest = [name for name in CHECKS.names if name not in _MOMENT]
        tied = out[alike].sort_values(
            [*_MOMENT, "rank", *rest, "file", "line"], kind="stable"
        )
        out[alike] = tied.set_axis(out.index[alike])
    return out.drop(columns="rank")
