"""Whether the values of a column can be what its header says."""

import re
from collections.abc import Callable

from analysis.intake import numbers, site_words, synonyms, words
from analysis.intake.profiles import (
    FIRST_NUMBER,
    IS_NUMBER,
    READINGS,
    TIMES,
    YES_NO,
    Profile,
)
from analysis.intake.synonyms import Candidate, Strength
from analysis.terms import Entry, SolutionAppearance, YesNo

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


def _numbers_between(low: float, high: float) -> Callable[[Profile], bool]:
    def is_within(cell: str) -> bool:
        found = FIRST_NUMBER.search(cell)
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
    if p.share(lambda c: words.one_word(c, words.ENTRY)) >= 0.5:
        return True
    # Begin and end in a few words are said of syringes: what else there is, is asked.
    said = {words.one_word(str(c), words.ENTRY) for c in p.counts.index}
    is_list = len(p.counts) <= _MOST_ENTRIES and p.different < p.rows
    return is_list and str(Entry.END) in said and bool(_BEGINS & said)


_BEGINS = frozenset({str(Entry.START), str(Entry.SYRINGE_CHANGE)})
#: Different words that a list of kinds of entry has at the most.
_MOST_ENTRIES = 12


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


def _is_run(p: Profile) -> bool:
    """Tell codes of syringe runs; under ``Syringe`` alone sizes are none."""
    if synonyms.without_unit(synonyms.normal(p.named)) == "syringe" and (
        _numbers_between(2, 100)(p) or p.share(numbers.size_of) >= _SOME_SIZES
    ):
        return False
    return _is_code(p)


_SOME_SIZES = 0.2


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
    "infusion_id": _is_run,
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
    synonyms.VERSION: lambda _: False,  # told by the rows (`versions`)
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
