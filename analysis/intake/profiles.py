"""The values of one column: which there are, how often, and if they are times."""

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from analysis.intake import other_languages, words

TIMES = frozenset(
    {"checked_at", "recorded_at", "started_at", "ended_at", "inserted_at", "removed_at"}
)
YES_NO = frozenset(
    {"running", "lockbox_locked", "label_present", "line_changed", "site_changed"}
)

READINGS = frozenset(
    {"volume_remaining_ml", "volume_delivered_ml", "set_rate_ml_h", "battery_pct",
     "running", "site_signs", "lockbox_locked", "entry", "display_remaining_ml",
     "solution_appearance"}
)  # fmt: skip
_DAY = (
    r"(?:(?:(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*|"
    rf"{other_languages.WEEKDAYS})\.?,?\s+)?"
    r"(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/. ]\d{1,2}[-/. ](?:\d{4}|\d{2})|"
    r"\d{1,2}(?:st|nd|rd|th|er)?[-/. ]*(?:de )?[a-zß-öø-ÿ]{3,10}[-/., ]*(?:de )?"
    r"(?:\d{4}|\d{2})|20\d{6}|"
    r"[a-z]{3,9}\.? \d{1,2}(?:st|nd|rd|th)?,? \d{4})"
)
_CLOCK = (
    r"(?:\d{1,2}(?:[:.h]\d{2}){1,2}(?:[.,]\d+)?\s*(?:[ap]\.?\s?(?:m\.?)?)?"
    rf"(?:\s*(?:hrs?\.?|h|hours|{other_languages.OCLOCK}))?|"
    r"\d{1,2}\s*(?:[ap]\.?\s?m\.?)|(?:[01]\d|2[0-4])[0-5]\d(?:\s?h(?:rs?)?)?|"
    r"(?:12\s*)?(?:noon|midnight|midday)|0?\.\d{2,}|0)"
)
IS_DAY = re.compile(_DAY)
IS_CLOCK = re.compile(rf"(?:{_CLOCK})(?:\s*\(?next day\)?)?")
#: A clock time with its minutes, or with am or pm: "4h" is a length of time.
IS_TIME_OF_DAY = re.compile(
    r"\d{1,2}[:.]\d{2}(?::\d{2})?\s*(?:hrs?|h)?\s*(?:[ap]\.?m\.?)?|"
    r"[012]\d[0-5]\d\s?hrs?|\d{1,2}\s?[ap]\.?m\.?"
)
#: Times as 1605 that may have lost zeros: 405, 10.
_IS_HHMM = re.compile(r"[0-5]?\d|(?:1?\d|2[0-3])[0-5]\d|2400")
IS_MOMENT = re.compile(
    _DAY
    + rf"[t ,]+(?:(?:at|{other_languages.AT}) )?"
    + _CLOCK
    + r"\s*(?:z|[a-z]{3,4}|[+-]\d\d:?\d\d)?|"
    + _CLOCK
    + r",?\s+(?:on )?"
    + _DAY
)
#: A moment that is the beginning of its day, as programs write a day alone.
_IS_MIDNIGHT = re.compile(
    _DAY + r"[t ,]+(?:0{1,2}[:.]00(?:[:.]00(?:[.,]0+)?)?(?:\s*a\.?m\.?)?|"
    r"12[:.]00(?:[:.]00)?\s*a\.?m\.?)\s*(?:z|[+-]\d\d:?\d\d)?"
)
#: Days that spreadsheets and databases put before a time of day that has none.
_NO_DAY = (
    r"(?:1899[-/.]12[-/.]3[01]|3[01][-/.]12[-/.]1899|12[-/.]3[01][-/.]1899|"
    r"1900[-/.]0?1[-/.]0?[01]|0?[01][-/.]0?1[-/.]1900|0?1[-/.]0?[01][-/.]1900|"
    r"1970[-/.]0?1[-/.]0?1|0?1[-/.]0?1[-/.]1970)"
)
_IS_TIME_ALONE = re.compile(_NO_DAY + r"[t ,]+" + _CLOCK)
IS_NUMBER = re.compile(
    r"(?:[~<>\u2248\u2264\u2265]|c\.?|ca\.?|approx\.?|about)?\s*[+-]?\d*[.,]?\d+"
    r"(?:\s*-\s*\d+[.,]?\d*)?\s*(?:mls?|%|h|hrs?|hours?|percent|cc)?"
    r"(?:\s*(?:/|per)\s*(?:h|hr|hrs|hour|24 ?h|24 ?hrs?|24 ?hours?|day|d))?"
)
FIRST_NUMBER = re.compile(r"\d*[.,]?\d+")


def is_written_time(cell: str) -> bool:
    """Tell whether a cell is a moment, a day or a clock time.

    Parameters
    ----------
    cell : str
        As charted.

    Returns
    -------
    bool
        True where it is so.
    """
    key = words.key_of(cell)
    return any(p.fullmatch(key) for p in (IS_MOMENT, IS_DAY, IS_CLOCK))


@dataclass(frozen=True, slots=True)
class Profile:
    """The values of one column: the commonest different ones with their counts.

    Attributes
    ----------
    header : str
        The file's own.
    counts : Series of int
        Different recorded cells, in the form that is compared, with their counts.
    rows, blank, different : int
        All rows; those with nothing recorded; different recorded cells.
    time_kind : str
        moment, day or clock where most cells are such, midnight where all moments
        are the beginnings of days; else empty.
    unit : str
        What a row of units under the header says.
    dittos : int
        Cells that hold a ditto mark.
    """

    header: str
    counts: pd.Series
    rows: int
    blank: int
    different: int
    time_kind: str = ""
    unit: str = ""
    dittos: int = 0

    @property
    def named(self) -> str:
        """The header, with its unit behind it where that stands in a row of units.

        Returns
        -------
        str
            For the comparison of names.
        """
        return f"{self.header} ({self.unit})" if self.unit else self.header

    def share(self, holds: Callable[[str], object]) -> float:
        """Give the share of recorded cells for which `holds` is true; 0 with none.

        Parameters
        ----------
        holds : callable
            A cell to what is true or not.

        Returns
        -------
        float
            From 0 to 1.
        """
        total = int(self.counts.sum())
        cells = zip(self.counts.index.to_numpy(), self.counts.tolist(), strict=True)
        hits = sum(n for cell, n in cells if holds(cell))
        return hits / total if total else 0.0

    def is_empty(self) -> bool:
        """Tell whether nothing is recorded in the column.

        Returns
        -------
        bool
            True where it is so.
        """
        return not len(self.counts)

    def median(self) -> float:
        """Give the median of the numbers in the column; NaN where there are none.

        Returns
        -------
        float
            The first number of each cell counts.
        """
        found = [
            float(m.group().replace(",", "."))
            for cell in self.counts.index
            if (m := FIRST_NUMBER.search(str(cell)))
        ]
        return float(np.median(found)) if found else float("nan")


def profile(header: str, column: pd.Series, unit: str = "") -> Profile:
    """Count the different recorded cells of a column.

    Parameters
    ----------
    header : str
        The file's own.
    column : Series of str, shape (n,)
        Its cells.
    unit : str
        What a row of units under the header says.

    Returns
    -------
    Profile
        Of the `_LOOKED_AT` commonest cells, which are enough to tell what they are.
    """
    every = column.value_counts()
    blank = int(every[every.index == ""].sum())
    counts = every.head(_LOOKED_AT)
    keys = pd.Series([words.key_of(c) for c in counts.index], index=counts.index)
    merged = counts.groupby(keys.to_numpy(), sort=False).sum()
    marks = merged.index.isin([*words.NOT_RECORDED, *words.DITTO])
    blank += int(merged[marks].sum())
    recorded = merged[~marks & (merged.index != "")]
    found = Profile(header, recorded, len(column), blank, len(every), unit=unit)
    dittos = int(every[_are_dittos(every.index)].sum())
    return replace(found, time_kind=time_class(found), dittos=dittos)


def _are_dittos(cells: pd.Index) -> npt.NDArray[np.bool_]:
    """Mark ditto marks among different cells: few are short and without a digit."""
    is_ditto = np.zeros(len(cells), dtype=bool)
    text = pa.array(cells, type=pa.large_string())
    some = pc.less_equal(pc.utf8_length(text), _LONGEST_DITTO)
    some = pc.and_not(some, pc.match_substring_regex(text, "[0-9]"))
    at = np.flatnonzero(some.to_numpy(zero_copy_only=False))
    is_ditto[at] = [str(c).casefold() in words.DITTO for c in cells.take(at)]
    return is_ditto


#: None of these marks has a digit.
_LONGEST_DITTO = max(map(len, words.DITTO))


#: Different cells of a column that are looked at.
_LOOKED_AT = 3000


def time_class(p: Profile) -> str:
    """Tell whether a column holds moments, days or clock times; empty for none.

    A clock time with the day that spreadsheets put before it (30/12/1899) is a clock
    time.

    Parameters
    ----------
    p : Profile
        The values of a column.

    Returns
    -------
    str
        moment, midnight, day or clock.
    """
    if p.share(_IS_TIME_ALONE.fullmatch) >= 0.5:
        return "clock"
    if p.share(_IS_MIDNIGHT.fullmatch) == 1:
        return "midnight"
    for name, pattern in (("moment", IS_MOMENT), ("day", IS_DAY), ("clock", IS_CLOCK)):
        if p.share(pattern.fullmatch) >= 0.5:
            return name
    either = p.share(lambda c: IS_MOMENT.fullmatch(c) or IS_DAY.fullmatch(c))
    if either >= 0.5:
        return "moment"
    return "clock" if _are_hhmm(p) else _serial_class(p)


def _serial_class(p: Profile) -> str:
    """Tell whether a column holds the day numbers of spreadsheets; empty for none."""
    if p.share(lambda c: re.fullmatch(r"4\d{4}(?:\.\d+)?", c)) < 0.5:
        return ""
    return "moment" if p.share(lambda c: "." in c) >= 0.5 else "day"


def _are_hhmm(p: Profile) -> bool:
    """Tell whether all cells are times like 1605, which may have lost their zeros."""
    long = p.share(lambda c: len(c) >= 3)
    full = p.share(lambda c: len(c) == 4)
    return p.share(_IS_HHMM.fullmatch) >= 0.9 and long >= 0.3 and full > 0
