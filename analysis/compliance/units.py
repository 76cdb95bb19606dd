"""Units of measures to measures: counted + not counted + excluded = all units."""

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd

from analysis.columns import EXCLUSIONS, MEASURES
from analysis.compliance.clustering import correlations, independent_units
from analysis.compliance.coded import as_texts
from analysis.intervals import wilson
from analysis.terms import ALL, BETWEEN_WARDS, Tally

_KEYS = ["measure", "ward", "period"]
_SUMS = ["units", "judged", "numerator", "denominator"]
#: Patients, and sums of squares that intervals need.
_SQUARES = ["patients", "xx", "xn", "nn"]


def measure_units(
    tables: Iterable[pd.DataFrame], names: Sequence[str], in_hours: frozenset[str]
) -> pd.DataFrame:
    """Add up units by ward and period, with intervals that know of patients.

    Parameters
    ----------
    tables : iterable of DataFrame
        Units as in the ``units`` table, all of a measure in the same one; taken one
        after the other, as `Units.tables` gives them.
    names : sequence of str
        Measures in the order wanted; one without units gets a line that says so.
    in_hours : frozenset of str
        Measures whose numerator and denominator are hours.

    Returns
    -------
    DataFrame
        The measures table, for every ward and month and for all of them. Wilson's
        limits are widened for clustering in patients: counts by one intraclass
        correlation a measure, over all wards and months together; hours by the ratio
        estimator's variance over patients, taken for no smaller in a ward than in all.
        With fewer than ten patients in all there are no limits.

    Notes
    -----
    The design effect of a ward is sum n (1 + (n - 1) ICC) / sum n over its patients
    (Short MI et al. (2020) Stat Methods Med Res 29:111-121).
    """
    found = [pd.DataFrame(columns=[*_KEYS, *_SUMS, *_SQUARES])]
    icc: dict[str, float] = {}
    for units in tables:
        sums, own = _sums_of(units, in_hours)
        found.append(sums)
        icc |= own
    some = [sums for sums in found if len(sums)]
    sums = _with_empty(pd.concat(some or found[:1]), names)
    sums = sums[(sums["ward"] != BETWEEN_WARDS) & sums["measure"].isin(names)]
    place = {name: i for i, name in enumerate(names)}
    sums = sums.assign(
        place=sums["measure"].map(place),
        is_ward=sums["ward"] != ALL,
        is_month=sums["period"] != ALL,
    ).sort_values(["place", "is_ward", "ward", "is_month", "period"], kind="stable")
    return _with_limits(sums.reset_index(drop=True), icc, in_hours)


def _sums_of(
    units: pd.DataFrame, in_hours: frozenset[str]
) -> tuple[pd.DataFrame, dict[str, float]]:
    """Add up one table's units at all levels, with the correlation of each measure."""
    people, labels = _by_patient(units)
    levels = {level: _people_of(people, *level) for level in _LEVELS}
    counts = {
        number: str(name)
        for number, name in enumerate(labels["measure"])
        if name not in in_hours
    }
    icc = correlations(levels[False, False], counts)
    sums = [_add_up(people, *level) for level, people in levels.items()]
    return _spelt(pd.concat(sums), labels), icc


def count_exclusions(
    tables: Iterable[pd.DataFrame], names: Sequence[str]
) -> pd.DataFrame:
    """Count excluded units by reason, ward and period.

    Parameters
    ----------
    tables : iterable of DataFrame
        Units as in the ``units`` table, all of a measure in the same one; taken one
        after the other, as `Units.tables` gives them.
    names : sequence of str
        Measures in the order wanted.

    Returns
    -------
    DataFrame
        The exclusions table.
    """
    found = [part for units in tables if len(part := _reasons(units, names))]
    if not found:
        return pd.DataFrame(columns=EXCLUSIONS.names)
    reasons = pd.concat(found)
    counted = pd.concat(
        [
            _labelled(reasons, period, ward)
            .groupby([*_KEYS, "reason"], sort=False, as_index=False)["units"]
            .sum()
            for period, ward in _LEVELS
        ]
    )
    place = {name: i for i, name in enumerate(names)}
    order = counted.assign(
        place=counted["measure"].map(place),
        is_ward=counted["ward"] != ALL,
        is_month=counted["period"] != ALL,
    ).sort_values(
        ["place", "is_ward", "ward", "is_month", "period", "reason"], kind="stable"
    )
    counts: pd.DataFrame = order[EXCLUSIONS.names].reset_index(drop=True)
    return counts


def _reasons(units: pd.DataFrame, names: Sequence[str]) -> pd.DataFrame:
    """Count excluded units by measure, ward, month and reason."""
    keys = ["measure", "ward", "month", "reason"]
    is_excluded = (units["tally"] == Tally.EXCLUDED) & units["measure"].isin(names)
    # Of millions of units, only the columns that are counted by are copied.
    excluded = units[keys][is_excluded]
    counted = excluded.groupby(keys, sort=False, observed=True).size()
    return as_texts(counted.rename("units").reset_index())


#: Which of month and ward are kept at each level of adding up.
_LEVELS = ((False, False), (True, False), (False, True), (True, True))


def _labelled(table: pd.DataFrame, by_month: bool, by_ward: bool) -> pd.DataFrame:  # noqa: FBT001 - a level
    out = table.assign(period=table["month"] if by_month else ALL)
    return out if by_ward else out.assign(ward=ALL)


#: What units are added up by, as numbers; -1 stands for all wards or months.
_BY = ["measure", "ward", "month", "patient_id"]
_EVERY = -1


def _by_patient(units: pd.DataFrame) -> tuple[pd.DataFrame, dict[str, pd.Index]]:
    """Add up units by measure, ward, month and patient, and spell out the numbers."""
    judged = (units["tally"] != Tally.EXCLUDED).to_numpy()
    numbers = {name: _numbered(units[name]) for name in _BY}
    # Units of one patient mostly stand together: each run of them is added up first.
    opens = np.ones(len(units), dtype=bool)
    opens[1:] = False
    for codes, _ in numbers.values():
        opens[1:] |= codes[1:] != codes[:-1]
    begins = np.flatnonzero(opens)
    sums = {"judged": np.add.reduceat(judged, begins, dtype="int64")}
    for name in ("numerator", "denominator"):  # one after the other: they are long
        values = np.where(judged, units[name].to_numpy("float64"), 0.0)
        sums[name] = np.add.reduceat(values, begins)
    runs = pd.DataFrame(
        {name: codes[begins].astype("int64") for name, (codes, _) in numbers.items()}
        | {"units": np.diff(begins, append=len(units))}
        | sums
    )
    labels = {name: words for name, (_, words) in numbers.items()}
    return _summed(runs, _BY, _SUMS), labels


def _summed(
    table: pd.DataFrame, names: Sequence[str], columns: Sequence[str]
) -> pd.DataFrame:
    """Add up columns by numbers of -1 or more; groups in order of appearance.

    The numbers are put into one, and the sums are taken by it: that is quick.
    """
    code, many = np.zeros(len(table), dtype="int64"), []
    for name in names:
        own = table[name].to_numpy("int64") + 1
        many.append(own.max(initial=0) + 1)
        code = code * many[-1] + own
    group, code = pd.factorize(code)
    keys = {}
    for name, count in zip(reversed(names), reversed(many), strict=True):
        code, own = np.divmod(code, count)
        keys[name] = own - 1
    values = {name: table[name].to_numpy() for name in columns}
    sums = {
        name: np.bincount(group, own, len(code)).astype(own.dtype)
        for name, own in values.items()
    }
    return pd.DataFrame({name: keys[name] for name in names} | sums)


def _numbered(values: pd.Series) -> tuple[np.ndarray, pd.Index]:
    """Give a number to each different value, and the values by their number."""
    if isinstance(values.dtype, pd.CategoricalDtype):
        return values.cat.codes.to_numpy(), values.cat.categories
    return pd.factorize(values, sort=True)


def _people_of(people: pd.DataFrame, by_month: bool, by_ward: bool) -> pd.DataFrame:  # noqa: FBT001 - a level
    """Add patients up over wards or months, as the level has it."""
    if by_month:
        # A unit of no known time is in no month, and in the whole log.
        people = people[people["month"] >= 0]
        if by_ward:
            return people
    wards, months = (["ward"] if by_ward else []), (["month"] if by_month else [])
    return _summed(people, ["measure", *wards, *months, "patient_id"], _SUMS)


def _add_up(people: pd.DataFrame, by_month: bool, by_ward: bool) -> pd.DataFrame:  # noqa: FBT001 - a level
    """Add patients up to groups, with the sums of squares that intervals need."""
    keys = ["measure", *(["ward"] if by_ward else []), *(["month"] if by_month else [])]
    x, n = people["numerator"], people["denominator"]
    table = people.assign(
        patients=(people["judged"] > 0).astype("int64"), xx=x * x, xn=x * n, nn=n * n
    )
    sums = _summed(table, keys, [*_SUMS, *_SQUARES])
    return sums.assign(
        **{name: _EVERY for name in ("ward", "month") if name not in keys}
    )


def _spelt(sums: pd.DataFrame, labels: dict[str, pd.Index]) -> pd.DataFrame:
    """Give the names of measures, wards and periods in place of numbers."""
    names = {
        name: labels[name].append(pd.Index([ALL])).take(sums[name].to_numpy())
        for name in ("measure", "ward", "month")
    }
    names["period"] = names.pop("month")
    return sums.drop(columns="month").assign(**names)


def _with_empty(sums: pd.DataFrame, names: Sequence[str]) -> pd.DataFrame:
    """Add a line for measures without a unit."""
    there = set(sums["measure"])
    empty = pd.DataFrame(
        [
            {"measure": name, "ward": ALL, "period": ALL}
            for name in names
            if name not in there
        ]
    )
    if not len(empty):
        return sums
    every = (
        pd.concat([sums, empty]) if len(sums) else empty.reindex(columns=sums.columns)
    )
    numbers = [*_SUMS, *_SQUARES]
    return every.assign(**{name: every[name].fillna(0) for name in numbers})


def _with_limits(
    sums: pd.DataFrame, icc: dict[str, float], in_hours: frozenset[str]
) -> pd.DataFrame:
    """Add proportion, design effect, low and high; blank where nothing was judged."""
    some = sums["denominator"] > 0
    share = (sums["numerator"] / sums["denominator"]).where(some).astype("float64")
    is_hours = sums["measure"].isin(in_hours)
    effect = 1 + sums["measure"].map(icc).astype("float64") * (
        sums["nn"] / sums["denominator"].where(some) - 1
    )
    worth = (sums["denominator"] / effect).where(~is_hours, independent_units(sums))
    worth = worth.where(some)
    filled = worth.fillna(0.0).to_numpy(float)
    part = share.fillna(0.0).to_numpy(float)
    low, high = wilson(np.minimum(part * filled, filled), filled)
    out = sums.assign(
        excluded=sums["units"] - sums["judged"],
        design_effect=effect.where(~is_hours & some),
        proportion=share,
        low=low,
        high=high,
    )
    whole = dict.fromkeys(["units", "excluded", "patients"], "int64")
    return out[MEASURES.names].astype(whole)
