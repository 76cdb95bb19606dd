"""Headers of exports to columns: general trade words, never positions.

A header is compared after `normal`; what it may mean is a list of candidates, which the
values of the column confirm or rule out (`recognise`). The names are data of their own:
`names_of_infusions`, `names_of_checks`, `names_of_lines`, `names_of_rows`.
"""

import re
import unicodedata
from dataclasses import dataclass
from enum import IntEnum

from analysis.columns import CANONICAL
from analysis.intake import (
    modifiers,
    names_of_checks,
    names_of_infusions,
    names_of_lines,
    names_of_rows,
    other_languages,
)

#: Places a column can have that are no column of a canonical table.
ROW_ID, REPLACES, STRUCK = "row_id", "replaces", "struck_out"
VERSION = "version"
ITEM, VALUE, UNITS = "item", "value", "units"
DRUG, DOSE, DOSE_UNIT = "drug", "dose", "dose_unit"
LINE_CHANGED_ON, SITE_CHANGED_ON, WHY_CHANGED = (
    "line_changed_on", "site_changed_on", "why_changed",
)  # fmt: skip
#: Dates on which a line or a site was changed.
CHANGE_DATES = (LINE_CHANGED_ON, SITE_CHANGED_ON)
#: Columns that say yes or no to such a change.
CHANGED = ("line_changed", "site_changed")


class Strength(IntEnum):
    """How a header came to a candidate.

    A part of a header among words that may make it another thing is no recognition: it
    is asked about, or the column is not used.
    """

    PART = 0
    CONTAINS = 1
    SYNONYM = 2
    CANONICAL = 3


@dataclass(frozen=True, slots=True)
class Candidate:
    """A column that a header may name."""

    column: str
    strength: Strength


_SYNONYMS = (
    names_of_infusions.HEADERS
    | names_of_checks.HEADERS
    | names_of_lines.HEADERS
    | names_of_rows.HEADERS
)
#: Columns of the canonical tables: a header that is one names it beyond doubt.
CANONICAL_NAMES = frozenset(name for table in CANONICAL for name in table.names)


def normal(header: str) -> str:
    """Give a header in the form that is compared.

    Parameters
    ----------
    header : str
        As it stands in the file.

    Returns
    -------
    str
        Small letters, digits and single blanks.

    Examples
    --------
    >>> normal(" Volume  Remaining (Ml)"), normal("Batt %"), normal("checked_at")
    ('volume remaining ml', 'batt percent', 'checked at')
    """
    plain = unicodedata.normalize("NFKD", header.casefold())
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    plain = "".join(" " if unicodedata.category(c) == "Cf" else c for c in plain)
    plain = plain.replace("%", " percent ")
    return " ".join(re.sub(r"[^0-9a-z\u00b5]+", " ", plain).split())


_BY_PHRASE: dict[str, list[str]] = {}
for _column, _phrases in _SYNONYMS.items():
    for _phrase in _phrases.split("|"):
        _BY_PHRASE.setdefault(_phrase.strip(), []).append(_column)

for _column, _phrases in other_languages.HEADERS.items():
    for _phrase in map(normal, _phrases.split("|")):
        if _column not in _BY_PHRASE.get(_phrase, []):
            _BY_PHRASE.setdefault(_phrase, []).append(_column)

_HOUR, _DAY = other_languages.HOUR, normal(other_languages.DAY.replace("|", " "))
_DAY = _DAY.replace(" ", "|")
_UNIT = re.compile(
    rf"\s+(?:in\s+)?(?:mls? (?:{_HOUR}|{_DAY}|24 ?(?:{_HOUR}))|"
    r"mls?|cc|h|hrs?|hours?|percent|mgs?|ml h|ml hr|ml per hour|"
    r"mls? (?:per )?(?:h|hr|hrs|hour)|mls? (?:per )?(?:24 ?h(?:rs?|ours?)?|day|d)|"
    r"y n|yn|yes no|ml per h|mls? per hour|24h clock|dd mm yyyy|mm dd yyyy|"
    r"dd mm yy|hh mm|g|tick|g number)$"
)


def without_unit(name: str) -> str:
    """Give a normal header without the units it ends in.

    Parameters
    ----------
    name : str
        A header as given by `normal`.

    Returns
    -------
    str
        Without the units at its end.
    """
    while (bare := _UNIT.sub("", name)) != name:
        name = bare
    return name


def is_per_day(header: str) -> bool:
    """Tell whether a header (or a unit) says that a rate is per 24 h.

    Parameters
    ----------
    header : str
        As it stands in the file, or a unit.

    Returns
    -------
    bool
        True where it says so.

    Examples
    --------
    >>> is_per_day("Rate (ml/24h)"), is_per_day("mL/24 h"), is_per_day("Rate mL/hr")
    (True, True, False)
    """
    name = normal(header)
    return bool(re.search(r"\b(?:24 ?h(?:rs?|ours?)?|day|daily|d)\b", name)) or bool(
        re.search(rf"\bmls?\b.*\b(?:{_DAY}|24 ?(?:{_HOUR}))\b", name)
    )


def is_per_hour(header: str) -> bool:
    """Tell whether a header (or a unit) says that a rate is per hour.

    Parameters
    ----------
    header : str
        As it stands in the file, or a unit.

    Returns
    -------
    bool
        True where it says so, and not 24 h.
    """
    name = normal(header)
    said = re.search(rf"\b(?:h|hr|hrs|hour|hourly)\b|\bmls?\b.*\b(?:{_HOUR})\b", name)
    return said is not None and not is_per_day(header)


def is_travel(header: str) -> bool:
    """Tell whether a header (or a unit) is of millimetres: a travel, not a volume.

    Parameters
    ----------
    header : str
        As it stands in the file, or a unit.

    Returns
    -------
    bool
        True where it says so.
    """
    return bool(re.search(r"\bmms?\b", normal(header)))


#: What is longer is a note, and no header; to look through it takes its length squared.
_LONGEST_HEADER = 300


def candidates(header: str) -> list[Candidate]:
    """Give the columns that a header may name, the surest first.

    Parameters
    ----------
    header : str
        As it stands in the file.

    Returns
    -------
    list of Candidate
        Empty where it names none, and where it is no header: above 300 characters.

    Examples
    --------
    >>> [c.column for c in candidates("Pump No")], len(candidates("Shoes"))
    (['driver_id'], 0)
    """
    if len(header) > _LONGEST_HEADER:
        return []
    name = normal(header)
    if not name:
        return []
    found = {}
    canonical = "_".join(name.split())
    if canonical in CANONICAL_NAMES:
        found[canonical] = Strength.CANONICAL
    forms = (name, without_unit(name), _singular(name), without_unit(_in_full(name)))
    parted = _parted(header, name)
    for form in dict.fromkeys((*forms, parted, without_unit(parted))):
        for column in _BY_PHRASE.get(form, []):
            found.setdefault(column, Strength.SYNONYM)
    if not found:
        found = _contained(without_unit(name)) or _contained(without_unit(parted))
    return [
        Candidate(column, strength)
        for column, strength in sorted(found.items(), key=lambda item: -item[1])
        if not _is_ruled_out(column, strength, name)
    ]


def named(header: str) -> set[str]:
    """Give the columns that a header may name with all of its words that count.

    Parameters
    ----------
    header : str
        As it stands in the file.

    Returns
    -------
    set of str
        Without those whose name stands among words of other things.
    """
    return {c.column for c in candidates(header) if c.strength > Strength.PART}


#: Words that make a date another one than that of a check, a start or a change.
_OTHER_DATES = frozenset(
    {"birth", "dob", "expiry", "expires", "exp", "batch", "admission", "admitted",
     "discharge", "prescribed", "prescription", "prepared", "next", "due", "expected",
     "planned", "printed", "previous", "last", "referral", "scheduled", "schedule",
     "target", "ordered", "dispensed", "made", "drawn", "death", "died", "export",
     "exported", "report", "reported", "imported", "alarm", "onset"}
)  # fmt: skip
_DATES = frozenset(
    {"checked_at", "recorded_at", "started_at", "ended_at", "inserted_at",
     "removed_at", LINE_CHANGED_ON, SITE_CHANGED_ON, "line_changed", "site_changed"}
)  # fmt: skip
#: Columns that a per cent can stand in; in all others of a number it cannot.
_NO_PERCENT = frozenset(
    {"volume_remaining_ml", "display_remaining_ml", "volume_delivered_ml", "vtbi",
     "start_volume_ml", "made_up_to_ml", "set_rate_ml_h", "planned_duration_h"}
)  # fmt: skip


#: Units in a header that are those of no volume in mL and of no rate in mL.
_OTHER_UNITS = frozenset(
    {"mg", "mgs", "mcg", "ug", "g", "kg", "l", "litre", "litres", "liter", "liters",
     "ul", "microlitre", "microlitres", "microliter", "microliters", "microgram",
     "micrograms", "milligram", "milligrams", "mmol", "iu", "min", "mins", "minute",
     "minutes", "sec", "second", "seconds"}
)  # fmt: skip
#: Words of what was to be, was before, or went another way: no reading of the driver.
_NO_READING = frozenset(
    {"expected", "predicted", "calculated", "theoretical", "estimated", "planned",
     "target", "intended", "ideal", "should", "prescribed", "ordered", "previous",
     "prior", "last", "next", "due", "since", "breakthrough", "bolus", "boost", "prn",
     "rescue", "oral", "flush", "urine", "discarded", "wasted", "waste", "spilt"}
)  # fmt: skip
_READINGS = frozenset(
    {"volume_remaining_ml", "display_remaining_ml", "volume_delivered_ml",
     "set_rate_ml_h"}
)  # fmt: skip
#: Words under which yes means the opposite of what the column asks.
_TURNED = frozenset(
    {"not", "non", "without", "missing", "absent", "unlocked", "unlabelled",
     "unlabeled", "unsecured", "insecure", "stopped", "broken", "failed", "unchanged"}
)  # fmt: skip
_ASKED = frozenset(
    {"running", "lockbox_locked", "label_present", "line_changed", "site_changed"}
)


def _is_ruled_out(column: str, strength: Strength, name: str) -> bool:
    """Tell whether another word of a header says that it is not this column."""
    if strength is Strength.CANONICAL:
        return False
    said = set(name.split())
    if column in _NO_PERCENT and said & {"percent", "pct", "percentage"}:
        return True
    # A travel under a rate is told of (`is_travel`); a length is no volume either.
    if column in _NO_PERCENT - {"set_rate_ml_h"} and said & {"mm", "cm"}:
        return True
    is_span = column == "planned_duration_h" and {"h", "min"} <= said
    if column in _NO_PERCENT and said & _OTHER_UNITS and not is_span:
        return True
    if any(column in _BY_PHRASE.get(n, []) for n in (name, without_unit(name))):
        return False
    return (
        (column in _DATES and bool(said & _OTHER_DATES))
        or (column in _READINGS and bool(said & _NO_READING))
        or (column in _ASKED and (bool(said & _TURNED) or name.startswith("no ")))
    )


#: Letters of the shortest phrase that is known without its blanks.
_SHORTEST_WHOLE = 6

#: Short forms in the names of database columns.
_SHORT = {"dt": "date", "dte": "date", "tm": "time", "dttm": "date time",
          "dtm": "date time", "ts": "timestamp", "nbr": "no", "num": "no",
          "chk": "check", "cmt": "comment", "cmts": "comments", "cmnt": "comment",
          "cmnts": "comments", "drv": "driver", "drvr": "driver", "typ": "type",
          "syr": "syringe", "sz": "size", "usr": "user",
          "appr": "appearance", "lbl": "label", "strt": "start"}  # fmt: skip


def _parted(header: str, name: str) -> str:
    """Give the words of a header that are written together: ``VolumeLeft``."""
    if " " in name:
        return name
    parted = normal(re.sub(r"(?<=[a-z]{2})(?=[A-Z])", " ", header))
    return parted if " " in parted else _WHOLE.get(name, name)


#: Phrases of several words, written together: ``patientid``.
_WHOLE = {
    phrase.replace(" ", ""): phrase
    for phrase in _BY_PHRASE
    if " " in phrase and len(phrase) > _SHORTEST_WHOLE
}


def _in_full(name: str) -> str:
    """Give a header with short forms in full: ``obs dt`` is a date."""
    return " ".join(_SHORT.get(word, word) for word in name.split())


def _singular(name: str) -> str:
    """Give a header without the number or letter it ends in: ``drug 2``, ``drug b``."""
    return without_unit(re.sub(r"\s*\d+$| [a-d]$", "", without_unit(name)))


def _contained(name: str) -> dict[str, Strength]:
    """Give the columns whose longest phrase stands within a header.

    Phrases with harmless words beside them come first; of two as long, the later one,
    where English has the noun that the others are said of.
    """
    words = name.split()
    parts: dict[str, Strength] = {}
    for length in range(len(words), 0, -1):
        safe: list[str] = []
        for start in range(len(words) - length, -1, -1):
            phrase = " ".join(words[start : start + length])
            if len(phrase) <= 2 or phrase not in _BY_PHRASE:
                continue
            rest = " ".join(words[:start] + words[start + length :])
            columns = _BY_PHRASE[phrase]
            safe += [c for c in columns if modifiers.are_harmless(c, rest)]
            parts = parts or dict.fromkeys(columns, Strength.PART)
        if safe:
            return dict.fromkeys(safe, Strength.CONTAINS)
    return parts


def group_number(header: str) -> str:
    """Give the number or the letter a header ends in; empty where it has none.

    Parameters
    ----------
    header : str
        As it stands in the file.

    Returns
    -------
    str
        Digits, or a letter from a to d; empty without.

    Examples
    --------
    >>> group_number("Drug 2"), group_number("Dose2 (mg)"), group_number("Ward")
    ('2', '2', '')
    """
    found = re.search(r"(\d+|\b[a-d])$", without_unit(normal(header)))
    return found.group(1) if found else ""
