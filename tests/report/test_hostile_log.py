"""A log that is meant to do harm, from the export to every document: it stays text."""

import csv
import json
import re
import sys
import zipfile
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest

from analysis import cli
from tests.hostile import (
    BROKEN_OUT,
    LONG,
    MARKUP,
    PICTURES,
    PLUS,
    TEMPLATE,
    TURNING,
    hostile_log,
)

PAGES = ("out/report.html", "shared/summary.html", "study/report.html")
OUR_TAGS = (
    "a article b body br caption code dd div dl dt em figcaption figure footer h1 h2 "
    "h3 h4 head header html i img li main meta nav ol p script section strong style "
    "table tbody td th thead title tr ul"
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Everything that the commands make of it."""
    folder = tmp_path_factory.mktemp("hostile")
    exports = [str(path) for path in hostile_log(folder)]
    key = ["--secret", str(folder / "key")]
    with pytest.MonkeyPatch.context() as patch:
        for args in (
            ["audit", *exports, "--month", "2026-10", "--out", str(folder / "out")],
            ["share", str(folder / "out"), "--out", str(folder / "shared")],
            ["research", *exports, "--out", str(folder / "study"), *key],
        ):
            patch.setattr(sys, "argv", ["steadyfall", *args])
            cli.main()
    return folder


class Seen(HTMLParser):
    """Names of tags and attributes, and the text that is neither style nor script."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.said: list[str] = []
        self.inside = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep the names."""
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}
        self.inside = tag

    def handle_data(self, data: str) -> None:
        """Keep the text."""
        if self.inside not in {"style", "script"}:
            self.said.append(data)

    @property
    def text(self) -> str:
        """All text, with single spaces."""
        return " ".join(" ".join(self.said).split())


@pytest.mark.parametrize("name", PAGES)
def test_a_page_has_no_tag_and_no_attribute_but_ours(folder: Path, name: str) -> None:
    page = Seen((folder / name).read_text(encoding="utf-8"))
    assert page.tags <= set(OUR_TAGS.split())
    assert not [name for name in page.attributes if name.startswith("on")]


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize(
    "text",
    [
        pytest.param(MARKUP, id="markup"),
        pytest.param(PLUS, id="a formula"),
        pytest.param(BROKEN_OUT, id="what would leave an attribute"),
        pytest.param(PICTURES, id="pictures and a broken formula of letters"),
        pytest.param(TEMPLATE, id="what a template would carry out"),
    ],
)
def test_a_name_is_shown_as_it_was_charted(folder: Path, name: str, text: str) -> None:
    assert text in Seen((folder / name).read_text(encoding="utf-8")).text


@pytest.mark.parametrize("name", PAGES)
def test_nothing_turns_the_direction_of_a_page(folder: Path, name: str) -> None:
    html = (folder / name).read_text(encoding="utf-8")
    assert not set(TURNING) & set(html)
    assert "Ward enipal" in Seen(html).text


def test_the_notebook_says_no_warning_and_holds_no_script_of_theirs(
    folder: Path,
) -> None:
    notebook = json.loads((folder / "out/report.ipynb").read_text(encoding="utf-8"))
    outputs = [o for c in notebook["cells"] for o in c.get("outputs", [])]
    assert {o["output_type"] for o in outputs} == {"execute_result"}
    html = "".join("".join(o["data"]["text/html"]) for o in outputs)
    assert "script" not in Seen(html).tags


def cells(folder: Path) -> Iterator[tuple[str, str]]:
    csv.field_size_limit(1_000_000)
    for path in sorted(folder.rglob("*.csv")):
        if path.name == "checks.csv":
            continue
        with path.open(encoding="utf-8", newline="") as file:
            yield from ((path.name, cell) for row in csv.reader(file) for cell in row)


def test_no_cell_of_a_table_begins_a_formula(folder: Path) -> None:
    number = re.compile(r"-?[0-9.]+")
    found = [*cells(folder)]
    assert any(cell.startswith("'=cmd") for _, cell in found)
    assert any(cell == f"'{LONG.strip()}" for _, cell in found)
    begins = tuple("=+-@\t\r")
    assert [
        (name, cell[:40])
        for name, cell in found
        if cell.startswith(begins) and not number.fullmatch(cell)
    ] == []


def test_the_working_list_holds_text_alone(folder: Path) -> None:
    with zipfile.ZipFile(folder / "out" / "review.xlsx") as book:
        parts = {name: book.read(name).decode() for name in book.namelist()}
    sheets = "".join(text for name, text in parts.items() if "sheet" in name)
    assert "<f>" not in sheets
    assert "hyperlink" not in "".join(parts).lower()
    assert "externalLink" not in "".join(parts)
    assert "+I&lt;b&gt;" in parts["xl/sharedStrings.xml"]


def test_what_could_not_be_read_is_told_in_a_line_not_ten_thousand_letters(
    folder: Path,
) -> None:
    page = Seen((folder / "out/report.html").read_text(encoding="utf-8"))
    assert "Cells that could not be read" in page.text
    assert max(map(len, page.said)) < 3000
