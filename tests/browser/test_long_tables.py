"""Sorting and filtering of the report's long tables, by mouse and by keyboard."""

from collections.abc import Callable
from pathlib import Path

import pytest
from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webelement import WebElement
from selenium.webdriver.support.wait import WebDriverWait

from tests.browser.page import open_page

CAPTION = "Checks: checks missed, 42"
PULLS = "Charts to pull, in this order"


def region(browser: Chrome, caption: str) -> WebElement:
    return browser.find_element(By.CSS_SELECTOR, f".long-table[aria-label='{caption}']")


def tools(browser: Chrome, caption: str) -> WebElement:
    return region(browser, caption).find_element(By.XPATH, "preceding-sibling::div[1]")


def rows(browser: Chrome, caption: str) -> list[list[str]]:
    """Cells of the rows that can be seen."""
    found: list[list[str]] = browser.execute_script(
        "return [...arguments[0].querySelectorAll('tbody tr')]"
        ".filter((r) => r.checkVisibility())"
        ".map((r) => [...r.cells].map((c) => c.innerText))",
        region(browser, caption),
    )
    return found


def column(browser: Chrome, caption: str, place: int) -> list[str]:
    return [row[place] for row in rows(browser, caption)]


def button(browser: Chrome, caption: str, place: int) -> WebElement:
    return region(browser, caption).find_elements(By.CSS_SELECTOR, "th button")[place]


def sorted_as(browser: Chrome, caption: str) -> list[str | None]:
    heads = region(browser, caption).find_elements(By.CSS_SELECTOR, "thead th")
    return [head.get_attribute("aria-sort") for head in heads]


def click(element: WebElement) -> None:
    element.click()


def press(element: WebElement) -> None:
    element.send_keys(Keys.ENTER)


@pytest.fixture
def page(browser: Chrome, report: Path) -> Chrome:
    open_page(browser, report)
    return browser


def test_a_filter_leaves_the_rows_with_all_its_words_and_says_how_many(
    page: Chrome,
) -> None:
    every = rows(page, CAPTION)
    assert len(every) == 42
    box = tools(page, CAPTION)
    said = box.find_element(By.CSS_SELECTOR, "[role=status]")
    assert said.text == "42 rows"
    field = box.find_element(By.TAG_NAME, "input")
    assert field.accessible_name.endswith(CAPTION)
    field.send_keys("OCT  lapwing")
    wanted = [r for r in every if "lapwing" in " ".join(r).lower()]
    assert 0 < len(wanted) < 42
    assert rows(page, CAPTION) == wanted
    assert said.text == f"{len(wanted)} of 42 rows shown, with “OCT lapwing”"
    field.send_keys(Keys.ESCAPE)
    assert rows(page, CAPTION) == every


def test_a_filter_without_a_match_shows_no_row_and_says_so(page: Chrome) -> None:
    box = tools(page, CAPTION)
    box.find_element(By.TAG_NAME, "input").send_keys("<b>nothing</b>")
    said = box.find_element(By.CSS_SELECTOR, "[role=status]")
    assert rows(page, CAPTION) == []
    assert said.text == "0 of 42 rows shown, with “<b>nothing</b>”"
    assert said.find_elements(By.TAG_NAME, "b") == []


@pytest.mark.parametrize("use", [click, press], ids=["by mouse", "by keyboard"])
def test_a_column_is_sorted_up_then_down_then_as_it_was(
    page: Chrome, use: Callable[[WebElement], None]
) -> None:
    before = rows(page, PULLS)
    hours = [float(row[5].split()[0]) for row in before]
    assert hours != sorted(hours)
    for said, wanted in (
        ("ascending", sorted(hours)),
        ("descending", sorted(hours, reverse=True)),
    ):
        use(button(page, PULLS, 5))
        assert [float(c.split()[0]) for c in column(page, PULLS, 5)] == wanted
        assert sorted_as(page, PULLS) == [*[None] * 5, said, None, None]
    use(button(page, PULLS, 5))
    assert rows(page, PULLS) == before
    assert set(sorted_as(page, PULLS)) == {None}


def test_numbers_inside_text_are_sorted_as_numbers(page: Chrome) -> None:
    button(page, CAPTION, 3).click()
    lines = [int(c.split(":")[1].split()[0]) for c in column(page, CAPTION, 3)]
    assert lines == sorted(lines)
    assert len(set(map(str, lines))) > 20
    assert sorted(map(str, lines)) != list(map(str, lines))


def test_sorting_keeps_the_filter(page: Chrome) -> None:
    field = tools(page, CAPTION).find_element(By.TAG_NAME, "input")
    field.send_keys("skylark")
    count = len(rows(page, CAPTION))
    button(page, CAPTION, 1).click()
    names = column(page, CAPTION, 1)
    assert len(names) == count
    assert names == sorted(names)


def test_blank_cells_come_last_either_way(page: Chrome) -> None:
    page.execute_script(
        "arguments[0].querySelector('tbody tr').cells[5].textContent = ''",
        region(page, PULLS),
    )
    for _ in range(2):
        button(page, PULLS, 5).click()
        assert column(page, PULLS, 5)[-1] == ""


def test_only_the_first_rows_are_printed_and_the_page_says_so(page: Chrome) -> None:
    page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    assert len(rows(page, CAPTION)) == 20
    after = region(page, CAPTION).find_element(By.XPATH, "following-sibling::p[1]")
    assert after.text == "Printed are the first 20; 22 more are on the page."
    page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    assert len(rows(page, CAPTION)) == 42


def test_a_filtered_table_is_printed_filtered_and_says_so(page: Chrome) -> None:
    field = tools(page, CAPTION).find_element(By.TAG_NAME, "input")
    field.send_keys("teasel")
    shown = rows(page, CAPTION)
    page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    assert rows(page, CAPTION) == shown[:20]
    assert "with “teasel”" in tools(page, CAPTION).text
    page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})


def test_no_table_of_wards_can_be_sorted(page: Chrome) -> None:
    captions = [
        e.get_attribute("aria-label") or ""
        for e in page.find_elements(By.CSS_SELECTOR, ".table:has(th button)")
    ]
    assert captions
    assert not [c for c in captions if "alphabetical" in c or "October 2026" in c]


def shown_words(browser: Chrome) -> set[str]:
    """Give all texts of the page; none before it holds the long table."""
    found = browser.execute_cdp_cmd(
        "DOMSnapshot.captureSnapshot", {"computedStyles": []}
    )
    words = set(found["strings"])
    return words if CAPTION in words else set()


def test_without_scripts_every_row_is_there_and_nothing_is_offered(
    browser: Chrome, report: Path
) -> None:
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        open_page(browser, report)
        # Without scripts the driver does not know when a page has loaded.
        words = WebDriverWait(browser, 20).until(shown_words)
    finally:
        browser.execute_cdp_cmd(
            "Emulation.setScriptExecutionDisabled", {"value": False}
        )
    assert "Show rows with" not in words
    shown = [word for word in words if word.startswith("No check is charted near")]
    assert len(shown) >= 40
