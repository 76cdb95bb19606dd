"""Rows that belong to no infusion, and what rests on infusions that were derived."""

from collections.abc import Sequence

import pandas as pd

from analysis.compliance.units import measure_units
from analysis.intake.infusions import DERIVED
from analysis.terms import ALL


def unassigned_rows(rows: pd.DataFrame) -> pd.DataFrame:
    """Count the rows that nobody can assign to an infusion.

    Parameters
    ----------
    rows : DataFrame
        Accepted rows with ward, patient_id, driver_id and infusion_id; empty text or
        missing where there is none.

    Returns
    -------
    DataFrame
        ward (all last), rows, unassigned, no_driver (of those), patients (with such a
        row), derived_rows (in an infusion that was derived), derived_infusions. The
        unassigned stand in no measure of time or delivery.
    """
    ids = rows["infusion_id"].astype("str").where(rows["infusion_id"].notna(), "")
    driver = rows["driver_id"].astype("str").where(rows["driver_id"].notna(), "")
    is_loose = ids == ""
    is_derived = ids.str.startswith(DERIVED)
    wards = [(str(w), rows["ward"] == w) for w in sorted(rows["ward"].unique())]
    found = [
        (
            ward,
            int(own.sum()),
            int((own & is_loose).sum()),
            int((own & is_loose & (driver == "")).sum()),
            rows.loc[own & is_loose, "patient_id"].nunique(),
            int((own & is_derived).sum()),
            ids[own & is_derived].nunique(),
        )
        for ward, own in [*wards, (ALL, pd.Series(data=True, index=rows.index))]
    ]
    return pd.DataFrame(
        found,
        columns=[
            "ward",
            "rows",
            "unassigned",
            "no_driver",
            "patients",
            "derived_rows",
            "derived_infusions",
        ],
    )


def with_and_without_derived(
    tables: Sequence[pd.DataFrame], names: Sequence[str], in_hours: frozenset[str]
) -> pd.DataFrame:
    """Give each measure of the whole log with derived infusions and without them.

    Parameters
    ----------
    tables : sequence of DataFrame
        The units table, by measure.
    names : sequence of str
        Measures in the order wanted.
    in_hours : frozenset of str
        Those whose parts are hours.

    Returns
    -------
    DataFrame
        measure, and numerator, denominator, proportion of all units, then the same
        with ``_without``: units of derived infusions left out. A unit that is of no
        infusion (a line, a site) stands in both.
    """
    kept = [units[~_is_derived(units["infusion_id"])] for units in tables]
    parts = ["numerator", "denominator", "proportion"]
    both, without = (
        _whole_log(measure_units(some, names, in_hours))[parts]
        for some in (tables, kept)
    )
    both = both.join(without.add_suffix("_without"))
    return both.reindex(list(names)).rename_axis("measure").reset_index()


def _is_derived(infusion_id: pd.Series) -> pd.Series:
    ids = infusion_id.astype("str").where(infusion_id.notna(), "")
    return ids.str.startswith(DERIVED)


def _whole_log(measures: pd.DataFrame) -> pd.DataFrame:
    is_whole = (measures["ward"] == ALL) & (measures["period"] == ALL)
    return measures[is_whole].set_index("measure")
