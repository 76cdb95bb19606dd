"""An incident review into its folder: whole or not at all, and never over an edit."""

import hashlib
import json
import re
import tempfile
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import nbformat
import pandas as pd
from nbformat import NotebookNode

from analysis.errors import OutputError
from analysis.incident.handed import WhatWasRead, handed_back
from analysis.incident.review import Asked
from analysis.intake.layout import Layout
from analysis.intake.layout_file import load_layout
from analysis.policy import Policy
from analysis.report.manifest import FILE as MANIFEST
from analysis.report.manifest import MARK, sha256, versions
from analysis.report.notebook import (
    Frame,
    load_notebook,
    run_notebook,
    to_page,
    with_parameters,
)
from analysis.report.swap import (
    DROPPINGS,
    LOCKS,
    check_parent,
    made_whole,
    repair,
    told,
)

NOTEBOOK = "incident_review.ipynb"
PAGE = "incident.html"
EXECUTED = "incident.ipynb"
KIND = "incident review"

#: What stands around the document.
FRAME = Frame(
    parts=(
        ("short", "In short"),
        ("next", "What to do next"),
        ("known", "What is known"),
        ("plot", "Plot"),
        ("when", "When"),
        ("timeline", "Timeline"),
        ("amounts", "How much"),
        ("explanations", "Explanations"),
        ("checks", "Checks"),
        ("history", "Before and after"),
        ("blind", "Cannot show"),
        ("conclusion", "Conclusion"),
        ("record", "Record"),
        ("cautions", "Cautions"),
    ),
    closing="No flag does not mean delivered. This document holds rows about a person: "
    "keep it as you keep charts.",
    style="incident.css",
)

#: Characters of an id that stay in the name of its folder.
_UNSAFE = re.compile(r"[^A-Za-z0-9._-]+")


@dataclass(frozen=True, slots=True, kw_only=True)
class Files:
    """Where an incident review reads from: exports, policy and layout.

    ``policy_file`` and ``layout_file`` are None where none is given.
    """

    exports: tuple[Path, ...]
    policy_file: Path | None = None
    layout_file: Path | None = None

    def policy(self) -> Policy:
        """Load the limits in force.

        Returns
        -------
        Policy
            The shipped example where no file is given.
        """
        return Policy.load(self.policy_file) if self.policy_file else Policy.example()

    def layout(self) -> Layout | None:
        """Load the layout.

        Returns
        -------
        Layout or None
            None where no file is given.
        """
        return load_layout(self.layout_file) if self.layout_file else None


def default_folder(infusion_id: str) -> Path:
    """Name the folder of a review where none is asked for.

    Parameters
    ----------
    infusion_id : str
        The infusion.

    Returns
    -------
    Path
        Under ``reports``.

    Examples
    --------
    >>> default_folder("SP001/26").as_posix()
    'reports/incident-SP001-26'
    """
    name = _UNSAFE.sub("-", infusion_id).strip("-.")[:60]
    return Path("reports", f"incident-{name or 'infusion'}")


def check_incident_folder(out: Path) -> None:
    """Refuse a folder that a review must not or cannot be written to.

    Parameters
    ----------
    out : Path
        Folder of the review; it need not exist.

    Raises
    ------
    OutputError
        It is a file; it holds something that is not ours; a file of it was edited
        since; or it cannot be written. One sentence that says what to do.
    """
    out = out.resolve()
    if not out.name:
        raise OutputError(f"{out}: is no folder for a review; choose one with --out")
    with told(out):
        check_parent(out)
        repair(out)
        if not out.exists():
            return
        if not out.is_dir():
            raise OutputError(f"{out}: is a file; choose a folder with --out")
        if any(out.iterdir()):
            _check_ours(out)


def _check_ours(out: Path) -> None:
    """Refuse a folder that we did not write, or in which somebody has worked."""
    names = sorted(p.name for p in out.iterdir() if p.name not in DROPPINGS)
    held = [name for name in names if name.startswith(LOCKS)]
    if held:
        msg = f"{out / held[0]}: somebody has this open; close it and run again"
        raise OutputError(msg)
    known = _hashes(out)
    foreign = [name for name in names if name not in (*known, MANIFEST)]
    if foreign:
        msg = f"{out}: holds {foreign[0]}, which no incident review wrote; move it away"
        raise OutputError(f"{msg} or choose another folder with --out")
    for name in names:
        if name != MANIFEST and sha256(out / name) != known[name]:
            msg = f"{out / name}: was edited and is not overwritten; move it away or"
            raise OutputError(f"{msg} choose another folder with --out")


def _hashes(out: Path) -> dict[str, str]:
    try:
        run = json.loads((out / MANIFEST).read_text(encoding="utf-8"))
        if run[MARK] == KIND:
            return dict(run["files"])
    except (OSError, ValueError, KeyError, TypeError):
        pass
    msg = f"{out}: holds files and was not written by steadyfall incident; "
    raise OutputError(f"{msg}choose another folder with --out")


def publish_incident(
    files: Files,
    asked: Asked,
    out: Path | None = None,
    *,
    progress: Callable[[str], None] | None = None,
    run_at: datetime | None = None,
) -> tuple[Path, pd.DataFrame]:
    """Write the review of one infusion into its folder, or nothing.

    The exports are read once, in the notebook.

    Parameters
    ----------
    files : Files
        Exports, policy and layout; opened for reading only.
    asked : Asked
        Which infusion.
    out : Path, optional
        Folder of the review; without one, under ``reports`` by the infusion's id.
    progress : callable, optional
        Called with a few words at each step.
    run_at : datetime, optional
        Time of running for ``run.json``, with offset; the clock's if not given.

    Returns
    -------
    page : Path
        The document.
    account : DataFrame
        What was read: one row a file, as in `Log`.

    Raises
    ------
    SteadyfallError
        A file cannot be used, no infusion or more than one is meant, or the folder
        cannot be written. Nothing is published.
    """
    say = progress or _silent
    asked.checked()
    if out is not None:
        check_incident_folder(out)
    elif asked.infusion:
        check_incident_folder(default_folder(asked.infusion))
    policy = files.policy()
    files.layout()  # refused here, if at all, before a notebook is started
    say("reading the export")
    executed = _run(files, asked, say)
    read = handed_back(executed)
    out = (out or default_folder(read.infusion_id)).resolve()
    check_incident_folder(out)
    with made_whole(out) as staged:
        _write(executed, read.infusion_id, staged)
        _sign(_manifest(read, policy, asked, run_at), staged)
        say("putting the review in its place")
        if out.exists() and any(out.iterdir()):
            _check_ours(out)
    return out / PAGE, read.account


def _silent(words: str) -> None:
    del words


def _run(files: Files, asked: Asked, say: Callable[[str], None]) -> NotebookNode:
    """Run the notebook where it finds nothing but what it is given."""
    values: dict[str, object] = {
        "exports": [str(path.resolve()) for path in files.exports],
        **asdict(asked),
        "policy": _absolute(files.policy_file),
        "layout": _absolute(files.layout_file),
    }
    notebook = with_parameters(load_notebook(NOTEBOOK), values)
    with tempfile.TemporaryDirectory(prefix="steadyfall-") as empty:
        return run_notebook(notebook, Path(empty), say)


def _write(executed: NotebookNode, infusion_id: str, staged: Path) -> None:
    page = to_page(executed, f"Incident review, {infusion_id}", FRAME)
    (staged / PAGE).write_text(page, encoding="utf-8", newline="\n")
    text = nbformat.writes(executed)
    (staged / EXECUTED).write_text(text + "\n", encoding="utf-8", newline="\n")


def _absolute(path: Path | None) -> str:
    return str(path.resolve()) if path is not None else ""


def _manifest(
    read: WhatWasRead, policy: Policy, asked: Asked, run_at: datetime | None
) -> dict[str, Any]:
    now = run_at or datetime.now(UTC)
    return {
        MARK: KIND,
        "versions": versions(),
        "run_at": now.isoformat(timespec="seconds"),
        "infusion": read.infusion_id,
        "asked": asdict(asked),
        "policy": {
            "name": policy.name,
            "sha256": hashlib.sha256(policy.text.encode()).hexdigest(),
            "is_example": policy.is_example,
            "text": policy.text,
        },
        "account": json.loads(read.account.to_json(orient="records")),
        "notes": list(read.notes),
    }


def _sign(run: dict[str, Any], staged: Path) -> None:
    """Write ``run.json`` with the hashes of the files: an edited one is told by it."""
    hashes = {name: sha256(staged / name) for name in (PAGE, EXECUTED)}
    text = json.dumps({**run, "files": hashes}, indent=2, ensure_ascii=False)
    (staged / MANIFEST).write_text(text + "\n", encoding="utf-8", newline="\n")
