"""Times of checks that lie years from all the rest: they cannot be placed.

A year that is a slip of the pen (the year before, in January; 2062 for 2026) is a time
that can be read and is none of this log. Left in, it would be the log's first or last
row, its month that of the report, and every check of the years between would be due.
"""

import numpy as np
import pandas as pd

from analysis.intake.cells import faults_of, no_faults
from analysis.lookup import are_among
from analysis.terms import RejectReason

#: Columns that tell which rows a time belongs to.
PLACED = ["patient_id", "infusion_id", "checked_at"]

#: Less than the year that a slip is off by, and far longer than any syringe runs.
FAR = pd.Timedelta(days=300)
_NONE = pd.Timedelta(0)
#: Among fewer rows than this, nothing says which of them is far from the others.
_FEWEST = 4
_SENTENCE = (
    f"checked_at reads '{{value}}', more than {FAR.days} days from every other row of "
    "this log that it could belong to; correct its date"
)


def far_times(rows: pd.DataFrame, written: pd.Series) -> pd.DataFrame:
    """Find checks dated far from the rows they belong to.

    Parameters
    ----------
    rows : DataFrame
        Typed rows of the check log: patient_id, infusion_id, checked_at (NaT where it
        could not be read).
    written : Series of str
        Their times as they are written.

    Returns
    -------
    DataFrame
        One fault a row. A row is far where it is the only one of its patient within
        `FAR` and most of the patient's lie together elsewhere; where it has an infusion
        with them; or where no row of anybody is within `FAR`. Where nothing tells which
        of two rows is far, neither is.
    """
    known = rows[rows["checked_at"].notna() & (rows["patient_id"] != "")]
    if not len(known) or known["checked_at"].max() - known["checked_at"].min() <= FAR:
        return no_faults()
    patient = pd.factorize(known["patient_id"])[0]
    times = known["checked_at"].astype("int64").to_numpy()
    sort = np.lexsort((times, patient))
    at = known["checked_at"].iloc[sort]
    is_new = pd.Series(np.diff(patient[sort], prepend=-1) != 0, index=at.index)
    gap = at.diff().mask(is_new)
    is_far = _beside_all(at, at[gap != _NONE])
    if (gap > FAR).any():
        parted = np.isin(patient[sort], patient[sort][(gap > FAR).to_numpy()])
        order = known.take(sort[parted]).assign(part=(~(gap <= FAR)).cumsum())
        is_far |= _beside_own(order).reindex(at.index, fill_value=False)
    far = at.index[is_far].sort_values()
    return faults_of(written[far], "checked_at", RejectReason.TIME_FAR, _SENTENCE)


def _beside_own(order: pd.DataFrame) -> pd.Series:
    """Mark rows far from where most of their patient's rows lie."""
    size = order.groupby("part")["checked_at"].transform("nunique")
    by = order.assign(size=size).groupby("patient_id")["size"]
    main = order["part"].where(size == by.transform("max"))
    of_patient = main.groupby(order["patient_id"])
    is_decided = of_patient.transform("nunique") == 1
    is_main = main.notna() & is_decided
    is_apart = is_decided & ~is_main
    shared = set(order.loc[is_main, "infusion_id"].unique()) - {""}
    return is_apart & ((size == 1) | are_among(order["infusion_id"], shared))


def _beside_all(times: pd.Series, moments: pd.Series) -> pd.Series:
    """Mark rows with no row of anybody near; a copy of a row is no company.

    `moments` are the times without those of copies.
    """
    if len(moments) < _FEWEST:
        return pd.Series(data=False, index=times.index)
    moments = moments.sort_values(kind="stable")
    gap = moments.diff()
    is_parted = ~(gap <= FAR)  # from the one before; the first has none before it
    alone = moments[is_parted & is_parted.shift(-1, fill_value=True)]
    if not len(alone):
        return pd.Series(data=False, index=times.index)
    return times.isin(alone)
