"""Records under a header to columns: at once, one by one where they do not fit."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
from pyarrow import csv as pa_csv

from analysis.intake.given import is_label_of, label_of
from analysis.intake.invisible import INVISIBLE
from analysis.intake.profiles import IS_DAY
from analysis.intake.records import Records
from analysis.intake.scan import Counts, Ints, Mask
from analysis.intake.words import key_of
from analysis.threads import side_by_side

_BLOCK = 1 << 23
_BATCH = 20_000

#: So many records of one width are worth being read together.
_MANY = 1_000

#: Blanks and invisible characters that may stand around a cell.
_AROUND = " \t\n\v\f\r\x1c\x1d\x1e\x1f\x85\u00a0\u1680\u2028\u2029\u202f\u205f\u3000"
_AROUND += "".join(map(chr, range(0x2000, 0x200B))) + INVISIBLE


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
    remarks : tuple of int
        Records that say something of the file, and are no rows.
    """

    columns: list[pa.ChunkedArray]
    at: Ints
    broken: list[tuple[int, str]]
    empty: int
    remarks: tuple[int, ...] = ()


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
        at least `named` cells, and any beyond `width` are empty and on every row.

    Returns
    -------
    Body
        Every record from `first` on is a row, broken, empty, or a remark.
    """
    widths = records.widths[first:]
    is_record = widths > 0
    faults = np.fromiter(records.faults, dtype=np.int64, count=len(records.faults))
    faults = np.sort(faults[faults >= first])
    is_record[faults - first] = False
    alike, rest = _by_width(widths, is_record, 2 * width)
    parts = [_alike(records, at + first, named, width) for at in alike]
    parts += [
        _mixed(records, rest[k : k + _BATCH] + first, named, width)
        for k in range(0, len(rest), _BATCH)
    ]
    alone = [i for p in parts for i, _ in p.broken if _is_heading(records, i, named)]
    lines = set(alone)
    parts += [_padded(records, alone, width)] if alone else []
    at = np.concatenate([np.empty(0, dtype=np.int64), *(p.at for p in parts)])
    order = np.argsort(at, kind="stable")
    is_shifted = _are_shifted(records, at[order], width)
    broken = [(int(i), records.faults[int(i)]) for i in faults]
    broken += _misfits(records, at[order[is_shifted]], width)
    broken += [b for p in parts for b in p.broken if b[0] not in lines]
    remarks = tuple(sorted(i for i, _ in broken if _is_remark(records, i, width)))
    order = order[~is_shifted]
    is_ascii = records.data.isascii()

    def column(i: int) -> pa.ChunkedArray:
        texts = [part.columns[i] for part in parts]
        for part in parts:
            part.columns[i] = None  # what was read is let go of on the way
        return trimmed(_in_order(texts, order), is_ascii=is_ascii)

    return Body(
        columns=side_by_side(column, range(width)),
        at=at[order],
        broken=sorted(b for b in broken if b[0] not in remarks),
        empty=sum(p.empty for p in parts) + int((widths == 0).sum()),
        remarks=remarks,
    )


#: A cell that says by its label whose the rows below it are.
_HEADING = re.compile(r"\s*[^\W\d][^:=]{0,39}[:=]\s*[^\s].{0,99}\s*", re.S)
#: Letters of a cell that may say of which day, or of which patient, they are.
_LONGEST_HEADING = 60


def _is_heading(records: Records, at: int, named: int) -> bool:
    """Tell a line of labels, or a day, that stands alone between rows.

    Were it a broken record, the rows below it would be read as those above it.
    """
    if not 0 < records.widths[at] < named or records.nexts[at] >= len(records.data):
        return False
    if _REMARK.match(records.text(at)):
        return False
    filled = [c for c in records.cells(at) if c.strip(_AROUND)]
    return bool(filled) and all(map(_heads, filled))


def _heads(cell: str) -> bool:
    if _HEADING.fullmatch(cell):
        return True
    bare = cell.strip(_AROUND)
    if len(bare) > _LONGEST_HEADING:
        return False
    first, *rest = bare.split(maxsplit=1)
    # "Patient Kay" may be a heading: it is asked about, and no record cut off.
    is_named = bool(rest) and is_label_of(first, "patient_id")
    return is_named or bool(IS_DAY.fullmatch(key_of(bare)) or label_of(bare)[0])


def _padded(records: Records, at: Sequence[int], width: int) -> Body:
    """Read short records as rows whose last cells are blank."""
    rows = [records.cells(i) for i in at]
    return Body(
        columns=text_columns([r + [""] * (width - len(r)) for r in rows], width),
        at=np.array(at, dtype=np.int64),
        broken=[],
        empty=0,
    )


#: What programs write between or below the rows, in lines that are no rows.
_REMARK = re.compile(
    r"\s*[\"']?(?:#(?!\d)|--|\*{2,}|\(?\d+ rows?\b[^\d]*\)?\s*$|"
    r"(?:report|list|file|export)s? (?:generated|printed|produced|run|created)\b|"
    r"(?:generated|printed|produced|exported) (?:on|by|at|from)\b|"
    r"(?:source|filters?|legend|key) ?:|end of (?:report|file|export|list)\b|"
    r"page \d+(?: of \d+)?\W*$|confidential\b|"
    r"(?:grand |sub-?)?total(?: \w+)?\W+\d+\W*$)",
    re.I,
)


def _is_remark(records: Records, at: int, width: int) -> bool:
    """Tell a line of remarks, which is shorter than a row, from a broken record."""
    is_short = 0 < records.widths[at] < width and at not in records.faults
    return bool(is_short and _REMARK.match(records.text(at)))


def _are_shifted(records: Records, at: Ints, width: int) -> Mask:
    """Mark rows of more cells than the header, unless all of the file have as many.

    Delimiters at the end of every line are a habit of some exports. At the end of some
    lines only they are what a delimiter left without quotes in a cell pushed out, as
    a decimal comma is: the cells behind it stand one column too far right.
    """
    found = records.widths[at]
    is_wide: Mask = found > width
    if not is_wide.any():
        return is_wide
    usual = int(np.bincount(found[is_wide]).argmax())
    others = at[found != usual].tolist()
    # A header repeated, a row of units or a line of totals need not be as wide.
    if any(_IS_ROW.search(records.text(i)) for i in others):
        return is_wide
    return np.zeros(len(at), dtype=bool)


#: What holds a digit, and does not begin with the word of a line of totals.
_IS_ROW = re.compile(r"^(?!\W*(?:total|sum|count|average|mean)\b).*\d", re.I | re.S)


def _by_width(widths: Counts, is_record: Mask, most: int) -> tuple[list[Ints], Ints]:
    """Give records of one width together, of at most so many cells; and the rest."""
    sizes = np.bincount(widths[is_record], minlength=2)[: most + 1]
    many = np.flatnonzero(sizes >= np.clip(sizes.max(initial=1), 1, _MANY))
    alike = [np.flatnonzero(is_record & (widths == n)) for n in many.tolist()]
    return alike, np.flatnonzero(is_record & ~np.isin(widths, many))


def _alike(records: Records, at: Ints, named: int, width: int) -> Body:
    """Read records of as many cells each as rows, or as what else they are."""
    n = int(records.widths[at[0]])
    cells = _columns(records, at, n)
    columns = (cells + [_blank(len(at)) for _ in range(width - n)])[:width]
    if named <= n <= width:  # what is blank among them is told later
        return Body(columns=columns, at=at, broken=[], empty=0)
    is_spare = _are_blank(records, cells[width:], len(at))
    is_blank = _are_blank(records, columns, len(at)) & is_spare
    is_row = is_spare & ~is_blank & (n >= named)
    return Body(
        columns=[column.filter(pa.array(is_row)) for column in columns],
        at=at[is_row],
        broken=_misfits(records, at[~is_row & ~is_blank], width),
        empty=int(is_blank.sum()),
    )


def _are_blank(records: Records, columns: Sequence[pa.ChunkedArray], n: int) -> Mask:
    """Mark rows without a filled cell in these columns; all, if there are none."""
    is_ascii = records.data.isascii()
    is_blank = np.ones(n, dtype=bool)
    for column in columns:
        is_blank &= mask_of(pc.equal(trimmed(column, is_ascii=is_ascii), ""))
    return is_blank


def _mixed(records: Records, at: Ints, named: int, width: int) -> Body:
    """Read records of rare widths one by one, each as a row, or as what else it is."""
    rows: list[list[str]] = []
    kept: list[int] = []
    misfits: list[int] = []
    for i in at.tolist():
        cells = records.cells(i)
        if not any(cell.strip(_AROUND) for cell in cells):
            continue
        if len(cells) >= named and not any(c.strip(_AROUND) for c in cells[width:]):
            rows.append(cells[:width] + [""] * (width - len(cells)))
            kept.append(i)
        else:
            misfits.append(i)
    return Body(
        columns=text_columns(rows, width),
        at=np.array(kept, dtype=np.int64),
        broken=_misfits(records, np.array(misfits, dtype=np.int64), width),
        empty=len(at) - len(kept) - len(misfits),
    )


def _misfits(records: Records, at: Ints, width: int) -> list[tuple[int, str]]:
    """Say of records that they have too few cells, or too many."""
    found = records.widths[at]
    why = {n: f"{n} cells where the header has {width}" for n in set(found.tolist())}
    told = [(i, why[n]) for i, n in zip(at.tolist(), found.tolist(), strict=True)]
    is_cut = len(told) and found[-1] < width
    if is_cut and records.ends[at[-1]] == len(records.data):
        told[-1] = (told[-1][0], f"{told[-1][1]}, and the file ends inside it")
    return told


def trimmed(column: pa.ChunkedArray, *, is_ascii: bool) -> pa.ChunkedArray:
    """Give cells without blanks and invisible characters around them.

    Parameters
    ----------
    column : ChunkedArray of str
        Cells.
    is_ascii : bool
        The whole text is ASCII, which is quicker.

    Returns
    -------
    ChunkedArray of str
        As many cells.
    """
    if is_ascii:
        return pc.ascii_trim_whitespace(column)
    return pc.utf8_trim(column, characters=_AROUND)


def text_columns(rows: Sequence[Sequence[str]], width: int) -> list[pa.ChunkedArray]:
    """Give rows, each of `width` cells, as columns.

    Parameters
    ----------
    rows : sequence of sequence of str
        Rows of `width` cells.
    width : int
        Cells of each.

    Returns
    -------
    list of ChunkedArray of str
        One a column.
    """
    if not rows:
        return [_blank(0)] * width
    return [
        pa.chunked_array([pa.array(column, type=pa.large_string())])
        for column in zip(*rows, strict=True)
    ]


def _columns(records: Records, main: Ints, width: int) -> list[pa.ChunkedArray]:
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
        return _exactly(records, main)
    if table.num_rows != len(main):
        return _exactly(records, main)
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


def _exactly(records: Records, at: Ints) -> list[pa.ChunkedArray]:
    """Read records alike by the csv module, in batches: slow, bound to nothing else."""
    width = int(records.widths[at[0]])
    batches = [
        text_columns([records.cells(i) for i in at[k : k + _BATCH].tolist()], width)
        for k in range(0, len(at), _BATCH)
    ]
    return [_stacked(parts) for parts in zip(*batches, strict=True)]


def _in_order(parts: Sequence[pa.ChunkedArray], order: Ints) -> pa.ChunkedArray:
    """Put the rows of several columns together, in order of the file."""
    if len(parts) == 1:
        return parts[0]
    if not parts:
        return _blank(0)
    return _stacked(parts).take(pa.array(order))


def _stacked(parts: Sequence[pa.ChunkedArray]) -> pa.ChunkedArray:
    # Typed by hand: where all parts are empty there is no chunk to tell the type by.
    chunks = [chunk for part in parts for chunk in part.chunks]
    return pa.chunked_array(chunks, type=parts[0].type)


def _blank(n: int) -> pa.ChunkedArray:
    return pa.chunked_array([pa.array([""] * n, type=pa.large_string())])


def mask_of(column: pa.ChunkedArray) -> npt.NDArray[np.bool_]:
    """Give a column of truth values as an array.

    Parameters
    ----------
    column : ChunkedArray of bool
        Without missing values.

    Returns
    -------
    array of bool
        As many values.
    """
    mask: npt.NDArray[np.bool_] = column.to_numpy()
    return mask
