"""What holds for several rows: totals, headings, blanks and ditto marks."""

import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from analysis.intake import dates, given, synonyms, words
from analysis.intake.layout import OPEN, Holds
from analysis.intake.profiles import profile
from analysis.intake.proposal import Draft, listed
from analysis.intake.sheet import first_filled, only_rows, rows_called

_TOTAL = re.compile(
    r"(?:grand |sub-?)?totals?\b.*|.{1,40} (?:sub-?)?totals?|"
    r"all wards|(?:sum|count|average|mean|median|min|max|minimum|maximum)(?: ?[:=].*)?|"
    r"page \d+.*|end of (?:report|list|export).*|"
    r"printed .*|report (?:run|printed).*|\*+ ?end.*|no\.? of rows.*|rows: ?\d+"
)


def total_rows(draft: Draft) -> Draft:
    """Find rows that are none: their first cell says so, and they have no time.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.

    Returns
    -------
    Draft
        With what was found.
    """
    cells = draft.raw.cells
    found = first_filled(cells).unique()
    names = {k for c in found if _TOTAL.fullmatch(k := words.key_of(str(c)))}
    is_total = rows_called(cells, names, draft.table.columns.get("checked_at", ()))
    if not is_total.any():
        return draft
    said = {words.key_of(c) for c in first_filled(cells[is_total])}
    narrow = _narrowed(draft, ~is_total.to_numpy(dtype=bool))
    return narrow.put(not_rows=tuple(sorted(said))).say(
        "not_rows", "rows that begin so have no time: no rows of the log"
    )


def _narrowed(draft: Draft, is_row: npt.NDArray[np.bool_]) -> Draft:
    """Go on without the records that are no rows."""
    raw = only_rows(draft.raw, is_row)
    profiles = {
        h: profile(h, raw.cells[h], raw.units.get(h, "")) for h in draft.profiles
    }
    return replace(draft, raw=raw, profiles=profiles)


#: What may stand in a heading, or above the header, for all rows below it.
_WIDE = ("ward", "patient_id", "driver_id", "infusion_id")


def heading_rows(draft: Draft) -> Draft:
    """Find rows of one cell that name the ward or the patient of the rows below.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.

    Returns
    -------
    Draft
        With what was found.
    """
    lacking = [c for c in _WIDE if c not in draft.table.columns]
    if not lacking or draft.table.holds is Holds.INFUSIONS:
        return draft
    times = draft.table.columns.get("checked_at", ())
    found = given.headings(draft.raw.cells, times)
    parts = {i: given.label_of(str(text)) for i, text in found.items()}
    used: list[object] = []
    for column in lacking:
        rows = {i: p for i, p in parts.items() if given.is_label_of(p[0], column)}
        labels = list(dict.fromkeys(label for label, _ in rows.values()))
        if len(labels) != 1:
            continue
        used += list(rows)
        where = f"{given.HEADING} {labels[0]}"
        values = list(dict.fromkeys(value for _, value in rows.values()))
        text = (
            f"{column} is taken from {len(rows)} rows of one cell, such as "
            f"'{labels[0]}: {values[0]}'; each holds for the rows below it"
        )
        constants_ = {**draft.table.constants, column: where}
        draft = draft.put(constants=constants_).ask(
            f"constants.{column}", text, blocks=False
        )
    if not used:
        return _heading_unread(draft, list(found))
    return _narrowed(draft, ~draft.raw.cells.index.isin(used))


def _heading_unread(draft: Draft, found: list[str]) -> Draft:
    """Ask what rows of one cell say, where nothing else names ward or patient."""
    have = {*draft.table.columns, *draft.table.constants}
    lacking = [c for c in ("ward", "patient_id") if c not in have]
    told = given.labels_above(draft.raw.preamble)
    lacking = [c for c in lacking if not any(given.is_label_of(k, c) for k in told)]
    is_usual = 2 * len(found) >= len(draft.raw.cells)
    if not found or is_usual or not lacking or "infusion_id" in draft.table.columns:
        return draft
    what = " or the ".join(column.removesuffix("_id") for column in lacking)
    text = (
        f"{len(found)} rows have one cell only, such as '{found[0]}': where each names "
        f"the {what} of the rows below it, write (heading) for "
        "that under constants; two things in one such cell must be written apart, as "
        "in 'Ward: Amber' and 'Patient: K1' on rows of their own"
    )
    return draft.ask("constants", text, blocks=True)


def constants(draft: Draft) -> Draft:
    """Find what is said above the header; ask for a ward or patient said nowhere.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.

    Returns
    -------
    Draft
        With what was found.
    """
    told = given.labels_above(draft.raw.preamble)
    for column in _WIDE:
        if column in draft.table.columns or column in draft.table.constants:
            continue
        mine = {k: v for k, v in told.items() if given.is_label_of(k, column)}
        mine = {k: v for k, v in mine.items() if not _SEVERAL.search(v)}
        if len(mine) == 1:
            ((label, value),) = mine.items()
            if others := _named_anew(draft, column):
                text = (
                    f"'{label}' above the header says {value}, and a row of one cell "
                    f"below says '{others[0]}': write that as '{label}: ...' too, so "
                    "that each holds for the rows below it"
                )
                entry = f"constants.{column}"
                draft = _with_constant(draft, column, OPEN)
                draft = draft.ask(entry, text, blocks=True)
                continue
            text = f"{column} of all rows is {value}, from '{label}' above the header"
            draft = _with_constant(draft, column, f"{given.ABOVE} {label}").ask(
                f"constants.{column}", text, blocks=False
            )
    return draft


def _named_anew(draft: Draft, column: str) -> list[str]:
    """Give rows of one cell that begin with the name of a column, without a colon."""
    times = draft.table.columns.get("checked_at", ())
    found = given.headings(draft.raw.cells, times)
    return [
        text for text in map(str, found)
        if given.is_label_of(text.split(maxsplit=1)[0], column) and " " in text
    ]  # fmt: skip


#: A value above the header that names several, or none in particular.
_SEVERAL = re.compile(r"\ball\b|\band\b|[,;=&]|\bvarious\b", re.I)


def _with_constant(draft: Draft, column: str, where: str) -> Draft:
    return draft.put(constants={**draft.table.constants, column: where})


def line_dates(draft: Draft) -> Draft:
    """Leave out dates of a line or site that lie after the check: dates due.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.

    Returns
    -------
    Draft
        With what was found.
    """
    how = (draft.table.date_order or "ymd", draft.table.clock or "24")
    times = draft.table.columns.get("checked_at", ())
    if draft.table.holds is not Holds.CHECKS or not times or how[0] == OPEN:
        return draft
    named = {c: h for c in synonyms.CHANGE_DATES if (h := draft.header(c))}
    if not named:
        return draft
    head = draft.raw.cells.iloc[:_LOOKED_AT]
    day, _ = dates.read_clock(head[times[0]], None, order=how[0], clock=how[1])
    for column, header in named.items():
        since, _ = dates.read_clock(head[header], None, order=how[0], clock=how[1])
        both = (day != "") & (since != "")
        after = int((since.str[:10] > day.str[:10])[both].sum())
        if after > _MOST_AFTER * both.sum():
            columns = {k: v for k, v in draft.table.columns.items() if k != column}
            text = f"{header} lies after the check on {after} of {both.sum()} rows, as "
            text += "a date due does: it is not used"
            draft = draft.put(columns=columns).ask(column, text, blocks=False)
    return draft


#: Rows looked at, and the share of dates after their check that slips of the pen make.
_LOOKED_AT, _MOST_AFTER = 20_000, 0.05


def blanks(draft: Draft) -> Draft:
    """Find columns whose blanks may repeat the value above.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.

    Returns
    -------
    Draft
        With what was found.
    """
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
    if not is_grouped or (run and run not in sparse and _gives(draft, run, sparse)):
        # Where every row names its infusion, the infusion gives ward and patient.
        sparse = [h for h in sparse if named[h] == "checked_at"]
    if not sparse:
        return draft
    filled = ", ".join(
        f"{h} on {draft.profiles[h].rows - draft.profiles[h].blank}" for h in sparse
    )
    text = (
        f"many cells under {listed(sparse)} are blank (filled: {filled} of "
        f"{len(cells)} rows): leave fill_down as it is where a blank repeats the value "
        "above it, within the columns to its left; take a header out of it where a "
        "blank means not recorded"
    )
    return draft.put(fill_down=tuple(sparse)).ask("fill_down", text, blocks=True)


def _gives(draft: Draft, run: str, sparse: Sequence[str]) -> bool:
    """Tell whether a row of each infusion has what others of it leave blank."""
    cells = draft.raw.cells
    for header in (h for h in sparse if h != draft.day()):
        told = set(cells.loc[cells[header] != "", run].unique())
        if cells[run].isin(told).mean() < _MOST_TOLD:
            return False
    return True


#: Share of rows whose infusion names ward and patient on one row at least.
_MOST_TOLD = 0.9

#: In fewer rows than these a blank is a blank: no habit of writing shows in them.
_FEWEST_FOR_GROUPS = 5


def _is_sparse(draft: Draft, header: str) -> bool:
    found = draft.profiles[header]
    if found.rows < _FEWEST_FOR_GROUPS:
        return False
    begins = draft.raw.cells[header].iloc[0] != ""
    # A ditto mark is no blank: it says itself that it repeats.
    blank = found.blank - found.dittos
    return begins and blank > 0.3 * found.rows and not found.is_empty()


def dittos(draft: Draft) -> Draft:
    """Find the columns that have ditto marks.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far.

    Returns
    -------
    Draft
        With what was found.
    """
    counts = {h: p.dittos for h, p in draft.profiles.items()}
    marked = tuple(h for h, count in counts.items() if count)
    if not marked:
        return draft
    text = ", ".join(f"{counts[h]} ditto marks under {h}" for h in marked)
    return draft.put(ditto=marked).ask(
        "ditto", f"{text}: each repeats the value above it in its chart", blocks=False
    )
