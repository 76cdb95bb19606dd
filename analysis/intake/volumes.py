"""The course of a volume and the unit of a rate, confirmed by each other."""

import math
import re
from dataclasses import replace

import pandas as pd

from analysis.intake import synonyms
from analysis.intake.direction import Course, course_of
from analysis.intake.fitting import are_parts_of_one
from analysis.intake.layout import OPEN, TableLayout
from analysis.intake.profiles import Profile, profile
from analysis.intake.proposal import Draft
from analysis.intake.raw import RawTable
from analysis.intake.synonyms import Strength


def check_volumes(draft: Draft) -> Draft:
    """See whether a volume goes the way that its header says.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.

    Returns
    -------
    Draft
        With what was found.
    """
    for column in _WAYS:
        header = draft.header(column)
        if header and not is_canonical(header):
            draft = _checked_way(draft, column, header, steps_of(draft, header))
    return draft


#: Which way each volume goes, in words.
_WAYS = {
    "volume_remaining_ml": ("falls", "what is left falls"),
    "display_remaining_ml": ("falls", "what is left falls"),
    "volume_delivered_ml": ("rises", "what was given rises"),
}


#: Moves of a running total in which its rise must have shown.
_ENOUGH_TO_RISE = 3


#: Headers of a volume that do not say which: its course must tell.
_BARE = frozenset(
    {"volume", "reading", "level", "syringe volume", "vol", "current volume",
     "syringe reading", "volume in syringe"}
)  # fmt: skip


def is_canonical(header: str) -> bool:
    """Tell whether a header is the name of a column of the canonical tables.

    Parameters
    ----------
    header : str
        As it stands in the file.

    Returns
    -------
    bool
        True where it is so.
    """
    found = synonyms.candidates(header)
    return bool(found) and found[0].strength is Strength.CANONICAL


def steps_of(draft: Draft, header: str) -> Course:
    """Follow a volume from check to check of each chart.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.
    header : str
        The file's own header.

    Returns
    -------
    Course
        Without steps where times or the column are missing.
    """
    times = [draft.raw.cells[h] for h in draft.table.columns.get("checked_at", ())]
    if not times or header not in draft.raw.cells:
        return Course(0, 0, 0, float("nan"))
    names = ("ward", "patient_id", "driver_id", "infusion_id")
    charts = [_filled(draft, h) for h in draft.headers(names)]
    day = draft.day()
    times = [_filled(draft, day), *times[1:]] if day else times
    order = draft.table.date_order
    how = ("dmy" if order in ("", OPEN) else order, draft.table.clock or "24")
    return course_of(draft.raw.cells[header], times, charts, how)


def _filled(draft: Draft, header: str) -> pd.Series:
    cells = draft.raw.cells[header]
    if header not in draft.table.fill_down:
        return cells
    return cells.mask(cells == "").ffill().astype("str").fillna("")


def _checked_way(draft: Draft, column: str, header: str, course: Course) -> Draft:
    way, words_ = _WAYS[column]
    goes = {"falls": course.is_falling(), "rises": course.is_rising()}
    entry = f"columns.{column}"
    if goes[way]:
        counts = f"{course.falls} down, {course.rises} up"
        return draft.say(entry, f"{header} {way} from check to check ({counts})")
    other = next((w for w, is_so in goes.items() if is_so and w != way), "")
    is_bare = synonyms.without_unit(synonyms.normal(header)) in _BARE
    # What was given since the check before goes up and down: it is no running total.
    is_open = is_bare or (way == "rises" and course.moves() >= _ENOUGH_TO_RISE)
    if not other and not course.is_level() and not is_open:
        return draft
    does = (
        f"{other} from check to check" if other else "does not show which way it goes"
    )
    if course.is_level() and not other:
        does = "stays the same from check to check"
    text = (
        f"{header} {does}, and {words_}: name it under volume_remaining_ml, "
        "volume_delivered_ml or start_volume_ml"
    )
    columns = {k: v for k, v in draft.table.columns.items() if k != column}
    columns[column] = (OPEN,)
    return draft.put(columns=columns).ask(entry, text, blocks=True)


def battery_unit(draft: Draft) -> Draft:
    """See whether a battery is written as a part of one, as workbooks keep per cent.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.

    Returns
    -------
    Draft
        With what was found.
    """
    header = draft.header("battery_pct")
    if not header or not are_parts_of_one(draft.profiles[header]):
        return draft
    units = {**draft.table.units, "battery_pct": "parts of 1"}
    text = f"{header} has no value above 1: 1 is a full battery, 100 %"
    return draft.put(units=units).ask("units.battery_pct", text, blocks=False)


def rate_unit(draft: Draft) -> Draft:
    """Settle the unit of a rate, or leave out what is no rate in mL.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.

    Returns
    -------
    Draft
        With what was found.
    """
    column = "set_rate_ml_h"
    header = draft.header(column)
    if not header:
        return draft
    if synonyms.is_travel(draft.profiles[header].named):
        columns = {k: v for k, v in draft.table.columns.items() if k != column}
        text = (
            f"{header} is a travel in mm, not a rate in mL: it is not used, and "
            "delivery is judged by start volume and planned duration"
        )
        return draft.put(columns=columns).ask("columns", text, blocks=False)
    if draft.header(synonyms.UNITS):
        return draft  # each row says its own
    if is_canonical(header):
        return draft.put(units={**draft.table.units, column: "mL/h"})
    volumes = draft.headers(_WAYS)
    pace = steps_of(draft, volumes[0]).pace if volumes else float("nan")
    return with_unit(draft, header, draft.profiles[header], pace)


def with_unit(draft: Draft, name: str, found: Profile, pace: float) -> Draft:
    """Settle the unit of a rate: its name, its size and the pace of the volume.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.
    name : str
        Header of the rate.
    found : Profile
        Its values.
    pace : float
        Fall of the volume [mL/h]; NaN where it cannot be told.

    Returns
    -------
    Draft
        With what was found.
    """
    median = found.median()
    if math.isnan(median):
        return draft  # no rate could be read, and there is nothing to ask about
    said = _said_unit(found.named)
    if mixed := _two_units(found):
        text = (
            f"{name} holds {mixed[0]} and {mixed[1]}, as of mL/h and of mL/24 h: write "
            "the unit in each cell or in a column of units; or write mL/h or mL/24 h "
            "here if it is that of all"
        )
        draft = draft.ask(f"units.{_RATE}", text, blocks=True)
        return draft.put(units={**draft.table.units, _RATE: OPEN})
    by_pace = _unit_by(median / pace if pace > 0 else float("nan"))
    by_size = "mL/h" if median <= _LARGEST_HOURLY else ""
    found_unit = by_pace or by_size
    column = "set_rate_ml_h"
    entry = f"units.{column}"
    is_odd = said == "mL/h" and not found_unit and median > _LARGEST_POSSIBLE
    if (
        (said and found_unit and said != found_unit)
        or is_odd
        or not (said or found_unit)
    ):
        told = f"names {said}" if said else "names no unit"
        shown = f", while the volume moves by {pace:.2g} mL/h" if pace > 0 else ""
        text = (
            f"{name} {told}, and half of its values are at or below {median:g}{shown}: "
            "write mL/h or mL/24 h, or take the column out if it is neither"
        )
        draft = draft.ask(entry, text, blocks=True)
        return draft.put(units={**draft.table.units, column: OPEN})
    if not said:
        why = (
            f"the volume moves by {pace:.2g} mL/h" if by_pace else "as hourly ones are"
        )
        text = f"{name} names no unit; half of its values are at or below {median:g}, "
        draft = draft.say(entry, text + why)
    return draft.put(units={**draft.table.units, column: said or found_unit})


_RATE = "set_rate_ml_h"


def _two_units(found: Profile) -> tuple[str, str] | None:
    """Give a value of each of two units that a rate is charted in, cell by cell.

    Each is on a tenth of the cells at least, and the larger is no hourly rate.
    """
    bare = {str(c): int(n) for c, n in found.counts.items()
            if re.fullmatch(r"\d+(?:[.,]\d+)?", str(c))}  # fmt: skip
    total = sum(bare.values())
    value = {c: float(c.replace(",", ".")) for c in bare}
    small = [c for c, v in value.items() if 0 < v <= _LARGEST_HOURLY]
    large = [c for c, v in value.items() if v > _LARGEST_POSSIBLE]
    is_many = all(
        cells and sum(bare[c] for c in cells) >= _A_TENTH * total
        for cells in (small, large)
    )
    return (small[0], large[0]) if is_many else None


#: Share of cells in another unit that is a habit and no slip.
_A_TENTH = 0.1


def _said_unit(name: str) -> str:
    if synonyms.is_per_day(name):
        return "mL/24 h"
    return "mL/h" if synonyms.is_per_hour(name) else ""


def _unit_by(ratio: float) -> str:
    """Give the unit in which a rate is `ratio` times the pace of the volume."""
    if 1 / _NEAR <= ratio <= _NEAR:
        return "mL/h"
    return "mL/24 h" if 24 / _NEAR <= ratio <= 24 * _NEAR else ""


#: A rate within this factor of the pace of the volume is the same in that unit.
_NEAR = 2.0


#: Largest usual hourly rate of a syringe driver, mL/h (common practice, no source).
_LARGEST_HOURLY = 3.0


#: Largest possible one: the hard limit of the column.
_LARGEST_POSSIBLE = 10.0


def contradiction(raw: RawTable, table: TableLayout) -> str:
    """Tell that the values of a file contradict what a layout takes them for.

    Parameters
    ----------
    raw : RawTable
        The file.
    table : TableLayout
        Its layout.

    Returns
    -------
    str
        The sentence that says so: a volume left that clearly rises, one given that
        clearly falls, a volume exchanged with the rate, or a rate in the one unit that
        the volume follows in the other.
        Empty where nothing speaks against the layout.
    """
    spelled = {synonyms.normal(h): h for h in raw.cells.columns}
    own = {
        name: tuple(spelled.get(synonyms.normal(h), h) for h in headers)
        for name, headers in table.columns.items()
    }
    fill = tuple(spelled.get(synonyms.normal(h), h) for h in table.fill_down)
    draft = Draft(
        raw=raw, profiles={}, table=replace(table, columns=own, fill_down=fill)
    )
    pace = float("nan")
    for column, (way, _) in _WAYS.items():
        header = draft.header(column)
        course = steps_of(draft, header)
        goes = "rises" if way == "falls" else "falls"
        if course.is_rising() if way == "falls" else course.is_falling():
            counts = f"{course.falls} down, {course.rises} up"
            told = f"{header} is named as {column}, but {goes} from check to check "
            return f"{told}({counts})"
        pace = course.pace if header and not pace > 0 else pace
    return _exchanged(draft) or _against_unit(draft, pace)


def _exchanged(draft: Draft) -> str:
    """Tell that a rate goes as a volume does, while the volume stays as a rate does."""
    rate, volumes = draft.header("set_rate_ml_h"), draft.headers(_WAYS)
    steps = steps_of(draft, rate)
    goes = "falls" if steps.is_falling() else "rises" if steps.is_rising() else ""
    still = next((h for h in volumes if steps_of(draft, h).is_level()), "")
    if not goes or not still:
        return ""
    counts = f"{steps.falls} down, {steps.rises} up"
    return (
        f"{rate} is named as set_rate_ml_h, but {goes} from check to check ({counts}), "
        f"and {still}, named as a volume, stays the same: the two are exchanged"
    )


def _against_unit(draft: Draft, pace: float) -> str:
    said = draft.table.units.get("set_rate_ml_h", "")
    header = draft.header("set_rate_ml_h")
    if not said or header not in draft.raw.cells:
        return ""
    median = profile(header, draft.raw.cells[header]).median()
    found = _unit_by(median / pace if pace > 0 else float("nan"))
    if found in ("", said):
        return ""
    return (
        f"{header} is said to be in {said}, but half of its values are at or below "
        f"{median:g} while the volume moves by {pace:.2g} mL/h, as in {found}"
    )
