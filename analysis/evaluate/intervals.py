"""How often the intervals of the measures table hold the truth, by simulation.

Wards whose patients differ, alike among themselves or not, with the true proportion of
each known.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special, stats

from analysis.compliance.units import measure_units
from analysis.intervals import wilson
from analysis.terms import ALL, Tally

#: True proportions and intraclass correlations of the simulated counts.
SHARES, CORRELATIONS = (0.85, 0.97), (0.0, 0.05, 0.1, 0.3)

#: How much patients differ in the logarithm of their gaps: standard deviations.
PATIENT_SDS = (0.0, 0.1, 0.2, 0.4)

#: How much wards differ where they do: standard deviations of the logit of their
#: proportion, and of the logarithm of their gaps.
WARD_LOGIT_SD, WARD_GAP_SD = 0.6, 0.2

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
        One row a setting and ward: what (counts or hours), share (true proportion; in
        the middle, where wards differ), spread (intraclass correlation of counts, SD of
        hours), between (SD between wards, 0 where they are alike), in_log (patients of
        the log), patients (of the ward), clustered (share of the logs in which the
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
        By the code that makes measures.csv, with what it estimates from each log.

    Notes
    -----
    Counts are beta-binomial: patients differ, and each one's checks are alike. Hours
    are the covered part min(gap, limit) of log-normal gaps whose median differs by
    patient; their true proportion is the limited expected value over the mean. Where
    wards differ, each log draws a proportion for each of them; that of all wards is
    their mean by patients, and by the length of their gaps.
    """
    say = progress or (lambda _: None)
    rng = np.random.default_rng(seed)
    rows: list[dict[str, object]] = []
    for sizes in WARD_PATIENTS:
        shape, of_ward = (logs, sum(sizes)), np.repeat(range(len(sizes)), sizes)
        for share, icc, between in _COUNTS:
            say(f"counts of {shape[1]} patients, {share:.0%}, correlation {icc:g}")
            setting = {"what": "counts", "share": share, "spread": icc}
            ward = rng.normal(0, between, (logs, len(sizes)))
            truth = special.expit(special.logit(share) + ward)
            drawn = _counts(rng, shape, truth[:, of_ward], icc)
            truth = np.column_stack([truth, np.average(truth, axis=1, weights=sizes)])
            rows += _covered(*drawn, sizes, truth, {**setting, "between": between})
        for sd, between in _HOURS:
            say(f"hours of {shape[1]} patients, spread {sd:g}")
            setting = {"what": "hours", "share": float(true_covered(sd)), "spread": sd}
            ward = rng.normal(0, between, (logs, len(sizes)))
            gap = np.exp(ward)
            truth = true_covered(sd, _GAP_H * gap)
            every = np.average(truth, axis=1, weights=np.asarray(sizes) * gap)
            truth = np.column_stack([truth, every])
            drawn = _hours_of_gaps(rng, shape, sd, gap[:, of_ward])
            rows += _covered(*drawn, sizes, truth, {**setting, "between": between})
    return Coverage(seed=seed, logs=logs, table=pd.DataFrame(rows))


#: Settings: of wards that are alike all of them, of wards that differ a few.
_COUNTS = (
    *((share, icc, 0.0) for share, icc in product(SHARES, CORRELATIONS)),
    *((SHARES[0], icc, WARD_LOGIT_SD) for icc in (0.0, 0.1)),
)
_HOURS = (
    *((sd, 0.0) for sd in PATIENT_SDS),
    *((sd, WARD_GAP_SD) for sd in (0.0, 0.2)),
)


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
    keys = ["in_log", "what", "share", "spread", "between"]
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
        between = f", wards' spread {first['between']:g}" if first["between"] else ""
        lines.append(
            f"{first['what']}, truth {100 * first['share']:.1f} %, {word} "
            f"{first['spread']:g}{between}, log of {first['in_log']} patients: wards "
            f"of {told}"
        )
    for in_log, own in table.groupby("in_log"):
        held = 100 * own["clustered"]
        lines.append(
            f"Log of {in_log} patients in all: {held.min():.1f} to {held.max():.1f} %, "
            f"{held.mean():.1f} % on average."
        )
    return [*lines, "By simulation, not measured on your wards."]


def true_covered(patient_sd: float, gap_h: ArrayLike = _GAP_H) -> np.ndarray:
    """Give the true proportion of covered time of the simulated gaps.

    Parameters
    ----------
    patient_sd : float
        SD of the logarithm of the gaps between patients.
    gap_h : array of float
        Median gap [h].

    Returns
    -------
    array of float
        E min(gap, limit) / E gap of a log-normal gap, in the shape of `gap_h`.
    """
    sd = float(np.hypot(patient_sd, _GAP_SD))
    gap = np.asarray(gap_h, float)
    far = (np.log(_LIMIT_H) - np.log(gap)) / sd
    mean = gap * np.exp(sd**2 / 2)
    limited = mean * stats.norm.cdf(far - sd) + _LIMIT_H * stats.norm.sf(far)
    return np.asarray(limited / mean)


def _counts(
    rng: np.random.Generator, shape: tuple[int, int], share: ArrayLike, icc: float
) -> tuple[np.ndarray, np.ndarray]:
    """Draw units counted and judged of every log (rows) and patient (columns)."""
    judged = rng.geometric(1 / _UNITS, shape)
    own = np.broadcast_to(np.asarray(share, float), shape)
    if icc > 0:
        size = (1 - icc) / icc
        own = rng.beta(own * size, (1 - own) * size)
    return rng.binomial(judged, own).astype(float), judged.astype(float)


def _hours_of_gaps(
    rng: np.random.Generator,
    shape: tuple[int, int],
    patient_sd: float,
    ward: ArrayLike = 1.0,
) -> tuple[np.ndarray, np.ndarray]:
    """Draw hours covered and hours in all of every log and patient.

    Gaps are `ward` times as long.
    """
    gaps = rng.geometric(1 / _UNITS, shape)
    middle = _GAP_H * np.exp(rng.normal(0, patient_sd, shape)) * np.asarray(ward, float)
    starts = np.concatenate([[0], np.cumsum(gaps.ravel())[:-1]])
    each = np.repeat(middle.ravel(), gaps.ravel())
    each = each * np.exp(rng.normal(0, _GAP_SD, len(each)))
    covered = np.add.reduceat(np.minimum(each, _LIMIT_H), starts)
    return covered.reshape(shape), np.add.reduceat(each, starts).reshape(shape)


def _covered(
    x: np.ndarray,
    n: np.ndarray,
    sizes: Sequence[int],
    truth: np.ndarray,
    setting: dict[str, object],
) -> Iterator[dict[str, object]]:
    """Count in how many logs the interval of each ward held its truth.

    `truth` has a row a log, and a column a ward and one for all of them.
    """
    logs, patients = x.shape
    names = [f"log {number}" for number in range(logs)]
    every = [*(f"ward {place}" for place in range(len(sizes))), ALL]
    wards = np.repeat(every[:-1], sizes)
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
    measures = measure_units([units], names, frozenset(names if is_hours else ()))
    measures = measures[measures["period"] == ALL]
    true = truth[
        pd.Index(names).get_indexer(pd.Index(measures["measure"])),
        pd.Index(every).get_indexer(pd.Index(measures["ward"])),
    ]
    plain = wilson(
        measures["numerator"].to_numpy(float), measures["denominator"].to_numpy(float)
    )
    held = pd.DataFrame(
        {
            "ward": measures["ward"],
            "clustered": measures["low"].le(true) & measures["high"].ge(true),
            "plain": (plain[0] <= true) & (plain[1] >= true),
        }
    )
    shares = held.groupby("ward")[["clustered", "plain"]].mean()
    for ward, size in zip(every, (*sizes, patients), strict=True):
        own = dict(shares.loc[ward].items())
        row = {**setting, "in_log": patients, "patients": size}
        for name in ("clustered", "plain"):
            is_blank = is_hours and name == "plain"
            share = np.nan if is_blank else float(own[name])
            row[name], row[f"{name}_se"] = share, np.sqrt(share * (1 - share) / logs)
        yield row
