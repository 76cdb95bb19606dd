"""How often the intervals of the measures table hold the truth, by simulation.

Wards whose patients differ, with the true proportion known.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
import pandas as pd
from scipy import stats

from analysis.compliance.units import measure_units
from analysis.intervals import wilson
from analysis.terms import ALL, Tally

#: True proportions and intraclass correlations of the simulated counts.
SHARES, CORRELATIONS = (0.85, 0.97), (0.0, 0.05, 0.1, 0.3)

#: How much patients differ in the logarithm of their gaps: standard deviations.
PATIENT_SDS = (0.0, 0.1, 0.2, 0.4)

#: Patients of the wards of one log: an ordinary one, and one of few patients in all.
WARD_PATIENTS = ((3, 6, 12, 25, 50, 100), (4, 8))

#: Logs simulated for each setting by the command.
COVERAGE_LOGS = 500

#: Units a patient has on average; each has one at least, and stays differ (geometric).
_UNITS = 12

#: Gaps between checks: median and limit [h], and SD of their logarithm in one patient.
_GAP_H, _LIMIT_H, _GAP_SD = 4.1, 4.5, 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """How often 95 % intervals held the true proportion.

    Attributes
    ----------
    seed, logs : int
        Seed, and simulated logs for each setting.
    table : DataFrame
        One row a setting and ward: what (counts or hours), share (true proportion),
        spread (intraclass correlation of counts, SD of hours), in_log (patients of the
        log), patients (of the ward), clustered (share of the logs in which the
        interval of the measures table held the truth), clustered_se (Monte Carlo
        error), plain and plain_se (the same of Wilson's interval without regard to
        patients; blank for hours, which have no count to put into it).
    """

    seed: int
    logs: int
    table: pd.DataFrame


def interval_coverage(
    logs: int, seed: int, *, progress: Callable[[str], None] | None = None
) -> Coverage:
    """Measure how often the intervals of the measures table hold the truth.

    Parameters
    ----------
    logs : int
        Logs simulated for each setting.
    seed : int
        The same seed gives the same figures.
    progress : callable, optional
        Called with a few words at each step.

    Returns
    -------
    Coverage
        By the code that makes measures.csv, with its one intraclass correlation a log.

    Notes
    -----
    Counts are beta-binomial: patients differ, and each one's checks are alike. Hours
    are the covered part min(gap, limit) of log-normal gaps whose median differs by
    patient; their true proportion is the limited expected value over the mean. Wards do
    not differ: what they share is the proportion whose interval is judged.
    """
    say = progress or (lambda _: None)
    rng = np.random.default_rng(seed)
    rows: list[dict[str, object]] = []
    for sizes in WARD_PATIENTS:
        shape = (logs, sum(sizes))
        for share, icc in product(SHARES, CORRELATIONS):
            say(f"counts of {shape[1]} patients, {share:.0%}, correlation {icc:g}")
            setting = {"what": "counts", "share": share, "spread": icc}
            rows += _covered(*_counts(rng, shape, share, icc), sizes, setting)
        for sd in PATIENT_SDS:
            say(f"hours of {shape[1]} patients, spread {sd:g}")
            setting = {"what": "hours", "share": true_covered(sd), "spread": sd}
            rows += _covered(*_hours_of_gaps(rng, shape, sd), sizes, setting)
    return Coverage(seed=seed, logs=logs, table=pd.DataFrame(rows))


def coverage_lines(outcome: Coverage) -> list[str]:
    """Say in lines how often the intervals held the truth.

    Parameters
    ----------
    outcome : Coverage
        As given by `interval_coverage`.

    Returns
    -------
    list of str
        One a setting, and the extremes by size of the log.
    """
    table = outcome.table
    most = 100 * float(table[["clustered_se", "plain_se"]].max().max())
    lines = [
        f"How often a 95 % interval of measures.csv held the true proportion, in "
        f"{outcome.logs} simulated logs a setting, seed {outcome.seed}; one Monte "
        f"Carlo standard error is at most {most:.1f} %. In brackets: Wilson's interval "
        "without regard to patients."
    ]
    keys = ["in_log", "what", "share", "spread"]
    for _, own in table.groupby(keys, sort=False):
        first = {str(name): own[name].iloc[0] for name in own}
        told = ", ".join(
            f"{patients} patients {100 * clustered:.1f}"
            + ("" if np.isnan(plain) else f" ({100 * plain:.1f})")
            for patients, clustered, plain in zip(
                own["patients"], own["clustered"], own["plain"], strict=True
            )
        )
        word = "correlation" if first["what"] == "counts" else "patients' spread"
        lines.append(
            f"{first['what']}, truth {100 * first['share']:.1f} %, {word} "
            f"{first['spread']:g}, log of {first['in_log']} patients: wards of {told}"
        )
    for in_log, own in table.groupby("in_log"):
        held = 100 * own["clustered"]
        lines.append(
            f"Log of {in_log} patients in all: {held.min():.1f} to {held.max():.1f} %, "
            f"{held.mean():.1f} % on average."
        )
    return [*lines, "By simulation, not measured on your wards."]


def true_covered(patient_sd: float) -> float:
    """Give the true proportion of covered time of the simulated gaps.

    Parameters
    ----------
    patient_sd : float
        SD of the logarithm of the gaps between patients.

    Returns
    -------
    float
        E min(gap, limit) / E gap of a log-normal gap.
    """
    sd = float(np.hypot(patient_sd, _GAP_SD))
    far = (np.log(_LIMIT_H) - np.log(_GAP_H)) / sd
    mean = _GAP_H * np.exp(sd**2 / 2)
    limited = mean * stats.norm.cdf(far - sd) + _LIMIT_H * stats.norm.sf(far)
    return float(limited / mean)


def _counts(
    rng: np.random.Generator, shape: tuple[int, int], share: float, icc: float
) -> tuple[np.ndarray, np.ndarray]:
    """Draw units counted and judged of every log (rows) and patient (columns)."""
    judged = rng.geometric(1 / _UNITS, shape)
    own = np.full(shape, share)
    if icc > 0:
        size = (1 - icc) / icc
        own = rng.beta(share * size, (1 - share) * size, shape)
    return rng.binomial(judged, own).astype(float), judged.astype(float)


def _hours_of_gaps(
    rng: np.random.Generator, shape: tuple[int, int], patient_sd: float
) -> tuple[np.ndarray, np.ndarray]:
    """Draw hours covered and hours in all of every log and patient."""
    gaps = rng.geometric(1 / _UNITS, shape)
    middle = _GAP_H * np.exp(rng.normal(0, patient_sd, shape))
    starts = np.concatenate([[0], np.cumsum(gaps.ravel())[:-1]])
    each = np.repeat(middle.ravel(), gaps.ravel())
    each = each * np.exp(rng.normal(0, _GAP_SD, len(each)))
    covered = np.add.reduceat(np.minimum(each, _LIMIT_H), starts)
    return covered.reshape(shape), np.add.reduceat(each, starts).reshape(shape)


def _covered(
    x: np.ndarray,
    n: np.ndarray,
    sizes: Sequence[int],
    setting: dict[str, object],
) -> Iterator[dict[str, object]]:
    """Count in how many logs the interval of each ward held the truth."""
    logs, patients = x.shape
    names = [f"log {number}" for number in range(logs)]
    wards = np.repeat([f"{size} patients" for size in sizes], sizes)
    # One row a patient adds up to the same sums as one row a unit.
    units = pd.DataFrame(
        {
            "measure": np.repeat(names, patients),
            "ward": np.tile(wards, logs),
            "month": "2026-10",
            "patient_id": np.tile([f"P{number}" for number in range(patients)], logs),
            "tally": str(Tally.COUNTED),
            "numerator": x.ravel(),
            "denominator": n.ravel(),
        }
    )
    is_hours = setting["what"] == "hours"
    measures = measure_units(units, names, frozenset(names if is_hours else ()))
    measures = measures[measures["period"] == ALL]
    truth = float(str(setting["share"]))
    plain = wilson(
        measures["numerator"].to_numpy(float), measures["denominator"].to_numpy(float)
    )
    held = pd.DataFrame(
        {
            "ward": measures["ward"],
            "clustered": measures["low"].le(truth) & measures["high"].ge(truth),
            "plain": (plain[0] <= truth) & (plain[1] >= truth),
        }
    )
    shares = held.groupby("ward")[["clustered", "plain"]].mean()
    for ward, size in (*zip(dict.fromkeys(wards), sizes, strict=True), (ALL, patients)):
        own = shares.loc[ward]
        row = {**setting, "in_log": patients, "patients": size}
        for name in ("clustered", "plain"):
            is_blank = is_hours and name == "plain"
            share = np.nan if is_blank else float(own[name])
            row[name], row[f"{name}_se"] = share, np.sqrt(share * (1 - share) / logs)
        yield row
