"""The command in a process of its own, on a machine that a test arranges."""

import os
import subprocess
import sys
import textwrap
from collections.abc import Mapping
from pathlib import Path

ROOT = Path(__file__).parents[2]

#: Runs the command as its entry point does, after some lines of a test's own.
RUN = "import sys\n{before}\nfrom analysis.cli import main\nsys.exit(main())"


def run(
    *arguments: object,
    before: str = "",
    env: Mapping[str, str] | None = None,
    python: str = sys.executable,
) -> subprocess.CompletedProcess[str]:
    """Run the command to its end, with this interpreter or another."""
    code = RUN.format(before=textwrap.dedent(before))
    return subprocess.run(  # noqa: S603 - an interpreter that a test names
        [python, "-c", code, *map(str, arguments)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        cwd=ROOT if python != sys.executable else None,
        env=dict(env) if env is not None else None,
    )


def contents(folder: Path) -> dict[str, bytes]:
    """Give the files of a folder, by their names from it."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


#: Refuses every connection but to this machine, in the run and in its kernel.
ONLY_HERE = """
    import sys

    def refuse(event, args):
        if event == "socket.connect":
            where = args[1]
            host = where[0] if isinstance(where, tuple) else "127.0.0.1"
            if host not in ("127.0.0.1", "::1", "localhost"):
                print("CONNECTED", where, file=sys.stderr, flush=True)
                raise OSError(f"no connection to {where}")
        elif event == "socket.getaddrinfo" and args[0] not in (
            None, "", "127.0.0.1", "::1", "localhost", "0.0.0.0",
        ):
            print("ASKED FOR", args[0], file=sys.stderr, flush=True)
            raise OSError(f"no name {args[0]}")

    sys.addaudithook(refuse)
"""


def lonely(folder: Path) -> dict[str, str]:
    """Give an environment without home folder, and with no connection but to itself.

    What is refused is told on standard error, in the run and in all that it starts.
    """
    folder.mkdir(exist_ok=True)
    (folder / "sitecustomize.py").write_text(
        textwrap.dedent(ONLY_HERE), encoding="utf-8"
    )
    kept = ("PATH", "SYSTEMROOT", "TEMP", "TMPDIR", "LANG", "OMP_NUM_THREADS")
    env = {name: os.environ[name] for name in kept if name in os.environ}
    return env | {
        "HOME": "/nonexistent",
        "USERPROFILE": "/nonexistent",
        "PYTHONPATH": str(folder),
    }


def assert_unconnected(told: str) -> None:
    """Assert that nothing asked for another machine."""
    assert "CONNECTED" not in told
    assert "ASKED FOR" not in told
