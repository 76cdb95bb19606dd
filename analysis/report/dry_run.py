"""What an intake found, as plain text for a terminal; the same tables as the report."""

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

import pandas as pd

from analysis.intake import Log
from analysis.intake.future import future_checks
from analysis.quality import habits
from analysis.report import facts, quality
from analysis.report.grid import Grid

#: Columns of a terminal that the text keeps within.
WIDTH = 100
#: A heading of a table is broken into lines no wider than this, if its words allow.
_HEADING = 12
_NOTHING = "none"
#: A sentence is cut here: a cell that it quotes may be as long as a file.
_LONGEST = 1500
_END = "Nothing was written. Where this is not what your export says, "
_PRINT_ONE = (
    "`steadyfall layout EXPORT... > layout.toml` prints what to change, and --layout "
    "layout.toml uses it."
)


def dry_run(
    log: Log, layout_file: Path | None = None, now: pd.Timestamp | None = None
) -> list[str]:
    """Say what was read, what was not, what was settled, and how the log was charted.

    Parameters
    ----------
    log : Log
        As read.
    layout_file : Path, optional
        The layout it was read with: what is wrong is put right there.
    now : Timestamp, optional
        When it was read, with its zone: a check after it is said.

    Returns
    -------
    list of str
        Lines of at most `WIDTH` columns, but for words that are longer.
    """
    record = quality.Record.of_log(log)
    rejected, set_aside = quality.not_read(record)
    derived = quality.bucket(record)
    absent = ", ".join(habits.not_in_export(record.rows))
    future = future_checks(log.checks, now) if now is not None else []
    return [
        *_about(record),
        *_wrapped(future),
        *_part("Files", _files(record)),
        *_part("Rows rejected (they cannot be placed)", _reasons(rejected)),
        *_part(
            "Cells set aside (their rows stay, without that value)", _reasons(set_aside)
        ),
        *_part("Recognised, settled or assumed", _items(record.notes)),
        *_part("Numbers with a qualifier", _qualifiers(quality.qualified(record))),
        *_part("Rows without an infusion id", _table(derived) if derived else ()),
        *_part("Readings", _filled(quality.resolution(record), _NO_READING)),
        *_wrapped(quality.measurement_changes(record)),
        *_part("Times", _table(quality.round_times(record))),
        *_part("Completeness", _filled(quality.completeness(record), _NO_CELL)),
        *_wrapped([f"Not in this export: {absent}."] if absent else []),
        "",
        *_wrapped([_END + _what_to_do(layout_file)]),
    ]


def _what_to_do(layout_file: Path | None) -> str:
    if layout_file is None:
        return _PRINT_ONE
    # Printing a layout anew would write over the answers in the one in use.
    return f"change {layout_file}, the layout in use, and run this again."


def _about(record: quality.Record) -> Iterator[str]:
    rows = record.rows
    times = rows["checked_at"]
    first, last = times.min(), times.max()
    wards = record.wards
    yield from _wrapped(
        [
            f"{len(rows):,} checks accepted, from {first.day} {first:%B %Y} to "
            f"{last.day} {last:%B %Y}; patients: {rows['patient_id'].nunique():,}; "
            f"wards: {', '.join(wards)}."
        ]
    )


def _part(title: str, lines: Iterable[str]) -> list[str]:
    """Give a part under its title, indented; one that is empty says so in its title."""
    told = [f"  {line}".rstrip() for line in lines]
    return ["", title, *told] if told else ["", f"{title}: {_NOTHING}"]


def _filled(grid: Grid, else_: str) -> Iterator[str]:
    """Draw a table; one without a row is said in words."""
    yield from _table(grid) if grid.rows else _wrapped([else_])


_NO_READING = (
    "No row after the start of its infusion has a volume that can be read: what was "
    "delivered cannot be judged. See above what was set aside, and which columns were "
    "recognised."
)
_NO_CELL = "No column has a value in any row, beside ward, patient and time."


def _files(record: quality.Record) -> Iterator[str]:
    for row in facts.rows_of(record.account):
        yield from _wrapped(
            [
                f"{row['file']} ({row['table']}): {row['rows_read']:,} rows read = "
                f"{row['accepted']:,} accepted + {row['rejected']:,} rejected + "
                f"{row['superseded']:,} superseded by an amendment + "
                f"{row['exact_duplicates']:,} exact duplicates. Lines that are no rows "
                f"(headers, totals, blank): {row['other_lines']:,}."
            ]
        )


def _reasons(grid: Grid) -> Iterator[str]:
    for count, column, reason, source, sentence in grid.rows:
        yield from _wrapped([f"{count} x {reason}, in {column}"])
        yield from _wrapped([f"first {source}: {sentence}"], "    ")


def _qualifiers(grid: Grid) -> Iterator[str]:
    for column, charted_as, read_as, count, source, cell in grid.rows:
        said = f"{count} x {column} charted as {charted_as}, read as {read_as}"
        yield from _wrapped([f"{said}; first {source}: {cell}"])


def _items(notes: Sequence[str]) -> Iterator[str]:
    for note in notes:
        yield from _wrapped([f"- {note}"])


def _wrapped(sentences: Iterable[str], indent: str = "") -> Iterator[str]:
    """Break sentences into lines; what follows the first line hangs under it."""
    for sentence in sentences:
        yield from textwrap.wrap(
            _harmless(sentence),
            WIDTH - 2,
            initial_indent=indent,
            subsequent_indent=f"{indent}  ",
            break_long_words=False,
            break_on_hyphens=False,
        )


def _harmless(text: str) -> str:
    """Show what a terminal would obey, and no more of a text than one reads."""
    shown = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)
    return shown if len(shown) <= _LONGEST else f"{shown[:_LONGEST]} ..."


def _table(grid: Grid) -> Iterator[str]:
    """Draw a table in as many blocks of columns as its width takes."""
    yield from _wrapped([f"{grid.caption}."])
    columns = [
        _column(title, cells, is_number=place in grid.numeric)
        for place, (title, cells) in enumerate(
            zip(grid.head, zip(*grid.rows, strict=True), strict=True)
        )
    ]
    for number, block in enumerate(_blocks(columns[0], columns[1:])):
        if number:
            yield ""
        yield from _beside(block)


def _blocks(
    first: Sequence[str], rest: Sequence[Sequence[str]]
) -> Iterator[list[Sequence[str]]]:
    """Part columns into blocks that fit the width, each with the first column again."""
    block, width = [first], len(first[0])
    for column in rest:
        width += 2 + len(column[0])
        if len(block) > 1 and width > WIDTH - 2:
            yield block
            block, width = [first], len(first[0]) + 2 + len(column[0])
        block.append(column)
    yield block


def _beside(columns: Sequence[Sequence[str]]) -> Iterator[str]:
    """Put columns side by side, their last lines level."""
    height = max(map(len, columns))
    padded = [[" " * len(c[0])] * (height - len(c)) + list(c) for c in columns]
    yield from ("  ".join(cells).rstrip() for cells in zip(*padded, strict=True))


def _column(title: str, cells: Sequence[str], *, is_number: bool) -> list[str]:
    """Give the lines of a column, all of one width: its heading, then its cells."""
    shown = [_harmless(cell) for cell in cells]
    lines = [*textwrap.wrap(_harmless(title), _HEADING, break_long_words=False), *shown]
    width = max(map(len, lines))
    return [line.rjust(width) if is_number else line.ljust(width) for line in lines]
