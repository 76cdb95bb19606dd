"""Coverage of the intervals of measures.csv, by simulation and recomputed."""

import math

import numpy as np
import pytest
from click.testing import CliRunner

from analysis import evaluate
from analysis.cli import steadyfall
from analysis.evaluate import coverage_lines, interval_coverage, intervals, true_covered

LOGS = 40


@pytest.fixture(scope="module")
def found() -> evaluate.Coverage:
    return interval_coverage(LOGS, 11)


def holds(x: float, n: float, truth: float) -> bool:
    """Say whether Wilson's interval holds the truth, by its formula."""
    z2 = 1.959963984540054**2
    middle = (x + z2 / 2) / (n + z2)
    half = math.sqrt(z2 * (x * (n - x) / n + z2 / 4)) / (n + z2)
    return middle - half - 1e-12 <= truth <= middle + half + 1e-12


def icc_by_hand(pairs: list[tuple[float, float]]) -> float:
    """Give the ANOVA estimate, written out over patients."""
    total, hits, k = sum(n for _, n in pairs), sum(x for x, _ in pairs), len(pairs)
    squares = sum(x * x / n for x, n in pairs)
    within = (hits - squares) / (total - k)
    between = (squares - hits * hits / total) / (k - 1)
    size = (total - sum(n * n for _, n in pairs) / total) / (k - 1)
    return max((between - within) / (between + (size - 1) * within), 0.0)


def test_coverage_of_counts_is_that_of_a_plain_recount() -> None:
    # The same draws, and the interval written out patient by patient.
    sizes, truth = (3, 6, 12), 0.85
    rng = np.random.default_rng(4)
    x, n = intervals._counts(rng, (LOGS, sum(sizes)), truth, 0.2)
    every = np.full((LOGS, len(sizes) + 1), truth)
    setting = {"what": "counts", "share": truth}
    rows = list(intervals._covered(x, n, sizes, every, setting))
    clustered, plain = [0, 0, 0], [0, 0, 0]
    for hits, judged in zip(x.tolist(), n.tolist(), strict=True):
        pairs = list(zip(hits, judged, strict=True))
        icc = icc_by_hand(pairs)
        start = 0
        for place, size in enumerate(sizes):
            own = pairs[start : start + size]
            start += size
            many, some = sum(b for _, b in own), sum(a for a, _ in own)
            effect = sum(b * (1 + (b - 1) * icc) for _, b in own) / many
            clustered[place] += holds(some / effect, many / effect, truth)
            plain[place] += holds(some, many, truth)
    assert [row["clustered"] for row in rows[:3]] == [c / LOGS for c in clustered]
    assert [row["plain"] for row in rows[:3]] == [p / LOGS for p in plain]
    assert clustered != plain
    assert rows[3]["patients"] == 21


def test_patients_of_an_ordinary_log_are_covered_and_plain_wilson_is_not(
    found: evaluate.Coverage,
) -> None:
    table = found.table
    ordinary = table[table["in_log"] == 196]
    counts = ordinary[ordinary["what"] == "counts"]
    # Ten settings of seven wards: about 1 % of Monte Carlo error for their mean.
    assert counts["clustered"].mean() == pytest.approx(0.95, abs=0.025)
    hours = ordinary[ordinary["what"] == "hours"]
    assert hours["clustered"].mean() == pytest.approx(0.955, abs=0.03)
    strong = counts[(counts["spread"] == 0.3) & (counts["patients"] >= 25)]
    assert strong["plain"].max() < 0.8
    none = counts[counts["spread"] == 0]
    assert none["plain"].mean() > 0.92


def test_wards_that_differ_are_covered_no_less_than_those_that_are_alike(
    found: evaluate.Coverage,
) -> None:
    # One correlation over all wards takes what makes them differ for differences
    # between patients: the interval of a ward is too wide for it, never too narrow.
    table = found.table[(found.table["in_log"] == 196) & (found.table["between"] > 0)]
    wards = table[table["patients"] < 196]
    for what, icc in (("counts", 0.0), ("hours", 0.0), ("counts", 0.1), ("hours", 0.2)):
        own = wards[(wards["what"] == what) & (wards["spread"] == icc)]
        assert len(own) == 6
        assert own["clustered"].mean() > 0.95 - 0.03


def test_each_figure_has_its_monte_carlo_error(found: evaluate.Coverage) -> None:
    table = found.table
    share = table["clustered"]
    expected = np.sqrt(share * (1 - share) / LOGS)
    assert table["clustered_se"].to_numpy() == pytest.approx(expected.to_numpy())
    assert table.loc[table["what"] == "hours", "plain"].isna().all()
    assert table.loc[table["what"] == "counts", "plain"].notna().all()


def test_the_same_seed_gives_the_same_figures() -> None:
    first, again, other = (interval_coverage(2, seed).table for seed in (1, 1, 2))
    assert first.equals(again)
    assert not first.equals(other)


@pytest.mark.parametrize("sd", [0.0, 0.4])
def test_the_true_share_of_covered_time_is_that_of_very_many_gaps(sd: float) -> None:
    x, n = intervals._hours_of_gaps(np.random.default_rng(3), (400, 500), sd)
    assert x.sum() / n.sum() == pytest.approx(true_covered(sd), abs=0.002)


def test_lines_say_wards_errors_and_the_worst(found: evaluate.Coverage) -> None:
    lines = coverage_lines(found)
    assert "40 simulated logs a setting, seed 11" in lines[0]
    assert len([line for line in lines if line.startswith("counts")]) == 20
    assert len([line for line in lines if line.startswith("hours")]) == 12
    assert len([line for line in lines if "wards' spread" in line]) == 8
    assert lines[1].startswith(
        "counts, truth 85.0 %, correlation 0, log of 196 patients: wards of 3 patients "
    )
    worst = found.table.loc[found.table["in_log"] == 12, "clustered"].min()
    assert f"Log of 12 patients in all: {100 * worst:.1f} to " in lines[-3]


def test_the_command_prints_them(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(evaluate, "COVERAGE_LOGS", 2)
    run = CliRunner().invoke(steadyfall, ["evaluate", "--intervals", "--seed", "5"])
    assert run.exit_code == 0
    assert "2 simulated logs a setting, seed 5" in run.output
    assert run.output.rstrip().endswith("By simulation, not measured on your wards.")
