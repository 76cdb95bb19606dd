"""Which header is which column, and what a row of the table is: by name and values."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from analysis.intake import synonyms
from analysis.intake.across import times_across
from analysis.intake.fitting import fits
from analysis.intake.layout import ALLOWED, Holds
from analysis.intake.profiles import IS_NUMBER, READINGS, TIMES, Profile
from analysis.intake.repeats import are_days_above, is_group_row
from analysis.intake.synonyms import Candidate, Strength

#: Cells that name something known, from which on a record is taken for a header.
_LEAST_KNOWN = 3


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
        Where the next one names columns below blanks of it, that next one. Without such
        a record: the first with the most cells, None where all are blank.
    """
    known = [sum(bool(synonyms.candidates(c)) for c in _named(row)) for row in rows]
    best = max(known, default=0)
    if best >= _LEAST_KNOWN:
        at = known.index(best)
        goes_on = at + 1 < len(rows) and _goes_on(rows[at], rows[at + 1], known[at + 1])
        return at + 1 if goes_on else at
    if (
        across := next((i for i, r in enumerate(rows) if times_across(r)), None)
    ) is not None:
        return across
    filled = [len(_named(row)) for row in rows]
    most = max(filled, default=0)
    return filled.index(most) if most else None


def _goes_on(row: list[str], below: list[str], known: int) -> bool:
    """Tell whether a header takes two records: names of groups, and names below."""
    if are_days_above(row, below):
        return True
    filled = [cell for cell in below if cell]
    width = max(len(row), len(below))
    pairs = zip(row + [""] * (width - len(row)), below + [""] * (width - len(below)),
                strict=True)  # fmt: skip
    below_blank = sum(1 for over, cell in pairs if cell and not over)
    is_plain = not any(_HAS_DIGITS.search(cell) for cell in filled)
    return known >= 2 and below_blank >= 1 and is_plain and is_group_row(row)


_HAS_DIGITS = re.compile(r"\d[.,:/-]?\d|^\d+$")


def _named(row: list[str]) -> list[str]:
    return [c for c in row if c.strip() and not IS_NUMBER.fullmatch(c.strip().lower())]


@dataclass(frozen=True, slots=True)
class Match:
    """A header with a column it may be, and how surely."""

    column: str
    header: str
    strength: Strength
    is_empty: bool
    rank: int


def matches(profiles: Sequence[Profile], allowed: frozenset[str]) -> list[Match]:
    """Give every header with every column it may be, the surest first.

    Parameters
    ----------
    profiles : sequence of Profile
        The columns of the table.
    allowed : frozenset of str
        Columns that a table of this kind has.

    Returns
    -------
    list of Match
        One a header and column.
    """
    found: list[Match] = []
    for p in profiles:
        for rank, candidate in enumerate(synonyms.candidates(p.named)):
            if candidate.strength is Strength.PART:
                continue
            name = _by_table(candidate.column, allowed)
            if name == synonyms.UNITS and not _is_units_column(p.header, allowed):
                continue
            is_open = name in allowed or name in (
                synonyms.DRUG, synonyms.DOSE, synonyms.DOSE_UNIT,
            )  # fmt: skip
            if is_open and fits(Candidate(name, candidate.strength), p):
                found.append(
                    Match(name, p.header, candidate.strength, p.is_empty(), rank)
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
    pairs: list[Match], allowed: frozenset[str]
) -> tuple[dict[str, list[str]], list[tuple[str, list[str]]]]:
    """Give each column its header; and the columns that several headers fit alike.

    Parameters
    ----------
    pairs : list of Match
        Headers with the columns they may be, the surest first.
    allowed : frozenset of str
        Columns that a table of this kind has.

    Returns
    -------
    dict, list
        Headers by column, and the columns that several headers fit alike, with
        those headers.
    """
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
    pairs: list[Match], profiles: Sequence[Profile], taken: set[str]
) -> tuple[dict[str, list[str]], list[tuple[str, list[str]]]]:
    """Find the headers of each time: one of moments, or a day and a clock apart.

    Parameters
    ----------
    pairs : list of Match
        Headers with the columns they may be, the surest first.
    profiles : sequence of Profile
        The columns of the table.
    taken : set of str
        Headers that are other columns.

    Returns
    -------
    dict, list
        Headers by column, and the columns that several headers fit alike, with
        those headers.
    """
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
    return out, doubts + _join_clocks(out, pairs, classes, used)


def _join_clocks(
    out: dict[str, list[str]],
    pairs: list[Match],
    classes: dict[str, str],
    used: set[str],
) -> list[tuple[str, list[str]]]:
    """Give a day or a clock time alone the other of a weaker name; and their rivals."""
    doubts = []
    for column, chosen in out.items():
        if len(chosen) != 1 or classes[chosen[0]] not in _OTHER_HALF:
            continue
        wanted = _OTHER_HALF[classes[chosen[0]]]
        named = [m.header for m in pairs if m.column == column]
        found = [h for h in dict.fromkeys(named)
                 if classes[h] in wanted and h not in used]  # fmt: skip
        if found:
            pair = [*chosen, found[0]]
            out[column] = pair[::-1] if classes[chosen[0]] == "clock" else pair
            used.add(found[0])
        if len(found) > 1:
            doubts.append((column, found))
    return doubts


#: What a part of a time lacks.
_OTHER_HALF = {"day": ("clock",), "midnight": ("clock",), "clock": ("day", "midnight")}


def _one_time(
    headers: list[str], classes: dict[str, str]
) -> tuple[list[str], list[str]]:
    """Choose among headers of one time; gives the choice and those that compete."""
    of = {
        kind: [h for h in headers if classes[h] == kind]
        for kind in ("moment", "midnight", "day", "clock", "")
    }
    for kind in ("moment", "midnight", "day", "clock"):
        exact = [h for h in of[kind] if synonyms.normal(h) not in _VAGUE]
        of[kind] = exact or of[kind]
    if of["moment"]:
        return of["moment"][:1], of["moment"] if len(of["moment"]) > 1 else []
    # Where no moment says a time of day, a midnight is a day written out in full.
    days = of["day"] or of["midnight"]
    if days and of["clock"]:
        doubt = list(days) if len(days) > 1 else []
        doubt += of["clock"] if len(of["clock"]) > 1 else []
        return [days[0], of["clock"][0]], doubt
    if len(of["midnight"]) > 1:
        return of["midnight"][:1], of["midnight"]
    one = of["midnight"] or of["day"] or of["clock"] or of[""]
    return one[:1], []


def kind_of(
    profiles: Sequence[Profile], cells: pd.DataFrame
) -> tuple[Holds, dict[str, list[str]], list[tuple[str, list[str]]]]:
    """Tell what a row of the table is: the first kind whose columns are all there.

    A log of checks comes before all but items, and before a table of infusions where
    infusions have rows at several times. Where no kind is complete, the one that most
    headers speak for is taken, so that what it lacks can be asked for.

    Parameters
    ----------
    profiles : sequence of Profile
        The columns of the table.
    cells : DataFrame of str, shape (n, columns)
        The table itself.

    Returns
    -------
    Holds, dict, list
        The kind, headers by column, and columns that several headers fit alike.
    """
    tried = {}
    for holds in Holds:
        allowed = ALLOWED[holds]
        pairs = matches(profiles, allowed)
        columns, doubts = assign(pairs, allowed)
        taken = {h for headers in columns.values() for h in headers}
        times, more = time_columns(pairs, profiles, taken)
        tried[holds] = ({**columns, **times}, doubts + more)
    checks = tried[Holds.CHECKS][0]
    is_log = _are_several_a_run(checks, cells)
    for holds in _FIRST_FULL:
        columns = tried[holds][0]
        if holds is Holds.INFUSIONS and _is_complete(holds, columns) and is_log:
            return Holds.CHECKS, *tried[Holds.CHECKS]
        if _is_complete(holds, columns):
            return holds, *tried[holds]
        if (
            holds is Holds.CHECKS
            and _has_volume(checks)
            and (is_log or not _is_complete(Holds.INFUSIONS, tried[Holds.INFUSIONS][0]))
        ):
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


def _has_volume(columns: dict[str, list[str]]) -> bool:
    """Tell whether columns are of a check: its time and a volume."""
    return "checked_at" in columns and bool(_VOLUMES & set(columns))


_VOLUMES = frozenset(
    {"volume_remaining_ml", "volume_delivered_ml", "display_remaining_ml"}
)


def _are_several_a_run(columns: dict[str, list[str]], cells: pd.DataFrame) -> bool:
    """Tell whether infusions have rows at several times, as only a check log has.

    A table of infusions may have a row a drug, all of one time.
    """
    if not {"infusion_id", "checked_at"} <= set(columns):
        return False
    run = [h for c in ("patient_id", "infusion_id") for h in columns.get(c, ())]
    head = cells.iloc[:_LOOKED_AT]
    filled = head[(head[columns["infusion_id"]] != "").all(axis=1)]
    times = filled[[*run, *columns["checked_at"]]].drop_duplicates()
    return len(times) >= _SEVERAL * len(times[run].drop_duplicates())


#: Rows looked at, and how many times as many times as runs make a check log.
_LOOKED_AT, _SEVERAL = 20_000, 1.5


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
