"""From a foreign export to its tables by the command: layout, intake, audit."""

import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from analysis.cli import steadyfall
from analysis.errors import SteadyfallError
from analysis.intake.exports import read_raws
from analysis.intake.layout_file import load_layout
from analysis.intake.recognise import propose_all

#: Semicolons, decimal commas, headers and words of the service's own, date and time
#: apart; a blank is a dash.
FOREIGN = """\
Unit name;Pt No;Pump No;Date;Time;Type;Vol left (mls);Rate mls/hr;Batt;Skin;Lock
Elder;0012;P1;14/09/2026;08:00;New syringe;16,0;0,67;98%;NAD;Y
Elder;0012;P1;14/09/2026;12:00;Check;13,3;0,67;90%;red;Y
Elder;0012;P1;14/09/2026;16:00;Check;10,5;0,67;81%;-;N
Elder;0012;P1;15/09/2026;07:50;Taken down;0,1;0,67;55%;NAD;Y
Larch;0033;P2;14/09/2026;09:05;New syringe;16,0;0,67;80%;NAD;Y
Larch;0033;P2;14/09/2026;13:10;Check;13,2;0,67;75%;NAD;Y
Larch;0033;P2;14/09/2026;17:00;Check;13,2;0,67;70%;swollen;Y
Larch;0033;P2;15/09/2026;09:00;Taken down;2,7;0,67;51%;NAD;Y
"""
#: The same log as the data dictionary has it, line by line.
CANONICAL = """\
ward,patient_id,driver_id,checked_at,entry,volume_remaining_ml,set_rate_ml_h,\
battery_pct,site_signs,lockbox_locked
Elder,0012,P1,2026-09-14T08:00,start,16.0,0.67,98,none,yes
Elder,0012,P1,2026-09-14T12:00,check,13.3,0.67,90,redness,yes
Elder,0012,P1,2026-09-14T16:00,check,10.5,0.67,81,,no
Elder,0012,P1,2026-09-15T07:50,end,0.1,0.67,55,none,yes
Larch,0033,P2,2026-09-14T09:05,start,16.0,0.67,80,none,yes
Larch,0033,P2,2026-09-14T13:10,check,13.2,0.67,75,none,yes
Larch,0033,P2,2026-09-14T17:00,check,13.2,0.67,70,swelling,yes
Larch,0033,P2,2026-09-15T09:00,end,2.7,0.67,51,none,yes
"""


def run(*args: object) -> Result:
    """Run the command in this process; an error of ours is left in the result."""
    return CliRunner().invoke(steadyfall, [str(arg) for arg in args])


def sentence(result: Result) -> str:
    """Give what a user reads of a command that was refused."""
    assert isinstance(result.exception, SteadyfallError), result.output
    told = str(result.exception)
    assert "\n" not in told
    return told


def assert_one_a_line(told: str) -> None:
    """Hold that a refusal is one sentence, or numbered points on lines of their own."""
    _, *points = told.splitlines()
    assert len(points) != 1
    for n, point in enumerate(points, 1):
        assert point.startswith(f"  {n}. ")


def save(folder: Path, name: str, text: str) -> Path:
    folder.mkdir(exist_ok=True)
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture
def export(tmp_path: Path) -> Path:
    return save(tmp_path / "foreign", "log.csv", FOREIGN)


@pytest.fixture
def layout(tmp_path: Path, export: Path) -> Path:
    printed = run("layout", export)
    assert printed.exit_code == 0
    assert printed.stderr == ""
    return save(tmp_path, "layout.toml", printed.stdout)


def tables(folder: Path) -> dict[str, str]:
    return {path.name: path.read_text("utf-8") for path in folder.glob("tables/*.csv")}


def test_a_foreign_export_gives_the_tables_of_the_same_log_in_canonical_form(
    tmp_path: Path, export: Path, layout: Path
) -> None:
    canonical = save(tmp_path / "canonical", "log.csv", CANONICAL)
    out, other = tmp_path / "out", tmp_path / "other"
    own = run("audit", export, "--layout", layout, "--tables-only", "--out", out)
    same = run("audit", canonical, "--tables-only", "--out", other)
    assert (own.exit_code, same.exit_code) == (0, 0)
    assert own.output.replace(str(out), "") == same.output.replace(str(other), "")
    assert "8 rows read, 8 accepted" in own.output
    found = tables(out)
    assert found == tables(other)
    # It is not the sameness of two empty logs.
    assert found["findings.csv"].count("site_reaction") == 2
    assert found["readings.csv"].count("\n") == 9


def test_the_dry_run_with_a_layout_says_the_same_account(
    tmp_path: Path, export: Path, layout: Path
) -> None:
    canonical = save(tmp_path / "canonical", "log.csv", CANONICAL)
    own = run("intake", export, "--layout", layout).output
    same = run("intake", canonical).output
    account = "log.csv (checks): 8 rows read = 8 accepted + 0 rejected"
    assert account in own
    assert account in same
    part = slice(own.index("\nReadings\n"), None)
    parts = [text.partition("\nNothing was written.") for text in (own[part], same)]
    assert parts[0][0] == parts[1][0][same.index("\nReadings\n") :]
    # A printed layout would go over the answers of the one in use.
    assert "steadyfall layout" not in own
    assert f"change {layout}, the layout in use" in " ".join(own.split())
    assert "steadyfall layout EXPORT... > layout.toml" in " ".join(same.split())
    assert not (tmp_path / "reports").exists()


@pytest.mark.parametrize(
    "text",
    [
        pytest.param(FOREIGN, id="a foreign export"),
        pytest.param(CANONICAL, id="a canonical log"),
        pytest.param(
            FOREIGN.replace("Skin", '"Skin ""at"" site"'), id="quotes in a header"
        ),
        pytest.param(
            FOREIGN.replace("swollen", "geschwollen \\ blå"), id="words not known"
        ),
    ],
)
def test_a_printed_layout_loads_again_to_the_same_layout(
    tmp_path: Path, text: str
) -> None:
    path = save(tmp_path, "log.csv", text)
    printed = save(tmp_path, "layout.toml", run("layout", path).stdout)
    tomllib.loads(printed.read_text("utf-8"))
    proposed = propose_all(read_raws([path]))
    assert load_layout(printed).tables == tuple(p.table for p in proposed)
    assert run("intake", path, "--layout", printed).exit_code == 0


@pytest.mark.parametrize(
    ("change", "says"),
    [
        pytest.param(
            ('holds = "checks"', 'holds = "checks"\ncolour = "blue"'),
            "table 1 (from line 7): unknown key colour",
            id="an unknown key",
        ),
        pytest.param(
            ('"Pt No"', '"Bed No"'),
            "log.csv: fits no table of the layout; the nearest names 'Bed No' "
            "(columns.patient_id), which the file has not",
            id="a header that is not in the file",
        ),
        pytest.param(
            ('decimal = ","', 'decimal = ";"'),
            "table 1 (from line 7): decimal reads ';'; it must be '.' or ','",
            id="a mark that is none",
        ),
        pytest.param(
            ('"mL/h"', '"mL/min"'),
            "table 1 (from line 7): units.set_rate_ml_h reads 'mL/min'; it must be "
            "'mL/h' or 'mL/24 h'",
            id="a unit that is not known",
        ),
        pytest.param(
            ('= "Batt"', "= 5"),
            "table 1 (from line 7): columns.battery_pct must be a text",
            id="a number for a header",
        ),
        pytest.param(
            ("battery_pct", "battery_volts"),
            "table 1 (from line 7): columns.battery_volts is no column of checks",
            id="a column that is none",
        ),
        pytest.param(
            ('= "Batt"', '= "?"'),
            "layout.toml: table 1, line 18: columns.battery_pct is not settled",
            id="a question left open",
        ),
        pytest.param(("holds =", "holds"), "layout.toml: is not TOML", id="no TOML"),
    ],
)
def test_a_layout_that_does_not_fit_is_refused_with_its_lines(
    tmp_path: Path, layout: Path, change: tuple[str, str], says: str
) -> None:
    export, out = tmp_path / "foreign" / "log.csv", tmp_path / "out"
    text = layout.read_text("utf-8")
    assert change[0] in text
    save(tmp_path, "layout.toml", text.replace(*change))
    to = ("--tables-only", "--out", out)
    refused = run("audit", export, "--layout", layout, *to).exception
    assert isinstance(refused, SteadyfallError)
    assert_one_a_line(str(refused))
    assert says in str(refused)
    assert not out.exists()


def test_an_export_that_needs_answers_says_which_and_prints_the_rest(
    tmp_path: Path,
) -> None:
    path = save(tmp_path, "log.csv", FOREIGN.replace(";N\n", ";x\n"))
    printed = run("layout", path)
    assert printed.exit_code == 0
    assert "settle (write the answer in place of each" in printed.stderr
    assert "log.csv: Lock reads 'x' on 1 rows" in printed.stderr
    assert printed.stdout.count('"?"\n') == 1
    asked = sentence(run("intake", path))
    assert "log.csv: Lock reads 'x' on 1 rows" in asked
    assert "steadyfall layout" in asked
    layout = save(tmp_path, "layout.toml", printed.stdout)
    assert "is not settled" in sentence(run("intake", path, "--layout", layout))
    save(tmp_path, "layout.toml", printed.stdout.replace('x = "?"', 'x = "no"'))
    settled = run("intake", path, "--layout", layout)
    assert settled.exit_code == 0
    assert "lockbox_locked reads 'x' as no" in " ".join(settled.output.split())


def test_several_questions_stand_on_lines_of_their_own(tmp_path: Path) -> None:
    text = FOREIGN.replace(";N\n", ";x\n").replace("swollen", "wobbly")
    path = save(tmp_path, "log.csv", text.replace(";Check;", ";Whisked;"))
    asked = str(run("intake", path).exception).splitlines()
    assert asked[0] == "log.csv: 2 points must be settled before it can be read:"
    assert [line[:5] for line in asked[1:-1]] == ["  1. ", "  2. "]
    assert "log.csv" not in " ".join(asked[1:])
    assert asked[-1].startswith("`steadyfall layout EXPORT... > layout.toml` prints")


def test_questions_about_several_files_name_theirs(tmp_path: Path) -> None:
    crossed = save(tmp_path, "a.csv", FOREIGN.replace(";N\n", ";x\n"))
    whisked = save(tmp_path, "b.csv", FOREIGN.replace(";Check;", ";Whisked;"))
    asked = str(run("intake", crossed, whisked).exception).splitlines()
    assert asked[0] == "the export: 2 points must be settled before it can be read:"
    assert asked[1].startswith("  1. a.csv: Lock reads 'x'")
    assert asked[2].startswith("  2. b.csv: Type reads 'whisked'")


@pytest.mark.parametrize(
    "args",
    [
        pytest.param(("layout", "none.csv"), id="layout of no file"),
        pytest.param(("intake", "none.csv"), id="intake of no file"),
        pytest.param(("intake", "log.csv", "--layout", "none.csv"), id="no layout"),
    ],
)
def test_a_file_that_is_not_there_is_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, args: tuple[str, ...]
) -> None:
    save(tmp_path, "log.csv", CANONICAL)
    monkeypatch.chdir(tmp_path)
    assert "none.csv" in sentence(run(*args))


def test_the_dry_run_writes_nothing(tmp_path: Path, export: Path, layout: Path) -> None:
    before = sorted(tmp_path.rglob("*"))
    assert run("intake", export, "--layout", layout).exit_code == 0
    assert run("intake", export).exit_code == 0
    assert sorted(tmp_path.rglob("*")) == before


def test_the_commands_name_their_arguments_alike() -> None:
    for command in ("audit", "intake", "layout"):
        assert f"{command} [OPTIONS] EXPORT..." in run(command, "--help").output
