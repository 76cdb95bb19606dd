"""Every document, opened in a browser: quiet, reachable, whole on screen and paper."""

import base64
import os
import re
import subprocess
from pathlib import Path

import pytest
from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from tests.browser.conftest import summary
from tests.browser.page import (
    console,
    cut_tables,
    lacking,
    on_paper,
    open_page,
    reachable,
    requests,
    tables,
    texts,
    tool,
    violations,
)

PHONE = (390, 844)
SCREEN = (1280, 800)

#: First thing to do: a finding of the report, a step of the other documents.
FIRST_STEP = (
    "main li a[href^='#finding-'], #next ~ ul li, #next ~ ol li, #next ~ .act li, "
    ".prose:has(#next) ~ ol li"
)

#: Left and right margin of the style sheet, 15 mm, in points.
MARGIN_PT = 15 / 25.4 * 72


@pytest.fixture(scope="session")
def axe() -> Path:
    """axe-core, which comes from the npm registry."""
    named = os.environ.get("STEADYFALL_AXE", "")
    if not named:
        lacking("axe-core is not installed: STEADYFALL_AXE names no axe.min.js")
    return Path(named)


def together(text: str) -> str:
    """Keep letters and figures alone: lines break elsewhere, a picture has no font."""
    return re.sub(r"[\W_]+", "", text)


@pytest.mark.parametrize("size", [SCREEN, PHONE], ids=["screen", "phone"])
def test_opens_quietly_and_asks_for_nothing(
    browser: Chrome, document: Path, size: tuple[int, int]
) -> None:
    address = open_page(browser, document, *size)
    browser.execute_script("window.scrollTo(0, document.body.scrollHeight)")
    assert console(browser) == []
    asked = [url for url in requests(browser) if not url.startswith("data:image/svg")]
    assert asked == [address]


@pytest.mark.parametrize("size", [SCREEN, PHONE], ids=["screen", "phone"])
def test_nothing_serious_is_wrong_for_those_who_cannot_see_or_point(
    browser: Chrome, document: Path, axe: Path, size: tuple[int, int]
) -> None:
    open_page(browser, document, *size)
    found = violations(browser, axe)
    assert [v for v in found if v["impact"] in {"serious", "critical"}] == []


@pytest.mark.parametrize("width", [1280, 768, 390])
def test_the_page_itself_does_not_scroll_sideways(
    browser: Chrome, document: Path, width: int
) -> None:
    open_page(browser, document, width)
    wide = browser.execute_script("return document.scrollingElement.scrollWidth")
    assert wide <= width


def test_no_table_is_cut_on_a_screen(browser: Chrome, document: Path) -> None:
    open_page(browser, document)
    assert cut_tables(browser) == []


def test_no_table_is_cut_on_a_phone_and_every_cell_says_what_it_is(
    browser: Chrome, document: Path
) -> None:
    open_page(browser, document, *PHONE)
    assert cut_tables(browser) == []
    heads = browser.execute_script(
        "return [...document.querySelectorAll('.cards tbody td:not([colspan])')]"
        ".filter((cell) => cell.checkVisibility()).map((cell) => ["
        "getComputedStyle(cell, '::before').content,"
        "JSON.stringify(cell.closest('table').tHead.rows[0].cells[cell.cellIndex]"
        ".textContent.trim())])"
    )
    assert heads
    assert [pair for pair in heads if pair[0] != pair[1]] == []


def test_a_browser_runs_no_script_but_ours(browser: Chrome, document: Path) -> None:
    open_page(browser, document)
    browser.execute_script(
        "const s = document.createElement('script'); s.textContent = 'window.ran = 1';"
        "document.body.append(s);"
        "const i = document.createElement('img'); i.setAttribute('onerror', 'ran = 1');"
        "i.src = 'data:image/png;base64,AAAA'; document.body.append(i);"
    )
    assert browser.execute_script("return window.ran === undefined")
    # Read, so that the next test finds the console empty.
    assert any("Content Security Policy" in said for said in console(browser))


def test_the_tab_key_reaches_everything_in_order_and_shows_where_it_is(
    browser: Chrome, document: Path
) -> None:
    open_page(browser, document)
    wanted = reachable(browser)
    body = browser.find_element(By.TAG_NAME, "body")
    body.send_keys(Keys.TAB)
    visited = []
    for _ in wanted:
        place, outline = browser.execute_script(
            "const e = document.activeElement, s = getComputedStyle(e);"
            "return [e.dataset.place, s.outlineStyle]"
        )
        visited.append(int(place))
        assert outline != "none", place
        browser.switch_to.active_element.send_keys(Keys.TAB)
    assert visited == wanted


def test_a_summary_is_two_sheets(browser: Chrome, report: Path, tmp_path: Path) -> None:
    open_page(browser, summary(report))
    sheets = read(printed(browser, tmp_path)).split("\f")
    assert len([sheet for sheet in sheets if sheet.strip()]) == 2


@pytest.fixture
def paper(browser: Chrome, document: Path, tmp_path: Path) -> Path:
    """Print the document on A4, as its style sheet says."""
    open_page(browser, document)
    return printed(browser, tmp_path)


def printed(browser: Chrome, folder: Path) -> Path:
    """Print what is open, once it is drawn: before, it may be a blank page."""
    browser.execute_async_script(
        "const done = arguments[0];"
        "requestAnimationFrame(() => requestAnimationFrame(() => done()));"
    )
    done = browser.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
    pdf = folder / "printed.pdf"
    pdf.write_bytes(base64.b64decode(done["data"]))
    return pdf


def read(pdf: Path, *options: str) -> str:
    """Read the words of a PDF."""
    command = [tool("pdftotext"), *options, "-enc", "UTF-8", str(pdf), "-"]
    done = subprocess.run(command, capture_output=True, check=True)  # noqa: S603 - ours
    return done.stdout.decode()


def test_no_table_is_cut_on_paper_and_every_word_is_printed(
    browser: Chrome, paper: Path
) -> None:
    on_paper(browser)
    assert cut_tables(browser) == []
    words = together(read(paper, "-raw"))
    wanted = texts(browser)
    assert len(wanted) > 20
    assert [text for text in wanted if together(text) not in words] == []


def test_each_page_of_a_table_has_its_head(browser: Chrome, paper: Path) -> None:
    on_paper(browser)
    pages = [together(page) for page in read(paper, "-raw").split("\f")]
    headless = [
        (caption, number)
        for caption, head, rows in tables(browser)
        for number, page in enumerate(pages, start=1)
        # A row of a few figures may stand in another table too.
        if any(len(row) > 20 and row in page for row in map(together, rows))
        and together(head) not in page
    ]
    assert headless == []


def test_each_ward_is_on_one_page(
    browser: Chrome, report: Path, tmp_path: Path
) -> None:
    open_page(browser, report)
    sheets = [together(p) for p in read(printed(browser, tmp_path), "-raw").split("\f")]
    on_paper(browser)
    wards = browser.execute_script(
        "return [...document.querySelectorAll('section.ward')].map((ward) =>"
        " [...ward.querySelectorAll('h3, caption, th, h4, dd')]"
        ".map((e) => e.innerText))"
    )
    pages = [
        [
            number
            for number, sheet in enumerate(sheets)
            if together(ward[0]) in sheet
            and all(together(text) in sheet for text in ward)
        ]
        for ward in wards
    ]
    assert len(wards) == 7
    assert [len(found) for found in pages] == [1] * 7
    first = pages[0][0]
    assert [found[0] for found in pages] == list(range(first, first + 7))


def test_words_stay_inside_the_margins_of_the_paper(paper: Path) -> None:
    places = read(paper, "-bbox")
    sizes = set(re.findall(r'<page width="([0-9.]+)" height="([0-9.]+)"', places))
    assert len(sizes) == 1
    [(width, height)] = [(float(w), float(h)) for w, h in sizes]
    # A4 in points, to the rounding of a browser.
    assert (width, height) == pytest.approx((595.3, 841.9), abs=1.0)
    ends = [float(x) for x in re.findall(r'xMax="([0-9.]+)"', places)]
    assert max(ends) <= width - MARGIN_PT + 2


@pytest.mark.parametrize("size", [SCREEN, PHONE], ids=["screen", "phone"])
def test_what_to_do_next_is_on_the_first_screen(
    browser: Chrome, document: Path, size: tuple[int, int]
) -> None:
    open_page(browser, document, *size)
    first = browser.find_element(By.CSS_SELECTOR, FIRST_STEP)
    place = browser.execute_script(
        "return arguments[0].getBoundingClientRect().bottom", first
    )
    assert place < size[1]


def test_every_link_inside_the_page_leads_somewhere(
    browser: Chrome, document: Path
) -> None:
    open_page(browser, document)
    lost = browser.execute_script(
        "return [...document.querySelectorAll(\"a[href^='#']\")].map((a) => a.hash)"
        ".filter((hash) => !document.getElementById(hash.slice(1)))"
    )
    assert lost == []
