"""Adding units up to measures, beside the rule that knows of no patients.

Not collected with the tests; run it by name, on a machine with nothing else to do:

    pytest tests/benchmarks/bench_measures.py

Both rules run warm in one process; what counts is the ratio of their medians.
"""

import time

import numpy as np
import pandas as pd
import pytest

from analysis.compliance import judge_adherence
from analysis.compliance.units import measure_units
from analysis.delivery.line import expected_lines
from analysis.intake import Log
from analysis.policy import Policy
from tests.benchmarks.bench_delivery import log  # noqa: F401 - a fixture
from tests.benchmarks.plain import plain_means
from tests.benchmarks.timed import median_s

pytest.importorskip("pytest_benchmark")

UNITS, WARDS, MONTHS, PATIENTS = 2_000_000, 24, 12, 60_000
NAMES = ("covered_time", "checks_on_time", "box_locked", "checks_on_time_grace_1.0")
IN_HOURS = frozenset({"covered_time"})
MOST = 10.0


def make_units() -> pd.DataFrame:
    """Give as many units as a log of 300,000 infusions has, a tenth of them excluded.

    Texts are of the type that an audit has them in.
    """
    rng = np.random.default_rng(1)
    patient = rng.integers(0, PATIENTS, UNITS)
    months = [str(m) for m in pd.period_range("2026-01", periods=MONTHS, freq="M")]
    excluded = rng.random(UNITS) < 0.1
    counted = (rng.random(UNITS) < 0.85).astype(float)
    units = pd.DataFrame(
        {
            "measure": np.array(NAMES)[rng.integers(0, len(NAMES), UNITS)],
            "unit_id": np.arange(UNITS).astype("str"),
            "month": np.array(months)[patient % MONTHS],
            "ward": np.array([f"Ward {n}" for n in range(WARDS)])[patient % WARDS],
            "patient_id": np.char.add("P", patient.astype("str")),
            "tally": np.where(
                excluded, "excluded", np.where(counted > 0, "counted", "not counted")
            ),
            "numerator": np.where(excluded, np.nan, counted),
            "denominator": np.where(excluded, np.nan, 1.0),
        }
    )
    return units.sort_values(["measure", "unit_id"], ignore_index=True)


def naive(units: pd.DataFrame) -> pd.Series:
    """Give the mean of each measure, ward and month, and ask nothing else."""
    return units.groupby(["measure", "ward", "month"])["numerator"].mean()


def test_measures_take_at_most_ten_times_the_naive_rule(benchmark) -> None:  # type: ignore[no-untyped-def]  # noqa: ANN001 - typed by its plugin
    units = make_units()
    plain = median_s(lambda: naive(units), timer=time.perf_counter)
    found = benchmark.pedantic(
        measure_units, args=([units], NAMES, IN_HOURS), rounds=5, warmup_rounds=1
    )
    assert len(found) == len(NAMES) * (WARDS + 1) + len(naive(units)) + (
        len(NAMES) * MONTHS
    )
    ratio = benchmark.stats.stats.median / plain
    benchmark.extra_info.update(naive_s=plain, ratio=ratio)
    assert ratio <= MOST


def all_measures(log: Log, lines: pd.DataFrame, policy: Policy) -> pd.DataFrame:  # noqa: F811 - not the fixture
    """Find all units of all measures and add them up, as the audit does."""
    found = judge_adherence(log, lines, policy)
    return measure_units(found.units.tables(), found.names, found.in_hours)


def test_all_measures_from_tables_in_memory(benchmark, log: Log) -> None:  # type: ignore[no-untyped-def]  # noqa: ANN001, F811 - typed by its plugin
    policy = Policy.example()
    lines = expected_lines(log.checks, log.infusions, policy)
    plain = median_s(lambda: plain_means(log), timer=time.perf_counter)
    benchmark.pedantic(
        all_measures, args=(log, lines, policy), rounds=5, warmup_rounds=1
    )
    ratio = benchmark.stats.stats.median / plain
    benchmark.extra_info.update(
        checks=len(log.checks),
        naive_s=plain,
        ratio=ratio,
        ratio_of_processor_time=median_s(lambda: all_measures(log, lines, policy))
        / median_s(lambda: plain_means(log)),
    )
    assert ratio <= MOST
