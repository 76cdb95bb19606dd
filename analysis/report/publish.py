"""A report into its folder: written beside it, then swapped in by renames.

A reader finds the old report whole or the new one whole. Two hidden folders beside the
folder of the report exist while this runs; what a killed run left of them is put right
at the next start.
"""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import nbformat
import pandas as pd

from analysis.audit import AuditResult
from analysis.columns import DECISIONS
from analysis.errors import InputError, OutputError
from analysis.report import workbook
from analysis.report.manifest import (
    FILE as MANIFEST,
)
from analysis.report.manifest import (
    manifest,
    read_manifest,
    sha256,
    write_manifest,
)
from analysis.report.notebook import (
    NOTEBOOK,
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
from analysis.report.tables import (
    FOLDER,
    review_files,
    table_files,
    write_review,
    write_tables,
)
from analysis.review import (
    no_decisions,
    put_to_what_stood,
    put_together,
    read_decisions,
    what_stood,
)
from analysis.terms import ReviewState
from analysis.workers import Map, one_by_one

PAGE = "report.html"
EXECUTED = "report.ipynb"

#: Working lists in a report's folder; once edited they are a person's work.
_LISTS = (workbook.FILE, workbook.CSV_FILE)

#: Longest list of charts to pull, where nothing else is asked for.
LIST_LIMIT = 12

#: An infusion that had no end charted so long ago is no longer running: twice the usual
#: 24 h. Common practice, no source.
_RECENT = timedelta(hours=48)

Progress = Callable[[str], None]


def check_output_folder(out: Path) -> None:
    """Refuse a folder that a report must not or cannot be written to.

    Puts right what a killed run left beside it first.

    Parameters
    ----------
    out : Path
        Folder of the report; it need not exist.

    Raises
    ------
    OutputError
        It is a file; it holds something that is not ours; its review.xlsx was edited
        and cannot be read back; or it cannot be written. One sentence that says what to
        do.
    """
    out = out.resolve()
    if not out.name:
        raise OutputError(f"{out}: is no folder for a report; choose one with --out")
    with told(out):
        check_parent(out)
        repair(out)
        if not out.exists():
            return
        if not out.is_dir():
            raise OutputError(f"{out}: is a file; choose a folder with --out")
        if any(out.iterdir()):
            _check_ours(out)
            _decided_before(out)


def publish(  # noqa: PLR0913 - all but two by keyword
    result: AuditResult,
    out: Path,
    *,
    given: pd.DataFrame | None = None,
    tables_only: bool = False,
    list_limit: int = LIST_LIMIT,
    progress: Progress | None = None,
    run_at: datetime | None = None,
    run: Map = one_by_one,
) -> Path:
    """Write everything of an audit into its folder, or nothing.

    Parameters
    ----------
    result : AuditResult
        The audit.
    out : Path
        Folder of the report; missing parents are made. Decisions in its working list
        are read first and carried over.
    given : DataFrame, optional
        Decisions given back (`read_decisions`).
    tables_only : bool
        Leave out the notebook and the page; older ones do not stay beside new tables.
    list_limit : int
        Longest list of charts to pull.
    progress : callable, optional
        Called with a few words at each step.
    run_at : datetime, optional
        Time of running for ``run.json``, with offset; the clock's if not given.
    run : Map
        Writes long tables part by part.

    Returns
    -------
    Path
        The page; with `tables_only` the folder.

    Raises
    ------
    OutputError
        As for `check_output_folder`, or a file could not be written.
    NotebookError
        The notebook did not finish; the folder is as it was.
    """
    out = out.resolve()
    check_output_folder(out)
    say = progress or _silent
    lists = _list_hashes(out)
    decisions = _all_decisions(out, given)
    with made_whole(out) as staged:
        say("writing the tables")
        _fill(result, decisions, staged, run)
        now = run_at or datetime.now(UTC)
        _sign(result, staged, now, tables_only=tables_only)
        if not tables_only:
            values = {
                "folder": ".",
                "list_limit": list_limit,
                "is_recent": bool(now - result.log_end < _RECENT),
            }
            _make_page(result, staged, values, say)
        say("putting the report in its place")
        _check_unchanged(out, lists)
    return out if tables_only else out / PAGE


def _check_unchanged(out: Path, lists: dict[str, str]) -> None:
    """Look once more before the swap: somebody may have worked in the folder since.

    Parameters
    ----------
    out : Path
        Folder of the report.
    lists : dict of str to str
        Hashes of its working lists when they were read.

    Raises
    ------
    OutputError
        As for `check_output_folder`; or a working list was edited meanwhile.
    """
    if out.exists() and any(out.iterdir()):
        _check_ours(out)
    for name, hashed in _list_hashes(out).items():
        if lists.get(name) != hashed:
            msg = f"{out / name}: was edited while the report was made; run again"
            raise OutputError(msg)


def _fill(result: AuditResult, decisions: pd.DataFrame, staged: Path, run: Map) -> None:
    months = set(result.readings["month"].dropna())
    review = put_together(result.findings, decisions, months)
    write_tables(result, staged, run)
    write_review(review, staged, result.policy)
    workbook.write_workbook(result, review, staged)


def _sign(
    result: AuditResult, staged: Path, run_at: datetime, *, tables_only: bool
) -> None:
    names = [*table_files(), *review_files(), MANIFEST, *_LISTS]
    names += [] if tables_only else [PAGE, EXECUTED]
    files = dict.fromkeys(sorted(names), "") | _list_hashes(staged)
    write_manifest(manifest(result, files=files, run_at=run_at), staged)


def _make_page(
    result: AuditResult, staged: Path, values: dict[str, object], say: Progress
) -> None:
    say("starting the report")
    notebook = with_parameters(load_notebook(NOTEBOOK), values)
    executed = run_notebook(notebook, staged, say)
    page = to_page(executed, f"Syringe-driver audit, {result.month}")
    (staged / PAGE).write_text(page, encoding="utf-8", newline="\n")
    text = nbformat.writes(executed)
    (staged / EXECUTED).write_text(text + "\n", encoding="utf-8", newline="\n")


def _silent(words: str) -> None:
    del words


# --- what may be replaced ---


def _check_ours(out: Path) -> None:
    try:
        run = read_manifest(out)
    except OutputError:
        msg = (
            f"{out}: holds files and was not written by steadyfall audit; "
            "choose another folder with --out"
        )
        raise OutputError(msg) from None
    found = sorted(_files(out))
    for name in found:
        last = name.rsplit("/", 1)[-1]
        if last.startswith(LOCKS):
            msg = f"{out / name}: somebody has this open; close it and run again"
            raise OutputError(msg)
    foreign = [name for name in found if name not in run["files"]]
    if foreign:
        msg = (
            f"{out}: holds {foreign[0]}, which steadyfall did not write; "
            "move it away or choose another folder with --out"
        )
        raise OutputError(msg)


def _list_hashes(out: Path) -> dict[str, str]:
    return {name: sha256(out / name) for name in _LISTS if (out / name).exists()}


def _all_decisions(out: Path, given: pd.DataFrame | None) -> pd.DataFrame:
    """Give the decisions in the folder's own lists, and those given back."""
    nothing = no_decisions()
    own = _decided_before(out) if out.exists() and any(out.iterdir()) else nothing
    stood = what_stood(out / FOLDER / f"{DECISIONS.name}.csv")
    return put_to_what_stood(own, nothing if given is None else given, stood)


def _decided_before(out: Path) -> pd.DataFrame:
    """Read the folder's working lists: those edited, else the workbook.

    An unedited list beside an edited one holds what was decided before the last run,
    which the edited one was made from. What an unedited list calls new nobody has
    looked at yet: it stays new, so that a second run gives the same tables.
    """
    hashes = _list_hashes(out)
    known = read_manifest(out)["files"]
    edited = [name for name, hashed in hashes.items() if known.get(name) != hashed]
    if not edited:
        rows = read_decisions([out / name for name in hashes][:1])
        return rows[rows["state"] != ReviewState.NEW]
    try:
        return read_decisions([out / name for name in edited])
    except InputError as error:
        msg = (
            f"{error} (it has been edited and is not overwritten; move it away or "
            "choose another folder with --out)"
        )
        raise OutputError(msg) from None


def _files(out: Path) -> Iterator[str]:
    """Name the files of a report; a folder that is not ours counts as a file."""
    for path in out.iterdir():
        if path.name in DROPPINGS:
            continue
        if path.is_dir() and not path.is_symlink() and path.name == FOLDER:
            yield from (
                f"{FOLDER}/{inner.name}"
                for inner in path.iterdir()
                if inner.name not in DROPPINGS
            )
        else:
            yield path.name
