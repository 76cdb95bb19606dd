"""Files that are no delimited text, told by what is in them and not by their name."""

import re

from analysis.errors import InputError

#: How files begin that are no delimited text, and what they are.
_OTHER_KINDS = (
    (b"%PDF", "a PDF document"),
    (b"\x1f\x8b", "a compressed file"),
    (b"Rar!", "a compressed file"),
    (b"7z\xbc\xaf", "a compressed file"),
    (b"{\\rtf", "a text document"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
)
_PAGE = re.compile(r"<(!--|(!doctype|html|head|body|table|meta|script|\?xml)\b)", re.I)

#: Characters that no program writes into text, and how many of them are too many.
_CONTROLS = bytes({*range(1, 32), 127} - set(b"\t\n\v\f\r\x1a\x1b\x1c\x1d\x1e\x1f"))
_MOST_CONTROLS = 0.01
_FEW_CONTROLS = 20


def check_beginning(data: bytes, label: str) -> None:
    """Refuse a file that begins as documents, pictures and the like do.

    Parameters
    ----------
    data : bytes
        The file.
    label : str
        Its name in messages.

    Raises
    ------
    InputError
        It is of a kind that holds no table.
    """
    for start, kind in _OTHER_KINDS:
        if data.startswith(start):
            msg = f"{label}: is {kind}, whatever its name; export it again as CSV"
            raise InputError(f"{msg}, or save it as .xlsx")


def check_text(data: bytes, label: str) -> None:
    """Refuse a text that is a web page, or that is none by its beginning.

    Parameters
    ----------
    data : bytes
        The file as UTF-8.
    label : str
        Its name in messages.

    Raises
    ------
    InputError
        It is a page or an XML file, or full of characters that are no text.
    """
    if _PAGE.match(data[:1000].decode("utf-8", "replace").lstrip()):
        msg = f"{label}: is a web page or an XML file, whatever its name"
        raise InputError(f"{msg}; export it again as CSV, or save it as .xlsx")
    head = data[:65_536]
    controls = len(head) - len(head.translate(None, _CONTROLS))
    if controls > max(_FEW_CONTROLS, _MOST_CONTROLS * len(head)):
        msg = f"{label}: is no text, whatever its name; export it again as CSV"
        raise InputError(f"{msg}, or save it as .xlsx")
