"""Cannulas and extension sets numbered anew for each patient."""

from pathlib import Path
from typing import Any

import pytest

from analysis.intake import Log, read_exports
from analysis.research import run_study
from tests.tiny import (
    POLICY,
    Row,
    after,
    audit,
    policy_but,
    syringe,
    units_of,
    whole,
    write_csv,
)

START = "2026-06-10T14:00"
SIGNS = ((0, "none"), (24, "none"), (48, "redness"))


def of_patient(number: int, **cells: Any) -> list[Row]:
    return [
        row
        for hour, sign in SIGNS
        for row in syringe(
            {hour: None},
            start=START,
            patient_id=f"P{number}",
            infusion_id=f"I{number}",
            driver_id=f"D{number}",
            entries={hour: "check" if hour else "start"},
            site_signs=sign if number % 2 else "none",
            **cells,
        )
    ]


def twelve() -> list[Row]:
    """Give twelve patients, each with the sites 1 and 2; every second one reacts."""
    rows = []
    for number in range(12):
        rows += of_patient(number, site_id="1")
        second = {52: None, 76: None}
        rows += syringe(
            second,
            start=START,
            patient_id=f"P{number}",
            infusion_id=f"J{number}",
            driver_id=f"D{number}",
            site_id="2",
            site_signs="none",
        )
    return rows


def listed(number: int, name: str, kind: str = "cannula") -> Row:
    return {
        "line_id": name,
        "patient_id": f"P{number}",
        "kind": kind,
        "inserted_at": after(START, 0),
    }


def read(folder: Path, checks: list[Row], lines: list[Row]) -> Log:
    paths = [write_csv(folder / "checks.csv", checks)]
    paths += [write_csv(folder / "lines.csv", lines)] if lines else []
    return read_exports(paths, POLICY)


def test_sites_numbered_by_patient_are_as_many_as_with_names_of_their_own(
    tmp_path: Path,
) -> None:
    path = write_csv(tmp_path / "checks.csv", twelve())
    policy = policy_but(smallest_group_patients=2)
    study, _ = run_study([path], policy, b"k" * 32)
    own = [{**r, "site_id": f"{r['patient_id']}-{r['site_id']}"} for r in twelve()]
    named, _ = run_study([write_csv(tmp_path / "own.csv", own)], policy, b"k" * 32)
    assert (study.sites, study.patients) == (24, 12)
    rate, other = study.rates.iloc[0], named.rates.iloc[0]
    assert (rate["events"], rate["patients"]) == (6, 12)
    # By hand: twelve first sites to 48 h, six without a reaction to 50 h (the middle
    # of 48 and 52), where the second is placed and watched to 76 h.
    days = (12 * 48 + 6 * 2 + 12 * 26) / 24
    assert rate["exposure_days"] == pytest.approx(days) == 37.5
    assert other["exposure_days"] == pytest.approx(days)
    assert rate["rate_per_1000"] == other["rate_per_1000"]
    assert any(
        "2 ids of cannulas stand under several patients" in note for note in study.notes
    )


def test_the_rate_of_an_audit_counts_each_patients_site(tmp_path: Path) -> None:
    checks = [row for n in range(3) for row in of_patient(n, site_id="1")]
    result = audit(tmp_path, checks, lines=[listed(n, "1") for n in range(3)])
    units = units_of(result, "site_reactions")
    assert sorted(units["unit_id"]) == ["P0/1", "P1/1", "P2/1"]
    rate = whole(result.rates, "site_reactions")
    assert (rate["events"], rate["exposure_days"]) == (1, pytest.approx(6.0))
    assert any("1 id of cannulas stands" in note for note in result.notes)


def test_extension_sets_are_seen_until_their_own_patients_last_check(
    tmp_path: Path,
) -> None:
    first = of_patient(0, line_id="1")[:1]
    checks = first + of_patient(1, line_id="1")
    lines = [listed(n, "1", "extension_set") for n in range(2)]
    log = read(tmp_path, checks, lines)
    assert log.lines["line_id"].tolist() == ["P0/1", "P1/1"]
    assert log.checks.groupby("line_id").size().to_dict() == {"P0/1": 1, "P1/1": 3}


@pytest.mark.parametrize(
    ("checks", "lines", "sites"),
    [
        pytest.param(
            [("P0", "1"), ("P1", "2")],
            [],
            ["1", "2"],
            id="under one patient each, as charted",
        ),
        pytest.param(
            [("P0", "1"), ("P1", "2")],
            [listed(1, "1")],
            ["P0/1", "2"],
            id="of another patient in the lines table",
        ),
        pytest.param(
            [("P0", "1"), ("P1", "2")],
            [listed(1, "1", "extension_set")],
            ["1", "2"],
            id="an extension set is no cannula",
        ),
        pytest.param([("P0", ""), ("P1", "")], [], ["", ""], id="a blank is no number"),
    ],
)
def test_a_number_is_parted_where_two_patients_have_it(
    tmp_path: Path, checks: list[tuple[str, str]], lines: list[Row], sites: list[str]
) -> None:
    rows = [
        row
        for patient, site in checks
        for row in of_patient(int(patient[1:]), site_id=site)[:1]
    ]
    log = read(tmp_path, rows, lines)
    assert log.checks.sort_values("patient_id")["site_id"].tolist() == sites
    assert any("several patients" in n for n in log.notes) == ("P0/1" in sites)
