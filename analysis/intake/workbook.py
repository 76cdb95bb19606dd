"""Sheets of a workbook to rows of text: real dates and numbers in plain writing."""

import datetime as dt
import io
import re
import zipfile
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from python_calamine import (
    CalamineError,
    CalamineWorkbook,
    PasswordError,
    SheetTypeEnum,
    SheetVisibleEnum,
)

from analysis.errors import InputError
from analysis.intake.sheet_errors import errors_of

#: What a workbook file begins with: a zip archive, or a compound document.
_ZIP, _COMPOUND = b"PK\x03\x04", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"

#: Record BOF of version 6, perhaps WriteProtect, then FilePass.
_FILE_PASS = re.compile(
    rb"\x09\x08\x10\0\0\x06\x05\0.{12}(\x86\0\0\0)?\x2f\0", re.DOTALL
)

#: More cells than any export of a log holds: the used area runs over the whole sheet.
_MOST_CELLS = 50_000_000

#: More than the largest workbook unpacks to: a million rows of thirty columns.
_MOST_BYTES = 4_000_000_000

#: More than the parts of a workbook shrink to when packed: a log to a tenth or so. What
#: is beyond it is packed of next to nothing; small workbooks may be.
_MOST_PACKED, _SMALL = 100, 100_000_000


#: First and last row, and the column, of cells of one column that are one cell.
Merged = Sequence[tuple[int, int, int]]


@dataclass(frozen=True, slots=True)
class SheetRows:
    """One sheet: its name, and all its rows from the first on, equally long."""

    name: str
    rows: list[list[str]]
    is_hidden: bool = False
    merged: Merged = ()

    def with_errors(self, errors: Mapping[tuple[int, int], str]) -> "SheetRows":
        """Put error values where the reader of workbooks leaves blanks.

        Parameters
        ----------
        errors : mapping of (int, int) to str
            Row and column, from 0 on, to the error.

        Returns
        -------
        SheetRows
            With the errors as text.
        """
        if not errors:
            return self
        width = max(column + 1 for _, column in errors)
        rows = [row + [""] * (width - len(row)) for row in self.rows]
        for (row, column), error in errors.items():
            if row < len(rows):
                rows[row][column] = error
        return replace(self, rows=rows)


def is_workbook(data: bytes) -> bool:
    """Tell a workbook by what its file begins with, whatever its name.

    Parameters
    ----------
    data : bytes
        The file.

    Returns
    -------
    bool
        True for both kinds of workbook.
    """
    return data.startswith((_ZIP, _COMPOUND))


def read_sheets(data: bytes, label: str) -> list[SheetRows]:
    """Read the sheets of a workbook as text; nothing in it is run or changed.

    Parameters
    ----------
    data : bytes
        The file.
    label : str
        Its name in messages.

    Returns
    -------
    list of SheetRows
        Sheets with anything in them, hidden ones too, in the order of the workbook.
        Date-times are ``2026-09-14T11:54:00``, dates ``2026-09-14``, times
        ``11:54:00``, numbers plain decimals of at most 15 digits, whole ones exact,
        truth values yes and no. A formula gives the value that was stored with it; an
        error value such as #N/A stands as text (in .xls files as a blank), and so does
        a formula with which no value was stored.

    Raises
    ------
    InputError
        The file is locked, damaged, or no workbook.
    """
    _check_size(data, label)
    try:
        with CalamineWorkbook.from_filelike(io.BytesIO(data)) as book:
            sheets = _sheets(book, label)
    except CalamineError as error:
        if isinstance(error, PasswordError) or _is_locked(data):
            msg = f"{label}: the workbook is locked with a password"
            raise InputError(f"{msg}; save it without one") from None
        if name := _packed_table(data):
            msg = f"{label}: is an archive with {name} in it; take that out of it"
            raise InputError(f"{msg} and give the file itself") from None
        msg = f"{label}: cannot be opened as a workbook ({error})"
        raise InputError(f"{msg}; save it again as .xlsx or as CSV") from None
    errors = errors_of(data)
    return [sheet.with_errors(errors.get(sheet.name, {})) for sheet in sheets]


def _packed_table(data: bytes) -> str:
    """Give the name of a table in an archive that is no workbook; else empty."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as book:
            names = [n for n in book.namelist() if _TABLE.search(n) and n.isprintable()]
    except (zipfile.BadZipFile, OSError, EOFError, ValueError):
        return ""
    return names[0] if names else ""


_TABLE = re.compile(r"\.(?:csv|tsv|txt|xlsx?)$", re.I)
_SHEET_PART = re.compile(r"xl/worksheets/[^/]+\.xml", re.I)
_STRINGS_PART = re.compile(r"xl/sharedStrings\.xml", re.I)
_ROW = re.compile(rb'<row [^<>]*?r="([0-9]{1,7})"')
#: Cells beyond column 702 and column 26: these patterns begin plainly, to be fast.
_WIDE_CELL = (re.compile(rb' r="([A-Z]{3})[0-9]'), re.compile(rb' r="([A-Z]{2})[0-9]'))
_NARROW = 26
_CHUNK, _OVERLAP = 1 << 24, 200


def _check_size(data: bytes, label: str) -> None:
    """Refuse a workbook that is huge unpacked: its reader would take memory for it all.

    One stray blank in the last cell of a sheet makes 17 thousand million cells; and a
    small file may be packed of gigabytes, or say of its parts that they are small.
    """
    if not data.startswith(_ZIP):
        return
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as book:
            _check_bytes(book, label)
            _check_cells(book, label)
    except zipfile.BadZipFile as error:
        if "CRC" not in str(error):
            return  # the reader of workbooks says what is amiss
        msg = (
            f"{label}: the workbook is damaged: a part of it is not as long as it says"
        )
        raise InputError(f"{msg}; save it again as .xlsx or as CSV") from None
    except (OSError, EOFError, NotImplementedError, RuntimeError, zlib.error):
        return


def _check_bytes(book: zipfile.ZipFile, label: str) -> None:
    size = sum(part.file_size for part in book.infolist())
    packed = sum(part.compress_size for part in book.infolist())
    if size > _MOST_BYTES or size > max(_MOST_PACKED * packed, _SMALL):
        msg = (
            f"{label}: the workbook unpacks to {size / 1e9:.1f} GB, more than any log; "
        )
        raise InputError(f"{msg}export the log again, as CSV")
    for name in filter(_STRINGS_PART.fullmatch, book.namelist()):
        with book.open(name) as part:  # at its end its length and sum are checked
            while part.read(_CHUNK):
                pass


def _check_cells(book: zipfile.ZipFile, label: str) -> None:
    for name in filter(_SHEET_PART.fullmatch, book.namelist()):
        height, width = _area(book, name)
        if height * width > _MOST_CELLS:
            msg = f"{label}: a sheet claims {height:,} rows and {width:,} columns; "
            raise InputError(f"{msg}delete the empty ones, or save it as CSV")


def _area(book: zipfile.ZipFile, name: str) -> tuple[int, int]:
    """Give the last row and the last column of a sheet, of narrow ones column 26."""
    height, width = 0, _NARROW
    kept = b""
    with book.open(name) as part:
        while chunk := part.read(_CHUNK):
            text = kept + chunk
            height = max(height, *(int(m[1]) for m in _ROW.finditer(text)), 0)
            width = max(width, _widest(text))
            kept = text[-_OVERLAP:]
    return height, width


def _widest(text: bytes) -> int:
    for pattern in _WIDE_CELL:
        if found := {m[1] for m in pattern.finditer(text)}:
            return max(_column_number(letters) for letters in found)
    return _NARROW


def _column_number(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - ord("A") + 1
    return number


def _is_locked(data: bytes) -> bool:
    """Tell a workbook with a password, which the reader may take for no workbook.

    A newer one lies whole in a stream of that name ([MS-OFFCRYPTO] 2.3.4.4); an older
    one has the record FilePass right behind its beginning ([MS-XLS] 2.1.7.20.3).
    """
    is_whole = "EncryptedPackage".encode("utf-16-le") in data
    return data.startswith(_COMPOUND) and (is_whole or bool(_FILE_PASS.search(data)))


def _sheets(book: CalamineWorkbook, label: str) -> list[SheetRows]:
    sheets = []
    for about in book.sheets_metadata:
        if about.typ != SheetTypeEnum.WorkSheet:
            continue
        sheet = book.get_sheet_by_name(about.name)
        if sheet.total_height * sheet.total_width > _MOST_CELLS:
            msg = f"{label}!{about.name}: the sheet claims {sheet.total_height:,} rows "
            msg += f"and {sheet.total_width:,} columns; delete the empty ones, or save "
            raise InputError(f"{msg}it as CSV")
        rows = [
            [_text(cell) for cell in row]
            for row in sheet.to_python(skip_empty_area=False)
        ]
        if any(cell for row in rows for cell in row):
            is_hidden = about.visible != SheetVisibleEnum.Visible
            merged = [
                (first, last, column)
                for (first, column), (last, until) in sheet.merged_cell_ranges or ()
                if column == until and first < min(last, len(rows))
            ]
            sheets.append(SheetRows(about.name, rows, is_hidden, merged))
    return sheets


#: Whole numbers up to here are exact in a sheet.
_EXACT = 2.0**53


def _text(cell: object) -> str:  # noqa: PLR0911 - one line a type of cell
    match cell:
        case str():
            return cell
        case bool():  # before numbers: a truth value is one of them
            return "yes" if cell else "no"
        case int() | float():
            return _number(float(cell))
        case dt.datetime():
            return _rounded(cell).isoformat()
        case dt.date():
            return cell.isoformat()
        case dt.time():
            return _rounded(dt.datetime.combine(dt.date(2000, 1, 1), cell)).strftime(
                "%H:%M:%S"
            )
        case dt.timedelta():
            return _duration(cell)
        case _:
            return str(cell)


def _number(value: float) -> str:
    """Write a number as the sheet holds it: 15 digits, no exponent, no ``.0``.

    A whole number is exact up to 2**53: a code of 16 digits stays that code.
    """
    if value.is_integer() and abs(value) <= _EXACT:
        return str(int(value))
    plain = format(Decimal(format(value, ".15g")), "f")
    return plain.rstrip("0").rstrip(".") if "." in plain else plain


def _rounded(time: dt.datetime) -> dt.datetime:
    """Give whole seconds: a sheet keeps times as binary fractions of a day."""
    return (time + dt.timedelta(milliseconds=500)).replace(microsecond=0)


def _duration(length: dt.timedelta) -> str:
    seconds = round(length.total_seconds())
    sign, seconds = ("-", -seconds) if seconds < 0 else ("", seconds)
    minutes, second = divmod(seconds, 60)
    return f"{sign}{minutes // 60:02d}:{minutes % 60:02d}:{second:02d}"
