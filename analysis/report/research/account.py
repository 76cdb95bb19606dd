"""The account of a study: what is left of rows and sites, and how watching ended."""

import math
from typing import Any, Final

from analysis.report.facts import rows_of
from analysis.report.grid import Grid
from analysis.report.section import Section, section
from analysis.research import Study
from analysis.terms import ALL

Blocks = list[tuple[str, Any]]


def flow(study: Study) -> Section:
    """Account for rows and sites, from the export to the study.

    Parameters
    ----------
    study : Study
        The study.

    Returns
    -------
    Section
        What is kept at each step, and why the rest is not.
    """
    rows = []
    for row in rows_of(study.flow):
        is_first = row["reason"] == ALL
        rows.append(
            (
                f"{row['unit']}: {row['step']}" if is_first else "",
                "there are" if is_first else row["reason"],
                "" if is_first else f"{row['dropped']:,}",
                f"{row['kept']:,}",
            )
        )
    grid = Grid(
        caption="From rows read to sites studied",
        head=("step", "", "dropped", "left"),
        rows=rows,
        numeric=frozenset({2, 3}),
    )
    blocks: Blocks = [("grid", grid)]
    if study.ends["sites"].sum():
        blocks += [("grid", _ends_grid(study)), ("text", _OF_GAPS)]
    if study.notes:
        blocks += [("head", "What was settled, derived or assumed")]
        blocks += [("list", list(study.notes))]
    return section("blocks", blocks=blocks)


_OF_GAPS: Final = (
    "A reaction ends the watching for good; a removal for another reason, death and "
    "the end of treatment compete with it, and transfer and the end of observation "
    "censor. The reaction itself lies in the hours since the site was last known to "
    "have had none: the look before it that recorded none, or the placement."
)


def _ends_grid(study: Study) -> Grid:
    return Grid(
        caption="How the watching of the sites at risk ended",
        head=(
            "end",
            "sites",
            "placed before the log",
            "placement not known",
            "site-days",
            "hours since last known clear: median (longest)",
            "never known clear",
        ),
        rows=[
            (
                str(row["end"]),
                f"{row['sites']:,}",
                f"{row['late']:,}",
                f"{row['not_placed']:,}",
                f"{row['exposure_days']:,.1f}",
                ""
                if math.isnan(row["median_gap_h"])
                else f"{row['median_gap_h']:.1f} ({row['longest_gap_h']:.1f})",
                f"{row['never_clear']:,}",
            )
            for row in rows_of(study.ends)
        ],
        numeric=frozenset({1, 2, 3, 4, 5, 6}),
    )
