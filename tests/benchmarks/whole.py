"""One audit, step by step: how long each takes and the most memory it is seen with.

Run as a process of its own by `bench_stages`, so that nothing but the audit is in it:

    python -m tests.benchmarks.whole FOLDER ROUNDS

prints JSON: rows of the exports, medians of warm runs in processor time, of each step
and of the plain way beside it, and the peak of memory of each step in the first run.
"""

import json
import re
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

from analysis.audit import STAGES, AuditResult, run_audit
from analysis.intake import Log, read_exports
from analysis.policy import Policy
from analysis.report import publish
from tests.benchmarks import plain
from tests.benchmarks.logs import FILES
from tests.benchmarks.timed import median_s

STATUS, FORGET = Path("/proc/self/status"), Path("/proc/self/clear_refs")
WRITING = "writing the tables"
STEPS = (*STAGES, WRITING)


def peak_bytes() -> int:
    """Give the most memory held since the last `forget_peak`; 0 where unknown."""
    if not STATUS.exists():
        return 0
    found = re.search(r"VmHWM:\s*(\d+) kB", STATUS.read_text(encoding="utf-8"))
    return int(found[1]) * 1024 if found else 0


def forget_peak() -> None:
    """Have the system count the peak of memory anew (proc(5), clear_refs)."""
    if FORGET.exists():
        FORGET.write_text("5", encoding="utf-8")


class Steps:
    """Time and memory of each step of a run, told of as it begins."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}
        self.peaks: dict[str, int] = {}
        self.at, self.began = "", 0.0

    def begin(self, step: str) -> None:
        """Close the step at work, and begin the next."""
        if self.at in STEPS:
            self.seconds[self.at] = time.process_time() - self.began
            self.peaks[self.at] = peak_bytes()
        forget_peak()
        self.at, self.began = step, time.process_time()


def audit(exports: list[Path], policy: Policy) -> tuple[Steps, AuditResult]:
    """Audit and write the tables, as the command does with --tables-only."""
    steps = Steps()
    result = run_audit(exports, policy, progress=steps.begin)
    with tempfile.TemporaryDirectory() as folder:
        publish(result, Path(folder, "out"), tables_only=True, progress=steps.begin)
    return steps, result


def plain_ways(
    exports: list[Path], log: Log, result: AuditResult, into: Path
) -> dict[str, Callable[[], object]]:
    """Give the plain way to do each step that has one."""
    table = plain.plain_table(log)
    return {
        "reading the export": lambda: plain.read_plainly(exports),
        "delivery": lambda: plain.off_the_line(table),
        "adherence": lambda: plain.plain_means(log),
        "sites": lambda: plain.plain_rate(log),
        WRITING: lambda: plain.write_plainly(result, into),
    }


def measured(exports: list[Path], rounds: int) -> dict[str, object]:
    """Measure a log."""
    policy = Policy.example()
    first, result = audit(exports, policy)
    log = read_exports(exports, policy)
    into = tempfile.TemporaryDirectory()
    ways = plain_ways(exports, log, result, Path(into.name))
    beside = {step: median_s(way, rounds or 1) for step, way in ways.items()}
    sizes = {
        "infusions": len(result.infusions),
        "checks": len(result.readings),
        "bytes": sum(path.stat().st_size for path in exports),
    }
    into.cleanup()
    del ways, log, result
    runs = [audit(exports, policy)[0] for _ in range(rounds)] or [first]
    return {
        **sizes,
        "rounds": rounds,
        "peaks": first.peaks,
        "seconds": {s: median(run.seconds[s] for run in runs) for s in STEPS},
        "whole": median(sum(run.seconds.values()) for run in runs),
        "beside": beside,
    }


if __name__ == "__main__":
    where, times = sys.argv[1:]
    files = [Path(where, f"{name}.csv") for name in FILES]
    sys.stdout.write(json.dumps(measured(files, int(times))))
