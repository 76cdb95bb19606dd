"""What reactions are associated with: each factor by itself, and all together.

An association is no cause. What is counted stands beside what is fitted.
"""

from typing import Final

import numpy as np
import pandas as pd

from analysis.intervals import rate_ratio_exact, rate_ratio_p
from analysis.research.factors import POOLED, TIME_IN_PLACE, Factor, factors_of
from analysis.research.regression import Fit, Ratio, cox_fit, poisson_fit
from analysis.research.risk import Risk

#: Sites above which the Cox model is left out: it takes minutes, and the Poisson model
#: is the same but for the width of its bands.
MOST_FOR_COX: Final = 20_000


def counts(risk: Risk, factor: Factor) -> pd.DataFrame:
    """Count events over site-days at each level, with exact ratios against the first.

    Parameters
    ----------
    risk : Risk
        Site-days at risk.
    factor : Factor
        With levels.

    Returns
    -------
    DataFrame
        One row a level, the reference first: level, patients, events, exposure_days,
        exact_ratio, exact_low, exact_high, exact_p. Limits take sites as independent.
    """
    rows = risk.rows
    sums = rows.groupby(factor.values).agg(
        patients=("patient_id", "nunique"),
        events=("event", "sum"),
        exposure_days=("days", "sum"),
    )
    sums = sums.reindex(list(factor.levels))
    first = sums.iloc[0]
    events = sums["events"].to_numpy(float), np.full(len(sums), first["events"])
    days = (
        sums["exposure_days"].to_numpy(float),
        np.full(len(sums), first["exposure_days"]),
    )
    low, high = rate_ratio_exact(events, days)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = (events[0] / days[0]) / (events[1] / days[1])
    found = sums.assign(
        exact_ratio=ratio,
        exact_low=low,
        exact_high=high,
        exact_p=rate_ratio_p(events, days),
    )
    itself = np.arange(len(found)) == 0
    beside = ["exact_ratio", "exact_low", "exact_high", "exact_p"]
    found.loc[itself, beside] = np.nan
    return found.rename_axis("level").reset_index()


def associations(risk: Risk, times: pd.DataFrame) -> tuple[pd.DataFrame, str]:
    """Look at every factor by itself and at all of them together.

    Parameters
    ----------
    risk : Risk
        Site-days at risk.
    times : DataFrame
        As given by `site_times`.

    Returns
    -------
    table : DataFrame
        One row a level: factor, level, reference, patients, events, exposure_days; the
        exact ratio; ratio, low, high and p by regression with time in place;
        cox_ratio, cox_low, cox_high of what holds for the whole of a site;
        joint_ratio, joint_low, joint_high with all factors together; p_changes; note.
    joint_note : str
        Why there is no regression of all together, or why it is unsteady.
    """
    factors = factors_of(risk)
    fits = [
        poisson_fit(risk, (factor,), is_tested=factor.name != TIME_IN_PLACE)
        for factor in factors
    ]
    # Concentrations are known of those sites alone that had the drug; what has no ratio
    # by itself has none beside others; bands of time are for where events allow them.
    has_bands = len(risk.rows["band"].unique()) > 1
    together = tuple(
        factor
        for factor, fit in zip(factors, fits, strict=True)
        if fit.ratios
        and not factor.name.startswith("concentration")
        and (has_bands or factor.name != TIME_IN_PLACE)
    )
    joint = poisson_fit(risk, together) if len(together) > 1 else None
    parts = [
        _of_factor(risk, times, (factor, fit), joint)
        for factor, fit in zip(factors, fits, strict=True)
    ]
    said = () if joint is None else (joint.note, left_out(risk, together))
    note = "; ".join(text for text in said if text)
    empty = pd.DataFrame({name: pd.Series(dtype="object") for name in _NAMES})
    table = pd.concat(parts, ignore_index=True) if parts else empty
    return table.reindex(columns=list(_NAMES)), note


def left_out(risk: Risk, factors: tuple[Factor, ...]) -> str:
    """Say how much of the time at risk a regression of all factors cannot use.

    Parameters
    ----------
    risk : Risk
        Site-days at risk.
    factors : tuple of Factor
        One or more.

    Returns
    -------
    str
        Empty where every factor is known throughout.
    """
    is_known = pd.concat([each.values.notna() for each in factors], axis=1).all(axis=1)
    lost, every = risk.rows[~is_known], risk.rows
    if not len(lost):
        return ""
    return (
        f"{lost['days'].sum():,.1f} of {every['days'].sum():,.1f} site-days and "
        f"{lost['event'].sum()} of {every['event'].sum()} reactions are left out, as "
        "one of the things is not known of them"
    )


_NAMES: Final = (
    "factor",
    "level",
    "reference",
    "patients",
    "events",
    "exposure_days",
    "exact_ratio",
    "exact_low",
    "exact_high",
    "exact_p",
    "ratio",
    "low",
    "high",
    "p",
    "cox_ratio",
    "cox_low",
    "cox_high",
    "joint_ratio",
    "joint_low",
    "joint_high",
    "p_changes",
    "note",
)


def _of_factor(
    risk: Risk, times: pd.DataFrame, one: tuple[Factor, Fit], joint: Fit | None
) -> pd.DataFrame:
    factor, fit = one
    table = _of_number(risk, factor) if factor.is_number else counts(risk, factor)
    table = table.assign(factor=factor.name, reference=factor.reference)
    keys = [f"{factor.name}\t{level}" for level in table["level"]]
    _put(table, keys, fit.ratios, "")
    table["p"] = [fit.ratios[key].p if key in fit.ratios else np.nan for key in keys]
    _put(table, keys, joint.ratios if joint else {}, "joint_")
    beside = _beside(times, factor) if fit.ratios else None
    _put(table, keys, beside or {}, "cox_")
    none = "Cox's model comes to no estimate" if beside == {} else ""
    table["p_changes"] = fit.p_changes
    table["note"] = "; ".join(text for text in (fit.note, none) if text)
    return table


def _put(
    table: pd.DataFrame, keys: list[str], ratios: dict[str, Ratio], prefix: str
) -> None:
    for name in ("ratio", "low", "high"):
        table[prefix + name] = [
            getattr(ratios[key], name) if key in ratios else np.nan for key in keys
        ]


def _of_number(risk: Risk, factor: Factor) -> pd.DataFrame:
    rows = risk.rows[factor.values.notna()]
    return pd.DataFrame(
        {
            "level": [factor.levels[0]],
            "patients": [rows["patient_id"].nunique()],
            "events": [rows["event"].sum()],
            "exposure_days": [rows["days"].sum()],
        }
    )


def _beside(times: pd.DataFrame, factor: Factor) -> dict[str, Ratio] | None:
    """Give ratios by Cox's model of a factor that holds for the whole of a site.

    Empty where it comes to no estimate; None where it is not tried.
    """
    column = {"cannula material": "material", "location": "location"}.get(factor.name)
    if column is None or len(times) > MOST_FOR_COX:
        return None
    words = times[column].str.strip().str.lower()
    words = words.where(words.isin(factor.levels), POOLED)
    is_known = (times[column].str.strip() != "") & words.isin(factor.levels)
    own = times[is_known].assign(is_event=times["is_reaction"])
    flags = pd.DataFrame(
        {
            f"{factor.name}\t{level}": (words[is_known] == level).astype(float)
            for level in factor.levels[1:]
        }
    )
    return cox_fit(own, flags)
