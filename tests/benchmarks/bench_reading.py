"""Time and memory of reading, beside `pyarrow.csv.read_csv` on the same file.

Not part of the tests: ``pytest tests/benchmarks/bench_reading.py -s`` runs it (extra
``bench``). STEADYFALL_BENCH_MB sets the size of the files; the default is 20 MB.
Memory and growth are taken at 140 MB at least; memory is the peak of a process of its
own beyond what its imports take (on Linux).
"""

import math
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from statistics import median
from timeit import repeat
from typing import Any

import numpy as np
import pandas as pd
import pytest
from pyarrow import csv as pa_csv

from analysis.intake import read_exports
from analysis.intake.files import read_table
from analysis.policy import Policy

SIZE = int(os.environ.get("STEADYFALL_BENCH_MB", "20")) * 1_000_000
CHECKS = 7  # of each infusion

MOST_TIME = 30  # times pyarrow, for the whole intake
MOST_MEMORY = 12  # times the file, which is LARGE: small ones carry what is fixed
LARGE = max(SIZE, 140_000_000)
MOST_GROWTH = 1.1  # exponent of the time with the size


def log(size: int) -> str:
    """Write a check log of about so many bytes: infusions of 24 h, a check every 4."""
    n = size // 76 // CHECKS * CHECKS
    run, check = np.divmod(np.arange(n), CHECKS)
    minutes = (run % 400) * 1440 + check * 236 + run % 7
    at = np.datetime64("2026-01-05T08:00") + minutes.astype("timedelta64[m]")
    left = 16 - check * 236 / 60 * 0.667
    frame = pd.DataFrame(
        {
            "ward": np.array(["Alder ward", "Birch ward", "Cedar"])[run // 400 % 3],
            "patient_id": pd.Series(run // 3 + 10_000).astype("str"),
            "infusion_id": "I" + pd.Series(run).astype("str"),
            "driver_id": "D" + pd.Series(run // 400).astype("str"),
            "entry": np.where(check == 0, "start", "check"),
            "checked_at": np.datetime_as_string(at),
            "set_rate_ml_h": "0.667",
            "volume_remaining_ml": pd.Series(left.clip(0).round(1)).astype("str"),
            "running": "yes",
            "note": "",
        }
    )
    text: str = frame.to_csv(index=False, lineterminator="\n")
    return text


#: What every row of the file is like: made from the text of a good log.
EVERY_ROW: dict[str, Callable[[str], bytes]] = {
    "plain": lambda text: text.encode(),
    "a comma too many": lambda text: text.replace(",yes,\n", ",yes,,\n").encode(),
    "an inch mark": lambda text: text.replace(",yes,\n", ',yes,5"\n').encode(),
    "a ditto mark": lambda text: text.replace(",yes,\n", ',",\n').encode(),
    "a note in quotes": lambda text: text.replace(",yes,\n", ',yes,"a, b"\n').encode(),
    "a note of two lines": lambda text: text.replace(
        ",yes,\n", ',yes,"a\nb"\n'
    ).encode(),
    "a cell too few": lambda text: text.replace(",yes,\n", ",yes\n").encode(),
    "a NUL byte": lambda text: text.replace(",yes,\n", ",yes,a\0b\n").encode(),
    "Windows-1252": lambda text: text.replace(",yes,\n", ",yes,Ørn € ½\n").encode(
        "cp1252"
    ),
    "UTF-16": lambda text: text.encode("utf-16"),
    "CR alone": lambda text: text.replace("\n", "\r").encode(),
}

STATUS = Path("/proc/self/status")

MEASURE = """
import re, sys
from pathlib import Path
import pyarrow.compute
import analysis.intake, analysis.intake.files, analysis.policy
status = Path("/proc/self/status")
kib = lambda: int(re.search(r"VmHWM:\\s*(\\d+)", status.read_text())[1])
path, what = Path(sys.argv[1]), sys.argv[2]
before = kib()
try:
    if what == "table":
        kept = analysis.intake.files.read_table(path, path.name)
    else:
        kept = analysis.intake.read_exports([path], analysis.policy.Policy.example())
except analysis.errors.InputError:
    pass
print((kib() - before) * 1024)
"""


def peak(path: Path, what: str) -> float:
    """Give the peak memory of reading a file, in sizes of the file."""
    if not STATUS.exists():
        return math.nan
    done = subprocess.run(  # noqa: S603 - this very interpreter
        [sys.executable, "-c", MEASURE, str(path), what],
        check=True,
        capture_output=True,
        text=True,
    )
    return int(done.stdout) / path.stat().st_size


@pytest.fixture(scope="module")
def text() -> str:
    return log(SIZE)


@pytest.fixture(scope="module")
def by_pyarrow(tmp_path_factory: pytest.TempPathFactory, text: str) -> float:
    """Give the median time of five warm runs of `pyarrow.csv.read_csv` [s]."""
    path = tmp_path_factory.mktemp("plain") / "checks.csv"
    path.write_text(text, encoding="utf-8", newline="")
    return median(repeat(lambda: pa_csv.read_csv(path), repeat=6, number=1)[1:])


@pytest.mark.parametrize("kind", EVERY_ROW)
def test_reading_a_file_as_text(
    kind: str,
    text: str,
    by_pyarrow: float,
    tmp_path: Path,
    benchmark: Any,
) -> None:
    path = tmp_path / "checks.csv"
    path.write_bytes(EVERY_ROW[kind](text))
    benchmark.pedantic(
        read_table, (path, path.name), rounds=5, warmup_rounds=1, iterations=1
    )
    report(benchmark, by_pyarrow, peak(path, "table"))


def test_the_whole_intake(
    text: str, by_pyarrow: float, tmp_path: Path, benchmark: Any
) -> None:
    path = tmp_path / "checks.csv"
    path.write_text(text, encoding="utf-8", newline="")
    policy = Policy.example()
    benchmark.pedantic(
        read_exports, ([path], policy), rounds=5, warmup_rounds=1, iterations=1
    )
    ratio = report(benchmark, by_pyarrow, peak(path, "log"))
    assert ratio <= MOST_TIME


@pytest.mark.skipif(not STATUS.exists(), reason="no /proc: memory is not measured")
def test_memory_of_the_whole_intake(tmp_path: Path, benchmark: Any) -> None:
    path = tmp_path / "checks.csv"
    path.write_text(log(LARGE), encoding="utf-8", newline="")
    memory = benchmark.pedantic(peak, (path, "log"), rounds=1, iterations=1)
    benchmark.extra_info["times the file"] = round(memory, 1)
    sys.stderr.write(f"\n{benchmark.name}: {memory:.1f} x file\n")
    assert memory <= MOST_MEMORY


def test_growth_of_the_whole_intake(tmp_path: Path, benchmark: Any) -> None:
    policy = Policy.example()

    def seconds(size: int) -> float:
        path = tmp_path / f"{size}.csv"
        path.write_text(log(size), encoding="utf-8", newline="")
        times = repeat(lambda: read_exports([path], policy), repeat=4, number=1)
        return median(times[1:])

    small, large = benchmark.pedantic(
        lambda: (seconds(LARGE // 8), seconds(LARGE)), rounds=1, iterations=1
    )
    exponent = math.log(large / small) / math.log(8)
    benchmark.extra_info["growth exponent"] = round(exponent, 2)
    sys.stderr.write(f"\n{benchmark.name}: exponent {exponent:.2f}\n")
    assert exponent <= MOST_GROWTH


def report(benchmark: Any, by_pyarrow: float, memory: float) -> float:
    """Keep both ratios with the benchmark's figures; give the one of time."""
    ratio: float = benchmark.stats.stats.median / by_pyarrow
    benchmark.extra_info["times pyarrow"] = round(ratio, 1)
    benchmark.extra_info["times the file"] = round(memory, 1)
    sys.stderr.write(
        f"\n{benchmark.name}: {ratio:.1f} x pyarrow, {memory:.1f} x file\n"
    )
    return ratio
