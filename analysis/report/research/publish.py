"""A study of site reactions into its folder, or nothing."""

from collections.abc import Callable
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import nbformat
import pandas as pd

from analysis.errors import OutputError
from analysis.report.manifest import (
    FILE as MANIFEST,
)
from analysis.report.manifest import (
    MARK,
    STUDY,
    plain,
    policy_part,
    read_manifest,
    versions,
    write_manifest,
)
from analysis.report.notebook import (
    Frame,
    load_notebook,
    run_notebook,
    to_page,
    with_parameters,
)
from analysis.report.read_back import policy_of, read_table, records
from analysis.report.research.package import FILE as PACKAGE
from analysis.report.research.package import write_package
from analysis.report.swap import (
    DROPPINGS,
    check_parent,
    made_whole,
    repair,
    told,
)
from analysis.report.tables import FOLDER, as_text, write_csv
from analysis.research import Extract, Study
from analysis.research import columns as tables

NOTEBOOK: Final = "site_reactions.ipynb"
PAGE: Final = "report.html"
EXECUTED: Final = "report.ipynb"
EXTRACT: Final = "extract"

_FRAME: Final = Frame(
    parts=(
        ("answer", "In short"),
        ("next", "What to do next"),
        ("definition", "Definition"),
        ("flow", "Flow"),
        ("rates", "Rates"),
        ("time", "Time to reaction"),
        ("lasting", "How long sites last"),
        ("association", "Association"),
        ("extract", "Extract"),
        ("policy", "Policy"),
        ("cautions", "Cautions"),
        ("versions", "Versions"),
    ),
    closing="An association is no cause, and no reaction recorded is not no reaction. "
    "Figures of small groups can point at persons: share them only as your service "
    "approves.",
)

Progress = Callable[[str], None]


def check_study_folder(out: Path) -> None:
    """Refuse a folder that a study must not or cannot be written to.

    Puts right what a killed run left beside it first.

    Parameters
    ----------
    out : Path
        Folder of the study; it need not exist.

    Raises
    ------
    OutputError
        It is a file, it holds something that is not ours, or it cannot be written. One
        sentence that says what to do.
    """
    out = out.resolve()
    if not out.name:
        raise OutputError(f"{out}: is no folder for a study; choose one with --out")
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
    try:
        known = {*read_manifest(out, STUDY)["files"]}
    except OutputError:
        msg = f"{out}: holds files and was not written by steadyfall research"
        raise OutputError(f"{msg}; choose another folder with --out") from None
    known |= {MANIFEST, FOLDER, EXTRACT}
    for path in sorted(out.rglob("*")):
        name = path.relative_to(out).as_posix()
        if name not in known and not DROPPINGS & set(path.relative_to(out).parts):
            msg = f"{out}: holds {name}, which steadyfall did not write; move it away"
            raise OutputError(f"{msg} or choose another folder with --out")


def publish_study(  # noqa: PLR0913 - all but three by keyword
    study: Study,
    extract: Extract | None,
    out: Path,
    *,
    tables_only: bool = False,
    progress: Progress | None = None,
    run_at: datetime | None = None,
) -> Path:
    """Write everything of a study into its folder, or nothing.

    Parameters
    ----------
    study : Study
        The study.
    extract : Extract or None
        Goes into a folder of its own within it; None: there is none.
    out : Path
        Folder of the study; missing parents are made.
    tables_only : bool
        Leave out the notebook and the page.
    progress : callable, optional
        Called with a few words at each step.
    run_at : datetime, optional
        Time of running for ``run.json``, with offset; the clock's if not given.

    Returns
    -------
    Path
        The page; with `tables_only` the folder.

    Raises
    ------
    OutputError
        As for `check_study_folder`, or a file could not be written.
    NotebookError
        The notebook did not finish; the folder is as it was.
    """
    out = out.resolve()
    check_study_folder(out)
    say = progress or _silent
    with made_whole(out) as staged:
        say("writing the tables")
        _write_tables(study, extract, staged)
        names = _names(extract, tables_only=tables_only)
        now = run_at or datetime.now(UTC)
        write_manifest(_manifest(study, extract, names, now), staged)
        if not tables_only:
            _make_page(staged, say)
        _check_again(out)
    return out if tables_only else out / PAGE


def _check_again(out: Path) -> None:
    """Look once more before the swap: somebody may have worked in the folder since."""
    if out.exists() and any(out.iterdir()):
        _check_ours(out)


def _silent(words: str) -> None:
    del words


def _names(extract: Extract | None, *, tables_only: bool) -> list[str]:
    names = [f"{FOLDER}/{table.name}.csv" for table in tables.STUDY]
    if extract is not None:
        names += [f"{EXTRACT}/{table.name}.csv" for table in tables.EXTRACT]
        names.append(f"{EXTRACT}/{PACKAGE}")
    return [*names, *([] if tables_only else [PAGE, EXECUTED])]


def _write_tables(study: Study, extract: Extract | None, staged: Path) -> None:
    (staged / FOLDER).mkdir()
    for table in tables.STUDY:
        text = as_text(getattr(study, table.name), table, study.policy)
        write_csv(text, staged / FOLDER / f"{table.name}.csv")
    if extract is None:
        return
    (staged / EXTRACT).mkdir()
    for table in tables.EXTRACT:
        text = as_text(getattr(extract, table.name), table, study.policy)
        write_csv(text, staged / EXTRACT / f"{table.name}.csv")
    write_package(extract, staged / EXTRACT)


def _manifest(
    study: Study, extract: Extract | None, names: list[str], run_at: datetime
) -> dict[str, Any]:
    return {
        MARK: STUDY,
        "versions": versions(),
        "run_at": run_at.isoformat(timespec="seconds"),
        "log_start": study.log_start.isoformat(),
        "log_end": study.log_end.isoformat(),
        "policy": policy_part(study.policy),
        "account": plain(study.account),
        "sites": study.sites,
        "patients": study.patients,
        "absent": study.absent,
        "notes": list(study.notes),
        "joint_note": study.joint_note,
        "extract_least": None if extract is None else extract.least,
        "whole_days": extract is not None and extract.whole_days,
        "linkage": None if extract is None else asdict(extract.linkage),
        "files": dict.fromkeys(sorted(names), ""),
    }


def _make_page(staged: Path, say: Progress) -> None:
    say("starting the report")
    notebook = with_parameters(load_notebook(NOTEBOOK), {"folder": "."})
    executed = run_notebook(notebook, staged, say)
    page = to_page(executed, "Site reactions: a study", _FRAME)
    (staged / PAGE).write_text(page, encoding="utf-8", newline="\n")
    text = nbformat.writes(executed)
    (staged / EXECUTED).write_text(text + "\n", encoding="utf-8", newline="\n")


def read_study(folder: Path | str) -> Study:
    """Read a published study back from its tables and ``run.json``.

    Parameters
    ----------
    folder : Path or str
        Folder of a study.

    Returns
    -------
    Study
        As published: numbers to their printed decimals.

    Raises
    ------
    OutputError
        The folder is not one of ours, or a table is missing.
    """
    folder = Path(folder)
    run = read_manifest(folder, STUDY)
    policy = policy_of(run)
    return Study(
        policy=policy,
        log_start=pd.Timestamp(run["log_start"]).tz_convert(policy.zone),
        log_end=pd.Timestamp(run["log_end"]).tz_convert(policy.zone),
        sites=run["sites"],
        patients=run["patients"],
        account=records(run["account"]),
        absent=run["absent"],
        notes=tuple(run["notes"]),
        joint_note=run["joint_note"],
        **{table.name: read_table(folder, table, policy) for table in tables.STUDY},
    )
