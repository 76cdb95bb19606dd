"""Records under a header to columns: at once, one by one where they do not fit."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
from pyarrow import csv as pa_csv

from analysis.intake.records import Ints, Records

_BLOCK = 1 << 23
_BATCH = 50_000

#: Blanks and invisible characters that may stand around a cell.
_AROUND = " \t\n\v\f\r\x1c\x1d\x1e\x1f\x85\u00a0\u1680\u2028\u2029\u202f\u205f\u3000"
_AROUND += "".join(map(chr, range(0x2000, 0x200E))) + "\u2060\ufeff\u00ad"


@dataclass(frozen=True, slots=True)
class Body:
    """Rows of a table as text.

    Attributes
    ----------
    columns : list of ChunkedArray of str, shape (rows,)
        Cells without the blanks around them.
    at : ndarray of int, shape (rows,)
        Which record each row is.
    broken : list of (int, str)
        Records that are no rows, and why.
    empty : int
        Records without a single cell filled.
    """

    columns: list[pa.ChunkedArray]
    at: Ints
    broken: list[tuple[int, str]]
    empty: int


def read_body(records: Records, first: int, named: int, width: int) -> Body:
    """Read the records from `first` on as rows.

    Parameters
    ----------
    records : Records
        All records of the file.
    first : int
        The one behind the header.
    named, width : int
        Cells of the header up to the last one with a name, and all of them: a row has
        at least `named` cells, and any beyond `width` are empty.

    Returns
    -------
    Body
        Every record from `first` on is a row, broken, or empty.
    """
    widths = records.widths[first:]
    is_odd = np.zeros(len(widths), dtype=bool)
    for some in (records.faults, records.parsed):
        at = np.fromiter(some, dtype=np.int64, count=len(some)) - first
        is_odd[at[at >= 0]] = True
    is_fit = ~is_odd & (widths >= named) & (widths <= width) & (widths > 0)
    sizes = np.bincount(widths[is_fit], minlength=1)
    is_main = is_fit & (widths == sizes.argmax())
    rows, at, broken, empty = _one_by_one(
        records, np.flatnonzero(~is_main & (widths > 0)) + first, named, width
    )
    main = np.flatnonzero(is_main) + first
    columns = _columns(records, main, int(sizes.argmax()))
    columns += [_blank(len(main)) for _ in range(width - len(columns))]
    columns, order = _merged(columns, main, rows, at)
    is_ascii = records.data.isascii()
    for i in range(width):  # one by one: what was read is let go of on the way
        columns[i] = trimmed(columns[i], is_ascii=is_ascii)
    return Body(
        columns=columns,
        at=order,
        broken=broken,
        empty=empty + int((widths == 0).sum()),
    )


def trimmed(column: pa.ChunkedArray, *, is_ascii: bool) -> pa.ChunkedArray:
    """Give cells without blanks and invisible characters around them."""
    if is_ascii:
        return pc.ascii_trim_whitespace(column)
    return pc.utf8_trim(column, characters=_AROUND)


def text_columns(rows: Sequence[Sequence[str]], width: int) -> list[pa.ChunkedArray]:
    """Give rows, each of `width` cells, as columns."""
    if not rows:
        return [_blank(0)] * width
    return [
        pa.chunked_array([pa.array(column, type=pa.large_string())])
        for column in zip(*rows, strict=True)
    ]


def _one_by_one(
    records: Records, odd: Ints, named: int, width: int
) -> tuple[list[list[str]], Ints, list[tuple[int, str]], int]:
    """Read records that are not as wide as most, or whose quotes are out of place."""
    rows: list[list[str]] = []
    at: list[int] = []
    broken: list[tuple[int, str]] = []
    empty = 0
    for i in odd.tolist():
        cells = records.cells(i)
        if i in records.faults:
            broken.append((i, records.faults[i]))
        elif not any(cell.strip(_AROUND) for cell in cells):
            empty += 1
        elif len(cells) >= named and not any(c.strip(_AROUND) for c in cells[width:]):
            rows.append(cells[:width] + [""] * (width - len(cells)))
            at.append(i)
        else:
            broken.append((i, _misfit(records, i, len(cells), width)))
    return rows, np.array(at, dtype=np.int64), broken, empty


def _misfit(records: Records, i: int, found: int, width: int) -> str:
    why = f"{found} cells where the header has {width}"
    if found < width and records.ends[i] == len(records.data):
        return f"{why}, and the file ends inside it"
    return why


def _columns(records: Records, main: Ints, width: int) -> list[pa.ChunkedArray]:
    if not len(main):
        return []
    names = [f"f{i}" for i in range(width)]
    try:
        table = pa_csv.read_csv(
            pa.BufferReader(_stretches(records, main)),
            read_options=pa_csv.ReadOptions(column_names=names, block_size=_BLOCK),
            parse_options=pa_csv.ParseOptions(
                delimiter=records.delimiter,
                quote_char=records.quote or False,
                newlines_in_values=records.has_breaks,
            ),
            convert_options=pa_csv.ConvertOptions(
                column_types=dict.fromkeys(names, pa.large_string()),
                strings_can_be_null=False,
            ),
        )
    except pa.ArrowInvalid:
        return _exactly(records, main, width)
    if table.num_rows != len(main):
        return _exactly(records, main, width)
    columns: list[pa.ChunkedArray] = table.columns
    return columns


def _stretches(records: Records, main: Ints) -> pa.Buffer:
    """Give the bytes of the rows: as they stand where nothing is between them."""
    last = np.flatnonzero(records.starts[main[1:]] != records.nexts[main[:-1]])
    starts = records.starts[main[np.concatenate([[0], last + 1])]]
    ends = records.nexts[main[np.append(last, len(main) - 1)]]
    whole = pa.py_buffer(records.data)
    if len(starts) == 1:
        return whole.slice(int(starts[0]), int(ends[0] - starts[0]))
    view = memoryview(records.data)
    return pa.py_buffer(
        b"".join(view[a:b] for a, b in zip(starts.tolist(), ends.tolist(), strict=True))
    )


def _exactly(records: Records, main: Ints, width: int) -> list[pa.ChunkedArray]:
    """Read rows by the csv module, in batches: slow, and bound to nothing else."""
    batches = [
        text_columns([records.cells(i) for i in main[k : k + _BATCH].tolist()], width)
        for k in range(0, len(main), _BATCH)
    ]
    return [_stacked(parts) for parts in zip(*batches, strict=True)]


def _merged(
    columns: list[pa.ChunkedArray], main: Ints, rows: list[list[str]], at: Ints
) -> tuple[list[pa.ChunkedArray], Ints]:
    """Put rows read one by one between the others, in order of the file."""
    if not rows:
        return columns, main
    every = np.concatenate([main, at])
    order = np.argsort(every, kind="stable")
    extra = text_columns(rows, len(columns))
    return [
        _stacked(pair).take(pa.array(order))
        for pair in zip(columns, extra, strict=True)
    ], every[order]


def _stacked(parts: Sequence[pa.ChunkedArray]) -> pa.ChunkedArray:
    return pa.chunked_array([chunk for part in parts for chunk in part.chunks])


def _blank(n: int) -> pa.ChunkedArray:
    return pa.chunked_array([pa.array([""] * n, type=pa.large_string())])


def mask_of(column: pa.ChunkedArray) -> npt.NDArray[np.bool_]:
    """Give a column of truth values as an array."""
    mask: npt.NDArray[np.bool_] = column.to_numpy()
    return mask
