"""Readings that a slip of the pen may be behind, each with what surrounds it."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.compliance.habits import is_row_repeated
from analysis.delivery.noise import LIMIT_SD, OFFSET_SD_ML
from analysis.intake import Log
from analysis.lookup import are_among, by_key
from analysis.quality.course import Courses, Level
from analysis.quality.rows import DELIVERED, RATE, REMAINING, Rows
from analysis.terms import RejectReason

#: Step of a ward without a reading to tell it by.
_FINEST_ML = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspect:
    """One charted volume, and what is known around it.

    Attributes
    ----------
    row : int
        Its row of the check log.
    column : str
        Where it was charted.
    charted : float
        As charted [mL].
    level : Level
        Volume remaining that fits its infusion at its time.
    infusion_id, ward, patient_id, driver_id : str
        Whose it is.
    at : Timestamp
        When it was charted.
    before : float
        The infusion's reading before it in that column [mL]; NaN at its first.
    is_row_copied : bool
        Every reading of the row stands in the row before, battery among them.
    is_set_aside : bool
        Intake has set it aside as an impossible number.
    rate, usual_rate : float
        The rate charted in its row, also one that was set aside, and the median of its
        infusion's rows [mL/h]; NaN if none.
    step_ml : float
        Step in which its ward reads volumes.
    """

    row: int
    column: str
    charted: float
    level: Level
    infusion_id: str
    ward: str
    patient_id: str
    driver_id: str
    at: pd.Timestamp
    before: float
    is_row_copied: bool
    is_set_aside: bool
    rate: float
    usual_rate: float
    step_ml: float

    def as_remaining(self, charted: float) -> float:
        """Turn a value of its column into a volume remaining.

        Parameters
        ----------
        charted : float
            Value as charted [mL].

        Returns
        -------
        float
            mL left.
        """
        return charted if self.column == REMAINING else self.level.base_ml - charted

    def would_fit(self, charted: float) -> bool:
        """Tell whether a value that the ward could have read would be on the line.

        Parameters
        ----------
        charted : float
            Another value of its column [mL].

        Returns
        -------
        bool
            True within the tolerance of the line.
        """
        steps = charted / self.step_ml
        is_read = abs(steps - round(steps)) < 1e-6
        is_other = charted != self.charted
        return is_read and is_other and self.level.fits(self.as_remaining(charted))


def copied_rows(checks: pd.DataFrame) -> pd.DataFrame:
    """Compare each row with the row before it of its infusion.

    Parameters
    ----------
    checks : DataFrame
        Accepted rows in order of time.

    Returns
    -------
    DataFrame
        On the same index: remaining_before, delivered_before (NaN at the first row of
        an infusion, or where that row has none), is_row_copied: every reading is the
        same, the battery and a volume are among them, and the battery has had more
        than one value in that infusion.
    """
    of = checks[checks["infusion_id"] != ""]
    by = of.groupby("infusion_id")
    out = pd.DataFrame(index=checks.index)
    out["remaining_before"] = by[REMAINING].shift()
    out["delivered_before"] = by[DELIVERED].shift()
    out["is_row_copied"] = is_row_repeated(checks)
    return out


def copied_readings(lines: pd.DataFrame) -> pd.Series:
    """Mark readings equal to the one before that the line and the next one refuse.

    The set rate between the two is worth more than three standard deviations of two
    readings and a start-up lag, and the reading after them is where the one before led
    one to expect it: a driver that had stopped would still be behind.

    Parameters
    ----------
    lines : DataFrame
        As made by the delivery stage.

    Returns
    -------
    Series of bool
        On the index of `lines`.
    """
    read = lines[lines["residual_ml"].notna()].sort_values(
        ["infusion_id", "checked_at"], kind="stable"
    )
    key = read["infusion_id"]
    is_new = read["observed_ml"] != read["observed_ml"].groupby(key).shift()
    run = [key, is_new.groupby(key).cumsum()]
    first = read["residual_ml"].groupby(run).transform("first")
    last = ~read.duplicated(["infusion_id"], keep="last")
    following = read["residual_ml"].groupby(key).shift(-1)
    after = following.where(is_new.groupby(key).shift(-1).eq(other=True))
    after = after.groupby(run).transform("last")
    pair = LIMIT_SD * np.sqrt(2 * read["reading_sd_ml"] ** 2 + OFFSET_SD_ML**2)
    copied = (
        ~is_new
        & ~last
        & ((read["residual_ml"] - first) > pair)
        & ((after - first).abs() <= pair)
        & (read["expected_ml"] > pair)
    )
    marked: pd.Series = copied.reindex(lines.index, fill_value=False).astype(bool)
    return marked


def impossible_numbers(log: Log) -> pd.DataFrame:
    """Find the rows of volumes and rates that intake set aside as impossible numbers.

    Parameters
    ----------
    log : Log
        Canonical tables and ledger.

    Returns
    -------
    DataFrame
        Indexed by row of the check log: column, value (a number). The ledger may name
        the file's own header; then the cell counts where only one column of the three
        is empty in that row and charted elsewhere in its infusion.
    """
    cells = log.set_aside
    cells = cells[cells["reason"] == RejectReason.IMPOSSIBLE_NUMBER].copy()
    text = cells["value"].str.strip().str.replace(",", ".", regex=False)
    cells["value"] = pd.to_numeric(text, errors="coerce")
    source = log.checks["source"]
    source = source[are_among(source, cells["source"])]
    row_of = pd.Series(source.index, index=source.to_numpy())
    row_of = row_of[~row_of.index.duplicated()]
    cells["row"] = by_key(cells["source"], row_of)
    cells = cells[cells["row"].notna() & np.isfinite(cells["value"])]
    cells = cells.astype({"row": "int64"}).set_index("row")[["column", "value"]]
    known = [REMAINING, DELIVERED, RATE]
    foreign = cells.index[~cells["column"].isin([*log.checks.columns])]
    if len(foreign):
        rows = log.checks.loc[foreign]
        used = log.checks[known].notna().groupby(log.checks["infusion_id"]).any()
        open_ = rows[known].isna() & used.reindex(rows["infusion_id"]).set_axis(
            rows.index
        )
        only = open_.idxmax(axis=1).where(open_.sum(axis=1) == 1)
        cells.loc[foreign, "column"] = only
    found: pd.DataFrame = cells[cells["column"].isin(known)]
    return found


class Gatherer:
    """Makes suspects from rows of the check log.

    Parameters
    ----------
    log : Log
        Canonical tables.
    courses : Courses
        What fits.
    impossible : DataFrame
        As given by `impossible_numbers`.
    steps : Series of float
        Reading step of each ward [mL]; the finest where it reads two kinds of volume.
    """

    def __init__(
        self, log: Log, courses: Courses, impossible: pd.DataFrame, steps: pd.Series
    ) -> None:
        self._rows = Rows(log.checks)
        self._courses = courses
        self._steps = steps.to_dict()
        self._usual_rates = log.checks.groupby("infusion_id")[RATE].median().to_dict()
        self._index = log.checks.index
        copies = copied_rows(log.checks)
        self._before = {
            REMAINING: copies["remaining_before"].to_numpy(float),
            DELIVERED: copies["delivered_before"].to_numpy(float),
        }
        self._is_row_copied = copies["is_row_copied"].to_numpy(bool)
        self._set_aside = {
            (int(row), str(column)): float(value)
            for row, column, value in zip(
                impossible.index, impossible["column"], impossible["value"], strict=True
            )
        }

    def suspect(self, row: int, column: str) -> Suspect | None:
        """Give one charted volume as a suspect; None without a line or a value.

        Parameters
        ----------
        row : int
            Index of the row in the check log.
        column : str
            Column of the volume.

        Returns
        -------
        Suspect or None
            None without a line or a value.
        """
        cells = self._rows.cells(row)
        infusion_id = cells["infusion_id"]
        level = self._courses.level(infusion_id, cells["checked_at"], without=row)
        set_aside = self._set_aside.get((row, column))
        charted = cells[column] if set_aside is None else set_aside
        if level is None or pd.isna(charted):
            return None
        place = self._index.get_loc(row)
        return Suspect(
            row=row,
            column=column,
            charted=float(charted),
            level=level,
            infusion_id=infusion_id,
            ward=cells["ward"],
            patient_id=cells["patient_id"],
            driver_id=cells["driver_id"],
            at=cells["checked_at"],
            before=float(self._before[column][place]),
            is_row_copied=bool(self._is_row_copied[place]),
            is_set_aside=set_aside is not None,
            rate=self._set_aside.get((row, RATE), float(cells[RATE])),
            usual_rate=float(self._usual_rates[infusion_id]),
            step_ml=float(self._steps.get(cells["ward"], _FINEST_ML)),
        )
