"""The file of a layout: TOML, loaded strictly, all its faults told together."""

import re
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import fields
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from analysis.columns import CHECKS, INFUSIONS, LINES
from analysis.errors import LayoutError, numbered
from analysis.intake import synonyms
from analysis.intake.given import is_value_or_place
from analysis.intake.layout import ALLOWED, OPEN, SIGNS, Holds, Layout, TableLayout
from analysis.intake.layout_lines import open_lines, open_places, table_lines
from analysis.terms import RemovalReason, YesNo

_ORDERS = ("ymd", "dmy", "mdy")
_CLOCKS = ("24", "12")
_MARKS = (".", ",")
_UNITS = {"set_rate_ml_h": ("mL/h", "mL/24 h"), "battery_pct": ("%", "parts of 1")}


def load_layout(path: Path) -> Layout:
    """Load a layout.

    Parameters
    ----------
    path : Path
        TOML, as `steadyfall layout` prints it.

    Returns
    -------
    Layout
        Complete: every question in it was answered.

    Raises
    ------
    LayoutError
        The file is missing or no TOML, has an unknown key or a value that does not fit
        its key, or leaves questions open; all faults are told together.
    """
    if path.exists() and not path.is_file():
        raise LayoutError(f"{path}: is no file; name the layout itself")
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise LayoutError(f"{path}: cannot be read ({error.strerror})") from None
    except UnicodeDecodeError:
        raise LayoutError(f"{path}: is not UTF-8 text; save it so") from None
    return parse_layout(text, str(path))


def parse_layout(text: str, name: str) -> Layout:
    """Read a layout from its text; `name` stands in messages (see `load_layout`).

    Parameters
    ----------
    text : str
        TOML.
    name : str
        Name of the file.

    Returns
    -------
    Layout
        Complete: text that leaves a question open is refused.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise LayoutError(f"{name}: is not TOML: {error}") from None
    faults: list[str] = []
    unknown = sorted(set(data) - {"table", "zone", "skip_sheets"})
    faults += [f"unknown key {key}" for key in unknown]
    given = data.get("table", [])
    if not isinstance(given, list) or not given:
        raise LayoutError(f"{name}: has no [[table]]; `steadyfall layout` prints one")
    lines = table_lines(text, len(given))
    names = [f"table {i}{line}" for i, line in enumerate(lines, 1)]
    faults += _unsettled(given, names, text)
    tables = [_table(part, at, faults) for part, at in zip(given, names, strict=True)]
    zone = data.get("zone", "")
    if not _is_zone(zone):
        faults.append(f"zone reads '{zone}'; it must be a name such as Europe/London")
    skipped = _texts(data.get("skip_sheets", []), "skip_sheets", faults)
    if OPEN in skipped:
        faults.append('skip_sheets is not settled; write the sheets in place of "?"')
    if faults:
        raise LayoutError(f"{name}:{numbered(faults)}")
    return Layout(
        tables=tuple(t for t in tables if t is not None),
        zone=str(zone),
        skip_sheets=skipped,
    )


def _unsettled(
    tables: Iterable[object], names: Iterable[str], text: str
) -> Iterator[str]:
    """Give every question that is still open, with its line where it has one."""
    lines = open_lines(text, OPEN)
    for number, (data, name) in enumerate(zip(tables, names, strict=True)):
        for path in open_places(data, OPEN) if isinstance(data, dict) else ():
            line = lines.get((number, path))
            where = f"table {number + 1}, line {line}" if line else name
            yield f'{where}: {path} is not settled; write the answer in place of "?"'


def _is_zone(name: object) -> bool:
    if not isinstance(name, str):
        return False
    try:
        return not name or bool(ZoneInfo(name))
    except (OSError, ValueError, KeyError):  # not a zone file, unsafe path, unknown
        return False


def _table(data: object, where: str, faults: list[str]) -> TableLayout | None:
    if not isinstance(data, dict):
        faults.append(f"{where} is not a table")
        return None
    known = {f.name for f in fields(TableLayout)}
    faults += [f"{where}: unknown key {key}" for key in sorted(set(data) - known)]
    try:
        holds = Holds(data.get("holds", ""))
    except ValueError:
        faults.append(f"{where}: holds must be one of {', '.join(Holds)}")
        return None
    unlike = [k for k in sorted(_TABLES & set(data)) if not isinstance(data[k], dict)]
    faults += [f"{where}: {key} must be a table of its own" for key in unlike]
    if not isinstance(data.get("columns"), dict):
        faults.append(f"{where}: has no columns; name headers under [table.columns]")
        return None
    kept = sorted((known & set(data)) - set(unlike))
    values = {key: _value(key, data[key], where, faults) for key in kept}
    table = TableLayout(**{**values, "holds": holds, "columns": values["columns"]})
    faults += [f"{where}: {fault}" for fault in _misfits(table)]
    return table


#: Keys that hold names with their values.
_TABLES = frozenset(
    {"columns", "items", "signs_of", "words", "units", "constants", "digits"}
)


def _value(  # noqa: PLR0911 - one return a kind of value
    key: str, value: object, where: str, faults: list[str]
) -> Any:
    """Bring one value of a table to its type; a value that does not fit is a fault."""
    match key:
        case "columns" | "items" | "signs_of" if isinstance(value, dict):
            return {
                k: _texts(v, f"{where}: {key}.{k}", faults) for k, v in value.items()
            }
        case "words" if isinstance(value, dict):
            return {
                k: _words(v, f"{where}: words.{k}", faults) for k, v in value.items()
            }
        case "units" | "constants" if isinstance(value, dict):
            return _words(value, f"{where}: {key}", faults)
        case "digits" if isinstance(value, dict):
            value = {k: _unquoted(v) for k, v in value.items()}
            faults += [
                f"{where}: digits.{k} must be a whole number from 0 to {_MOST_DIGITS}, "
                "0 where no zeros were lost"
                for k, v in value.items()
                if v != OPEN and not _is_digits(v)
            ]
            return value
        case "contents_of":
            groups = value if isinstance(value, list) else [value]
            return tuple(_texts(v, f"{where}: {key}", faults) for v in groups)
        case "not_recorded" | "fill_down" | "ditto" | "not_rows":
            return _texts(value, f"{where}: {key}", faults)
    if not isinstance(value, str):
        faults.append(f"{where}: {key} must be a text in quotes")
        return ""
    return value


_MOST_DIGITS = 30


def _unquoted(value: object) -> object:
    """Take a number out of the quotes of the "?" it was written in place of."""
    is_number = isinstance(value, str) and re.fullmatch("[0-9]{1,2}", value)
    return int(str(value)) if is_number else value


def _is_digits(value: object) -> bool:
    """Tell a number of digits; true and false are whole numbers to Python, not here."""
    is_whole = isinstance(value, int) and not isinstance(value, bool)
    return is_whole and 0 <= int(str(value)) <= _MOST_DIGITS


def _texts(value: object, where: str, faults: list[str]) -> tuple[str, ...]:
    if isinstance(value, str):
        return (value,)
    if isinstance(value, list) and all(isinstance(v, str) for v in value):
        return tuple(value)
    faults.append(f"{where} must be a text or a list of texts")
    return ()


def _words(value: object, where: str, faults: list[str]) -> dict[str, str]:
    if isinstance(value, dict) and all(isinstance(v, str) for v in value.values()):
        return dict(value)
    faults.append(f"{where} must be texts under their names")
    return {}


def _misfits(table: TableLayout) -> list[str]:
    """Give what does not fit together, or is none of a closed list."""
    allowed = ALLOWED[table.holds]
    found = [
        f"{key}.{name} is no column of {table.holds}"
        for key, names, more in (
            ("columns", table.columns, ()),
            ("items", table.items, SIGNS),
        )
        for name in names
        if name not in allowed and name not in more
    ]
    if table.holds in (Holds.CHECKS, Holds.ITEMS) and not _has_volume(table):
        found.append(f"names none of {', '.join(_VOLUMES)}, which a check log needs")
    found += [
        f"signs_of.{sign} is none of {', '.join(SIGNS)}"
        for sign in table.signs_of
        if sign not in SIGNS
    ]
    for key, value, choices in (
        ("date_order", table.date_order, _ORDERS),
        ("clock", table.clock, _CLOCKS),
        ("decimal", table.decimal, _MARKS),
        *(
            (f"units.{name}", unit, _UNITS.get(name, ()))
            for name, unit in table.units.items()
        ),
    ):
        if not choices:
            found.append(f"{key}: a unit can be given of {' and '.join(_UNITS)} only")
        elif value not in ("", OPEN, *choices):
            listed = " or ".join(f"'{choice}'" for choice in choices)
            found.append(f"{key} reads '{value}'; it must be {listed}")
    return found + _wrong_words(table) + _wrong_columns(table) + _wrong_headers(table)


def _wrong_words(table: TableLayout) -> list[str]:
    """Give words that are mapped to none of their column's closed list."""
    found = []
    for name, meanings in table.words.items():
        choices = _CHOICES.get(name)
        if choices is None:
            found.append(f"words.{name}: {name} has no closed list of words")
            continue
        found += [
            f"words.{name}.{word} means '{part}', which is none of {', '.join(choices)}"
            for word, meaning in meanings.items()
            for part in meaning.split(";")
            if meaning not in ("", OPEN) and part.strip() not in choices
        ]
    return found


_CHOICES: dict[str, tuple[str, ...]] = {
    column.name: column.choices
    for part in (CHECKS, INFUSIONS, LINES)
    for column in part.columns
    if column.choices
} | {
    synonyms.STRUCK: ("in force", "struck out"),
    synonyms.WHY_CHANGED: tuple(map(str, RemovalReason)),
    "signs_of": tuple(map(str, YesNo)),
}


def _wrong_columns(table: TableLayout) -> list[str]:
    """Give constants of no column, and headers that cannot be two columns at once."""
    allowed = ALLOWED[table.holds]
    found = [
        f"{key}.{name} is no column of {table.holds}"
        for key, names in (("constants", table.constants), ("digits", table.digits))
        for name in names
        if name not in allowed
    ]
    found += [
        f"constants.{name} reads '{value}'; it must be a value, (sheet), (file), "
        "(heading), or (above) or (heading) with the words it stands beside"
        for name, value in table.constants.items()
        if not is_value_or_place(value)
    ]
    found += [
        f"{name} stands under both columns and constants; keep one"
        for name in table.constants
        if table.columns.get(name)
    ]
    for group in (("ward", "patient_id"), (*_VOLUMES, "set_rate_ml_h")):
        headers: dict[tuple[str, ...], str] = {}
        for name in (n for n in group if table.columns.get(n, (OPEN,)) != (OPEN,)):
            other = headers.setdefault(table.columns[name], name)
            if other != name:
                found.append(
                    f"'{table.columns[name][0]}' is named as {other} and {name}"
                )
    return found


def _wrong_headers(table: TableLayout) -> list[str]:
    """Give columns of no header or of too many, and readings that are filled down."""
    found = [
        f"columns.{name} names no header"
        for name, headers in table.columns.items()
        if not headers or "" in headers
    ]
    found += ["contents_of names no header" for group in table.contents_of if not group]
    found += [
        f"columns.{name} names {len(headers)} headers; it is read from one"
        for name, headers in table.columns.items()
        if name in _READINGS and len(headers) > 1
    ]
    if table.holds is Holds.ITEMS:
        found += [
            f"columns names no {name}, which a table of items needs"
            for name in (synonyms.ITEM, synonyms.VALUE)
            if name not in table.columns
        ]
    read = {h for name in _READINGS for h in table.columns.get(name, ())}
    return found + [
        f"fill_down: '{header}' holds readings, and a blank one repeats nothing"
        for header in table.fill_down
        if header in read
    ]


_VOLUMES = ("volume_remaining_ml", "volume_delivered_ml", "display_remaining_ml")

_READINGS = frozenset(
    (*_VOLUMES, "set_rate_ml_h", "battery_pct", "running", "site_signs",
     "solution_appearance", "lockbox_locked", "label_present")
)  # fmt: skip


def _has_volume(table: TableLayout) -> bool:
    return any(name in table.columns or name in table.items for name in _VOLUMES)
