"""What a raw table holds: by its headers, confirmed by its values, never by position.

`propose` gives a layout for one raw table with the evidence for each entry and the
questions it leaves open. A question that blocks must be answered before the table is
read; the others are choices that were made and are stated.
"""

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from analysis.intake import dates, numbers, synonyms, words
from analysis.intake.files import RawTable
from analysis.intake.layout import ALLOWED, OPEN, Holds, TableLayout
from analysis.intake.profiles import (
    IS_NUMBER,
    READINGS,
    TIMES,
    YES_NO,
    Profile,
    fits,
    profile,
)
from analysis.intake.synonyms import Candidate, Strength

#: Headers looked at when the header row is searched for.
_LEAST_KNOWN = 3

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
#: Columns whose blanks may repeat the value above in a sheet made for reading.
_GROUPING = ("ward", "patient_id", "infusion_id", "driver_id", "checked_at")


@dataclass(frozen=True, slots=True)
class Question:
    """What an export leaves open.

    Attributes
    ----------
    entry : str
        Where in the layout the answer goes.
    text : str
        The question and what was found, in words.
    blocks : bool
        The table cannot be read before it is answered.
    """

    entry: str
    text: str
    blocks: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """A layout for one raw table, with its evidence and its questions.

    Attributes
    ----------
    file : str
        Label of the raw table.
    table : TableLayout
        What was recognised.
    evidence : dict of str to str
        Entry of the layout to why it is so.
    questions : tuple of Question
        What is open, and what was chosen and should be looked at.
    unused : tuple of str
        Headers without a place.
    """

    file: str
    table: TableLayout
    evidence: dict[str, str]
    questions: tuple[Question, ...]
    unused: tuple[str, ...]


def find_header(rows: list[list[str]]) -> int | None:
    """Find the header among the first records of a file.

    Parameters
    ----------
    rows : list of list of str
        Records from the top of the file.

    Returns
    -------
    int or None
        The record with the most cells that name something known; the first of equals.
        Without such a record: the first with the most cells, None where all are blank.
    """
    known = [sum(bool(synonyms.candidates(c)) for c in _named(row)) for row in rows]
    best = max(known, default=0)
    if best >= _LEAST_KNOWN:
        return known.index(best)
    filled = [len(_named(row)) for row in rows]
    most = max(filled, default=0)
    return filled.index(most) if most else None


def _named(row: list[str]) -> list[str]:
    return [c for c in row if c.strip() and not IS_NUMBER.fullmatch(c.strip().lower())]


# --- which header is which column ----------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Match:
    column: str
    header: str
    strength: Strength
    is_empty: bool
    rank: int


def matches(profiles: Sequence[Profile], allowed: frozenset[str]) -> list[_Match]:
    """Give every header with every column it may be, the surest first."""
    found: list[_Match] = []
    for p in profiles:
        for rank, candidate in enumerate(synonyms.candidates(p.header)):
            name = _by_table(candidate.column, allowed)
            if name == synonyms.UNITS and not _is_units_column(p.header, allowed):
                continue
            is_open = name in allowed or name in (
                synonyms.DRUG, synonyms.DOSE, synonyms.DOSE_UNIT,
            )  # fmt: skip
            if is_open and fits(Candidate(name, candidate.strength), p):
                found.append(
                    _Match(name, p.header, candidate.strength, p.is_empty(), rank)
                )
    return sorted(found, key=lambda m: (-m.strength, m.is_empty, m.rank))


def _is_units_column(header: str, allowed: frozenset[str]) -> bool:
    """Tell whether a column of units is one of values, not of doses."""
    is_items = synonyms.ITEM in allowed
    return is_items or "rate" in synonyms.normal(header).split()


def _by_table(column: str, allowed: frozenset[str]) -> str:
    """Give a place on the body the name it has in the table at hand."""
    is_lines = column == "site_location" and column not in allowed
    return "location" if is_lines else column


def assign(
    pairs: list[_Match], allowed: frozenset[str]
) -> tuple[dict[str, list[str]], list[tuple[str, list[str]]]]:
    """Give each column its header; and the columns that several headers fit alike."""
    taken: set[str] = set()
    columns: dict[str, list[str]] = {}
    doubts: list[tuple[str, list[str]]] = []
    options: dict[str, set[str]] = {}
    for m in pairs:
        options.setdefault(m.header, set()).add(m.column)
    single = sorted(
        (m for m in pairs if m.column in allowed and m.column not in TIMES),
        key=lambda m: (-m.strength, m.is_empty, len(options[m.header]), m.rank),
    )
    for m in single:
        if m.header in taken or m.column in columns:
            continue
        alike = [
            o.header
            for o in single
            if o.column == m.column
            and o.strength == m.strength
            and o.is_empty == m.is_empty
            and o.header not in taken
            and len(options[o.header]) == len(options[m.header])
        ]
        if len(dict.fromkeys(alike)) > 1:
            doubts.append((m.column, list(dict.fromkeys(alike))))
        columns[m.column] = [m.header]
        taken.add(m.header)
    return columns, doubts


_VAGUE = frozenset({"date", "time", "when", "day", "hour", "clock", "datetime"})


def time_columns(
    pairs: list[_Match], profiles: Sequence[Profile], taken: set[str]
) -> tuple[dict[str, list[str]], list[tuple[str, list[str]]]]:
    """Find the headers of each time: one of moments, or a day and a clock apart."""
    classes = {p.header: p.time_kind for p in profiles}
    out: dict[str, list[str]] = {}
    doubts: list[tuple[str, list[str]]] = []
    used = set(taken)
    order = sorted(
        TIMES, key=lambda name: (name == "checked_at", name)
    )  # the widest name last
    for strength in (Strength.CANONICAL, Strength.SYNONYM, Strength.CONTAINS):
        for column in order:
            if column in out:
                continue
            mine = [
                m.header
                for m in pairs
                if m.column == column
                and m.strength is strength
                and m.header not in used
            ]
            chosen, doubt = _one_time(list(dict.fromkeys(mine)), classes)
            if doubt:
                doubts.append((column, doubt))
            if chosen:
                out[column] = chosen
                used |= set(chosen)
    return out, doubts


def _one_time(
    headers: list[str], classes: dict[str, str]
) -> tuple[list[str], list[str]]:
    """Choose among headers of one time; gives the choice and those that compete."""
    of = {
        kind: [h for h in headers if classes[h] == kind]
        for kind in ("moment", "day", "clock", "")
    }
    for kind in ("moment", "day", "clock"):
        exact = [h for h in of[kind] if synonyms.normal(h) not in _VAGUE]
        of[kind] = exact or of[kind]
    if of["moment"]:
        return of["moment"][:1], of["moment"] if len(of["moment"]) > 1 else []
    if of["day"] and of["clock"]:
        doubt = of["day"] if len(of["day"]) > 1 else []
        doubt += of["clock"] if len(of["clock"]) > 1 else []
        return [of["day"][0], of["clock"][0]], doubt
    one = of["day"] or of["clock"] or of[""]
    return one[:1], []


# --- what a table holds --------------------------------------------------------------


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
    profiles = [profile(h, raw.cells[h]) for h in raw.cells.columns if h]
    holds, columns, doubts = _kind(profiles)
    by_header = {p.header: p for p in profiles}
    table = TableLayout(holds=holds, columns={k: tuple(v) for k, v in columns.items()})
    draft = _Draft(raw=raw, profiles=by_header, table=table)
    for step in _STEPS:
        draft = step(draft)
    questions = [*doubt_questions(doubts), *draft.questions]
    questions += _missing_questions(draft.table, list(raw.cells.columns))
    used = draft.table.headers()
    unused = tuple(h for h in raw.cells.columns if h and synonyms.normal(h) not in used)
    return Proposal(
        file=raw.file,
        table=draft.table,
        evidence=draft.evidence,
        questions=tuple(questions),
        unused=unused,
    )


def _kind(
    profiles: Sequence[Profile],
) -> tuple[Holds, dict[str, list[str]], list[tuple[str, list[str]]]]:
    """Tell what a row of the table is: the kind that most headers speak for."""
    tried = {}
    for holds in Holds:
        allowed = ALLOWED[holds]
        pairs = matches(profiles, allowed)
        columns, doubts = assign(pairs, allowed)
        taken = {h for headers in columns.values() for h in headers}
        times, more = time_columns(pairs, profiles, taken)
        tried[holds] = ({**columns, **times}, doubts + more)
    for holds in _FIRST_FULL:
        if _is_complete(holds, tried[holds][0]):
            return holds, *tried[holds]
    most = max(
        (Holds.CHECKS, Holds.LINES, Holds.INFUSIONS), key=lambda h: len(tried[h][0])
    )
    return most, *tried[most]


#: A table is the first of these that it has the columns of.
_FIRST_FULL = (
    Holds.ITEMS,
    Holds.CHECKS,
    Holds.LINES,
    Holds.LINE_CHANGES,
    Holds.INFUSIONS,
)


def _is_complete(holds: Holds, columns: dict[str, list[str]]) -> bool:
    """Tell whether the columns make a table of this kind."""
    have = set(columns)
    match holds:
        case Holds.ITEMS:
            return {synonyms.ITEM, synonyms.VALUE, "checked_at"} <= have
        case Holds.LINE_CHANGES:
            dated = {synonyms.LINE_CHANGED_ON, synonyms.SITE_CHANGED_ON} & have
            return bool(dated) and "patient_id" in have
        case Holds.CHECKS:
            return "checked_at" in have and len(READINGS & have) >= 2
        case Holds.LINES:
            return "kind" in have and bool({"inserted_at", "removed_at"} & have)
        case _:
            described = have & {
                "started_at", "planned_duration_h", "start_volume_ml", "contents",
                "made_up_to_ml", "syringe_size_ml", "ended_at", "end_reason", "diluent",
            }  # fmt: skip
            return "infusion_id" in have and len(described) >= 2


# --- step by step from the columns to a layout ---------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Draft:
    """A proposal in the making."""

    raw: RawTable
    profiles: dict[str, Profile]
    table: TableLayout
    evidence: dict[str, str] = field(default_factory=dict)
    questions: tuple[Question, ...] = ()

    def header(self, column: str) -> str:
        """Give the one header of a column; empty where it has none or several."""
        headers = self.table.columns.get(column, ())
        return headers[0] if len(headers) == 1 else ""

    def headers(self, columns: Iterable[str]) -> list[str]:
        """Give all headers of `columns`, in order."""
        return [h for c in columns for h in self.table.columns.get(c, ())]

    def day(self) -> str:
        """Give the header of the day of a check, where it stands apart; else empty."""
        headers = self.table.columns.get("checked_at", ())
        return headers[0] if len(headers) > 1 else ""

    def say(self, entry: str, text: str) -> "_Draft":
        """Add evidence."""
        return replace(self, evidence={**self.evidence, entry: text})

    def ask(self, entry: str, text: str, *, blocks: bool) -> "_Draft":
        """Add a question."""
        return replace(self, questions=(*self.questions, Question(entry, text, blocks)))

    def put(self, **changes: Any) -> "_Draft":
        """Change the layout."""
        return replace(self, table=replace(self.table, **changes))


_TOTAL = re.compile(
    r"(?:grand |sub)?totals?\b.*|sum|count|page \d+.*|end of (?:report|list|export).*|"
    r"printed .*|report (?:run|printed).*|\*+ ?end.*|no\.? of rows.*|rows: ?\d+"
)


def _total_rows(draft: _Draft) -> _Draft:
    """Find rows that are none: their first cell says so, and they have no time."""
    cells = draft.raw.cells
    times = [h for h in draft.table.columns.get("checked_at", ()) if h in cells]
    first = pd.Series("", index=cells.index, dtype="str")
    for name in reversed(list(cells.columns)):
        first = cells[name].where(cells[name] != "", first)
    is_timed = (
        (cells[times] != "").all(axis=1)
        if times
        else pd.Series(data=False, index=cells.index)
    )
    found = first[~is_timed].unique()
    totals = tuple(sorted({words.key_of(c) for c in found if _TOTAL.fullmatch(
        words.key_of(c))}))  # fmt: skip
    if not totals:
        return draft
    return draft.put(not_rows=totals).say(
        "not_rows", "rows that begin so have no time: no rows of the log"
    )


def _blanks(draft: _Draft) -> _Draft:
    """Find columns whose blanks may repeat the value above."""
    cells = draft.raw.cells
    named = {draft.day(): "checked_at"} if draft.day() else {}
    for column in ("ward", "patient_id", "infusion_id", "driver_id"):
        if header := draft.header(column):
            named[header] = column
    sparse = [h for h in cells.columns if h in named and _is_sparse(draft, h)]
    if not {named[h] for h in sparse} & {"ward", "patient_id", "checked_at"}:
        return draft
    run = draft.header("infusion_id")
    is_grouped = bool({named[h] for h in sparse} & {"ward", "patient_id"})
    if not is_grouped or (run and run not in sparse):
        # Where every row names its infusion, the infusion gives ward and patient.
        sparse = [h for h in sparse if named[h] == "checked_at"]
    if not sparse:
        return draft
    given = ", ".join(
        f"{h} on {draft.profiles[h].rows - draft.profiles[h].blank}" for h in sparse
    )
    text = (
        f"many cells under {_listed(sparse)} are blank (filled: {given} of "
        f"{len(cells)} rows); a blank is taken to repeat the value above it, within "
        "the columns to its left"
    )
    return draft.put(fill_down=tuple(sparse)).ask("fill_down", text, blocks=True)


#: In fewer rows than these a blank is a blank: no habit of writing shows in them.
_FEWEST_FOR_GROUPS = 5


def _is_sparse(draft: _Draft, header: str) -> bool:
    found = draft.profiles[header]
    if found.rows < _FEWEST_FOR_GROUPS:
        return False
    begins = draft.raw.cells[header].iloc[0] != ""
    return begins and found.blank > 0.3 * found.rows and not found.is_empty()


def _dittos(draft: _Draft) -> _Draft:
    cells = draft.raw.cells
    counts = {
        h: int(cells[h].str.strip().str.casefold().isin(words.DITTO).sum())
        for h in draft.profiles
    }
    marked = tuple(h for h, count in counts.items() if count)
    if not marked:
        return draft
    text = ", ".join(f"{counts[h]} ditto marks under {h}" for h in marked)
    return draft.put(ditto=marked).ask(
        "ditto", f"{text}: each repeats the value above it in its chart", blocks=False
    )


def _composite(draft: _Draft) -> _Draft:
    """See whether an infusion number means something only with patient and driver."""
    header = draft.header("infusion_id")
    parts = draft.headers(("patient_id", "driver_id"))
    cells = draft.raw.cells
    if not header or not parts or draft.table.fill_down:
        return draft
    known = cells[(cells[[header, *parts]] != "").all(axis=1)]
    owners = known[[header, *parts]].drop_duplicates().groupby(header).size()
    if not len(owners) or (owners > 1).mean() < 0.3:
        return draft
    columns = {**draft.table.columns, "infusion_id": (*parts, header)}
    example = owners.index[int(np.argmax(owners))]
    text = (
        f"{header} {example} stands under {owners.max()} different "
        f"{_listed(parts)}: it tells infusions apart only together with them"
    )
    return draft.put(columns=columns).ask("columns.infusion_id", text, blocks=False)


def _date_order(draft: _Draft) -> _Draft:
    texts = _time_texts(draft)
    if not texts:
        return draft
    clock = dates.decide_clock(_clock_texts(draft))
    draft = draft.put(clock=clock)
    order, evidence, is_certain = dates.decide_order(texts)
    if not is_certain and _is_year_first(texts):
        text = f"dates have the year first; others are not read ({evidence})"
        return draft.put(date_order="ymd").ask("date_order", text, blocks=False)
    if not is_certain:
        example = next((t for s in texts for t in s if t), "")
        text = (
            f"{evidence or example}, so day and month cannot be told apart: "
            "write dmy (day first), mdy (month first) or ymd"
        )
        return draft.put(date_order=OPEN).ask("date_order", text, blocks=True)
    return draft.put(date_order=order).say("date_order", evidence)


def _is_year_first(texts: Sequence[pd.Series]) -> bool:
    """Tell whether most dates name the year first, and so need no order."""
    cells = pd.concat(list(texts))
    cells = cells[cells != ""]
    return bool(cells.str.match(r"\d{4}[-/.]").mean() > 0.5) if len(cells) else False


def _time_texts(draft: _Draft) -> list[pd.Series]:
    found = draft.headers((*TIMES, *_DATED))
    return [
        draft.raw.cells[h]
        for h in found
        if h in draft.profiles and draft.profiles[h].time_kind in ("moment", "day")
    ]


_DATED = (synonyms.LINE_CHANGED_ON, synonyms.SITE_CHANGED_ON)


def _clock_texts(draft: _Draft) -> list[pd.Series]:
    found = draft.headers(TIMES)
    return [
        draft.raw.cells[h]
        for h in found
        if h in draft.profiles and draft.profiles[h].time_kind in ("moment", "clock")
    ]


def _decimal(draft: _Draft) -> _Draft:
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


def _contents(draft: _Draft) -> _Draft:
    """Join the headers of drug, dose and unit that end in the same number."""
    taken = {h for headers in draft.table.columns.values() for h in headers}
    if "contents" in draft.table.columns:
        return draft
    groups: dict[str, dict[str, str]] = {}
    for header, found in draft.profiles.items():
        if header in taken:
            continue
        for candidate in synonyms.candidates(header):
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


def _rate_unit(draft: _Draft) -> _Draft:
    for column in ("set_rate_ml_h",):
        header = draft.header(column)
        if not header:
            continue
        found = draft.profiles[header]
        if synonyms.is_travel(header):
            columns = {k: v for k, v in draft.table.columns.items() if k != column}
            text = f"{header} is a travel in mm, not a rate in mL: it is not used"
            return draft.put(columns=columns).ask("columns", text, blocks=False)
        draft = _with_unit(draft, column, header, found.median())
    return draft


def _with_unit(draft: _Draft, column: str, name: str, median: float) -> _Draft:
    """Settle the unit of a rate: by its name, else by its size."""
    units = dict(draft.table.units)
    entry = f"units.{column}"
    if synonyms.is_per_day(name):
        units[column] = "mL/24 h"
    elif synonyms.is_per_hour(name):
        units[column] = "mL/h"
    elif not median > _LARGEST_HOURLY:
        units[column] = "mL/h"
        text = f"{name} names no unit; half of its values are at or below {median:g}, "
        draft = draft.say(entry, f"{text}as rates per hour are")
    else:
        units[column] = OPEN
        text = (
            f"{name} names no unit, and values such as {median:g} are too large for "
            "mL/h: write mL/h or mL/24 h"
        )
        draft = draft.ask(entry, text, blocks=True)
    return draft.put(units=units)


#: Largest usual hourly rate of a syringe driver, mL/h (common practice, no source).
_LARGEST_HOURLY = 3.0


def _items(draft: _Draft) -> _Draft:
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
    if unused := [n for n in parts if n and n not in taken]:
        draft = draft.say("items", f"read and not used: {', '.join(unused)}")
    profiles = {**draft.profiles, **parts}
    if "set_rate_ml_h" in columns and not draft.header(synonyms.UNITS):
        name = columns["set_rate_ml_h"][0]
        draft = _with_unit(draft, "set_rate_ml_h", name, parts[name].median())
    return replace(draft, profiles=profiles)


def _vocabulary(draft: _Draft) -> _Draft:
    """Read the words of each column, and ask for those that are not known."""
    sources = {**draft.table.columns, **draft.table.items}
    for column, headers in sources.items():
        reader = KNOWN_WORDS.get(column)
        if reader is None and column not in YES_NO and column != "site_signs":
            continue
        for header in headers:
            draft = _words_of(draft, column, draft.profiles[header])
    return draft


KNOWN_WORDS: dict[str, dict[str, str]] = {
    "entry": words.ENTRY,
    "solution_appearance": words.SOLUTION,
    "end_reason": words.END_REASON,
    "removal_reason": words.REMOVAL,
    "kind": words.LINE_KIND,
    synonyms.STRUCK: words.STATUS,
    synonyms.WHY_CHANGED: words.REMOVAL,
}
#: Columns where a word that is not known would change which rows belong together.
_MUST_KNOW = frozenset({"entry", "kind", synonyms.STRUCK})


def _words_of(draft: _Draft, column: str, found: Profile) -> _Draft:
    own: dict[str, str] = dict(draft.table.words.get(column, {}))
    for cell, count in found.counts.items():
        word = str(cell)
        if (meaning := _meaning(column, word)) is not None:
            if column in _MUST_KNOW and meaning != word:
                own[word] = meaning
            continue
        is_mark = word in words.TICKS or word in words.CROSSES
        where = f"{found.header} reads {word!r} on {count} rows"
        if is_mark or column in _MUST_KNOW:
            own[word] = OPEN
            draft = draft.ask(
                f"words.{column}", f"{where}: {_ask_for(column)}", blocks=True
            )
        else:
            text = f"{where}, which is not known: it is set aside unless words give it"
            draft = draft.ask(f"words.{column}", text, blocks=False)
    if own:
        draft = draft.put(words={**draft.table.words, column: own})
    return draft


def _ask_for(column: str) -> str:
    if column in YES_NO:
        return "write yes or no (a cross can mean either)"
    if column == "site_signs":
        return "write none where it means that nothing was found, else the signs"
    choices = dict.fromkeys(KNOWN_WORDS[column].values())
    return f"write one of {', '.join(choices)}"


def _meaning(column: str, word: str) -> str | None:
    """Give what a word means in general; None where that is not known."""
    if column == "site_signs":
        known, unknown = words.site_signs(word, {})
        return None if unknown else ";".join(known)
    if column in YES_NO:
        return words.one_word(word, words.YES_NO_OF[column]) or words.one_word(
            word, words.YES_NO
        )
    if column == synonyms.WHY_CHANGED and word in words.FIRST_OF_ALL:
        return ""
    return words.one_word(word, KNOWN_WORDS[column])


def _why(draft: _Draft) -> _Draft:
    """Say of each column by what it was recognised."""
    for column, headers in draft.table.columns.items():
        how = {synonyms.candidates(h)[0].strength for h in headers}
        if how != {Strength.CANONICAL}:
            filled = min(
                draft.profiles[h].rows - draft.profiles[h].blank for h in headers
            )
            draft = draft.say(
                f"columns.{column}", f"by name and values, filled on {filled} rows"
            )
    return draft


_STEPS: tuple[Callable[[_Draft], _Draft], ...] = (
    _total_rows,
    _blanks,
    _dittos,
    _composite,
    _date_order,
    _contents,
    _decimal,
    _rate_unit,
    _items,
    _vocabulary,
    _why,
)


def doubt_questions(doubts: Iterable[tuple[str, list[str]]]) -> list[Question]:
    """Turn columns that several headers fit alike into questions."""
    return [
        Question(
            f"columns.{column}",
            f"{_listed(headers)} can each be {column}; {headers[0]} was taken: name "
            "the right one",
            blocks=column in _WEIGHTY,
        )
        for column, headers in doubts
    ]


def _missing_questions(table: TableLayout, found: Sequence[str]) -> list[Question]:
    """Ask for the columns without which no row of the table can be placed."""
    have = {*table.columns, *table.items, *table.constants}
    missing = [name for name in _NEEDED[table.holds] if name not in have]
    volumes = {"volume_remaining_ml", "volume_delivered_ml", "display_remaining_ml"}
    if table.holds in (Holds.CHECKS, Holds.ITEMS) and not volumes & have:
        missing.append("volume_remaining_ml or volume_delivered_ml")
    if not missing:
        return []
    shown = ", ".join(found[:12])
    if not have:
        text = f"none of its columns is one of a check log; found {shown}; rename the "
        return [Question("columns", f"{text}headers as `steadyfall dictionary` shows",
                         blocks=True)]  # fmt: skip
    text = f"looks like a {table.holds} table but has no column {', '.join(missing)}"
    text += (
        f"; found {shown}; add the column, rename its header, or name it in a layout"
    )
    return [Question("columns", text, blocks=True)]


_NEEDED = {
    Holds.CHECKS: ("ward", "patient_id", "checked_at"),
    Holds.ITEMS: ("ward", "patient_id", "checked_at"),
    Holds.INFUSIONS: ("infusion_id",),
    Holds.LINES: ("line_id", "patient_id"),
    Holds.LINE_CHANGES: ("patient_id",),
}


def _listed(names: Sequence[str]) -> str:
    return " and ".join([", ".join(names[:-1]), names[-1]]) if names[1:] else names[0]


def propose_all(raws: Sequence[RawTable]) -> list[Proposal]:
    """Propose a layout for every table of one export.

    Parameters
    ----------
    raws : sequence of RawTable
        All files and sheets.

    Returns
    -------
    list of Proposal
        One a table, in order; what one table says of another's codes is asked.
    """
    found = [propose(raw) for raw in raws]
    return [
        _with_digits(raw, p, raws, found) for raw, p in zip(raws, found, strict=True)
    ]


def _patients(raw: RawTable, proposal: Proposal) -> set[str]:
    headers = proposal.table.columns.get("patient_id", ())
    return set(raw.cells[headers[0]].unique()) - {""} if len(headers) == 1 else set()


def _with_digits(
    raw: RawTable,
    proposal: Proposal,
    raws: Sequence[RawTable],
    proposals: Sequence[Proposal],
) -> Proposal:
    """Ask where another table writes the same patient numbers with leading zeros."""
    mine = _patients(raw, proposal)
    if not mine or not all(c.isdigit() and not c.startswith("0") for c in mine):
        return proposal
    for other, its in zip(raws, proposals, strict=True):
        theirs = {c for c in _patients(other, its) if c.isdigit()}
        widths = {len(c) for c in theirs}
        padded = {c for c in theirs if c.startswith("0")}
        if other is raw or not padded or len(widths) != 1:
            continue
        width = widths.pop()
        both = sorted({c.zfill(width) for c in mine} & padded)
        if both:
            text = (
                f"{both[0].lstrip('0')} here and {both[0]} in {other.file} "
                f"({len(both)} such numbers) may be one patient: write {width} if "
                "zeros were lost, 0 if these are different patients"
            )
            question = Question("digits.patient_id", text, blocks=True)
            table = replace(proposal.table, digits={"patient_id": OPEN})
            return replace(
                proposal, table=table, questions=(*proposal.questions, question)
            )
    return proposal
