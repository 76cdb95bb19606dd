"""Records under a header to columns: at once, one by one where they do not fit."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
from pyarrow import csv as pa_csv

from analysis.coded_column import Coded
from analysis.intake.coded_cells import (
    AROUND,
    AS_CODES,
    are_blank,
    blank,
    of_chunks,
    of_rows,
    stacked,
    taken,
    trimmed,
)
from analysis.intake.given import is_label_of, label_of
from analysis.intake.profiles import IS_DAY
from analysis.intake.records import Records
from analysis.intake.scan import Counts, Ints, Mask
from analysis.intake.words import key_of
from analysis.threads import side_by_side

_BLOCK = 1 << 23
_BATCH = 20_000

#: Records that are written out as text at once.
_AT_ONCE = 250_000

#: So many records of one width are worth being read together.
_MANY = 1_000


@dataclass(frozen=True, slots=True)
class Body:
    """Rows of a table as text.

    Attributes
    ----------
    columns : list of Coded, shape (rows,)
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

    columns: list[Coded]
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
    is_in_order = len(order) == len(at) and len(parts) == 1
    is_ascii = records.data.isascii()

    def column(i: int) -> Coded:
        cells = stacked([part.columns[i] for part in parts]) if parts else blank(0)
        for part in parts:
            part.columns[i] = blank(0)  # what was read is let go of on the way
        in_place = cells if is_in_order else taken(cells, order)
        return trimmed(in_place, is_ascii=is_ascii)

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
    filled = [c for c in records.cells(at) if c.strip(AROUND)]
    return bool(filled) and all(map(_heads, filled))


def _heads(cell: str) -> bool:
    if _HEADING.fullmatch(cell):
        return True
    bare = cell.strip(AROUND)
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
        columns=of_rows([r + [""] * (width - len(r)) for r in rows], width),
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
    return bool(is_short and (_REMARK.match(records.text(at)) or _is_sum(records, at)))


#: The first cell of a line of totals.
_SUM = re.compile(
    r"(?:(?:(?:grand|sub-?) ?)?totals?(?: [a-z]+){0,3}|sum|average|mean)\s*[:=]?",
    re.I,
)
#: What stands under the columns of a line of totals.
_NUMBER = re.compile(r"[-+]?\d[\d ]*(?:[.,]\d+)*")


def _is_sum(records: Records, at: int) -> bool:
    """Tell a line of totals that leaves off its last cells: a word, and numbers.

    A row of the log cut off has a time among its cells, or a name: it is no total.
    """
    first, *rest = [c.strip(AROUND) for c in records.cells(at) if c.strip(AROUND)] or [
        ""
    ]
    return bool(_SUM.fullmatch(first)) and all(map(_NUMBER.fullmatch, rest))


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
    columns = (cells + [blank(len(at)) for _ in range(width - n)])[:width]
    if named <= n <= width:  # what is blank among them is told later
        return Body(columns=columns, at=at, broken=[], empty=0)
    is_spare = _are_blank(records, cells[width:], len(at))
    is_blank = _are_blank(records, columns, len(at)) & is_spare
    is_row = is_spare & ~is_blank & (n >= named)
    return Body(
        columns=[taken(column, is_row) for column in columns],
        at=at[is_row],
        broken=_misfits(records, at[~is_row & ~is_blank], width),
        empty=int(is_blank.sum()),
    )


def _are_blank(records: Records, columns: Sequence[Coded], n: int) -> Mask:
    """Mark rows without a filled cell in these columns; all, if there are none."""
    is_ascii = records.data.isascii()
    is_blank = np.ones(n, dtype=bool)
    for column in columns:
        is_blank &= are_blank(trimmed(column, is_ascii=is_ascii))
    return is_blank


def _mixed(records: Records, at: Ints, named: int, width: int) -> Body:
    """Read records of rare widths one by one, each as a row, or as what else it is."""
    rows: list[list[str]] = []
    kept: list[int] = []
    misfits: list[int] = []
    for i in at.tolist():
        cells = records.cells(i)
        if not any(cell.strip(AROUND) for cell in cells):
            continue
        if len(cells) >= named and not any(c.strip(AROUND) for c in cells[width:]):
            rows.append(cells[:width] + [""] * (width - len(cells)))
            kept.append(i)
        else:
            misfits.append(i)
    return Body(
        columns=of_rows(rows, width),
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


def _columns(records: Records, main: Ints, width: int) -> list[Coded]:
    """Read records alike, some at a time: cells written out take far more room."""
    parts = [
        _some_columns(records, main[k : k + _AT_ONCE], width)
        for k in range(0, len(main), _AT_ONCE)
    ]

    def column(i: int) -> Coded:
        cells = stacked([part[i] for part in parts])
        for part in parts:
            part[i] = blank(0)  # what was read is let go of on the way
        return cells

    return side_by_side(column, range(width))


def _some_columns(records: Records, main: Ints, width: int) -> list[Coded]:
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
                column_types=dict.fromkeys(names, AS_CODES),
                strings_can_be_null=False,
            ),
        )
    except pa.ArrowInvalid:
        return _exactly(records, main)
    if table.num_rows != len(main):
        return _exactly(records, main)
    return side_by_side(of_chunks, table.columns)


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


def _exactly(records: Records, at: Ints) -> list[Coded]:
    """Read records alike by the csv module, in batches: slow, bound to nothing else."""
    width = int(records.widths[at[0]])
    batches = [
        of_rows([records.cells(i) for i in at[k : k + _BATCH].tolist()], width)
        for k in range(0, len(at), _BATCH)
    ]
    return [stacked(parts) for parts in zip(*batches, strict=True)]
