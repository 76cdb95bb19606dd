"""How the log was charted: what is missing, round times, digits, how fine it reads.

Data quality by ward, not blame. All functions take the accepted rows, of a log or of
the published readings; an empty text and a missing value are both "not recorded".
"""

import pandas as pd

from analysis.columns import CHECKS, Kind
from analysis.compliance.digits import (
    CLOCK_MARKS_MIN,
    by_ward,
    digit_preference,
    last_digits,
    round_times,
)
from analysis.delivery.noise import VOLUME_STEPS_ML, coarsest_step
from analysis.intake.infusions import DERIVED
from analysis.terms import Entry

__all__ = [
    "CLOCK_MARKS_MIN",
    "RECORD",
    "digit_preference",
    "last_digits",
    "missing_by_column",
    "not_in_export",
    "reading_resolution",
    "resolution_changes",
    "round_times",
]

#: Columns whose emptiness is a fact of the record and not of the event.
RECORD = (
    "infusion_id",
    "driver_id",
    "set_rate_ml_h",
    "volume_remaining_ml",
    "volume_delivered_ml",
    "display_remaining_ml",
    "battery_pct",
    "running",
    "site_location",
    "site_signs",
    "solution_appearance",
    "lockbox_locked",
    "label_present",
    "recorded_at",
    "checked_by",
)


def missing_by_column(rows: pd.DataFrame) -> pd.DataFrame:
    """Count empty cells by column and ward.

    Parameters
    ----------
    rows : DataFrame
        Accepted rows with the columns of ``checks``.

    Returns
    -------
    DataFrame
        column, ward (all last), rows, missing. A column without a value in the whole
        export is left out: it is not in this export, which is no missing cell.
    """
    found = []
    for name in RECORD:
        empty = _is_empty(rows, name)
        if empty.all():
            continue
        found += [
            (name, ward, len(part), int(part.sum()))
            for ward, part in by_ward(empty, rows["ward"])
        ]
    return pd.DataFrame(found, columns=["column", "ward", "rows", "missing"])


def not_in_export(rows: pd.DataFrame) -> list[str]:
    """Name the columns of the record without a value in the whole export.

    Parameters
    ----------
    rows : DataFrame
        Accepted rows with the columns of ``checks``.

    Returns
    -------
    list of str
        In the order of the data dictionary.
    """
    return [name for name in RECORD if _is_empty(rows, name).all()]


def reading_resolution(rows: pd.DataFrame) -> pd.DataFrame:
    """Find how fine each ward reads each volume.

    Parameters
    ----------
    rows : DataFrame
        Accepted rows with the columns of ``checks``; start rows are left out.

    Returns
    -------
    DataFrame
        ward, column, readings, step_ml: the coarsest step on which nearly all of the
        ward's readings lie.
    """
    read = rows[rows["entry"] != Entry.START]
    found = [
        (ward, name, int(part.notna().sum()), coarsest_step(part, VOLUME_STEPS_ML))
        for ward, group in read.groupby("ward")
        for name in _VOLUMES
        if (part := group[name]).notna().any()
    ]
    return pd.DataFrame(found, columns=["ward", "column", "readings", "step_ml"])


def resolution_changes(rows: pd.DataFrame) -> pd.DataFrame:
    """Find the week from which a ward reads a volume in another step.

    Parameters
    ----------
    rows : DataFrame
        Accepted rows with the columns of ``checks``; start rows are left out.

    Returns
    -------
    DataFrame
        ward, column, step_before_ml, step_after_ml, week_of (its Monday): every week
        before it is read at least twice as coarsely, or twice as finely, as every week
        from it on. Weeks of few readings are passed over. Flags before and after such
        a change are no comparison: what changed is the measurement.
    """
    read = rows[rows["entry"] != Entry.START]
    found = []
    for (ward, name), steps in _weekly_steps(read):
        for k in range(1, len(steps)):
            before, after = steps.iloc[:k], steps.iloc[k:]
            if before.min() >= 2 * after.max() or after.min() >= 2 * before.max():
                found.append((ward, name, before.min(), after.min(), steps.index[k]))
                break
    names = ["ward", "column", "step_before_ml", "step_after_ml", "week_of"]
    return pd.DataFrame(found, columns=names)


def _weekly_steps(read: pd.DataFrame) -> list[tuple[tuple[str, str], pd.Series]]:
    """Give the reading step of each ward and column by week (its Monday)."""
    local = read["checked_at"].dt.tz_localize(None)
    monday = (local - pd.to_timedelta(local.dt.day_of_week, unit="D")).dt.normalize()
    found = []
    for ward, group in read.groupby("ward"):
        for name in _VOLUMES:
            by = group[name].dropna().groupby(monday)
            steps = by.agg(lambda part: coarsest_step(part, VOLUME_STEPS_ML))
            found.append(((str(ward), name), steps[by.size() >= _FEWEST_A_WEEK]))
    return found


#: Fewer readings than this in a week do not show a step.
_FEWEST_A_WEEK = 15

_VOLUMES = tuple(
    column.name
    for column in CHECKS.columns
    if column.kind is Kind.NUMBER and column.unit == "mL"
)


def _is_empty(rows: pd.DataFrame, name: str) -> pd.Series:
    """Tell where nothing is charted; an id that was derived is not."""
    text = rows[name].astype("str")
    is_empty: pd.Series = rows[name].isna() | (text == "")
    return (
        is_empty | text.str.startswith(DERIVED) if name == "infusion_id" else is_empty
    )
