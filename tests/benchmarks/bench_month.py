"""A month of 5,000 infusions, from the command to the finished report.

Not collected with the tests; run it by name, on a machine with two cores and nothing
else to do:

    pytest tests/benchmarks/bench_month.py

Each run is a process of its own, as a person starts it. The second test leaves out the
notebook, which is a new interpreter and a plot for every delivery finding.
"""

import subprocess
import sys
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from tests.benchmarks.logs import write_busy_log

pytest.importorskip("pytest_benchmark")

INFUSIONS = 5_000
MOST_S, MOST_OUTSIDE_S = 60.0, 30.0


@pytest.fixture(scope="module")
def exports(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Write a month of the demo's wards, with as many events and slips as the demo."""
    folder = tmp_path_factory.mktemp("month")
    return write_busy_log(folder, INFUSIONS, days=31, first_day=date(2026, 10, 1))


def audit(exports: list[Path], out: Path, *more: str) -> None:
    """Give the command, and wait for it."""
    command = [sys.executable, "-m", "analysis.cli", "audit", *map(str, exports)]
    subprocess.run([*command, "--out", str(out), *more], check=True)  # noqa: S603


def test_from_the_command_to_the_report(  # type: ignore[no-untyped-def]
    benchmark,  # noqa: ANN001 - typed by its plugin
    exports: list[Path],
    tmp_path: Path,
) -> None:
    benchmark.pedantic(audit, args=(exports, tmp_path / "out"), rounds=1)
    infusions = pd.read_csv(tmp_path / "out" / "tables" / "infusions.csv")
    assert len(infusions) >= INFUSIONS
    assert (tmp_path / "out" / "report.html").exists()
    benchmark.extra_info.update(
        infusions=len(infusions), drawn=int(infusions["kind"].notna().sum())
    )
    assert benchmark.stats.stats.median <= MOST_S


def test_all_but_the_notebook(  # type: ignore[no-untyped-def]
    benchmark,  # noqa: ANN001 - typed by its plugin
    exports: list[Path],
    tmp_path: Path,
) -> None:
    benchmark.pedantic(
        audit, args=(exports, tmp_path / "out", "--tables-only"), rounds=1
    )
    assert benchmark.stats.stats.median <= MOST_OUTSIDE_S
