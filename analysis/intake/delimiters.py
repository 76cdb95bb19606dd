"""The character between the cells of a text file, and the one around them."""

import re
from collections import Counter

from analysis.errors import InputError
from analysis.intake.records import first_records

#: Records by which the delimiter is decided.
_SAMPLE = 400
_DELIMITERS = (",", ";", "\t", "|")


def check_marks(label: str, delimiter: str, quote: str) -> None:
    """Refuse a delimiter or a quote that cannot be one.

    Parameters
    ----------
    label : str
        The file, for the message.
    delimiter : str
        Between cells.
    quote : str
        Around cells; empty for none at all.

    Raises
    ------
    InputError
        One of them is not one ASCII character, or they are the same.
    """
    for what, mark in (("delimiter", delimiter), ("quote", quote or '"')):
        if len(mark) != 1 or not mark.isascii() or mark in "\r\n":
            msg = f"{label}: the {what} '{mark}' is not one plain character"
            raise InputError(f"{msg}; a comma, a semicolon or a tab is usual")
    if delimiter == quote:
        raise InputError(f"{label}: delimiter and quote are the same, '{quote}'")


def delimiter_of(data: bytes, quote: str) -> str:
    r"""Decide the delimiter: most records in as many cells as most others, and many.

    A first line ``sep=;`` says it, as spreadsheets have it.

    Parameters
    ----------
    data : bytes
        The text of the file, UTF-8.
    quote : str
        Around cells; empty for none at all.

    Returns
    -------
    str
        A comma, a semicolon, a tab or a bar; the first of them where none splits it.

    Examples
    --------
    >>> delimiter_of(b"Ward;Rate\nA1;0,5", '"')
    ';'
    """
    if said := re.match(rb'"?sep=([,;\t|])"?\r?\n', data, re.I):
        return said[1].decode("ascii")
    return max(_DELIMITERS, key=lambda mark: _consistency(data, mark, quote))


def _consistency(data: bytes, delimiter: str, quote: str) -> float:
    rows = first_records(data, delimiter, quote, _SAMPLE)
    widths = Counter(len(row) for row in rows if any(cell.strip() for cell in row))
    total = widths.total()
    # Text that is not split at all agrees with itself: one cell counts nothing.
    return max((n / total * (1 - 1 / w) for w, n in widths.items()), default=0.0)
