"""Small check logs written to files, and what intake makes of them."""

from collections.abc import Iterable, Mapping
from dataclasses import fields
from pathlib import Path

import pandas as pd

from analysis.intake import Log, read_exports
from analysis.policy import Policy, example_text

POLICY = Policy.example()

HEADER = (
    "ward,patient_id,infusion_id,driver_id,entry,checked_at,set_rate_ml_h,"
    "volume_remaining_ml,site_signs,amends,note"
)
COLUMNS = HEADER.split(",")
BLANK: dict[str, str] = dict.fromkeys(COLUMNS, "")
GOOD = BLANK | {
    "ward": "Alder ward",
    "patient_id": "P1",
    "infusion_id": "I1",
    "driver_id": "D1",
    "entry": "check",
    "checked_at": "2026-10-01T08:00",
    "volume_remaining_ml": "10",
}

#: Columns of canonical tables that say where a row stood, not what it says.
WHERE = ["source", "file", "line"]


def line(row: Mapping[str, str] | None = None, /, **cells: str) -> str:
    """Write a good row, or `row`, with other cells, as one line of CSV."""
    full = {**GOOD, **(row or {}), **cells}
    return ",".join(full.values())


def write(folder: Path, name: str, *lines: str) -> Path:
    """Write lines to a file of the folder."""
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes("".join(f"{one}\n" for one in lines).encode())
    return path


def zone_policy(zone: str) -> Policy:
    """Give the example policy in another time zone."""
    return Policy.parse(example_text().replace("Europe/London", zone), "test policy")


def read(folder: Path, *lines: str, policy: Policy = POLICY) -> Log:
    """Read one check log of these lines under the usual header."""
    return read_exports([write(folder, "checks.csv", HEADER, *lines)], policy)


def canonical(frame: pd.DataFrame, drop: Iterable[str] = ()) -> pd.DataFrame:
    """Give a table without the columns that say where its rows stood."""
    named = [name for name in (*WHERE, *drop) if name in frame.columns]
    return frame.drop(columns=named).reset_index(drop=True)


def assert_same(one: Log, other: Log) -> None:
    """Compare all that two logs hold."""
    for part in fields(Log):
        mine, theirs = getattr(one, part.name), getattr(other, part.name)
        if isinstance(mine, pd.DataFrame):
            pd.testing.assert_frame_equal(mine, theirs)
        else:
            assert mine == theirs
