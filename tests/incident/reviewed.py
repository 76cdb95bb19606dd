"""Tiny logs and the review of one of their infusions."""

import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import nbformat

from analysis.incident import Asked, Incident, review_incident, sections
from analysis.incident.publish import FRAME
from analysis.report.notebook import load_notebook, to_page
from analysis.report.section import Section
from tests.tiny import POLICY, Row, syringe, write_csv

RATE = 0.667
HONEST = (16.0, 13.3, 10.7, 8.0, 5.3, 2.7, 0.4)
HOURS = (0, 4, 8, 12, 16, 20, 23.5)

#: A stop at about 8.2 h for eight hours: 16 mL at 0.667 mL/h.
STOPPED = {0: 16.0, 4: 13.3, 8: 10.7, 12: 10.5, 16: 10.5, 20: 8.0, 24: 5.2}


def uneventful(name: str, **columns: Any) -> list[Row]:
    """Write an infusion that is on its line."""
    own: dict[str, Any] = {
        "infusion_id": name,
        "patient_id": f"of {name}",
        "driver_id": f"with {name}",
        "set_rate_ml_h": RATE,
    }
    return syringe(dict(zip(HOURS, HONEST, strict=True)), **(own | columns))


def others(number: int = 8) -> list[Row]:
    """Write so many uneventful infusions of other patients and drivers."""
    return [row for place in range(number) for row in uneventful(f"X{place}")]


def review(
    folder: Path,
    checks: Iterable[Mapping[str, object]],
    asked: Asked | None = None,
    *,
    infusions: Sequence[Mapping[str, object]] = (),
    lines: Sequence[Mapping[str, object]] = (),
) -> Incident:
    """Write the tables to files and review one infusion, as the command does."""
    paths = write(folder, checks, infusions=infusions, lines=lines)
    return review_incident(paths, POLICY, asked or Asked(infusion="I1"))


def write(
    folder: Path,
    checks: Iterable[Mapping[str, object]],
    *,
    infusions: Sequence[Mapping[str, object]] = (),
    lines: Sequence[Mapping[str, object]] = (),
) -> list[Path]:
    """Write the tables to files."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = [write_csv(folder / "checks.csv", list(checks))]
    if infusions:
        paths.append(write_csv(folder / "infusions.csv", infusions))
    if lines:
        paths.append(write_csv(folder / "lines.csv", lines))
    return paths


def shown(incident: Incident) -> dict[str, Section]:
    """Make every section of the notebook, by its name."""
    return {
        name: getattr(sections, name)()
        if name in ("conclusion", "made_with")
        else getattr(sections, name)(incident)
        for name in sections.__all__
    }


def page(incident: Incident) -> str:
    """Make the document as the command does, without a kernel."""
    made = shown(incident)
    notebook = load_notebook("incident_review.ipynb")
    for cell in notebook.cells:
        called = re.fullmatch(r"sections\.(\w+)\(\w*\)", cell.source)
        if called is not None:
            html = made[called[1]].html
            cell.outputs = [nbformat.v4.new_output("display_data", {"text/html": html})]
    return to_page(notebook, f"Incident review, {incident.infusion_id}", FRAME)


def text_of(html: str) -> str:
    """Give the words of a section or a page, without tags, style and script."""
    said = re.sub(r"<(style|script)>.*?</\1>", " ", html, flags=re.DOTALL)
    plain = re.sub(r"<[^>]+>", " ", said)
    return re.sub(r"\s+", " ", plain).strip()
