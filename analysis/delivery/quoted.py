"""Readings as findings quote them: plain values, a row at a time.

Findings are few beside readings, and each looks at a handful of rows: taking a row out
of a frame costs a hundred times what its cells cost.
"""

from itertools import groupby
from operator import attrgetter
from typing import NamedTuple

import numpy as np
import pandas as pd

from analysis.intake import Log
from analysis.lookup import are_among


class Reading(NamedTuple):
    """One row of the check log with its line.

    Attributes
    ----------
    row : int
        Label in the check log.
    cited : str
        file:line.
    infusion_id, ward, patient_id, driver_id : str
        Whose it is.
    column : str
        Column that the volume was charted in.
    charted_ml : float
        What stands there.
    checked_at : Timestamp
        When it was made.
    elapsed_h : float
        Since the start.
    observed_ml, expected_ml, residual_ml, base_ml, rate_ml_h : float
        As given by `expected_lines`.
    sd_ml, reading_sd_ml : float
        As given by `add_standard_deviations`.
    time_step_h : float
        Step that the ward writes its times to [h].
    is_floored, is_doubtful : bool
        The line stops at an empty syringe; the reading is doubtful.
    basis : str
        What the line rests on, as given by `expected_lines`.
    """

    row: int
    cited: str
    infusion_id: str
    ward: str
    patient_id: str
    driver_id: str
    column: str
    charted_ml: float
    checked_at: pd.Timestamp
    elapsed_h: float
    observed_ml: float
    expected_ml: float
    residual_ml: float
    base_ml: float
    rate_ml_h: float
    sd_ml: float
    reading_sd_ml: float
    time_step_h: float
    is_floored: bool
    is_doubtful: bool
    basis: str


#: Fields as they stand in the check log, and as they stand in the lines.
_CHARTED = ("infusion_id", "ward", "patient_id", "driver_id")
_OF_LINE = Reading._fields[Reading._fields.index("checked_at") :]


def quoted(lines: pd.DataFrame, log: Log) -> dict[str, tuple[Reading, ...]]:
    """Give the rows of each infusion as plain values.

    Parameters
    ----------
    lines : DataFrame
        Rows of the lines that have a volume; those of an infusion stand together.
    log : Log
        Gives what was charted.

    Returns
    -------
    dict
        By infusion_id, in the order of `lines`.
    """
    charted = log.checks.take(log.checks.index.get_indexer(lines.index))
    column = ("volume_" + lines["source"] + "_ml").to_numpy(dtype=object)
    remaining, given = charted["volume_remaining_ml"], charted["volume_delivered_ml"]
    volume = np.where(column == "volume_remaining_ml", remaining, given)
    rows = zip(
        lines.index.tolist(),
        charted["source"].tolist(),
        *(charted[name].tolist() for name in _CHARTED),
        column.tolist(),
        volume.tolist(),
        *(lines[name].tolist() for name in _OF_LINE),
        strict=True,
    )
    readings = map(Reading._make, rows)
    by_infusion = groupby(readings, attrgetter("infusion_id"))
    return {infusion_id: tuple(own) for infusion_id, own in by_infusion}


def of_infusions(lines: pd.DataFrame, names: pd.Index) -> pd.DataFrame:
    """Give the rows of some infusions.

    Parameters
    ----------
    lines : DataFrame
        With infusion_id.
    names : Index of str
        Which.

    Returns
    -------
    DataFrame
        In the order of `lines`.
    """
    return lines[are_among(lines["infusion_id"], names)]
