"""Explanations of a charted volume that cannot be right: a name, a test, a sentence.

Each is tried on the reading by what it would have been; nothing is corrected. The list
is in order: what leaves the surest trace stands first, what fits most easily by chance
last. The signatures are those of the trade (common practice, no source).
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

from analysis.lookup import clock
from analysis.policy import Policy
from analysis.quality.course import Array, Courses, nanoseconds
from analysis.quality.rows import DELIVERED
from analysis.quality.suspects import Suspect
from analysis.terms import EntryError

#: Numbers that stand for "not read" where a sheet wants a number.
MISSING_CODES = (0.0, -1.0, 99.0, 999.0, 9999.0)

#: Shifts of a charted time towards the true one [h]: a day, half a day, an hour.
SHIFTS_H = (24.0, -24.0, 12.0, -12.0, 1.0, -1.0)

DAY_H = 24
#: After midnight the day before is written so long [h]; the day after, so long before.
_NIGHT_H, _EVENING_H = 6, 3
#: Another infusion's row so near in time is its own check, so none is missing there.
_OWN_CHECK_H = 0.5
#: Two rates within this share of each other are alike.
_ALIKE = 0.05
#: Among more open infusions than this one fits by chance, and the fit says nothing.
_MOST_OPEN = 30
_NOBODY = np.array([], dtype="int64")
_MOST_WHOLE_ML = 5
_WHOLE_ML = 0.35


class Context:
    """What an explanation may look at beside the reading itself.

    Parameters
    ----------
    courses : Courses
        Lines and readings of all infusions.
    infusions : DataFrame
        One row an infusion, indexed by infusion_id.
    policy : Policy
        Gives the check interval.
    """

    def __init__(
        self, courses: Courses, infusions: pd.DataFrame, policy: Policy
    ) -> None:
        self.courses = courses
        # Found once: a log may hold hundreds of thousands of infusions.
        self._of_patient = infusions.groupby("patient_id").indices
        self._of_ward = infusions.groupby("ward").indices
        self._ids = infusions.index.to_numpy()
        self._patients = infusions["patient_id"].to_numpy()
        self._drivers = infusions["driver_id"].to_numpy()
        self._first = nanoseconds(infusions["first_row"])
        self._last = nanoseconds(infusions["last_row"])
        wards = pd.Series(infusions["ward"].unique(), dtype="str")
        due = policy.by_ward("check_interval_h", wards)
        due += policy.by_ward("grace_h", wards)
        self._due_h = dict(zip(wards, due, strict=True))

    def due_h(self, ward: str) -> float:
        """Give the longest gap between checks that a ward allows [h]; NaN without.

        Parameters
        ----------
        ward : str
            The ward.

        Returns
        -------
        float
            Check interval and its grace [h].
        """
        due: float = self._due_h.get(ward, np.nan)
        return due

    def of_driver(self, suspect: Suspect) -> list[str]:
        """Name the patient's other infusions on the same driver.

        Parameters
        ----------
        suspect : Suspect
            The reading.

        Returns
        -------
        list of str
            Their ids.
        """
        known = self._others(suspect, same_patient=True)
        same = known[self._drivers[known] == suspect.driver_id]
        return [str(infusion_id) for infusion_id in self._ids[same]]

    def open_at(self, suspect: Suspect, *, same_patient: bool) -> list[tuple[str, str]]:
        """Name the infusions and drivers running beside it: its patient's, or others'.

        Those with rows both before and after it, on its ward.

        Parameters
        ----------
        suspect : Suspect
            The reading.
        same_patient : bool
            Those of its patient, else those of the other patients of the ward.

        Returns
        -------
        list of (str, str)
            Infusion and driver.
        """
        known = self._others(suspect, same_patient=same_patient)
        at = suspect.at.value
        known = known[(self._first[known] < at) & (at < self._last[known])]
        return [(str(self._ids[k]), str(self._drivers[k])) for k in known]

    def _others(self, suspect: Suspect, *, same_patient: bool) -> Array:
        """Give the places of its patient's other infusions, or of others on the ward.

        None where whose it is is not known.
        """
        if same_patient:
            known = np.asarray(self._of_patient.get(suspect.patient_id, _NOBODY))
            is_other: Array = self._ids[known] != suspect.infusion_id
        else:
            known = np.asarray(self._of_ward.get(suspect.ward, _NOBODY))
            is_other = self._patients[known] != suspect.patient_id
        others: Array = known[is_other]
        return others


@dataclass(frozen=True, slots=True)
class Explanation:
    """One explanation.

    Attributes
    ----------
    name : EntryError
        Its word in the closed list.
    test : callable
        Gives what is said after "consistent with" where it fits, else None.
    """

    name: EntryError
    test: Callable[[Suspect, Context], str | None]


def _copied_row(suspect: Suspect, _context: Context) -> str | None:
    """Carried down with every other reading of the row above."""
    if not suspect.is_row_copied or suspect.charted != suspect.before:
        return None
    return (
        "the whole row before carried down: battery, rate and look of the site are the "
        "same too"
    )


def _copied_reading(suspect: Suspect, _context: Context) -> str | None:
    """Equal to the reading above it."""
    if suspect.charted != suspect.before:
        return None
    return "a value carried down from the row before"


def _missing_code(suspect: Suspect, _context: Context) -> str | None:
    """Be a number that stands for none."""
    if suspect.charted not in MISSING_CODES:
        return None
    return f"{suspect.charted:g} written where nothing was read"


def _swapped_volumes(suspect: Suspect, _context: Context) -> str | None:
    """Be the volume delivered under remaining, or the other way round."""
    other = suspect.level.base_ml - suspect.charted
    if suspect.level.base_ml <= 0 or not suspect.would_fit(other):
        return None
    names = ["the volume delivered", "the volume remaining"]
    if suspect.column == DELIVERED:
        names.reverse()
    return (
        f"{names[0]} written as {names[1]} ({suspect.level.base_ml:g} - "
        f"{suspect.charted:g} = {other:.1f} mL would fit)"
    )


def _swapped_rate(suspect: Suspect, _context: Context) -> str | None:
    """Stand in the rate's column, and the rate in the volume's."""
    is_rate = abs(suspect.charted - suspect.usual_rate) <= _ALIKE * suspect.usual_rate
    if not is_rate or not suspect.level.fits(suspect.as_remaining(suspect.rate)):
        return None
    return (
        f"volume and rate written in each other's column ({suspect.rate:g} under rate "
        "would fit as the volume)"
    )


def _decimal_slip(suspect: Suspect, _context: Context) -> str | None:
    """Be ten or a hundred times too large or too small."""
    for factor in (10, 0.1, 100, 0.01):
        value = round(suspect.charted * factor, 4)
        if suspect.charted > 0 and suspect.would_fit(value):
            return f"a decimal point in another place ({value:g} mL would fit)"
    return None


def _transposed_digits(suspect: Suspect, _context: Context) -> str | None:
    """Have two neighbouring digits in the other order."""
    for value in _transposed(suspect.charted):
        if suspect.would_fit(value):
            return f"two digits in the other order ({value:g} mL would fit)"
    return None


def _transposed(value: float) -> Iterator[float]:
    """Give the numbers with two neighbouring digits swapped, the point in its place.

    Examples
    --------
    >>> list(_transposed(15.2))
    [51.2, 12.5]
    """
    signs = f"{abs(value):g}"
    for one, two in pairwise([k for k, sign in enumerate(signs) if sign.isdigit()]):
        if signs[one] != signs[two]:
            other = list(signs)
            other[one], other[two] = signs[two], signs[one]
            if other[0] != "0" or other[1] == ".":  # nobody writes 04
                yield float("".join(other))


def _time_off(suspect: Suspect, context: Context) -> str | None:
    """Fit its own infusion at another time where no check stands.

    A day off is looked for around midnight alone, where the date turns, and also in
    the driver's other infusions; an hour only where readings are fine enough to tell.
    """
    for hours in SHIFTS_H:
        time = suspect.at + pd.Timedelta(hours=hours)
        is_day = abs(hours) == DAY_H
        if is_day and not _is_near_midnight(suspect.at, hours):
            continue
        others = context.of_driver(suspect) if is_day else []
        ids = [suspect.infusion_id, *others]
        if any(_fits_at(suspect, context, infusion_id, time) for infusion_id in ids):
            return time_in_words(hours, time)
    return None


def _is_near_midnight(at: pd.Timestamp, hours: float) -> bool:
    """Tell whether a date may be a day early (after midnight) or late (before it)."""
    return at.hour < _NIGHT_H if hours > 0 else at.hour >= DAY_H - _EVENING_H


def _fits_at(
    suspect: Suspect, context: Context, infusion_id: str, time: pd.Timestamp
) -> bool:
    """Tell whether a reading fits an infusion at a time without a check of its own."""
    level = context.courses.level(infusion_id, time, without=suspect.row)
    remaining = suspect.as_remaining(suspect.charted)
    if level is None or remaining <= 0 or not level.fits(remaining):
        return False
    is_own = infusion_id == suspect.infusion_id
    moved = abs(level.volume_ml - suspect.level.volume_ml)
    if is_own and moved <= max(level.tolerance_ml, suspect.level.tolerance_ml):
        return False
    gap = context.courses.gap(infusion_id, time, without=suspect.row)
    return gap is None or gap.nearest_h > _OWN_CHECK_H


def time_in_words(hours: float, time: pd.Timestamp) -> str:
    """Say a time that is off.

    Parameters
    ----------
    hours : float
        From the time charted to the one that fits [h].
    time : Timestamp
        The one that fits.

    Returns
    -------
    str
        What is said after "consistent with".
    """
    day = ", dated the day before" if hours == DAY_H else ""
    return f"a time off by {abs(hours):g} h{day} (it would fit {clock(time)})"


def _other_of_patient(suspect: Suspect, context: Context) -> str | None:
    """Fit another open infusion of the same patient, whose check is missing."""
    return _other(suspect, context, same_patient=True)


def _other_of_ward(suspect: Suspect, context: Context) -> str | None:
    """Fit another open infusion on the ward, whose check is missing: one only."""
    return _other(suspect, context, same_patient=False)


def _other(suspect: Suspect, context: Context, *, same_patient: bool) -> str | None:
    running = context.open_at(suspect, same_patient=same_patient)
    if len(running) > _MOST_OPEN:
        return None
    fits = [
        (infusion_id, driver, said)
        for infusion_id, driver in running
        if (said := _fits_other(suspect, context, infusion_id))
    ]
    if len(fits) != 1:
        return None
    infusion_id, driver, said = fits[0]
    of = f" (driver {driver})" if driver else ""
    whose = "the same patient's" if same_patient else "another patient's"
    return f"a reading of {whose} infusion {infusion_id}{of}, {said}"


def _fits_other(suspect: Suspect, context: Context, infusion_id: str) -> str | None:
    """Say how the reading fits another infusion; None where it does not."""
    gap = context.courses.gap(infusion_id, suspect.at)
    if gap is None or gap.nearest_h <= _OWN_CHECK_H:
        return None
    if gap.hours <= context.due_h(suspect.ward):
        return None
    level = context.courses.level(infusion_id, suspect.at)
    if level is None or not level.fits(suspect.as_remaining(suspect.charted)):
        return None
    before, after = (clock(context.courses.time_at(row)) for row in gap.rows)
    return (
        f"where {level.volume_ml:.1f} mL was expected and no check stands between "
        f"{before} and {after}; whether one was made there is not confirmed, and none "
        "is counted"
    )


def _whole_ml(suspect: Suspect, _context: Context) -> str | None:
    """Be off by whole millilitres, as where a scale is read at another mark."""
    off = abs(suspect.as_remaining(suspect.charted) - suspect.level.volume_ml)
    whole = round(off)
    if not 1 <= whole <= _MOST_WHOLE_ML or abs(off - whole) > _WHOLE_ML:
        return None
    return f"a scale misread by about {whole} mL"


#: In order; the last ones fit by chance most easily.
EXPLANATIONS: Sequence[Explanation] = (
    Explanation(EntryError.COPIED_ROW, _copied_row),
    Explanation(EntryError.COPIED_READING, _copied_reading),
    Explanation(EntryError.MISSING_CODE, _missing_code),
    Explanation(EntryError.SWAPPED_RATE, _swapped_rate),
    Explanation(EntryError.DECIMAL_SLIP, _decimal_slip),
    Explanation(EntryError.TRANSPOSED_DIGITS, _transposed_digits),
    Explanation(EntryError.OTHER_OF_PATIENT, _other_of_patient),
    Explanation(EntryError.SWAPPED_VOLUMES, _swapped_volumes),
    Explanation(EntryError.TIME_OFF, _time_off),
    Explanation(EntryError.OTHER_OF_WARD, _other_of_ward),
    Explanation(EntryError.WHOLE_ML, _whole_ml),
)


#: Beside nothing surer than these a misread scale is named.
_AS_VAGUE = frozenset({EntryError.WHOLE_ML, EntryError.TIME_OFF})


def explain(
    suspect: Suspect, context: Context, allowed: frozenset[EntryError]
) -> list[tuple[EntryError, str]]:
    """Give the explanations that fit one reading, the surest first.

    Parameters
    ----------
    suspect : Suspect
        The reading.
    context : Context
        What lies around it.
    allowed : frozenset of EntryError
        Explanations that may be tried on it.

    Returns
    -------
    list of (EntryError, str)
        At most two, each with what is said after "consistent with". A misread scale is
        named only beside a time that is off, and a copied row is not named twice.
    """
    found = [
        (each.name, said)
        for each in EXPLANATIONS
        if each.name in allowed and (said := each.test(suspect, context)) is not None
    ]
    names = {name for name, _ in found}
    hidden = {EntryError.WHOLE_ML} if names - _AS_VAGUE else set()
    if EntryError.COPIED_ROW in names:
        hidden.add(EntryError.COPIED_READING)
    return [pair for pair in found if pair[0] not in hidden][:2]
