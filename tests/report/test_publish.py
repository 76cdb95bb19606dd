"""A report goes into its folder whole, or not at all, and overwrites nobody's work."""

import errno
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from analysis.audit import AuditResult
from analysis.errors import NotebookError, OutputError
from analysis.report import check_output_folder, publish, read_manifest, read_tables
from analysis.report.manifest import sha256

RUN_AT = pd.Timestamp("2026-11-03 09:00", tz="UTC").to_pydatetime()
# The module stands behind the function of the same name.
MODULE = sys.modules["analysis.report.publish"]
SWAP = sys.modules["analysis.report.swap"]


def tables(result: AuditResult, out: Path) -> Path:
    return publish(result, out, tables_only=True, run_at=RUN_AT)


def names(folder: Path) -> set[str]:
    return {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}


def contents(folder: Path) -> dict[str, bytes]:
    return {name: (folder / name).read_bytes() for name in names(folder)}


@pytest.fixture
def out(result: AuditResult, tmp_path: Path) -> Path:
    return tables(result, tmp_path / "reports" / "2026-10")


def test_missing_parents_are_made_and_nothing_is_left_beside(out: Path) -> None:
    assert [p.name for p in out.parent.iterdir()] == ["2026-10"]
    assert names(out) == set(read_manifest(out)["files"])
    assert "report.html" not in names(out)


def test_manifest_accounts_for_the_audit(result: AuditResult, out: Path) -> None:
    run = read_manifest(out)
    assert run["run_at"] == "2026-11-03T09:00:00+00:00"
    assert run["policy"]["text"] == result.policy.text
    assert run["files"]["review.xlsx"] == sha256(out / "review.xlsx")
    assert run["account"]["rows"][0][:2] == ["checks.csv", "checks"]
    assert {"steadyfall", "python", "pandas", "matplotlib"} <= set(run["versions"])


def test_two_runs_differ_in_the_time_of_running_alone(
    result: AuditResult, tmp_path: Path
) -> None:
    first = contents(tables(result, tmp_path / "a"))
    second = contents(publish(result, tmp_path / "b", tables_only=True))
    runs = [json.loads(run.pop("run.json")) for run in (first, second)]
    assert first == second
    assert runs[0].pop("run_at") != runs[1].pop("run_at")
    assert runs[0] == runs[1]


def test_a_report_of_ours_is_replaced(result: AuditResult, out: Path) -> None:
    before = contents(out)
    assert contents(tables(result, out)) == before
    assert [p.name for p in out.parent.iterdir()] == ["2026-10"]


def test_an_older_page_does_not_stay_beside_new_tables(
    result: AuditResult, out: Path
) -> None:
    run = read_manifest(out)
    run["files"]["report.html"] = ""
    (out / "run.json").write_text(json.dumps(run), encoding="utf-8")
    (out / "report.html").write_text("old", encoding="utf-8")
    tables(result, out)
    assert "report.html" not in names(out)


def test_an_empty_folder_is_taken(result: AuditResult, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    assert names(tables(result, tmp_path / "empty"))


def a_foreign_folder(out: Path) -> Path:
    (out / "run.json").write_text('{"files": {}}', encoding="utf-8")
    return out


def a_file(out: Path) -> Path:
    return out / "run.json"


def below_a_file(out: Path) -> Path:
    return out / "run.json" / "deeper" / "report"


def a_foreign_file(out: Path) -> Path:
    (out / "my notes.txt").write_text("mine", encoding="utf-8")
    return out


def a_foreign_table(out: Path) -> Path:
    (out / "tables" / "mine.csv").write_text("mine", encoding="utf-8")
    return out


def a_foreign_subfolder(out: Path) -> Path:
    (out / "pictures").mkdir()
    return out


def an_edited_workbook(out: Path) -> Path:
    (out / "review.xlsx").write_bytes(b"PK\x03\x04 half written")
    return out


def an_open_workbook(out: Path) -> Path:
    (out / "~$review.xlsx").write_bytes(b"lock")
    return out


def the_root(out: Path) -> Path:
    return Path(out.anchor)


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        pytest.param(a_file, "is a file", id="a file"),
        pytest.param(below_a_file, "is a file", id="a place below a file"),
        pytest.param(
            a_foreign_folder, "not written by", id="a folder that is not ours"
        ),
        pytest.param(
            a_foreign_file, "holds my notes.txt", id="a file that is not ours"
        ),
        pytest.param(a_foreign_table, "holds tables/mine.csv", id="a table not ours"),
        pytest.param(a_foreign_subfolder, "holds pictures", id="a folder inside"),
        pytest.param(an_edited_workbook, "has been edited", id="a damaged review.xlsx"),
        pytest.param(an_open_workbook, "close it and run again", id="open workbook"),
        pytest.param(the_root, "no folder for a report", id="the root of the disk"),
    ],
)
def test_refuses_and_changes_nothing(
    spoil: Callable[[Path], Path], said: str, result: AuditResult, out: Path
) -> None:
    target = spoil(out)
    before = contents(out)
    for attempt in (check_output_folder, lambda path: tables(result, path)):
        with pytest.raises(OutputError, match=said) as caught:
            attempt(target)
        assert "\n" not in str(caught.value)
    assert contents(out) == before
    assert [p.name for p in out.parent.iterdir()] == ["2026-10"]


@pytest.mark.parametrize("dropping", [".DS_Store", "Thumbs.db", "tables/.DS_Store"])
def test_what_a_file_browser_drops_is_no_reason_to_refuse(
    dropping: str, result: AuditResult, out: Path
) -> None:
    (out / dropping).write_bytes(b"x")
    assert dropping not in names(tables(result, out))


def test_a_workbook_that_was_moved_away_is_no_reason_to_refuse(
    result: AuditResult, out: Path
) -> None:
    (out / "review.xlsx").rename(out.parent / "decided.xlsx")
    assert "review.xlsx" in names(tables(result, out))


def test_a_swap_killed_between_its_renames_gives_the_old_report_back(
    out: Path,
) -> None:
    before = contents(out)
    out.rename(out.with_name(".2026-10.steadyfall-old"))
    out.with_name(".2026-10.steadyfall-new").mkdir()
    check_output_folder(out)
    assert contents(out) == before
    assert [p.name for p in out.parent.iterdir()] == ["2026-10"]


def test_leftovers_of_a_killed_run_are_removed(out: Path) -> None:
    before = contents(out)
    for left in ("old", "new"):
        folder = out.with_name(f".2026-10.steadyfall-{left}")
        folder.mkdir()
        (folder / "half.csv").write_text("half", encoding="utf-8")
    check_output_folder(out)
    assert contents(out) == before
    assert [p.name for p in out.parent.iterdir()] == ["2026-10"]


def failing(error: Exception) -> Callable[..., Any]:
    def fail(*args: object, **options: object) -> None:
        del args, options
        raise error

    return fail


@pytest.mark.parametrize(
    ("step", "error", "said"),
    [
        pytest.param(
            "write_tables",
            OSError(errno.ENOSPC, "No space left on device"),
            "No space left on device",
            id="the disk is full",
        ),
        pytest.param(
            "swap",
            PermissionError(errno.EACCES, "Access is denied", "report.html"),
            "report.html: .*close it and run again",
            id="a file is held open",
        ),
        pytest.param(
            "run_notebook", NotebookError("stopped"), "stopped", id="a failing notebook"
        ),
    ],
)
@pytest.mark.parametrize("is_new", [True, False])
def test_a_failure_leaves_what_was_there(  # noqa: PLR0913 - a table and its fixtures
    *,
    step: str,
    error: Exception,
    said: str,
    is_new: bool,
    result: AuditResult,
    out: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    before = contents(out)
    target = out.parent.parent / "elsewhere" / "deep" / "x" if is_new else out
    place = SWAP if step == "swap" else MODULE
    monkeypatch.setattr(place, step, failing(error))
    with pytest.raises(OutputError, match=said):
        publish(result, target, tables_only=step != "run_notebook")
    assert contents(out) == before
    assert [p.name for p in out.parent.iterdir()] == ["2026-10"]
    assert [p.name for p in out.parent.parent.iterdir()] == ["reports"]


def test_a_rename_that_fails_gives_the_old_report_back(
    result: AuditResult, out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = contents(out)
    rename = Path.rename

    def refuse(self: Path, target: Path) -> Path:
        if self.name.endswith("steadyfall-new"):
            raise PermissionError(errno.EACCES, "Access is denied", str(self))
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", refuse)
    with pytest.raises(OutputError, match="close it and run again"):
        tables(result, out)
    assert contents(out) == before
    assert [p.name for p in out.parent.iterdir()] == ["2026-10"]


def test_published_tables_can_be_read(result: AuditResult, out: Path) -> None:
    assert len(read_tables(out).findings) == len(result.findings)
