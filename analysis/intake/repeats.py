"""Headers told apart that a file repeats: by the group above them, or by number."""

import re
from collections import Counter
from collections.abc import Sequence

from analysis.intake import synonyms, words
from analysis.intake.profiles import IS_DAY, IS_TIME_OF_DAY

#: What is no name of a group: a date or a number, or a label with what it is.
_IS_SAID = re.compile(r".*\d{2}.*|[^:]+:\s*[^:\s].*")


def is_group_row(above: Sequence[str]) -> bool:
    """Tell whether the record above a header names groups of its columns.

    Parameters
    ----------
    above : sequence of str
        Its cells; empty where there is none.

    Returns
    -------
    bool
        True for two or more short names without dates or numbers.
    """
    filled = [cell for cell in above if cell]
    plain = [c for c in filled if len(c) <= 40 and not _IS_SAID.match(c)]
    return len(filled) >= 2 and len(plain) == len(filled)


def tell_apart(cells: Sequence[str], above: Sequence[str] = ()) -> list[str]:
    """Give every column a name of its own, where that is certain.

    Parameters
    ----------
    cells : sequence of str
        Names in the header; empty where a column has none.
    above : sequence of str
        Cells of the record above it, which may name groups of columns: a cell there
        holds until the next.

    Returns
    -------
    list of str
        A name that is blank is taken from above. One that stands twice takes its group
        before it; a whole run of names that comes again is numbered, ``Drug (2)``. What
        cannot be told apart so still stands twice.

    Examples
    --------
    >>> tell_apart(["Ward", "Drug", "Dose", "Drug", "Dose"])
    ['Ward', 'Drug', 'Dose', 'Drug (2)', 'Dose (2)']
    >>> tell_apart(["", "checked", "checked"], ["Ward", "Site", "Solution"])
    ['Ward', 'Site checked', 'Solution checked']
    >>> tell_apart(["Ward", "Drug", "Drug"])
    ['Ward', 'Drug', 'Drug']
    """
    names = list(cells)
    if are_days_above(above, names):
        return _with_days(names, above)
    if is_group_row(above):
        names = _with_groups(names, [*above, *[""] * (len(names) - len(above))])
    return _numbered(names)


def are_days_above(above: Sequence[str], below: Sequence[str]) -> bool:
    """Tell whether clock times stand in a record, and their days in the one above.

    Parameters
    ----------
    above, below : sequence of str
        Cells of the two records.

    Returns
    -------
    bool
        True where all cells from the first day on are days above, clock times below.
    """
    days = [i for i, cell in enumerate(above) if IS_DAY.fullmatch(words.key_of(cell))]
    if not days:
        return False
    over = [cell for cell in above[days[0] :] if cell]
    times = [cell for cell in below[days[0] :] if cell]
    return (
        len(over) == len(days)
        and len(times) > 1
        and all(IS_TIME_OF_DAY.fullmatch(words.key_of(cell)) for cell in times)
    )


def _with_days(names: list[str], above: Sequence[str]) -> list[str]:
    """Give each clock time its day, which holds until the next; others their name."""
    out, day = [], ""
    for i, name in enumerate(names):
        over = above[i] if i < len(above) else ""
        day = over if IS_DAY.fullmatch(words.key_of(over)) else day
        out.append(f"{day} {name}" if day and name else name or over)
    return out


def _with_groups(names: list[str], above: Sequence[str]) -> list[str]:
    counts = Counter(name for name in names if name)
    out, group = [], ""
    for name, over in zip(names, above, strict=False):
        group = over or group
        whole = f"{group} {name}".strip()
        is_vague = bool(group) and not synonyms.candidates(name)
        is_other = bool(group) and _exactly(whole) - _exactly(name) != set()
        if not name:
            out.append(over)
        elif counts[name] > 1 or is_other or (is_vague and synonyms.candidates(whole)):
            out.append(whole)
        else:
            out.append(name)
    return out


def _exactly(header: str) -> set[str]:
    """Give the columns that a header names with all of its words."""
    found = synonyms.candidates(header)
    return {c.column for c in found if c.strength >= synonyms.Strength.SYNONYM}


def _numbered(names: list[str]) -> list[str]:
    """Give numbers to a run of two or more names that comes again, end to end."""
    for length, start in _distances(names):
        run = names[start : start + length]
        end = start + length
        while names[end : end + length] == run:
            end += length
        times = (end - start) // length
        if times > 1 and all(run) and len(set(run)) == length:
            return _with_numbers(names, start, length, times)
    return names


def _distances(names: list[str]) -> list[tuple[int, int]]:
    """Give how far on each name comes again, and where it stands; the nearest first.

    No name stands twice in a run, so where one comes again the next run begins.
    """
    found: list[tuple[int, int]] = []
    last: dict[str, int] = {}
    for at, name in enumerate(names):
        if name in last and at - last[name] > 1:
            found.append((at - last[name], last[name]))
        last[name] = at
    return sorted(found)


def _with_numbers(names: list[str], start: int, length: int, times: int) -> list[str]:
    end = start + length * times
    outside = {*names[:start], *names[end:]}
    # A name that stands elsewhere too keeps it there: the run is numbered from 1.
    first = 1 if outside & set(names[start : start + length]) else 2
    out = list(names)
    for i in range(start, end):
        n = (i - start) // length + 1
        out[i] = f"{names[i]} ({n})" if n >= first else names[i]
    return out
