"""Notebooks are thin and stored empty, and run by this interpreter alone."""

import ast
import sys
from importlib import resources
from pathlib import Path

import nbformat
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from nbformat import NotebookNode

from analysis.errors import InputError, NotebookError
from analysis.report.notebook import (
    PARAMETERS,
    load_notebook,
    run_notebook,
    to_page,
    with_parameters,
)

NAMES = sorted(
    entry.name
    for entry in resources.files("analysis._notebooks").iterdir()
    if entry.name.endswith(".ipynb")
)
THICK = (
    ast.FunctionDef,
    ast.AsyncFunctionDef,
    ast.ClassDef,
    ast.Lambda,
    ast.For,
    ast.While,
    ast.If,
    ast.Try,
    ast.comprehension,
)


def codes(notebook: NotebookNode) -> list[NotebookNode]:
    return [cell for cell in notebook.cells if cell.cell_type == "code"]


def small(*sources: str) -> NotebookNode:
    cells = [nbformat.v4.new_code_cell(source) for source in sources]
    cells[0].metadata["tags"] = ["parameters"]
    notebook: NotebookNode = nbformat.v4.new_notebook(cells=cells)
    return notebook


def test_there_is_a_monthly_audit() -> None:
    assert "monthly_audit.ipynb" in NAMES


@pytest.mark.parametrize("name", NAMES)
def test_stored_without_outputs(name: str) -> None:
    for cell in codes(load_notebook(name)):
        assert cell.outputs == []
        assert cell.execution_count is None


@pytest.mark.parametrize("name", NAMES)
def test_holds_no_computation(name: str) -> None:
    for cell in codes(load_notebook(name)):
        tree = ast.parse(cell.source)
        thick = [node for node in ast.walk(tree) if isinstance(node, THICK)]
        assert thick == []
        if PARAMETERS in cell.metadata.get("tags", []):
            values = [n.value for n in tree.body if isinstance(n, ast.Assign)]
            assert len(values) == len(tree.body)
            assert [ast.literal_eval(value) for value in values]
        else:
            assert len(tree.body) <= 3


def test_the_monthly_audit_runs_on_its_own_and_shows_the_demo_log(
    tmp_path: Path,
) -> None:
    executed = run_notebook(load_notebook("monthly_audit.ipynb"), tmp_path)
    page = to_page(executed, "Alone")
    assert "Invented service: demo policy" in page
    assert "Which charts do I pull?" in page
    assert list(tmp_path.iterdir()) == []


def test_the_study_runs_on_its_own_and_shows_the_demo_log(tmp_path: Path) -> None:
    executed = run_notebook(load_notebook("site_reactions.ipynb"), tmp_path)
    said = "".join(
        output.get("data", {}).get("text/html", "")
        for cell in executed.cells
        for output in cell.get("outputs", [])
    )
    assert "137 cannula sites of 99 patients" in said
    assert "no extract is written" in said
    assert [*tmp_path.iterdir()] == []


@pytest.mark.parametrize("name", NAMES)
def test_ids_of_cells_are_stored(name: str) -> None:
    ids = [cell.id for cell in load_notebook(name).cells]
    assert len(set(ids)) == len(ids)


def test_parameters_are_replaced_and_the_others_kept() -> None:
    notebook = small('folder = "."  # where\nlist_limit = 12')
    changed = with_parameters(notebook, {"folder": "a'b"})
    assert changed.cells[0].source == 'folder = "a\'b"\nlist_limit = 12'
    assert notebook.cells[0].source.startswith('folder = "."')


@settings(deadline=None, derandomize=True)
@given(value=st.text() | st.sampled_from(["'); import os  #", '"""', "\\", "\n1/0"]))
def test_any_text_as_a_parameter_is_that_text_and_runs_nothing(value: str) -> None:
    """An id from a log comes into a notebook this way."""
    notebook = small('folder = "."\nlist_limit = 12')
    source = with_parameters(notebook, {"folder": value}).cells[0].source
    first, second = ast.parse(source).body
    assert isinstance(first, ast.Assign)
    assert ast.literal_eval(first.value) == value
    assert ast.unparse(second) == "list_limit = 12"


def test_an_unknown_parameter_is_an_error() -> None:
    with pytest.raises(NotebookError, match="no parameter foldr; it knows folder"):
        with_parameters(small('folder = "."'), {"foldr": "x"})


def test_no_parameters_cell_is_an_error() -> None:
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("x = 1")])
    with pytest.raises(NotebookError, match="one cell tagged parameters"):
        with_parameters(notebook, {})


def test_runs_in_its_folder_by_this_interpreter_with_nobodys_settings(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    start_up = tmp_path / "start_up.py"
    start_up.write_text("raise SystemExit('a start-up file was run')", encoding="utf-8")
    monkeypatch.setenv("PYTHONSTARTUP", str(start_up))
    monkeypatch.setenv("JUPYTER_PATH", str(tmp_path / "nowhere"))
    said: list[str] = []
    notebook = small(
        "x = 1",
        "import os, sys\nprint(sys.executable)\nprint(os.getcwd())",
        "print(os.environ['IPYTHONDIR'], os.environ['MPLCONFIGDIR'])",
    )
    executed = run_notebook(notebook, tmp_path, said.append)
    assert len(said) == 3
    shown = [cell.outputs[0].text for cell in executed.cells[1:]]
    assert shown[0].splitlines() == [sys.executable, str(tmp_path)]
    assert str(Path.home()) not in shown[1].split()
    assert all(cell.outputs == [] for cell in notebook.cells)
    assert "execution" not in executed.cells[1].metadata


def test_a_failing_cell_is_one_sentence(tmp_path: Path) -> None:
    notebook = small("x = 1", "raise ValueError('first line\\nsecond line')")
    with pytest.raises(NotebookError) as caught:
        run_notebook(notebook, tmp_path)
    assert str(caught.value) == (
        "the notebook stopped (ValueError: first line); nothing was published"
    )


def test_an_error_of_ours_is_told_as_it_is(tmp_path: Path) -> None:
    said = "two points:\\n  1. one\\n  2. two"
    raising = f"raise errors.InputError('{said}')"
    with pytest.raises(InputError) as caught:
        run_notebook(small("from analysis import errors", raising), tmp_path)
    assert str(caught.value) == "two points:\n  1. one\n  2. two"


def test_a_dying_kernel_is_one_sentence(tmp_path: Path) -> None:
    notebook = small("x = 1", "import os\nos._exit(3)")
    with pytest.raises(NotebookError, match=r"did not run .*nothing was published"):
        run_notebook(notebook, tmp_path)


def test_page_has_prose_and_outputs_and_no_code() -> None:
    prose = nbformat.v4.new_markdown_cell("Some *prose*.")
    hidden = nbformat.v4.new_markdown_cell("Not for the page.")
    hidden.metadata["tags"] = ["notebook-only"]
    code = nbformat.v4.new_code_cell("secret_code()")
    code.outputs = [
        nbformat.v4.new_output("stream", name="stderr", text="a warning"),
        nbformat.v4.new_output("display_data", {"text/html": "<p>shown</p>"}),
    ]
    page = to_page(nbformat.v4.new_notebook(cells=[prose, hidden, code]), "A < title")
    assert "<em>prose</em>" in page
    assert "<p>shown</p>" in page
    assert "<title>A &lt; title</title>" in page
    for absent in ("secret_code", "a warning", "Not for the page"):
        assert absent not in page
