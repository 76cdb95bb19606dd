"""The whole command on a machine in trouble, in a process of its own."""

import json
import os
import subprocess
import sys
import textwrap
from collections.abc import Mapping
from pathlib import Path

import pytest

from tests.tiny import syringe, write_csv

VOLUMES = {0.0: 16.0, 4.0: 13.3, 8.0: 10.6, 12.0: 8.0, 16.0: 5.3, 20.0: 2.6, 23.9: 0.0}
ON_LINUX = pytest.mark.skipif(
    sys.platform != "linux", reason="the trouble is made by means of Linux"
)

#: Runs the command as its entry point does, after some lines of a test's own.
RUN = "import sys\n{before}\nfrom analysis.cli import main\nsys.exit(main())"


def run(
    *arguments: object, before: str = "", env: Mapping[str, str] | None = None
) -> subprocess.CompletedProcess[str]:
    code = RUN.format(before=textwrap.dedent(before))
    return subprocess.run(  # noqa: S603 - this very interpreter
        [sys.executable, "-c", code, *map(str, arguments)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        env=dict(env) if env is not None else None,
    )


def contents(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return write_csv(tmp_path / "checks.csv", syringe(VOLUMES))


@pytest.fixture
def out(tmp_path: Path, log: Path) -> Path:
    out = tmp_path / "reports" / "2026-06"
    assert run("audit", log, "--tables-only", "--out", out).returncode == 0
    return out


def assert_one_sentence(done: subprocess.CompletedProcess[str], said: str) -> None:
    assert done.returncode == 2, done.stderr
    *_, last = done.stderr.strip().splitlines()
    assert said in last
    assert "Traceback" not in done.stderr


@ON_LINUX
@pytest.mark.parametrize("size", [0, 2_000, 5_000])
def test_a_disk_that_fills_up_while_it_writes(log: Path, out: Path, size: int) -> None:
    """A limit on the size of files stands for it: the system refuses the write."""
    before = contents(out)
    limit = f"import resource; resource.setrlimit(resource.RLIMIT_FSIZE, ({size},) * 2)"
    done = run("audit", log, "--tables-only", "--out", out, before=limit)
    assert_one_sentence(done, "File too large; nothing was written")
    assert contents(out) == before
    assert [p.name for p in out.parent.iterdir()] == ["2026-06"]


@ON_LINUX
@pytest.mark.parametrize("command", ["audit", "research"])
def test_a_folder_that_nobody_may_write(log: Path, command: str) -> None:
    done = run(command, log, "--out", "/proc/steadyfall/2026-06")
    assert_one_sentence(done, "/proc")


def test_a_clock_that_went_back(log: Path, out: Path) -> None:
    manifest = out / "run.json"
    run_json = json.loads(manifest.read_text(encoding="utf-8"))
    run_json["run_at"] = "2099-01-01T00:00:00+00:00"
    manifest.write_text(json.dumps(run_json), encoding="utf-8")
    for path in [*out.rglob("*"), out, log]:
        os.utime(path, (4e9, 4e9))
    done = run("audit", log, "--tables-only", "--out", out)
    assert done.returncode == 0, done.stderr
    assert json.loads(manifest.read_text(encoding="utf-8"))["run_at"] < "2099"


def test_paths_in_other_scripts(tmp_path: Path) -> None:
    folder = tmp_path / "Überwachung März" / "отчёт 1"
    folder.mkdir(parents=True)
    log = write_csv(folder / "診断 checks.csv", syringe(VOLUMES))
    out = folder / "rapport été"
    done = run("audit", log, "--tables-only", "--out", out)
    assert done.returncode == 0, done.stderr
    assert (
        json.loads((out / "run.json").read_text(encoding="utf-8"))["account"]["rows"][
            0
        ][0]
        == log.name
    )


#: Refuses every connection but to this machine, in the run and in its kernel.
ONLY_HERE = """
    import sys

    def refuse(event, args):
        if event == "socket.connect":
            where = args[1]
            host = where[0] if isinstance(where, tuple) else "127.0.0.1"
            if host not in ("127.0.0.1", "::1", "localhost"):
                print("CONNECTED", where, file=sys.stderr, flush=True)
                raise OSError(f"no connection to {where}")
        elif event == "socket.getaddrinfo" and args[0] not in (
            None, "", "127.0.0.1", "::1", "localhost", "0.0.0.0",
        ):
            print("ASKED FOR", args[0], file=sys.stderr, flush=True)
            raise OSError(f"no name {args[0]}")

    sys.addaudithook(refuse)
"""


def test_a_machine_without_home_folder_and_without_network(
    tmp_path: Path, log: Path
) -> None:
    """The whole report, its kernel too; what is refused would be told."""
    site = tmp_path / "site"
    site.mkdir()
    (site / "sitecustomize.py").write_text(textwrap.dedent(ONLY_HERE), encoding="utf-8")
    kept = ("PATH", "SYSTEMROOT", "TEMP", "TMPDIR", "LANG")
    env = {name: os.environ[name] for name in kept if name in os.environ}
    env |= {
        "HOME": "/nonexistent",
        "USERPROFILE": "/nonexistent",
        "PYTHONPATH": str(site),
    }
    out = tmp_path / "report"
    done = run("audit", log, "--out", out, env=env)
    assert done.returncode == 0, done.stderr
    assert "CONNECTED" not in done.stderr
    assert "ASKED FOR" not in done.stderr
    assert "image/svg+xml" in (out / "report.html").read_text(encoding="utf-8")
    # The hook is in force: what it is there for is refused.
    told = run(
        before="import socket; socket.create_connection(('192.0.2.1', 80))", env=env
    )
    assert told.returncode != 0
    assert "CONNECTED" in told.stderr or "ASKED FOR" in told.stderr


@pytest.mark.parametrize("threads", ["1", "2", "7"])
def test_tables_are_the_same_at_any_number_of_threads(
    log: Path, out: Path, tmp_path: Path, threads: str
) -> None:
    names = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS",
             "NUMEXPR_NUM_THREADS", "ARROW_NUM_THREADS")  # fmt: skip
    env = {**os.environ, **dict.fromkeys(names, threads)}
    other = tmp_path / "other"
    done = run("audit", log, "--tables-only", "--out", other, env=env)
    assert done.returncode == 0, done.stderr
    assert contents(other / "tables") == contents(out / "tables")
