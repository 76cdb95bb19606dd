"""Work on several processes: the same tables, and what becomes of a killed worker."""

import os
import signal
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from analysis.audit import run_audit
from analysis.errors import InputError, WorkerError
from analysis.policy import Policy
from analysis.report import publish, tables
from analysis.workers import Map, on_processes, one_by_one
from tests.killing import (
    Killing,
    contents,
    demo_exports,
    doubled,
    environment,
    fails,
    refuses,
    wait_for,
)

#: So few that each long table of the demo log has several parts.
ROWS = 400


def run(*arguments: object, before: str = "") -> subprocess.CompletedProcess[str]:
    code = f"import sys\n{textwrap.dedent(before)}\nfrom analysis.cli import main\n"
    return subprocess.run(  # noqa: S603 - this very interpreter
        [sys.executable, "-c", f"{code}sys.exit(main())", *map(str, arguments)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        env=environment(),
    )


def published(out: Path, spread: Map) -> dict[str, bytes]:
    result = run_audit(demo_exports(), Policy.example(), run=spread)
    publish(result, out, tables_only=True, run=spread)
    return contents(out)


@pytest.fixture(scope="module")
def alone(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """Give the tables of the demo log as one process writes them."""
    return published(tmp_path_factory.mktemp("alone") / "report", one_by_one)


def test_results_come_in_the_order_of_the_parts() -> None:
    with on_processes(2) as spread:
        assert list(spread(doubled, range(30))) == [2 * n for n in range(30)]
        assert list(spread(doubled, [])) == []


def test_parts_are_taken_as_they_are_needed() -> None:
    """A log of any number of parts is never all on its way."""
    parts = iter(range(1000))
    with on_processes(2) as spread:
        assert next(spread(doubled, parts)) == 0
    assert next(parts) <= 5


def test_the_tables_are_the_same_to_the_byte(
    tmp_path: Path, alone: dict[str, bytes]
) -> None:
    out = tmp_path / "report"
    few = f"import analysis.report.tables as t; t._ROWS_AT_ONCE = {ROWS}"
    given = ("audit", *demo_exports(), "--tables-only", "--out", out)
    done = run(*given, "--workers", 2, before=few)
    assert done.returncode == 0, done.stderr
    assert contents(out) == alone


def test_a_worker_that_is_killed_half_way_loses_nothing(
    tmp_path: Path, alone: dict[str, bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tables, "_ROWS_AT_ONCE", ROWS)
    once = tmp_path / "killed"
    with on_processes(2) as spread:
        assert published(tmp_path / "report", Killing(spread, 3, once)) == alone
    assert once.exists()


def test_a_part_that_kills_each_worker_ends_in_a_sentence() -> None:
    with (
        on_processes(2) as spread,
        pytest.raises(WorkerError, match="--workers 2: workers were killed 3 times"),
    ):
        list(Killing(spread, 3, None)(doubled, range(10)))


def test_workers_killed_again_and_again_leave_the_old_report_whole(
    tmp_path: Path,
) -> None:
    out = tmp_path / "report"
    given = ("audit", *demo_exports(), "--tables-only", "--out", out)
    assert run(*given).returncode == 0
    before = {path: path.read_bytes() for path in out.rglob("*") if path.is_file()}
    killing = """
        import analysis.workers, tests.killing
        made = analysis.workers._Processes.__call__
        analysis.workers._Processes.__call__ = lambda self, function, parts: (
            tests.killing.Killing(made.__get__(self), 1, None)(function, parts)
        )
    """
    done = run(*given, "--workers", 2, before=killing)
    assert done.returncode == 2, done.stderr
    assert len(done.stderr.strip().splitlines()) == 1, done.stderr
    assert "run with fewer workers" in done.stderr
    after = {path: path.read_bytes() for path in out.rglob("*") if path.is_file()}
    assert after == before
    assert [path.name for path in tmp_path.iterdir()] == ["report"]


def test_an_error_in_a_worker_is_the_error_of_the_run() -> None:
    with on_processes(2) as spread:
        with pytest.raises(InputError, match=r"^log.csv: line 0 cannot be read$"):
            list(spread(refuses, range(4)))
        with pytest.raises(ZeroDivisionError):
            list(spread(fails, range(4)))
        assert list(spread(doubled, [1])) == [2]


@pytest.mark.skipif(sys.platform == "win32", reason="the parent is killed by a signal")
def test_workers_end_with_a_parent_that_is_killed(tmp_path: Path) -> None:
    """They hold rows about patients, and nobody would be left to end them."""
    code = f"""
        from functools import partial
        from analysis.workers import on_processes
        from tests.killing import waits
        with on_processes(2) as spread:
            list(spread(partial(waits, {str(tmp_path)!r}), range(2)))
    """
    parent = subprocess.Popen(  # noqa: S603 - this very interpreter
        [sys.executable, "-c", textwrap.dedent(code)], env=environment()
    )
    try:
        wait_for(lambda: len(list(tmp_path.iterdir())) == 2)
    finally:
        parent.kill()
        parent.wait()
    workers = [int(path.name) for path in tmp_path.iterdir()]
    try:
        wait_for(lambda: not any(map(is_running, workers)))
    finally:
        for worker in filter(is_running, workers):
            os.kill(worker, signal.SIGKILL)


def is_running(process: int) -> bool:
    """Tell whether a process is there; one that nobody has asked after is not."""
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    state = Path(f"/proc/{process}/stat")
    if not state.exists():
        return not Path("/proc/self").exists()
    return state.read_text(encoding="utf-8").rpartition(")")[2].split()[0] != "Z"


#: Tells of every file that a process opens to write, and of each folder it makes.
TOLD = """
    import os, sys

    def tell(event, args):
        is_write = event == "open" and isinstance(args[2], int) and (
            args[2] & (os.O_WRONLY | os.O_RDWR)
        )
        if (is_write or event == "os.mkdir") and isinstance(args[0], str):
            print("WRITES", args[0], file=sys.stderr, flush=True)

    sys.addaudithook(tell)
"""


def test_nothing_is_written_but_the_report(tmp_path: Path) -> None:
    site, out = tmp_path / "site", tmp_path / "made" / "report"
    site.mkdir()
    (site / "sitecustomize.py").write_text(textwrap.dedent(TOLD), encoding="utf-8")
    path = os.pathsep.join([str(site), environment()["PYTHONPATH"]])
    given = ["audit", *demo_exports(), "--tables-only", "--out", out, "--workers", 2]
    done = subprocess.run(  # noqa: S603 - this very interpreter
        [sys.executable, "-m", "analysis.cli", *map(str, given)],
        capture_output=True,
        text=True,
        check=False,
        env=environment(PYTHONPATH=path, PYTHONDONTWRITEBYTECODE="1"),
    )
    assert done.returncode == 0, done.stderr
    told = (line.partition("WRITES ") for line in done.stderr.splitlines())
    wrote = [path for _, mark, path in told if mark]
    report = str(out.parent)
    assert any(path.startswith(report) for path in wrote)
    # The library of the figures keeps a list of fonts.
    mine = [path for path in wrote if "matplotlib" not in path and path != os.devnull]
    assert [path for path in mine if not path.startswith(report)] == []


@pytest.mark.parametrize(
    "options",
    [
        pytest.param(["--workers", "0"], id="no workers"),
        pytest.param(["--workers", "many"], id="no number"),
        pytest.param(
            ["--workers", "2", "--scheduler", "tcp://127.0.0.1:1"], id="both at once"
        ),
    ],
)
def test_workers_that_cannot_be_asked_for(tmp_path: Path, options: list[str]) -> None:
    done = run("audit", *demo_exports(), "--out", tmp_path / "report", *options)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert "--workers" in done.stderr
    assert not (tmp_path / "report").exists()
