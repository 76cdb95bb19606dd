"""Run a notebook of the package in a folder, and make one page of it.

The kernel is this very interpreter with nobody's own Jupyter settings: which kernels,
profiles or start-up files a person has must not decide what a report says.
"""

import ast
import sys
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any, BinaryIO

import nbformat
from jupyter_client.kernelspec import KernelSpec, KernelSpecManager
from jupyter_client.manager import AsyncKernelManager
from nbclient import NotebookClient
from nbclient.exceptions import CellExecutionError, DeadKernelError
from nbconvert import HTMLExporter
from nbformat import NotebookNode

from analysis import errors
from analysis.errors import NotebookError, SteadyfallError
from analysis.report.inline import inline

NOTEBOOK = "monthly_audit.ipynb"
PARAMETERS = "parameters"

# Seconds to wait for the kernel: a cold machine with a virus scanner is slow to start.
_STARTUP_S = 180

# Jupyter's usual name for Python, so that the published notebook opens anywhere.
_KERNEL = "python3"


def load_notebook(name: str) -> NotebookNode:
    """Read a notebook that travels with the package.

    Parameters
    ----------
    name : str
        File name.

    Returns
    -------
    NotebookNode
        Without outputs.
    """
    text = resources.files("analysis._notebooks").joinpath(name).read_text("utf-8")
    notebook: NotebookNode = nbformat.reads(text, as_version=4)
    return notebook


def with_parameters(
    notebook: NotebookNode, values: Mapping[str, object]
) -> NotebookNode:
    """Give a copy of a notebook with values in its parameters cell.

    Parameters
    ----------
    notebook : NotebookNode
        With one cell tagged ``parameters`` that holds plain assignments.
    values : mapping of str to object
        Values to put there; parameters not named keep theirs.

    Returns
    -------
    NotebookNode
        The notebook given is not changed.

    Raises
    ------
    NotebookError
        A parameter is not in the cell, or the notebook has no such cell.
    """
    changed: NotebookNode = nbformat.from_dict(notebook)
    cells = [c for c in changed.cells if PARAMETERS in c.metadata.get("tags", [])]
    if len(cells) != 1:
        raise NotebookError("the notebook needs one cell tagged parameters")
    [cell] = cells
    known = {
        target.id: node
        for node in ast.parse(cell.source).body
        if isinstance(node, ast.Assign)
        for target in node.targets
        if isinstance(target, ast.Name)
    }
    unknown = sorted(set(values) - set(known))
    if unknown:
        msg = (
            f"the notebook has no parameter {', '.join(unknown)}; "
            f"it knows {', '.join(known)}"
        )
        raise NotebookError(msg)
    lines = cell.source.splitlines()
    for name, value in values.items():
        lines[known[name].lineno - 1] = f"{name} = {value!r}"
    cell.source = "\n".join(lines)
    return changed


def run_notebook(
    notebook: NotebookNode,
    folder: Path,
    progress: Callable[[str], None] | None = None,
) -> NotebookNode:
    """Execute a notebook with `folder` as its working folder.

    Parameters
    ----------
    notebook : NotebookNode
        With its parameters set; it is not changed.
    folder : Path
        Working folder of the kernel.
    progress : callable, optional
        Called with a few words before each code cell.

    Returns
    -------
    NotebookNode
        With outputs.

    Raises
    ------
    SteadyfallError
        A cell ended in one of ours: it is told as it is.
    NotebookError
        A cell failed, or the kernel did not start or died: one sentence.
    """
    executed: NotebookNode = nbformat.from_dict(notebook)
    with tempfile.TemporaryDirectory(
        prefix="steadyfall-", ignore_cleanup_errors=True
    ) as own:
        home = Path(own)
        client = NotebookClient(
            executed,
            km=_kernel_manager(home),
            timeout=None,
            startup_timeout=_STARTUP_S,
            record_timing=False,
            resources={"metadata": {"path": str(folder)}},
            on_cell_start=_said(executed, progress),
        )
        with (home / "kernel.log").open("w+b") as log:
            try:
                client.execute(stdout=log, stderr=log, cleanup_kc=True)
            except CellExecutionError as error:
                raise _as_told(error) from None
            except (DeadKernelError, RuntimeError, TimeoutError, OSError) as error:
                reason = _last_line(log) or str(error) or type(error).__name__
                msg = f"the notebook did not run ({reason}); nothing was published"
                raise NotebookError(msg) from None
    return executed


def _as_told(error: CellExecutionError) -> SteadyfallError:
    """Give an error of ours as it was raised, and another one in a sentence."""
    own = getattr(errors, error.ename, None)
    if isinstance(own, type) and issubclass(own, SteadyfallError):
        return own(error.evalue)
    said = f"{error.ename}: {error.evalue}".splitlines()[0]
    return NotebookError(f"the notebook stopped ({said}); nothing was published")


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """What stands around a page.

    Attributes
    ----------
    parts : tuple of (str, str)
        Links to the parts of the page: id and words.
    closing : str
        The last line.
    style : str
        File of its own style, beside that of all pages; empty for none.
    """

    parts: tuple[tuple[str, str], ...]
    closing: str
    style: str = ""


#: Around the monthly report.
MONTHLY = Frame(
    parts=(
        ("act-now", "Act now"),
        ("charts", "Charts to pull"),
        ("standing", "Wards"),
        ("trust", "Trust"),
        ("changed", "Changes"),
        ("review", "Decided"),
        ("each-ward", "Each ward"),
        ("comparing", "Wards and months"),
        ("delivery", "Delivery findings"),
        ("drivers", "Drivers"),
        ("others", "Other findings"),
        ("log", "The log"),
        ("definitions", "Definitions"),
        ("policy", "Policy"),
        ("cautions", "Cautions"),
    ),
    closing="No flag does not mean delivered. This report holds rows about persons: "
    "keep it as you keep charts.",
)


def to_page(notebook: NotebookNode, title: str, frame: Frame = MONTHLY) -> str:
    """Make one self-contained HTML page of an executed notebook.

    Parameters
    ----------
    notebook : NotebookNode
        With outputs.
    title : str
        Title of the page.
    frame : Frame
        What stands around it.

    Returns
    -------
    str
        HTML without code cells or anything to fetch; its one script is ours.
    """
    folder = resources.files("analysis.report")
    with resources.as_file(folder.joinpath("templates")) as templates:
        exporter = HTMLExporter(
            extra_template_basedirs=[str(templates.parent)],
            template_name=templates.name,
            template_file="index.html.j2",
            exclude_anchor_links=True,
        )
        page, _ = exporter.from_notebook_node(
            notebook,
            resources={
                "title": title,
                "inline": inline(with_script=True, style=frame.style),
                "parts": frame.parts,
                "closing": frame.closing,
                "metadata": {"name": title},
            },
        )
    return page if page.endswith("\n") else page + "\n"


class _OwnKernel(KernelSpecManager):
    """Knows one kernel, whatever name is asked for: the interpreter that runs this."""

    home: Path

    def get_kernel_spec(self, kernel_name: str) -> KernelSpec:
        return KernelSpec(
            argv=[
                sys.executable,
                "-m",
                "ipykernel_launcher",
                "-f",
                "{connection_file}",
            ],
            display_name=kernel_name,
            language="python",
            env=_environment(self.home),
        )


def _environment(home: Path) -> dict[str, str]:
    """Point every place a person's own settings might come from into `home`."""
    places = (
        "IPYTHONDIR",
        "MPLCONFIGDIR",
        "JUPYTER_CONFIG_DIR",
        "JUPYTER_DATA_DIR",
        "JUPYTER_RUNTIME_DIR",
    )
    return {
        **{name: str(home / name.lower()) for name in places},
        "JUPYTER_PATH": "",
        "JUPYTER_CONFIG_PATH": "",
        "PYTHONSTARTUP": "",
        # Silences a note of the debugger on frozen modules that nobody can act on.
        "PYDEVD_DISABLE_FILE_VALIDATION": "1",
    }


def _kernel_manager(home: Path) -> AsyncKernelManager:
    specs = _OwnKernel()
    specs.home = home
    return AsyncKernelManager(
        kernel_name=_KERNEL,
        kernel_spec_manager=specs,
        connection_file=str(home / "kernel.json"),
    )


def _said(
    notebook: NotebookNode, progress: Callable[[str], None] | None
) -> Callable[..., None] | None:
    if progress is None:
        return None
    total = len(notebook.cells)

    def say(cell: NotebookNode, cell_index: int, **_: Any) -> None:
        part = f"report, part {cell_index + 1} of {total}"
        progress(cell.metadata.get("progress", part))

    return say


def _last_line(log: BinaryIO) -> str:
    log.seek(0)
    lines = log.read().decode(errors="replace").strip().splitlines()
    return lines[-1].strip() if lines else ""
