"""Work on a Dask scheduler: a real one with two workers, on this machine alone."""

import json
import shutil
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from analysis import workers
from analysis.audit import run_audit
from analysis.errors import InputError, WorkerError
from analysis.policy import Policy
from analysis.report import publish, tables
from analysis.workers import Map, on_scheduler, one_by_one, spread_over
from tests.killing import (
    Killing,
    contents,
    demo_exports,
    doubled,
    environment,
    refuses,
    wait_for,
)

pytest.importorskip("distributed", reason="steadyfall[cluster] is not installed")
dask = pytest.importorskip("dask")

#: So few that each long table of the demo log has several parts.
ROWS = 400
_MODULE = "distributed.cli.dask_"


class Cluster:
    """A scheduler and workers, each a process of its own that nobody starts anew."""

    def __init__(self, folder: Path, tls: Mapping[str, str] | None = None) -> None:
        self.folder = folder
        self._host = "tls://127.0.0.1" if tls else "127.0.0.1"
        self._environment = environment(
            DASK_TEMPORARY_DIRECTORY=folder / "scratch", **(tls or {})
        )
        self._file = folder / "scheduler.json"
        self._processes = [
            self._started("scheduler", "--port", "0", "--scheduler-file", self._file)
        ]

    @property
    def address(self) -> str:
        """Give the scheduler's address once it has one."""
        wait_for(self._has_address)
        found: str = json.loads(self._file.read_text("utf-8"))["address"]
        return found

    def _has_address(self) -> bool:
        return self._file.exists() and self._file.read_text("utf-8").endswith("}")

    def add_workers(self, count: int, *options: str) -> None:
        """Start workers of one thread each, which keep all they have in memory."""
        wait_for(self._has_address)
        for _ in range(count):
            process = self._started(
                "worker",
                *("--scheduler-file", self._file, "--no-nanny", "--nthreads", "1"),
                *("--local-directory", self.folder / "scratch"),
                *(options or ("--memory-limit", "0")),
            )
            self._processes.append(process)

    def _started(self, what: str, *options: object) -> subprocess.Popen[bytes]:
        own = ["-m", _MODULE + what, "--host", self._host, "--no-dashboard"]
        with (self.folder / f"{what}.log").open("ab") as log:
            return subprocess.Popen(  # noqa: S603 - this very interpreter
                [sys.executable, *own, *map(str, options)],
                env=self._environment,
                stdout=subprocess.DEVNULL,
                stderr=log,
            )

    def running_workers(self) -> int:
        """Count the workers that are still there."""
        return sum(process.poll() is None for process in self._processes[1:])

    def stop_scheduler(self) -> None:
        """End the scheduler at once."""
        self._processes[0].kill()
        self._processes[0].wait()

    def stop(self) -> None:
        """End them all."""
        for process in self._processes:
            process.kill()
            process.wait()


@contextmanager
def cluster(
    folder: Path, count: int, *options: str, tls: Mapping[str, str] | None = None
) -> Iterator[Cluster]:
    found = Cluster(folder, tls)
    try:
        found.add_workers(count, *options)
        yield found
    finally:
        found.stop()


@pytest.fixture
def two_workers(tmp_path: Path) -> Iterator[Cluster]:
    with cluster(tmp_path, 2) as found:
        yield found


@pytest.fixture(scope="module")
def alone(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """Give the tables of the demo log as one process writes them."""
    return published(tmp_path_factory.mktemp("alone") / "report", one_by_one)


def published(out: Path, spread: Map) -> dict[str, bytes]:
    result = run_audit(demo_exports(), Policy.example(), run=spread)
    publish(result, out, tables_only=True, run=spread)
    return contents(out)


def test_a_worker_that_is_killed_half_way_loses_nothing(
    tmp_path: Path,
    two_workers: Cluster,
    alone: dict[str, bytes],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The tables are those of one process, to the byte; nothing is left on a disk."""
    monkeypatch.setattr(tables, "_ROWS_AT_ONCE", ROWS)
    once = tmp_path / "killed"
    with on_scheduler(two_workers.address) as spread:
        assert published(tmp_path / "report", Killing(spread, 3, once)) == alone
    assert once.exists()
    assert two_workers.running_workers() == 1
    left = [p.read_bytes() for p in (tmp_path / "scratch").rglob("*") if p.is_file()]
    logs = [p.read_bytes() for p in tmp_path.glob("*.log")]
    assert not any(b"Q26713" in text for text in [*left, *logs])


def test_an_error_in_a_worker_is_the_error_of_the_run(two_workers: Cluster) -> None:
    with on_scheduler(two_workers.address) as spread:
        with pytest.raises(InputError, match=r"^log.csv: line 0 cannot be read$"):
            list(spread(refuses, range(4)))
        assert list(spread(doubled, range(40))) == [2 * n for n in range(40)]


def test_what_a_cluster_logs_of_a_part_says_nothing_of_it() -> None:
    """Workers write to their logs what they were doing when it failed."""
    assert repr(workers._Part(("rows", ["Q26713"]))) == "<part of a log>"


def test_the_command_gives_the_same_tables(
    tmp_path: Path, two_workers: Cluster, alone: dict[str, bytes]
) -> None:
    given = [*demo_exports(), "--tables-only", "--out", tmp_path / "report"]
    given += ["--scheduler", two_workers.address]
    done = subprocess.run(  # noqa: S603 - this very interpreter
        [sys.executable, "-m", "analysis.cli", "audit", *map(str, given)],
        capture_output=True,
        text=True,
        check=False,
        env=environment(),
    )
    assert done.returncode == 0, done.stderr
    assert not done.stderr
    assert contents(tmp_path / "report") == alone


def test_a_part_that_kills_each_worker_ends_in_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(workers, "_ANSWERS_S", 2)
    with (
        cluster(tmp_path, 5) as found,
        on_scheduler(found.address) as spread,
        pytest.raises(WorkerError, match="killed again and again"),
    ):
        list(Killing(spread, 0, None)(doubled, [1]))


def test_a_scheduler_without_workers_ends_in_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(workers, "_ANSWERS_S", 1)
    monkeypatch.setattr(workers, "_WITHOUT_S", 2)
    with (
        cluster(tmp_path, 0) as found,
        on_scheduler(found.address) as spread,
        pytest.raises(WorkerError, match="has no worker; start some"),
    ):
        list(spread(doubled, [1]))


#: Shares parts, waits for a word, and goes on.
SHARES = """
import sys
from analysis.errors import WorkerError
from analysis.workers import on_scheduler
from tests.killing import doubled
try:
    with on_scheduler(sys.argv[1]) as spread:
        results = spread(doubled, range(100))
        print(next(results), flush=True)
        input()
        list(results)
except WorkerError as error:
    sys.exit(str(error))
"""


def test_a_scheduler_that_is_lost_ends_in_one_sentence(two_workers: Cluster) -> None:
    """Dask's own words for it are not among what a person sees."""
    command = [sys.executable, "-c", SHARES, two_workers.address]
    with subprocess.Popen(  # noqa: S603 - this very interpreter
        command,
        env=environment(),
        text=True,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as sharing:
        assert sharing.stdout is not None
        assert sharing.stdout.readline() == "0\n"
        two_workers.stop_scheduler()
        _, told = sharing.communicate("go on\n", timeout=120)
    assert sharing.returncode == 1
    assert told == (
        f"--scheduler {two_workers.address}: was lost; nothing was published\n"
    )


def test_a_worker_that_may_write_to_its_disk_is_refused(tmp_path: Path) -> None:
    with (
        cluster(tmp_path, 1, "--memory-limit", "2GB") as found,
        on_scheduler(found.address) as spread,
        pytest.raises(WorkerError, match="start it with --memory-limit 0"),
    ):
        list(spread(doubled, [1]))


def test_a_worker_of_another_version_is_refused(
    two_workers: Cluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = {**workers._versions(), "numpy": "2.0.0"}
    monkeypatch.setattr(workers, "_versions", lambda: other)
    with (
        on_scheduler(two_workers.address) as spread,
        pytest.raises(WorkerError, match=r"a worker has numpy .*, here it is 2\.0\.0"),
    ):
        list(spread(doubled, [1]))


def test_a_worker_on_another_machine_is_told_nothing_unencrypted() -> None:
    """The scheduler may be here, and its workers anywhere."""

    class Client:
        def scheduler_info(self, n_workers: int) -> dict[str, Any]:
            assert n_workers == -1  # all of them
            own = {"nthreads": 1}
            return {"workers": {"tcp://127.0.0.1:1": own, "tcp://192.0.2.7:1": own}}

    spread = workers._Scheduler(Client(), "tcp://127.0.0.1:8786")
    with pytest.raises(WorkerError, match=r"its worker tcp://192\.0\.2\.7:1 would"):
        list(spread(doubled, [1]))


@pytest.mark.skipif(
    shutil.which("openssl") is None, reason="openssl, which makes a certificate"
)
def test_a_scheduler_may_be_spoken_to_by_tls(tmp_path: Path) -> None:
    key, certificate = tmp_path / "key.pem", tmp_path / "certificate.pem"
    own = "req -x509 -newkey rsa:2048 -nodes -days 2 -subj /CN=127.0.0.1"
    subprocess.run(  # noqa: S603 - no input of anybody's
        ["openssl", *own.split(), "-keyout", key, "-out", certificate],  # noqa: S607
        check=True,
        capture_output=True,
    )
    of = {"ca-file": str(certificate)}
    for who in ("scheduler", "worker", "client"):
        of |= {f"{who}.key": str(key), f"{who}.cert": str(certificate)}
    names = {f"distributed.comm.tls.{name}": value for name, value in of.items()}
    env = {
        "DASK_" + name.upper().replace(".", "__").replace("-", "_"): value
        for name, value in names.items()
    }
    with (
        cluster(tmp_path, 1, tls=env) as found,
        dask.config.set(names),
        on_scheduler(found.address) as spread,
    ):
        assert found.address.startswith("tls://")
        assert list(spread(doubled, range(5))) == [0, 2, 4, 6, 8]


def test_no_scheduler_there_is_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workers, "_ANSWERS_S", 1)
    with (
        pytest.raises(WorkerError, match="no Dask scheduler answers there"),
        on_scheduler("tcp://127.0.0.1:9"),
    ):
        pass


@pytest.mark.parametrize(
    ("address", "said"),
    [
        pytest.param("tcp://192.0.2.7:8786", "unencrypted", id="another machine"),
        pytest.param("tcp://cluster.example:8786", "unencrypted", id="by name"),
        pytest.param(
            "tcp://localhost.example:8786", "unencrypted", id="a name like this one's"
        ),
        pytest.param("tcp://127.example:8786", "unencrypted", id="a name of digits"),
        pytest.param("ws://127.0.0.1:8786", "write it as tcp://", id="another way"),
        pytest.param("127.0.0.1:8786", "write it as tcp://", id="no protocol"),
        pytest.param("tcp://", "write it as tcp://", id="no host"),
        pytest.param("", "write it as tcp://", id="nothing"),
    ],
)
def test_an_address_that_is_not_used(address: str, said: str) -> None:
    with pytest.raises(WorkerError, match=said), spread_over(1, address):
        pass


def test_what_is_lacking_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with (
        pytest.raises(WorkerError, match=r"steadyfall\[cluster\]"),
        on_scheduler("tcp://127.0.0.1:8786"),
    ):
        pass
