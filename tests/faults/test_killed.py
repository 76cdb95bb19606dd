"""A run that is killed at any moment leaves the old report whole, or the new one.

The child is killed by itself, at each of its operations on files in turn; it forks, so
these tests are left out where a process cannot.
"""

import os
import signal
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pandas as pd
import pytest

from analysis.audit import AuditResult
from analysis.report import check_output_folder, publish
from tests.tiny import audit, syringe

pytestmark = pytest.mark.skipif(
    not hasattr(os, "fork"), reason="no fork: a killed run cannot be watched"
)

RUN_AT = pd.Timestamp("2026-11-03 09:00", tz="UTC").to_pydatetime()
VOLUMES = {0.0: 16.0, 4.0: 13.3, 8.0: 10.6, 12.0: 8.0, 16.0: 5.3, 20.0: 2.6, 23.9: 0.0}
#: What Python tells of as it is about to do it (PEP 578).
CHANGES = frozenset({"open", "os.rename", "os.mkdir", "os.rmdir", "os.remove"})


def contents(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def killed_before(change: int, folder: Path, work: Callable[[], object]) -> bool:
    """Do some work in a child that is killed before its n-th change under a folder.

    Give whether it was killed, rather than done with fewer changes.
    """
    child = os.fork()
    if child == 0:
        left = change

        def count(event: str, args: tuple[object, ...]) -> None:
            nonlocal left
            if event not in CHANGES or not str(args[0]).startswith(str(folder)):
                return
            if event == "open" and not int(str(args[2])) & (os.O_WRONLY | os.O_RDWR):
                return
            left -= 1
            if left < 0:
                os.kill(os.getpid(), signal.SIGKILL)

        sys.addaudithook(count)
        try:
            work()
        finally:
            os._exit(0)
    _, status = os.waitpid(child, 0)
    return os.WIFSIGNALED(status)


@pytest.fixture(scope="module")
def results(
    tmp_path_factory: pytest.TempPathFactory,
) -> tuple[AuditResult, AuditResult]:
    """Give the audits of two logs of one syringe, which differ in a volume."""
    folder = tmp_path_factory.mktemp("logs")
    other = {**VOLUMES, 8.0: 10.9}
    return (
        audit(folder / "old", syringe(VOLUMES)),
        audit(folder / "new", syringe(other)),
    )


def states(
    results: tuple[AuditResult, AuditResult], folder: Path
) -> Iterator[tuple[int, dict[str, bytes]]]:
    """Kill one run after another, each a step later, and give what is found then."""
    old, new = results
    out = folder / "2026-06"
    publish(old, out, tables_only=True, run_at=RUN_AT)
    change = 0
    while killed_before(
        change, folder, lambda: publish(new, out, tables_only=True, run_at=RUN_AT)
    ):
        check_output_folder(out)  # what the next start does first
        assert [p.name for p in folder.iterdir() if p.is_dir()] == ["2026-06"]
        yield change, contents(out)
        publish(old, out, tables_only=True, run_at=RUN_AT)
        change += 1
    yield -1, contents(out)


def test_a_killed_run_leaves_one_whole_report(
    results: tuple[AuditResult, AuditResult], tmp_path: Path
) -> None:
    whole = []
    for name, result in zip(("old", "new"), results, strict=True):
        out = tmp_path / name / "2026-06"
        publish(result, out, tables_only=True, run_at=RUN_AT)
        whole.append(contents(out))
    old, new = whole
    assert old != new
    (tmp_path / "reports").mkdir()
    seen = list(states(results, tmp_path / "reports"))
    assert seen[-1] == (-1, new)
    kinds = [found == new for _, found in seen[:-1]]
    assert all(found in (old, new) for _, found in seen)
    # From one step on it is the new one; before it, the old one.
    assert kinds == sorted(kinds)
    assert len(kinds) > len(new)
