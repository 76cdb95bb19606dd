"""Counts of round times and of the endings of volumes, and tests of them, by ward.

Functions take the accepted rows, of a log or of the published readings.
"""

import numpy as np
import pandas as pd
from scipy.stats import chisquare

from analysis.delivery.noise import VOLUME_STEPS_ML, coarsest_step
from analysis.terms import ALL, Entry

#: Marks of the clock that rounded times lie on [min], coarsest first.
CLOCK_MARKS_MIN = (60, 30, 15, 5)

#: What a volume is known by as it is written.
VOLUME_COLUMNS = ["ward", "entry", "volume_remaining_ml", "volume_delivered_ml"]

#: The chi-square approximation wants so many expected in each cell (Cochran WG (1954)
#: Biometrics 10:417-451).
_FEWEST_EXPECTED = 5


def round_times(rows: pd.DataFrame) -> pd.DataFrame:
    """Count times on the hour, half hour, quarter and five minutes, by ward.

    Parameters
    ----------
    rows : DataFrame
        Accepted rows with ward and checked_at.

    Returns
    -------
    DataFrame
        ward (all last), rows, on_60_min, on_30_min, on_15_min, on_5_min. By chance one
        time in 60 stands on the exact hour.
    """
    minutes = rows["checked_at"].dt.minute
    found = [
        (ward, len(part), *(int((part % mark == 0).sum()) for mark in CLOCK_MARKS_MIN))
        for ward, part in by_ward(minutes, rows["ward"])
    ]
    names = [f"on_{mark}_min" for mark in CLOCK_MARKS_MIN]
    return pd.DataFrame(found, columns=["ward", "rows", *names])


def last_digits(rows: pd.DataFrame) -> pd.DataFrame:
    """Count the tenths of volumes and the last digit of minutes, by ward.

    Parameters
    ----------
    rows : DataFrame
        Accepted rows with the columns of ``checks``. Start rows are left out of the
        volumes: a start volume is made up, not read.

    Returns
    -------
    DataFrame
        ward (all last), what (tenths of a mL, or minutes), rows, d0 to d9. Digits that
        nobody prefers stand about equally often; a scale read to whole or half mL has
        0 and 5 alone.
    """
    volume = rows["volume_remaining_ml"].fillna(rows["volume_delivered_ml"])
    volume = volume.mask(rows["entry"] == Entry.START)
    tenths = (volume * 10).round() % 10
    digits = {
        "tenths of a mL": tenths.dropna(),
        "minutes": rows["checked_at"].dt.minute % 10,
    }
    found = [
        (ward, what, len(part), *(int((part == digit).sum()) for digit in range(10)))
        for what, values in digits.items()
        for ward, part in by_ward(values, rows["ward"].reindex(values.index))
    ]
    names = [f"d{digit}" for digit in range(10)]
    return pd.DataFrame(found, columns=["ward", "what", "rows", *names])


def written_volumes(rows: pd.DataFrame) -> pd.DataFrame:
    """List the volumes that were read, as they are written, with the ward's step.

    Parameters
    ----------
    rows : DataFrame
        Accepted rows with `VOLUME_COLUMNS`.

    Returns
    -------
    DataFrame
        Rows with a volume, on their index: ward, source (remaining, else delivered),
        volume_ml, step_ml (the coarsest on which nearly all volumes of that ward and
        source lie). Volumes at a start or a syringe change are made up and not read,
        and an empty syringe shows 0 whatever anybody prefers: both are left out.
    """
    is_start = rows["entry"].isin([Entry.START, Entry.SYRINGE_CHANGE])
    left, given = rows["volume_remaining_ml"], rows["volume_delivered_ml"]
    out = pd.DataFrame(
        {
            "ward": rows["ward"],
            "source": np.where(left.notna(), "remaining", "delivered"),
            "volume_ml": left.fillna(given),
        }
    )
    out = out[out["volume_ml"].notna() & (out["volume_ml"] != 0) & ~is_start]
    return out.assign(step_ml=reading_steps(out, out["volume_ml"]))


def digit_preference(rows: pd.DataFrame) -> pd.DataFrame:
    """Test by ward whether some endings of volumes are preferred, and how much.

    Parameters
    ----------
    rows : DataFrame
        Accepted rows with the columns of ``checks``.

    Returns
    -------
    DataFrame
        ward, source, step_ml, readings, endings (how many the step leaves in a mL),
        chi_square, degrees_of_freedom, p_value (`chi_square_of_digits`), myers
        (`myers_blended`, over whole mL from 1 mL up). Wards read to whole mL have one
        ending and are left out; NaN where there are too few readings.

    Notes
    -----
    Equal endings are what nobody's preference gives where start volumes, rates and
    times vary. Where most syringes are alike and looked at by the clock the line itself
    comes back to the same tenths, and a small p-value says no more than that. Few
    readings leave Myers' index above 0 by chance alone.
    """
    read = written_volumes(rows)
    read = read[read["step_ml"] < 1]
    found = []
    for (ward, source), part in read.groupby(["ward", "source"]):
        step = float(part["step_ml"].iloc[0])
        per_ml = round(1 / step)
        marks = (part["volume_ml"] / step).round().astype("int64").to_numpy()
        counts = np.bincount(marks % per_ml, minlength=per_ml)
        chi_square, p_value = chi_square_of_digits(counts)
        by_mark = np.bincount(marks)
        whole = len(by_mark) // per_ml * per_ml
        index = myers_blended(by_mark[per_ml:whole], digits=per_ml)
        line = (ward, source, step, len(part), per_ml, chi_square, per_ml - 1)
        found.append((*line, p_value, index))
    return pd.DataFrame(found, columns=_PREFERENCE)


_PREFERENCE = [
    "ward",
    "source",
    "step_ml",
    "readings",
    "endings",
    "chi_square",
    "degrees_of_freedom",
    "p_value",
    "myers",
]


def chi_square_of_digits(counts: np.ndarray) -> tuple[float, float]:
    """Test whether all endings stand equally often.

    Parameters
    ----------
    counts : array of int, shape (k,)
        How often each ending stands.

    Returns
    -------
    chi_square, p_value : float
        On k - 1 degrees of freedom; NaN with fewer than five expected of each.
    """
    if counts.sum() < _FEWEST_EXPECTED * len(counts):
        return float("nan"), float("nan")
    result = chisquare(counts)
    return float(result.statistic), float(result.pvalue)


def myers_blended(counts: np.ndarray, *, digits: int = 10) -> float:
    """Give Myers' blended index of digit preference.

    Each ending is counted from every possible starting value, so that a fall of the
    counts from low to high values is not taken for a preference. The index is half the
    summed differences from equal shares, in per cent: the share that would have to be
    written with another ending, from 0 to nearly 100.

    Parameters
    ----------
    counts : array of int, shape (n,)
        How often each of n successive values stands; the part of a last group that is
        not full is left out.
    digits : int
        How many endings there are.

    Returns
    -------
    float
        NaN with fewer than two groups, or nothing counted in them.

    References
    ----------
    Myers RJ (1940) Errors and bias in the reporting of ages in census data. Trans
    Actuarial Soc Am 41:395-415.
    """
    groups = np.asarray(counts, dtype="float64")
    groups = groups[: len(groups) // digits * digits].reshape(-1, digits)
    if len(groups) < 2 or not groups.sum():
        return float("nan")
    # Weights 1 to k and k - 1 to 0: every value but those at the two ends counts k
    # times, once from each starting value.
    weight = np.arange(1, digits + 1)
    blended = groups[:-1].sum(axis=0) * weight
    blended += groups[1:].sum(axis=0) * (digits - weight)
    shares = blended / blended.sum()
    return float(50 * np.abs(shares - 1 / digits).sum())


def reading_steps(read: pd.DataFrame, volume: pd.Series) -> pd.Series:
    """Give each reading the step in which its ward reads that kind of volume.

    Parameters
    ----------
    read : DataFrame, shape (n, ...)
        ward and source of each reading.
    volume : Series of float, shape (n,)
        What was read [mL].

    Returns
    -------
    Series of float, shape (n,)
        The coarsest step on which nearly all readings of the ward and source lie [mL].
    """
    by = volume.groupby([read["ward"], read["source"]])
    steps = by.agg(lambda part: coarsest_step(part, VOLUME_STEPS_ML))
    return pd.Series(
        steps.to_numpy("float64")[by.ngroup()], index=read.index, dtype="float64"
    )


def by_ward(values: pd.Series, ward: pd.Series) -> list[tuple[str, pd.Series]]:
    """Part values by ward.

    Parameters
    ----------
    values : Series, shape (n,)
        Anything, of each row.
    ward : Series of str, shape (n,)
        Its ward.

    Returns
    -------
    list of (str, Series)
        Wards in alphabetical order, then all; empty where there is no value.
    """
    parts = [(str(name), part) for name, part in values.groupby(ward)]
    return [*parts, (ALL, values)] if len(values) else []
