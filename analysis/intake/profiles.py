"""The values of one column, and whether they can be what a header says."""

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from analysis.intake import numbers, other_languages, site_words, synonyms, words
from analysis.intake.synonyms import Candidate, Strength
from analysis.terms import SolutionAppearance, YesNo

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
_FIRST_NUMBER = re.compile(r"\d*[.,]?\d+")
_IS_DRUG = re.compile(
    r".*[a-z]{3,}.*\d.*(?:mg|mcg|g|\u00b5g|\u03bcg|micro\w*|units?).*"
)
_DOSE_UNITS = frozenset(
    {"mg", "mcg", "g", "µg", "μg", "ug", "microgram", "micrograms", "milligram",
     "milligrams", "units", "unit", "iu", "mmol"}
)  # fmt: skip
_UNIT_WORDS = _DOSE_UNITS | frozenset(
    {"ml", "mls", "ml/h", "ml/hr", "ml/hour", "ml/24h", "ml/24", "ml/24hr", "ml/day",
     "h", "hr", "hrs", "hours", "min", "%", "percent", "0-10", "score", "v", "mm/h",
     "mm/24h", "mm", "cm", "c", "kpa", "mmhg", "mg/ml"}
)  # fmt: skip
_DILUENT = re.compile(
    r".*(?:water|wfi|saline|sodium|nacl|glucose|dextrose|n/?s\b|w\.?f\.?i).*"
)


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
            if (m := _FIRST_NUMBER.search(str(cell)))
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


# --- does a column hold what its header says -----------------------------------------


def _numbers_between(low: float, high: float) -> Callable[[Profile], bool]:
    def is_within(cell: str) -> bool:
        found = _FIRST_NUMBER.search(cell)
        return found is not None and (
            low <= float(found.group().replace(",", ".")) <= high
        )

    def test(p: Profile) -> bool:
        # A single slip moves the median of the few values of a small file.
        is_usual = low <= p.median() <= high or p.share(is_within) >= 0.6
        return p.share(IS_NUMBER.fullmatch) >= 0.5 and is_usual

    return test


def _volumes_between(low: float, high: float) -> Callable[[Profile], bool]:
    are_numbers = _numbers_between(low, high)
    return lambda p: are_numbers(p) and p.share(lambda c: "%" in c) < 0.5


def _is_battery(p: Profile) -> bool:
    # A yes or no, or bars of a picture: four bars are not 4 %.
    is_few = all(str(cell) in {"0", "1", "2", "3", "4", "5"} for cell in p.counts.index)
    if (is_few and "percent" not in synonyms.normal(p.named)) or _are_volts(p):
        return False
    return _numbers_between(2, 100)(p) or are_parts_of_one(p)


def are_parts_of_one(p: Profile) -> bool:
    """Tell whether a per cent is written as 0.98, as workbooks keep it.

    Parameters
    ----------
    p : Profile
        The values of a column.

    Returns
    -------
    bool
        True where it is so.
    """
    parts = p.share(lambda c: re.fullmatch(r"0?[.,]\d+|1|0", c))
    return parts >= 0.95 and p.share(lambda c: re.match(r"0?[.,]\d", c)) >= 0.5


def _are_volts(p: Profile) -> bool:
    """Tell whether a battery is charted in volts: small numbers, most with decimals."""
    small = p.share(lambda c: re.fullmatch(r"(?:1\d|[1-9])[.,]\d+", c))
    return small >= 0.5 and p.share(lambda c: re.match(r"[2-9]\d|100", c)) < 0.05


def _is_time(p: Profile) -> bool:
    return p.time_kind != ""


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


def _yes_no_words(column: str) -> frozenset[str]:
    own = words.YES_NO_OF.get(column, {})
    return frozenset((*words.YES_NO, *own, *words.CROSSES))


def _is_yes_no(column: str) -> Callable[[Profile], bool]:
    known = _yes_no_words(column)
    return lambda p: p.share(lambda c: c in known) >= 0.6


def is_ok_header(header: str) -> bool:
    """Tell whether a header asks if all is well: yes there means that it is.

    Parameters
    ----------
    header : str
        As it stands in the file.

    Returns
    -------
    bool
        True where it is so.
    """
    asked = synonyms.normal(header).split()
    is_asked = bool(asked) and asked[-1] in ("ok", "okay", "satisfactory", "nad")
    return is_asked and "not" not in asked


def _is_signs(p: Profile) -> bool:
    is_asked = is_ok_header(p.header)

    def reads(cell: str) -> bool:
        known, unknown = site_words.site_signs(cell, {})
        is_answer = cell in words.TICKS or (is_asked and cell in words.YES_NO)
        return (bool(known) and not unknown) or is_answer

    is_score = p.share(IS_NUMBER.fullmatch) > 0.5
    not_looked = p.share(lambda c: c in words.REASONS)
    return not is_score and p.share(reads) >= max(0.5 * (1 - not_looked), 0.1)


def _is_entry(p: Profile) -> bool:
    return p.share(lambda c: words.one_word(c, words.ENTRY)) >= 0.5


def _is_word_of(known: dict[str, str], least: float = 0.6) -> Callable[[Profile], bool]:
    return lambda p: p.share(lambda c: words.one_word(c, known)) >= least


def _is_status(p: Profile) -> bool:
    """Tell whether a column says of rows if they stand: `status` alone says little."""
    known = _is_word_of(words.STATUS, 0.8)(p)
    if "status" not in synonyms.normal(p.header).split():
        return known
    return known and p.share(lambda c: c in words.ROW_STATUS) >= 0.5


def look_asked(cell: str, header: str) -> str:
    """Give what a yes or no says of a solution where its header asks for one look.

    Parameters
    ----------
    cell : str
        As charted.
    header : str
        As it stands in the file.

    Returns
    -------
    str
        A word of the closed list; empty where the header asks for none. Of one that is
        not clear it is not said how: that is read as cloudy.

    Examples
    --------
    >>> look_asked("Y", "Contents clear?"), look_asked("no", "Cloudy Y/N")
    ('clear', 'clear')
    >>> look_asked("N", "Clear"), look_asked("yes", "Crystals"), look_asked("Y", "Bag")
    ('cloudy', 'crystals', '')
    """
    said = words.one_word(cell, words.YES_NO)
    name = synonyms.normal(header).split()
    looks = {words.SOLUTION[w] for w in name if w in words.SOLUTION}
    asked = looks.pop() if len(looks) == 1 and not _DENIED & set(name) else ""
    if not said or not asked:
        return ""
    if asked == SolutionAppearance.CLEAR:
        is_so = said == YesNo.YES
        return str(SolutionAppearance.CLEAR if is_so else SolutionAppearance.CLOUDY)
    return asked if said == YesNo.YES else str(SolutionAppearance.CLEAR)


_DENIED = frozenset({"no", "not", "non", "without", "any"})


def _is_solution(p: Profile) -> bool:
    def reads(cell: str) -> bool:
        known = words.one_word(cell, words.SOLUTION) or look_asked(cell, p.header)
        return bool(known) or cell in words.TICKS

    return p.share(reads) >= 0.6


def _is_plain(p: Profile) -> bool:
    """Tell whether a column may hold names or codes: no times, no measures."""
    is_measure = p.share(lambda c: re.fullmatch(r"\d+[.,]\d+", c)) > 0.3
    return not is_measure and p.time_kind in ("", "clock") and not _is_unit(p)


def _is_code(p: Profile) -> bool:
    return _is_plain(p) and p.share(lambda c: c in _yes_no_words("running")) < 0.5


def _is_line_code(p: Profile) -> bool:
    """Tell codes of lines from their state: patent, secure, no kinks."""
    has_digit = p.share(lambda c: len(c) <= 2 or any(x.isdigit() for x in c))
    return _is_code(p) and (p.is_empty() or has_digit >= 0.5)


def _is_ward(p: Profile) -> bool:
    is_place = p.share(words.location) >= 0.5
    return _is_code(p) and not is_place and p.share(IS_NUMBER.fullmatch) < 0.9


def _is_initials(p: Profile) -> bool:
    return _is_plain(p) and p.share(lambda c: len(c) <= 24) >= 0.8 and _not_flags(p)


def _not_flags(p: Profile) -> bool:
    flags = _yes_no_words("label_present")
    return p.share(lambda c: c in flags) < 0.5


def _is_unit(p: Profile) -> bool:
    return p.share(lambda c: c in _UNIT_WORDS) >= 0.5


def _is_row_id(p: Profile) -> bool:
    is_unlike = p.different >= 0.9 * (p.rows - p.blank)
    return is_unlike and p.blank <= 0.1 * p.rows and p.time_kind in ("", "clock")


def _is_item(p: Profile) -> bool:
    """Tell whether a column names what is charted: three readings at the least."""
    named = {
        c.column for cell in p.counts.index for c in synonyms.candidates(str(cell))
    }
    return len(named & READINGS) >= 3


def _any(_: Profile) -> bool:
    return True


_TESTS: dict[str, Callable[[Profile], bool]] = {
    **dict.fromkeys(TIMES, _is_time),
    **{name: _is_yes_no(name) for name in YES_NO},
    "set_rate_ml_h": _volumes_between(0.01, 100),
    "volume_remaining_ml": _volumes_between(0, 60),
    "display_remaining_ml": _volumes_between(0, 60),
    "volume_delivered_ml": _volumes_between(0, 60),
    "start_volume_ml": _numbers_between(1, 60),
    "made_up_to_ml": _numbers_between(1, 60),
    "battery_pct": _is_battery,
    "planned_duration_h": lambda p: (
        _numbers_between(0.5, 72)(p) or p.share(numbers.hours_of) >= 0.5
    ),
    "syringe_size_ml": lambda p: (
        _numbers_between(2, 100)(p) or p.share(numbers.size_of) >= 0.5
    ),
    "site_signs": _is_signs,
    "site_location": lambda p: p.share(words.location) >= 0.5,
    "location": lambda p: p.share(words.location) >= 0.5,
    "solution_appearance": _is_solution,
    "entry": _is_entry,
    "ward": _is_ward,
    "patient_id": _is_code,
    "infusion_id": _is_code,
    "driver_id": _is_code,
    "line_id": _is_line_code,
    "site_id": _is_line_code,
    "checked_by": _is_initials,
    "second_checked_by": _is_initials,
    "end_reason": _is_word_of(words.END_REASON, 0.5),
    "removal_reason": _is_word_of(words.REMOVAL, 0.5),
    "kind": _is_word_of(words.LINE_KIND),
    "contents": lambda p: p.share(_IS_DRUG.fullmatch) >= 0.5,
    "diluent": lambda p: p.share(_DILUENT.fullmatch) >= 0.5,
    synonyms.ROW_ID: _is_row_id,
    synonyms.STRUCK: _is_status,
    synonyms.ITEM: _is_item,
    synonyms.UNITS: _is_unit,
    synonyms.DOSE_UNIT: lambda p: p.share(lambda c: c in _DOSE_UNITS) >= 0.5,
    synonyms.DOSE: _numbers_between(0, 1e5),
    synonyms.DRUG: lambda p: p.share(lambda c: re.match(r"[a-z]{3,}", c)) >= 0.5,
    synonyms.LINE_CHANGED_ON: _is_time,
    synonyms.SITE_CHANGED_ON: _is_time,
}  # fmt: skip
#: Columns for which a header alone says too little where nothing confirms it.
_WEAK_WITHOUT_VALUES = frozenset(
    {"action", "alarm", "note", "material", "gauge", synonyms.REPLACES, synonyms.VALUE}
)


def fits(candidate: Candidate, p: Profile) -> bool:
    """Tell whether the values of a column allow what its header says.

    Parameters
    ----------
    candidate : Candidate
        What the header may name.
    p : Profile
        The values of a column.

    Returns
    -------
    bool
        True where it is so.
    """
    if candidate.strength is Strength.CANONICAL:
        # A change of line or site that is dated is that date, whatever its name.
        return candidate.column not in synonyms.CHANGED or p.time_kind == ""
    if p.is_empty():
        return candidate.strength is Strength.SYNONYM
    if candidate.strength is Strength.CONTAINS and candidate.column not in _TESTS:
        return candidate.column in {"note", "action", "alarm"}
    return _TESTS.get(candidate.column, _any)(p)
