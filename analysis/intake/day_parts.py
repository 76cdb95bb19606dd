"""Days that stand apart from their rows: as headings, or in parts.

A typed-up chart has the day once, in a row of its own above the rows of that day. A
database may keep year, month, day, hour and minute in columns of their own.
"""

import re
from dataclasses import replace

import pandas as pd

from analysis.intake import synonyms, words
from analysis.intake.profiles import IS_DAY, IS_MOMENT
from analysis.intake.raw import RawTable
from analysis.lookup import each_once

DAY = "Day"

_LABEL = re.compile(r"^(?:date|day)\b\s*[:=]?\s*(?=.*\d)", re.I)
#: Rows among which the first heading stands: no row is without its day.
_AMONG = 3


def under_days(raw: RawTable) -> RawTable:
    """Give the rows below a heading that is a day a column of that day.

    Parameters
    ----------
    raw : RawTable
        A file or a sheet.

    Returns
    -------
    RawTable
        The same where no row of one cell, which is a date, stands above all others.
        Else those rows are no rows, and a column holds their days.
    """
    cells = raw.cells
    head = cells.iloc[:_AMONG]
    is_first = (head != "").sum(axis=1) == 1
    if not len(head) or not is_first.iloc[:1].any():
        return raw
    if not any(_day_of("".join(row)) for row in head[is_first].to_numpy(dtype=object)):
        return raw
    filled = cells != ""
    alone = cells[filled.sum(axis=1) == 1]
    text = alone.agg("".join, axis=1).astype("str")
    days = each_once(text, _day_of)
    days = days[days != ""]
    is_bare = filled.sum(axis=1) == 1
    if DAY in cells.columns or not (days.index[0] < cells.index[~is_bare]).all():
        return raw
    is_row = ~cells.index.isin(days.index)
    if any(
        _has_moments(cells.loc[is_row, h]) for h in cells.columns if _is_date(str(h))
    ):
        return raw
    day = pd.concat([days, _ended(text, days)]).reindex(cells.index)
    day = day.ffill().astype("str").fillna("")
    empty = [h for h in cells.columns if not filled.loc[is_row, h].any()]
    kept = cells[is_row].drop(columns=[h for h in empty if _is_date(str(h))])
    kept = kept.assign(**{DAY: day[is_row]})
    text_ = (
        f"{raw.file}: {len(days)} rows of one cell are days, such as "
        f"'{text[days.index[0]]}'; each holds for the rows below it, under {DAY}."
    )
    return replace(
        raw,
        cells=kept.reset_index(drop=True),
        lines=raw.lines[is_row].reset_index(drop=True),
        other_lines=raw.other_lines + len(days),
        notes=(*raw.notes, text_),
    )


def _ended(text: pd.Series, days: pd.Series) -> pd.Series:
    """End a day at other headings, where the first one stands above the first day.

    Then each begins a part of its own, whose days are said again.
    """
    others = text[~text.index.isin(days.index)].astype("str")
    first = others[others.index < days.index[0]]
    labels = {_label_of(c) for c in first} - {""}
    is_one = each_once(others, lambda c: _label_of(c) in labels, "bool")
    return pd.Series("", index=others.index[is_one.astype(bool)], dtype="str")


def _label_of(heading: str) -> str:
    found = _HEADED.match(heading)
    return found[1].casefold() if found else ""


_HEADED = re.compile(r"([^:=]{1,40}?)\s*[:=]")


def _day_of(cell: str) -> str:
    bare = _LABEL.sub("", cell.strip(), count=1)
    return bare if IS_DAY.fullmatch(words.key_of(bare)) else ""


def _has_moments(cells: pd.Series) -> bool:
    """Tell whether rows have their day beside their time, and need no heading."""
    head = cells[cells != ""].iloc[:_LOOKED_AT]
    is_moment = each_once(
        head.astype("str"), lambda c: bool(IS_MOMENT.fullmatch(words.key_of(c))), "bool"
    )
    return len(head) > 0 and bool(is_moment.mean() >= _MOST)


def _is_date(header: str) -> bool:
    return any(c.column == "checked_at" for c in synonyms.candidates(header))


_PARTS = {
    "year": frozenset({"year", "yr", "yyyy"}),
    "month": frozenset({"month", "mth", "mon"}),
    "day": frozenset({"day", "dom", "dd"}),
    "hour": frozenset({"hour", "hr", "hrs", "hh"}),
    "minute": frozenset({"minute", "minutes", "min", "mins"}),
}
_DATE, _TIME = "Date", "Time"


def joined_parts(raw: RawTable) -> RawTable:
    """Join year, month and day in columns of their own, and hour and minute, if any.

    Parameters
    ----------
    raw : RawTable
        A file or a sheet.

    Returns
    -------
    RawTable
        The same where the three do not stand apart, each named once and in whole
        numbers. Else with a date in their place, and a time in that of hour and minute.
    """
    of: dict[str, list[str]] = {}
    for header in map(str, raw.cells.columns):
        last = synonyms.normal(header).split()[-1:]
        for part, names in _PARTS.items():
            if names & set(last):
                of.setdefault(part, []).append(header)
    day, clock = ("year", "month", "day"), ("hour", "minute")
    wanted = day + clock if all(len(of.get(p, ())) == 1 for p in clock) else day
    if any(len(of.get(p, ())) != 1 for p in wanted):
        return raw
    named = {part: of[part][0] for part in wanted}
    new = [_DATE, _TIME][: 1 + (wanted != day)]
    cells = raw.cells
    if set(new) & set(cells.columns) or not _are_whole(cells[list(named.values())]):
        return raw
    date = _joined(cells, [named[p] for p in day], "-", (4, 2, 2))
    kept = cells.drop(columns=list(named.values())).assign(**{_DATE: date})
    if len(new) > 1:
        kept[_TIME] = _joined(cells, [named[p] for p in clock], ":", (2, 2))
    shown = ", ".join(named.values())
    told = f"{raw.file}: {shown} were read together as {' and '.join(new)}."
    return replace(raw, cells=kept, notes=(*raw.notes, told))


def _are_whole(cells: pd.DataFrame) -> bool:
    head = cells.iloc[:_LOOKED_AT]
    return all(head[h].str.fullmatch(r"\d{1,4}").mean() >= _MOST for h in head.columns)


_LOOKED_AT, _MOST = 1_000, 0.9


def _joined(
    cells: pd.DataFrame, headers: list[str], mark: str, widths: tuple[int, ...]
) -> pd.Series:
    """Join whole numbers with zeros before them; blank where any is."""
    out, *rest = (
        cells[h].str.zfill(width).mask(cells[h] == "", "")
        for h, width in zip(headers, widths, strict=True)
    )
    for part in rest:
        out = (out + mark + part).mask((out == "") | (part == ""), "")
    return out.astype("str")
