"""Times of day as wards write them: on a clock of 12 or 24 hours, or as part of a day.

Nothing is guessed: a time without am or pm in a file kept on the 12-hour clock is not
read.
"""

import re
from collections.abc import Callable, Collection, Sequence
from enum import StrEnum

import pandas as pd

from analysis.intake.other_languages import OCLOCK


class Clock(StrEnum):
    """How many hours the clock has."""

    H24 = "24"
    H12 = "12"


#: What says behind a time that it is of the day after the date beside it.
NEXT_DAY = "next day"

_NAMED = "cet|cest|mez|mesz|eet|eest|aest|aedt|nzst|nzdt"
_HALVES = r"a\.?\s?m?\.?|p\.?\s?m?\.?|noon|midday|midnight"
_CLOCK = re.compile(
    r"(?P<hour>[0-9]{1,2})"
    r"(?:[:.h](?P<minute>[0-9]{2})(?:[:.](?P<second>[0-9]{2})(?:[.,][0-9]+)?)?)?"
    rf"\s*(?P<half>{_HALVES})?\s*(?:hrs?\.?|h|hours|{OCLOCK})?"
    rf"\s*(?P<zone>z|utc|gmt|bst|{_NAMED}|[+-][0-9]{{2}}(?::?[0-9]{{2}})?)?"
    rf"(?P<after>\s*\(?{NEXT_DAY}\)?)?"
)
_DIGITS = re.compile(
    r"(?P<hour>[0-9]{1,2})(?P<minute>[0-9]{2})(?P<second>[0-9]{2})?"
    rf"\s*(?P<half>{_HALVES})?\s*(?:hrs?\.?|h|hours|{OCLOCK})?"
    rf"\s*(?P<zone>z|utc|gmt|bst|{_NAMED}|[+-][0-9]{{2}}(?::?[0-9]{{2}})?)?"
)
_FRACTION = re.compile(r"0?\.[0-9]+|0")
_SPAN = re.compile(
    r"[0-9]{1,2}[:.]?[0-9]{2}\s*(?:-|\u2013|to)\s*[0-9]{1,2}[:.]?[0-9]{2}(?:\s?hrs?)?"
)
_SEPARATED = re.compile(r"[0-9]{1,2}[:.h][0-9]{2}.*")
_HALF_ALONE = re.compile(r"a\.?m\.?|p\.?m\.?|morning|afternoon|evening|night")

_NOT_A_TIME = "not a clock time"
_NO_HALF = "no am or pm in a file kept on the 12-hour clock; write it behind every time"
_EITHER = "either a clock time or a part of a day"
_IS_SPAN = "a span of two times; write the one at which the check was made"
_HOUR_OR_MINUTE = "either a full hour or, its zeros lost, minutes past midnight"
#: Names of one offset each: Central and Eastern Europe, Sydney, Auckland (the IANA time
#: zone database has them there, and nowhere else).
_ONE_OFFSET = {
    "cet": "+01:00", "cest": "+02:00", "mez": "+01:00", "mesz": "+02:00",
    "eet": "+02:00", "eest": "+03:00", "aest": "+10:00", "aedt": "+11:00",
    "nzst": "+12:00", "nzdt": "+13:00",
}  # fmt: skip
#: Short names of time zones: most of them are those of several.
_NAMED_ZONE = re.compile(
    r"[0-9][0-9:.]{0,7}\s*(?:[ap]m\s*)?\(?(?P<zone>[cemp][sd]t|a[ckw][sd]t|h[sd]t|"
    r"we(?:s)?t|me(?:s)?t|[ijmn]st|sast|msk)\)?"
)
_WHICH_ZONE = (
    "{0} is the name of a time zone; write its offset, such as +01:00, or leave it "
    "out and name the zone of the export in a layout (zone)"
)
_WHICH_BST = "BST is the name of several zones; write its offset, such as +01:00"

#: What is known of a time: its text, "next" if it is in the next day, and why it is
#: none.
TIME_PARTS = ["time", "is_next", "why"]


def read_times(tokens: Sequence[str], clock: Clock) -> pd.DataFrame:
    """Read times of day.

    Parameters
    ----------
    tokens : sequence of str, length n
        Times of one column, without a date; empty where there is none.
    clock : Clock
        How many hours the clock has.

    Returns
    -------
    DataFrame of str, shape (n, 3)
        `TIME_PARTS`: ``13:05``, with seconds and offset where they are written; empty
        where there is none, or where it cannot be read.
    """
    lower = [plain(token) for token in tokens]
    different = set(lower) - {""}
    is_fraction = _fractions_are_days(different)
    given = _refused(different)
    padded = {token: f"00{token:0>2}" for token in without_zeros(different)}

    def read(token: str) -> tuple[str, str, str]:
        if token in given:
            return "", "", given[token]
        return _read_time(padded.get(token, token), clock, is_fraction)

    return read_each(lower, read, TIME_PARTS)


def without_zeros(tokens: Collection[str]) -> frozenset[str]:
    """Give the minutes past midnight among times written as 1605.

    A spreadsheet that takes 0010 and 0405 for numbers leaves 10 and 405.

    Parameters
    ----------
    tokens : collection of str
        Different times of one column.

    Returns
    -------
    frozenset of str
        Those of one or two digits, where others have three and none begins with 0.

    Examples
    --------
    >>> sorted(without_zeros({"1605", "405", "10"})), sorted(without_zeros({"8", "10"}))
    (['10'], [])
    """
    short, long = _bare(tokens)
    is_lost = any(len(token) == 3 for token in long)
    is_lost &= not any(len(token) == 4 and token[0] == "0" for token in long)
    return frozenset(short) if is_lost and _are_digits(tokens) else frozenset()


def _bare(tokens: Collection[str]) -> tuple[list[str], list[str]]:
    """Give the times of one or two digits, and those of three or four."""
    bare = [token for token in tokens if token.isdecimal() and token.isascii()]
    return ([token for token in bare if len(token) <= 2],
            [token for token in bare if 3 <= len(token) <= 4])  # fmt: skip


def _are_digits(tokens: Collection[str]) -> bool:
    return not any(_SEPARATED.fullmatch(token) for token in tokens)


def _refused(tokens: Collection[str]) -> dict[str, str]:
    """Give the times that the others of their column leave open, and why."""
    out: dict[str, str] = {}
    short, long = _bare(tokens)
    if long and not without_zeros(tokens) and _are_digits(tokens):
        out |= {t: _HOUR_OR_MINUTE for t in short if int(t)}
    zones = {t: str(m["zone"] or "") for t in tokens if (m := clock_of(t))}
    offsets = {zone for zone in zones.values() if zone[:1] in ("+", "-")}
    some = sum(zone != "" for zone in zones.values())
    for token, zone in zones.items():
        is_odd = len(offsets) > _MOST_OFFSETS or not _is_offset(zone)
        # An offset stands behind every time of a column: one alone is a span.
        is_alone = zone.startswith("-") and 2 * some < len(zones)
        if zone.startswith("-") and (is_odd or is_alone):
            out[token] = _IS_SPAN
    out |= {t: _IS_SPAN for t in tokens if t not in zones and _SPAN.fullmatch(t)}
    if not any(zone == "gmt" for zone in zones.values()):
        out |= {t: _WHICH_BST for t, zone in zones.items() if zone == "bst"}
    return out


#: Offsets of one place: of winter and of summer, and one more.
_MOST_OFFSETS = 3


def _is_offset(zone: str) -> bool:
    """Tell whether an offset is that of a place on earth: -12:00 to +14:00."""
    digits = zone[1:].replace(":", "").ljust(4, "0")
    most = 12 if zone.startswith("-") else 14
    return (
        zone[:1] in ("+", "-")
        and int(digits[:2]) <= most
        and (digits[2:] in ("00", "30", "45"))
    )


def _fractions_are_days(tokens: set[str]) -> bool | None:
    """Tell whether 0.25 is a quarter of a day; None where that is open.

    It is where the column has longer fractions and no times like 16.30.
    """
    days = any(re.fullmatch(r"0?\.[0-9]{3,}", token) for token in tokens)
    dots = any(re.fullmatch(r"[1-9][0-9]?\.[0-9]{2}", token) for token in tokens)
    return None if days == dots else days


def _read_time(
    token: str,
    clock: Clock,
    is_fraction: bool | None,  # noqa: FBT001 - open: None
) -> tuple[str, str, str]:
    """Give a time of day, "next" if it is in the next day, and why it is none."""
    if _FRACTION.fullmatch(token):
        long = len(token.partition(".")[2]) > 2
        if is_fraction or long:
            return _from_fraction(token)
        if is_fraction is None:
            return "", "", _EITHER
    if is_fraction and token.isdecimal():
        return "", "", _EITHER
    token = _WORDS.get(token, token)
    found = clock_of(token)
    if found is None:
        return "", "", _why_none(token)
    return _from_clock(found, clock)


def _why_none(token: str) -> str:
    if named := _NAMED_ZONE.fullmatch(token):
        return _WHICH_ZONE.format(named["zone"].upper())
    if _HALF_ALONE.fullmatch(token):
        return "no clock time: only the half of the day"
    return _NOT_A_TIME


#: A word alone that says the time.
_WORDS = {"noon": "12 noon", "midday": "12 noon", "midnight": "12 midnight"}


def clock_of(token: str) -> re.Match[str] | None:
    """Take a time of day apart.

    Parameters
    ----------
    token : str
        A time, as `plain` gives it.

    Returns
    -------
    Match or None
        Groups hour, minute, second, half and zone; None for anything else.
    """
    return _CLOCK.fullmatch(token) or _DIGITS.fullmatch(token)


def _from_fraction(token: str) -> tuple[str, str, str]:
    """Read a part of a day; digits that were cut off are put down to whole minutes."""
    digits = len(token.partition(".")[2])
    seconds = float(token) * 86400
    minute = round(seconds / 60) * 60
    if abs(seconds - minute) <= (0.5 * 10.0**-digits * 86400 if digits > 3 else 1e-6):
        seconds = minute
    elif digits <= 4:
        return "", "", "a part of a day with too few digits to tell the minute"
    whole = round(seconds)
    shift, whole = ("next", 0) if whole == 86400 else ("", whole)
    time = f"{whole // 3600:02d}:{whole // 60 % 60:02d}"
    return time + (f":{whole % 60:02d}" if whole % 60 else ""), shift, ""


def _from_clock(found: re.Match[str], clock: Clock) -> tuple[str, str, str]:
    hour, minute = int(found["hour"]), found["minute"] or "00"
    second = found["second"] or ""
    if hour > 24 or int(minute) > 59 or int(second or 0) > 59:
        return "", "", "no such clock time"
    half = (found["half"] or "").replace(".", "").replace(" ", "")
    if not half and clock is Clock.H12 and 1 <= hour <= 12:
        return "", "", _NO_HALF
    if half:
        settled = _hour_of(hour, half)
        if settled is None:
            return "", "", f"{hour}:{minute} cannot be {half}"
        hour = settled
    if hour == 24 and (int(minute) or int(second or 0)):
        return "", "", "no such clock time"
    is_after = bool(found.groupdict().get("after"))
    if hour == 24 and is_after:
        return "", "", "no such clock time"
    shift = "next" if hour == 24 or is_after else ""
    hour %= 24
    time = f"{hour:02d}:{minute}" + (f":{second}" if second else "")
    zone = _zone(found["zone"] or "")
    return (time + zone, shift, "") if zone is not None else ("", "", _NOT_A_TIME)


def _hour_of(hour: int, half: str) -> int | None:
    """Give the hour of 24, None where hour and half of the day contradict."""
    if half in ("noon", "midday", "midnight"):
        return {"midnight": 0}.get(half, 12) if hour == 12 else None
    if half.startswith("a"):
        return hour % 12 if hour <= 12 else None
    return hour % 12 + 12 if 1 <= hour <= 23 else None


def _zone(text: str) -> str | None:
    """Give an offset as ISO has it; None where no place on earth has it."""
    if text in ("z", "utc", "gmt"):
        return "Z"
    if text == "bst":
        return "+01:00"
    if text in _ONE_OFFSET:
        return _ONE_OFFSET[text]
    digits = text[1:].replace(":", "").ljust(4, "0")
    if text and (int(digits[:2]) > 14 or int(digits[2:]) > 59):
        return None
    return f"{text[0]}{digits[:2]}:{digits[2:]}" if text else ""


def plain(token: str) -> str:
    """Give a text in lower case and with single blanks.

    Parameters
    ----------
    token : str
        Any.

    Returns
    -------
    str
        The form that is compared.
    """
    return " ".join(token.lower().split())


def read_each(
    tokens: Sequence[str], read: Callable[[str], tuple[str, ...]], names: list[str]
) -> pd.DataFrame:
    """Read each different token once.

    Parameters
    ----------
    tokens : sequence of str, length n
        Texts; an empty one gives empty parts.
    read : callable
        Gives the parts of a text.
    names : list of str
        Names of the parts.

    Returns
    -------
    DataFrame of str, shape (n, parts)
        The parts of each token.
    """
    codes, different = pd.factorize(pd.Series(tokens, dtype="str"))
    empty = ("",) * len(names)
    rows = [read(str(token)) if token else empty for token in different]
    table = pd.DataFrame(rows, columns=names, dtype="str")
    return table.take(codes).reset_index(drop=True)
