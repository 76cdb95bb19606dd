"""Definitions, policy, cautions and versions."""

from collections.abc import Iterable
from pathlib import Path

import pandas as pd

from analysis.audit import AuditResult
from analysis.report import facts
from analysis.report.cells import texts
from analysis.report.definitions import cautions as caution_texts
from analysis.report.definitions import definition
from analysis.report.grid import Grid
from analysis.report.manifest import read_manifest
from analysis.report.section import Section, section


def definitions(result: AuditResult) -> Section:
    """Say what each measure of this audit means.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    Section
        One line a measure.
    """
    names = [*facts.measures(result), *sorted({*texts(result.rates["measure"])})]
    rows = [
        (definition(name).label, name, definition(name).meaning)
        for name in dict.fromkeys(names)
    ]
    grid = Grid(
        caption="Measures of this audit",
        head=("measure", "name in the tables", "what it means"),
        rows=rows,
    )
    return section("plain", grid=grid, items=())


def policy_in_force(result: AuditResult) -> Section:
    """Print every limit in force and who set it.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    Section
        The policy's entries.
    """
    entries = result.policy.entries()
    grid = Grid(
        caption=f"Policy in force: {result.policy.name} ({result.policy.path})",
        head=("where", "limit", "value", "set by"),
        rows=_text_rows(entries, ("ward", "limit", "value", "set_by")),
    )
    return section("plain", grid=grid, items=())


def cautions(result: AuditResult) -> Section:
    """Print what a reader must keep in mind.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    Section
        A numbered list.
    """
    return section("plain", grid=None, items=caution_texts(result))


def versions(folder: Path | str) -> Section:
    """Print what the report was made with and from.

    Parameters
    ----------
    folder : Path or str
        Folder of the report; its ``run.json`` is read.

    Returns
    -------
    Section
        Versions and hashes. The time of running stands in ``run.json`` alone.
    """
    run = read_manifest(folder)
    rows = [(name, number) for name, number in run["versions"].items()]
    rows.append(("policy, SHA-256", run["policy"]["sha256"]))
    grid = Grid(caption="Made with", head=("what", "version"), rows=rows)
    return section(
        "plain",
        grid=grid,
        items=(),
    )


def _text_rows(frame: pd.DataFrame, names: Iterable[str]) -> list[tuple[str, ...]]:
    columns = [texts(frame[name]) for name in names]
    return list(zip(*columns, strict=True))
