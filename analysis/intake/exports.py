"""Export files to canonical text tables: by a layout, or by what is recognised."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from analysis.errors import InputError, numbered
from analysis.intake import conventions, misdated, synonyms
from analysis.intake.across import one_row_a_cell
from analysis.intake.day_parts import joined_parts, under_days
from analysis.intake.files import label_files, read_raw
from analysis.intake.follow import other_order_follows
from analysis.intake.headers import find_header
from analysis.intake.hidden import hidden_notes
from analysis.intake.layout import Holds, Layout, TableLayout
from analysis.intake.proposal import Proposal
from analysis.intake.pushed import pushed_out
from analysis.intake.raw import Dialect, RawTable
from analysis.intake.recognise import propose_all
from analysis.intake.recognised import recognised
from analysis.intake.repeats import tell_apart
from analysis.intake.reshape import Turned, turn
from analysis.intake.spread import unspread
from analysis.intake.stacked import with_labels
from analysis.intake.visits import ends_and_starts
from analysis.intake.volumes import contradiction

_SHOWN = 5
_HELP = (
    "`steadyfall layout EXPORT... > layout.toml` prints a layout to answer this in, "
    "and `--layout layout.toml` uses it"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Exports:
    """All tables of an export, turned.

    Attributes
    ----------
    tables : tuple of Turned
        In the order of the files and their sheets.
    notes : tuple of str
        What was recognised or settled, in sentences.
    """

    tables: tuple[Turned, ...]
    notes: tuple[str, ...]


def read_raws(paths: Sequence[Path], layout: Layout | None = None) -> list[RawTable]:
    """Read all files of an export as raw tables.

    Parameters
    ----------
    paths : sequence of Path
        The files; one named twice is read once.
    layout : Layout, optional
        Where it says how the files are written, that is followed.

    Returns
    -------
    list of RawTable
        A table a file or a sheet, without sheets that have no rows.

    Raises
    ------
    InputError
        A file cannot be used as a whole.
    """
    different = list(dict.fromkeys(_resolved(path) for path in paths))
    labels = label_files(different)
    dialect = _dialect(layout)
    raws = [
        raw
        for path, label in zip(different, labels, strict=True)
        for raw in read_raw(
            path,
            label,
            find_header=_HeaderFinder(layout),
            dialect=dialect,
            skip_sheets=layout.skip_sheets if layout else (),
        )
    ]
    there = [raw for raw in raws if raw.header_line or len(raw.cells.columns)]
    for raw in there:
        if found := pushed_out(raw):
            raise InputError(f"{raw.file}: {found}")
    shaped = (
        joined_parts(under_days(one_row_a_cell(with_labels(raw)))) for raw in there
    )
    return [ends_and_starts(unspread(raw)) for raw in shaped]


def _resolved(path: Path) -> Path:
    for part in path.parts:
        if not _IS_TEXT.fullmatch(part):
            msg = f"{part!a}: a name with a line break or with bytes that are no "
            raise InputError(f"{msg}text cannot be told in a report; rename it")
    try:
        return path.resolve()
    except (OSError, RuntimeError, ValueError):  # a loop of links, no name of a file
        msg = f"{path}: cannot be followed to a file; check the name"
        raise InputError(msg) from None


#: No control character, no line break, no byte that a file system could not decode.
_IS_TEXT = re.compile("[^\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]*")


def _dialect(layout: Layout | None) -> Dialect | None:
    if layout is None:
        return None
    given = {
        (t.encoding, t.delimiter, t.quote)
        for t in layout.tables
        if t.encoding or t.delimiter or t.quote
    }
    if len(given) != 1:
        return None
    encoding, delimiter, quote = given.pop()
    return Dialect(encoding=encoding, delimiter=delimiter, quote=quote or None)


class _HeaderFinder:
    """Finds the header that a layout names, else the one that can be recognised."""

    def __init__(self, layout: Layout | None) -> None:
        self._wanted = [t.headers() for t in layout.tables] if layout else []

    def __call__(self, rows: list[list[str]]) -> int | None:
        """Give the first record that holds all headers of some table."""
        for i, row in enumerate(rows if self._wanted else ()):
            names = tell_apart(row, rows[i - 1] if i else ())
            there = {synonyms.normal(name) for name in names}
            if any(wanted and wanted <= there for wanted in self._wanted):
                return i
        return find_header(rows)


def turn_exports(raws: Sequence[RawTable], layout: Layout | None = None) -> Exports:
    """Turn raw tables into canonical text tables.

    Parameters
    ----------
    raws : sequence of RawTable
        All tables of the export.
    layout : Layout, optional
        Without one, what can be recognised safely is.

    Returns
    -------
    Exports
        The turned tables, and what was settled on the way.

    Raises
    ------
    InputError
        A table fits no part of the layout; or, without a layout, something must be
        settled first: the sentence says what, and how.
    """
    if layout is not None:
        pairs = [(raw, _laid_out(raw, layout)) for raw in raws]
        _check_dates(pairs)
        skipped = ", ".join(f"'{name}'" for name in layout.skip_sheets)
        notes = [f"Sheets not read, as the layout says: {skipped}."] * bool(skipped)
        notes += [note for raw in raws for note in raw.notes] + hidden_notes(raws)
        notes += [note for raw, t in pairs for note in recognised(raw.file, t, {})]
        tables = _with_beside(turn(raw, table) for raw, table in pairs)
        notes += [note for table in tables for note in table.notes]
        return Exports(tables=tables, notes=tuple(notes))
    proposals = propose_all(raws)
    beside = [p.file for p in proposals if p.is_beside]
    raws = [raw for raw in raws if raw.file not in beside]
    proposals = [p for p in proposals if not p.is_beside]
    pairs = [(raw, p.table) for raw, p in zip(raws, proposals, strict=True)]
    _check_dates(pairs)
    _refuse_open(proposals)
    tables = _with_beside(turn(raw, table) for raw, table in pairs)
    notes = [
        f"{file}: has no columns of a log, and nothing of it was used."
        for file in beside
    ]
    notes += [note for raw in raws for note in raw.notes] + hidden_notes(raws)
    notes += [n for p in proposals for n in recognised(p.file, p.table, p.evidence)]
    notes += [
        f"{p.file}: {q.text}." for p in proposals for q in p.questions if not q.blocks
    ]
    notes += [note for table in tables for note in table.notes]
    return Exports(tables=tables, notes=tuple(notes))


def _check_dates(pairs: Iterable[tuple[RawTable, TableLayout]]) -> None:
    """Refuse dates that no layout can mend."""
    for raw, table in pairs:
        spelled = {synonyms.normal(h): h for h in raw.cells.columns}
        for name in _TIMES:
            for header in table.columns.get(name, ())[:1]:
                own = spelled.get(synonyms.normal(header))
                cells = raw.cells[own] if own else pd.Series([], dtype="str")
                found = misdated.swapped_in_sheet(cells) if raw.is_sheet else ""
                if found := found or misdated.year_day_month(cells):
                    raise InputError(f"{raw.file}, {own}: {found}")


def _with_beside(turned: Iterable[Turned]) -> tuple[Turned, ...]:
    """Give every table, and after it those made of the same rows."""
    return tuple(table for one in turned for table in (one, *one.beside))


def _laid_out(raw: RawTable, layout: Layout) -> TableLayout:
    table = layout.of(raw.cells.columns)
    if table is None:
        lacking = ", ".join(layout.nearest(raw.cells.columns))
        msg = f"{raw.file}: fits no table of the layout; the nearest names {lacking}, "
        msg += "which the file has not; add a [[table]] for it"
        raise InputError(msg + (", or name it under skip_sheets" * raw.is_sheet))
    there = {synonyms.normal(h) for h in raw.cells.columns}
    for key, headers in (("fill_down", table.fill_down), ("ditto", table.ditto)):
        if lost := [h for h in headers if synonyms.normal(h) not in there]:
            msg = (
                f"{raw.file}: has no column '{lost[0]}', which the layout names under "
            )
            raise InputError(f"{msg}{key}; name the right one, or take it out")
    _check_order(raw, table)
    _check_clock(raw, table)
    if table.holds is Holds.CHECKS and (found := contradiction(raw, table)):
        msg = f"{raw.file}: {found}; correct the layout, or read this file by a layout "
        raise InputError(f"{msg}of its own")
    return table


def _check_order(raw: RawTable, table: TableLayout) -> None:
    """Refuse an order of dates that the dates of a file contradict."""
    spelled = {synonyms.normal(h): h for h in raw.cells.columns}
    names = [h for name in _TIMES for h in table.columns.get(name, ())]
    texts = [
        raw.cells[spelled[key]] for h in names if (key := synonyms.normal(h)) in spelled
    ]
    if table.date_order not in _ORDERS or not texts:
        return
    order, evidence, is_certain = conventions.decide_order(texts)
    if (
        is_certain
        and order in _ORDERS
        and order != table.date_order
        and not _follows_other(raw, table, spelled, order)
    ):
        msg = f"{raw.file}: the layout reads its dates as {table.date_order}, but "
        msg += f"{evidence}; correct date_order, or read this file by a layout "
        raise InputError(f"{msg}of its own")


def _check_clock(raw: RawTable, table: TableLayout) -> None:
    """Refuse a 12-hour clock for times of which many are past 12:59."""
    times = table.columns.get("checked_at", ())
    if table.clock != "12" or len(times) > _WITH_HALF:
        return
    spelled = {synonyms.normal(h): h for h in raw.cells.columns}
    for header in times:
        cells = raw.cells.get(spelled.get(synonyms.normal(header), header))
        cells = pd.Series([], dtype="str") if cells is None else cells[cells != ""]
        past = cells[cells.str.contains(_PAST_NOON)]
        if len(past) > _MANY_PAST * len(cells):
            msg = f"{raw.file}: the layout reads its times on a 12-hour clock, but "
            msg += f"{len(past)} of {len(cells)} are past 12:59 ({past.iloc[0]}); "
            raise InputError(f'{msg}write clock = "24"')


#: A time past 12:59 that no am or pm follows.
_PAST_NOON = r"(?i)(?:^|[ T])(?:1[3-9]|2[0-3]):[0-5][0-9](?!.*[ap]\.?m)"

#: Day and clock; a third column says am or pm.
_WITH_HALF = 2

#: A slip or two of a 12-hour chart are rows to reject; more are another clock.
_MANY_PAST = 0.1


def _follows_other(
    raw: RawTable, table: TableLayout, spelled: dict[str, str], order: str
) -> bool:
    """Tell whether charts follow in the order of the layout, and not in the other."""

    def cells(column: str) -> list[pd.Series]:
        keys = [synonyms.normal(h) for h in table.columns.get(column, ())]
        return [raw.cells[spelled[key]] for key in keys if key in spelled]

    days = cells("checked_at")[:1]
    charts = [c for name in _CHARTS for c in cells(name)]
    return bool(days) and bool(other_order_follows(days[0], charts, order))


_CHARTS = ("patient_id", "infusion_id", "driver_id")
_ORDERS = ("dmy", "mdy")
_TIMES = ("checked_at", "recorded_at", "started_at", "ended_at", "inserted_at",
          "removed_at", synonyms.LINE_CHANGED_ON, synonyms.SITE_CHANGED_ON)  # fmt: skip


def _refuse_open(proposals: Sequence[Proposal]) -> None:
    """Refuse where something must be settled: every such point, one a line."""
    files: dict[tuple[str, str], list[str]] = {}
    text_of: dict[tuple[str, str], str] = {}
    for p in proposals:
        for q in (q for q in p.questions if q.blocks):
            # The same question of several tables is asked once, whatever its counts.
            key = (q.entry, _COUNTS.sub(r"0 \1", q.text))
            if p.file not in files.setdefault(key, []):
                files[key].append(p.file)
            text_of.setdefault(key, q.text)
    if not files:
        return
    asked = [(files[key], text) for key, text in text_of.items()]
    if len(asked) == 1:
        named, text = asked[0]
        raise InputError(f"{named[0]}: {text}{_so_too(named)}; {_HELP}")
    raise InputError(_several(asked))


_COUNTS = re.compile(r"\b[\d,]+ (rows|of|such|times)\b")


def _so_too(files: Sequence[str]) -> str:
    return f" (so too in {', '.join(files[1:])})" if files[1:] else ""


def _several(asked: Sequence[tuple[Sequence[str], str]]) -> str:
    """Write the points one a line; a file that all are about is named once."""
    first = asked[0][0]
    if all(files == first for files, _ in asked):
        head, points = f"{first[0]}{_so_too(first)}", [text for _, text in asked]
    else:
        head = "the export"
        points = [f"{files[0]}: {text}{_so_too(files)}" for files, text in asked]
    more = len(points) - _SHOWN
    rest = f"\n  and {more} more, which the layout names" if more > 0 else ""
    return (
        f"{head}: {len(points)} points must be settled before it can be read:"
        f"{numbered(points[:_SHOWN])}{rest}\n{_HELP}"
    )
