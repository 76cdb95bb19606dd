"""Figures of a month that may be shared: enough patients on both sides, or none.

What is given for one group and measure is a sum over units that no other figure of the
summary holds a part of: groups are disjoint, there is one month, no total, and no two
measures count the same units at two limits. So nothing that is held back can be had by
taking one figure from another. Where fewer patients than the threshold are concerned,
or fewer stand behind the rest of its units, the whole line is held back, its
denominator too. Numbers of patients are given in steps of the threshold.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from analysis.compliance.units import measure_units
from analysis.intervals import poisson_exact
from analysis.share.pooling import pool_wards
from analysis.terms import Tally, YesNo

FLAGGED: Final = "delivery_findings"
EVALUABLE: Final = "infusions_evaluable"
REACTIONS: Final = "site_reactions"

#: Measures of a summary in order, and whether what counts is what concerns a patient
#: (a reaction) or the rest is (a check that was late).
MEASURES: Final = {
    EVALUABLE: False,
    FLAGGED: True,
    "covered_time": False,
    "checks_on_time": False,
    "syringe_changed_in_time": False,
    "lines_changed_in_time": False,
    REACTIONS: True,
}
_IN_HOURS = frozenset({"covered_time"})

#: Measures of the same gaps: one alone would say something of the other.
_TOGETHER = ("covered_time", "checks_on_time")

#: Columns of a summary's table.
SHARED: Final = (
    "wards",
    "month",
    "measure",
    "shown",
    "counted",
    "judged",
    "figure",
    "low",
    "high",
    "patients_concerned",
)
FIGURES: Final = "figures"
NOTHING: Final = "nothing judged"
_NUMBERS = ["counted", "judged", "figure", "low", "high"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """What may be shared of a month.

    Attributes
    ----------
    month : str
        YYYY-MM.
    least : int
        Patients below which a figure is held back.
    groups : dict of str to str
        Ward and the group it is in.
    figures : DataFrame
        Columns `SHARED`, a row a group and measure.
    """

    month: str
    least: int
    groups: dict[str, str]
    figures: pd.DataFrame


def summarise(
    units: pd.DataFrame, infusions: pd.DataFrame, month: str, least: int
) -> Summary:
    """Make the figures of a month that may be shared.

    Parameters
    ----------
    units, infusions : DataFrame
        Tables of an audit.
    month : str
        YYYY-MM.
    least : int
        Patients below which a figure is held back; at least 2.

    Returns
    -------
    Summary
        Without groups where all wards together have fewer patients.
    """
    month_runs = infusions[infusions["month"] == month]
    groups = pool_wards(month_runs, least)
    every = pd.concat([_of_measures(units), _of_infusions(infusions)])
    mine = every[(every["month"] == month) & every["ward"].isin(set(groups))]
    mine = mine.assign(ward=mine["ward"].map(groups).astype("object"))
    figures = _figures(mine, sorted(set(groups.values())), month)
    return Summary(
        month=month,
        least=least,
        groups=groups,
        figures=_held_back(figures, least)[list(SHARED)],
    )


def _of_measures(units: pd.DataFrame) -> pd.DataFrame:
    table = units[units["measure"].isin(set(MEASURES))]
    return table[
        ["measure", "ward", "month", "patient_id", "tally", "numerator", "denominator"]
    ]


def _of_infusions(infusions: pd.DataFrame) -> pd.DataFrame:
    """Give infusions as units: can be compared with their line, and has a finding."""
    is_evaluable = infusions["evaluable"] == YesNo.YES
    table = infusions[["ward", "month", "patient_id"]].assign(denominator=1.0)
    judged = table.assign(measure=EVALUABLE, numerator=is_evaluable.astype(float))
    is_flagged = infusions["kind"].fillna("") != ""
    flagged = table.assign(measure=FLAGGED, numerator=is_flagged.astype(float))
    both = pd.concat([judged, flagged[is_evaluable]])
    return both.assign(
        tally=np.where(
            both["numerator"] > 0, str(Tally.COUNTED), str(Tally.NOT_COUNTED)
        )
    )


def _figures(units: pd.DataFrame, groups: list[str], month: str) -> pd.DataFrame:
    """Give every group's figures, with the patients concerned and not concerned."""
    frame = pd.MultiIndex.from_product(
        [groups, list(MEASURES)], names=["ward", "measure"]
    ).to_frame(index=False)
    measured = measure_units([units], list(MEASURES), _IN_HOURS)
    measured = measured[measured["period"] == month]
    table = frame.merge(measured, on=["ward", "measure"], how="left")
    table = table.merge(_people(units), on=["ward", "measure"], how="left")
    is_rate = table["measure"] == REACTIONS
    low, high = poisson_exact(
        table["numerator"].fillna(0).to_numpy(),
        table["denominator"].fillna(0).to_numpy(),
    )
    per = np.where(is_rate, 1000, 100)
    return table.assign(
        wards=table["ward"],
        month=month,
        counted=table["numerator"].round(1),
        judged=table["denominator"].round(1),
        figure=(per * table["numerator"] / table["denominator"]).round(0),
        low=(per * table["low"].mask(is_rate, pd.Series(low))).round(0),
        high=(per * table["high"].mask(is_rate, pd.Series(high))).round(0),
        concerned=table["concerned"].fillna(0),
        others=table["others"].fillna(0),
    )


def _people(units: pd.DataFrame) -> pd.DataFrame:
    """Count patients with a unit that concerns them, and those with one that does not.

    A patient with both is counted on both sides.
    """
    judged = units[units["tally"] != Tally.EXCLUDED]
    is_counted, is_short = (
        judged["numerator"] > 0,
        judged["numerator"] < judged["denominator"],
    )
    # Of site-days all are at risk; those of a reaction are not the rest of them.
    is_rest = is_short & ~(is_counted & (judged["measure"] == REACTIONS))
    counts = judged["measure"].map(MEASURES).astype(bool)
    of_each = (
        judged.assign(
            concerned=is_counted.where(counts, is_rest),
            others=is_rest.where(counts, is_counted),
            anyone=True,
        )
        .groupby(["ward", "measure", "patient_id"])[["concerned", "others", "anyone"]]
        .any()
    )
    return of_each.groupby(["ward", "measure"], as_index=False).sum()


def _held_back(table: pd.DataFrame, least: int) -> pd.DataFrame:
    """Hold back every figure that few patients stand behind, on either side."""
    some, rest = table["concerned"], table["others"]
    shown = pd.Series(
        np.select(
            [
                table["anyone"].fillna(0) == 0,
                table["anyone"] < least,
                (some > 0) & (some < least),
                (rest > 0) & (rest < least),
            ],
            [
                NOTHING,
                f"fewer than {least} patients judged",
                f"fewer than {least} patients concerned",
                f"fewer than {least} patients not concerned",
            ],
            FIGURES,
        ),
        index=table.index,
    )
    shown = _together(table, shown)
    is_shown = shown == FIGURES
    out = table.assign(shown=shown, patients_concerned=_in_steps(some, least))
    out[_NUMBERS] = out[_NUMBERS].astype("float64").where(is_shown, np.nan)
    out["patients_concerned"] = out["patients_concerned"].where(is_shown, "")
    return out


def _together(table: pd.DataFrame, shown: pd.Series) -> pd.Series:
    """Hold back measures of the same gaps together."""
    is_pair = table["measure"].isin(_TOGETHER)
    is_hidden = is_pair & ~shown.isin([FIGURES, NOTHING])
    reason = shown.where(is_hidden).groupby(table["wards"]).transform("first")
    return shown.where(~(is_pair & reason.notna()), reason)


def _in_steps(patients: pd.Series, least: int) -> list[str]:
    steps = (patients // least * least).astype(int)
    return [f"{n} or more" if n else "none" for n in steps]
