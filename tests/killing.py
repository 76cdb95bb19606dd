"""Workers that are killed on purpose: what tests hand to other processes by name."""

import os
import signal
import time
from collections.abc import Callable, Iterable, Iterator
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from analysis.errors import InputError
from analysis.workers import Map

T = TypeVar("T")
R = TypeVar("R")


class Killing:
    """A map whose worker is killed at one of its parts: once, or whenever it comes."""

    def __init__(self, run: Map, at: int, once: Path | None) -> None:
        self._run, self._at, self._once = run, at, once

    def __call__(
        self, function: Callable[[T], R], parts: Iterable[T], /
    ) -> Iterator[R]:
        """Do `function` to each of `parts`, and kill whoever does one of them."""
        killed: Callable[[tuple[int, T]], R] = partial(
            _killed_at, function, self._at, self._once
        )
        return self._run(killed, enumerate(parts))


def _killed_at(
    function: Callable[[T], R], at: int, once: Path | None, numbered: tuple[int, T]
) -> R:
    number, part = numbered
    if number == at and not (once and once.exists()):
        if once:
            once.write_text("killed", encoding="utf-8")
        os.kill(os.getpid(), getattr(signal, "SIGKILL", signal.SIGTERM))
        time.sleep(60)  # a signal may take its time
    return function(part)


def doubled(number: int) -> int:
    return 2 * number


def refuses(number: int) -> int:
    raise InputError(f"log.csv: line {number} cannot be read")


def fails(number: int) -> int:
    return number // 0


def waits(folder: str, number: int) -> int:
    """Tell who is at work, and work for long."""
    Path(folder, str(os.getpid())).write_text("at work", encoding="utf-8")
    time.sleep(120)
    return number


def wait_for(what: Callable[[], bool]) -> None:
    """Wait until it is so, for a minute at the longest."""
    until = time.monotonic() + 60
    while not what():
        assert time.monotonic() < until, "waited for a minute"
        time.sleep(0.1)


def contents(folder: Path) -> dict[str, bytes]:
    """Give the files of a folder, but for the one that tells the time of the run."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.name != "run.json"
    }


def demo_exports() -> list[Path]:
    demo = Path(__file__).parents[1] / "synthetic_data"
    return [demo / f"{name}.csv" for name in ("checks", "infusions", "lines")]


def environment(**more: Any) -> dict[str, str]:
    """Give the environment of a process that knows the package and the tests."""
    root = str(Path(__file__).parents[1])
    return {**os.environ, "PYTHONPATH": root, **{k: str(v) for k, v in more.items()}}
