"""The whole command on a machine in trouble, in a process of its own."""

import json
import os
import subprocess
import sys
from pathlib import Path
from threading import Event, Thread

import pytest

from tests.faults.child import assert_unconnected, contents, lonely, run
from tests.tiny import syringe, write_csv

VOLUMES = {0.0: 16.0, 4.0: 13.3, 8.0: 10.6, 12.0: 8.0, 16.0: 5.3, 20.0: 2.6, 23.9: 0.0}
ON_LINUX = pytest.mark.skipif(
    sys.platform != "linux", reason="the trouble is made by means of Linux"
)


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


@pytest.mark.parametrize(
    "name",
    [
        pytest.param("отчёт 1", id="another script"),
        pytest.param("März & [April] 'neu'", id="blanks, brackets and quotes"),
        pytest.param("C:\\exports\\ward 1", id="the form of a Windows path", marks=
                     pytest.mark.skipif(os.name == "nt", reason="a path there")),
        pytest.param("x" * 200, id="a long one"),
    ],
)  # fmt: skip
def test_paths_of_other_forms(tmp_path: Path, name: str) -> None:
    folder = tmp_path / "Überwachung März" / name
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


def test_a_machine_without_home_folder_and_without_network(
    tmp_path: Path, log: Path
) -> None:
    """The whole report, its kernel too; what is refused would be told."""
    env = lonely(tmp_path / "site")
    out = tmp_path / "report"
    done = run("audit", log, "--out", out, env=env)
    assert done.returncode == 0, done.stderr
    assert_unconnected(done.stderr)
    assert "image/svg+xml" in (out / "report.html").read_text(encoding="utf-8")
    # The hook is in force: what it is there for is refused.
    told = run(
        before="import socket; socket.create_connection(('192.0.2.1', 80))", env=env
    )
    assert told.returncode != 0
    assert "CONNECTED" in told.stderr or "ASKED FOR" in told.stderr


@ON_LINUX
def test_a_disk_that_fills_up_while_the_notebook_runs(log: Path, out: Path) -> None:
    """The tables fit and the page does not."""
    before = contents(out)
    limit = "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (60_000,) * 2)"
    done = run("audit", log, "--out", out, before=limit)
    assert done.returncode == 2, done.stderr
    assert "Traceback" not in done.stderr
    assert contents(out) == before
    assert [p.name for p in out.parent.iterdir()] == ["2026-06"]


#: Makes the process one that may not write what is not its own; a first run, into
#: another folder, has read by then what nobody may read, its own modules and policy.
AS_NOBODY = """
    import os
    from analysis.cli import steadyfall
    words = [*sys.argv[1:-1], sys.argv[-1] + "-first"]
    steadyfall.main(words, standalone_mode=False)
    os.setgid(65534)
    os.setuid(65534)
"""


@ON_LINUX
@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() != 0,
    reason="only root can become somebody who may not write",
)
def test_a_report_that_may_only_be_read(log: Path, out: Path) -> None:
    for folder in [log.parent, *log.parent.parents][:4]:
        folder.chmod(folder.stat().st_mode | 0o055)
    before = contents(out)
    done = run("audit", log, "--tables-only", "--out", out, before=AS_NOBODY)
    assert_one_sentence(done, "cannot be")
    assert contents(out) == before
    assert {p.name for p in out.parent.iterdir()} == {"2026-06", "2026-06-first"}


def test_a_machine_without_fonts(log: Path, tmp_path: Path) -> None:
    """Letters come with the package that draws: no font of the system is needed."""
    none = """
        import matplotlib.font_manager as fonts
        fonts.findSystemFonts = lambda *_, **__: []
    """
    env = {**os.environ, "MPLCONFIGDIR": str(tmp_path / "empty")}
    done = run("audit", log, "--out", tmp_path / "out", before=none, env=env)
    assert done.returncode == 0, done.stderr
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert "image/svg+xml" in page


#: Waits within the folder's lock until the other run has been told.
HOLDING = """
    import time
    from pathlib import Path
    import sys
    module = __import__("analysis.report", fromlist=["publish"])
    inner = sys.modules["analysis.report.publish"]
    plain = inner.write_tables
    def held(*args, **more):
        Path(sys.argv[-1] + ".here").touch()
        while not Path(sys.argv[-1] + ".go").exists():
            time.sleep(0.05)
        return plain(*args, **more)
    inner.write_tables = held
"""


def test_two_audits_into_one_folder_at_once(log: Path, out: Path) -> None:
    """The second is told to wait and changes nothing; the first is whole."""
    here, go = (out.with_name(f"{out.name}.{end}") for end in ("here", "go"))
    told: list[subprocess.CompletedProcess[str]] = []

    is_over = Event()

    def second() -> None:
        while not here.exists() and not is_over.wait(0.05):
            pass
        try:
            told.append(run("audit", log, "--tables-only", "--out", out))
        finally:
            go.touch()

    other = Thread(target=second)
    other.start()
    first = run("audit", log, "--tables-only", "--out", out, before=HOLDING)
    is_over.set()
    other.join()
    here.unlink(missing_ok=True)
    go.unlink()
    assert first.returncode == 0, first.stderr
    assert_one_sentence(told[0], "another run is writing this folder")
    assert [p.name for p in out.parent.iterdir()] == ["2026-06"]
    run_json = json.loads((out / "run.json").read_text(encoding="utf-8"))
    assert set(run_json["files"]) == set(contents(out))
