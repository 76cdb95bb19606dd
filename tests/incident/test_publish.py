"""The command: one document, published whole or not at all, and never over an edit."""

import json
from dataclasses import dataclass
from pathlib import Path

import pytest

from analysis import cli
from analysis.errors import OutputError
from analysis.incident import Asked, Files, check_incident_folder, publish_incident
from analysis.incident.publish import default_folder
from analysis.report.manifest import sha256
from tests.incident.reviewed import RATE, STOPPED, others, page, review, write
from tests.tiny import syringe

NAMES = ["incident.html", "incident.ipynb", "run.json"]


@dataclass(frozen=True)
class Published:
    """What one run of the command left."""

    folder: Path
    exports: list[Path]
    before: list[str]
    said: list[str]


@pytest.fixture(scope="module")
def published(tmp_path_factory: pytest.TempPathFactory) -> Published:
    """Run it once; the notebook starts a kernel."""
    folder = tmp_path_factory.mktemp("published")
    rows = [*syringe(STOPPED, set_rate_ml_h=RATE), *others()]
    exports = write(folder / "exports", rows)
    before = [sha256(path) for path in exports]
    said: list[str] = []
    publish_incident(
        Files(exports=tuple(exports)),
        Asked(infusion="i1"),
        folder / "deep" / "out",
        progress=said.append,
    )
    return Published(folder / "deep" / "out", exports, before, said)


def test_one_document_its_notebook_and_what_it_was_made_from(
    published: Published,
) -> None:
    assert sorted(path.name for path in published.folder.iterdir()) == NAMES
    run = json.loads((published.folder / "run.json").read_text("utf-8"))
    assert run["infusion"] == "I1"
    assert run["asked"]["infusion"] == "i1"
    assert [row["sha256"] for row in run["account"]] == published.before
    assert [path.name for path in published.folder.parent.iterdir()] == ["out"]


def test_it_is_made_again_the_same_by_another_process(
    published: Published, tmp_path: Path
) -> None:
    rows = [*syringe(STOPPED, set_rate_ml_h=RATE), *others()]
    again = page(review(tmp_path, rows))
    assert (published.folder / "incident.html").read_text("utf-8") == again


def test_exports_are_read_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """By the notebook, in a process of its own: not by the command beside it."""

    def read(*_: object) -> None:
        raise AssertionError("read by the command")

    monkeypatch.setattr("analysis.intake.read_raws", read)
    exports = write(tmp_path / "in", syringe({0: 16.0, 4: 13.3}))
    asked = Asked(patient="p1", at="2026-06-01T12:00")
    page, account = publish_incident(
        Files(exports=tuple(exports)), asked, tmp_path / "o"
    )
    assert page.exists()
    assert account[["file", "rows_read", "accepted"]].to_numpy().tolist() == [
        ["checks.csv", 2, 2]
    ]


def test_exports_are_only_read_and_progress_is_told(published: Published) -> None:
    assert [sha256(path) for path in published.exports] == published.before
    assert published.said[0] == "reading the export"
    assert published.said[-1] == "putting the review in its place"
    assert len(published.said) > 10


def test_an_unedited_review_may_be_replaced_and_an_edited_one_not(
    published: Published,
) -> None:
    check_incident_folder(published.folder)
    document = published.folder / "incident.html"
    kept = document.read_bytes()
    document.write_bytes(kept + b"<!-- mine -->")
    try:
        with pytest.raises(OutputError, match="was edited and is not overwritten"):
            check_incident_folder(published.folder)
    finally:
        document.write_bytes(kept)


def test_what_is_not_ours_is_left_alone(published: Published, tmp_path: Path) -> None:
    mine = tmp_path / "letters.txt"
    mine.write_text("do not touch", encoding="utf-8")
    with pytest.raises(OutputError, match="was not written by steadyfall incident"):
        check_incident_folder(tmp_path)
    with pytest.raises(OutputError, match="is a file"):
        check_incident_folder(mine)
    beside = published.folder / "notes.docx"
    beside.write_text("minutes", encoding="utf-8")
    try:
        with pytest.raises(OutputError, match=r"notes\.docx"):
            check_incident_folder(published.folder)
    finally:
        beside.unlink()


@pytest.mark.parametrize(
    ("args", "says"),
    [
        pytest.param(
            ["--infusion", "I11"], "did you mean I1", id="an unknown infusion"
        ),
        pytest.param([], "which infusion?", id="no infusion"),
        pytest.param(
            ["--patient", "P1", "--at", "2030-01-01T10:00"],
            "falls in no infusion of patient P1",
            id="a time in no infusion",
        ),
        pytest.param(["--patient", "P1"], "needs --at TIME", id="no time"),
        pytest.param(
            ["--infusion", "I1", "--policy", "none.toml"], "none.toml", id="no policy"
        ),
    ],
)
def test_what_cannot_be_done_is_one_sentence_and_writes_nothing(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    args: list[str],
    says: str,
) -> None:
    [checks] = write(tmp_path / "in", syringe({0: 16.0, 4: 13.3}))
    out = tmp_path / "out"
    command = ["steadyfall", "incident", str(checks), *args, "--out", str(out)]
    monkeypatch.setattr("sys.argv", command)
    with pytest.raises(SystemExit) as ended:
        cli.main()
    told = capsys.readouterr()
    assert ended.value.code == 2
    assert says in told.err
    assert len(told.err.strip().splitlines()) == 1
    assert told.out == ""
    assert [path.name for path in tmp_path.iterdir()] == ["in"]


def test_a_notebook_that_fails_leaves_the_old_review(
    published: Published, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise OutputError("the notebook stopped")

    monkeypatch.setattr("analysis.incident.publish.run_notebook", fail)
    kept = {path.name: path.read_bytes() for path in published.folder.iterdir()}
    with pytest.raises(OutputError, match="the notebook stopped"):
        publish_incident(
            Files(exports=tuple(published.exports)),
            Asked(infusion="I1"),
            published.folder,
        )
    assert {p.name: p.read_bytes() for p in published.folder.iterdir()} == kept
    assert [path.name for path in published.folder.parent.iterdir()] == ["out"]


@pytest.mark.parametrize(
    "infusion_id",
    ["../../etc/passwd", "..", "/etc/passwd", "C:\\x", "a\0b", "-rf", "x" * 300, "\n"],
)
def test_no_id_of_a_log_leads_out_of_the_reports(infusion_id: str) -> None:
    folder = default_folder(infusion_id)
    assert folder.parent == Path("reports")
    assert folder.name.startswith("incident-")
    assert folder.name.isprintable()
    assert len(folder.name) < 100
    assert not set("/\\:") & set(folder.name)
