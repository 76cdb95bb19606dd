"""Suspected entry errors: which explanation fits which charted value.

Nothing is corrected: a finding quotes what was charted and says which explanation fits.
"""

import pandas as pd

from analysis.delivery import Delivery
from analysis.intake import Log
from analysis.policy import Policy
from analysis.quality.course import Courses
from analysis.quality.explanations import Context, explain
from analysis.quality.rows import DELIVERED, RATE, REMAINING, Rows
from analysis.quality.suspects import (
    Gatherer,
    copied_readings,
    impossible_numbers,
)
from analysis.quality.throughout import (
    COLUMNS,
    nominal_sizes,
    rates_per_day,
    swapped_throughout,
)
from analysis.quality.times import doubtful_times, times_off
from analysis.terms import EntryError, FindingGroup, FindingKind

#: What may be said beside a delivery finding that rests on one reading, the last. A
#: volume of 0 may be an emptied syringe; an hour, a whole mL or another patient's
#: driver fits too easily where nothing after it speaks for a slip.
_BESIDE_EVENT = frozenset(
    {
        EntryError.COPIED_ROW,
        EntryError.COPIED_READING,
        EntryError.SWAPPED_RATE,
        EntryError.SWAPPED_VOLUMES,
        EntryError.DECIMAL_SLIP,
        EntryError.TRANSPOSED_DIGITS,
        EntryError.OTHER_OF_PATIENT,
    }
)
_COPIED = frozenset({EntryError.COPIED_ROW, EntryError.COPIED_READING})
#: A number that cannot be says nothing of the line around it but by these.
_OF_IMPOSSIBLE = frozenset(
    {
        EntryError.MISSING_CODE,
        EntryError.SWAPPED_RATE,
        EntryError.DECIMAL_SLIP,
        EntryError.TRANSPOSED_DIGITS,
    }
)
_ANY = frozenset(EntryError)


def entry_errors(
    log: Log, policy: Policy, delivery: Delivery, findings: pd.DataFrame
) -> pd.DataFrame:
    """Find the explanation that fits each suspect value.

    Parameters
    ----------
    log : Log
        Canonical tables.
    policy : Policy
        The limits in force.
    delivery : Delivery
        Lines, and which readings are doubtful.
    findings : DataFrame
        Findings of the stages before: some tell which rows to look at.

    Returns
    -------
    DataFrame
        row, column, name (EntryError), said: one row an explanation, at most two a
        value, in order.
    """
    lines = delivery.lines
    impossible = impossible_numbers(log)
    sources = _sources(findings)
    copied = copied_readings(lines)
    doubtful = doubtful_times(log, sources[FindingKind.ROW_AFTER_END])
    has_doubtful_time = lines.index.to_series().isin(doubtful.index)
    courses = Courses(lines, log.infusions["started_at"], copied | has_doubtful_time)
    late = times_off(log, courses, doubtful)
    context = Context(courses, log.infusions, policy)
    steps = delivery.noise.groupby("ward")["reading_step_ml"].min()
    gather = Gatherer(log, courses, impossible, steps)
    of_volume = impossible[impossible["column"] != RATE]
    asked = [
        (_charted(lines[lines["is_doubtful"]]), _ANY),
        (_charted(lines[copied & ~lines["is_doubtful"]]), _COPIED),
        (_charted(_resting_on_one(log, lines, findings)), _BESIDE_EVENT),
        (_disagreeing(log, courses, sources[FindingKind.VOLUMES_DISAGREE]), _ANY),
        (_places(of_volume["column"]), _OF_IMPOSSIBLE),
    ]
    has_other_time = set(late["row"])
    found = [
        (row, column, name, said)
        for places, allowed in asked
        for row, column in places
        if row not in has_other_time
        and (suspect := gather.suspect(row, column)) is not None
        for name, said in explain(suspect, context, allowed)
    ]
    parts = [
        late,
        pd.DataFrame(found, columns=COLUMNS),
        rates_per_day(log, lines, impossible),
        nominal_sizes(log, lines),
        swapped_throughout(lines),
    ]
    known = pd.concat([p for p in parts if len(p)] or parts[:1], ignore_index=True)
    return known.drop_duplicates(["row", "column", "name"], ignore_index=True)


def _charted(lines: pd.DataFrame) -> list[tuple[int, str]]:
    """Name row and column of readings."""
    is_remaining = lines["source"] == "remaining"
    return _places(is_remaining.map({True: REMAINING, False: DELIVERED}))


def _places(columns: pd.Series) -> list[tuple[int, str]]:
    """Give row and column of a Series of columns by row."""
    return list(zip(columns.index.tolist(), columns.tolist(), strict=True))


def _sources(findings: pd.DataFrame) -> dict[FindingKind, frozenset[str]]:
    return {
        kind: frozenset(findings.loc[findings["kind"] == kind, "first_source"])
        for kind in FindingKind
    }


def _disagreeing(
    log: Log, courses: Courses, sources: frozenset[str]
) -> list[tuple[int, str]]:
    """Name the column that is off the line in rows whose two volumes disagree."""
    places = []
    rows = Rows(log.checks)
    for row in log.checks.index[log.checks["source"].isin(sources)].tolist():
        cells = rows.cells(row)
        level = courses.level(cells["infusion_id"], cells["checked_at"], without=row)
        if level is not None:
            is_off = not level.fits(cells[REMAINING])
            places.append((row, REMAINING if is_off else DELIVERED))
    return places


def _resting_on_one(
    log: Log, lines: pd.DataFrame, findings: pd.DataFrame
) -> pd.DataFrame:
    """Give the last readings that a delivery finding rests on."""
    alone = findings["first_source"] == findings["last_source"]
    alone &= findings["group"] == FindingGroup.DELIVERY
    source = log.checks.loc[lines.index, "source"]
    found: pd.DataFrame = lines[source.isin(findings.loc[alone, "first_source"])]
    return found
