"""Memory: what is free is told, and an audit that needs more says so at its start."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from analysis import memory
from analysis.cli import steadyfall
from analysis.memory import free_bytes, shortage
from tests.tiny import syringe, write_csv

GB = 10**9


def system(root: Path, available_kb: int, group: dict[str, str]) -> Path:
    """Write what a system tells of its memory."""
    (root / "proc").mkdir()
    told = f"MemTotal: 32000000 kB\nMemFree: 1 kB\nMemAvailable:   {available_kb} kB\n"
    (root / "proc/meminfo").write_text(told, encoding="utf-8")
    (root / "sys/fs/cgroup").mkdir(parents=True)
    for name, text in group.items():
        (root / "sys/fs/cgroup" / name).write_text(text, encoding="utf-8")
    return root


@pytest.mark.parametrize(
    ("group", "free"),
    [
        pytest.param({}, 8_000_000 * 1024, id="no container: what the system has"),
        pytest.param(
            {"memory.max": "max\n", "memory.current": "5\n"},
            8_000_000 * 1024,
            id="a container without a limit: what the system has",
        ),
        pytest.param(
            {"memory.max": f"{4 * GB}\n", "memory.current": f"{3 * GB}\n"},
            GB,
            id="a container with a limit: what is left of it",
        ),
        pytest.param(
            {
                "memory.max": f"{4 * GB}\n",
                "memory.current": f"{3 * GB}\n",
                "memory.stat": f"anon 7\ninactive_file {2 * GB}\nactive_file 9\n",
            },
            3 * GB,
            id="copies of files in a container can go",
        ),
        pytest.param(
            {"memory.max": f"{99 * GB}\n", "memory.current": "0\n"},
            8_000_000 * 1024,
            id="a limit above what the system has",
        ),
        pytest.param(
            {"memory.max": f"{GB}\n", "memory.current": f"{2 * GB}\n"},
            0,
            id="a container beyond its limit has nothing",
        ),
    ],
)
def test_free_memory_is_the_least_that_is_told(
    tmp_path: Path, group: dict[str, str], free: int
) -> None:
    assert free_bytes(system(tmp_path, 8_000_000, group)) == free


def test_where_nothing_is_told_the_free_memory_is_not_known(tmp_path: Path) -> None:
    assert free_bytes(tmp_path) is None


@pytest.mark.parametrize(
    ("free", "is_short"),
    [
        pytest.param(500_000_000 + 22 * 1000, False, id="just enough"),
        pytest.param(500_000_000 + 22 * 1000 - 1, True, id="a byte too little"),
        pytest.param(None, False, id="not known"),
    ],
)
def test_a_shortage_is_told_where_an_export_needs_more_than_is_free(
    tmp_path: Path, free: int | None, *, is_short: bool
) -> None:
    export = tmp_path / "checks.csv"
    export.write_bytes(b"x" * 1000)
    told = shortage([export, tmp_path / "not_there.csv"], free)
    assert bool(told) is is_short


def test_the_sentence_names_both_amounts_and_what_to_do(tmp_path: Path) -> None:
    export = tmp_path / "checks.csv"
    with export.open("wb") as file:
        file.truncate(3 * GB)  # takes no room on the disk
    told = shortage([export], 15 * GB)
    assert told.startswith("An export of 3 GB takes about 66 GB of memory and 15 GB")
    assert "fewer months or fewer wards" in told


def test_an_audit_says_so_before_it_begins_and_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    export = write_csv(tmp_path / "checks.csv", syringe({0: 15, 4: 12.3, 8: 9.6}))
    monkeypatch.setattr(memory, "free_bytes", lambda: GB // 4)
    command = ["audit", str(export), "--tables-only", "--out", str(tmp_path / "out")]
    done = CliRunner().invoke(steadyfall, command)
    assert done.exit_code == 0, done.output
    assert done.stderr.startswith("An export of ")
    assert "0.25 GB are free" in done.stderr
    monkeypatch.setattr(memory, "free_bytes", lambda: 99 * GB)
    assert "are free" not in CliRunner().invoke(steadyfall, command).stderr
