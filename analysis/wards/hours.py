"""At which hours of the day checks were not on time, late and missed apart."""

import numpy as np
import pandas as pd

from analysis.policy import Policy
from analysis.terms import ALL, CheckOutcome, Tally

#: The measure whose units are looked at.
MEASURE = "checks_on_time"

#: Width of a bar of the picture, and of a stretch in words [h].
PICTURE_H, WORDS_H = 2, 6

_COLUMNS = ["ward", "from_h", "to_h", "due", "patients", "late", "missed", "is_shown"]


def checks_by_hour(
    units: pd.DataFrame,
    policy: Policy,
    *,
    month: str | None = None,
    width_h: int = PICTURE_H,
) -> pd.DataFrame:
    """Count late and missed checks by the local hour at which they fell due.

    Parameters
    ----------
    units : DataFrame
        The units table.
    policy : Policy
        Gives the smallest numbers of patients and of units that are shown.
    month : str, optional
        YYYY-MM; without it the whole log.
    width_h : int
        Hours put together; divides 24.

    Returns
    -------
    DataFrame
        One row a ward with a check due and a stretch of hours, in alphabetical order,
        all wards last: ward, from_h, to_h, due, patients (with a check due), late,
        missed, is_shown. In a stretch with fewer patients or checks due than the
        policy's smallest numbers, late and missed are NaN and is_shown is False; a
        stretch with nothing due is shown as nothing. On the night the clocks go back
        the hour that comes twice is one.

    Raises
    ------
    ValueError
        `width_h` does not divide 24.
    """
    if width_h not in (1, 2, 3, 4, 6, 8, 12, 24):
        msg = f"{width_h} h: hours put together must divide 24"
        raise ValueError(msg)
    judged = units[(units["measure"] == MEASURE) & (units["tally"] != Tally.EXCLUDED)]
    if month is not None:
        judged = judged[judged["month"] == month]
    if not len(judged):
        return pd.DataFrame(columns=_COLUMNS)
    table = pd.DataFrame(
        {
            "ward": judged["ward"].astype("str"),
            "from_h": judged["due_at"].dt.hour // width_h * width_h,
            "patient_id": judged["patient_id"],
            "due": 1,
            "late": judged["outcome"] == CheckOutcome.LATE,
            "missed": judged["outcome"] == CheckOutcome.MISSED,
        }
    )
    counts = ["due", "late", "missed"]
    keys = ["ward", "from_h", "patient_id"]
    people = table.groupby(keys, sort=False, as_index=False)[counts].sum()
    levels = pd.concat([people, people.assign(ward=ALL)])
    by = levels.groupby(["ward", "from_h"])
    found = by[counts].sum().assign(patients=by["patient_id"].nunique())
    wards = [*sorted(set(people["ward"])), ALL]
    every = pd.MultiIndex.from_product(
        [wards, range(0, 24, width_h)], names=["ward", "from_h"]
    )
    found = found.reindex(every, fill_value=0).reset_index()
    enough = (found["patients"] >= policy.smallest_group_patients) & (
        found["due"] >= policy.smallest_group_units
    )
    is_shown = enough | (found["due"] == 0)
    seen = found[["late", "missed"]].astype("float64").where(is_shown)
    found = found.assign(to_h=found["from_h"] + width_h, is_shown=is_shown)
    return found.assign(late=seen["late"], missed=seen["missed"])[_COLUMNS]


#: What is said where no hour of the day can be shown.
TOO_FEW = "Too few checks or patients to show by the hour of the day."


def hours_in_words(table: pd.DataFrame) -> str:
    """Say in words at which hours one ward's checks were late and were missed.

    Parameters
    ----------
    table : DataFrame
        Rows of one ward, as given by `checks_by_hour` (of `WORDS_H` hours, say).

    Returns
    -------
    str
        Such as ``Late: 14 between 00 and 06, 3 between 12 and 18. Missed: none.``
        Stretches with too few checks or patients are named as such.
    """
    shown = table[table["is_shown"].astype(bool) & (table["due"] > 0)]
    if not int(table["due"].sum()):
        return "No check was due."
    if not len(shown):
        return TOO_FEW
    said = [_outcome(shown, "late"), _outcome(shown, "missed")]
    hidden = table[~table["is_shown"].astype(bool)]
    if len(hidden):
        spans = ", ".join(f"between {_span(row)}" for row in _rows(hidden))
        said.append(f"Too few checks or patients to show {spans}.")
    return " ".join(said)


def _outcome(shown: pd.DataFrame, outcome: str) -> str:
    some = shown[shown[outcome] > 0]
    told = ", ".join(f"{row[outcome]:.0f} between {_span(row)}" for row in _rows(some))
    return f"{outcome.capitalize()}: {told or 'none'}."


def _rows(table: pd.DataFrame) -> list[dict[str, float]]:
    columns = ["from_h", "to_h", "late", "missed"]
    values = table[columns].to_numpy(float)
    return [dict(zip(columns, row, strict=True)) for row in np.asarray(values).tolist()]


def _span(row: dict[str, float]) -> str:
    return f"{row['from_h']:02.0f} and {row['to_h']:02.0f}"
