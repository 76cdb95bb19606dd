"""A simulated log with the truth behind it, and its files."""

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

SERVICE = "Quillmoor and Sallowdene Health Service"
NO_EVENT = "none"
TRUTH_INFUSIONS = (
    "infusion_id",
    "kind",
    "onset",
    "ended",
    "volume_ml",
    "hours_equivalent",
    "factor",
    "flow_factor",
    "start_offset_ml",
)
TRUTH_OTHER = (
    "kind",
    "file",
    "line",
    "ward",
    "patient_id",
    "infusion_id",
    "line_id",
    "began",
    "ended",
    "hours",
    "written",
    "truth",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SyntheticLog:
    """A log and the truth behind it; every cell is text, as it stands in the file.

    Attributes
    ----------
    checks, infusions, lines : DataFrame
        The canonical tables, with the columns of `analysis.columns`, in order.
    truth_infusions : DataFrame
        One row an infusion, columns `TRUTH_INFUSIONS`. ``volume_ml`` is the largest
        departure of the volume delivered, by the plunger, that the event alone made
        (negative: behind; a refill reads as behind by what was added);
        ``hours_equivalent`` is its size over the rate first set.
    truth_other : DataFrame
        One row a thing planted elsewhere, columns `TRUTH_OTHER`; ``line`` counts the
        header as 1. ``began`` and ``ended`` are true times, not as the ward wrote them:
        of a reaction, its onset and the first check that recorded it.
    """

    checks: pd.DataFrame
    infusions: pd.DataFrame
    lines: pd.DataFrame
    truth_infusions: pd.DataFrame
    truth_other: pd.DataFrame


def write_log(log: SyntheticLog, folder: Path) -> None:
    """Write a log and its truth as five CSV files (UTF-8, line feeds).

    Parameters
    ----------
    log : SyntheticLog
        What to write.
    folder : Path
        An existing folder; files of the same names are replaced.
    """
    frames = {
        "checks": log.checks,
        "infusions": log.infusions,
        "lines": log.lines,
        "truth_infusions": log.truth_infusions,
        "truth_other": log.truth_other,
    }
    for name, frame in frames.items():
        frame.to_csv(
            folder / f"{name}.csv", index=False, encoding="utf-8", lineterminator="\n"
        )
