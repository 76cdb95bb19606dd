"""One map for work that falls into parts: here, on processes, or on a Dask scheduler.

Parts go out in order, a few at a time, and come back in that order, so that what is
made of them does not depend on who did which. A part whose worker was killed is done
again elsewhere. Nothing is written to a disk: parts travel through pipes, or to the
scheduler that was named.
"""

import logging
import os
import pickle
import platform
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import AbstractContextManager, contextmanager, nullcontext
from importlib.metadata import PackageNotFoundError, version
from ipaddress import ip_address
from itertools import islice
from multiprocessing import get_context, parent_process
from typing import Any, Protocol, TypeVar

from analysis.errors import WorkerError
from analysis.threads import side_by_side

T = TypeVar("T")
R = TypeVar("R")

#: So often may workers be killed in one run; then it is no chance.
_MOST_KILLED = 2

#: Parts on their way, for each worker: one at work and one waiting for it.
_AHEAD = 2

#: Packages that a result depends on to the last digit.
_PACKAGES = ("steadyfall", "numpy", "pandas", "pyarrow", "scipy", "statsmodels")


class Map(Protocol):
    """Does a function to each of many parts, and gives the results in their order."""

    def __call__(
        self, function: Callable[[T], R], parts: Iterable[T], /
    ) -> Iterator[R]:
        """Do `function` to each of `parts`.

        Parameters
        ----------
        function : callable
            Pure, and importable by name: it may run in another process.
        parts : iterable
            Taken as they are needed.

        Yields
        ------
        object
            The results, in the order of the parts.
        """


def one_by_one(function: Callable[[T], R], parts: Iterable[T], /) -> Iterator[R]:
    """Do a function to each part, one after another, in this process.

    Parameters
    ----------
    function : callable
        Of one part.
    parts : iterable
        Taken as they are needed.

    Returns
    -------
    iterator
        The results, in order.

    Examples
    --------
    >>> list(one_by_one(abs, [-1, 2]))
    [1, 2]
    """
    return map(function, parts)


def on_cores(run: Map) -> Map:
    """Choose threads of this process where parts would be done one after another.

    For parts that are mostly arithmetic on large arrays, and fit into memory together.

    Parameters
    ----------
    run : Map
        As chosen by `spread_over`.

    Returns
    -------
    Map
        `run` itself, if it is more than one after another.
    """
    return _on_threads if run is one_by_one else run


def _on_threads(function: Callable[[T], R], parts: Iterable[T], /) -> Iterator[R]:
    return iter(side_by_side(function, parts))


def spread_over(workers: int, scheduler: str | None) -> AbstractContextManager[Map]:
    """Choose who does the parts.

    Parameters
    ----------
    workers : int
        Processes on this machine; 1 is this process alone.
    scheduler : str or None
        Address of a Dask scheduler, whose workers do them instead.

    Returns
    -------
    context manager of Map
        Workers of our own end with it.

    Raises
    ------
    WorkerError
        The scheduler cannot be used.
    """
    if scheduler is not None:
        return on_scheduler(scheduler)
    return on_processes(workers) if workers > 1 else nullcontext(one_by_one)


# --- processes ---


@contextmanager
def on_processes(workers: int) -> Iterator[Map]:
    """Do parts on processes of this machine, started anew and not forked.

    Parameters
    ----------
    workers : int
        How many.

    Yields
    ------
    Map
        Raises `WorkerError` where workers are killed again and again.
    """
    processes = _Processes(workers)
    try:
        yield processes
    finally:
        processes.close()


class _Processes:
    """Parts on processes; when one is killed, those under way are done again."""

    def __init__(self, workers: int) -> None:
        self._workers = workers
        self._killed = 0
        self._pool = self._started()

    def _started(self) -> ProcessPoolExecutor:
        # A fork would copy locks held by threads, and is not to be had everywhere.
        return ProcessPoolExecutor(
            self._workers, mp_context=get_context("spawn"), initializer=_as_worker
        )

    def close(self) -> None:
        """End the workers, once each has finished its part."""
        self._pool.shutdown(cancel_futures=True)

    def __call__(
        self, function: Callable[[T], R], parts: Iterable[T], /
    ) -> Iterator[R]:
        """Do `function` to each of `parts`; see `Map`."""
        left = iter(parts)
        waiting: deque[T] = deque()
        asked: deque[Future[R]] = deque()
        while True:
            waiting.extend(islice(left, _AHEAD * self._workers - len(waiting)))
            if not waiting:
                return
            try:
                for part in islice(waiting, len(asked), None):
                    asked.append(self._pool.submit(function, part))
                result = asked[0].result()
            except BrokenProcessPool:
                self._start_again()
                asked.clear()
                continue
            waiting.popleft()
            asked.popleft()
            yield result

    def _start_again(self) -> None:
        self._killed += 1
        self._pool.shutdown(cancel_futures=True)
        if self._killed > _MOST_KILLED:
            msg = f"--workers {self._workers}: workers were killed {self._killed} "
            msg += "times, most likely for want of memory; nothing was published, run "
            raise WorkerError(f"{msg}with fewer workers")
        self._pool = self._started()


def _as_worker() -> None:
    """Leave Ctrl-C to the parent, and end with it, however it ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


# --- a Dask scheduler ---

#: Seconds that a scheduler may take to answer, and may be without any worker.
_ANSWERS_S, _WITHOUT_S = 10, 60

#: Those that Dask gives a level of their own.
_LOGGERS = ("distributed", "distributed.client", "tornado", "tornado.application")


@contextmanager
def on_scheduler(address: str) -> Iterator[Map]:
    """Do parts on the workers of a Dask scheduler.

    Parameters
    ----------
    address : str
        ``tcp://127.0.0.1:8786`` on this machine; elsewhere ``tls://``, with the
        certificates that Dask's own configuration names.

    Yields
    ------
    Map
        Raises `WorkerError` where the scheduler or its workers are lost, or are not of
        the same versions, or could write parts to a disk.

    Raises
    ------
    WorkerError
        It is not installed, not allowed, or does not answer.
    """
    _check_address(address)
    try:
        from dask import config  # noqa: PLC0415 - an extra, which few have
        from distributed import Client  # noqa: PLC0415
    except ImportError:
        msg = "--scheduler: needs what pip install 'steadyfall[cluster]' installs"
        raise WorkerError(msg) from None
    # A part is larger than what Dask warns of, and is needed once.
    large = {"distributed.admin.large-graph-warning-threshold": "1GB"}
    with config.set(large), _silent():
        try:
            client = Client(address, timeout=_ANSWERS_S, set_as_default=False)
        except (OSError, TimeoutError, ValueError, TypeError) as error:
            msg = f"--scheduler {address}: no Dask scheduler answers there"
            raise WorkerError(f"{msg} ({type(error).__name__})") from None
        with client:
            yield _Scheduler(client, address)


@contextmanager
def _silent() -> Iterator[None]:
    """Keep Dask from logging what is said in a sentence."""
    loggers = [logging.getLogger(name) for name in _LOGGERS]
    before = [logger.level for logger in loggers]
    try:
        for logger in loggers:
            logger.setLevel(logging.CRITICAL + 1)
        yield
    finally:
        for logger, level in zip(loggers, before, strict=True):
            logger.setLevel(level)


def _check_address(address: str) -> None:
    """Refuse to send rows about patients to another machine unencrypted."""
    protocol, mark, where = address.partition("://")
    host, _, port = where.rpartition(":")
    if not mark or not host or not port or protocol not in ("tcp", "tls"):
        msg = f"--scheduler {address}: write it as tcp://127.0.0.1:8786, or tls://"
        raise WorkerError(f"{msg} and the host and port")
    if not _may_be_told(address):
        msg = f"--scheduler {address}: would send rows about patients unencrypted; use "
        raise WorkerError(f"{msg}a tls:// address, or a scheduler on this machine")


def _may_be_told(address: str) -> bool:
    """Tell an address that is encrypted, or this machine: no name is looked up."""
    protocol, _, where = address.partition("://")
    host = where.rpartition(":")[0]
    if protocol == "tls" or host == "localhost":
        return True
    try:
        return ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


class _Part:
    """A function and its part, or a result, that logs of a cluster cannot show."""

    __slots__ = ("data",)

    def __init__(self, content: object) -> None:
        self.data = pickle.dumps(content)

    def __repr__(self) -> str:
        return "<part of a log>"

    def opened(self) -> Any:
        return pickle.loads(self.data)  # noqa: S301 - from the cluster, which is trusted


class _Scheduler:
    """Parts on a scheduler's workers; Dask does those of a lost worker again."""

    def __init__(self, client: Any, address: str) -> None:
        self._client = client
        self._named = f"--scheduler {address}"

    def __call__(
        self, function: Callable[[T], R], parts: Iterable[T], /
    ) -> Iterator[R]:
        """Do `function` to each of `parts`; see `Map`."""
        own = _versions()
        left = iter(parts)
        asked: deque[Any] = deque()
        while True:
            for part in islice(left, max(0, self._ahead() - len(asked))):
                content = _Part((function, part))
                asked.append(self._client.submit(_done_there, content, own, pure=False))
            if not asked:
                return
            yield self._result(asked[0])
            asked.popleft()

    def _ahead(self) -> int:
        workers = self._client.scheduler_info(n_workers=-1)["workers"]
        for address in workers:
            if not _may_be_told(address):
                self._fail(
                    f"its worker {address} would receive rows about patients "
                    "unencrypted; start it with --host 127.0.0.1, or use TLS"
                )
        threads = sum(int(worker["nthreads"]) for worker in workers.values())
        return _AHEAD * max(threads, 1)

    def _result(self, future: Any) -> Any:
        from distributed import KilledWorker  # noqa: PLC0415
        from distributed.client import FutureCancelledError  # noqa: PLC0415
        from distributed.comm.core import CommClosedError  # noqa: PLC0415

        without = 0
        while True:
            try:
                found: _Part = future.result(timeout=_ANSWERS_S)
            except TimeoutError:
                busy = self._client.scheduler_info()["workers"]
                without = 0 if busy else without + _ANSWERS_S
                if without >= _WITHOUT_S:
                    self._fail("has no worker; start some")
            except KilledWorker:
                self._fail(
                    "workers were killed again and again, most likely for want of "
                    "memory"
                )
            except (FutureCancelledError, CommClosedError):
                self._fail("was lost")
            except ModuleNotFoundError as error:
                self._fail(f"a worker has no module {error.name}; install steadyfall")
            else:
                return found.opened()

    def _fail(self, why: str) -> None:
        raise WorkerError(f"{self._named}: {why}; nothing was published") from None


def _done_there(content: _Part, wanted: dict[str, str]) -> _Part:
    """Do one part in a worker of a scheduler, if it may."""
    from distributed import get_worker  # noqa: PLC0415

    if found := {k: v for k, v in _versions().items() if v != wanted.get(k)}:
        name, has = next(iter(found.items()))
        msg = f"--scheduler: a worker has {name} {has or 'not'}, here it is "
        raise WorkerError(f"{msg}{wanted[name]}; tables would differ")
    # Anything but a plain mapping writes what does not fit into memory to a disk.
    if type(get_worker().data) is not dict:
        msg = "--scheduler: a worker may write rows about patients to its disk; start "
        raise WorkerError(f"{msg}it with --memory-limit 0")
    function, part = content.opened()
    return _Part(function(part))


def _versions() -> dict[str, str]:
    found = {"Python": platform.python_version()}
    for name in _PACKAGES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = ""
    return found
