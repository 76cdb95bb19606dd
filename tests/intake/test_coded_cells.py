"""Columns of cells by codes: whatever is done to them, the cells are as if written out.

Outside check: pyarrow's own arrays of text.
"""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from hypothesis import given
from hypothesis import strategies as st

from analysis.coded_column import Coded, encoded
from analysis.intake import coded_cells
from analysis.intake.coded_cells import AS_CODES, blank, of_chunks, of_rows

CELLS = st.lists(st.sampled_from(["", " ", "a", " a", "a\u00a0", "b", "\u200bb "]))


def column(cells: list[str]) -> Coded:
    """Give a column as it is kept."""
    return encoded(pa.array(cells, type=pa.large_string()))


def texts(coded: Coded) -> list[str]:
    """Give what a column says."""
    return coded_cells.texts_at(coded, slice(None))


@given(st.lists(CELLS, max_size=4))
def test_a_column_read_in_blocks_is_the_cells_of_all_blocks(
    blocks: list[list[str]],
) -> None:
    chunks = [pa.array(b, type=pa.large_string()).cast(AS_CODES) for b in blocks]
    coded = of_chunks(pa.chunked_array(chunks, type=AS_CODES))
    assert texts(coded) == [cell for block in blocks for cell in block]
    assert len(set(coded.different.to_pylist())) == len(coded.different)


@given(CELLS)
def test_cells_are_trimmed_as_each_of_them_would_be(cells: list[str]) -> None:
    got = coded_cells.trimmed(column(cells), is_ascii=False)
    assert texts(got) == [cell.strip(coded_cells.AROUND) for cell in cells]
    assert len(set(got.different.to_pylist())) == len(got.different)


@given(st.lists(CELLS, min_size=1, max_size=4))
def test_columns_one_below_the_other_are_all_their_cells(
    parts: list[list[str]],
) -> None:
    got = coded_cells.stacked([column(part) for part in parts])
    assert texts(got) == [cell for part in parts for cell in part]


@given(CELLS, st.data())
def test_what_is_told_of_a_text_is_told_of_each_cell_that_is_taken(
    cells: list[str], data: st.DataObject
) -> None:
    is_taken = np.array(
        data.draw(st.lists(st.booleans(), min_size=len(cells), max_size=len(cells))),
        dtype=bool,
    )
    got = coded_cells.taken(column(cells), is_taken)
    kept = [cell for cell, is_so in zip(cells, is_taken, strict=True) if is_so]
    assert texts(got) == kept
    assert coded_cells.are_blank(got).tolist() == [not cell for cell in kept]
    begins = coded_cells.told(got, lambda different: pc.starts_with(different, "a"))
    assert begins.tolist() == [cell.startswith("a") for cell in kept]


def test_no_rows_are_columns_without_cells_and_blank_cells_are_empty() -> None:
    assert [texts(c) for c in of_rows([], 2)] == [[], []]
    assert [texts(c) for c in of_rows([["a", ""], ["a", "b"]], 2)] == [
        ["a", "a"],
        ["", "b"],
    ]
    assert texts(blank(2)) == ["", ""]
