"""The same log gives the same tables, to the byte, however the machine is set up.

A second interpreter, with another minor version of pandas or the oldest versions that
are allowed, is named by STEADYFALL_OTHER_PYTHON; its environment needs no steadyfall:

    python3 -m venv other && other/bin/pip install . "pandas==3.0.*"
    STEADYFALL_OTHER_PYTHON=other/bin/python pytest tests/faults/test_same_tables.py
"""

import io
import json
import os
import subprocess
from importlib import resources
from pathlib import Path

import pandas as pd
import pytest

from tests.faults.child import contents, run

OTHER = os.environ.get("STEADYFALL_OTHER_PYTHON", "")
THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
FILES = ("checks", "infusions", "lines")


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """Give the demo log, with the parts that threads and sums are about."""
    folder = tmp_path_factory.mktemp("demo")
    for name in FILES:
        text = resources.files("analysis._demo").joinpath(f"{name}.csv").read_bytes()
        (folder / f"{name}.csv").write_bytes(text)
    return [str(folder / f"{name}.csv") for name in FILES]


@pytest.fixture(scope="module")
def tables(
    demo: list[str], tmp_path_factory: pytest.TempPathFactory
) -> dict[str, bytes]:
    """Give the tables as one thread and one seed of hashing make them."""
    out = tmp_path_factory.mktemp("one") / "out"
    env = os.environ | dict.fromkeys(THREADS, "1") | {"PYTHONHASHSEED": "0"}
    done = run("audit", *demo, "--tables-only", "--out", out, env=env)
    assert done.returncode == 0, done.stderr
    return contents(out / "tables")


@pytest.mark.parametrize(
    ("threads", "seed"),
    [
        pytest.param("2", "1", id="two threads, another seed of hashing"),
        pytest.param("4", "424242", id="four threads, a third seed of hashing"),
    ],
)
def test_threads_and_hashing_change_no_byte(
    demo: list[str], tables: dict[str, bytes], tmp_path: Path, threads: str, seed: str
) -> None:
    out = tmp_path / "out"
    env = os.environ | dict.fromkeys(THREADS, threads) | {"PYTHONHASHSEED": seed}
    done = run("audit", *demo, "--tables-only", "--out", out, env=env)
    assert done.returncode == 0, done.stderr
    assert contents(out / "tables") == tables


@pytest.mark.skipif(not OTHER, reason="STEADYFALL_OTHER_PYTHON names no interpreter")
def test_another_version_of_pandas_changes_no_byte(
    demo: list[str], tables: dict[str, bytes], tmp_path: Path
) -> None:
    version = subprocess.run(  # noqa: S603 - the interpreter that was named
        [OTHER, "-c", "import pandas; print(pandas.__version__)"],
        check=True,
        capture_output=True,
        text=True,
    ).stdout.strip()
    assert version.split(".")[:2] != pd.__version__.split(".")[:2]
    out = tmp_path / "out"
    done = run("audit", *demo, "--tables-only", "--out", out, python=OTHER)
    assert done.returncode == 0, done.stderr
    manifest = json.loads((out / "run.json").read_text(encoding="utf-8"))
    assert manifest["versions"]["pandas"] == version
    assert contents(out / "tables") == tables


#: Columns that say where a row stands. What rests on the rows above and below it in its
#: file is said in words: an unreadable time between two others, a time out of order.
OF_PLACES = {
    "findings": ["first_source", "last_source", "sentence"],
    "readings": ["source"],
    "units": ["first_source", "last_source", "source"],
}


@pytest.mark.parametrize(
    "step",
    [
        pytest.param(1, id="in two files"),
        pytest.param(-1, id="in two files, the last row first"),
    ],
)
def test_where_rows_stand_changes_nothing_but_places(
    demo: list[str], tables: dict[str, bytes], tmp_path: Path, step: int
) -> None:
    checks = Path(demo[0]).read_text(encoding="utf-8").splitlines(keepends=True)
    header, rows = checks[0], checks[1:][::step]
    half = len(rows) // 2
    parts = {"b.csv": rows[:half], "a.csv": rows[half:]}
    for name, part in parts.items():
        (tmp_path / name).write_text(header + "".join(part), encoding="utf-8")
    out = tmp_path / "out"
    exports = [*(str(tmp_path / name) for name in parts), *demo[1:]]
    done = run("audit", *exports, "--tables-only", "--out", out)
    assert done.returncode == 0, done.stderr
    for name in ("findings", "infusions", "measures", "units", "rates", "readings"):
        before, after = (
            pd.read_csv(source, dtype="str", keep_default_na=False).drop(
                columns=OF_PLACES.get(name, []), errors="ignore"
            )
            for source in (
                io.BytesIO(tables[f"{name}.csv"]),
                out / "tables" / f"{name}.csv",
            )
        )
        by = list(before.columns)
        pd.testing.assert_frame_equal(
            before.sort_values(by, ignore_index=True),
            after.sort_values(by, ignore_index=True),
            obj=name,
        )
