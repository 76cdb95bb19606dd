"""Headers told apart that a file repeats: by the group above them, or by number."""

import re
from collections import Counter
from collections.abc import Sequence

from analysis.intake import synonyms

_HAS_DIGITS = re.compile(r".*\d{2}.*")


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
    plain = [c for c in filled if len(c) <= 40 and not _HAS_DIGITS.match(c)]
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
    if is_group_row(above):
        names = _with_groups(names, [*above, *[""] * (len(names) - len(above))])
    return _numbered(names)


def _with_groups(names: list[str], above: Sequence[str]) -> list[str]:
    counts = Counter(name for name in names if name)
    out, group = [], ""
    for name, over in zip(names, above, strict=False):
        group = over or group
        whole = f"{group} {name}".strip()
        is_vague = bool(group) and not synonyms.candidates(name)
        if not name:
            out.append(over)
        elif counts[name] > 1 or (is_vague and synonyms.candidates(whole)):
            out.append(whole)
        else:
            out.append(name)
    return out


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
