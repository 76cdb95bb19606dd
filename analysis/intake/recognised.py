"""What an export was taken for, in sentences: which header is which column, and how."""

from collections.abc import Iterator, Mapping

from analysis.columns import CANONICAL
from analysis.intake import synonyms
from analysis.intake.given import ABOVE, FILE, HEADING, SHEET
from analysis.intake.layout import SIGNS, Holds, TableLayout

_ROW_IS = {
    Holds.CHECKS: "a check log",
    Holds.INFUSIONS: "a table of infusions",
    Holds.LINES: "a table of lines and sites",
    Holds.ITEMS: "a check log with a row an item",
    Holds.LINE_CHANGES: "a table of changes of lines and sites",
}
_DICTIONARY = [name for table in CANONICAL for name in table.names]
_ORDERS = {"dmy": "day first", "mdy": "month first"}


def recognised(file: str, table: TableLayout, evidence: Mapping[str, str]) -> list[str]:
    """Say what a file was read as.

    Parameters
    ----------
    file : str
        Its label.
    table : TableLayout
        How its headers map.
    evidence : mapping of str to str
        Entry of the layout to why it is so; empty where a layout was given.

    Returns
    -------
    list of str
        At most two sentences; none for a file in the canonical form.
    """
    found = []
    if any(headers != (name,) for name, headers in table.columns.items()):
        told = ", ".join(_columns(table))
        found.append(f"{file}: read as {_ROW_IS[table.holds]}: {told}.")
    if settled := "; ".join(_settled(table, evidence)):
        found.append(f"{file}: {settled}.")
    return found


def _columns(table: TableLayout) -> Iterator[str]:
    for name, headers in sorted(table.columns.items(), key=_place):
        if all(synonyms.normal(header) == synonyms.normal(name) for header in headers):
            yield name
        else:
            yield f"{name} from {_named(headers)}"
    if parts := tuple(header for group in table.contents_of for header in group):
        yield f"contents from {_named(parts)}"
    for sign, headers in table.signs_of.items():
        yield f"the sign {sign} from {_named(headers)}"
    for name, items in sorted(table.items.items(), key=_place):
        what = f"the sign {name}" if name in SIGNS else name
        yield f"{what} from the item {_named(items, 'or')}"


def _place(pair: tuple[str, object]) -> int:
    """Give the place of a column in the data dictionary; others stand last."""
    return _DICTIONARY.index(pair[0]) if pair[0] in _DICTIONARY else len(_DICTIONARY)


def _named(headers: tuple[str, ...], word: str = "and") -> str:
    quoted = [f"'{header}'" for header in headers]
    return f" {word} ".join([", ".join(quoted[:-1]), quoted[-1]][len(quoted) < 2 :])


def _settled(table: TableLayout, evidence: Mapping[str, str]) -> Iterator[str]:
    """Say what the cells do not say themselves."""
    yield from _forms(table, evidence)
    yield from _rows(table)
    yield from _values(table)


def _forms(table: TableLayout, evidence: Mapping[str, str]) -> Iterator[str]:
    if table.date_order in _ORDERS:
        yield f"dates {evidence.get('date_order') or _ORDERS[table.date_order]}"
    if table.clock == "12":
        yield "times on a 12-hour clock"
    if table.decimal == ",":
        yield evidence.get("decimal") or "numbers with a decimal comma"


def _rows(table: TableLayout) -> Iterator[str]:
    if table.fill_down:
        yield f"a blank under {_named(table.fill_down, 'or')} repeats the value above"
    if table.ditto:
        yield f"a ditto mark under {_named(table.ditto, 'or')} repeats the value above"
    if table.not_rows:
        yield f"rows that begin with {_named(table.not_rows, 'or')} are no checks"


def _values(table: TableLayout) -> Iterator[str]:
    for name, unit in table.units.items():
        if unit != "mL/h":
            yield f"{name} charted in {unit}"
    for name, value in table.constants.items():
        yield f"{name} from {_PLACES.get(value, _beside(value))}"
    for name, digits in table.digits.items():
        if digits:
            yield f"{name} filled up with zeros to {digits} digits"
    for name, words in table.words.items():
        if told := ", ".join(_meanings(words)):
            yield f"{name} reads {told}"


_PLACES = {
    SHEET: "the name of the sheet",
    FILE: "the name of the file",
    HEADING: "the rows of one cell",
}


def _beside(value: str) -> str:
    """Say where a constant stands, or what it is."""
    if value.startswith(ABOVE):
        return f"'{value.removeprefix(ABOVE).strip()}' above the header"
    if value.startswith(HEADING):
        return f"'{value.removeprefix(HEADING).strip()}' in the rows of one cell"
    return f"the layout: '{value}' in every row"


def _meanings(words: Mapping[str, str]) -> Iterator[str]:
    """Say what a site's own words mean, where they are not the word itself."""
    for own, meaning in words.items():
        if own.replace(" ", "_") != meaning:
            yield f"'{own}' as {meaning or 'not recorded'}"
