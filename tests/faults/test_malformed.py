"""No malformed export takes memory or time that is out of proportion to it."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.skipif(
    sys.platform != "linux", reason="memory and its limits are those of Linux"
)
if sys.platform == "linux":
    from tests.faults.malformed import MADE

ROOT = Path(__file__).parents[2]
#: Beyond what was held before: so many times the file, and what any small file takes.
MOST_TIMES, MOST_FIXED = 40, 250_000_000


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, Any]]:
    """Have a process of its own make and read them all; what stops it is told."""
    done = subprocess.run(  # noqa: S603 - this very interpreter
        [sys.executable, "-m", "tests.faults.malformed", tmp_path_factory.mktemp("m")],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    assert done.returncode == 0, (lines[-1:], done.stderr[-2000:])
    return {line["name"]: line for line in lines}


@pytest.mark.parametrize("name", MADE)
def test_a_malformed_export_is_read_or_refused_in_bounds(
    told: dict[str, dict[str, Any]], name: str
) -> None:
    one = told[name]
    assert one["ended"].startswith(("read", "refused: export.csv"))
    assert "does not balance" not in one["ended"]
    assert len(one["ended"]) < 2_000
    assert one["beyond"] <= MOST_TIMES * one["size"] + MOST_FIXED


def test_a_file_that_is_read_is_measured(told: dict[str, dict[str, Any]]) -> None:
    """The measure itself works: what is read takes at least the file's own bytes."""
    one = told["one endless line"]
    assert one["beyond"] > one["size"]
