"""What a person chooses, what would be read of it, and the report made of it."""

from collections.abc import Callable
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

import pandas as pd

from analysis.audit import run_audit
from analysis.errors import InputError
from analysis.intake import Log, read_exports
from analysis.intake.layout import Layout
from analysis.intake.layout_file import load_layout
from analysis.lookup import written
from analysis.policy import Policy
from analysis.report import publish
from analysis.report.dry_run import dry_run
from analysis.review import read_decisions

_TABLES = {".csv", ".txt", ".tsv", ".xlsx"}

#: Beginning of a part that only a layout has.
_LAYOUT_PART = "[[table]]"

#: Documents of a report's folder that a person opens.
_DOCUMENTS = ("report.html", "review.xlsx", "report.ipynb")


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """Files of a folder that can be chosen, by what they are, sorted by name."""

    exports: tuple[Path, ...]
    policies: tuple[Path, ...]
    layouts: tuple[Path, ...]
    reviews: tuple[Path, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What a person chose.

    Attributes
    ----------
    exports : tuple of Path
        Files of the log.
    policy_file : Path or None
        None for the shipped example policy.
    layout_file : Path or None
        None where the export needs none.
    reviews : tuple of Path
        Working lists that were filled in: last month's, or one's own copy.
    month : str or None
        YYYY-MM; None for the month that ended last.
    out : Path or None
        Folder of the report; None for ``reports/<month>``.
    """

    exports: tuple[Path, ...]
    policy_file: Path | None = None
    layout_file: Path | None = None
    reviews: tuple[Path, ...] = ()
    month: str | None = None
    out: Path | None = None


def choices_in(folder: Path | str) -> Choices:
    """List what can be chosen in a folder.

    Parameters
    ----------
    folder : Path or str
        Folder of the exports; one without any gives the demo log and its policy.

    Returns
    -------
    Choices
        Exports by their ending; TOML files are policies or layouts by what they hold;
        working lists by their names, those of reports below the folder among them.
    """
    own = _choices(Path(folder))
    if own.exports:
        return own
    demo = _choices(Path(str(resources.files("analysis._demo"))))
    exports = [path for path in demo.exports if not path.stem.startswith("truth")]
    return Choices(
        exports=tuple(exports),
        policies=demo.policies,
        layouts=(),
        reviews=own.reviews,
    )


def _choices(folder: Path) -> Choices:
    files = sorted(p for p in folder.glob("*") if p.is_file())
    settings = [path for path in files if path.suffix == ".toml"]
    lists = [path for path in files if _is_list(path)]
    # Where reports go: beside the files, or where the notebook stands.
    made = {p.resolve() for p in (folder / "reports", Path("reports"))}
    below = sorted((p for f in made for p in f.glob("*/review.xlsx")), reverse=True)
    is_layout = [_LAYOUT_PART in p.read_text("utf-8", "replace") for p in settings]
    pairs = [*zip(settings, is_layout, strict=True)]
    return Choices(
        exports=tuple(
            p for p in files if p.suffix.lower() in _TABLES and p not in lists
        ),
        policies=tuple(path for path, is_one in pairs if not is_one),
        layouts=tuple(path for path, is_one in pairs if is_one),
        reviews=(*lists, *below),
    )


def _is_list(path: Path) -> bool:
    """Say whether a file is a working list: a CSV by its header, a workbook by name."""
    if path.suffix.lower() == ".csv":
        with path.open(encoding="utf-8", errors="replace") as file:
            return "finding_id" in file.readline(1000)
    return path.suffix.lower() == ".xlsx" and path.name.lower().startswith("review")


def row_account(asked: Asked) -> list[str]:
    """Say what would be read, row by row accounted for; nothing is written.

    Parameters
    ----------
    asked : Asked
        What was chosen.

    Returns
    -------
    list of str
        Lines, as the command ``intake`` prints them.

    Raises
    ------
    SteadyfallError
        A file cannot be used: one sentence.
    """
    return dry_run(_log(asked), asked.layout_file, pd.Timestamp.now("UTC"))


def months_in(asked: Asked) -> list[str]:
    """Name the months that the log has rows of.

    Parameters
    ----------
    asked : Asked
        What was chosen.

    Returns
    -------
    list of str
        YYYY-MM, the newest first.

    Raises
    ------
    SteadyfallError
        A file cannot be used: says which, and what to do.
    """
    moments = _log(asked).checks["checked_at"].dropna()
    return sorted(written(moments, "%Y-%m").unique(), reverse=True)


def make_report(asked: Asked, progress: Callable[[str], None] | None = None) -> Path:
    """Audit what was chosen and publish the report.

    Parameters
    ----------
    asked : Asked
        What was chosen.
    progress : callable, optional
        Called with a few words at each step.

    Returns
    -------
    Path
        The page.

    Raises
    ------
    SteadyfallError
        Something cannot be used; nothing is written then.
    """
    policy, layout = _settings(asked)
    given = read_decisions(asked.reviews)
    result = run_audit(
        _exports(asked),
        policy,
        month=asked.month,
        layout=layout,
        progress=progress,
        now=pd.Timestamp.now("UTC"),
    )
    out = asked.out or Path("reports") / result.month
    return publish(result, out, given=given, progress=progress)


def documents_of(page: Path) -> list[Path]:
    """Name the documents beside a report that a person opens.

    Parameters
    ----------
    page : Path
        The report's page.

    Returns
    -------
    list of Path
        The page first; those that are not there are left out.
    """
    beside = [page.parent / name for name in _DOCUMENTS]
    return [path for path in beside if path.exists()]


def _log(asked: Asked) -> Log:
    policy, layout = _settings(asked)
    return read_exports(_exports(asked), policy, layout)


def _exports(asked: Asked) -> list[Path]:
    if not asked.exports:
        raise InputError("no file of a log is chosen; choose at least the check log")
    return [*asked.exports]


def _settings(asked: Asked) -> tuple[Policy, Layout | None]:
    policy = Policy.load(asked.policy_file) if asked.policy_file else Policy.example()
    return policy, load_layout(asked.layout_file) if asked.layout_file else None
