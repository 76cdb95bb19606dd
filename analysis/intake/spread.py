"""Checks or drivers side by side in one row, as charts are typed up, to a row each."""

import re
from collections import defaultdict
from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.intake import synonyms, words
from analysis.intake.across import minutes_of_day
from analysis.intake.clocks import NEXT_DAY
from analysis.intake.profiles import IS_TIME_OF_DAY
from analysis.intake.raw import RawTable

#: ``Driver B rate``: drivers are told apart by letters too.
_LETTERED = re.compile(r"(?P<before>.*?)\(?\b(?P<number>[A-D])\b\)?(?P<after>.*)")

#: ``Check 2 time``, ``Time (2)``; a year or a length is no number of a check.
_NUMBERED = re.compile(r"(?P<before>.*?)\(?\b(?P<number>[1-9]\d?)\b\)?(?P<after>.*)")

_VOLUMES = {"volume_remaining_ml", "volume_delivered_ml", "display_remaining_ml"}

#: Headers of one column of the checks, by the number of the check.
Stem = dict[int, str]


def unspread(raw: RawTable) -> RawTable:
    """Give every check of a row a row of its own, where headers number the checks.

    That is so where headers differ by a number from 1 on, and what they number is a
    time and a volume among others; or a driver and its volume, which letters may tell
    apart too. Drugs or lines that are numbered stay as they are.

    Parameters
    ----------
    raw : RawTable
        A file or a sheet.

    Returns
    -------
    RawTable
        The same where checks do not stand side by side. Otherwise with the headers
        without their numbers; a row a check, all of one record on its line, and what
        holds for the whole record repeated. A check without any cell is no row, unless
        the record has no other.
    """
    headers = [str(h) for h in raw.cells.columns]
    stems, what = _checks_of(headers), "checks"
    if not stems:
        stems, what = _drivers_of(headers), "drivers"
    if not stems:
        return raw
    numbers = sorted({n for stem in stems.values() for n in stem})
    spread = {header for stem in stems.values() for header in stem.values()}
    common = [h for h in headers if h not in spread]
    parts = []
    for number in numbers:
        part = raw.cells[common].copy()
        for name, stem in stems.items():
            part[name] = raw.cells[stem[number]] if number in stem else ""
        parts.append(part)
    after, told = _past_midnight(raw, stems, parts)
    every = pd.concat(after, ignore_index=True)
    filled = (every[list(stems)] != "").any(axis=1).to_numpy(copy=True)
    filled[: len(raw.cells)] |= ~filled.reshape(len(numbers), -1).any(axis=0)
    order = np.arange(len(every)).reshape(len(numbers), -1).T.ravel()
    kept = order[filled[order]]
    first, last = (_header_of(stems, n) for n in (numbers[0], numbers[-1]))
    return replace(
        raw,
        cells=every.take(kept).reset_index(drop=True),
        lines=raw.lines.take(kept % len(raw.cells)).reset_index(drop=True),
        units=_units(raw, stems),
        notes=(
            *raw.notes,
            f"{raw.file}: has up to {len(numbers)} {what} side by side in a row "
            f"('{first}' to '{last}'); each was read as a row of its own on the same "
            f"line, and {len(every) - len(kept)} without any cell as none.{told}",
        ),
    )


def _past_midnight(
    raw: RawTable, stems: dict[str, Stem], parts: list[pd.DataFrame]
) -> tuple[list[pd.DataFrame], str]:
    """Say of clock times that run back within a row that they are of the next day.

    Checks stand in their order, and where the day is given once for all of a row it is
    that of the first.
    """
    times = [n for n in stems if "checked_at" in synonyms.named(n)]
    if len(times) != 1 or not len(raw.cells):
        return parts, ""
    cells = np.column_stack([part[times[0]].to_numpy(dtype=object) for part in parts])
    different = pd.Series(pd.unique(cells.ravel()), dtype="str")
    minutes = dict(zip(different, map(_minutes_of, different), strict=True))
    now = np.vectorize(minutes.__getitem__, otypes=[float])(cells)
    if not np.isfinite(now).any() or np.isinf(now).any():
        return parts, ""
    latest = np.fmax.accumulate(now, axis=1)
    is_after = np.logical_or.accumulate(now < latest, axis=1) & np.isfinite(now)
    if not is_after.any():
        return parts, ""
    said = np.where(is_after, cells + f" {NEXT_DAY}", cells)
    out = [part.assign(**{times[0]: said[:, i]}) for i, part in enumerate(parts)]
    example = cells[is_after][0]
    return out, (
        f" {int(is_after.sum())} clock times, such as {example}, stand behind a later "
        "one of their row: they are of the day after the date of the row."
    )


def _minutes_of(cell: str) -> float:
    """Give minutes past midnight; NaN for a blank, infinite for no time of day."""
    if not cell:
        return float("nan")
    is_time = IS_TIME_OF_DAY.fullmatch(words.key_of(cell))
    return minutes_of_day(cell) if is_time else float("inf")


def _checks_of(headers: list[str]) -> dict[str, Stem]:
    """Give the numbered columns of the checks by their name without the number."""
    found = _numbered(headers, _NUMBERED)
    stems = {_name(before, after): stem for (before, after), stem in found.items()}
    # A run of headers that comes again has no number the first time.
    for name, stem in stems.items():
        if 1 not in stem and name in headers:
            stem[1] = name
    timed = [
        n for n in stems if _is_run(stems[n]) and "checked_at" in synonyms.named(n)
    ]
    longest = max((len(stems[n]) for n in timed), default=0)
    of_checks = {n: s for n, s in stems.items() if max(s) <= longest}
    taken = {h for s in of_checks.values() for h in s.values()}
    is_free = not set(of_checks) & (set(headers) - taken)
    has_volume = any(
        _is_run(s) and synonyms.named(n) & _VOLUMES for n, s in of_checks.items()
    )
    return of_checks if timed and has_volume and is_free else {}


def _numbered(headers: list[str], form: re.Pattern[str]) -> dict[tuple[str, str], Stem]:
    """Give headers by what stands before and behind their number or letter."""
    found: dict[tuple[str, str], Stem] = defaultdict(dict)
    for header in headers:
        if match := form.fullmatch(header):
            said = match["number"]
            number = int(said) if said.isdigit() else "ABCD".index(said) + 1
            found[match["before"], match["after"]][number] = header
    return found


def _drivers_of(headers: list[str]) -> dict[str, Stem]:
    """Give the columns of drivers side by side by their name without the number.

    Each driver has its own number (or infusion) there, and a volume of the same kind of
    name: ``Driver A no`` and ``Driver A left``, or ``Pump 1`` and ``Left 1``.
    """
    for form in (_NUMBERED, _LETTERED):
        runs = {k: s for k, s in _numbered(headers, form).items() if _is_run(s)}
        for (before, after), stem in runs.items():
            if not synonyms.named(_name(before, after)) & _IDS:
                continue
            alike = {k: s for k, s in runs.items() if set(s) == set(stem)}
            ends = {k: s for k, s in alike.items() if k[1].strip() == after.strip()}
            for of in ({k: s for k, s in alike.items() if k[0] == before}, ends):
                stems = {_name(*k): s for k, s in of.items() if not _is_drug(*k)}
                taken = {h for s in stems.values() for h in s.values()}
                is_free = not set(stems) & (set(headers) - taken)
                if is_free and any(synonyms.named(name) & _VOLUMES for name in stems):
                    return stems
    return {}


_IDS = {"driver_id", "infusion_id"}


def _is_drug(before: str, after: str) -> bool:
    """Tell whether numbers tell drugs apart, which stand together in one syringe."""
    return bool(synonyms.named(_name(before, after)) & _OF_DRUGS)


_OF_DRUGS = {synonyms.DRUG, synonyms.DOSE, synonyms.DOSE_UNIT}


def counted_with(header: str, headers: list[str]) -> list[str]:
    """Give the headers that differ from one by a number or a letter alone.

    Parameters
    ----------
    header : str
        A header that names a volume.
    headers : list of str
        Others of its table.

    Returns
    -------
    list of str
        Empty where it stands alone.

    Examples
    --------
    >>> counted_with("Driver A left", ["Driver B left", "Driver A rate"])
    ['Driver B left']
    """
    for form in (_NUMBERED, _LETTERED):
        for stem in _numbered([header, *headers], form).values():
            if header in stem.values() and len(stem) > 1:
                return [h for h in stem.values() if h != header]
    return []


def _is_run(stem: Stem) -> bool:
    """Tell whether a column is there for every check from the first on."""
    return len(stem) > 1 and set(stem) == set(range(1, len(stem) + 1))


def _name(before: str, after: str) -> str:
    return " ".join(f"{before} {after}".split())


def _header_of(stems: dict[str, Stem], number: int) -> str:
    return next(stem[number] for stem in stems.values() if number in stem)


def _units(raw: RawTable, stems: dict[str, Stem]) -> dict[str, str]:
    """Give the row of units for the new headers, from each column's first check."""
    firsts = {n: stem[min(stem)] for n, stem in stems.items()}
    own = {n: raw.units[h] for n, h in firsts.items() if h in raw.units}
    spread = {header for stem in stems.values() for header in stem.values()}
    return {h: u for h, u in raw.units.items() if h not in spread} | own
