"""Logs of any size for the benchmarks: the demo's wards, busier, more of them, longer.

All have as many events, slips and faulty rows for their size as the demo log has. From
a command line, so that a benchmark does not hold what it took to make its log:

    python -m tests.benchmarks.logs FOLDER INFUSIONS COPIES DAYS
"""

import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np

from analysis.synthetic import DEMO_PLANTING, WARDS, WardHabits, make_log, write_log

FILES = ("checks", "infusions", "lines")

#: Infusions that the demo's wards, as they are, give in a month of 31 days.
_A_MONTH = 205


def busier(infusions: int, copies: int, days: int) -> list[WardHabits]:
    """Give copies of the demo's wards that start so many infusions between them."""
    more = infusions / (_A_MONTH * days / 31) / copies
    return [
        replace(
            ward,
            name=f"{ward.name} {copy}" if copy else ward.name,
            prefix=f"{ward.prefix}{copy or ''}",
            infusions_per_month=ward.infusions_per_month * more,
        )
        for copy in range(copies)
        for ward in WARDS
    ]


def write_busy_log(
    folder: Path,
    infusions: int,
    *,
    days: int,
    copies: int = 1,
    first_day: date = date(2026, 5, 1),
) -> list[Path]:
    """Write a log of about so many infusions; give its three files."""
    made = make_log(
        rng=np.random.default_rng(1),
        wards=busier(infusions, copies, days),
        first_day=first_day,
        days=days,
        planting=DEMO_PLANTING,
    )
    folder.mkdir(parents=True, exist_ok=True)
    write_log(made, folder)
    return [folder / f"{name}.csv" for name in FILES]


if __name__ == "__main__":
    where, *numbers = sys.argv[1:]
    size, wards, length = map(int, numbers)
    write_busy_log(Path(where), size, copies=wards, days=length)
