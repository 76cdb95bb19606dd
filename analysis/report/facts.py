"""Facts of a report: from an audit's result to small tables and numbers, no wording.

Everything a section of the report prints is taken from here, so that tests can ask for
facts and not for HTML. Wards stand in alphabetical order and are never ranked; only
findings are put in an order, by what a reader should look at first.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from analysis.audit import AuditResult
from analysis.intake.infusions import DERIVED
from analysis.report.tables import texts
from analysis.terms import (
    ALL,
    BETWEEN_WARDS,
    CheckOutcome,
    EndKind,
    Exclusion,
    FindingGroup,
    FindingKind,
    Tally,
    YesNo,
)

#: What a finding's kind is called where people read it.
KIND_WORDS: Mapping[str, str] = {
    FindingKind.STALL: "stopped for a while",
    FindingKind.STALL_TO_END: "stopped, not seen to move again",
    FindingKind.SLOW: "slow throughout",
    FindingKind.OVER_DELIVERY: "fast throughout: over-delivery",
    FindingKind.SURGE: "fast for a while: over-delivery",
    FindingKind.VOLUME_RISE: "volume rose",
    FindingKind.DOUBTFUL_READING: "doubtful reading",
    FindingKind.DOUBTFUL_RATE: "doubtful rate",
    FindingKind.VOLUMES_DISAGREE: "two volumes disagree",
    FindingKind.ROW_AFTER_END: "row after the end",
    FindingKind.ENTRY_ERROR: "suspected entry error",
    FindingKind.NEAR_DUPLICATE: "nearly the same row twice",
    FindingKind.START_OFFSET: "start volume off the line",
    FindingKind.SET_RATE_DIFFERS: "set rate does not match",
    FindingKind.SCALE_AND_DISPLAY: "scale and display part",
    FindingKind.MAY_STILL_BE_RUNNING: "may still be running",
    FindingKind.NO_SYRINGE_RUNNING: "no syringe running",
    FindingKind.CHANGED_LATE: "syringe changed late",
    FindingKind.CHECK_MISSED: "checks missed",
    FindingKind.LINE_OVERDUE: "extension set overdue",
    FindingKind.SITE_OVERDUE: "cannula site overdue",
    FindingKind.SITE_REACTION: "site reaction",
}

#: Which finding to look at first: what may still matter now, what was given early, what
#: was missed, what hides the truth, then the rest. Within a step, most hours first.
_STEPS: tuple[tuple[FindingKind, ...], ...] = (
    (FindingKind.MAY_STILL_BE_RUNNING,),
    (FindingKind.OVER_DELIVERY, FindingKind.SURGE),
    (FindingKind.STALL_TO_END, FindingKind.STALL, FindingKind.SLOW),
    (FindingKind.NO_SYRINGE_RUNNING, FindingKind.CHANGED_LATE),
    (FindingKind.VOLUME_RISE,),
    (
        FindingKind.DOUBTFUL_READING,
        FindingKind.DOUBTFUL_RATE,
        FindingKind.ENTRY_ERROR,
    ),
    (FindingKind.SCALE_AND_DISPLAY, FindingKind.SET_RATE_DIFFERS),
    (FindingKind.ROW_AFTER_END, FindingKind.START_OFFSET),
    (FindingKind.CHECK_MISSED,),
    (FindingKind.SITE_REACTION,),
    (FindingKind.LINE_OVERDUE, FindingKind.SITE_OVERDUE),
    (FindingKind.VOLUMES_DISAGREE, FindingKind.NEAR_DUPLICATE),
)
_STEP_OF = {str(kind): step for step, kinds in enumerate(_STEPS) for kind in kinds}

#: Measures of the compact table, in order.
LEADING = ("covered_time", "checks_on_time", "lines_changed_in_time")
REACTIONS = "site_reactions"

#: What may be said of a measure that has no figure.
NOTHING_DUE = "nothing due"
NO_RULE_SET = str(Exclusion.NO_RULE_SET)

_OVER = (FindingKind.OVER_DELIVERY, FindingKind.SURGE)
_BEHIND = (FindingKind.STALL_TO_END, FindingKind.STALL, FindingKind.SLOW)


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
class ActNow:
    """What may need action today: rows of the findings table, in order.

    ``running`` are infusions of the whole log that may still be running, since its end
    is nearest to now; ``running_flagged`` are the other findings of those infusions.
    ``over`` and ``behind`` are of the month.
    """

    running: pd.DataFrame
    running_flagged: pd.DataFrame
    over: pd.DataFrame
    behind: pd.DataFrame


@dataclass(frozen=True, slots=True, kw_only=True)
class Pull:
    """A chart to pull: its findings, the one that puts it in its place first."""

    ward: str
    patient_id: str
    infusion_id: str
    findings: pd.DataFrame


@dataclass(frozen=True, slots=True, kw_only=True)
class PullList:
    """The first charts to pull, and how many more there are."""

    charts: tuple[Pull, ...]
    more: int


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Trust:
    """Numbers that say how far the log can be trusted.

    The first seven are of all files; the others of the month's infusions.
    """

    rows_read: int
    accepted: int
    rejected: int
    superseded: int
    exact_duplicates: int
    cells_set_aside: int
    derived_infusions: int
    infusions: int
    end_not_recorded: int
    not_evaluable: Mapping[str, int]
    doubtful_readings: int


def rows_of(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Give the rows of a frame as dicts by column name.

    Parameters
    ----------
    frame : DataFrame
        Any.

    Returns
    -------
    list of dict
        In the order of the frame; missing values as they are.
    """
    return [
        {str(name): value for name, value in row.items()}
        for row in frame.to_dict("records")
    ]


def words(kind: str) -> str:
    """Say a kind or a group in words; an unknown one stands as it is.

    Parameters
    ----------
    kind : str
        As in the findings table.

    Returns
    -------
    str
        Words for a reader.
    """
    return KIND_WORDS.get(kind, kind.replace("_", " "))


def month_findings(result: AuditResult) -> pd.DataFrame:
    """Give the findings of the report's month.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    DataFrame
        Rows of the findings table, in its order.
    """
    return result.findings[result.findings["month"] == result.month]


def in_order(findings: pd.DataFrame) -> pd.DataFrame:
    """Put findings in the order in which to look at them.

    Parameters
    ----------
    findings : DataFrame
        Rows of the findings table.

    Returns
    -------
    DataFrame
        The same rows: what may still be running, over-delivery, delivery missed (most
        hours first), doubtful readings, checks, reactions, lines. Missing hours last.
    """
    keys = pd.DataFrame(
        {
            "step": findings["kind"].map(_STEP_OF).fillna(len(_STEPS)),
            "hours": -findings["hours_equivalent"].abs().fillna(-1),
            "volume": -findings["volume_ml"].abs().fillna(-1),
            "ward": texts(findings["ward"]),
            "finding_id": texts(findings["finding_id"]),
        },
        index=findings.index,
    )
    return findings.loc[keys.sort_values(list(keys.columns), kind="stable").index]


def act_now(result: AuditResult) -> ActNow:
    """Pick what may need action today.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    ActNow
        Empty frames where there is nothing.
    """
    month = in_order(month_findings(result))
    every = in_order(result.findings)
    is_running = every["kind"] == FindingKind.MAY_STILL_BE_RUNNING
    running = set(texts(every.loc[is_running, "infusion_id"])) - {""}
    return ActNow(
        running=every[is_running],
        running_flagged=every[every["infusion_id"].isin(running) & ~is_running],
        over=month[month["kind"].isin(_OVER)],
        behind=month[month["kind"].isin(_BEHIND)],
    )


def charts_to_pull(result: AuditResult, limit: int) -> PullList:
    """List the charts to pull, in order: one entry a chart, with all its findings.

    Parameters
    ----------
    result : AuditResult
        The audit. Findings of the month count, and those of any infusion that may still
        be running. That alone is no reason to pull a chart: every log ends with
        infusions under way.
    limit : int
        Longest list wanted.

    Returns
    -------
    PullList
        A chart is an infusion; where a finding names none (a line, a site), a patient.
    """
    findings = result.findings
    is_running = findings["kind"] == FindingKind.MAY_STILL_BE_RUNNING
    flagged = set(texts(act_now(result).running_flagged["infusion_id"]))
    wanted = (findings["month"] == result.month) & ~is_running
    wanted |= findings["infusion_id"].isin(flagged)
    ordered = in_order(findings[wanted])
    charts: dict[tuple[str, ...], list[int]] = {}
    keys = zip(
        *(texts(ordered[name]) for name in ("ward", "patient_id", "infusion_id")),
        strict=True,
    )
    for place, key in enumerate(keys):
        charts.setdefault(key, []).append(place)
    listed = [
        Pull(
            ward=key[0],
            patient_id=key[1],
            infusion_id=key[2],
            findings=ordered.iloc[places],
        )
        for key, places in charts.items()
    ]
    return PullList(charts=tuple(listed[:limit]), more=max(len(listed) - limit, 0))


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
        The report's month is always the first.
    """
    found = {*texts(result.comparisons["period"]), *texts(result.rates["period"])}
    earlier = sorted((p for p in found - {ALL, ""} if p < result.month), reverse=True)
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
    units = result.units
    mine = units[
        (units["measure"] == "checks_on_time")
        & (units["month"] == result.month)
        & (units["tally"] != Tally.EXCLUDED)
    ]
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


def trust(result: AuditResult) -> Trust:
    """Count what says how far the log can be trusted.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    Trust
        Whole numbers.
    """
    account = result.account
    month = result.infusions[result.infusions["month"] == result.month]
    not_evaluable = month[month["evaluable"] != YesNo.YES]
    reasons = pd.Series(texts(not_evaluable["reason"]), dtype="str").value_counts()
    findings = month_findings(result)
    return Trust(
        rows_read=_count(account["rows_read"].sum()),
        accepted=_count(account["accepted"].sum()),
        rejected=_count(account["rejected"].sum()),
        superseded=_count(account["superseded"].sum()),
        exact_duplicates=_count(account["exact_duplicates"].sum()),
        cells_set_aside=len(result.set_aside),
        derived_infusions=int(
            pd.Series(texts(result.infusions["infusion_id"]), dtype="str")
            .str.startswith(DERIVED)
            .sum()
        ),
        infusions=len(month),
        end_not_recorded=int((month["end_kind"] == EndKind.NOT_RECORDED).sum()),
        not_evaluable={str(reason): int(n) for reason, n in sorted(reasons.items())},
        doubtful_readings=int((findings["kind"] == FindingKind.DOUBTFUL_READING).sum()),
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


def delivery_findings(result: AuditResult) -> pd.DataFrame:
    """Give the month's delivery findings in the order in which to look at them.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    DataFrame
        Rows of the findings table.
    """
    month = month_findings(result)
    return in_order(month[month["group"] == FindingGroup.DELIVERY])


def other_findings(result: AuditResult) -> dict[tuple[str, str], pd.DataFrame]:
    """Give the month's other findings by group and kind, each in order.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    dict of (str, str) to DataFrame
        Groups and kinds in the order of their closed lists; empty ones are left out.
    """
    month = in_order(month_findings(result))
    groups = [str(g) for g in FindingGroup if g is not FindingGroup.DELIVERY]
    found = {
        (group, str(kind)): month[(month["group"] == group) & (month["kind"] == kind)]
        for group in groups
        for kind in FindingKind
    }
    return {key: rows for key, rows in found.items() if len(rows)}


def only_infusions(result: AuditResult, infusion_ids: Iterable[str]) -> AuditResult:
    """Narrow an audit's readings and infusions, so that each is looked for among few.

    Parameters
    ----------
    result : AuditResult
        The audit.
    infusion_ids : iterable of str
        Infusions to keep.

    Returns
    -------
    AuditResult
        All other tables as they were.
    """
    wanted = set(infusion_ids)
    return replace(
        result,
        readings=result.readings[result.readings["infusion_id"].isin(wanted)],
        infusions=result.infusions[result.infusions["infusion_id"].isin(wanted)],
    )


def readings_of(result: AuditResult, infusion_id: str) -> pd.DataFrame:
    """Give the readings of one infusion that can be drawn.

    Parameters
    ----------
    result : AuditResult
        The audit.
    infusion_id : str
        The infusion.

    Returns
    -------
    DataFrame
        Sorted by elapsed_h [h]; columns elapsed_h, observed_ml, expected_ml, sd_ml [mL]
        and is_doubtful. Rows without a volume or without an expected line are left out.
    """
    rows = result.readings[result.readings["infusion_id"] == infusion_id]
    drawn = pd.DataFrame(
        {
            "elapsed_h": rows["elapsed_h"].astype("float64"),
            "observed_ml": (rows["expected_ml"] + rows["residual_ml"]).astype(
                "float64"
            ),
            "expected_ml": rows["expected_ml"].astype("float64"),
            "sd_ml": rows["sd_ml"].astype("float64"),
            "is_doubtful": rows["doubtful"] == YesNo.YES,
        }
    )
    known = drawn.dropna(subset=["elapsed_h", "observed_ml"])
    return known.sort_values("elapsed_h", kind="stable", ignore_index=True)


def started_at(result: AuditResult, infusion_id: str) -> pd.Timestamp | None:
    """Give the start of an infusion in the policy's zone; None where it is not known.

    Parameters
    ----------
    result : AuditResult
        The audit.
    infusion_id : str
        The infusion.

    Returns
    -------
    Timestamp or None
        With offset.
    """
    own = result.infusions[result.infusions["infusion_id"] == infusion_id]
    moments = own["started_at"].dropna()
    if moments.empty:
        return None
    moment: pd.Timestamp = moments.iloc[0].tz_convert(result.policy.zone)
    return moment


def unseen_h(finding: Mapping[str, object]) -> float:
    """Give the hours from the earliest onset to the first check that could show it.

    Parameters
    ----------
    finding : mapping
        A row of the findings table.

    Returns
    -------
    float
        Hours; NaN where either is not known.
    """
    began, seen = finding["began_earliest"], finding["first_visible"]
    if not isinstance(began, pd.Timestamp) or not isinstance(seen, pd.Timestamp):
        return np.nan
    return (seen - began) / pd.Timedelta(hours=1)


def _has_text(values: pd.Series) -> pd.Series:
    return pd.Series([text != "" for text in texts(values)], index=values.index)


def _count(value: object) -> int:
    return 0 if pd.isna(value) else int(value)  # type: ignore[call-overload]
