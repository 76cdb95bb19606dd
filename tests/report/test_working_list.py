"""The working list goes out, is filled in, comes back, and is never overwritten."""

import codecs
from pathlib import Path

import pandas as pd
import pytest
import xlsxwriter
from python_calamine import CalamineWorkbook

from analysis.audit import AuditResult
from analysis.errors import OutputError
from analysis.report import check_output_folder, publish, read_manifest, sections
from analysis.report.read_back import read_review
from analysis.review import LIST_COLUMNS, read_decisions

RUN_AT = pd.Timestamp("2026-11-03 09:00", tz="UTC").to_pydatetime()


def tables(result: AuditResult, out: Path, given: pd.DataFrame | None = None) -> Path:
    return publish(result, out, given=given, tables_only=True, run_at=RUN_AT)


@pytest.fixture
def out(result: AuditResult, tmp_path: Path) -> Path:
    return tables(result, tmp_path / "reports" / "2026-10")


def sheet_of(path: Path) -> pd.DataFrame:
    rows = CalamineWorkbook.from_path(path).get_sheet_by_index(0).to_python()
    return pd.DataFrame(rows[1:], columns=pd.Index(rows[0]), dtype="str")


def save(table: pd.DataFrame, path: Path) -> None:
    """Save a list as a spreadsheet would; the drop-down matters to nobody here."""
    if path.suffix == ".csv":
        table.to_csv(path, index=False, sep=";")
        return
    with xlsxwriter.Workbook(str(path), {"strings_to_formulas": False}) as book:
        sheet = book.add_worksheet("review")
        for line, row in enumerate(
            [tuple(table.columns), *table.itertuples(index=False)]
        ):
            for place, text in enumerate(row):
                sheet.write_string(line, place, text)


def decide(path: Path, row: int, word: str, note: str = "") -> str:
    """Fill in one row of a list; gives the finding's id."""
    table = (
        sheet_of(path)
        if path.suffix == ".xlsx"
        else pd.read_csv(path, dtype="str", keep_default_na=False)
    )
    table.loc[row, ["decision", "note"]] = [word, note]
    save(table, path)
    return str(table.loc[row, "finding_id"])


def decisions(result: AuditResult, out: Path) -> pd.DataFrame:
    return read_review(out, result.policy).decisions.set_index("finding_id")


def test_both_forms_hold_the_same_rows(result: AuditResult, out: Path) -> None:
    sheet = sheet_of(out / "review.xlsx")
    assert tuple(sheet.columns) == LIST_COLUMNS
    text = pd.read_csv(out / "review.csv", dtype="str", keep_default_na=False)
    assert (out / "review.csv").read_bytes().startswith(codecs.BOM_UTF8)
    pd.testing.assert_frame_equal(sheet, text.astype("str"), check_dtype=False)
    month = result.findings["month"] == result.month
    assert set(sheet["finding_id"]) == set(result.findings.loc[month, "finding_id"])


def test_each_row_says_when_its_finding_was_first_seen(
    result: AuditResult, out: Path
) -> None:
    listed = sheet_of(out / "review.xlsx").set_index("finding_id")["first_seen"]
    month = result.findings["month"] == result.month
    findings = result.findings[month].set_index("finding_id")
    stall = findings.index[findings["kind"] == "stall"][0]
    seen = findings.loc[stall, "first_visible"]
    assert listed[stall] == f"{seen:%Y-%m-%d %H:%M}"
    assert (listed != "").all()


@pytest.mark.parametrize("name", ["review.xlsx", "review.csv"])
def test_an_edited_list_is_read_and_carried_over(
    name: str, result: AuditResult, out: Path
) -> None:
    chosen = decide(out / name, 3, "charting error", "=1+1 copied from above")
    check_output_folder(out)
    tables(result, out)
    for listed in (sheet_of(out / "review.xlsx"), read_decisions([out / "review.csv"])):
        row = listed[listed["finding_id"] == chosen].iloc[0]
        assert row["decision"] == "charting error"
        assert row["note"] == "=1+1 copied from above"
        assert row["state"] == "decided"
    assert decisions(result, out).loc[chosen, "decision"] == "charting error"
    first = {p.name: p.read_bytes() for p in out.glob("tables/*")}
    tables(result, out)
    second = {p.name: p.read_bytes() for p in out.glob("tables/*")}
    assert {n: b for n, b in first.items() if n != "decisions.csv"} == {
        n: b for n, b in second.items() if n != "decisions.csv"
    }
    assert decisions(result, out).loc[chosen, "decision"] == "charting error"


def test_a_list_given_goes_beside_the_folders_own(
    result: AuditResult, out: Path, tmp_path: Path
) -> None:
    own = decide(out / "review.xlsx", 0, "confirmed")
    other = tmp_path / "september.csv"
    table = pd.DataFrame(
        {"finding_id": [own, "GONE"], "decision": ["explained", "confirmed"]}
    )
    save(table.assign(month="2026-10"), other)
    tables(result, out, read_decisions([other]))
    review = read_review(out, result.policy)
    row = review.decisions.set_index("finding_id").loc[own]
    assert row["state"] == "contradicting"
    assert "confirmed (review.xlsx:2)" in row["said"]
    assert "explained (september.csv:2)" in row["said"]
    assert review.unmatched["finding_id"].tolist() == ["GONE"]
    # Unmatched decisions and both sides of a contradiction outlive the next run.
    tables(result, out)
    again = read_review(out, result.policy)
    assert again.unmatched["finding_id"].tolist() == ["GONE"]
    listed = sheet_of(out / "review.xlsx").set_index("finding_id")
    assert "explained (september.csv:2)" in str(listed.loc[own, "note"])
    assert str(listed.loc[own, "note"]).count("two decisions") == 1


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        pytest.param("maybe", "'maybe' is no decision", id="an unknown decision"),
    ],
)
def test_an_edited_list_that_cannot_be_read_is_not_overwritten(
    spoil: str, says: str, result: AuditResult, out: Path
) -> None:
    decide(out / "review.xlsx", 0, spoil)
    before = (out / "review.xlsx").read_bytes()
    for attempt in (check_output_folder, lambda path: tables(result, path)):
        with pytest.raises(OutputError, match=says) as caught:
            attempt(out)
        assert "is not overwritten" in str(caught.value)
    assert (out / "review.xlsx").read_bytes() == before


def test_a_list_edited_while_the_report_is_made_is_not_overwritten(
    result: AuditResult, out: Path
) -> None:
    run = read_manifest(out)["run_at"]

    def work(words: str) -> None:
        if "place" in words:
            decide(out / "review.xlsx", 1, "confirmed")

    with pytest.raises(OutputError, match="edited while the report was made"):
        publish(result, out, tables_only=True, progress=work)
    assert read_manifest(out)["run_at"] == run
    assert "confirmed" in set(sheet_of(out / "review.xlsx")["decision"])


def test_the_report_shows_what_was_decided(result: AuditResult, out: Path) -> None:
    nothing = sections.reviewed(result, out)._repr_html_()
    assert "No decision has been given back yet" in nothing
    month = result.findings[result.findings["month"] == result.month]
    stall = month[month["group"] == "delivery"]["finding_id"].iloc[0]
    table = pd.DataFrame({"finding_id": [stall], "decision": ["explained"]})
    save(table.assign(month=result.month), out.parent / "given.csv")
    tables(result, out, read_decisions([out.parent / "given.csv"]))
    said = sections.reviewed(result, out)._repr_html_()
    assert f"1 of the {len(month)} findings of the month" in said
    beside = sections.delivery_findings(result, out).html
    assert beside.count("<dt>decided</dt>") == 1
    assert "<dt>decided</dt><dd>explained</dd>" in beside
    beside = " ".join(beside.split())
    assert "<b>1 of 1 delivery finding decided</b> turned out false flags" in beside
    assert "decisions given back" not in sections.delivery_findings(result).html
    assert "False flags among delivery findings, so far" in said
