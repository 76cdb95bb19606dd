"""The audit without a terminal: choices, row account, report, and the notebook."""

import shutil
from pathlib import Path

import pandas as pd
import pytest

from analysis.errors import InputError
from analysis.report.notebook import load_notebook, run_notebook, with_parameters
from analysis.start import Asked, choices_in, documents_of, months_in, row_account
from analysis.start.panel import panel
from tests.tiny import syringe, write_csv

DEMO = Path(__file__).parents[2] / "synthetic_data"
LAYOUT = '[[table]]\nholds = "checks"\n'


def small_log(folder: Path) -> Path:
    rows = []
    for day in range(1, 4):
        rows += syringe(
            {0: 16.0, 4: 13.3, 8: 10.6, 12: 8.0, 16: 5.3},
            start=f"2026-0{4 + day}-0{day}T10:03",
            infusion_id=f"I{day}",
        )
    return write_csv(folder / "checks.csv", rows)


def test_files_are_told_apart_by_what_they_hold(tmp_path: Path) -> None:
    shutil.copy(DEMO / "policy.toml", tmp_path / "ours.toml")
    (tmp_path / "columns.toml").write_text(LAYOUT, encoding="utf-8")
    (tmp_path / "notes.docx").write_bytes(b"x")
    log = small_log(tmp_path)
    (tmp_path / "More.XLSX").write_bytes(b"x")
    found = choices_in(tmp_path)
    assert found.exports == (tmp_path / "More.XLSX", log)
    assert [p.name for p in found.policies] == ["ours.toml"]
    assert [p.name for p in found.layouts] == ["columns.toml"]


def test_without_an_export_the_demo_log_is_offered(tmp_path: Path) -> None:
    found = choices_in(tmp_path)
    names = [path.name for path in found.exports]
    assert names == ["checks.csv", "infusions.csv", "lines.csv"]
    assert [path.name for path in found.policies] == ["policy.toml"]


def test_the_row_account_and_the_months_are_of_the_files_chosen(tmp_path: Path) -> None:
    asked = Asked(exports=(small_log(tmp_path),))
    assert any("15 rows read = 15 accepted" in line for line in row_account(asked))
    assert months_in(asked) == ["2026-07", "2026-06", "2026-05"]


def test_working_lists_are_offered_apart_and_read(tmp_path: Path) -> None:
    log = small_log(tmp_path)
    desk = panel(tmp_path)
    desk.out.value = str(tmp_path / "reports" / "2026-05")
    desk.report.click()
    first = tmp_path / "reports" / "2026-05" / "review.csv"
    rows = pd.read_csv(first, dtype="str", keep_default_na=False)
    rows.loc[0, "decision"] = "explained"
    rows.to_csv(tmp_path / "mine.csv", index=False)
    found = choices_in(tmp_path)
    assert found.exports == (log,)
    assert found.reviews[0] == tmp_path / "mine.csv"
    assert first.with_suffix(".xlsx") in found.reviews
    desk = panel(tmp_path)
    desk.reviews.value = (tmp_path / "mine.csv",)
    desk.out.value = str(tmp_path / "again")
    desk.report.click()
    table = pd.read_csv(tmp_path / "again" / "tables" / "decisions.csv", dtype="str")
    decided = table.dropna(subset="decision")
    assert decided["finding_id"].tolist() == [rows.loc[0, "finding_id"]]
    assert decided["decided_in"].tolist() == ["mine.csv:2"]


def test_no_file_chosen_is_one_sentence() -> None:
    with pytest.raises(InputError, match="no file of a log is chosen"):
        row_account(Asked(exports=()))


def test_the_buttons_show_the_account_then_make_the_report(tmp_path: Path) -> None:
    small_log(tmp_path)
    desk = panel(tmp_path)
    desk.account.click()
    assert "15 rows read" in desk.told.value
    assert [value for _, value in desk.month.options][1:] == months_in(desk.asked())
    desk.month.value = "2026-06"
    desk.out.value = str(tmp_path / "made" / "report")
    desk.report.click()
    made = documents_of(tmp_path / "made" / "report" / "report.html")
    assert [p.name for p in made] == ["report.html", "review.xlsx", "report.ipynb"]
    assert all(f">{path.name}</a>" in desk.told.value for path in made)
    assert "June 2026" in made[0].read_text(encoding="utf-8")


def test_what_cannot_be_used_is_told_in_one_sentence_as_text(tmp_path: Path) -> None:
    (tmp_path / "<b>log.csv").write_text("ward,<i>\n1,2\n", encoding="utf-8")
    desk = panel(tmp_path)
    for button in (desk.account, desk.report):
        button.click()
        assert desk.told.value.startswith("<p role='alert'>")
        assert "&lt;b&gt;log.csv" in desk.told.value
        assert not button.disabled
    assert [p.name for p in tmp_path.iterdir()] == ["<b>log.csv"]


def test_the_notebook_runs_with_its_defaults(tmp_path: Path) -> None:
    executed = run_notebook(load_notebook("start_here.ipynb"), tmp_path)
    outputs = [o for c in executed.cells for o in c.get("outputs", [])]
    assert any(
        "application/vnd.jupyter.widget-view+json" in o.get("data", {}) for o in outputs
    )
    said = "".join(o.get("data", {}).get("text/html", "") for o in outputs)
    assert "2,625 rows read = 2,620 accepted + 3 rejected" in said
    assert [*tmp_path.iterdir()] == []


def test_the_notebook_takes_the_folder_of_its_first_cell(tmp_path: Path) -> None:
    small_log(tmp_path)
    notebook = with_parameters(
        load_notebook("start_here.ipynb"), {"folder": str(tmp_path)}
    )
    executed = run_notebook(notebook, tmp_path)
    said = str([c.get("outputs") for c in executed.cells])
    assert "15 rows read = 15 accepted" in said
