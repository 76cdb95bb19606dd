"""What tests ask of a page that is open in a browser."""

import json
import os
import shutil
from pathlib import Path
from typing import Any

import pytest
from selenium.webdriver import Chrome

#: A4 without the margins of the style sheet: 180 mm at 96 px an inch.
PAPER_PX = 680

#: Text of every cell, caption and line that a reader of the page can see.
_TEXTS = """
  const seen = (e) => e.checkVisibility();
  return [...document.querySelectorAll("th, td, caption, h1, h2, h3, dd, main p")]
    .filter(seen).map((e) => e.innerText)
"""

#: Tables whose text is cut off or can only be reached by scrolling sideways.
_CUT = """
  return [...document.querySelectorAll("table")].filter((table) => {
    const box = table.parentElement;
    const right = document.querySelector("main").getBoundingClientRect().right;
    return box.scrollWidth > box.clientWidth + 1
      || table.getBoundingClientRect().right > right + 1;
  }).map((table) => table.caption.innerText)
"""

#: Heads and rows of every table, as text.
_TABLES = """
  const said = (row) => [...row.cells].map((cell) => cell.innerText).join("");
  const seen = (e) => e.checkVisibility();
  return [...document.querySelectorAll("table")].filter(seen).map((table) => [
    table.caption.innerText,
    [...table.tHead.rows].map(said).join(""),
    [...table.tBodies].flatMap((body) => [...body.rows]).filter(seen).map(said)])
"""

_CAN_BE_REACHED = """
  const stops = "a[href], button, input, select, [tabindex='0']";
  return [...document.querySelectorAll(stops)]
    .filter((e) => e.checkVisibility({ visibilityProperty: true }))
    .map((e, place) => { e.dataset.place = place; return place; })
"""


def lacking(reason: str) -> None:
    """Skip, or fail where a browser was promised."""
    if os.environ.get("STEADYFALL_BROWSER") == "required":
        pytest.fail(reason)
    pytest.skip(reason)


def tool(*names: str) -> str:
    """Find a program by the first of its names that is there."""
    found = next(filter(None, map(shutil.which, names)), None)
    if found is None:
        lacking(f"{' or '.join(names)} is not installed")
    return str(found)


def open_page(browser: Chrome, page: Path, width: int = 1280, height: int = 800) -> str:
    """Open a page afresh; gives its address, and empties the logs first."""
    size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    browser.get("about:blank")
    console(browser)
    requests(browser)
    browser.get(page.as_uri())
    return page.as_uri()


def console(browser: Chrome) -> list[str]:
    """Tell everything the console said since it was last asked."""
    return [entry["message"] for entry in browser.get_log("browser")]


def requests(browser: Chrome) -> list[str]:
    """Tell every address asked for since it was last asked."""
    events = [
        json.loads(entry["message"])["message"]
        for entry in browser.get_log("performance")
    ]
    return [
        event["params"]["request"]["url"]
        for event in events
        if event["method"] == "Network.requestWillBeSent"
    ]


def on_paper(browser: Chrome) -> None:
    """Lay the page out as it is printed on A4."""
    size = {"width": PAPER_PX, "height": 998, "deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})


def cut_tables(browser: Chrome) -> list[str]:
    """Give captions of tables that do not fit into the page's width."""
    found: list[str] = browser.execute_script(_CUT)
    return found


def texts(browser: Chrome) -> list[str]:
    """Tell what can be seen, element by element."""
    found: list[str] = browser.execute_script(_TEXTS)
    return found


def tables(browser: Chrome) -> list[tuple[str, str, list[str]]]:
    """Tell what can be seen of every table: caption, head, and rows."""
    found: list[tuple[str, str, list[str]]] = browser.execute_script(_TABLES)
    return found


def reachable(browser: Chrome) -> list[int]:
    """Give numbers to everything a keyboard should reach, in the order of the page."""
    found: list[int] = browser.execute_script(_CAN_BE_REACHED)
    return found


def violations(browser: Chrome, axe: Path) -> list[dict[str, Any]]:
    """Tell everything that axe-core finds wrong."""
    browser.execute_script(axe.read_text(encoding="utf-8"))
    found: list[dict[str, Any]] = browser.execute_async_script(
        "const done = arguments[0];"
        "axe.run({ resultTypes: ['violations'] }).then((r) => done(r.violations.map("
        "(v) => ({ id: v.id, impact: v.impact, help: v.help,"
        " where: v.nodes.slice(0, 3).map((n) => n.html) }))))"
    )
    return found
