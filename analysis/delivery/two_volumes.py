"""Scale against display: two volumes of one syringe that fall at different rates.

A driver counts plunger travel and shows it as volume of the size confirmed on it; the
barrel scale shows the volume itself. So with a wrong size the two part, at the ratio of
the barrels' cross-sections, whichever way the driver is set: one set in mL/h keeps its
display on the line while the scale leaves it; one that spreads the travel over the
duration keeps the scale on volume over duration, and only what it shows is off. A log
with one volume alone cannot tell.
"""

import numpy as np
import pandas as pd

from analysis.delivery.noise import LIMIT_SD, VOLUME_STEPS_ML, coarsest_step
from analysis.delivery.syringe_sizes import TOLERANCE, sizes_in_words
from analysis.intake import Log
from analysis.lookup import by_key, clock
from analysis.policy import Policy
from analysis.terms import FindingGroup, FindingKind

SCALE, DISPLAY = "volume_remaining_ml", "display_remaining_ml"

#: Checks at which both fell far enough to tell, and how far that is [mL].
_FEWEST, _LEAST_FALL_ML = 3, 2.0

#: Right size and another make: up to about a fifth, and within a tenth nothing is said.
#: Common practice, no source.
_LEAST_OFF, _ANOTHER_MAKE = 0.10, 0.25


def scale_over_display(log: Log) -> pd.DataFrame:
    """Compare the fall of the barrel scale with that of the display.

    Parameters
    ----------
    log : Log
        Canonical tables.

    Returns
    -------
    DataFrame
        One row an infusion with enough checks that show both: ratio (least squares of
        the falls since the first such row), checks, scale_fell_ml, display_fell_ml and
        hours (to the last of them), first and last (index of rows), is_steady (every
        check fits the one ratio within its reading steps).
    """
    rows = log.checks[
        (log.checks["infusion_id"] != "")
        & log.checks[[SCALE, DISPLAY]].notna().all(axis=1)
    ].sort_values(["infusion_id", "checked_at"], kind="stable")
    key = rows["infusion_id"]
    by = rows.groupby("infusion_id")
    fell = pd.DataFrame(
        {
            "scale": by[SCALE].transform("first") - rows[SCALE],
            "display": by[DISPLAY].transform("first") - rows[DISPLAY],
        }
    )
    # An emptied syringe falls no further.
    tells = (fell["display"] >= _LEAST_FALL_ML) & (rows[SCALE] > 0)
    fell, key, told = fell[tells], key[tells], rows[tells]
    table = pd.DataFrame(
        {
            "cross": (fell["scale"] * fell["display"]).groupby(key).sum(),
            "square": (fell["display"] ** 2).groupby(key).sum(),
            "checks": key.groupby(key).size(),
            "scale_fell_ml": fell["scale"].groupby(key).last(),
            "display_fell_ml": fell["display"].groupby(key).last(),
        }
    )
    table["ratio"] = table["cross"] / table["square"]
    left = (fell["scale"] - by_key(key, table["ratio"]) * fell["display"]).abs()
    # Two readings of each volume, rounded, and a start-up lag in neither.
    step = by_key(told["ward"], _steps(rows))
    table["is_steady"] = (left <= LIMIT_SD * step / np.sqrt(3)).groupby(key).all()
    every = rows.index.to_series()
    table["first"] = every.groupby(rows["infusion_id"]).first()
    table["last"] = told.index.to_series().groupby(key).last()
    began = by["checked_at"].first()
    hours = told["checked_at"].groupby(key).last() - began.reindex(table.index)
    table["hours"] = hours.dt.total_seconds() / 3600
    return table[table["checks"] >= _FEWEST].drop(columns=["cross", "square"])


def _steps(rows: pd.DataFrame) -> pd.Series:
    """Give the coarser reading step of scale and display, by ward [mL]."""
    by = rows.groupby("ward")
    each = [
        by[name].agg(lambda part: coarsest_step(part, VOLUME_STEPS_ML))
        for name in (SCALE, DISPLAY)
    ]
    return pd.concat(each, axis=1).max(axis=1)


def scale_and_display_findings(log: Log, policy: Policy) -> pd.DataFrame:
    """Write a set-up finding where scale and display part steadily.

    Parameters
    ----------
    log : Log
        Canonical tables.
    policy : Policy
        Gives the planned duration where none is charted.

    Returns
    -------
    DataFrame
        Set-up findings, without id and month.
    """
    table = scale_over_display(log)
    off = (table["ratio"] - 1).abs() > _LEAST_OFF
    found = table[off & table["is_steady"] & (table["ratio"] > 0)]
    return pd.DataFrame(
        [
            _finding(log, policy, str(infusion_id), row)
            for infusion_id, row in found.iterrows()
        ]
    )


def _finding(
    log: Log, policy: Policy, infusion_id: str, row: pd.Series
) -> dict[str, object]:
    first, last = log.checks.loc[row["first"]], log.checks.loc[row["last"]]
    known = log.infusions.loc[[infusion_id]].iloc[0]
    ratio = float(row["ratio"])
    sizes = sizes_in_words(ratio, float(known["syringe_size_ml"]))
    if not sizes and abs(np.log(ratio)) <= np.log1p(_ANOTHER_MAKE):
        sizes = "a syringe of another make than the one confirmed"
    said = f" Consistent with {sizes}." if sizes else ""
    sentence = (
        f"From {clock(first['checked_at'])} to {clock(last['checked_at'])} the barrel "
        f"scale fell by {row['scale_fell_ml']:.1f} mL and the display by "
        f"{row['display_fell_ml']:.1f} mL, a ratio of {ratio:.2f} over "
        f"{row['checks']:.0f} checks.{said}{_behaviour(log, policy, known, row)}"
    )
    return {
        "ward": first["ward"],
        "patient_id": first["patient_id"],
        "infusion_id": infusion_id,
        "driver_id": first["driver_id"],
        "group": str(FindingGroup.SET_UP),
        "kind": str(FindingKind.SCALE_AND_DISPLAY),
        "anchor": str(FindingKind.SCALE_AND_DISPLAY),
        "happened_at": known["started_at"],
        "first_visible": last["checked_at"],
        "first_source": first["source"],
        "last_source": last["source"],
        "sentence": sentence,
    }


def _behaviour(log: Log, policy: Policy, known: pd.Series, row: pd.Series) -> str:
    """Say which of the two kinds of driver the log fits, where it tells."""
    hours = float(row["hours"])
    planned = known["planned_duration_h"]
    if pd.isna(planned):
        wards = pd.Series([known["ward"]])
        planned = policy.by_ward("planned_duration_h", wards).iloc[0]
    by_plan = known["start_volume_ml"] / planned * hours
    rate = log.checks.loc[row["first"], "set_rate_ml_h"]
    is_scale_planned = _is_near(row["scale_fell_ml"], by_plan)
    is_display_set = _is_near(row["display_fell_ml"], rate * hours)
    if is_scale_planned:
        return (
            " The scale keeps to volume over duration: this fits a driver that spreads "
            "the travel over the duration, with what it shows off and not what was "
            "delivered."
        )
    if is_display_set:
        return (
            " The display keeps to the rate set and the scale does not: this fits a "
            "driver set in mL/h, with the volume delivered off by that ratio."
        )
    return " Neither keeps to its line, so that which of the two is off is not told."


def _is_near(fell: float, line: float) -> bool:
    return bool(abs(fell - line) <= max(2 * TOLERANCE * abs(line), 0.5))
