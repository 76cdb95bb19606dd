"""Whether an infusion's number is its name, or means something only with its patient.

On paper charts the syringes of a patient are numbered from one, and with two drivers at
once each of them may be (common practice, no source). One slip of the pen must not name
all infusions anew: what is seen on most rows decides, not what is seen on one.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.intake.alike import told_apart
from analysis.intake.dates import read_clock
from analysis.intake.layout import OPEN, Holds
from analysis.intake.proposal import Draft, Proposal, Question, listed
from analysis.intake.scan import Ints
from analysis.intake.spelling import one_spelling
from analysis.intake.words import DITTO

#: Share of numbers under several patients from which a number is no name by itself.
SHARED = 0.3

#: Rows of a driver from which it is there, and no slip of the pen.
_FEWEST = 2

_PARTS = ("patient_id", "driver_id")


def find_names(draft: Draft) -> Draft:
    """See whether an infusion's number means something only with patient or driver.

    Parameters
    ----------
    draft : Draft
        What is known of a table so far, its order of dates too.

    Returns
    -------
    Draft
        With the columns that name an infusion, and why.
    """
    number = draft.header("infusion_id")
    of = {part: draft.header(part) for part in _PARTS}
    parts = [part for part in _PARTS if of[part]]
    if not number or not parts:
        return draft
    headers = [number, *(of[part] for part in parts)]
    found = {header: _numbered(draft, header) for header in headers}
    codes = {header: codes for header, (codes, _) in found.items()}
    names = found[number][1]
    first, *more = headers[1:]
    together = _together(codes, {h: len(known) for h, (_, known) in found.items()})
    owners = together.drop_duplicates([number, first]).groupby(number)[first].size()
    is_shared = bool(len(owners)) and (owners > 1).mean() >= SHARED
    at_once = _numbers_at_once(draft, codes, together) if more else []
    if not is_shared and not at_once:
        return draft
    if at_once:
        text = f"{number} {names[at_once[0]]} stands under two drivers at once"
        named = [first, *more]
    else:
        most = names[int(owners.sort_values(kind="stable").index[-1])]
        text = f"{number} {most} stands under {owners.max()} different {first}"
        named = [first]
    columns = {**draft.table.columns, "infusion_id": (*named, number)}
    text += f": it tells infusions apart only together with {listed(named)}"
    return draft.put(columns=columns).ask("columns.infusion_id", text, blocks=False)


def _together(codes: dict[str, Ints], counts: dict[str, int]) -> pd.DataFrame:
    """Give the numbers that stand in one row, each such row once."""
    known: tuple[Ints, int] = (np.zeros(len(next(iter(codes.values()))), np.int64), 1)
    for header, own in codes.items():  # -1 is for none
        known = told_apart(known, own + 1, counts[header] + 1)
    is_first = ~pd.Series(known[0]).duplicated().to_numpy()
    rows = pd.DataFrame({header: own[is_first] for header, own in codes.items()})
    return rows[(rows >= 0).all(axis=1)]


def _numbered(draft: Draft, header: str) -> tuple[Ints, pd.Index]:
    """Give a number for each name as it will be read, -1 for none; and the names.

    Blanks and ditto marks repeat what is above, where the table has them.
    """
    codes, different = pd.factorize(draft.raw.cells[header], use_na_sentinel=False)
    names = one_spelling(pd.Series(different, dtype="str"))
    names = names.str.removeprefix('="').str.removesuffix('"')
    repeats = (names == "") & (header in draft.table.fill_down)
    if header in draft.table.ditto:
        repeats |= names.str.casefold().isin(DITTO)
    own, known = pd.factorize(names.mask(names == ""))
    if not repeats.any():
        return own.take(codes), known
    number = pd.Series(own, dtype="float64").mask(repeats).take(codes)
    filled = number.ffill().fillna(-1)
    return filled.to_numpy().astype(np.int64), known


def _numbers_at_once(
    draft: Draft, codes: dict[str, Ints], together: pd.DataFrame
) -> list[int]:
    """Give numbers that one patient has on two drivers whose rows overlap in time.

    One driver after another is a driver that was exchanged. A table of infusions has a
    row for each, and there the share decides.
    """
    number, patient, driver = codes
    drivers = together.groupby([patient, number]).size()
    several = drivers[drivers > 1]
    if not len(several):
        return []
    if draft.table.holds is Holds.INFUSIONS:
        is_common = len(several) / len(drivers) >= SHARED
        return [several.index[0][1]] if is_common else []
    rows = pd.DataFrame(codes, index=draft.raw.cells.index)
    rows = rows[(rows >= 0).all(axis=1)]
    mine = pd.MultiIndex.from_frame(rows[[patient, number]])
    rows = rows[mine.isin(several.index)]
    rows = rows.assign(time=_times(draft, rows.index))
    rows = rows[rows["time"] != ""]
    spans = rows.groupby([patient, number, driver])["time"].agg(["min", "max", "size"])
    spans = spans[spans["size"] >= _FEWEST].reset_index()
    spans = spans.sort_values([patient, number, "min"], ignore_index=True)
    before = spans.groupby([patient, number])["max"].shift()
    at_once = before.notna() & (spans["min"] < before.fillna(""))
    return list(spans.loc[at_once, number])


def _times(draft: Draft, index: pd.Index) -> pd.Series:
    """Give the times of rows as ISO text, as far as they can be told by now."""
    table, headers = draft.table, draft.headers(("checked_at",))
    if not headers or table.date_order in ("", OPEN) or OPEN in headers:
        return pd.Series("", index=index, dtype="str")
    day, *clock = (draft.raw.cells.loc[index, h] for h in headers[:2])
    time = clock[0] if clock else None
    return read_clock(day, time, order=table.date_order, clock=table.clock or "24")[0]


#: Tables that name infusions, each in columns of its own.
_NAMING = frozenset({Holds.CHECKS, Holds.ITEMS, Holds.INFUSIONS})


def settle_names(proposals: Sequence[Proposal]) -> list[Proposal]:
    """Name infusions alike in all tables, where one tells them apart by patient too.

    Parameters
    ----------
    proposals : sequence of Proposal
        One a table, each made from its table alone.

    Returns
    -------
    list of Proposal
        The same with one way of naming; a table that lacks a column for it is asked
        about, since its infusions would be others than those of the checks.
    """
    naming = [p for p in proposals if p.table.holds in _NAMING and _parts(p)]
    used = {part for p in naming for part in _parts(p)}
    wanted = [part for part in _PARTS if part in used]
    if not wanted:
        return list(proposals)
    return [_named_by(p, wanted, naming) if p in naming else p for p in proposals]


def _parts(proposal: Proposal) -> list[str]:
    """Give the columns of which an infusion's name is made up."""
    columns = proposal.table.columns
    of = {h: part for part in _PARTS for h in columns.get(part, ())}
    return [of.get(header, "infusion_id") for header in columns.get("infusion_id", ())]


def _named_by(
    proposal: Proposal, wanted: Sequence[str], naming: Sequence[Proposal]
) -> Proposal:
    columns = proposal.table.columns
    missing = [part for part in wanted if part not in _parts(proposal)]
    if not missing:
        return proposal
    others = [p.file for p in naming if set(missing) & set(_parts(p))]
    text = f"{listed(others)} names infusions by {listed(wanted)} and their number"
    lacking = [part for part in missing if len(columns.get(part, ())) != 1]
    if lacking:
        text += (
            f", and here is no column {listed(lacking)}: the two cannot be brought "
            "together; add it, or leave this file out"
        )
    else:
        text += "; so does this"
        own = columns["infusion_id"][-1]
        named = (*(columns[part][0] for part in wanted), own)
        table = replace(proposal.table, columns={**columns, "infusion_id": named})
        proposal = replace(proposal, table=table)
    asked = Question("columns.infusion_id", text, blocks=bool(lacking))
    return replace(proposal, questions=(*proposal.questions, asked))
