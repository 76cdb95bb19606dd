"""Numbers as wards write them: a plain decimal, what was said about it, and its unit.

Nothing is repaired: a letter never stands for a figure, and a cell that can be read in
two ways, after the file as a whole has been asked, is not read.
"""

import re
from collections import Counter
from dataclasses import dataclass
from decimal import Decimal as Exact
from enum import StrEnum

import pandas as pd

from analysis.intake.invisible import visible
from analysis.texts import spread


class Qualifier(StrEnum):
    """What a cell says about its number."""

    APPROXIMATE = "approximate"
    BELOW = "below"
    ABOVE = "above"
    RANGE = "range"


class Mark(StrEnum):
    """What stands before the decimals of a number."""

    POINT = "."
    COMMA = ","


@dataclass(frozen=True, slots=True)
class Decimal:
    """The decimal mark of a file, and what shows it.

    Attributes
    ----------
    mark : Mark
        The mark.
    evidence : str
        How many cells show it, in words.
    """

    mark: Mark
    evidence: str


#: Units as charts write them, lower case and without blanks, and as they are given on.
#: UCUM has the same quantities as mL, mL/h, mL/(24.h), %, h, min, mg, ug, g, V, kPa.
_UNITS = {
    "mL": "ml mls millilitre millilitres milliliter milliliters cc ccs",
    "mL/h": "ml/h ml/hr ml/hrs ml/hour mls/h mls/hr mls/hrs mls/hour mlperhour mlperhr "
    "mlperh mlsperhour mlph mlh mlhr ml/std ml/uur ml/tim ml/t ml/hora ml/heure ml/ora",
    "mL/24 h": "ml/24h ml/24hr ml/24hrs ml/24hours ml/d ml/day mls/24h mls/24hr "
    "mls/24hrs mls/24hours mls/day mlper24h mlper24hr mlper24hours mlperday mlin24h",
    "%": "% percent pc pct",
    "h": "h hr hrs hour hours",
    "min": "min mins minute minutes",
    "mg": "mg mgs milligram milligrams mg/24h mg/24hr mg/24hrs mg/day mg/d",
    "microgram": "mcg ug \u00b5g \u03bcg microgram micrograms mcgs mcg/24h mcg/24hr "
    "mcg/day microgram/24h micrograms/24h microg",
    "g": "g gram grams",
    "V": "v volt volts",
    "kPa": "kpa",
    "mm": "mm",
    "mm/h": "mm/h mm/hr",
    "mm/24 h": "mm/24h mm/24hr mm/24hrs mm/day",
    "G": "gauge ga",
}  # fmt: skip
_UNIT_OF = {word: unit for unit, words in _UNITS.items() for word in words.split()}

_BLANK = "[ \u00a0\u202f\u2009]"
_DIGITS = (
    rf"(?:[0-9]{{1,3}}(?:{_BLANK}[0-9]{{3}})+|[0-9]+)"  # 1 234 or 1234
    r"(?:[.,'\u2019][0-9]+)*[.,]?|[.,][0-9]+"
)
_ONE = rf"[+-]?(?:{_DIGITS})[\u00bc\u00bd\u00be]?|[\u00bc\u00bd\u00be]"
_TAIL = "[a-z%\u00b5\u03bc][a-z%/ 0-9\u00b5\u03bc.]*?"
_CELL = re.compile(
    rf"(?P<before>[~\u2248<>\u2264\u2265=]+|[a-z][a-z. ]*)?\s*"
    rf"(?P<first>{_ONE})\s*(?P<unit1>{_TAIL})??\s*"
    rf"(?:(?:-|to)\s*(?P<second>{_ONE})\s*(?P<unit2>{_TAIL})?)?\s*"
    r"(?P<after>\+|\?|ish|approx\.?|\(?approx(?:imately)?\.?\)?|or so|or less|or more)?"
)
_BEFORE = {
    Qualifier.APPROXIMATE: "~ \u2248 approx approx. approximately about ca ca. c c. "
    "around roughly circa almost nearly est est. =~ ~=",
    Qualifier.BELOW: "< \u2264 <= =< below under lessthan upto atmost",
    Qualifier.ABOVE: "> \u2265 >= => above over morethan atleast",
}  # fmt: skip
_QUALIFIER_BEFORE = {w: q for q, words in _BEFORE.items() for w in words.split()}
_QUALIFIER_AFTER = {"+": Qualifier.ABOVE, "or more": Qualifier.ABOVE}
_QUALIFIER_AFTER["or less"] = Qualifier.BELOW
_FRACTIONS = {"\u00bc": "25", "\u00bd": "5", "\u00be": "75"}
_DASHES = dict.fromkeys(map(ord, "\u2010\u2011\u2012\u2013\u2014\u2212"), "-")


def decide_decimal(columns: list[pd.Series]) -> Decimal | None:
    """Decide, for a file as a whole, what stands before the decimals.

    Parameters
    ----------
    columns : list of Series of str
        All cells that should hold numbers; cells that hold none tell nothing.

    Returns
    -------
    Decimal or None
        None where some number has a mark that may as well group its thousands, and
        nothing else in the file tells. A file without any mark is read with a point.

    Examples
    --------
    >>> decide_decimal([pd.Series(["13,3", "0,62"])])
    Decimal(mark=<Mark.COMMA: ','>, evidence='numbers with a decimal comma: 2 (13,3)')
    >>> decide_decimal([pd.Series(["1,250"])]) is None
    True
    """
    counts = Counter[str]()
    for column in columns:
        for cell, n in column.value_counts().items():
            counts[str(cell)] += n
    shown = Counter[str]()
    example: dict[str, str] = {}
    for cell, n in counts.items():
        for number in _numbers_in(cell):
            mark = _shown_by(number)
            if mark == "":
                shown["?,"] += n * ("," in number)
            elif mark:
                shown[mark] += n
                example.setdefault(mark, cell)
    return _decided(shown, example)


def _decided(shown: Counter[str], example: dict[str, str]) -> Decimal | None:
    mark, other = sorted(Mark, key=lambda m: -shown[m])
    if shown["?,"] and shown[other] >= shown[mark] / 10:
        return None
    if not shown[mark]:
        return Decimal(Mark.POINT, "no number shows a decimal comma")
    evidence = f"numbers with a decimal {mark.name.lower()}: {shown[mark]} "
    evidence += f"({example[mark]})"
    if shown[other]:
        evidence += f"; with a {other.name.lower()}: {shown[other]} ({example[other]})"
    return Decimal(mark, evidence)


def _numbers_in(cell: str) -> list[str]:
    if not any(_read(cell, mark)[0] for mark in Mark):
        return []
    found = _CELL.fullmatch(_plain(cell))
    return [n for n in (found["first"], found["second"]) if n] if found else []


def _shown_by(number: str) -> str | None:
    """Give the mark a number shows, "" if its mark may group thousands, else None."""
    marks = [c for c in number if c in ".,"]
    if not marks:
        return None
    if len(set(marks)) == 2:
        return marks[-1] if marks.count(marks[-1]) == 1 else None
    if len(marks) > 1:
        return Mark.COMMA if marks[0] == "." else Mark.POINT
    whole, decimals = re.split("[.,]", number.lstrip("+-"))
    if len(decimals) != 3 or not 1 <= len(whole) <= 3 or whole.startswith("0"):
        return marks[0]
    # Three digits after a point are decimals as a rule, after a comma either.
    return ""


def read_plain(text: pd.Series, decimal: str | None) -> pd.DataFrame:
    """Read numbers as plain decimals, with qualifier and unit.

    Parameters
    ----------
    text : Series of str, shape (n,)
        Cells; empty where nothing is charted.
    decimal : str or None
        The file's decimal mark (`Mark`). It settles numbers like 1,250 only: 13,3 and
        13.3 can be read in one way. With None 1,250 is not read.

    Returns
    -------
    DataFrame of str, shape (n, 3)
        On the index of `text`. ``value``: digits as written, so that 13.0 and 13 stay
        apart, with a point; of a range the middle, of "below" and "above" the limit;
        empty where the cell is empty or no number. ``qualifier``: a `Qualifier` or
        empty. ``unit``: mL, mL/h, mL/24 h, %, h, min, mg, microgram, g, V, kPa, mm,
        mm/h, mm/24 h, G or empty. Numbers with an exponent are not read.

    Examples
    --------
    >>> cells = pd.Series(["13 mls", "<1", "13-14", "98%", "l0.2", ""])
    >>> read_plain(cells, None).agg("|".join, axis=1).tolist()
    ['13||mL', '1|below|', '13.5|range|', '98||%', '||', '||']
    """
    codes, cells = pd.factorize(text)
    mark = None if decimal is None else Mark(decimal)
    # A missing cell has code -1 and takes the last row, which is empty.
    rows = [_read(str(cell), mark) for cell in cells] + [("", "", "")]
    table = pd.DataFrame(rows, columns=["value", "qualifier", "unit"], dtype="str")
    read = {name: spread(table[name], codes) for name in table}
    return pd.DataFrame(read, index=text.index, copy=False)


def _read(cell: str, mark: Mark | None) -> tuple[str, str, str]:
    nothing = ("", "", "")
    found = _CELL.fullmatch(_plain(cell))
    if not found:
        return nothing
    qualifier = _qualifier(found)
    unit = _unit(found["unit1"], found["unit2"])
    first = _digits(found["first"], mark)
    if qualifier is None or unit is None or not first:
        return nothing
    if not found["second"]:
        return first, qualifier, unit
    second = _digits(found["second"], mark)
    if not second or qualifier or "-" in first or "-" in second:
        return nothing
    return _middle(first, second), Qualifier.RANGE, unit


_HOURS = re.compile(
    r"(?P<h>[0-9]{1,2})\s?(?::|h(?:rs?|ours?)?[ :,]?)\s?"
    r"(?P<m>[0-5][0-9]|[0-9](?=\s?m))\s?(?:m(?:ins?|inutes?)?)?(?::00)?"
    r"(?:\s?h(?:rs?|ours?)?)?"
)


def hours_of(cell: str) -> str:
    """Give a length of time in hours and minutes as hours.

    Parameters
    ----------
    cell : str
        As charted.

    Returns
    -------
    str
        A plain decimal; empty for anything else, such as hours alone.

    Examples
    --------
    >>> hours_of("24:00"), hours_of("12h 30m"), hours_of("24"), hours_of("3.30")
    ('24', '12.5', '', '')
    """
    found = _HOURS.fullmatch(_plain(cell))
    return f"{int(found['h']) + int(found['m']) / 60:.6g}" if found else ""


_SIZE = re.compile(r"[^0-9]*\b([0-9]{1,3})\s?(?:mls?|cc)\b[^0-9]*")


def size_of(cell: str) -> str:
    """Give the volume that a cell names beside the kind of a syringe.

    Parameters
    ----------
    cell : str
        As charted.

    Returns
    -------
    str
        Digits; empty where it names none, or more.

    Examples
    --------
    >>> size_of("20 ml luer lock"), size_of("luer lock 30ml"), size_of("luer lock")
    ('20', '30', '')
    """
    found = _SIZE.fullmatch(_plain(cell))
    return found[1] if found else ""


def _plain(cell: str) -> str:
    """Give a cell in lower case, with one kind of dash and nothing invisible."""
    return visible(cell.translate(_DASHES)).strip().lower()


def _qualifier(found: re.Match[str]) -> str | None:
    """Give the qualifier, "" for none, None where a word is not known."""
    before, after = (found["before"] or "").replace(" ", ""), found["after"] or ""
    if before and before not in _QUALIFIER_BEFORE:
        return None
    if before:
        return _QUALIFIER_BEFORE[before]
    return _QUALIFIER_AFTER.get(after, Qualifier.APPROXIMATE) if after else ""


def unit_of(cell: str) -> str:
    """Give the unit that a cell names, which holds nothing else.

    Parameters
    ----------
    cell : str
        As charted.

    Returns
    -------
    str
        As `read_plain` gives it; the cell itself where it is no unit that is known.

    Examples
    --------
    >>> unit_of("mls"), unit_of("[%]"), unit_of("drops")
    ('mL', '%', 'drops')
    """
    word = re.sub(r"[ .()\[\]]", "", _plain(cell))
    return _UNIT_OF.get(word, cell)


def _unit(first: str | None, second: str | None) -> str | None:
    """Give the unit, "" for none, None where it is not known or the two disagree."""
    units = [
        _UNIT_OF.get(re.sub(r"[ .]", "", unit)) for unit in (first, second) if unit
    ]
    if not units:
        return ""
    return units[0] if len(set(units)) == 1 else None


def _digits(number: str, mark: Mark | None) -> str:
    """Give a number with a point before its decimals; "" where it cannot be told."""
    fraction = next((d for c, d in _FRACTIONS.items() if c in number), "")
    number = re.sub(r"[\u00bc\u00bd\u00be \u00a0\u202f\u2009]", "", number)
    shown = _shown_by(number) if number else None
    if shown == "":
        shown = Mark.POINT if mark is None and "." in number else mark
        if shown is None:
            return ""
    whole, _, decimals = number.partition(shown) if shown else (number, "", "")
    if shown is None and re.search("[.,]", number):
        return ""
    sign = "-" if whole.startswith("-") else ""
    groups = re.split("[.,'\u2019]", whole.lstrip("+-"))
    if not _is_grouped(groups) or not (decimals or fraction).isascii():
        return ""
    if (fraction and decimals) or re.search("[.,'\u2019]", decimals):
        return ""
    decimals = decimals or fraction
    plain = ("".join(groups).lstrip("0") or "0") + (f".{decimals}" if decimals else "")
    return sign + plain if sign and plain.strip("0.") else plain


def _is_grouped(groups: list[str]) -> bool:
    """Tell whether digits between marks are groups of three, the first may be less."""
    return len(groups) == 1 or (
        1 <= len(groups[0]) <= 3 and all(len(group) == 3 for group in groups[1:])
    )


def _middle(first: str, second: str) -> str:
    return format((Exact(first) + Exact(second)) / 2, "f")
