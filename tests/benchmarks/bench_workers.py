"""The audit shared among processes: processor time and memory, as the log grows.

Not collected with the tests; run it by name, and with -s to see the table:

    pytest tests/benchmarks/bench_workers.py -s

Each audit is a process of its own, and writes its tables. What counts is processor time
of the first process, which nothing can shorten but more sharing, and the memory of the
largest worker, which holds a part of the log and never the log.
STEADYFALL_BENCH_INFUSIONS names the sizes; the default is 10000,40000.
"""

import hashlib
import json
import os
import subprocess
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analysis.synthetic import DEMO_PLANTING, WARDS, make_log, write_log

resource = pytest.importorskip("resource", reason="memory is read by means of Unix")

SIZES = [
    int(size)
    for size in os.environ.get("STEADYFALL_BENCH_INFUSIONS", "10000,40000").split(",")
]
WORKERS = (1, 2)

#: Megabytes that a worker may take, whatever the size of the log: 240 of them are the
#: program itself.
MOST_MB = 800

#: Infusions that the demo's wards, as they are, give in this log.
OF_THE_DEMO = 410

#: Audits, and tells what it took; a megabyte is 1024 KiB.
RUN = """
import json, resource, sys, time
from pathlib import Path
from analysis.audit import run_audit
from analysis.policy import Policy
from analysis.report import publish
from analysis.workers import spread_over

workers, out, *exports = sys.argv[1:]
with spread_over(int(workers), None) as run:
    result = run_audit([Path(path) for path in exports], Policy.example(), run=run)
    publish(result, Path(out), tables_only=True, run=run)
    own = time.process_time()
others = resource.getrusage(resource.RUSAGE_CHILDREN)
print(json.dumps({
    "own_s": own,
    "workers_s": others.ru_utime + others.ru_stime,
    "own_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    "worker_mb": others.ru_maxrss / 1024,
    "infusions": len(result.infusions),
}))
"""


def exports_of(folder: Path, infusions: int) -> list[Path]:
    """Write a log of the demo's wards, with as many events and slips as the demo."""
    wards = [
        replace(
            ward, infusions_per_month=ward.infusions_per_month * infusions / OF_THE_DEMO
        )
        for ward in WARDS
    ]
    made = make_log(
        rng=np.random.default_rng(1),
        wards=wards,
        first_day=date(2026, 5, 1),
        days=62,
        planting=DEMO_PLANTING,
    )
    write_log(made, folder)
    return [folder / f"{name}.csv" for name in ("checks", "infusions", "lines")]


def taken(workers: int, out: Path, exports: list[Path]) -> dict[str, Any]:
    """Audit in a process of its own, and say what it took."""
    command = [sys.executable, "-c", RUN, str(workers), str(out), *map(str, exports)]
    done = subprocess.run(command, check=True, capture_output=True, text=True)  # noqa: S603
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def hashes(folder: Path) -> dict[str, str]:
    return {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.glob("tables/*.csv")
    }


@pytest.mark.parametrize("size", SIZES)
def test_what_sharing_takes(tmp_path: Path, size: int) -> None:
    folder = tmp_path / "log"
    folder.mkdir()
    exports = exports_of(folder, size)
    megabytes = sum(path.stat().st_size for path in exports) / 1e6
    tables = []
    for workers in WORKERS:
        out = tmp_path / f"report-{workers}"
        found = taken(workers, out, exports)
        tables.append(hashes(out))
        print(  # noqa: T201 - what the benchmark is for
            f"\n{found['infusions']:,} infusions, {megabytes:.0f} MB, "
            f"{workers} workers: {found['own_s']:.1f} s of the first process and "
            f"{found['workers_s']:.1f} s of workers; {found['own_mb']:.0f} MB, "
            f"largest worker {found['worker_mb']:.0f} MB"
        )
        assert found["worker_mb"] < MOST_MB
    assert all(table == tables[0] for table in tables)
