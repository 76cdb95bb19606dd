"""Adding units up to measures, beside the rule that knows of no patients.

Not collected with the tests; run it by name, on a machine with nothing else to do:

    pytest tests/benchmarks/bench_measures.py

Both rules run warm in one process; what counts is the ratio of their medians.
"""

import statistics
import time
import timeit
from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from analysis.compliance import judge_adherence
from analysis.compliance.units import measure_units, stack_units
from analysis.delivery.line import expected_lines
from analysis.intake import Log
from analysis.policy import Policy
from tests.benchmarks.bench_delivery import log  # noqa: F401 - a fixture

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


def median_s(work: Callable[[], object], rounds: int = 5) -> float:
    """Give the median time of some warm runs [s]."""
    work()
    times = []
    for _ in range(rounds):
        began = time.perf_counter()
        work()
        times.append(time.perf_counter() - began)
    return statistics.median(times)


def processor_s(work: Callable[[], object], rounds: int = 5) -> float:
    """Give the median processor time of some warm runs [s].

    What else the machine does takes nothing of it; the limit is set on the clock.
    Python's own collection of garbage, which goes through all that the process holds,
    is off meanwhile, as `timeit` has it.
    """
    work()
    timer = timeit.Timer(work, timer=time.process_time)
    return statistics.median(timer.repeat(rounds, number=1))


def test_measures_take_at_most_ten_times_the_naive_rule(benchmark) -> None:  # type: ignore[no-untyped-def]  # noqa: ANN001 - typed by its plugin
    units = make_units()
    plain = median_s(lambda: naive(units))
    found = benchmark.pedantic(
        measure_units, args=(units, NAMES, IN_HOURS), rounds=5, warmup_rounds=1
    )
    assert len(found) == len(NAMES) * (WARDS + 1) + len(naive(units)) + (
        len(NAMES) * MONTHS
    )
    ratio = benchmark.stats.stats.median / plain
    benchmark.extra_info.update(naive_s=plain, ratio=ratio)
    assert ratio <= MOST


#: Columns of the record, each a measure of its own.
RECORDED = ("site_signs", "solution_appearance", "battery_pct", "checked_by")
YES_NO = ("lockbox_locked", "label_present")


def naive_measures(log: Log) -> list[pd.DataFrame | pd.Series]:  # noqa: F811 - not the fixture
    """Give every measure as a mean by ward and month, with none of the edge rules."""
    rows = log.checks
    month = rows["checked_at"].dt.strftime("%Y-%m")
    by = [rows["ward"], month]
    gap = rows.groupby("infusion_id")["checked_at"].diff().dt.total_seconds() / 3600
    left, rate = rows["volume_remaining_ml"], rows["set_rate_ml_h"]
    fell = left.groupby(rows["infusion_id"]).diff()
    truth = {
        "checks_on_time": gap <= 4.5,
        "checks_on_time_grace_1.0": gap <= 5.0,
        "volume_recorded": left.notna(),
        **{name: rows[name].notna() & (rows[name] != "") for name in RECORDED},
        **{name: rows[name] == "yes" for name in YES_NO},
        "exact_hour": rows["checked_at"].dt.minute == 0,
        "round_volume": (left * 10).round() % 5 == 0,
        "copied_reading": fell == 0,
        "copied_row": (fell == 0) & (rate.groupby(rows["infusion_id"]).diff() == 0),
        "written_late": rows["recorded_at"] - rows["checked_at"] > pd.Timedelta("1h"),
    }
    found = [values.groupby(by).mean() for values in truth.values()]
    found.append(gap.clip(upper=4.5).groupby(by).sum() / gap.groupby(by).sum())
    runs = log.infusions
    each = [runs["ward"], runs["started_at"].dt.strftime("%Y-%m")]
    first = rows.groupby("infusion_id")[["set_rate_ml_h", "checked_at"]].first()
    planned = first["set_rate_ml_h"] * runs["planned_duration_h"]
    ordered = runs.sort_values(["patient_id", "started_at"])
    between = ordered.groupby("patient_id")["started_at"].diff().dt.total_seconds()
    truth = {
        "set_rate_matches": (planned / runs["start_volume_ml"] - 1).abs() < 0.05,
        "start_volume_in_window": runs["made_up_to_ml"].between(15, 16),
        "syringe_size_ok": runs["syringe_size_ml"] == 20,
        "syringe_changed_in_time": between <= 25 * 3600,
    }
    return [*found, *(values.groupby(each).mean() for values in truth.values())]


def all_measures(log: Log, lines: pd.DataFrame, policy: Policy) -> pd.DataFrame:  # noqa: F811 - not the fixture
    """Find all units of all measures and add them up, as the audit does."""
    found = judge_adherence(log, lines, policy)
    return measure_units(stack_units(found.units), found.names, found.in_hours)


def test_all_measures_from_tables_in_memory(benchmark, log: Log) -> None:  # type: ignore[no-untyped-def]  # noqa: ANN001, F811 - typed by its plugin
    policy = Policy.example()
    lines = expected_lines(log.checks, log.infusions, policy)
    plain = median_s(lambda: naive_measures(log))
    benchmark.pedantic(
        all_measures, args=(log, lines, policy), rounds=5, warmup_rounds=1
    )
    ratio = benchmark.stats.stats.median / plain
    benchmark.extra_info.update(
        checks=len(log.checks),
        naive_s=plain,
        ratio=ratio,
        ratio_of_processor_time=processor_s(lambda: all_measures(log, lines, policy))
        / processor_s(lambda: naive_measures(log)),
    )
    assert ratio <= MOST
