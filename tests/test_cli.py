"""Bad input ends in one sentence and a non-zero status, and writes nothing."""

from pathlib import Path

import pytest

from analysis import cli
from analysis.columns import CANONICAL
from analysis.policy import Policy
from tests.intake.logs import HEADER, line, write


def run(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *args: str
) -> tuple[int, str, str]:
    """Run the command; gives status, output and errors."""
    monkeypatch.setattr("sys.argv", ["steadyfall", *args])
    status = 0
    try:
        cli.main()
    except SystemExit as end:
        status = int(end.code or 0)
    told = capsys.readouterr()
    return status, told.out, told.err


@pytest.mark.parametrize(
    ("data", "says"),
    [
        pytest.param(None, "no such file", id="no such file"),
        pytest.param(b"", "empty", id="an empty file"),
        pytest.param(f"{HEADER}\n".encode(), "no row", id="a header only"),
        pytest.param(
            b"ward,patient_id,entry\n", "checked_at", id="a column is missing"
        ),
        pytest.param(b"caf\xe9\n", "line 1", id="not UTF-8"),
        pytest.param(b"PK\x03\x04\xff\xfe", "UTF-8", id="a workbook"),
        pytest.param(b"ward,Ward,entry\n", "twice", id="a column twice"),
        pytest.param(
            b"line_id,patient_id,kind,inserted_at\n", "no check log", id="lines"
        ),
        pytest.param(
            f"{HEADER}\n{line(checked_at='x')}\n".encode(),
            "can be placed",
            id="no time",
        ),
    ],
)
def test_a_file_that_cannot_be_used(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    data: bytes | None,
    says: str,
) -> None:
    path, out = tmp_path / "log.csv", tmp_path / "out"
    if data is not None:
        path.write_bytes(data)
    args = ("audit", str(path), "--tables-only", "--out", str(out))
    status, _, errors = run(monkeypatch, capsys, *args)
    assert status == 2
    assert says in errors
    assert "log.csv" in errors
    assert len(errors.strip().splitlines()) == 1
    assert not out.exists()


def test_an_unknown_time_zone_is_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    _, text, _ = run(monkeypatch, capsys, "policy")
    assert Policy.parse(text, "printed").time_zone == "Europe/London"
    wrong = write(tmp_path, "my.toml", text.replace("Europe/London", "Europe/Lodon"))
    log = write(tmp_path, "log.csv", HEADER, line())
    status, _, errors = run(
        monkeypatch, capsys, "audit", str(log), "--policy", str(wrong)
    )
    assert status == 2
    assert "my.toml: time_zone: found 'Europe/Lodon'" in errors


def test_dictionary_lists_every_column(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    _, text, _ = run(monkeypatch, capsys, "dictionary")
    assert all(f"| `{name}` |" in text for table in CANONICAL for name in table.names)
