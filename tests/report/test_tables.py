"""Tables to CSV and back: what is published is what the report is made from."""

import json
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from analysis.audit import AuditResult
from analysis.columns import FINDINGS, OUTPUT, READINGS, Column, Kind, Table
from analysis.errors import OutputError
from analysis.policy import Policy
from analysis.report.manifest import manifest, write_manifest
from analysis.report.read_back import read_tables
from analysis.report.tables import as_text, table_files, write_tables

RUN_AT = pd.Timestamp("2026-11-03 09:00", tz="UTC").to_pydatetime()


def written(result: AuditResult, folder: Path) -> Path:
    write_tables(result, folder)
    write_manifest(manifest(result, files={}, run_at=RUN_AT), folder)
    return folder


def one(kind: Kind, values: object, decimals: int = 3) -> list[str]:
    column = Column(name="x", meaning="x", kind=kind, decimals=decimals)
    frame = pd.DataFrame({"x": values})
    return as_text(frame, Table("t", "row", (column,)), Policy.example())["x"].tolist()


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [
        pytest.param(1.0, 3, "1.000", id="a number has the decimals of the dictionary"),
        pytest.param(-0.0004, 3, "0.000", id="what rounds to nothing has no minus"),
        pytest.param(-1.25, 2, "-1.25", id="a negative number is no formula"),
        pytest.param(float("nan"), 2, "", id="a missing number is blank"),
    ],
)
def test_numbers(value: float, decimals: int, text: str) -> None:
    assert one(Kind.NUMBER, [value], decimals) == [text]


def test_counts_are_whole_numbers_even_where_a_blank_made_them_floats() -> None:
    assert one(Kind.COUNT, [3.0, None]) == ["3", ""]


@pytest.mark.parametrize(
    ("utc", "text"),
    [
        pytest.param(
            "2026-10-25 00:30", "2026-10-25T01:30:00+01:00", id="before clocks go back"
        ),
        pytest.param(
            "2026-10-25 01:30", "2026-10-25T01:30:00+00:00", id="after clocks go back"
        ),
        pytest.param(
            "2026-01-02 03:04:05.9", "2026-01-02T03:04:05+00:00", id="whole seconds"
        ),
    ],
)
def test_times_are_local_with_their_offset(utc: str, text: str) -> None:
    moments = pd.Series([pd.Timestamp(utc, tz="UTC"), pd.NaT]).dt.tz_convert(
        "Europe/London"
    )
    assert one(Kind.TIME, moments) == [text, ""]


@pytest.mark.parametrize(
    "value", ["=1+1", "+1", "-1", "@x", "\tx", "\rx", "'=1", "''-x", "it's", "'tis", ""]
)
def test_text_comes_back_as_it_was_and_never_starts_as_a_formula(
    value: str, result: AuditResult, tmp_path: Path
) -> None:
    readings = result.readings.head(2).assign(note=value)
    text = as_text(readings, READINGS, result.policy)["note"].tolist()
    assert all(not cell.startswith(tuple("=+-@\t\r")) for cell in text)
    written(replace(result, readings=readings), tmp_path)
    assert read_tables(tmp_path).readings["note"].fillna("").tolist() == [value] * 2


@pytest.mark.parametrize("name", ["result", "hostile", "empty"])
def test_round_trip(name: str, request: pytest.FixtureRequest, tmp_path: Path) -> None:
    result: AuditResult = request.getfixturevalue(name)
    back = read_tables(written(result, tmp_path))
    for table in OUTPUT:
        before, after = getattr(result, table.name), getattr(back, table.name)
        assert list(after.columns) == table.names
        pd.testing.assert_frame_equal(
            as_text(before, table, result.policy), as_text(after, table, back.policy)
        )
    assert (back.month, back.notes, back.not_in_export) == (
        result.month,
        result.notes,
        result.not_in_export,
    )
    assert back.policy == result.policy
    assert back.log_end == result.log_end
    pd.testing.assert_frame_equal(
        back.account, result.account, check_dtype=False, check_column_type=False
    )
    pd.testing.assert_frame_equal(
        back.noise, result.noise, check_dtype=False, check_column_type=False
    )


def test_hostile_text_comes_back_whole(
    hostile: AuditResult, hostile_note: str, tmp_path: Path
) -> None:
    back = read_tables(written(hostile, tmp_path))
    assert back.findings["sentence"].iloc[0] == hostile_note
    assert back.rejected["row"].iloc[0] == hostile_note


def test_types_after_reading(result: AuditResult, tmp_path: Path) -> None:
    back = read_tables(written(result, tmp_path))
    for table in OUTPUT:
        for column in table.columns:
            values = getattr(back, table.name)[column.name]
            if column.kind is Kind.TIME:
                assert str(values.dt.tz) == result.policy.time_zone
            elif column.kind in {Kind.NUMBER, Kind.COUNT}:
                assert values.dtype.kind in "if"


def test_two_writings_give_the_same_bytes(
    hostile: AuditResult, hostile_note: str, tmp_path: Path
) -> None:
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        write_tables(hostile, tmp_path / name)
    for file in table_files():
        content = (tmp_path / "a" / file).read_bytes()
        assert content == (tmp_path / "b" / file).read_bytes()
        inside = content.count(hostile_note.replace('"', '""').encode())
        assert content.count(b"\r\n") == inside


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        pytest.param("missing", "is not there; audit", id="a table is missing"),
        pytest.param("columns", "other columns", id="a table of another version"),
        pytest.param("number", "volume_ml holds what", id="a decimal comma"),
        pytest.param("time", "first_visible holds what", id="a date written anew"),
        pytest.param("bytes", "is no table; audit", id="another encoding"),
        pytest.param("older", "not as this version", id="run.json of an older one"),
        pytest.param("mark", "not a folder written by", id="run.json is not ours"),
    ],
)
def test_a_damaged_folder_ends_in_a_sentence(
    damage: str, said: str, result: AuditResult, tmp_path: Path
) -> None:
    folder = written(result, tmp_path)
    findings = folder / "tables" / f"{FINDINGS.name}.csv"
    if damage == "missing":
        findings.unlink()
    elif damage == "columns":
        findings.write_text("a,b\n1,2\n", encoding="utf-8")
    elif damage in ("number", "time"):
        name = "volume_ml" if damage == "number" else "first_visible"
        cells = pd.read_csv(findings, dtype=str, keep_default_na=False)
        cells[name] = "1,5" if damage == "number" else "12/10/2026 8:15"
        cells.to_csv(findings, index=False)
    elif damage == "bytes":
        findings.write_bytes(findings.read_bytes() + b"\xff\xfe")
    elif damage == "older":
        run = json.loads((folder / "run.json").read_text(encoding="utf-8"))
        del run["noise"]
        (folder / "run.json").write_text(json.dumps(run), encoding="utf-8")
    else:
        (folder / "run.json").write_text("{}", encoding="utf-8")
    with pytest.raises(OutputError, match=said) as caught:
        read_tables(folder)
    assert "\n" not in str(caught.value)
