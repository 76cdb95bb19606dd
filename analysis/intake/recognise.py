"""What a raw table holds: by its headers, confirmed by its values, never by position.

`propose` gives a layout for one raw table with the evidence for each entry and the
questions it leaves open. A question that blocks must be answered before the table is
read; the others are choices that were made and are stated.
"""

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.intake import dates, numbers, synonyms, words
from analysis.intake.files import RawTable
from analysis.intake.headers import assign, kind_of, matches, time_columns
from analysis.intake.layout import ALLOWED, OPEN, Holds, TableLayout
from analysis.intake.profiles import TIMES, fits, profile
from analysis.intake.proposal import Draft, Proposal, Question, listed
from analysis.intake.synonyms import Strength
from analysis.intake.vocabulary import read_vocabulary

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
    profiles = [profile(h, raw.cells[h]) for h in raw.cells.columns if h]
    holds, columns, doubts = kind_of(profiles)
    by_header = {p.header: p for p in profiles}
    table = TableLayout(holds=holds, columns={k: tuple(v) for k, v in columns.items()})
    draft = Draft(raw=raw, profiles=by_header, table=table)
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


_TOTAL = re.compile(
    r"(?:grand |sub)?totals?\b.*|sum|count|page \d+.*|end of (?:report|list|export).*|"
    r"printed .*|report (?:run|printed).*|\*+ ?end.*|no\.? of rows.*|rows: ?\d+"
)


def _total_rows(draft: Draft) -> Draft:
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


def _blanks(draft: Draft) -> Draft:
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
        f"many cells under {listed(sparse)} are blank (filled: {given} of "
        f"{len(cells)} rows); a blank is taken to repeat the value above it, within "
        "the columns to its left"
    )
    return draft.put(fill_down=tuple(sparse)).ask("fill_down", text, blocks=True)


#: In fewer rows than these a blank is a blank: no habit of writing shows in them.
_FEWEST_FOR_GROUPS = 5


def _is_sparse(draft: Draft, header: str) -> bool:
    found = draft.profiles[header]
    if found.rows < _FEWEST_FOR_GROUPS:
        return False
    begins = draft.raw.cells[header].iloc[0] != ""
    return begins and found.blank > 0.3 * found.rows and not found.is_empty()


def _dittos(draft: Draft) -> Draft:
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


def _composite(draft: Draft) -> Draft:
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
        f"{listed(parts)}: it tells infusions apart only together with them"
    )
    return draft.put(columns=columns).ask("columns.infusion_id", text, blocks=False)


def _date_order(draft: Draft) -> Draft:
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


def _time_texts(draft: Draft) -> list[pd.Series]:
    found = draft.headers((*TIMES, *_DATED))
    return [
        draft.raw.cells[h]
        for h in found
        if h in draft.profiles and draft.profiles[h].time_kind in ("moment", "day")
    ]


_DATED = (synonyms.LINE_CHANGED_ON, synonyms.SITE_CHANGED_ON)


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


def _rate_unit(draft: Draft) -> Draft:
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


def _with_unit(draft: Draft, column: str, name: str, median: float) -> Draft:
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
    if unused := [n for n in parts if n and n not in taken]:
        draft = draft.say("items", f"read and not used: {', '.join(unused)}")
    profiles = {**draft.profiles, **parts}
    if "set_rate_ml_h" in columns and not draft.header(synonyms.UNITS):
        name = columns["set_rate_ml_h"][0]
        draft = _with_unit(draft, "set_rate_ml_h", name, parts[name].median())
    return replace(draft, profiles=profiles)


def _why(draft: Draft) -> Draft:
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


_STEPS: tuple[Callable[[Draft], Draft], ...] = (
    _total_rows,
    _blanks,
    _dittos,
    _composite,
    _date_order,
    _contents,
    _decimal,
    _rate_unit,
    _items,
    read_vocabulary,
    _why,
)


def doubt_questions(doubts: Iterable[tuple[str, list[str]]]) -> list[Question]:
    """Turn columns that several headers fit alike into questions."""
    return [
        Question(
            f"columns.{column}",
            f"{listed(headers)} can each be {column}; {headers[0]} was taken: name "
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
