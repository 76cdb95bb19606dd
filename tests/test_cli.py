"""Bad input ends in one sentence and a non-zero status, and writes nothing."""

import io
import time
from pathlib import Path

import pytest

from analysis import cli
from analysis.columns import CANONICAL, OUTPUT, REVIEW_OUTPUT
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
        pytest.param(b"caf\xe9\n", "found caf\u00e9", id="no header of a log"),
        pytest.param(b"PK\x03\x04\xff\xfe", "as a workbook", id="no workbook"),
        pytest.param(
            b"ward,Ward,patient_id,checked_at,volume_remaining_ml\n",
            "can each be ward",
            id="a column twice",
        ),
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


def test_a_copy_of_the_example_is_called_what_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    _, text, _ = run(monkeypatch, capsys, "policy")
    copied = str(write(tmp_path, "copied.toml", text.rstrip("\n")))
    hours = (8, 12, 16, 20)
    rows = [line(checked_at=f"2026-10-01T{hour:02d}:00") for hour in hours]
    log = str(write(tmp_path, "log.csv", HEADER, *rows))
    used, copy = "example policy was used", "copied.toml is an unedited copy of"
    for args, says, not_so in (((), used, copy), (("--policy", copied), copy, used)):
        out = str(tmp_path / f"out{len(args)}")
        _, told, _ = run(monkeypatch, capsys, "audit", log, *args, *TOLD, out)
        assert says in told
        assert not_so not in told


def test_dictionary_lists_every_column(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    _, text, _ = run(monkeypatch, capsys, "dictionary")
    assert all(f"| `{name}` |" in text for table in CANONICAL for name in table.names)


TOLD = ("--tables-only", "--out")


@pytest.mark.parametrize(
    ("month", "says"),
    [
        pytest.param("2026-09", "no row in that month", id="a month without a row"),
        pytest.param("2026-13", "YYYY-MM", id="a month that is none"),
        pytest.param("October", "YYYY-MM", id="a month in words"),
    ],
)
def test_a_month_that_cannot_be_reported(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    month: str,
    says: str,
) -> None:
    log, out = write(tmp_path, "log.csv", HEADER, line()), tmp_path / "out"
    args = ("audit", str(log), "--month", month, *TOLD, str(out))
    status, _, errors = run(monkeypatch, capsys, *args)
    assert (status, says in errors, out.exists()) == (2, True, False)


def test_a_folder_that_is_not_ours_is_left_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    log, out = write(tmp_path, "log.csv", HEADER, line()), tmp_path / "out"
    mine = write(out, "letters.txt", "do not touch")
    status, _, errors = run(monkeypatch, capsys, "audit", str(log), *TOLD, str(out))
    assert status == 2
    assert "letters.txt" in errors or "out" in errors
    assert [path.name for path in out.iterdir()] == [mine.name]


def test_a_folder_that_cannot_be_made_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    inside = write(tmp_path, "log.csv", HEADER) / "out"
    status, _, errors = run(monkeypatch, capsys, "simulate", "--out", str(inside))
    assert (status, errors.count("\n")) == (2, 1)
    assert errors.startswith(f"steadyfall: {inside}: ")


def test_two_runs_give_the_same_tables_byte_for_byte(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = [
        line(checked_at=f"2026-10-0{day}T{hour:02d}:00", infusion_id=f"I{day}")
        for day in (1, 2)
        for hour in (8, 12, 16)
    ]
    log = write(tmp_path, "log.csv", HEADER, *rows)
    for name in ("one", "two"):
        status, told, _ = run(
            monkeypatch, capsys, "audit", str(log), *TOLD, str(tmp_path / name)
        )
        assert status == 0
        assert "6 rows read, 6 accepted, 0 rejected" in told
    one, two = (
        {
            path.name: path.read_bytes()
            for path in (tmp_path / name / "tables").iterdir()
        }
        for name in ("one", "two")
    )
    assert one == two
    assert len(one) == len(OUTPUT) + len(REVIEW_OUTPUT)


def test_a_file_named_twice_is_read_once_and_a_folder_is_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    log, out = write(tmp_path, "log.csv", HEADER, line()), str(tmp_path / "out")
    status, told, _ = run(monkeypatch, capsys, "audit", str(log), str(log), *TOLD, out)
    assert status == 0
    assert told.count("1 rows read") == 1
    status, _, errors = run(monkeypatch, capsys, "audit", str(tmp_path), *TOLD, out)
    assert status == 2
    assert "is a folder" in errors


def test_a_ward_called_like_a_total_keeps_its_own_figures(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = [line(ward="all"), line(ward="all", checked_at="2026-10-01T12:00")]
    log, out = write(tmp_path, "log.csv", HEADER, *rows), tmp_path / "out"
    status, _, _ = run(monkeypatch, capsys, "audit", str(log), *TOLD, str(out))
    assert status == 0
    measures = (out / "tables" / "measures.csv").read_text("utf-8")
    assert measures.count("covered_time,all (ward),all,") == 1
    assert measures.count("covered_time,all,all,") == 1


def test_the_dictionary_prints_every_output_column(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    _, told, _ = run(monkeypatch, capsys, "dictionary", "--output")
    names = [name for table in (*OUTPUT, *REVIEW_OUTPUT) for name in table.names]
    assert [name for name in names if f"| `{name}` |" not in told] == []


@pytest.mark.parametrize(
    ("text", "says"),
    [
        pytest.param(None, "no such file", id="no such file"),
        pytest.param(
            "ward,note\nA,b\n", "has no column finding_id", id="other headers"
        ),
        pytest.param(
            "finding_id,decision\nA,perhaps\n", "is no decision", id="another word"
        ),
    ],
)
def test_a_bad_list_of_decisions_writes_nothing(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    text: str | None,
    says: str,
) -> None:
    log, out = write(tmp_path, "log.csv", HEADER, line()), tmp_path / "out"
    decided = tmp_path / "review.csv"
    if text is not None:
        decided.write_text(text, encoding="utf-8")
    status, _, errors = run(
        monkeypatch,
        capsys,
        "audit",
        str(log),
        "--review",
        str(decided),
        *TOLD,
        str(out),
    )
    assert status == 2
    assert says in errors
    assert len(errors.splitlines()) == 1
    assert not out.exists()


def test_a_summary_is_made_of_a_report_only(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    other = str(tmp_path / "other")
    status, _, errors = run(monkeypatch, capsys, "share", str(tmp_path), "--out", other)
    assert status == 2
    assert "is not a folder written by steadyfall audit" in errors
    assert len(errors.splitlines()) == 1


class Terminal(io.StringIO):
    """Stands for a terminal: keeps what is shown."""

    def isatty(self) -> bool:
        """Say that it is one."""
        return True


def test_the_time_of_a_long_step_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    shown = Terminal()
    monkeypatch.setattr("sys.stderr", shown)
    with cli._progress() as say:
        say("delivery")
        until = time.monotonic() + 20
        while "delivery (00:01)" not in shown.getvalue() and time.monotonic() < until:
            time.sleep(0.05)
    assert "delivery (00:00)" in shown.getvalue()
    assert "delivery (00:01)" in shown.getvalue()


def test_no_progress_where_there_is_no_terminal(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    shown = io.StringIO()
    monkeypatch.setattr("sys.stderr", shown)
    with cli._progress() as say:
        say("delivery")
    assert shown.getvalue() == ""
