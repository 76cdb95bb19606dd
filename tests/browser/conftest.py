"""Documents of the demo log, and a browser to open them in.

Without a browser these tests are skipped with the reason; with
``STEADYFALL_BROWSER=required`` in the environment that is a failure.
"""

from collections.abc import Callable, Iterator
from pathlib import Path

import pandas as pd
import pytest
from selenium.webdriver import Chrome, ChromeOptions
from selenium.webdriver.chrome.service import Service

from analysis import cli
from tests.browser.page import tool
from tests.hostile import LONG, hostile_log

DEMO = Path(__file__).parents[2] / "synthetic_data"
EXPORTS = [str(DEMO / f"{name}.csv") for name in ("checks", "infusions", "lines")]
POLICY = ["--policy", str(DEMO / "policy.toml")]

_FLAGS = (
    "--headless=new",
    "--no-sandbox",  # tests run as root in a container, on pages of our own
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
)


@pytest.fixture(scope="session")
def browser_files() -> tuple[str, str]:
    """Find browser and driver before anything is computed."""
    return tool("chromium", "chromium-browser"), tool("chromedriver")


@pytest.fixture(scope="session")
def browser(browser_files: tuple[str, str]) -> Iterator[Chrome]:
    """Open a browser that logs its console and every request."""
    options = ChromeOptions()
    options.binary_location = browser_files[0]
    for flag in _FLAGS:
        options.add_argument(flag)
    options.set_capability(
        "goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"}
    )
    # The driver is named, so that none is looked for or fetched.
    opened = Chrome(options=options, service=Service(browser_files[1]))
    yield opened
    opened.quit()


def run(*args: str) -> None:
    """Run a command of ours."""
    cli.steadyfall.main(list(args), standalone_mode=False)


@pytest.fixture(scope="session")
def report(
    browser_files: tuple[str, str], tmp_path_factory: pytest.TempPathFactory
) -> Path:
    """Make the monthly report of the demo log."""
    assert browser_files
    out = tmp_path_factory.mktemp("documents") / "report"
    run("demo", "--out", str(out))
    return out / "report.html"


def summary(report: Path) -> Path:
    """Make the summary that may be shared."""
    out = report.parents[1] / "shared"
    run("share", str(report.parent), "--out", str(out))
    return out / "summary.html"


def incident(report: Path) -> Path:
    """Make the review of the infusion that is first in the report."""
    findings = pd.read_csv(report.parent / "tables" / "findings.csv", dtype="str")
    asked = findings.loc[findings["group"] == "delivery", "infusion_id"].iloc[0]
    out = report.parents[1] / "incident"
    run("incident", *EXPORTS, *POLICY, "--infusion", asked, "--out", str(out))
    return next(out.glob("*.html"))


def study(report: Path) -> Path:
    """Make the study of the demo log's sites."""
    out = report.parents[1] / "study"
    key = report.parents[1] / "key"
    where = ["--out", str(out), "--secret", str(key)]
    run("research", *EXPORTS, *POLICY, *where)
    return next(out.glob("*.html"))


def hostile(report: Path) -> Path:
    """Make the report of a log that is meant to do harm."""
    exports = map(str, hostile_log(report.parents[1]))
    out = report.parents[1] / "hostile"
    run("audit", *exports, "--month", "2026-10", "--out", str(out))
    return out / "report.html"


def hostile_summary(report: Path) -> Path:
    """Make the summary of a log that is meant to do harm."""
    out = report.parents[1] / "hostile-shared"
    run("share", str(hostile(report).parent), "--out", str(out))
    return out / "summary.html"


def hostile_incident(report: Path) -> Path:
    """Make the review of an infusion of that log, with signs that steer a terminal."""
    [checks] = hostile_log(report.parents[1])
    text = checks.read_text(encoding="utf-8")
    checks.write_text(text.replace(LONG, f"\x1b[31m\x07 {LONG}"), encoding="utf-8")
    out = report.parents[1] / "hostile-incident"
    run("incident", str(checks), "--infusion", "+I<b>00", "--out", str(out))
    return out / "incident.html"


MAKERS: dict[str, Callable[[Path], Path]] = {
    "demo": lambda report: report,
    "share": summary,
    "incident": incident,
    "research": study,
    "audit": hostile,
    "hostile share": hostile_summary,
    "hostile incident": hostile_incident,
}


@pytest.fixture(
    scope="session",
    params=[n for n in MAKERS if n.rpartition(" ")[2] in cli.steadyfall.commands],
)
def document(request: pytest.FixtureRequest, report: Path) -> Path:
    """Make each document for which this version has the command."""
    return MAKERS[request.param](report)
