"""A study of 100,000 sites from tables in memory to its written folder.

Not collected with the tests; run it by name, on a machine with nothing else to do:

    pytest tests/benchmarks/bench_research.py

Everything is in it but reading the export and the notebook.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.columns import CHECKS, INFUSIONS, LINES
from analysis.intake import Log
from analysis.policy import Policy
from analysis.report.research import publish_study
from analysis.research import study_sites

pytest.importorskip("pytest_benchmark")

SITES, SITES_A_PATIENT, WARDS = 100_000, 4, 20
MOST_S = 20.0
START = pd.Timestamp("2025-01-01", tz="Europe/London")


def make_log() -> Log:  # noqa: PLR0915 - four tables, written out
    """Give a log of sites one after another, a syringe a day, a look every 4 hours."""
    rng = np.random.default_rng(1)
    patient = np.arange(SITES) // SITES_A_PATIENT
    hours = np.clip(4 * np.round(rng.exponential(80, SITES) / 4), 8, 240).astype(int)
    reacts = rng.random(SITES) < 0.25
    order = np.arange(SITES) % SITES_A_PATIENT
    begin = pd.Series(hours).groupby(patient).cumsum().to_numpy() - hours
    begin = begin + 24 * (patient % 300)
    looks = hours // 4 + 1
    site = np.repeat(np.arange(SITES), looks)
    number = np.arange(len(site)) - np.repeat(np.cumsum(looks) - looks, looks)
    at = START + pd.to_timedelta(4 * number + begin[site], unit="h")
    is_last = number == looks[site] - 1
    run = np.char.add(np.char.add("I", site.astype(str)), "-")
    run = np.char.add(run, (number // 6).astype(str))
    ward = np.array([f"Ward {n:02}" for n in range(WARDS)])[patient[site] % WARDS]
    rows = dict.fromkeys(CHECKS.names, "")
    checks = pd.DataFrame(
        {
            **rows,
            "source": "checks.csv:1",
            "ward": ward,
            "patient_id": np.char.add("P", patient[site].astype(str)),
            "infusion_id": run,
            "entry": "check",
            "checked_at": at.as_unit("us"),
            "site_id": np.char.add("CN", site.astype(str)),
            "site_signs": np.where(is_last & reacts[site], "redness", "none"),
            "run_driver_id": np.char.add("D", patient[site].astype(str)),
        }
    )
    checks = checks.astype({n: "str" for n in checks.columns if n != "checked_at"})
    drugs = np.array(["morphine 20 mg", "oxycodone 10 mg; cyclizine 150 mg"])
    infusions = pd.DataFrame({"infusion_id": pd.unique(checks["infusion_id"])})
    infusions = infusions.assign(
        **{name: "" for name in INFUSIONS.names if name != "infusion_id"}
    )
    size = len(infusions)
    infusions["contents"] = drugs[rng.integers(0, 2, size)]
    infusions["diluent"] = np.array(["water", "saline"])[rng.integers(0, 2, size)]
    for name in ("made_up_to_ml", "start_volume_ml"):
        infusions[name] = rng.choice([8.0, 16.0, 20.0], size)
    infusions["planned_duration_h"] = 24.0
    places = np.array(["chest", "abdomen", "thigh", "back"])
    lines = pd.DataFrame(
        {
            **dict.fromkeys(LINES.names, ""),
            "source": "lines.csv:1",
            "line_id": np.char.add("CN", np.arange(SITES).astype(str)),
            "patient_id": np.char.add("P", patient.astype(str)),
            "kind": "cannula",
            "location": places[rng.integers(0, 4, SITES)],
            "material": np.array(["plastic", "metal"])[rng.integers(0, 2, SITES)],
            "removal_reason": np.where(
                order == SITES_A_PATIENT - 1, "died", np.where(reacts, "reaction", "")
            ),
        }
    )
    inserted = START + pd.to_timedelta(begin, unit="h") - pd.Timedelta("10min")
    removed = START + pd.to_timedelta(begin + hours, unit="h")
    for side, moments in (("inserted_at", inserted), ("removed_at", removed)):
        lines[side] = moments.as_unit("us")
        lines[f"{side}_latest"] = moments.as_unit("us")
    account = pd.DataFrame(
        {
            "file": ["checks.csv"],
            "table": ["checks"],
            "rows_read": [len(checks)],
            "accepted": [len(checks)],
            "rejected": [0],
            "superseded": [0],
            "exact_duplicates": [0],
        }
    )
    nothing = pd.DataFrame()
    return Log(
        checks=checks.sort_values("checked_at", kind="stable", ignore_index=True),
        infusions=infusions.set_index("infusion_id"),
        lines=lines,
        account=account,
        rejected=nothing,
        set_aside=nothing,
        columns={"checks": frozenset({"site_signs"})},
        notes=(),
    )


def whole(log: Log, out: Path) -> int:
    """Study a log and write the study, without its page."""
    policy = Policy.example()
    study, extract = study_sites(log, policy, b"key")
    publish_study(study, extract, out, tables_only=True)
    return study.sites


def test_a_study_of_100_000_sites(benchmark, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]  # noqa: ANN001 - typed by its plugin
    log = make_log()
    found = benchmark.pedantic(whole, args=(log, tmp_path / "out"), rounds=1)
    assert found == SITES
    benchmark.extra_info.update(rows=len(log.checks), sites=SITES)
    assert benchmark.stats.stats.median <= MOST_S
