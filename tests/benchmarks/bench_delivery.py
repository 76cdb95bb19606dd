"""Deciding what happened, beside the naive rule in pandas on the same tables.

Not collected with the tests; run it by name, on a machine with nothing else to do:

    pytest tests/benchmarks/bench_delivery.py

Both run warm in one process, from tables in memory, in processor time of all threads,
so that what else the machine does counts for little; what counts is the ratio of their
medians. By the clock, with two cores free, a decision takes less: its scan and its
close looks run on both. STEADYFALL_BENCH_INFUSIONS sets the size of the log; the
default is 6000, the mark is meant at 300,000. About half a second of a decision is the
same for any size (noise and threshold are found from a sample), so that the ratio falls
with the size of the log.
"""

import os
import statistics
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.delivery import judge_delivery
from analysis.intake import Log, read_exports
from analysis.policy import Policy
from analysis.synthetic import DEMO_PLANTING, WARDS, make_log, write_log

pytest.importorskip("pytest_benchmark")

INFUSIONS = int(os.environ.get("STEADYFALL_BENCH_INFUSIONS", "6000"))
MOST = 25.0  # the mark; not met yet


@pytest.fixture(scope="module")
def log() -> Log:
    """Read a log of the demo's wards, with as many events and slips as the demo has."""
    wards = [
        replace(ward, infusions_per_month=ward.infusions_per_month * INFUSIONS / 410)
        for ward in WARDS
    ]
    made = make_log(
        rng=np.random.default_rng(1),
        wards=wards,
        first_day=date(2026, 5, 1),
        days=62,
        planting=DEMO_PLANTING,
    )
    with tempfile.TemporaryDirectory() as folder:
        write_log(made, Path(folder))
        exports = [Path(folder, f"{name}.csv") for name in ("checks", "infusions")]
        return read_exports(exports, Policy.example())


#: Only what the rule needs is copied.
_LOOKED_AT = ["infusion_id", "checked_at", "volume_remaining_ml", "set_rate_ml_h"]


def naive(log: Log) -> pd.Series:
    """Flag infusions with a reading more than a tenth of the fill off the line."""
    rows = log.checks[_LOOKED_AT]
    rows = rows[rows["infusion_id"] != ""]
    by = rows.groupby("infusion_id")
    start = by["volume_remaining_ml"].transform("first")
    rate = by["set_rate_ml_h"].transform("first")
    hours = (
        rows["checked_at"] - by["checked_at"].transform("first")
    ).dt.total_seconds()
    line = (start - rate * hours / 3600).clip(lower=0)
    off = (rows["volume_remaining_ml"] - line).abs() > 0.1 * start
    flagged: pd.Series = off.groupby(rows["infusion_id"]).any()
    return flagged


def median_s(work: Callable[[], object], rounds: int = 5) -> float:
    """Give the median processor time of some warm runs [s]."""
    work()
    times = []
    for _ in range(rounds):
        began = time.process_time()
        work()
        times.append(time.process_time() - began)
    return statistics.median(times)


@pytest.mark.benchmark(timer=time.process_time)
def test_a_decision_takes_at_most_25_times_the_naive_rule(benchmark, log: Log) -> None:  # type: ignore[no-untyped-def]  # noqa: ANN001 - typed by its plugin
    policy = Policy.example()
    plain = median_s(lambda: naive(log))
    found = benchmark.pedantic(
        judge_delivery, args=(log, policy), rounds=3, warmup_rounds=1
    )
    assert len(found.infusions) == len(log.infusions)
    ratio = benchmark.stats.stats.median / plain
    benchmark.extra_info.update(naive_s=plain, ratio=ratio)
    assert ratio <= MOST
