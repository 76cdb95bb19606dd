"""The audit of the demo log, in a folder of its own: what the notebook shows alone."""

import atexit
import shutil
import tempfile
from importlib import resources
from pathlib import Path

from analysis.audit import run_audit
from analysis.policy import Policy
from analysis.report.publish import publish


def report_folder(folder: str) -> Path:
    """Give the folder of the report to be shown.

    Parameters
    ----------
    folder : str
        Folder of a report; empty for the demo log, which is audited then.

    Returns
    -------
    Path
        As given; of the demo log a temporary one, gone when the notebook is closed.
    """
    return Path(folder) if folder else _demo_folder()


def _demo_folder() -> Path:
    kept = Path(tempfile.mkdtemp(prefix="steadyfall-demo-"))
    atexit.register(shutil.rmtree, kept, ignore_errors=True)
    with resources.as_file(resources.files("analysis._demo")) as log:
        names = ("checks.csv", "infusions.csv", "lines.csv")
        policy = Policy.load(log / "policy.toml")
        result = run_audit([log / name for name in names], policy)
    return publish(result, kept / "report", tables_only=True)
