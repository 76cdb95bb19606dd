"""Checks that were made: rows of one infusion at one moment are one visit."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.compliance.coded import blank, in_order, in_runs
from analysis.intake import Log
from analysis.lookup import by_key, written

_STAMP = (" %Y-%m-%d", "T%H:%M:%SZ")


@dataclass(frozen=True, slots=True, kw_only=True)
class Visits:
    """Checks that were made.

    Attributes
    ----------
    units : DataFrame, shape (n, ...)
        One row a visit, on the index of its last row in the log: unit_id, ward,
        patient_id, infusion_id, line_id (empty), due_at (when it was made),
        first_source, last_source, and is_after_end.
    repeated : Series
        For rows that share their infusion's moment with others: the index of the visit
        they belong to, by row.
    """

    units: pd.DataFrame
    repeated: pd.Series

    def any_of(self, is_so: pd.Series) -> pd.Series:
        """Tell whether something is so in any row of each visit.

        Parameters
        ----------
        is_so : Series of bool
            On the index of the check log.

        Returns
        -------
        Series of bool, shape (n,)
            On the index of `units`.
        """
        found: pd.Series = is_so.reindex(self.units.index)
        if len(self.repeated):
            shared = is_so.reindex(self.repeated.index).groupby(self.repeated).any()
            found.loc[shared.index] = shared
        return found.astype(bool)

    def places(self, rows: pd.Index) -> np.ndarray:
        """Give where in `units` the visit stands that each row belongs to.

        Parameters
        ----------
        rows : Index, shape (m,)
            Rows of the check log that belong to an infusion.

        Returns
        -------
        array of int, shape (m,)
            Places, for ``take``.
        """
        visit = rows.to_numpy().copy()
        if len(self.repeated):
            is_shared = rows.isin(self.repeated.index)
            visit[is_shared] = self.repeated.loc[rows[is_shared]]
        return self.units.index.get_indexer(pd.Index(visit))


def visits_of(log: Log, ends: pd.DataFrame) -> Visits:
    """List the checks that were made.

    Every accepted row of an infusion is a check, whatever its entry: a row that closes
    a gap between checks is a look at the driver and the patient, and is asked what it
    recorded. Rows of one infusion at one moment are one visit. Rows that nobody can
    assign to an infusion stand in no measure.

    Parameters
    ----------
    log : Log
        Canonical tables.
    ends : DataFrame
        As given by `observe`; rows after the observed end are marked.

    Returns
    -------
    Visits
        In order of their unit_id, which is that of infusions and times.
    """
    rows = log.checks[["infusion_id", "checked_at", "patient_id", "ward", "source"]]
    rows = rows[rows["infusion_id"] != ""]
    keys = ["infusion_id", "checked_at"]
    rows = in_runs(rows)
    is_last = ~rows.duplicated(keys, keep="last")
    visits = rows[is_last]
    first_source = visits["source"]
    repeated = pd.Series(dtype="int64")
    if len(visits) < len(rows):
        several = rows[rows.duplicated(keys, keep=False)]
        row = several.index.to_series()
        # The last row of each visit, given to the rows before it too.
        repeated = row.where(is_last[several.index]).bfill().astype("int64")
        opens = rows["source"][~rows.duplicated(keys)]
        first_source = opens.set_axis(visits.index)
    stamp = written(visits["checked_at"].dt.tz_convert("UTC"), *_STAMP)
    units = pd.DataFrame(
        {
            "unit_id": visits["infusion_id"].astype("str") + stamp,
            "ward": visits["ward"],
            "patient_id": visits["patient_id"],
            "infusion_id": visits["infusion_id"],
            "line_id": blank(visits.index),
            "due_at": visits["checked_at"],
            "first_source": first_source,
            "last_source": visits["source"],
            "is_after_end": visits["checked_at"]
            > by_key(visits["infusion_id"], ends["observed_end"]),
        }
    )
    return Visits(units=in_order(units), repeated=repeated)
