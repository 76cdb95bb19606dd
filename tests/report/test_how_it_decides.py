"""The notebook that shows how a finding is decided: its examples and its run."""

from pathlib import Path

import pytest

from analysis.report import how_it_decides
from analysis.report.how_it_decides import TITLES, ExampleWard, make_examples
from analysis.report.notebook import load_notebook, run_notebook, to_page


@pytest.fixture(scope="module")
def examples() -> ExampleWard:
    return make_examples()


@pytest.mark.parametrize(
    ("name", "kinds"),
    [
        pytest.param("clean", [], id="a clean run has no finding"),
        pytest.param("stall", ["stall"], id="a stop is found"),
        pytest.param("slip", ["doubtful_reading"], id="a slip is no delivery finding"),
        pytest.param("size", ["slow"], id="a wrong size is slow throughout"),
    ],
)
def test_each_example_is_decided_as_the_notebook_says(
    examples: ExampleWard, name: str, kinds: list[str]
) -> None:
    findings = examples.result.findings
    assert findings.loc[findings["infusion_id"] == name, "kind"].tolist() == kinds
    html = how_it_decides.show(examples, name).html
    assert TITLES[name] in html
    assert ("No finding." in html) == (kinds == [])


def test_the_window_of_the_stop_holds_its_onset_and_end(examples: ExampleWard) -> None:
    findings = examples.result.findings.set_index("infusion_id")
    stall = findings.loc["stall"]
    started = examples.result.infusions.set_index("infusion_id").loc["stall"]
    hours = [
        (stall[name] - started["started_at"]).total_seconds() / 3600
        for name in ("began_earliest", "began_latest", "ended_earliest", "ended_latest")
    ]
    assert hours[0] <= 9 <= hours[1]
    assert hours[2] <= 15 <= hours[3]


def test_the_wrong_size_is_named(examples: ExampleWard) -> None:
    html = how_it_decides.show(examples, "size").html
    assert "a 20 mL syringe confirmed as 30 mL" in html


def test_the_notebook_runs_and_shows_its_four_plots_and_tables(tmp_path: Path) -> None:
    executed = run_notebook(load_notebook("how_it_decides.ipynb"), tmp_path)
    page = to_page(executed, "How it decides")
    assert page.count("<figure>") == 4
    assert page.count("<caption>") == 3
    assert "Traceback" not in page


def test_formulas_are_readable_without_a_program_that_sets_them() -> None:
    page = to_page(load_notebook("how_it_decides.ipynb"), "How it decides")
    prose = page.partition("<main")[2].partition("</main>")[0]
    assert "<em>e<sub>k</sub></em> = <em>b</em>" in prose
    assert "$" not in prose
    assert "\\" not in prose
