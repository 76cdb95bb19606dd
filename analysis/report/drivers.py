"""Drivers: those for a check by whoever services them, and how sure that is."""

import math

import pandas as pd

from analysis.audit import AuditResult
from analysis.report import facts
from analysis.report.grid import Grid
from analysis.report.section import Section, section
from analysis.terms import YesNo

#: Drivers shown; the rest is in the tables folder.
_MOST = 20


def driver_flow(result: AuditResult) -> Section:
    """Show the drivers whose flow lies outside the policy's accuracy, and the others.

    Parameters
    ----------
    result : AuditResult
        The audit; drivers are pooled over the whole log.

    Returns
    -------
    Section
        Names the drivers to check, or says that there is none, or no driver id.
    """
    drivers = result.drivers
    outside = drivers[drivers["outside"] == YesNo.YES]
    return section(
        "drivers",
        drivers=len(drivers),
        pooled=int((drivers["infusions"] > 0).sum()),
        accuracy=result.policy.flow_accuracy_pct,
        outside=[(row["driver_id"], row["sentence"]) for row in facts.rows_of(outside)],
        grid=_grid(drivers),
    )


def _grid(drivers: pd.DataFrame) -> Grid:
    """Tell the drivers furthest from the set rate first."""
    off = (drivers["flow_factor"] - 1).abs()
    order = pd.DataFrame({"off": -off, "driver": drivers["driver_id"]})
    shown = drivers.loc[order.sort_values(["off", "driver"], kind="stable").index]
    rows = [
        (
            str(row["driver_id"]),
            f"{row['infusions']:.0f}",
            *(_cell(row[f"flow_factor{end}"]) for end in ("", "_low", "_high")),
            f"{row['with_event']:.0f}",
            f"{row['not_pooled']:.0f}",
        )
        for row in facts.rows_of(shown.head(_MOST))
    ]
    more = len(drivers) - _MOST
    return Grid(
        caption="Flow factor of each driver over the whole log: delivered over set "
        "volume, furthest from 1 first",
        head=(
            "driver",
            "infusions pooled",
            "flow factor",
            "lower 95 % limit",
            "upper 95 % limit",
            "with a delivery finding, not pooled",
            "readings tell nothing",
        ),
        rows=rows,
        numeric=frozenset(range(1, 7)),
        more=f"{more:,} more in tables/drivers.csv" if more > 0 else "",
        is_for_search=True,
    )


def _cell(value: float) -> str:
    return "" if math.isnan(value) else f"{value:.3f}"
