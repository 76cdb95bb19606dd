"""Measures and rates of wards and months, as far as they may be shown."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from analysis.audit import AuditResult
from analysis.report.cells import texts
from analysis.report.facts.findings import rows_of
from analysis.terms import ALL, BETWEEN_WARDS, CheckOutcome, Exclusion, Tally, YesNo

#: Measures of the compact table, in order.
LEADING = ("covered_time", "checks_on_time", "lines_changed_in_time")

REACTIONS = "site_reactions"

#: What may be said of a measure that has no figure.
NOTHING_DUE = "nothing due"

NO_RULE_SET = str(Exclusion.NO_RULE_SET)


def lacking(result: AuditResult, name: str) -> str:
    """Say in a few words that a measure or rate cannot be given at all.

    Parameters
    ----------
    result : AuditResult
        The audit.
    name : str
        Of the measure or rate.

    Returns
    -------
    str
        Such as ``not in this export``; empty where it can be given.
    """
    said = result.not_in_export.get(name, "").split(":")[0]
    return said[:1].lower() + said[1:]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One measure of one ward in one period, as far as it may be shown.

    Attributes
    ----------
    shown : str
        ``proportion``, ``counts only``, ``nothing due``, or ``no rule set`` where that
        is why nothing was due.
    numerator, denominator : float
        Units or hours.
    patients : int
        Patients with a unit judged.
    proportion, low, high : float
        NaN unless shown as a proportion.
    change, change_low, change_high : float
        Proportion less that of the month before, with limits; NaN where not known.
    """

    shown: str
    numerator: float
    denominator: float
    patients: int
    proportion: float
    low: float
    high: float
    change: float = math.nan
    change_low: float = math.nan
    change_high: float = math.nan

    @property
    def has_figure(self) -> bool:
        """True where anything was judged.

        Returns
        -------
        bool
            False for nothing due and for no rule set.
        """
        return self.shown not in {NOTHING_DUE, NO_RULE_SET}


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """One rate of one ward in one period; NaN limits where there was no exposure."""

    events: int
    exposure_days: float
    patients: int
    per_1000: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How one ward stands in the month.

    ``infusions`` counts those that could be compared with their line and ``delivery``
    those of them with a delivery finding; ``not_evaluable`` could not be compared.
    """

    ward: str
    measures: Mapping[str, Measured]
    infusions: int
    delivery: int
    not_evaluable: int
    reactions: Rate | None


def wards(result: AuditResult) -> list[str]:
    """Name the wards of the log in alphabetical order.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    list of str
        Without "all" and without what lies between two wards.
    """
    frames = (result.infusions, result.comparisons, result.rates, result.findings)
    found = {ward for frame in frames for ward in texts(frame["ward"])}
    return sorted(found - {ALL, BETWEEN_WARDS, ""}, key=lambda w: (w.casefold(), w))


def is_one_ward(result: AuditResult) -> bool:
    """Tell whether all there is belongs to one ward: then a total says it twice.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    bool
        False where a row names no ward, or lies between two.
    """
    frames = (result.infusions, result.comparisons, result.rates, result.findings)
    found = {ward for frame in frames for ward in texts(frame["ward"])} - {ALL}
    return len(found) == 1 and found == set(wards(result))


def periods(result: AuditResult, most: int) -> list[str]:
    """Name the report's month and the months before it, newest first.

    Parameters
    ----------
    result : AuditResult
        The audit.
    most : int
        How many at most.

    Returns
    -------
    list of str
        The report's month is always the first; of months without a row in the log
        there is nothing to show.
    """
    found = {*texts(result.comparisons["period"]), *texts(result.rates["period"])}
    found &= set(texts(result.readings["month"]))
    earlier = sorted((p for p in found if p < result.month), reverse=True)
    return [result.month, *earlier][:most]


def is_part(result: AuditResult, month: str) -> bool:
    """Say whether the log begins too late to hold a whole month.

    Parameters
    ----------
    result : AuditResult
        The audit.
    month : str
        YYYY-MM.

    Returns
    -------
    bool
        True where the first row is more than 24 h after the month's start.
    """
    start = pd.Timestamp(f"{month}-01", tz=result.policy.zone)
    return bool(result.log_start > start + pd.Timedelta(hours=24))


def measures(result: AuditResult) -> list[str]:
    """Name the measures of an audit, the leading ones first.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    list of str
        Those the export cannot give among them; site reactions are a rate, not here.
    """
    found = {*texts(result.comparisons["measure"]), *result.not_in_export}
    found -= {*texts(result.rates["measure"]), REACTIONS}
    first = [name for name in LEADING if name in found]
    return _beside_their_own(first, sorted(found - set(first)))


def _beside_their_own(first: list[str], others: list[str]) -> list[str]:
    """Put a measure at another grace right after the measure it varies."""
    ordered: list[str] = []
    for name in first:
        ordered += [name, *(o for o in others if o.startswith(f"{name}_"))]
    return ordered + [name for name in others if name not in ordered]


def all_measured(result: AuditResult) -> dict[tuple[str, str, str], Measured]:
    """Give every measure by (measure, ward, period).

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    dict
        From the comparisons table, which says what may be shown.
    """
    unruled = _without_rule(result)
    return {
        (row["measure"], row["ward"], row["period"]): Measured(
            shown=NO_RULE_SET
            if row["shown"] == NOTHING_DUE
            and (row["measure"], row["ward"], row["period"]) in unruled
            else row["shown"],
            numerator=float(row["numerator"]),
            denominator=float(row["denominator"]),
            patients=_count(row["patients"]),
            proportion=float(row["proportion"]),
            low=float(row["low"]),
            high=float(row["high"]),
            change=float(row["change"]),
            change_low=float(row["change_low"]),
            change_high=float(row["change_high"]),
        )
        for row in rows_of(result.comparisons)
    }


def late_and_missed(result: AuditResult) -> dict[str, str]:
    """Say how many checks of the month were late and how many missed, by ward.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    dict of str to str
        Also for all wards; wards with a check due only.
    """
    units = result.unit_tables.of("checks_on_time")
    mine = units[(units["month"] == result.month) & (units["tally"] != Tally.EXCLUDED)]
    every = pd.concat([mine, mine.assign(ward=ALL)])
    counts = pd.crosstab(every["ward"], every["outcome"])
    late, missed = (
        counts.get(str(word), pd.Series(0, index=counts.index))
        for word in (CheckOutcome.LATE, CheckOutcome.MISSED)
    )
    return {str(w): f"{late[w]:,} late, {missed[w]:,} missed" for w in counts.index}


def _without_rule(result: AuditResult) -> set[tuple[str, str, str]]:
    """Find where no unit was left because the ward has no such rule."""
    table = result.exclusions[result.exclusions["units"] > 0]
    reasons = table.groupby(["measure", "ward", "period"])["reason"].agg(set)
    only = reasons[[found == {Exclusion.NO_RULE_SET} for found in reasons]]
    return set(only.index)


def all_rates(result: AuditResult) -> dict[tuple[str, str, str], Rate]:
    """Give every rate by (measure, ward, period).

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    dict
        From the rates table.
    """
    return {
        (row["measure"], row["ward"], row["period"]): Rate(
            events=_count(row["events"]),
            exposure_days=float(row["exposure_days"]),
            patients=_count(row["patients"]),
            per_1000=float(row["rate_per_1000"]),
            low=float(row["low"]),
            high=float(row["high"]),
        )
        for row in rows_of(result.rates)
    }


def standings(result: AuditResult) -> list[Standing]:
    """Say how the wards stand in the report's month.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    list of Standing
        Wards in alphabetical order, then all wards together.
    """
    measured, rates = all_measured(result), all_rates(result)
    month = result.infusions[result.infusions["month"] == result.month]
    return [
        _standing(ward, month, measured, rates, result.month)
        for ward in [*wards(result), ALL]
    ]


def _standing(
    ward: str,
    infusions: pd.DataFrame,
    measured: Mapping[tuple[str, str, str], Measured],
    rates: Mapping[tuple[str, str, str], Rate],
    month: str,
) -> Standing:
    own = infusions if ward == ALL else infusions[infusions["ward"] == ward]
    is_evaluable = own["evaluable"] == YesNo.YES
    names = {key[0] for key in measured}
    return Standing(
        ward=ward,
        measures={
            name: measured[name, ward, month]
            for name in sorted(names)
            if (name, ward, month) in measured
        },
        infusions=int(is_evaluable.sum()),
        delivery=int((is_evaluable & _has_text(own["kind"])).sum()),
        not_evaluable=int((~is_evaluable).sum()),
        reactions=rates.get((REACTIONS, ward, month)),
    )


def exclusions(
    result: AuditResult, ward: str, period: str
) -> dict[str, dict[str, int]]:
    """Give, for each measure, how many units were excluded and why.

    Parameters
    ----------
    result : AuditResult
        The audit.
    ward, period : str
        As in the exclusions table.

    Returns
    -------
    dict of str to dict of str to int
        Measure, reason, units; reasons without a unit are left out.
    """
    table = result.exclusions
    own = table[
        (table["ward"] == ward) & (table["period"] == period) & (table["units"] > 0)
    ]
    found: dict[str, dict[str, int]] = {}
    for row in rows_of(own):
        found.setdefault(row["measure"], {})[row["reason"]] = _count(row["units"])
    return found


def _has_text(values: pd.Series) -> pd.Series:
    return pd.Series([text != "" for text in texts(values)], index=values.index)


def _count(value: object) -> int:
    return 0 if pd.isna(value) else int(value)  # type: ignore[call-overload]
