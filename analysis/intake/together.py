"""What the tables of one export say of each other."""

import re
from collections.abc import Sequence
from dataclasses import replace

import pandas as pd

from analysis.intake import synonyms
from analysis.intake.infusion_names import settle_names
from analysis.intake.layout import OPEN, Holds
from analysis.intake.profiles import IS_NUMBER, is_written_time
from analysis.intake.proposal import Proposal, Question, listed
from analysis.intake.raw import RawTable
from analysis.intake.synonyms import Strength


def settle_together(
    raws: Sequence[RawTable], proposals: Sequence[Proposal]
) -> list[Proposal]:
    """Settle what one table leaves open and another tells, and ask for the rest.

    Parameters
    ----------
    raws : sequence of RawTable
        All files and sheets.
    proposals : sequence of Proposal
        One a table, each made from its table alone.

    Returns
    -------
    list of Proposal
        The same, with what the others tell; what one says of another's codes is asked.
    """
    found = _with_orders(proposals)
    placed = _placed(found)
    found = [_with_missing(raw, p, placed) for raw, p in zip(raws, found, strict=True)]
    found = [
        _with_digits(raw, p, raws, found) for raw, p in zip(raws, found, strict=True)
    ]
    return _without_notes(raws, settle_names(found))


#: Fewer columns that can be recognised than this do not make a table of a log.
_FEWEST = 3


def _without_notes(
    raws: Sequence[RawTable], proposals: Sequence[Proposal]
) -> list[Proposal]:
    """Put sheets aside that are plainly no table, where others of the book are one."""
    lacks = [any(q.entry == "columns" for q in p.questions) for p in proposals]
    whole = {_book(p) for p, is_so in zip(proposals, lacks, strict=True) if not is_so}
    return [
        replace(
            p,
            is_beside=raw.is_sheet
            and is_lacking
            and _book(p) in whole
            and len(p.table.columns) + _named_in_part(p) < _FEWEST,
        )
        for raw, p, is_lacking in zip(raws, proposals, lacks, strict=True)
    ]


def _named_in_part(proposal: Proposal) -> int:
    """Count headers that hold the name of a column among words of other things."""
    found = [synonyms.candidates(header) for header in proposal.unused]
    return sum(bool(c) and c[0].strength is Strength.PART for c in found)


def _placed(proposals: Sequence[Proposal]) -> frozenset[str]:
    """Give what an infusions table among the files says of each infusion's rows."""
    tables = [p.table for p in proposals if p.table.holds is Holds.INFUSIONS]
    wide = ("ward", "patient_id")
    return frozenset(c for c in wide if any(c in t.columns for t in tables))


def _with_orders(proposals: Sequence[Proposal]) -> list[Proposal]:
    """Let the sheets of one workbook, which is one file, decide the order together."""
    orders: dict[str, set[str]] = {}
    for p in proposals:
        if p.table.date_order in ("dmy", "mdy"):
            orders.setdefault(_book(p), set()).add(p.table.date_order)
    out = []
    for p in proposals:
        known = orders.get(_book(p), set())
        if p.table.date_order != OPEN or len(known) != 1:
            out.append(p)
            continue
        order = next(iter(known))
        rest = tuple(q for q in p.questions if q.entry != "date_order")
        text = f"dates are read {order}, as another sheet of the workbook shows"
        told = Question("date_order", text, blocks=False)
        out.append(
            replace(
                p, table=replace(p.table, date_order=order), questions=(*rest, told)
            )
        )
    return out


def _book(proposal: Proposal) -> str:
    return proposal.file.partition("!")[0]


_VOLUMES = {"volume_remaining_ml", "volume_delivered_ml", "display_remaining_ml"}


def _with_missing(
    raw: RawTable, proposal: Proposal, placed: frozenset[str]
) -> Proposal:
    """Ask for the columns without which no row of the table can be placed."""
    table = proposal.table
    have = {*table.columns, *table.items, *table.constants}
    if "infusion_id" in have:
        have |= placed
    missing = [name for name in _NEEDED[table.holds] if name not in have]
    can_be_said = [n for n in missing if n in ("ward", "patient_id")]
    if table.holds in (Holds.CHECKS, Holds.ITEMS) and not _VOLUMES & have:
        missing.append("volume_remaining_ml or volume_delivered_ml")
    if not missing:
        return proposal
    shown = ", ".join(list(raw.cells.columns)[:12])
    if not have:
        text = f"none of its columns is one of a check log; found {shown}; rename the "
        text += "headers as `steadyfall dictionary` shows"
    else:
        text = f"looks like a {table.holds} table but has no column "
        text += f"{', '.join(missing)}; found {shown}; "
        text += _hours_across(raw) or (
            f"add the column, rename its header, or name it in a layout"
            f"{_nearly(raw, missing)}"
        )
        text += _where_else(raw, can_be_said)
        text += (
            "; if the sheet is none of the log, name it under skip_sheets in a layout"
            if raw.is_sheet
            else ""
        )
        constants = {**table.constants, **dict.fromkeys(can_be_said, OPEN)}
        open_ = {c: (OPEN,) for c in missing if _is_near(raw, c)}
        table = replace(table, constants=constants, columns={**table.columns, **open_})
    asked = Question("columns", text, blocks=True)
    return replace(proposal, table=table, questions=(*proposal.questions, asked))


#: Rows among which an example is looked for.
_LOOKED_AT = 1000


_HOURS = re.compile(r"\+?\d{1,2}\s?(?:h|hrs?|hours?)", re.I)
_SEVERAL = 3


def _hours_across(raw: RawTable) -> str:
    """Say of columns of hours after a start that they give no time of a check."""
    found = [h for h in raw.cells.columns if _HOURS.fullmatch(str(h))]
    if len(found) < _SEVERAL:
        return ""
    return (
        f"{found[0]} to {found[-1]} are hours after a start, and nothing says when a "
        "check was made: export the times, or write the clock times in the header, "
        "08:00 and so on, with the date of each row beside them"
    )


def _nearly(raw: RawTable, missing: Sequence[str]) -> str:
    """Say which headers name a missing column, but hold something else."""
    told = ""
    wanted = {name for part in missing for name in part.split(" or ")}
    for header in raw.cells.columns:
        named = {c.column for c in synonyms.candidates(header)} & wanted
        cells = raw.cells[header].iloc[:_LOOKED_AT]
        usual = IS_NUMBER.fullmatch if named & _VOLUMES else is_written_time
        example = next((c for c in cells if c and not usual(c.lower())), "")
        if named and example:
            told += (
                f"; {header} may be {sorted(named)[0]} by its name, but holds values "
            )
            told += f"such as {example}, which are none"
    return told


def _is_near(raw: RawTable, column: str) -> bool:
    """Tell whether one column is missing whose name stands over values of no such."""
    return column == "checked_at" and _nearly(raw, [column]) != ""


def _where_else(raw: RawTable, names: Sequence[str]) -> str:
    """Say how a layout gives what holds for a whole file or sheet."""
    if not names:
        return ""
    text = f"; where {listed(list(names))} is the same for all rows, write it under "
    text += "constants: (file) is the name of the file"
    return text + (", (sheet) that of the sheet" if "!" in raw.file else "")


_NEEDED = {
    Holds.CHECKS: ("ward", "patient_id", "checked_at"),
    Holds.ITEMS: ("ward", "patient_id", "checked_at"),
    Holds.INFUSIONS: ("infusion_id",),
    Holds.LINES: ("patient_id",),
    Holds.LINE_CHANGES: ("patient_id",),
}


#: Columns of numbers that a spreadsheet takes the leading zeros of.
_NUMBERED = {
    "patient_id": "patient", "infusion_id": "infusion", "driver_id": "driver",
}  # fmt: skip


def _codes(raw: RawTable, proposal: Proposal, column: str) -> pd.Series:
    """Give the codes in a column; of a name of several, its own number comes last."""
    headers = proposal.table.columns.get(column, ())
    if not headers:
        return pd.Series([], dtype="str")
    codes = pd.Series(raw.cells[headers[-1]].unique(), dtype="str")
    return codes[codes != ""]


def _with_digits(
    raw: RawTable,
    proposal: Proposal,
    raws: Sequence[RawTable],
    proposals: Sequence[Proposal],
) -> Proposal:
    """Ask where another table writes the same numbers with leading zeros."""
    for column in _NUMBERED:
        if column in proposal.table.digits:
            continue
        text = _lost_in(raw, proposal, (raws, proposals), column)
        if text:
            question = Question(f"digits.{column}", text, blocks=True)
            digits = {**proposal.table.digits, column: OPEN}
            proposal = replace(
                proposal,
                table=replace(proposal.table, digits=digits),
                questions=(*proposal.questions, question),
            )
    return proposal


def _lost_in(
    raw: RawTable,
    proposal: Proposal,
    others: tuple[Sequence[RawTable], Sequence[Proposal]],
    column: str,
) -> str:
    """Say which numbers of a table stand in another with zeros; empty for none."""
    if len(others[0]) < 2:
        return ""
    mine = _codes(raw, proposal, column)
    if mine.empty or not mine.str.fullmatch("[1-9][0-9]*").all():
        return ""
    for other, its in zip(*others, strict=True):
        theirs = _codes(other, its, column)
        theirs = theirs[theirs.str.isdigit()]
        widths = theirs.str.len().unique()
        padded = set(theirs[theirs.str.startswith("0")])
        if other is raw or not padded or len(widths) != 1:
            continue
        width = int(widths[0])
        both = sorted(set(mine.str.zfill(width)) & padded)
        if both:
            what = _NUMBERED[column]
            return (
                f"{both[0].lstrip('0')} here and {both[0]} in {other.file} "
                f"({len(both)} such numbers) may be one {what}: write {width} if "
                f"zeros were lost, 0 if these are different {what}s"
            )
    return ""
