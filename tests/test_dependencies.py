"""What is declared is used, what is used is declared, and each has its bounds."""

import ast
import re
import sys
import tomllib
from collections.abc import Iterator
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PYPROJECT = ROOT / "pyproject.toml"
PROJECT = tomllib.loads(PYPROJECT.read_text(encoding="utf-8"))["project"]
DECLARED = PROJECT["dependencies"]

#: Needed and imported by nobody here, each with its reason.
BY_OTHERS = {
    "ipykernel": "is started as the kernel of the notebook",
    "tzdata": "is read by zoneinfo where the system has no time zones",
}
#: Without an upper bound, with its reason.
UNBOUNDED = {"tzdata": "the newest rules of time zones are always the right ones"}


def name_of(requirement: str) -> str:
    """Give the name of a distribution, as the index compares names."""
    plain = re.split(r"[<>=!~;\[ ]", requirement)[0]
    return re.sub(r"[-_.]+", "-", plain).lower()


def modules(folder: str) -> Iterator[str]:
    """Give the outermost modules that a folder imports by name."""
    for path in sorted((ROOT / folder).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                yield from (alias.name.split(".")[0] for alias in node.names)
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                yield node.module.split(".")[0]


def imported(folder: str) -> set[str]:
    """Give the distributions that a folder imports from."""
    of = packages_distributions()
    foreign = set(modules(folder)) - set(sys.stdlib_module_names)
    return {
        name_of(of[module][0]) for module in foreign - {"analysis", "tests"}
    }  # what is not installed has no distribution, and is a fault of the set-up


def extra(*names: str) -> set[str]:
    groups = PROJECT["optional-dependencies"]
    return {name_of(needed) for name in names for needed in groups[name]}


def test_every_import_is_declared() -> None:
    declared = set(map(name_of, DECLARED))
    # What an extra brings is imported where it is asked for, and told if it lacks.
    assert imported("analysis") - declared <= extra("jupyter", "cluster")
    ours = {"pytest-benchmark"}  # its fixture comes without an import
    assert imported("tests") - declared - ours <= extra("test")


def test_everything_declared_is_imported() -> None:
    declared = set(map(name_of, DECLARED))
    assert declared - imported("analysis") == set(BY_OTHERS)


@pytest.mark.parametrize("requirement", DECLARED)
def test_a_dependency_is_bounded_below_and_above(requirement: str) -> None:
    assert ">=" in requirement
    assert ("<" in requirement) != (name_of(requirement) in UNBOUNDED)


@pytest.mark.parametrize("requirement", DECLARED)
def test_a_dependency_says_what_it_is_for(requirement: str) -> None:
    text = PYPROJECT.read_text(encoding="utf-8")
    assert re.search(rf'^  "{re.escape(requirement)}", # \w+', text, re.MULTILINE)


def test_there_are_few() -> None:
    """One more needs a reason that stands up to this number."""
    assert len(DECLARED) <= 18


def test_every_folder_of_code_is_shipped() -> None:
    settings = tomllib.loads(PYPROJECT.read_text(encoding="utf-8"))["tool"][
        "setuptools"
    ]
    there = {
        ".".join(path.parent.relative_to(ROOT).parts)
        for path in (ROOT / "analysis").rglob("__init__.py")
    }
    elsewhere = set(settings["package-dir"])
    assert set(settings["packages"]) == there | elsewhere
