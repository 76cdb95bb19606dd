"""No command asks for another machine, by name or by number."""

from pathlib import Path

import pytest

from tests.faults.child import assert_unconnected, lonely, run
from tests.tiny import syringe, write_csv

VOLUMES = {0.0: 16.0, 4.0: 13.3, 8.0: 10.6, 12.0: 8.0, 16.0: 5.3, 20.0: 2.6, 23.9: 0.0}
#: Its own words, then whether the log is named, and whether a folder is.
COMMANDS = [
    pytest.param(["intake"], True, False, id="intake"),
    pytest.param(["layout"], True, False, id="layout"),
    pytest.param(["incident", "--infusion", "I1"], True, True, id="incident"),
    pytest.param(["research", "--secret", "KEY"], True, True, id="research"),
    pytest.param(["simulate"], False, True, id="simulate"),
    pytest.param(["policy"], False, False, id="policy"),
    pytest.param(["dictionary"], False, False, id="dictionary"),
    pytest.param(["evaluate", "--infusions", "150"], False, False, id="evaluate"),
]


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """Write a log of a dozen patients: of fewer, nothing may be shared."""
    rows = [
        row
        for n in range(12)
        for row in syringe(
            VOLUMES,
            patient_id=f"P{n}",
            infusion_id=f"I{n}",
            driver_id=f"D{n}",
            site_signs="none",
        )
    ]
    return write_csv(tmp_path / "checks.csv", rows)


@pytest.mark.parametrize(("words", "is_of_log", "is_written"), COMMANDS)
def test_a_command_asks_for_no_other_machine(
    log: Path,
    tmp_path: Path,
    words: list[str],
    is_of_log: bool,  # noqa: FBT001 - a table of cases
    is_written: bool,  # noqa: FBT001
) -> None:
    own = [str(tmp_path / "key") if word == "KEY" else word for word in words]
    given = [str(log)] if is_of_log else []
    out = ["--out", str(tmp_path / "out")] if is_written else []
    done = run(*own, *given, *out, env=lonely(tmp_path / "site"))
    assert done.returncode == 0, done.stderr
    assert_unconnected(done.stderr)


def test_a_summary_to_share_asks_for_no_other_machine(
    log: Path, tmp_path: Path
) -> None:
    """The audit before it, with its notebook and kernel, is in `test_trouble`."""
    env = lonely(tmp_path / "site")
    out = tmp_path / "out"
    audited = run("audit", log, "--tables-only", "--out", out, env=env)
    shared = run("share", out, "--out", tmp_path / "shared", env=env)
    for done in (audited, shared):
        assert done.returncode == 0, done.stderr
        assert_unconnected(done.stderr)
