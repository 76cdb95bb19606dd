"""The shareable summary into a folder of its own."""

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import pandas as pd

from analysis.errors import OutputError
from analysis.report import facts, read_tables
from analysis.report.cells import guarded, texts
from analysis.report.definitions import definition
from analysis.report.grid import Grid
from analysis.report.inline import inline
from analysis.report.section import section
from analysis.report.swap import made_whole, repair, told
from analysis.report.tables import write_csv
from analysis.share.asked import ask_first, has_interval, is_silent
from analysis.share.figures import (
    EVALUABLE,
    FIGURES,
    FLAGGED,
    REACTIONS,
    Summary,
    summarise,
)

PAGE: Final = "summary.html"
TABLE: Final = "tables/summary.csv"

_NO_INTERVAL: Final = "too few patients for an interval"

_LABELS = {
    EVALUABLE: "Infusions compared with their line",
    FLAGGED: "Of those, with a delivery finding",
}


def share(folder: Path, out: Path, least: int | None = None) -> Path:
    """Write the summary of a report that may be shared, into another folder.

    Parameters
    ----------
    folder : Path
        Folder of a report.
    out : Path
        Folder of the summary; it must not be inside `folder`, nor hold other files.
    least : int, optional
        Patients below which a figure is held back; the policy's if not given.

    Returns
    -------
    Path
        The page.

    Raises
    ------
    OutputError
        `folder` is no report, `out` cannot be used or holds the summary of another
        month, the threshold is lower than the policy's, or there are too few patients
        for any figure. One sentence.
    """
    folder, out = folder.resolve(), out.resolve()
    result = read_tables(folder)
    _check_out(folder, out)
    own = max(result.policy.smallest_group_patients, 2)
    if least is not None and least < own:
        msg = f"--smallest {least}: the policy wants at least {own} patients"
        raise OutputError(f"{msg}; give that or more")
    least = least or own
    summary = summarise(result.units, result.infusions, result.month, least)
    if not summary.groups:
        msg = f"{folder}: {result.month} has fewer than {least} patients in all"
        raise OutputError(f"{msg}; nothing of it can be shared")
    _check_month(out, result.month)
    return _write(summary, out, is_part=result.is_part_of_month)


def _check_out(folder: Path, out: Path) -> None:
    if out.is_relative_to(folder) or folder.is_relative_to(out):
        msg = f"{out}: is inside the report's folder or holds it, and what is shared"
        raise OutputError(
            f"{msg} must not lie beside rows about persons; choose another"
        )
    if out.exists() and not out.is_dir():
        raise OutputError(f"{out}: is a file; choose a folder with --out")
    ours = {PAGE, TABLE, "tables"}
    found = sorted(p.relative_to(out).as_posix() for p in out.rglob("*"))
    foreign = [name for name in found if name not in ours]
    if foreign:
        msg = f"{out}: holds {foreign[0]}, which is no part of a summary"
        raise OutputError(f"{msg}; choose another folder with --out")


def _check_month(out: Path, month: str) -> None:
    """Refuse a folder that holds another month's summary: it may be the only copy."""
    if not (out / PAGE).exists() and not (out / TABLE).exists():
        return
    try:
        held = set(pd.read_csv(out / TABLE, dtype="str")["month"])
    except (OSError, ValueError, KeyError):
        held = set()
    if held != {month}:
        named = " and ".join(sorted(map(str, held))) or "a month that cannot be told"
        msg = f"{out}: holds the summary of {named}, and this one is of {month}"
        raise OutputError(f"{msg}; choose another folder with --out")


def _write(summary: Summary, out: Path, *, is_part: bool) -> Path:
    """Write beside the folder first, so that a half-written one is never found."""
    with told(out):
        repair(out)
    with made_whole(out) as staged:
        (staged / "tables").mkdir()
        page = _page(summary, is_part=is_part)
        (staged / PAGE).write_text(page, encoding="utf-8", newline="\n")
        write_csv(_as_text(summary.figures), staged / TABLE)
    return out / PAGE


def _as_text(figures: pd.DataFrame) -> pd.DataFrame:
    return pd.DataFrame(
        {
            name: [_number(value) for value in figures[name]]
            if pd.api.types.is_float_dtype(figures[name])
            else [guarded(text) for text in texts(figures[name])]
            for name in figures.columns
        },
        dtype="str",
    )


def _number(value: float) -> str:
    return "" if math.isnan(value) else f"{value:.1f}".removesuffix(".0")


def _page(summary: Summary, *, is_part: bool) -> str:
    named = pd.Timestamp(f"{summary.month}-01")
    groups = sorted(set(summary.groups.values()))
    return section(
        "summary",
        inline=inline(with_script=False),
        month=f"{named:%B %Y}",
        is_part=is_part,
        least=summary.least,
        is_pooled=len(groups) < len(summary.groups),
        asked=[
            (group, _asked(summary.figures, group, row))
            for group, row in ask_first(summary.figures).items()
        ],
        grids=[_grid(summary.figures, group, f"{named:%B %Y}") for group in groups],
        meanings=[
            (_label(name), definition(name).meaning)
            for name in summary.figures["measure"].unique()
            if name not in _LABELS
        ],
    ).html


def _asked(figures: pd.DataFrame, group: str, row: Mapping[str, Any] | None) -> str:
    """Say what a group of wards may be asked about first."""
    if row is not None:
        counts, figure = _counts(row)
        limits = f"95 % interval {row['low']:.0f} to {row['high']:.0f}"
        return f"{_label(row['measure']).lower()}, {counts}: {figure} ({limits})"
    if is_silent(figures, group):
        return "held back here; it is in the audit's own report"
    if not has_interval(figures, group):
        return f"{_NO_INTERVAL}; which charts to read is in the audit's own report"
    return "no share with an interval here is surely short of 100 %"


def _interval(row: Mapping[str, Any]) -> str:
    if math.isnan(row["low"]) or math.isnan(row["high"]):
        return _NO_INTERVAL
    return f"{row['low']:.0f} to {row['high']:.0f}"


def _label(measure: str) -> str:
    return _LABELS.get(measure) or definition(measure).label


def _grid(figures: pd.DataFrame, group: str, month: str) -> Grid:
    rows = [
        (
            _label(row["measure"]),
            *_counts(row),
            _interval(row),
            row["patients_concerned"],
        )
        if row["shown"] == FIGURES
        else (_label(row["measure"]), row["shown"], "", "", "")
        for row in facts.rows_of(figures[figures["wards"] == group])
    ]
    return Grid(
        caption=f"{group}, {month}",
        head=(
            "measure",
            "counted of judged",
            "figure",
            "95 % interval",
            "patients concerned",
        ),
        rows=rows,
        numeric=frozenset({1, 2, 3, 4}),
    )


def _counts(row: Mapping[str, Any]) -> tuple[str, str]:
    """Say counted of judged, and the figure, in the measure's own units."""
    counted, judged = _number(row["counted"]), _number(row["judged"])
    if row["measure"] == REACTIONS:
        return (
            f"{counted} in {judged} site-days",
            f"{row['figure']:.0f} per 1,000 site-days",
        )
    hours = " h" if row["measure"] == "covered_time" else ""
    return f"{counted} of {judged}{hours}", f"{row['figure']:.0f} %"
