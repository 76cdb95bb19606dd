"""Cells of a workbook without a value: errors, and formulas never calculated."""

import html
import io
import re
import zipfile
import zlib
from collections.abc import Iterator

#: What a spreadsheet writes where it could not calculate.
SHEET_ERRORS = frozenset(
    {"#N/A", "#REF!", "#VALUE!", "#DIV/0!", "#NAME?", "#NUM!", "#NULL!",
     "#GETTING_DATA", "#SPILL!", "#CALC!", "#FIELD!"}
)  # fmt: skip

# No pattern runs beyond the tag it is in, in which XML allows no <; else a part made of
# tags that never end would take hours.
_SHEET = re.compile(r"<(?:\w{1,40}:)?sheet\s[^<>]*>")
_TARGET = re.compile(r"<(?:\w{1,40}:)?Relationship\s[^<>]*>")
_ATTRIBUTE = re.compile(r"(?<![\w:])([\w:]+)\s*=\s*\"([^\"]*)\"")
_ERROR = re.compile(
    rb"<c(?=[^<>]*\st=\"e\")[^<>]*\sr=\"([A-Z]{1,3})([0-9]{1,7})\"[^<>]*>"
    rb"(?:<f\b[^<>]*/>|<f\b[^<>]*>[^<]*</f>)?<v>(#[^<]{1,20})</v>"
)
#: A formula without the value that a spreadsheet saves with it. A formula that gave
#: an empty text has the type str, and is a blank.
_UNSAVED = re.compile(
    rb"<c(?![^<>]*\st=\"(?:str|e)\")[^<>]*\sr=\"([A-Z]{1,3})([0-9]{1,7})\"[^<>]*>"
    rb"(?:<f\b[^<>]*/>|<f\b[^<>]*>([^<]*)</f>)(?:<v\s*/>|<v></v>)?</c>"
)
_CHUNK, _OVERLAP = 1 << 24, 20_000


def errors_of(data: bytes) -> dict[str, dict[tuple[int, int], str]]:
    """Find the error values of a workbook, and the formulas saved without a value.

    Parameters
    ----------
    data : bytes
        The file.

    Returns
    -------
    dict of str to dict of (int, int) to str
        Sheet to row and column, from 0 on, to the error, or to the formula and
        its cell (``=B2-1.6 in B3, saved without its value``); empty for a workbook of
        the old kind, whose errors cannot be told.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as book:
            parts = dict(_parts(book))
            return {name: _errors(book, part) for name, part in parts.items()}
    except (zipfile.BadZipFile, OSError, EOFError, NotImplementedError, RuntimeError,
            KeyError, UnicodeDecodeError, zlib.error):  # fmt: skip
        return {}


def _parts(book: zipfile.ZipFile) -> Iterator[tuple[str, str]]:
    """Give every sheet with the part of the archive that holds it."""
    links = book.read("xl/_rels/workbook.xml.rels").decode()
    of_id = {}
    for found in _TARGET.findall(links):
        about = dict(_ATTRIBUTE.findall(found))
        target = about.get("Target", "")
        of_id[about.get("Id", "")] = (
            target.lstrip("/") if target.startswith("/") else f"xl/{target}"
        )
    there = set(book.namelist())
    for found in _SHEET.findall(book.read("xl/workbook.xml").decode()):
        about = dict(_ATTRIBUTE.findall(found))
        part = of_id.get(about.get("r:id", ""), "")
        if part in there:
            yield html.unescape(about.get("name", "")), part


def _errors(book: zipfile.ZipFile, part: str) -> dict[tuple[int, int], str]:
    found: dict[tuple[int, int], str] = {}
    kept = b""
    with book.open(part) as file:
        while chunk := file.read(_CHUNK):
            text = kept + chunk
            for letters, row, error in _ERROR.findall(text):
                at = (int(row) - 1, _column(letters))
                found[at] = html.unescape(error.decode("utf-8", "replace"))
            for letters, row, formula in (
                _UNSAVED.findall(text) if b"<f" in text else ()
            ):
                told = html.unescape(formula.decode("utf-8", "replace"))
                cell = f"{letters.decode()}{row.decode()}"
                at = (int(row) - 1, _column(letters))
                found[at] = f"={told} in {cell}, saved without its value"
            kept = text[-_OVERLAP:]
    return found


def _column(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - ord("A") + 1
    return number - 1
