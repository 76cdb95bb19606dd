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
_FAR_US = FAR // pd.Timedelta(microseconds=1)
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
    far = _beside_own(known).union(_beside_all(known))
    return faults_of(written[far], "checked_at", RejectReason.TIME_FAR, _SENTENCE)


def _beside_own(known: pd.DataFrame) -> pd.Index:
    """Give the rows far from where most of their patient's rows lie."""
    codes, _ = pd.factorize(known["patient_id"])
    by = _microseconds(known).groupby(codes)
    is_wide = (by.max() - by.min()).to_numpy() > _FAR_US
    if not is_wide.any():
        return known.index[:0]
    # Only where a patient's rows lie far apart it is seen how they lie.
    rows = known[is_wide.take(codes)].sort_values(["patient_id", "checked_at"])
    is_new = rows["patient_id"] != rows["patient_id"].shift()
    gap = rows["checked_at"].diff().mask(is_new)
    of_patient = (gap > FAR).groupby(rows["patient_id"])
    order = rows.assign(part=(~(gap <= FAR)).cumsum())[of_patient.transform("any")]
    return order.index[_are_apart(order)] if len(order) else known.index[:0]


def _microseconds(rows: pd.DataFrame) -> pd.Series:
    times: pd.Series = rows["checked_at"].dt.as_unit("us").astype("int64")
    return times


def _are_apart(order: pd.DataFrame) -> pd.Series:
    """Mark rows that are not in the main part of those of their patient."""
    size = order.groupby("part")["checked_at"].transform("nunique")
    by = order.assign(size=size).groupby("patient_id")["size"]
    main = order["part"].where(size == by.transform("max"))
    of_patient = main.groupby(order["patient_id"])
    is_decided = of_patient.transform("nunique") == 1
    is_main = main.notna() & is_decided
    is_apart = is_decided & ~is_main
    shared = set(order.loc[is_main, "infusion_id"].unique()) - {""}
    return is_apart & ((size == 1) | are_among(order["infusion_id"], shared))


def _beside_all(known: pd.DataFrame) -> pd.Index:
    """Give the rows with no row of anybody near; a copy of a row is no company."""
    times = np.sort(_microseconds(known).to_numpy())
    if (np.diff(times) <= _FAR_US).all():
        return known.index[:0]
    once = known.drop_duplicates(["patient_id", "checked_at"])["checked_at"]
    if len(once) < _FEWEST:
        return known.index[:0]
    moments = once.sort_values(kind="stable")
    gap = moments.diff()
    is_parted = ~(gap <= FAR)  # from the one before; the first has none before it
    alone = moments[is_parted & is_parted.shift(-1, fill_value=True)]
    return known.index[known["checked_at"].isin(alone)]
