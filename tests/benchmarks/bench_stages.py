"""Every stage and the whole audit at 3,000, 30,000 and 300,000 infusions, in one table.

Not collected with the tests; run it by name, on a machine with nothing else to do:

    pytest tests/benchmarks/bench_stages.py -s

It prints the table that stands in DEVELOPERS.md: each stage of `steadyfall audit
--tables-only` in times of the plain way beside it (`plain`), as a ratio of medians of
warm runs in one process, in processor time of all threads; how it grows from size to
size; and the peak of memory in it. The log is of the demo's wards, busier, more of them
and for longer (`logs`).

STEADYFALL_BENCH_SIZES chooses among the sizes ("3000,30000"), STEADYFALL_BENCH_ROUNDS
the warm runs of all of them; 0 takes the first run alone, as is done of 300,000, which
need 8 GB to make their log.
"""

import itertools
import json
import math
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.benchmarks.whole import STEPS

pytest.importorskip("pytest_benchmark")

ROOT = Path(__file__).parents[2]
#: Copies of the demo's wards and days, so that a ward stays as busy.
SHAPES = {3_000: (1, 114), 30_000: (3, 380), 300_000: (10, 1_140)}
SIZES = [int(n) for n in os.environ.get("STEADYFALL_BENCH_SIZES", "").split(",") if n]
#: Warm runs; the largest takes minutes, and what is warm counts for little in it.
ROUNDS = {3_000: "5", 30_000: "3", 300_000: "0"}

MOST_GROWTH = 1.1  # exponent of the time with the number of checks
MOST_BYTES = 4e9  # of the whole audit

#: What each step stands beside; the steps without one have no plain way.
BESIDE = {
    "reading the export": "`pyarrow.csv.read_csv` of the same files",
    "delivery": "more than a tenth of the fill off the line",
    "adherence": "the same means without edge rules",
    "sites": "sites with a sign over days seen",
    "writing the tables": "`pyarrow.csv.write_csv` of the same tables",
}

Measured = dict[str, Any]


def child(module: str, *arguments: object) -> str:
    """Run a module in a process of its own; give what it prints."""
    done = subprocess.run(  # noqa: S603 - this very interpreter
        [sys.executable, "-m", f"tests.benchmarks.{module}", *map(str, arguments)],
        cwd=ROOT,
        check=True,
        stdout=subprocess.PIPE,
        text=True,
    )
    return done.stdout


@pytest.fixture(scope="module")
def table() -> Iterator[dict[int, Measured]]:
    """Give a place for what is measured; print it as a table at the end."""
    found: dict[int, Measured] = {}
    yield found
    if found:
        sys.stdout.write(f"\n{markdown(found)}\n")


@pytest.mark.parametrize("infusions", SIZES or SHAPES)
def test_an_audit(  # type: ignore[no-untyped-def]
    benchmark,  # noqa: ANN001 - typed by its plugin
    table: dict[int, Measured],
    tmp_path_factory: pytest.TempPathFactory,
    infusions: int,
) -> None:
    folder = tmp_path_factory.mktemp(str(infusions))
    rounds = os.environ.get("STEADYFALL_BENCH_ROUNDS", ROUNDS[infusions])
    child("logs", folder, infusions, *SHAPES[infusions])
    run = benchmark.pedantic(
        lambda: json.loads(child("whole", folder, rounds)), rounds=1
    )
    table[infusions] = run
    benchmark.extra_info.update(run)
    assert run["infusions"] >= infusions * 0.9
    assert max(run["peaks"].values()) <= MOST_BYTES
    smaller = [n for n in table if n < infusions]
    if smaller:
        grown = growth(table[max(smaller)], run)
        assert grown["whole"] <= MOST_GROWTH, grown


def seconds(run: Measured) -> dict[str, float]:
    """Give the time of each step, and of the whole."""
    return {**run["seconds"], "whole": run["whole"]}


def growth(small: Measured, large: Measured) -> dict[str, float]:
    """Give the exponent of each step's time with the number of checks."""
    rows = math.log(large["checks"] / small["checks"])
    before = seconds(small)
    return {s: math.log(t / before[s]) / rows for s, t in seconds(large).items()}


def markdown(found: dict[int, Measured]) -> str:
    """Write the table: a row a step, with ratio, time, growth and peak at each size."""
    sizes = sorted(found)
    pairs = list(itertools.pairwise(sizes))
    header = [
        "stage",
        "beside",
        *(f"{n:,} infusions" for n in sizes),
        *(f"growth to {m:,}" for _, m in pairs),
    ]
    rows = [
        [
            step,
            BESIDE.get(step, ""),
            *(cell(found[n], step) for n in sizes),
            *(f"{growth(found[n], found[m])[step]:.2f}" for n, m in pairs),
        ]
        for step in (*STEPS, "whole")
    ]
    lines = [header, ["---"] * len(header), *rows]
    checks = ", ".join(f"{found[n]['checks']:,}" for n in sizes)
    rounds = ", ".join(str(found[n]["rounds"] or "no") for n in sizes)
    return "\n".join(
        [f"Checks: {checks}; {rounds} warm runs.", ""]
        + [f"| {' | '.join(line)} |" for line in lines]
    )


def cell(run: Measured, step: str) -> str:
    """Write ratio, time and peak of one step."""
    took, plain = seconds(run)[step], run["beside"].get(step)
    peak = run["peaks"].get(step, max(run["peaks"].values()))
    ratio = f"{took / plain:.0f} x; " if plain else ""
    return f"{ratio}{took:.1f} s; {peak / 1e9:.1f} GB"


def test_every_plain_way_stands_beside_a_step() -> None:
    assert set(BESIDE) <= set(STEPS)
