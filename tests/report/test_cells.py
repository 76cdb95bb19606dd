"""Cells and lines by pyarrow: the same as written one cell after another."""

import csv
import io
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.columns import Column, Kind
from analysis.policy import Policy
from analysis.report.cells import cells, guarded, lines, plain_cells
from analysis.texts import coded_text

POLICY = Policy.example()
LETTERS = st.text(st.sampled_from("ab=+-@'\"\t\r\n, éß診 "), max_size=5)


def column(kind: Kind, decimals: int = 3) -> Column:
    return Column(name="x", meaning="x", kind=kind, decimals=decimals)


def held(texts: list[str], how: str) -> pd.Series:
    """Give texts as a log may hold them."""
    plain: Any = pd.Series(texts, dtype="str")
    if how == "codes":
        return pd.Series(coded_text(plain.array.__arrow_array__()))
    found: pd.Series = plain.astype("object" if how == "objects" else how)
    return found


@pytest.mark.parametrize("how", ["str", "category", "codes", "objects"])
@given(st.lists(LETTERS, min_size=1, max_size=8))
def test_texts_are_guarded_and_quoted_as_one_by_one(how: str, texts: list[str]) -> None:
    values = held(texts, how)
    written = cells(values, column(Kind.TEXT), POLICY, quoted=True)
    expected = [guarded(text) for text in texts]
    assert cells(values, column(Kind.TEXT), POLICY).to_pylist() == expected
    special = [any(mark in text for mark in ',"\r\n') for text in expected]
    assert [cell.startswith('"') for cell in written.to_pylist()] == special
    read = csv.reader(io.StringIO(lines([written, written]).decode(), newline=""))
    # A row of two empty cells is a row; csv gives it as such.
    assert list(read) == [[text, text] for text in expected]


@pytest.mark.parametrize("how", ["str", "category"])
def test_a_missing_text_is_blank(how: str) -> None:
    plain: Any = pd.Series(["b", None, "=a"], dtype="str")
    values = plain.astype(how)
    assert plain_cells(values).to_pylist() == ["b", "", "=a"]
    assert lines([plain_cells(values)]) == b"b\n\n=a\n"


@given(
    st.lists(st.floats(-1e6, 1e6) | st.just(float("nan")), min_size=1, max_size=8),
    st.integers(0, 6),
)
def test_numbers_have_the_text_that_python_gives(
    numbers: list[float], decimals: int
) -> None:
    found = cells(pd.Series(numbers), column(Kind.NUMBER, decimals), POLICY)
    rounded = np.round(numbers, decimals) + 0.0
    assert found.to_pylist() == [
        "" if np.isnan(number) else f"{number:.{decimals}f}" for number in rounded
    ]


def test_no_rows_are_no_lines() -> None:
    assert lines([plain_cells(pd.Series([], dtype="str"))] * 2) == b""


@pytest.mark.parametrize("first", [0, 1, 2])
def test_part_of_a_column_is_written_without_what_stands_before_it(first: int) -> None:
    values = pd.Series(["=a", "b,", "c"], dtype="str").iloc[first:]
    written = cells(values, column(Kind.TEXT), POLICY, quoted=True)
    assert written.to_pylist() == ["'=a", '"b,"', "c"][first:]
