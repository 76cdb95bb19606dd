"""The header of a table: the names of its columns, and the rows that only repeat it."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pyarrow.compute as pc

from analysis.coded_column import Coded
from analysis.errors import InputError
from analysis.intake.body import Body
from analysis.intake.coded_cells import are_blank, texts_at, told
from analysis.intake.invisible import visible
from analysis.intake.misplaced import misplaced
from analysis.intake.repeats import is_group_row, tell_apart


@dataclass(frozen=True, slots=True)
class Header:
    """A header.

    Attributes
    ----------
    cells : list of str
        Names as `clean_header` gives them; empty where a column has none.
    line : int
        Line it stands on.
    named : int
        Columns up to the last that has a name.
    names : list of str
        Names with those told apart that stand twice (`tell_apart`).
    above : list of str
        Names of groups above them; empty without.
    """

    cells: list[str]
    line: int
    named: int
    names: list[str]
    above: list[str] = field(default_factory=list)

    @classmethod
    def of(cls, cells: list[str], line: int, above: Sequence[str] = ()) -> "Header":
        """Take a record of the file for its header.

        Parameters
        ----------
        cells : list of str
            Its cells.
        line : int
            Its line.
        above : sequence of str
            Cells of the record above it.

        Returns
        -------
        Header
            The header.
        """
        cleaned = [clean_header(cell) for cell in cells]
        over = [clean_header(cell) for cell in above][: len(cleaned)]
        names = tell_apart(cleaned, over)
        named = max((i + 1 for i, name in enumerate(names) if name), default=0)
        groups = over + [""] * (len(cleaned) - len(over)) if is_group_row(over) else []
        return cls(cleaned, line, named, names, groups)


def clean_header(cell: str) -> str:
    r"""Give a header without invisible characters and with single blanks.

    Parameters
    ----------
    cell : str
        As the file has it.

    Returns
    -------
    str
        The name of a column; empty if there is none.

    Examples
    --------
    >>> clean_header(" Site\u200b\u00a0 Condition ")
    'Site Condition'
    """
    return " ".join(visible(cell).split())


def stripped(cell: str) -> str:
    """Give a cell without invisible characters and the blanks around it.

    Parameters
    ----------
    cell : str
        As the file has it.

    Returns
    -------
    str
        What can be seen of it.
    """
    return visible(cell).strip()


def are_empty(body: Body) -> npt.NDArray[np.bool_]:
    """Mark rows without a filled cell.

    Parameters
    ----------
    body : Body
        The rows.

    Returns
    -------
    ndarray of bool, shape (rows,)
        True for rows that are blank.
    """
    is_empty = np.ones(len(body.at), dtype=bool)
    for column in body.columns:
        if not is_empty.any():
            break
        is_empty &= are_blank(column)
    return is_empty


def are_headers(body: Body, header: Header) -> npt.NDArray[np.bool_]:
    """Mark rows that repeat the header, cell by cell.

    Parameters
    ----------
    body : Body
        The rows.
    header : Header
        The header they stand under.

    Returns
    -------
    ndarray of bool, shape (rows,)
        True for rows that say the same as the header.
    """
    is_header = _say(body, header.cells)
    if header.above:  # names of groups above it, which are repeated with it
        return is_header | _say(body, header.above)
    return is_header


def _say(body: Body, names: Sequence[str]) -> npt.NDArray[np.bool_]:
    """Mark rows whose cells are these names."""
    is_header = np.ones(len(body.at), dtype=bool)
    for column, name in zip(body.columns, names, strict=True):
        if not is_header.any():
            return is_header
        is_header &= _begin_with(column, name[:1])
    for column, name in zip(body.columns, names, strict=True):
        at = np.flatnonzero(is_header)
        some = texts_at(column, at)
        is_header[at] = [clean_header(cell) == name for cell in some]
    return is_header


def _begin_with(column: Coded, sign: str) -> npt.NDArray[np.bool_]:
    if not sign:
        return are_blank(column)
    return told(column, lambda texts: pc.starts_with(texts, sign))


_UNIT = re.compile(
    r"[\[(]?\s*(%|°c|kpa|mm ?hg|volts?|v"
    r"|(mls?|mm|mg|mcg|[uµμ]g|g|units?)( ?(/|per) ?(24)? ?(h|hr|hrs|hours?|days?))?"
    r"|h|hr|hrs|hours?|min|mins|minutes?"
    r"|[dmyh]{1,4}([-/.: ]+[dmyhs]{1,4})+|y ?/ ?n|yes ?/ ?no)\s*[\])]?",
    re.I,
)


def units_of(body: Body) -> dict[int, str]:
    """Give the units if the first row under the header is a row of units.

    Parameters
    ----------
    body : Body
        The rows, at least one.

    Returns
    -------
    dict of int to str
        Units by column; none if the first row is a row like others.
    """
    cells = {i: texts_at(c, slice(1))[0] for i, c in enumerate(body.columns)}
    filled = {i: cell for i, cell in cells.items() if cell}
    is_units = all(_UNIT.fullmatch(cell) for cell in filled.values())
    return filled if is_units else {}


#: Rows of which the first cell is looked at, to see if names stand there.
_LOOKED_AT = 40


def names_of(
    header: Header, columns: list[Coded], where: str, way_out: str = ""
) -> dict[int, str]:
    """Name the columns to keep: those without a name and a single cell are spacers.

    Parameters
    ----------
    header : Header
        The names.
    columns : list of Coded
        All columns.
    where : str
        File and line of the header, for messages.
    way_out : str
        What else can be done where two columns have the same name.

    Returns
    -------
    dict of int to str
        Names by column.

    Raises
    ------
    InputError
        Two columns have the same name.
    """
    names = {}
    for i, (name, column) in enumerate(zip(header.names, columns, strict=True)):
        if name:
            names[i] = name
        elif not are_blank(column).all():
            names[i] = f"column {i + 1}"
    twice = sorted(name for name, n in Counter(names.values()).items() if n > 1)
    if twice:
        under = ["".join(texts_at(column, slice(1))) for column in columns]
        first = texts_at(columns[0], slice(_LOOKED_AT))
        if found := misplaced(header.cells, first, under):
            raise InputError(f"{where}: {found}{way_out}")
        msg = f"{where}: column {twice[0]} stands twice in the header"
        raise InputError(f"{msg}; keep one of them, or rename one{way_out}")
    return names
