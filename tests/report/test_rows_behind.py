"""Every percentage of a report opens to the rows behind it, by the files alone.

Plain Python on the tables of a report and on the export: nothing of the package.
"""

import csv
import math
from collections import defaultdict
from pathlib import Path

import pytest

from analysis.audit import run_audit
from analysis.policy import Policy
from analysis.report.tables import write_tables

DEMO = Path(__file__).parents[2] / "synthetic_data"
EXPORTS = [DEMO / f"{name}.csv" for name in ("checks", "infusions", "lines")]

Rows = list[dict[str, str]]


@pytest.fixture(scope="module")
def tables(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Rows]:
    folder = tmp_path_factory.mktemp("tables")
    write_tables(run_audit(EXPORTS, Policy.example()), folder)
    found = {}
    for name in ("units", "measures", "comparisons"):
        (path,) = folder.rglob(f"{name}.csv")
        with path.open(encoding="utf-8", newline="") as file:
            found[name] = list(csv.DictReader(file))
    return found


def behind(units: Rows) -> dict[tuple[str, str, str], Rows]:
    """Give the units of each measure, ward and period, as the report says to find them.

    What belongs to no ward stands in no figure.
    """
    found: dict[tuple[str, str, str], Rows] = defaultdict(list)
    for unit in units:
        if unit["ward"] == "between wards":
            continue
        for ward in (unit["ward"], "all"):
            for period in (unit["month"], "all"):
                found[unit["measure"], ward, period].append(unit)
    return found


def test_every_figure_is_the_sum_of_its_units(tables: dict[str, Rows]) -> None:
    units = behind(tables["units"])
    seen = 0
    for table in ("measures", "comparisons"):
        for row in tables[table]:
            own = units.get((row["measure"], row["ward"], row["period"]), [])
            for side in ("numerator", "denominator"):
                total = math.fsum(float(unit[side] or 0) for unit in own)
                # Half of the last decimal: three of a sum, four of each unit.
                rounding = 5.1e-4 + 5.1e-5 * len(own)
                assert float(row[side]) == pytest.approx(total, abs=rounding)
            if row["proportion"]:
                seen += 1
                share = float(row["numerator"]) / float(row["denominator"])
                assert float(row["proportion"]) == pytest.approx(share, abs=1e-4)
                assert own
    assert seen > 500


def test_every_unit_names_rows_of_the_export(tables: dict[str, Rows]) -> None:
    lines = {
        path.name: len(path.read_text(encoding="utf-8").splitlines())
        for path in EXPORTS
    }
    for unit in tables["units"]:
        for name in ("first_source", "last_source"):
            file, _, line = unit[name].rpartition(":")
            assert 2 <= int(line) <= lines[file], unit
