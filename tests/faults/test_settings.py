"""Any damage to a policy or a layout ends in settings that are whole, or a sentence."""

import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.errors import InputError, LayoutError, PolicyError
from analysis.intake import read_exports
from analysis.intake.exports import read_raws
from analysis.intake.layout import OPEN
from analysis.intake.layout_file import parse_layout
from analysis.intake.layout_text import to_toml
from analysis.intake.recognise import propose_all
from analysis.policy import Policy, example_text
from tests.intake.logs import HEADER, POLICY, line, write

#: Values of every kind that TOML has, and of sizes that nobody means.
VALUES = st.sampled_from(
    [
        "0", "-1", "4.0", "1e308", "1e400", "9" * 40, "nan", "inf", "-inf", "true",
        '""', '"none"', '"?"', '"Europe/London"', '"../../etc/passwd"', '"a\\u0000b"',
        '"' + "x" * 5_000 + '"', '"(a+)+$"', "[]", "[[]]", "{}", '["a", 1]',
        "2026-10-25T01:30:00", "00:30:00", "{ value = 4.0 }",
        "{ value = [], set_by = 1 }",
    ]
)  # fmt: skip

Edit = tuple[int, str]


def edits(count: int) -> st.SearchStrategy[list[Edit]]:
    """Give places of lines and what becomes of them."""
    kinds = st.sampled_from(["delete", "twice", "cut", "header"])
    one = st.one_of(kinds, VALUES.map("= {}".format), st.text(max_size=20))
    return st.lists(st.tuples(st.integers(0, count - 1), one), min_size=1, max_size=4)


def edited(text: str, changes: list[Edit]) -> str:
    lines = text.splitlines()
    for place, change in changes:
        at = place % max(len(lines), 1)
        whole = lines[at] if lines else ""
        name = re.split(r"\s*=", whole)[0]
        by: dict[str, list[str]] = {
            "delete": [],
            "twice": [whole, whole],
            "cut": [whole[: len(whole) // 2]],
            "header": [f"[{name}]"],
        }
        value = f"{name} {change}" if change.startswith("= ") else change
        lines[at : at + 1] = by.get(change, [value])
    return "\n".join(lines)


def assert_plain(error: Exception, name: str) -> None:
    """Assert that a message names its file, can be read, and is no traceback."""
    said = str(error)
    assert said.startswith(f"{name}:")
    assert len(said) < 20_000
    assert "Traceback" not in said


@settings(max_examples=150, deadline=None, derandomize=True)
@given(changes=edits(example_text().count("\n")))
def test_any_policy_is_complete_or_refused(changes: list[Edit]) -> None:
    text = edited(example_text(), changes)
    try:
        policy = Policy.parse(text, "mine.toml")
    except PolicyError as error:
        assert_plain(error, "mine.toml")
        return
    assert policy.text == text
    assert 0 < policy.check_interval_h < float("inf")


ROWS = [line(checked_at=f"2026-09-14T{hour:02}:00") for hour in (2, 6, 10, 14, 18, 22)]


@pytest.fixture(scope="module")
def export(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write(tmp_path_factory.mktemp("export"), "checks.csv", HEADER, *ROWS)


@pytest.fixture(scope="module")
def layout(export: Path) -> str:
    """Give the layout that is printed for the export, every question answered."""
    return to_toml(propose_all(read_raws([export]))).replace(f'"{OPEN}"', '"check"')


@settings(
    max_examples=150,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(changes=edits(60))
def test_any_layout_reads_the_export_or_is_refused(
    export: Path, layout: str, changes: list[Edit]
) -> None:
    try:
        mine = parse_layout(edited(layout, changes), "mine.toml")
    except LayoutError as error:
        assert_plain(error, "mine.toml")
        return
    try:
        log = read_exports([export], POLICY, mine)
    except InputError as error:
        assert_plain(error, "checks.csv")
        return
    account = log.account.iloc[0]
    fates = ["accepted", "rejected", "superseded", "exact_duplicates"]
    assert account["rows_read"] == len(ROWS) == account[fates].sum()
