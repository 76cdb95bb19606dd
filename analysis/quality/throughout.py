"""Entry errors of a whole infusion: its start volume, its rate, its volume column."""

from collections.abc import Callable

import numpy as np
import pandas as pd

from analysis.delivery.noise import FLOW_SD, LIMIT_SD
from analysis.intake import Log
from analysis.lookup import by_key
from analysis.quality.rows import RATE, REMAINING
from analysis.terms import EntryError

#: Columns of an explanation on its way to a finding.
COLUMNS = ["row", "column", "name", "said"]

_DAY_H = 24
#: A rate is 24-fold within this share of the rate the volumes show: readings are coarse
#: and no other slip comes near.
_RATE_BAND = 0.15
#: Readings so far apart say something of the true rate [h].
_LEAST_H = 3.0
#: Share of an infusion's readings that must fit an explanation of all of them.
_MOST = 0.8
#: Nominal sizes of syringes, where the export does not give the size [mL]; the trade's
#: usual ones (common practice, no source).
_SIZES_ML = (10.0, 20.0, 30.0, 50.0, 60.0)


def rates_per_day(
    log: Log, lines: pd.DataFrame, impossible: pd.DataFrame
) -> pd.DataFrame:
    """Find rates that are 24 times too large or too small for their infusion's volumes.

    Parameters
    ----------
    log : Log
        Canonical tables.
    lines : DataFrame
        As made by the delivery stage.
    impossible : DataFrame
        As given by `impossible_numbers`: a rate above the hard limit is among them.

    Returns
    -------
    DataFrame
        `COLUMNS`, one row an infusion: its first row with such a rate. Rates are
        compared with the fall of the volumes, where that is small with V0 over the
        planned duration; without both an infusion is not judged.
    """
    set_aside = impossible.loc[impossible["column"] == RATE, "value"]
    set_aside = set_aside[~set_aside.index.duplicated()]
    rate = log.checks[RATE].fillna(set_aside.reindex(log.checks.index))
    rate = rate[(rate > 0) & (log.checks["infusion_id"] != "")]
    key = log.checks.loc[rate.index, "infusion_id"]
    fold = rate / by_key(key, _true_rate(log, lines))
    low, high = 1 - _RATE_BAND, 1 + _RATE_BAND
    is_daily = (fold / _DAY_H).between(low, high)
    is_daily_below = (fold * _DAY_H).between(low, high)
    where = key[is_daily | is_daily_below]
    first = where[~where.duplicated()].sort_values()
    counts = by_key(first, where.value_counts())
    rows = [
        (
            row,
            RATE,
            EntryError.RATE_PER_24_H,
            _daily_in_words(value, count, is_daily=of_day),
        )
        for row, value, count, of_day in zip(
            first.index.tolist(),
            rate[first.index],
            counts,
            is_daily[first.index],
            strict=True,
        )
    ]
    return pd.DataFrame(rows, columns=COLUMNS)


def _daily_in_words(rate: float, rows: int, *, is_daily: bool) -> str:
    times = f" in {rows} rows" if rows > 1 else ""
    if is_daily:
        return (
            f"a rate per 24 h in the hourly column ({rate:g} / 24 = "
            f"{rate / _DAY_H:.2f} mL/h fits the volumes{times})"
        )
    return (
        f"an hourly rate divided by 24 ({rate:g} x 24 = {rate * _DAY_H:.2f} mL/h fits "
        f"the volumes{times})"
    )


def _true_rate(log: Log, lines: pd.DataFrame) -> pd.Series:
    """Give each infusion's fall of volume an hour, else V0 over its duration [mL/h]."""
    is_read = lines["observed_ml"].notna() & ~lines["is_doubtful"]
    # Of millions of readings, only the columns that are asked for are sorted.
    names = ["infusion_id", "checked_at", "elapsed_h", "observed_ml"]
    read = lines.loc[is_read & ~lines["is_paused"], names]
    read = read.sort_values("checked_at", kind="stable")
    by = read.groupby("infusion_id")
    hours = by["elapsed_h"].last() - by["elapsed_h"].first()
    fell = by["observed_ml"].first() - by["observed_ml"].last()
    by_volume = (fell / hours).where((hours >= _LEAST_H) & (fell > 1))
    known = log.infusions
    planned = known["start_volume_ml"] / known["planned_duration_h"]
    return by_volume.reindex(known.index).fillna(planned)


def nominal_sizes(log: Log, lines: pd.DataFrame) -> pd.DataFrame:
    """Find start volumes that are the syringe's nominal size, which nobody filled.

    Parameters
    ----------
    log : Log
        Canonical tables.
    lines : DataFrame
        As made by the delivery stage.

    Returns
    -------
    DataFrame
        `COLUMNS`, one row an infusion: its first row. All later readings are ahead of
        the line by one amount, so that delivery was at the set rate.
    """
    known = log.infusions
    size = known["syringe_size_ml"]
    is_nominal = known["start_volume_ml"].eq(size)
    is_nominal |= size.isna() & known["start_volume_ml"].isin(_SIZES_ML)
    read = _later(lines[lines["infusion_id"].isin(known.index[is_nominal])])
    # An emptied syringe can be no further ahead: its readings say nothing.
    read = read[(read["observed_ml"] > 0) & (read["source"] == "remaining")]
    key = read["infusion_id"]
    amount = read["residual_ml"].groupby(key).transform("median")
    given, base = read["delivered_ml"], read["base_ml"]
    spread = LIMIT_SD * np.hypot(read["reading_sd_ml"] * np.sqrt(2), FLOW_SD * given)
    fits = (amount < -LIMIT_SD * read["sd_ml"]) & (
        (read["residual_ml"] - amount).abs() <= spread
    )
    return _of_first_rows(
        fits,
        key,
        lines,
        EntryError.NOMINAL_SIZE,
        lambda row: (
            f"the syringe's nominal size, {base[row]:g} mL, written as start volume "
            f"(about {base[row] + amount[row]:.1f} mL would put every later reading on "
            "the line)"
        ),
    )


def swapped_throughout(lines: pd.DataFrame) -> pd.DataFrame:
    """Find infusions whose remaining volumes are the volumes delivered.

    Parameters
    ----------
    lines : DataFrame
        As made by the delivery stage.

    Returns
    -------
    DataFrame
        `COLUMNS`, one row an infusion: its first reading after the start.
    """
    names = ["infusion_id", "checked_at", "is_start", "residual_ml", "sd_ml"]
    names += ["base_ml", "observed_ml", "expected_ml"]
    is_asked = (lines["source"] == "remaining") & (lines["base_ml"] > 0)
    read = _later(lines.loc[is_asked, names])
    limit = LIMIT_SD * read["sd_ml"]
    is_off = read["residual_ml"].abs() > limit
    turned = read["base_ml"] - read["observed_ml"]
    fits = (turned - read["expected_ml"]).abs() <= limit
    key = read["infusion_id"]
    some_off = is_off.groupby(key).transform("sum") >= 2
    level = read["observed_ml"].groupby(key)
    rises = level.transform("last") > level.transform("first")
    read, fits = read[some_off & rises], fits[some_off & rises]
    return _of_first_rows(
        fits,
        read["infusion_id"],
        read,
        EntryError.SWAPPED_COLUMN,
        lambda _: "the volume delivered written as the volume remaining in every row",
    )


def _later(lines: pd.DataFrame) -> pd.DataFrame:
    read = lines[lines["residual_ml"].notna() & ~lines["is_start"]]
    return read.sort_values(["infusion_id", "checked_at"], kind="stable")


def _of_first_rows(
    fits: pd.Series,
    key: pd.Series,
    lines: pd.DataFrame,
    name: EntryError,
    words: Callable[[int], str],
) -> pd.DataFrame:
    """Give the first row of each infusion of which nearly all readings fit."""
    by = fits.groupby(key)
    found = by.size().index[(by.mean() >= _MOST) & (by.size() >= 2)]
    ordered = lines[lines["infusion_id"].isin(found)].sort_values(
        "checked_at", kind="stable"
    )
    first = ordered[~ordered.duplicated("infusion_id")]
    shown = fits.index.to_series().groupby(key).first()
    return pd.DataFrame(
        [
            (row, REMAINING, name, words(int(shown[infusion_id])))
            for row, infusion_id in first["infusion_id"].items()
        ],
        columns=COLUMNS,
    )
