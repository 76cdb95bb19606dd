"""Characters that cannot be seen, and cells freed of them."""

import re

#: Zero-width characters, and the marks that say which way text runs.
INVISIBLE = (
    "\u200b\u200c\u200d\u200e\u200f\u2060\u2061\u2062\u2063\u2064\ufeff\u00ad\u061c"
    "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
)
_MARKS = re.compile(f"[{INVISIBLE}]")


def visible(cell: str) -> str:
    r"""Give a cell without what cannot be seen in it.

    Parameters
    ----------
    cell : str
        As the file has it.

    Returns
    -------
    str
        What can be seen of it, blanks included.

    Examples
    --------
    >>> visible("\u200e14/\u200e09/2026")
    '14/09/2026'
    """
    return cell if cell.isascii() else _MARKS.sub("", cell)
