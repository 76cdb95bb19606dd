"""README and DEVELOPERS say what the code says: tables are generated, not retyped.

Renew them with ``python tests/test_documents.py``.
"""

import re
from pathlib import Path

import pytest

from analysis.columns import CANONICAL, OUTPUT, REVIEW_OUTPUT, dictionary_markdown

ROOT = Path(__file__).parents[1]
TABLES = {
    "README.md": ("canonical", CANONICAL),
    "DEVELOPERS.md": ("output", (*OUTPUT, *REVIEW_OUTPUT)),
}


def with_tables(name: str) -> str:
    """Give the document with its dictionary tables as they should be."""
    mark, tables = TABLES[name]
    text = (ROOT / name).read_text(encoding="utf-8")
    block = f"<!-- dictionary: {mark} -->\n\n{dictionary_markdown(tables)}\n"
    return re.sub(
        rf"<!-- dictionary: {mark} -->\n.*?(?=<!-- end of dictionary -->)",
        lambda _: block,
        text,
        flags=re.DOTALL,
    )


@pytest.mark.parametrize("name", TABLES)
def test_dictionary_tables_are_those_of_the_code(name: str) -> None:
    assert with_tables(name) == (ROOT / name).read_text(encoding="utf-8")


def test_no_document_or_setting_names_a_package_registry() -> None:
    host = re.compile(r"pypi\.org|pythonhosted|index-url|npmjs|debian\.org", re.I)
    files = [
        ROOT / name
        for name in ("README.md", "DEVELOPERS.md", "pyproject.toml", ".ci/run")
    ]
    assert [path.name for path in files if host.search(path.read_text("utf-8"))] == []


if __name__ == "__main__":
    for document in TABLES:
        (ROOT / document).write_text(with_tables(document), encoding="utf-8")
