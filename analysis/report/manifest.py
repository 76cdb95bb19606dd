"""``run.json``: what was audited, by what, with what; the mark of a folder of ours."""

import hashlib
import json
import platform
from dataclasses import asdict
from datetime import datetime
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from analysis.audit import AuditResult
from analysis.errors import OutputError
from analysis.policy import Policy

FILE = "run.json"
MARK = "steadyfall_output"
KIND = "monthly audit"
STUDY = "study of site reactions"

_COMMANDS = {KIND: "steadyfall audit", STUDY: "steadyfall research"}

_PACKAGES = (
    "pandas",
    "numpy",
    "scipy",
    "statsmodels",
    "pyarrow",
    "matplotlib",
    "jinja2",
    "nbclient",
    "nbconvert",
    "nbformat",
    "ipykernel",
    "XlsxWriter",
    "tzdata",
)


def manifest(
    result: AuditResult, *, files: dict[str, str], run_at: datetime
) -> dict[str, Any]:
    """Collect what ``run.json`` holds.

    Parameters
    ----------
    result : AuditResult
        The audit.
    files : dict of str to str
        Files of the folder, relative to it, and the SHA-256 of those whose change
        matters; an empty text for the others.
    run_at : datetime
        Time of running, with offset. It stands here and in no other file.

    Returns
    -------
    dict
        Plain values, ready for JSON; a missing number is None.
    """
    return {
        MARK: KIND,
        "versions": versions(),
        "run_at": run_at.isoformat(timespec="seconds"),
        "month": result.month,
        "is_part_of_month": bool(result.is_part_of_month),
        "log_start": result.log_start.isoformat(),
        "log_end": result.log_end.isoformat(),
        "policy": policy_part(result.policy),
        "account": plain(result.account),
        "noise": plain(result.noise),
        "threshold": asdict(result.threshold),
        "not_in_export": dict(result.not_in_export),
        "notes": list(result.notes),
        "qualifiers": plain(result.qualifiers),
        "files": files,
    }


def policy_part(policy: Policy) -> dict[str, Any]:
    """Give what ``run.json`` holds of a policy.

    Parameters
    ----------
    policy : Policy
        The limits in force.

    Returns
    -------
    dict
        All of its text, and its hash.
    """
    return {
        "name": policy.name,
        "path": policy.path,
        "sha256": hashlib.sha256(policy.text.encode()).hexdigest(),
        "is_example": policy.is_example,
        "text": policy.text,
    }


def write_manifest(content: dict[str, Any], folder: Path) -> None:
    """Write ``run.json`` into `folder`.

    Parameters
    ----------
    content : dict
        As `manifest` gives it.
    folder : Path
        Folder of the report.
    """
    text = json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False)
    (folder / FILE).write_text(text + "\n", encoding="utf-8", newline="\n")


def read_manifest(folder: Path | str, kind: str = KIND) -> dict[str, Any]:
    """Read ``run.json`` of a folder that an audit or a study wrote.

    Parameters
    ----------
    folder : Path or str
        Folder of a report.
    kind : str
        Which of the two.

    Returns
    -------
    dict
        As `manifest` gave it.

    Raises
    ------
    OutputError
        There is none, or it is not ours.
    """
    path = Path(folder) / FILE
    not_ours = f"{folder}: is not a folder written by {_COMMANDS[kind]}"
    if not path.parent.exists():
        raise OutputError(f"{folder}: no such folder")
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except (FileNotFoundError, NotADirectoryError):
        raise OutputError(f"{not_ours}: it has no {FILE}") from None
    except OSError:
        raise OutputError(f"{path}: cannot be read; close it and run again") from None
    except ValueError:
        raise OutputError(f"{not_ours}: its {FILE} is damaged") from None
    if not isinstance(content, dict) or content.get(MARK) != kind:
        raise OutputError(not_ours)
    return content


def versions() -> dict[str, str]:
    """Give the versions of the program, of Python and of the libraries it rests on.

    Returns
    -------
    dict of str to str
        Name and version.
    """
    return {
        "steadyfall": metadata.version("steadyfall"),
        "python": platform.python_version(),
        **{name: metadata.version(name) for name in _PACKAGES},
    }


def sha256(path: Path) -> str:
    """Give the SHA-256 of a file's bytes, in hexadecimal.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def plain(frame: pd.DataFrame) -> dict[str, list[Any]]:
    """Give a frame as plain values, ready for JSON.

    Parameters
    ----------
    frame : DataFrame
        Of texts and numbers.

    Returns
    -------
    dict
        columns and rows; a missing value is None.
    """
    rows = [[_value(cell) for cell in row] for row in frame.itertuples(index=False)]
    return {"columns": list(frame.columns), "rows": rows}


def _value(cell: Any) -> Any:
    if pd.isna(cell):
        return None
    return cell.item() if isinstance(cell, np.generic) else cell
