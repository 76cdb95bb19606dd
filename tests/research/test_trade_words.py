"""Free text of charts that an extract does not let out."""

from pathlib import Path

import pandas as pd
import pytest

from analysis.research import run_study
from analysis.research.coarsen import OTHER
from analysis.research.risk import NOT_RECORDED
from analysis.research.trade_words import trade_diluent, trade_drug, trade_material
from tests.tiny import Row, after, policy_but, syringe, write_csv

START = "2026-06-10T14:00"


@pytest.mark.parametrize(
    ("cell", "kept"),
    [
        pytest.param("metal", "metal", id="one word"),
        pytest.param(" Winged  needle (steel)", "winged needle (steel)", id="several"),
        pytest.param("plastic (Sister Ann 12/06/2026)", OTHER, id="a name and a day"),
        pytest.param("plastic 12/06", OTHER, id="a day"),
        pytest.param("plastic-ann", OTHER, id="a name behind a hyphen"),
        pytest.param("", "", id="blank"),
        pytest.param(NOT_RECORDED, NOT_RECORDED, id="not recorded"),
    ],
)
def test_materials(cell: str, kept: str) -> None:
    assert trade_material(pd.Series([cell])).tolist() == [kept]


@pytest.mark.parametrize(
    ("cell", "kept"),
    [
        pytest.param("Water for injections", "water for injections", id="water"),
        pytest.param("sodium chloride 0.9%", "sodium chloride 0.9%", id="percent"),
        pytest.param("0,9 % NaCl", "0,9 % nacl", id="a decimal comma"),
        pytest.param("glucose 5% w/v", "glucose 5% w/v", id="weight by volume"),
        pytest.param("water per Dr Jones 12/06/2026", OTHER, id="a name and a day"),
        pytest.param("water 5/10", OTHER, id="a day that may be strengths"),
        pytest.param("glucose 5 %", "glucose 5 %", id="a blank before the sign"),
        pytest.param("water 12.06", OTHER, id="a day"),
        pytest.param("water " * 9, OTHER, id="more than a cell of the trade has"),
    ],
)
def test_diluents(cell: str, kept: str) -> None:
    assert trade_diluent(pd.Series([cell])).tolist() == [kept]


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        pytest.param("Midazolam", "midazolam", id="one word"),
        pytest.param("morphine sulfate", "morphine sulfate", id="with its salt"),
        pytest.param("sodium valproate", "sodium valproate", id="the salt before it"),
        pytest.param("vitamin-b12", "vitamin-b12", id="two digits"),
        pytest.param("co-danthramer", "co-danthramer", id="a hyphen"),
        pytest.param("Dr Jones morphine", OTHER, id="three words"),
        pytest.param("Sister Ann", OTHER, id="a title and a name"),
        pytest.param("sister", OTHER, id="a title"),
        pytest.param("dr. sulfate", OTHER, id="a title with its point"),
        pytest.param("ann morphine", OTHER, id="two words, none of them a salt"),
        pytest.param("morphine 2026", OTHER, id="a year"),
        pytest.param("morphine2026", OTHER, id="a year in the word"),
        pytest.param("12-06", OTHER, id="a day"),
        pytest.param("12-06-26 sodium", OTHER, id="a day beside a salt"),
        pytest.param("sodium 12", OTHER, id="digits alone"),
        pytest.param("", OTHER, id="nothing"),
    ],
)
def test_drugs(name: str, kept: str) -> None:
    assert trade_drug(name) == kept


def test_free_text_that_many_patients_share_is_not_in_the_extract(
    tmp_path: Path,
) -> None:
    rows: list[Row] = []
    lines: list[Row] = []
    infusions: list[Row] = []
    for n in range(6):
        rows += syringe(
            {0: None, 24: None},
            start=START,
            patient_id=f"P{n}",
            infusion_id=f"I{n}",
            driver_id=f"D{n}",
            site_id=f"CN{n}",
            site_signs="none",
        )
        place = {"line_id": f"CN{n}", "patient_id": f"P{n}", "kind": "cannula"}
        placed = {"inserted_at": after(START, 0), "material": "plastic (Ann 12/06)"}
        lines.append({**place, **placed})
        run = {"infusion_id": f"I{n}", "patient_id": f"P{n}", "made_up_to_ml": 20}
        told = {"diluent": "water per Dr Jones", "contents": "Dr Jones morphine 10 mg"}
        infusions.append({**run, **told, "started_at": after(START, 0)})
    tables = (("checks", rows), ("lines", lines), ("infusions", infusions))
    paths = [write_csv(tmp_path / f"{name}.csv", table) for name, table in tables]
    policy = policy_but(smallest_group_patients=2)
    _, extract = run_study(paths, policy, b"k" * 32)
    assert extract is not None
    assert set(extract.sites["material"]) == {OTHER}
    assert set(extract.periods["diluent"]) == {OTHER}
    text = extract.sites.to_csv() + extract.periods.to_csv()
    for word in ("Ann", "ann", "jones", "12/06"):
        assert word not in text
