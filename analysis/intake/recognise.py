"""What a raw table holds: by its headers, confirmed by its values, never by position.

`propose` gives a layout for one raw table with the evidence for each entry and the
questions it leaves open. A question that blocks must be answered before the table is
read; the others are choices that were made and are stated.
"""

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

import pandas as pd

from analysis.intake import conventions, numbers, synonyms
from analysis.intake.clocks import Clock
from analysis.intake.confirmed import settle_doubts
from analysis.intake.fitting import fits
from analysis.intake.groups import (
    blanks,
    constants,
    dittos,
    heading_rows,
    line_dates,
    total_rows,
)
from analysis.intake.headers import assign, kind_of, matches, time_columns
from analysis.intake.hidden import ask_hidden
from analysis.intake.infusion_names import find_names
from analysis.intake.layout import ALLOWED, OPEN, Holds, TableLayout
from analysis.intake.odd_items import ask_items
from analysis.intake.profiles import TIMES, Profile, profile
from analysis.intake.proposal import Draft, Proposal, Question, listed
from analysis.intake.raw import RawTable
from analysis.intake.signs import find_sign_items, find_signs
from analysis.intake.statuses import row_status
from analysis.intake.synonyms import Strength
from analysis.intake.together import settle_together
from analysis.intake.unsure import (
    IN_WORDS,
    drivers_beside,
    half_open,
    lacking_times,
    other_order,
    parts_of_names,
)
from analysis.intake.versions import row_versions
from analysis.intake.visits import volumes_at_changes
from analysis.intake.vocabulary import own_words, read_codes, read_vocabulary
from analysis.intake.volumes import battery_unit, check_volumes, rate_unit, with_unit
from analysis.intake.zeros import lost_zeros

NUMBERS = frozenset(
    {"set_rate_ml_h", "volume_remaining_ml", "display_remaining_ml", "start_volume_ml",
     "volume_delivered_ml", "made_up_to_ml", "battery_pct", "planned_duration_h",
     "syringe_size_ml"}
)  # fmt: skip


#: Columns whose misreading would change what is measured; a doubt about them blocks.
_WEIGHTY = frozenset(
    {"ward", "patient_id", "infusion_id", "driver_id", "entry", "checked_at",
     "set_rate_ml_h", "volume_remaining_ml", "volume_delivered_ml", "site_signs"}
)  # fmt: skip


def propose(raw: RawTable) -> Proposal:
    """Propose a layout for one raw table.

    Parameters
    ----------
    raw : RawTable
        A file or a sheet.

    Returns
    -------
    Proposal
        The layout with its evidence, and what is open.
    """
    profiles = [
        profile(h, raw.cells[h], raw.units.get(h, "")) for h in raw.cells.columns if h
    ]
    holds, columns, doubts = kind_of(profiles, raw.cells)
    by_header = {p.header: p for p in profiles}
    table = TableLayout(holds=holds, columns={k: tuple(v) for k, v in columns.items()})
    draft = Draft(raw=raw, profiles=by_header, table=table, doubts=tuple(doubts))
    for step in _STEPS:
        draft = step(draft)
    questions = [*doubt_questions(draft.doubts), *draft.questions]
    used = draft.table.headers()
    unused = tuple(h for h in raw.cells.columns if h and synonyms.normal(h) not in used)
    return Proposal(
        file=raw.file,
        table=draft.table,
        evidence=draft.evidence,
        questions=tuple(questions),
        unused=unused,
    )


def _shortened(draft: Draft) -> Draft:
    """Refuse codes that a spreadsheet has shortened: 4.01E+09 is many numbers."""
    for column in ("patient_id", "infusion_id", "driver_id", "line_id", "site_id"):
        for header in draft.table.columns.get(column, ()):
            lost = [c for c in draft.profiles[header].counts.index
                    if _SHORTENED.fullmatch(str(c))]  # fmt: skip
            if lost:
                text = (
                    f"{header} reads {lost[0].upper()}: a spreadsheet shortened the "
                    "number, and others may look alike; export it again as text"
                )
                draft = draft.ask(f"columns.{column}", text, blocks=True)
    return draft


_SHORTENED = re.compile(r"\d(?:[.,]\d+)?e\+\d+")


def _halves(draft: Draft) -> Draft:
    """Find a column that says am or pm, or the zone, of the clock time in another."""
    taken = {h for headers in draft.table.columns.values() for h in headers}
    found = [
        header
        for header, about in draft.profiles.items()
        if header not in taken and _tells_of_clock(about)
    ]
    times = draft.table.columns.get("checked_at", ())
    if len(found) != 1 or not times:
        return draft
    if len(times) == 1:
        what = "am or pm" if _are_halves(draft.profiles[found[0]]) else "the zone"
        text = f"{found[0]} says {what} apart from {times[0]}: write them in one cell"
        return draft.ask("columns.checked_at", text, blocks=True)
    columns = {**draft.table.columns, "checked_at": (*times, found[0])}
    return draft.put(columns=columns)


_HALVES = frozenset({"am", "pm", "a.m", "p.m"})
_ZONE = re.compile(r"z|utc|gmt|bst|ce[s]?t|me[s]?z|[+-]\d\d:?\d\d")


def _are_halves(about: Profile) -> bool:
    return about.share(lambda c: c in _HALVES) >= 0.9


def _tells_of_clock(about: Profile) -> bool:
    return _are_halves(about) or about.share(_ZONE.fullmatch) >= 0.9


def _date_order(draft: Draft) -> Draft:
    texts = _time_texts(draft)
    if not texts:
        return draft
    clock = conventions.decide_clock(_clock_texts(draft))
    times = draft.table.columns.get("checked_at", ())
    if len(times) > 2 and _are_halves(draft.profiles[times[2]]):
        clock = Clock.H12
    draft = draft.put(clock=clock)
    draft = half_open(draft, _clock_texts(draft))
    order, evidence, is_certain = conventions.decide_order(texts)
    if not is_certain and (said := _said_order(draft)):
        return draft.put(date_order=said[0]).ask("date_order", said[1], blocks=False)
    if not is_certain and _is_year_first(texts, _FEW):
        text = f"dates have the year first; others are not read ({evidence})"
        return draft.put(date_order="ymd").ask("date_order", text, blocks=False)
    if not is_certain:
        example = next((t for s in texts for t in s if t), "")
        text = (
            f"{evidence or example}, so day and month cannot be told apart: "
            "write dmy (day first), mdy (month first) or ymd"
        )
        return draft.put(date_order=OPEN).ask("date_order", text, blocks=True)
    if other := other_order(draft, order):
        text = (
            f"{evidence}; but then rows of one chart lie months apart, and read "
            f"{IN_WORDS[other]} they follow each other: write {other} if such dates "
            f"are slips of the pen, {order} if not, or correct the file if it has both"
        )
        return draft.put(date_order=OPEN).ask("date_order", text, blocks=True)
    return draft.put(date_order=order).say("date_order", evidence)


def _said_order(draft: Draft) -> tuple[str, str] | None:
    """Give the order that the headers of dates say themselves: (dd/mm/yyyy)."""
    said = {}
    for header in draft.headers((*TIMES, *synonyms.CHANGE_DATES)):
        name = draft.profiles[header].named
        form = synonyms.normal(name)
        for order, words_ in (("dmy", ("dd mm", "d m y")), ("mdy", ("mm dd", "m d y"))):
            if any(w in form for w in words_):
                said[order] = f"{name} says the order of its dates itself"
    return next(iter(said.items())) if len(said) == 1 else None


def _is_year_first(texts: Sequence[pd.Series], few: float) -> bool:
    """Tell whether all dates but a few name the year first, and so need no order."""
    cells = pd.concat(list(texts))
    cells = cells[cells != ""]
    is_first = cells.str.match(r"\d{4}[-/.]")
    is_open = cells.str.match(r"\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4}\b") & ~is_first
    return len(cells) > 0 and is_first.mean() > 0.5 and is_open.mean() <= few


#: Share of dates in another form that are not asked about: slips of the pen.
_FEW = 0.02


def _time_texts(draft: Draft) -> list[pd.Series]:
    found = draft.headers((*TIMES, *synonyms.CHANGE_DATES))
    return [
        draft.raw.cells[h]
        for h in found
        if h in draft.profiles and draft.profiles[h].time_kind in _WITH_DAY
    ]


_WITH_DAY = frozenset({"moment", "midnight", "day"})


def _clock_texts(draft: Draft) -> list[pd.Series]:
    found = draft.headers(TIMES)
    return [
        draft.raw.cells[h]
        for h in found
        if h in draft.profiles and draft.profiles[h].time_kind in ("moment", "clock")
    ]


def _decimal(draft: Draft) -> Draft:
    columns = [draft.raw.cells[h] for h in draft.headers(sorted(NUMBERS))]
    columns += [draft.raw.cells[group[1]] for group in draft.table.contents_of
                if len(group) > 1]  # fmt: skip
    if draft.table.holds is Holds.ITEMS:
        columns += [draft.raw.cells[h] for h in draft.headers((synonyms.VALUE,))]
    if not columns:
        return draft
    decided = numbers.decide_decimal(columns)
    if decided is None:
        text = "no number tells whether its decimals come after a point or a comma"
        return draft.put(decimal=OPEN).ask("decimal", text, blocks=True)
    return draft.put(decimal=str(decided.mark)).say("decimal", decided.evidence)


def _contents(draft: Draft) -> Draft:
    """Join the headers of drug, dose and unit that end in the same number."""
    taken = {h for headers in draft.table.columns.values() for h in headers}
    if "contents" in draft.table.columns:
        return draft
    groups: dict[str, dict[str, str]] = {}
    for header, found in draft.profiles.items():
        if header in taken:
            continue
        for candidate in synonyms.candidates(header):
            if candidate.strength is Strength.PART:
                continue
            if candidate.column in _PARTS and fits(candidate, found):
                group = groups.setdefault(synonyms.group_number(header), {})
                group.setdefault(candidate.column, header)
    whole = tuple(
        tuple(group[part] for part in _PARTS if part in group)
        for _, group in sorted(groups.items())
        if synonyms.DRUG in group
    )
    return draft.put(contents_of=whole) if whole else draft


_PARTS = (synonyms.DRUG, synonyms.DOSE, synonyms.DOSE_UNIT)


def _items(draft: Draft) -> Draft:
    """Map the names of a table of items, each confirmed by its own values."""
    if draft.table.holds is not Holds.ITEMS:
        return draft
    cells = draft.raw.cells
    item, value = draft.header(synonyms.ITEM), draft.header(synonyms.VALUE)
    parts = {str(name): profile(str(name), group) for name, group in
             cells.groupby(item, sort=False)[value]}  # fmt: skip
    allowed = ALLOWED[Holds.CHECKS] - {"ward", "patient_id", "checked_at"}
    columns, doubts = assign(matches(list(parts.values()), allowed), allowed)
    columns |= time_columns(
        matches(list(parts.values()), allowed), list(parts.values()), set()
    )[0]
    columns.pop("checked_at", None)
    draft = draft.put(items={k: tuple(v) for k, v in columns.items()})
    for question in doubt_questions(doubts):
        draft = replace(draft, questions=(*draft.questions, question))
    taken = {n for names in columns.values() for n in names}
    draft = replace(draft, profiles={**draft.profiles, **parts})
    draft = find_sign_items(draft, {n: p for n, p in parts.items() if n not in taken})
    taken = {n for names in draft.table.items.values() for n in names}
    if unused := [n for n in parts if n and n not in taken]:
        draft = draft.say("items", f"read and not used: {', '.join(unused)}")
    if "set_rate_ml_h" in columns and not draft.header(synonyms.UNITS):
        name = columns["set_rate_ml_h"][0]
        draft = with_unit(draft, name, parts[name], float("nan"))
    return draft


def _why(draft: Draft) -> Draft:
    """Say of each column by what it was recognised."""
    for column, headers in draft.table.columns.items():
        named = [synonyms.candidates(draft.profiles[h].named) for h in headers]
        how = {found[0].strength for found in named if found}
        if how != {Strength.CANONICAL}:
            filled = min(
                draft.profiles[h].rows - draft.profiles[h].blank for h in headers
            )
            draft = draft.say(
                f"columns.{column}", f"by name and values, filled on {filled} rows"
            )
    return draft


_STEPS: tuple[Callable[[Draft], Draft], ...] = (
    total_rows,
    heading_rows,
    constants,
    blanks,
    dittos,
    _shortened,
    lost_zeros,
    _halves,
    lacking_times,
    _date_order,
    find_names,
    line_dates,
    find_signs,
    parts_of_names,
    drivers_beside,
    _contents,
    _decimal,
    settle_doubts,
    rate_unit,
    battery_unit,
    _items,
    row_status,
    row_versions,
    read_codes,
    own_words,
    read_vocabulary,
    volumes_at_changes,
    _why,
    check_volumes,
)


def doubt_questions(doubts: Iterable[tuple[str, list[str]]]) -> list[Question]:
    """Turn columns that several headers fit alike into questions.

    Parameters
    ----------
    doubts : iterable of (str, list of str)
        Column, and the headers that fit it alike.

    Returns
    -------
    list of Question
        One a column; it blocks where a misreading would change what is measured.
    """
    return [
        Question(
            f"columns.{column}",
            _side_by_side(headers)
            or f"{listed(headers)} can each be {column}; {headers[0]} was taken: name "
            "the right one",
            blocks=column in _WEIGHTY,
        )
        for column, headers in doubts
    ]


def _side_by_side(headers: Sequence[str]) -> str:
    """Say that times of several checks stand in one row; empty where they do not."""
    stems = {re.sub(r"\d+", "", synonyms.normal(header)) for header in headers}
    if len(stems) > 1 or not all(re.search(r"\d", header) for header in headers):
        return ""
    return (
        f"{listed(headers)} belong to several checks in one row, which are read where "
        "time and volume have the same name and the number of the check: call them "
        "Time 1, Volume remaining 1, Time 2, Volume remaining 2 and so on; drivers "
        "side by side are read where each has its number there: Driver no 1, Volume "
        "remaining 1, Driver no 2, Volume remaining 2"
    )


def propose_all(raws: Sequence[RawTable]) -> list[Proposal]:
    """Propose a layout for every table of one export.

    Parameters
    ----------
    raws : sequence of RawTable
        All files and sheets.

    Returns
    -------
    list of Proposal
        One a table, in order; what one table tells of another is settled or asked.
    """
    settled = settle_together(raws, [propose(raw) for raw in raws])
    return ask_hidden(raws, ask_items(raws, settled))
