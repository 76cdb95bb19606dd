"""Tiny canonical logs written by hand, and the audit of them.

Times are a local start and true elapsed hours, written with their offset, so that a
case reads as the trade would tell it; a test that is about local times writes them out.
"""

import csv
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd

from analysis.audit import AuditResult, run_audit
from analysis.compliance.coded import as_texts
from analysis.policy import Policy, example_text

Row = dict[str, Any]

LONDON = ZoneInfo("Europe/London")
POLICY = Policy.example()
START = "2026-06-01T10:03"


def policy_with(text: str) -> Policy:
    """Give the example policy with wards of their own rules after it."""
    return Policy.parse(example_text() + text, "test policy")


def policy_but(**limits: Any) -> Policy:
    """Give the example policy with other values of some limits (TOML text)."""
    lines = example_text().splitlines()
    for name, value in limits.items():
        here = [i for i, line in enumerate(lines) if line.startswith(f"{name} = ")]
        assert len(here) == 1
        lines[here[0]] = f'{name} = {{ value = {value}, set_by = "test" }}'
    return Policy.parse("\n".join(lines), "test policy")


def moment(text: str) -> pd.Timestamp:
    """Give a local London time; the first of two where it comes twice."""
    return pd.Timestamp(datetime.fromisoformat(text).replace(tzinfo=LONDON))


def after(start: str, hours: float) -> str:
    """Write the time so many true hours after a local start, with its offset."""
    utc = datetime.fromisoformat(start).replace(tzinfo=LONDON).astimezone(UTC)
    there = utc + timedelta(seconds=round(hours * 3600))
    return there.astimezone(LONDON).isoformat()


def syringe(
    volumes: Mapping[Any, float | None],
    *,
    start: str = START,
    entries: Mapping[Any, str] | None = None,
    cells: Mapping[Any, Mapping[str, object]] | None = None,
    **columns: Any,
) -> list[Row]:
    """Write the check rows of one syringe from its volumes remaining by elapsed hour.

    The row at hour 0 is a start row; ``entries`` and ``cells`` change single rows.
    """
    common: Row = {
        "ward": "Alder Ward",
        "patient_id": "P1",
        "infusion_id": "I1",
        "driver_id": "D1",
        "set_rate_ml_h": 0.67,
    }
    rows = []
    for hour, volume in volumes.items():
        row: Row = {
            **common,
            **columns,
            "entry": "start" if hour == 0 else "check",
            "checked_at": after(start, hour),
            "volume_remaining_ml": volume,
        }
        row["entry"] = (entries or {}).get(hour, row["entry"])
        row.update((cells or {}).get(hour, {}))
        rows.append(row)
    return rows


def write_csv(path: Path, rows: Sequence[Mapping[str, object]]) -> Path:
    """Write rows as CSV; None is an empty cell."""
    names = list(dict.fromkeys(name for row in rows for name in row))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, names, restval="")
        writer.writeheader()
        writer.writerows(
            {k: "" if v is None else v for k, v in row.items()} for row in rows
        )
    return path


def audit(
    folder: Path,
    checks: Iterable[Mapping[str, object]],
    *,
    infusions: Sequence[Mapping[str, object]] = (),
    lines: Sequence[Mapping[str, object]] = (),
    policy: Policy = POLICY,
) -> AuditResult:
    """Write the tables to files and audit them, as the command does."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = [write_csv(folder / "checks.csv", list(checks))]
    if infusions:
        paths.append(write_csv(folder / "infusions.csv", infusions))
    if lines:
        paths.append(write_csv(folder / "lines.csv", lines))
    return run_audit(paths, policy)


def kinds(result: AuditResult, group: str | None = None) -> list[str]:
    """Give the kinds of findings, of one group or of all, sorted."""
    found = result.findings
    if group is not None:
        found = found[found["group"] == group]
    return sorted(found["kind"])


def only(result: AuditResult, kind: str) -> pd.Series:
    """Give the one finding of that kind."""
    found = result.findings[result.findings["kind"] == kind]
    assert len(found) == 1, kinds(result)
    return found.iloc[0]


def units_of(result: AuditResult, measure: str) -> pd.DataFrame:
    """Give the units of one measure."""
    return as_texts(result.units[result.units["measure"] == measure])


def whole(table: pd.DataFrame, measure: str, ward: str = "all") -> pd.Series:
    """Give a measure's or rate's line for a ward over the whole log."""
    line = table[
        (table["measure"] == measure)
        & (table["ward"] == ward)
        & (table["period"] == "all")
    ]
    assert len(line) == 1
    return line.iloc[0]
