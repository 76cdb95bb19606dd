"""Live examples for the notebook that shows how a delivery finding is decided.

One invented ward is made from a fixed seed and audited by the package itself, so that
what the notebook shows is what the program does.
"""

import csv
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from analysis import figures
from analysis.audit import AuditResult, run_audit
from analysis.delivery.fitted import STATED
from analysis.delivery.hypotheses import HYPOTHESES, NO_EVENT
from analysis.delivery.simulated import SIMULATED
from analysis.delivery.syringe_sizes import size_ratio
from analysis.policy import Policy
from analysis.report import facts
from analysis.report.cells import texts
from analysis.report.grid import Grid
from analysis.report.section import Section, section
from analysis.terms import FindingGroup

#: The examples, by name: what stands above each.
TITLES: Mapping[str, str] = {
    "clean": "A clean run",
    "stall": "A stop for six hours",
    "slip": "One reading copied from the row above",
    "size": "A 20 mL syringe confirmed as 30 mL",
}

_SEED, _OTHERS = 5, 60
_VOLUME_ML, _RATE = 16.0, 16 / 24
_HOURS = (0.0, 3.9, 8.1, 12.0, 16.2, 20.0, 23.5)
_STALL_H = (9.0, 15.0)
_COPIED = 4
_WARD = "Alder Ward"

#: Place of the axes in a plot: left, bottom, width, height.
_PLOT = (0.075, 0.17, 0.91, 0.685)

_MEANING = {
    "offset_ml": "mean offset of the start volume [mL]",
    "offset_sd_ml": "its spread [mL]",
    "flow_sd": "spread of the flow factor",
    "reading_error_ml": "reading error besides rounding [mL]",
    "slip_share": "share of readings that are slips",
}


@dataclass(frozen=True, slots=True)
class ExampleWard:
    """An audited log that holds the examples of `TITLES`."""

    result: AuditResult


def make_examples() -> ExampleWard:
    """Make the ward and audit it.

    Returns
    -------
    ExampleWard
        The four examples and sixty uneventful infusions beside them, from which the
        ward's noise is estimated. The same each time.
    """
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "checks.csv")
        with path.open("w", encoding="utf-8", newline="") as file:
            rows = _rows()
            writer = csv.DictWriter(file, list(rows[0]))
            writer.writeheader()
            writer.writerows(rows)
        return ExampleWard(run_audit([path], Policy.example()))


def _rows() -> list[dict[str, object]]:
    rng = np.random.default_rng(_SEED)
    hours = np.array(_HOURS)
    given = dict.fromkeys(TITLES, hours)
    given["stall"] = np.minimum(hours, _STALL_H[0]) + np.clip(
        hours - _STALL_H[1], 0, None
    )
    given["size"] = size_ratio(20, 30) * hours
    others = {f"other-{place:02}": hours for place in range(_OTHERS)}
    found: list[dict[str, object]] = []
    for place, (name, ran) in enumerate({**given, **others}.items()):
        factor = 1 + STATED["flow_sd"] * rng.standard_normal()
        error = 0.08 * rng.standard_normal(len(hours))
        left = np.clip(_VOLUME_ML - _RATE * factor * ran + error, 0, None).round(1)
        left[0] = _VOLUME_ML
        if name == "slip":
            left[_COPIED] = left[_COPIED - 1]
        start = pd.Timestamp("2026-06-01T10:00") + pd.Timedelta(hours=24 * place / 2)
        found += [
            {
                "ward": _WARD,
                "patient_id": f"P{place:02}",
                "infusion_id": name,
                "driver_id": f"D{place % 8}",
                "entry": _entry(row),
                "checked_at": (start + pd.Timedelta(hours=float(hour))).isoformat(),
                "set_rate_ml_h": round(_RATE, 3),
                "volume_remaining_ml": volume,
            }
            for row, (hour, volume) in enumerate(zip(hours, left, strict=True))
        ]
    return found


def _entry(row: int) -> str:
    return {0: "start", len(_HOURS) - 1: "end"}.get(row, "check")


def show(examples: ExampleWard, name: str) -> Section:
    """Draw one example beside what the program says of it.

    Parameters
    ----------
    examples : ExampleWard
        As given by `make_examples`.
    name : str
        One of `TITLES`.

    Returns
    -------
    Section
        The plot of the report, the sentences of its findings, its probabilities.
    """
    result = examples.result
    title = TITLES[name]
    mine = result.findings[result.findings["infusion_id"] == name]
    [known] = facts.rows_of(result.infusions[result.infusions["infusion_id"] == name])
    readings = facts.readings_of(result, name)
    with figures.house_style():
        drawn = figures.figure(6.6, 2.6, is_fitted=False)
        ax = drawn.add_axes(_PLOT)
        window = _window(mine)
        figures.delivery_line(readings, window, facts.started_at(result, name), ax=ax)
        source = figures.svg_source(drawn)
    return section(
        "example",
        title=title,
        source=source,
        alt=f"{title}: volumes read beside the line that the rate set would give.",
        sentences=texts(mine["sentence"]),
        probability=_probability(known["event_probability"]),
        threshold=f"{result.threshold.probability:.2f}",
        slip=_likeliest_slip(result, name),
    )


def _window(findings: pd.DataFrame) -> dict[str, object]:
    """Give the window of the delivery finding, if there is one."""
    names = ("began_earliest", "began_latest", "ended_earliest", "ended_latest")
    delivery = findings[findings["group"] == FindingGroup.DELIVERY]
    rows = facts.rows_of(delivery)
    return rows[0] if rows else dict.fromkeys(names, pd.NaT)


def _likeliest_slip(result: AuditResult, name: str) -> str:
    mine = result.readings[result.readings["infusion_id"] == name]
    return _probability(float(mine["slip_probability"].max()))


def _probability(value: float) -> str:
    if value < 0.001:
        return "under 0.001"
    return "over 0.999" if value > 0.999 else f"{value:.3f}"


def estimated(examples: ExampleWard) -> Section:
    """Show the noise estimated from the ward beside the values it is drawn to.

    Parameters
    ----------
    examples : ExampleWard
        As given by `make_examples`.

    Returns
    -------
    Section
        One row a parameter.
    """
    [ward] = facts.rows_of(examples.result.noise)
    rows = [
        (said, f"{STATED[name]:.3f}", f"{ward[name]:.3f}")
        for name, said in _MEANING.items()
    ]
    rows.append(("share of infusions with an event", "", f"{ward['event_share']:.3f}"))
    return _table(
        "Noise of the ward's readings: what is stated, and what its log says",
        ("what", "stated", "estimated"),
        rows,
    )


def assumed() -> Section:
    """List the kinds of event and the ways to be off the line that are none.

    Returns
    -------
    Section
        Prior shares; those of events are among events.
    """
    rows = [
        (facts.words(str(each.kind)), "event", f"{each.share:.2f}")
        for each in HYPOTHESES
    ]
    rows += [
        (_no_event(each.offset_ml, each.ratio), "no event", f"{each.share:.4f}")
        for each in NO_EVENT
    ]
    return _table(
        "What may have happened, and how often it is taken to before looking",
        ("what", "counts as", "prior share"),
        rows,
    )


def _no_event(offset_ml: float, ratio: float) -> str:
    if offset_ml:
        return f"start volume off by {offset_ml:g} mL"
    return f"{ratio:g} of the set rate" if ratio != 1 else "noise as estimated"


def kept(examples: ExampleWard) -> Section:
    """Say the threshold of the example ward and what simulation found.

    Parameters
    ----------
    examples : ExampleWard
        As given by `make_examples`.

    Returns
    -------
    Section
        Each figure with its number and Monte Carlo error.
    """
    limit, done = examples.result.threshold, SIMULATED
    rows = [
        ("wanted: false flags per 1,000", f"{limit.wanted_per_1000:g}", ""),
        ("threshold on the probability of an event", f"{limit.probability:.2f}", ""),
        (
            f"false flags per 1,000, {limit.drawn:,} uneventful infusions drawn for it",
            f"{limit.false_per_1000:.1f}",
            f"{limit.false_se:.1f}",
        ),
        (
            f"false flags per 1,000 of {done.infusions:,} simulated (seed {done.seed})",
            f"{done.false_per_1000:.1f}",
            f"{done.false_se:.1f}",
        ),
        (
            f"share found of events worth {done.least_event_h:g} h or more, same log",
            f"{done.found_share:.3f}",
            f"{done.found_se:.3f}",
        ),
    ]
    return _table(
        "How the false-flag rate is kept", ("what", "value", "Monte Carlo error"), rows
    )


def _table(
    caption: str, head: tuple[str, str, str], rows: list[tuple[str, str, str]]
) -> Section:
    numeric = frozenset({2} if head[1] == "counts as" else {1, 2})
    return section(
        "plain",
        grid=Grid(caption=caption, head=head, rows=rows, numeric=numeric),
        items=(),
    )
