"""Checks that were made: rows of one infusion at one moment are one visit."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.intake import Log
from analysis.lookup import by_key


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

    def at(self, rows: pd.Index) -> pd.DataFrame:
        """Give the visit that each row belongs to.

        Parameters
        ----------
        rows : Index, shape (m,)
            Rows of the check log that belong to an infusion.

        Returns
        -------
        DataFrame, shape (m, ...)
            Rows of `units`, on `rows`, with visit, the index of the visit.
        """
        row = rows.to_series()
        visit = by_key(row, self.repeated).fillna(row).astype("int64")
        found = self.units.loc[visit].set_axis(rows)
        return found.assign(visit=visit)


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
        In order of the log.
    """
    rows = log.checks.loc[
        log.checks["infusion_id"] != "",
        ["infusion_id", "checked_at", "patient_id", "ward", "source"],
    ]
    keys = ["infusion_id", "checked_at"]
    several = rows[rows.duplicated(keys, keep=False)]
    last = several.index.to_series().groupby([several[k] for k in keys])
    repeated = last.transform("last")
    visits = rows[~rows.duplicated(keys, keep="last")]
    first_source = visits["source"].copy()
    if len(repeated):
        of_first = several["source"].groupby(repeated).first()
        first_source.loc[of_first.index] = of_first
    stamp = visits["checked_at"].dt.tz_convert("UTC").dt.tz_localize(None).to_numpy()
    text = pd.Series(
        np.datetime_as_string(stamp, unit="s"), index=visits.index, dtype="str"
    )
    end = by_key(visits["infusion_id"], ends["observed_end"])
    units = pd.DataFrame(
        {
            "unit_id": visits["infusion_id"] + " " + text + "Z",
            "ward": visits["ward"],
            "patient_id": visits["patient_id"],
            "infusion_id": visits["infusion_id"],
            "line_id": "",
            "due_at": visits["checked_at"],
            "first_source": first_source,
            "last_source": visits["source"],
            "is_after_end": visits["checked_at"] > end,
        }
    )
    return Visits(units=units, repeated=repeated)
