"""The finished report: one page, whole in itself, in which text of a log stays text."""

import base64
import hashlib
import io
import re
import zipfile
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from importlib import resources
from itertools import pairwise
from pathlib import Path

import nbformat
import numpy as np
import pandas as pd
import pytest

from analysis.audit import AuditResult
from analysis.compliance import Units
from analysis.report import facts, publish, sections
from analysis.report.grid import PRINTED_ROWS, Grid
from analysis.report.notebook import run_notebook
from analysis.report.section import Section, section
from analysis.report.sections.words import some
from analysis.review import LIST_COLUMNS
from analysis.terms import ALL, Decision

NO_FETCH = {"src", "href", "srcset", "data", "action", "poster", "formaction"}


class Page(HTMLParser):
    """Tags with their attributes, and the text between them."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.said: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep a tag."""
        self.tags.append((tag, {name: value or "" for name, value in attrs}))

    def handle_data(self, data: str) -> None:
        """Keep a text."""
        self.said.append(data)

    @property
    def text(self) -> str:
        """All text, with single spaces."""
        return re.sub(r"\s+", " ", "".join(self.said))

    def named(self, tag: str) -> list[dict[str, str]]:
        """Attributes of every tag of a name."""
        return [attrs for name, attrs in self.tags if name == tag]


@pytest.fixture(scope="module")
def folder(hostile: AuditResult, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return publish(hostile, tmp_path_factory.mktemp("reports") / "2026-10").parent


@pytest.fixture(scope="module")
def page(folder: Path) -> Page:
    return Page((folder / "report.html").read_text(encoding="utf-8"))


def test_nothing_is_fetched(folder: Path, page: Page) -> None:
    for _, attrs in page.tags:
        for name in NO_FETCH & set(attrs):
            assert attrs[name].startswith(("#", "data:image/svg+xml;base64,"))
    assert {"iframe", "link", "object", "base"}.isdisjoint(tag for tag, _ in page.tags)
    html = (folder / "report.html").read_text(encoding="utf-8")
    assert re.findall(r"@import|url\(", html) == []


def test_the_one_script_is_ours_and_a_browser_may_run_no_other(
    folder: Path, page: Page
) -> None:
    html = (folder / "report.html").read_text(encoding="utf-8")
    ours = resources.files("analysis.report").joinpath("templates", "report.js")
    [script] = re.findall(r"<script\b[^>]*>(.*?)</script", html, re.S | re.I)
    assert script.strip() == ours.read_text(encoding="utf-8").strip()
    assert page.named("script") == [{}]
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    [allowed] = [m["content"] for m in page.named("meta") if "http-equiv" in m]
    rules = dict(rule.strip().split(" ", 1) for rule in allowed.split(";"))
    assert rules["script-src"] == f"'sha256-{digest}'"
    assert rules["default-src"] == "'none'"
    assert html.index("Content-Security-Policy") < html.index("<style")


def test_the_script_neither_reads_markup_nor_reaches_out() -> None:
    ours = resources.files("analysis.report").joinpath("templates", "report.js")
    text = ours.read_text(encoding="utf-8")
    ways = (
        r"innerHTML|outerHTML|insertAdjacent|document\.write|eval|Function\(|import"
        r"|fetch|XMLHttp|WebSocket|sendBeacon|localStorage|cookie|location|href|src"
    )
    assert re.findall(ways, text) == []


def test_only_long_lists_can_be_sorted_and_wards_never(page: Page) -> None:
    found = [a for a in page.named("div") if "long-table" in a.get("class", "")]
    assert found
    assert all(a["tabindex"] == "0" for a in found)  # without the script they scroll
    assert not [a for a in found if "alphabetical" in a["aria-label"]]
    for attrs in found:
        caption = attrs["aria-label"]
        assert caption.startswith(
            ("Charts to pull", "Charting:", "Checks:", "Sites:", "Flow factor")
        )


def test_all_rows_of_a_long_table_are_on_the_page_and_the_first_on_paper() -> None:
    rows = [(str(n),) for n in range(27)]
    long = Grid(caption="a", head=("n",), rows=rows, is_for_search=True)
    assert (long.is_long, long.not_printed) == (True, 27 - PRINTED_ROWS)
    assert not Grid(caption="a", head=("n",), rows=rows).is_long
    short = Grid(caption="a", head=("n",), rows=rows[:8], is_for_search=True)
    assert (short.is_long, short.not_printed) == (False, 0)
    sheet = resources.files("analysis.report").joinpath("templates", "report.css")
    style = sheet.read_text(encoding="utf-8")
    assert f".long-table tbody tr:nth-child(n + {PRINTED_ROWS + 1})" in style
    html = section("plain", grid=long, items=()).html
    assert html.count("<tr") == 1 + 27
    assert "7 more are on the page" in html


def test_no_attribute_is_a_handler(page: Page) -> None:
    handlers = {n for _, attrs in page.tags for n in attrs if n.startswith("on")}
    assert handlers == set()


def test_hostile_text_is_text(page: Page, hostile_ward: str) -> None:
    assert hostile_ward in page.text
    assert '"><img src=x onerror=alert(1)>' in page.text


def test_no_code_is_shown(page: Page) -> None:
    assert "read_tables" not in page.text
    assert "list_limit" not in page.text


def test_headings_go_down_one_step_at_a_time(page: Page) -> None:
    levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch("h[1-6]", tag)]
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))


def test_page_can_be_found_ones_way_in(page: Page) -> None:
    assert page.named("html")[0]["lang"] == "en"
    ids = [attrs["id"] for _, attrs in page.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    targets = {attrs["href"][1:] for attrs in page.named("a")}
    assert "main" in targets
    assert targets <= set(ids)


def test_every_table_has_a_caption_and_scopes(page: Page) -> None:
    assert len(page.named("caption")) == len(page.named("table")) > 0
    assert {attrs.get("scope") for attrs in page.named("th")} == {"row", "col"}


def test_every_picture_says_its_numbers(page: Page) -> None:
    alts = [attrs["alt"] for attrs in page.named("img")]
    assert "Checks on time: " in alts[0]
    assert sum("mL (expected " in alt for alt in alts) == 6  # each delivery finding
    assert all(re.search(r"\d", alt) for alt in alts)


@pytest.mark.parametrize(
    "text",
    [
        "Syringe-driver audit, October 2026",
        "Example policy.",
        "Is there something to act on now?",
        "Which charts do I pull?",
        "How do the wards stand?",
        "Can I trust the log?",
        "Not in this export:",
        "No flag does not mean delivered. Not evaluable: 4.",
        "Rows that could not be placed, kept in full in tables/rejected.csv: 30",
        "Numbers charted with a qualifier, read as a number",
        "~13,3",
        "check_interval_h",
        "shows the plunger, not the patient",
    ],
)
def test_says(text: str, page: Page) -> None:
    assert text in page.text


def test_a_chart_to_pull_names_its_patient(page: Page, hostile: AuditResult) -> None:
    first = facts.charts_to_pull(hostile, 12).charts[0]
    listed = page.text[page.text.index("Charts to pull, in this order") :]
    cells = " ".join(listed[:500].split())
    assert f"{first.ward} {first.patient_id} {first.infusion_id}" in cells
    seen = facts.seen_at(first.findings).iloc[0]
    assert f"{seen.day} {seen:%b %H:%M}" in cells


def test_both_expected_numbers_of_false_flags_are_told_apart(
    page: Page, hostile: AuditResult
) -> None:
    listed = facts.delivery_findings(hostile)
    standing = facts.standings(hostile)[-1]
    by_threshold = 10 * standing.infusions / 1000
    assert f"{by_threshold:.1f} would on average be listed wrongly by" in page.text
    # Each planted finding has a probability of 0.9.
    assert f"{0.1 * len(listed):.1f} by the probabilities of the" in page.text


def test_published_notebook_opens_in_its_folder(folder: Path) -> None:
    notebook = nbformat.read(folder / "report.ipynb", as_version=4)
    nbformat.validate(notebook)
    assert "rows about persons" in notebook.cells[0].source
    assert notebook.cells[1].source.startswith("folder = '.'")
    assert notebook.metadata.kernelspec.name == "python3"


def test_published_notebook_runs_again_from_its_folder(folder: Path) -> None:
    published = nbformat.read(folder / "report.ipynb", as_version=4)
    again = run_notebook(published, folder)
    assert [cell.get("outputs") for cell in again.cells] == [
        cell.get("outputs") for cell in published.cells
    ]


def test_two_pages_of_one_audit_are_the_same(
    hostile: AuditResult, folder: Path, tmp_path: Path
) -> None:
    again = publish(hostile, tmp_path / "again").parent
    for name in ("report.html", "report.ipynb", "review.xlsx"):
        assert (again / name).read_bytes() == (folder / name).read_bytes()


def test_workbook_holds_text_and_a_choice(
    folder: Path, hostile: AuditResult, hostile_ward: str
) -> None:
    with zipfile.ZipFile(io.BytesIO((folder / "review.xlsx").read_bytes())) as book:
        sheet = book.read("xl/worksheets/sheet1.xml").decode()
        strings = book.read("xl/sharedStrings.xml").decode()
        assert all("hyperlink" not in name for name in book.namelist())
    assert "<f>" not in sheet
    assert "<hyperlink" not in sheet
    assert "=1+1 &lt;script&gt;" in strings
    assert hostile_ward.startswith("=1+1 <script>")
    assert f'"{",".join(Decision)}"' in sheet
    assert 'state="frozen"' in sheet
    month = hostile.findings["month"] == hostile.month
    assert sheet.count("<row ") == 1 + month.sum()
    assert all(name in strings for name in LIST_COLUMNS)


@pytest.mark.parametrize(
    "section",
    [
        lambda result: sections.first_screen(result, 12),
        sections.what_changed,
        sections.each_ward,
        sections.delivery_findings,
        sections.other_findings,
        sections.log_quality,
        sections.definitions,
        sections.policy_in_force,
        sections.cautions,
    ],
)
def test_a_month_with_nothing_in_it_has_its_sections(
    section: Callable[[AuditResult], Section], empty: AuditResult
) -> None:
    assert Page(section(empty)._repr_html_()).text.strip()


def test_probabilities_are_shown_once_they_are_computed(result: AuditResult) -> None:
    findings = result.findings.assign(
        event_probability=0.93,
        kind_probability=0.8,
        rival_kind="slow",
        rival_probability=0.1,
    )
    shown = Page(sections.delivery_findings(replace(result, findings=findings)).html)
    assert "probability of a delivery event" in shown.text
    assert "0.93" in shown.text
    assert "not computed" not in shown.text


def test_the_first_screen_says_what_to_do_where_there_is_a_chart_to_pull(
    result: AuditResult, empty: AuditResult
) -> None:
    says = "Is there something to act on now? Pull the charts below in this order"
    assert says in Page(sections.first_screen(result, 12).html).text
    one = replace(result, findings=facts.month_findings(result).tail(1))
    assert "Pull the chart below and" in Page(sections.first_screen(one, 12).html).text
    nothing = Page(sections.first_screen(empty, 12).html).text
    assert "No chart need be pulled for this month." in nothing
    for words in ("Pull", "review.xlsx"):
        assert words not in nothing


@pytest.mark.parametrize(
    ("n", "said"),
    [(0, "0 wards"), (1, "1 ward"), (2, "2 wards"), (1200, "1,200 wards")],
)
def test_one_of_something_is_no_plural(n: int, said: str) -> None:
    assert some(n, "ward") == said


def test_one_infusion_of_one_ward_is_said_so(result: AuditResult) -> None:
    october = result.infusions[result.infusions["month"] == result.month]
    one = october[october["evaluable"] == "yes"].head(1)
    name = one["infusion_id"].iloc[0]
    readings = result.readings[result.readings["infusion_id"] == name]
    few = replace(result, infusions=one, readings=readings)
    shown = (
        sections.first_screen(few, 12),
        sections.each_ward(few),
        sections.delivery_findings(few),
    )
    text = " ".join(Page(part.html).text for part in shown)
    assert "1 infusion started in the month" in text
    assert "1 infusion of October 2026 was evaluated" in text
    assert not re.search(r"\b1 (infusions|wards|findings)\b", text)


def test_a_month_without_a_finding_asks_for_no_decision(
    empty: AuditResult, tmp_path: Path
) -> None:
    publish(empty, tmp_path / "report", tables_only=True)
    said = Page(sections.reviewed(empty, tmp_path / "report").html).text
    assert "no finding to decide on" in said
    assert "review.xlsx" not in said


def test_part_of_a_month_is_said(result: AuditResult) -> None:
    part = replace(result, is_part_of_month=True)
    assert "Part of a month." in Page(sections.first_screen(part, 12).html).text
    assert "Part of a month." not in Page(sections.first_screen(result, 12).html).text


@pytest.mark.parametrize(
    ("is_recent", "said", "not_said"),
    [
        pytest.param(True, "Tell the ward now", "too long ago", id="a log of today"),
        pytest.param(False, "too long ago", "Tell the ward", id="a log of long ago"),
    ],
)
def test_a_ward_is_told_only_while_it_can_act(
    is_recent: bool,  # noqa: FBT001 - a case
    said: str,
    not_said: str,
    result: AuditResult,
) -> None:
    is_end = result.findings["kind"] == "may_still_be_running"
    running = result.findings.loc[is_end, "infusion_id"].iloc[0]
    flagged = result.findings["kind"] == "check_missed"
    findings = result.findings.assign(
        infusion_id=result.findings["infusion_id"].mask(flagged, running)
    )
    page = sections.first_screen(
        replace(result, findings=findings), 12, is_recent=is_recent
    )
    assert said in Page(page.html).text
    assert not_said not in Page(page.html).text


def test_only_changes_beyond_chance_are_named(result: AuditResult) -> None:
    table = result.comparisons
    is_now = (table["period"] == result.month) & (table["shown"] == "proportion")
    rows = table[is_now].index
    table = table.assign(change=np.nan, change_low=np.nan, change_high=np.nan)
    table.loc[rows, ["change", "change_low", "change_high"]] = [0.02, -0.05, 0.09]
    table.loc[rows[0], ["change", "change_low", "change_high"]] = [-0.2, -0.3, -0.1]
    found = facts.changes(replace(result, comparisons=table))
    assert found.beyond.index.tolist() == [rows[0]]
    is_other_grace = table.loc[rows, "measure"].str.contains("_grace_")
    assert found.compared == (~is_other_grace).sum()
    assert found.by_chance == pytest.approx(found.compared / 20)
    text = Page(sections.what_changed(replace(result, comparisons=table)).html).text
    assert found.beyond["stands_out"].tolist() == [True]
    assert "-20.0" in text
    assert "-30.0 to -10.0" in text


def test_every_delivery_finding_says_what_would_settle_it(result: AuditResult) -> None:
    kinds = set(result.findings.loc[result.findings["group"] == "delivery", "kind"])
    assert kinds == set(facts.SETTLES)
    text = Page(sections.delivery_findings(result).html).text
    count = len(facts.delivery_findings(result))
    assert text.count("what would settle it") == count


def test_one_change_in_many_that_chance_would_bring_does_not_stand_out(
    result: AuditResult,
) -> None:
    table = result.comparisons
    is_now = (table["period"] == result.month) & (table["shown"] == "proportion")
    rows = table[is_now].index
    table = table.assign(change=np.nan, change_low=np.nan, change_high=np.nan)
    table.loc[rows, ["change", "change_low", "change_high"]] = [0.02, -0.05, 0.09]
    table.loc[rows[0], ["change", "change_low", "change_high"]] = [0.07, 0.003, 0.146]
    found = facts.changes(replace(result, comparisons=table))
    assert found.beyond["stands_out"].tolist() == [False]
    text = Page(sections.what_changed(replace(result, comparisons=table)).html).text
    assert "Nothing changed by more than chance would bring" in text


def test_each_ward_counts_its_findings(result: AuditResult) -> None:
    parts = sections.each_ward(result).html.split('<section class="ward">')[2:]
    month = facts.month_findings(result)
    assert len(parts) == len(facts.wards(result))
    for ward, part in zip(facts.wards(result), parts, strict=True):
        said = Page(part).text.split("Findings: ")[1].split(". Each")[0].split("; ")
        own = month[month["ward"] == ward]["kind"].value_counts()
        wanted = {f"{facts.words(str(kind))} {n}" for kind, n in own.items()}
        assert wanted
        assert set(said) == wanted


def test_each_ward_says_how_it_charted(result: AuditResult) -> None:
    parts = sections.each_ward(result).html.split('<section class="ward">')[2:]
    for ward, part in zip(facts.wards(result), parts, strict=True):
        mine = result.readings[
            (result.readings["ward"] == ward)
            & (result.readings["month"] == result.month)
        ]
        text = Page(part).text
        assert f"Rows{len(mine):,}: no volume in 0, no site signs in 0" in text
        exact = sum(moment.minute == 0 for moment in mine["checked_at"])
        said = re.search(r"At an exact hour(\d+)", text)
        assert said is not None
        assert int(said[1]) == exact
        assert "Volumes read in steps of0.1 mL" in text


@pytest.mark.parametrize(
    ("cells", "signs", "looked"),
    [
        pytest.param(["none", "none"], {}, 2, id="no sign is no sign and a look"),
        pytest.param(["", "none"], {}, 1, id="a blank is no look"),
        pytest.param(
            ["redness;pain", "pain"], {"pain": 2, "redness": 1}, 2, id="several signs"
        ),
    ],
)
def test_signs_at_the_sites_are_counted_check_by_check(
    cells: list[str], signs: dict[str, int], looked: int, result: AuditResult
) -> None:
    rows = result.readings[result.readings["month"] == result.month].head(2)
    rows = rows.assign(site_signs=cells, ward="Alder ward")
    found = facts.ward_log(replace(result, readings=rows), "Alder ward")
    assert dict(found.signs) == signs
    assert (found.looked, found.without_signs) == (looked, 2 - looked)


def test_sites_are_counted_by_what_became_of_them(result: AuditResult) -> None:
    outcomes = {
        ("reaction", "counted", ""): 2,
        ("no reaction", "not counted", ""): 3,
        ("prevalent", "excluded", "reaction already present when first seen"): 1,
    }
    rows = [
        {
            **dict(zip(("outcome", "tally", "reason"), key, strict=True)),
            "measure": facts.REACTIONS,
            "ward": "Alder ward",
            "month": result.month,
        }
        for key, n in outcomes.items()
        for _ in range(n)
    ]
    elsewhere = {**rows[0], "ward": "Birch ward"}
    before = {**rows[0], "month": "2026-09"}
    units = Units.read(pd.DataFrame([*rows, elsewhere, before]))
    found = facts.ward_log(replace(result, unit_tables=units), "Alder ward")
    assert (found.sites, found.with_reaction) == (5, 2)
    assert dict(found.sites_left_out) == {"reaction already present when first seen": 1}
    assert facts.ward_log(replace(result, unit_tables=units), ALL).sites == 6


def test_measures_left_out_for_the_same_reasons_stand_together(
    result: AuditResult,
) -> None:
    rows = [
        {
            "measure": measure,
            "ward": ALL,
            "period": result.month,
            "reason": "paused",
            "units": 3,
        }
        for measure in ("volume_recorded", "site_recorded")
    ]
    html = sections.each_ward(replace(result, exclusions=pd.DataFrame(rows))).html
    said = Page(html.split("not judged in October 2026, and why")[2]).text
    row = "paused 3 Volume recorded; Site signs recorded"
    assert f"All wards {row}" in said
    assert said.count(row) == 1
