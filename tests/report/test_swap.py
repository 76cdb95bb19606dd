"""A folder is written by one run at a time, and a killed run stands in nobody's way."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from analysis.errors import OutputError
from analysis.report.swap import made_whole, repair

#: Holds the folder until it is killed.
HOLDS = """
import sys, time
from pathlib import Path
from analysis.report.swap import made_whole
with made_whole(Path(sys.argv[1])) as staged:
    (staged / "half.csv").write_text("half", encoding="utf-8")
    print("writing", flush=True)
    time.sleep(60)
"""


def made(out: Path, text: str) -> None:
    with made_whole(out) as staged:
        (staged / "a.csv").write_text(text, encoding="utf-8")


def test_a_second_run_is_told_to_wait_and_the_first_one_finishes(
    tmp_path: Path,
) -> None:
    out = tmp_path / "new" / "out"
    with made_whole(out) as staged:
        (staged / "a.csv").write_text("first", encoding="utf-8")
        with pytest.raises(OutputError, match="another run is writing this folder"):
            made(out, "second")
        with pytest.raises(OutputError, match="another run is writing this folder"):
            repair(out)
    assert (out / "a.csv").read_text(encoding="utf-8") == "first"
    assert [p.name for p in out.parent.iterdir()] == ["out"]
    made(out, "second")
    assert (out / "a.csv").read_text(encoding="utf-8") == "second"


@pytest.mark.skipif(sys.platform == "win32", reason="no signals to kill by")
def test_a_run_killed_while_it_writes_leaves_the_old_folder_and_frees_it(
    tmp_path: Path,
) -> None:
    out = tmp_path / "out"
    made(out, "old")
    with subprocess.Popen(  # noqa: S603 - this very interpreter
        [sys.executable, "-c", HOLDS, str(out)], stdout=subprocess.PIPE, text=True
    ) as run:
        assert run.stdout is not None
        assert run.stdout.readline() == "writing\n"
        with pytest.raises(OutputError, match="another run is writing this folder"):
            repair(out)
        os.kill(run.pid, signal.SIGKILL)
        run.wait()
    assert (out / "a.csv").read_text(encoding="utf-8") == "old"
    repair(out)
    assert (out / "a.csv").read_text(encoding="utf-8") == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_what_fails_while_it_writes_leaves_all_as_it_was(tmp_path: Path) -> None:
    out = tmp_path / "new" / "out"
    with pytest.raises(ZeroDivisionError), made_whole(out):
        raise ZeroDivisionError
    assert list(tmp_path.iterdir()) == []
