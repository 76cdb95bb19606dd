"""Lines: extension sets changed in time, cannulas rotated in time, overdue hours.

An age is a span [min, max], by interval arithmetic on the times in `segments`. With the
limit L (life plus grace): replaced with max <= L is in time, and replaced early where
it was for a fault; min > L is overdue, whether changed, ended or in use; replaced with
neither true is indeterminate; ended with the treatment at max <= L was never due; in
use at max <= L is undecided; fitted before the log with no date is not evaluable.
"""

from collections.abc import Callable

import numpy as np
import pandas as pd

from analysis.compliance.measure import (
    UNIT_COLUMNS,
    Family,
    Measure,
    no_units,
    tallied,
)
from analysis.compliance.segments import CANNULA, EXTENSION_SET, Piece
from analysis.compliance.verdicts import first_true
from analysis.intake import Log
from analysis.lookup import whole_seconds
from analysis.policy import Policy
from analysis.terms import (
    Exclusion,
    FindingGroup,
    FindingKind,
    LineOutcome,
)

_EXCLUSION = {
    LineOutcome.INDETERMINATE: Exclusion.INDETERMINATE,
    LineOutcome.NEVER_DUE: Exclusion.NEVER_DUE,
    LineOutcome.UNDECIDED: Exclusion.UNDECIDED,
    LineOutcome.NOT_EVALUABLE: Exclusion.FITTED_BEFORE_LOG,
}

_COUNTED = (str(LineOutcome.IN_TIME), str(LineOutcome.REPLACED_EARLY))


def replaced_in_time(
    segments: pd.DataFrame, piece: Piece, policy: Policy
) -> pd.DataFrame:
    """Judge lines of one kind: replaced within their life.

    Proportion = in time / (in time + overdue); replaced early for a fault is in time
    too. The month is that of the earliest of change, limit, end and end of observation.

    Parameters
    ----------
    segments : DataFrame
        As given by `line_segments`.
    piece : Piece
        The kind.
    policy : Policy
        Gives life and grace by ward.

    Returns
    -------
    DataFrame
        One unit a line.
    """
    if not len(segments):
        return no_units()
    limit = _limit(segments, piece, policy)
    outcome = _outcomes(segments, limit)
    counted = outcome.isin(_COUNTED)
    judged = (counted | (outcome == LineOutcome.OVERDUE)) & limit.notna()
    reason = first_true(
        segments.index,
        (limit.isna(), Exclusion.NO_RULE_SET),
        (_is_contradictory(segments), Exclusion.CONTRADICTORY),
        *((outcome == found, why) for found, why in _EXCLUSION.items()),
    )
    return _units(segments, limit).assign(
        outcome=outcome.mask(limit.isna(), str(Exclusion.NO_RULE_SET)),
        tally=tallied(counted, ~judged),
        reason=reason,
        numerator=counted.astype("float64").where(judged),
        denominator=pd.Series(1.0, index=segments.index).where(judged),
    )[UNIT_COLUMNS]


def overdue_line_hours(
    segments: pd.DataFrame, piece: Piece, policy: Policy
) -> pd.DataFrame:
    """Add up hours over the limit, out of hours in place; both at the least.

    Parameters
    ----------
    segments : DataFrame
        As given by `line_segments`.
    piece : Piece
        The kind.
    policy : Policy
        Gives life and grace by ward.

    Returns
    -------
    DataFrame
        One unit a line, of the month in which `replaced_in_time` has it.
    """
    if not len(segments):
        return no_units()
    limit = _limit(segments, piece, policy)
    youngest, _ = age_span(segments)
    reason = first_true(
        segments.index,
        (limit.isna(), Exclusion.NO_RULE_SET),
        (_is_contradictory(segments), Exclusion.CONTRADICTORY),
        (youngest.isna(), Exclusion.FITTED_BEFORE_LOG),
    )
    over = (youngest - limit).clip(lower=0)
    excluded = reason != ""
    outcome = first_true(
        segments.index, (over > 0, LineOutcome.OVERDUE), default=LineOutcome.WITHIN
    )
    return _units(segments, limit).assign(
        outcome=outcome.mask(excluded, reason),
        tally=tallied(~excluded, excluded),
        reason=reason,
        numerator=over.mask(excluded),
        denominator=youngest.mask(excluded),
    )[UNIT_COLUMNS]


def _limit(segments: pd.DataFrame, piece: Piece, policy: Policy) -> pd.Series:
    life = policy.by_ward(piece.life, segments["ward"])
    return life + policy.by_ward(piece.grace, segments["ward"])


def _units(segments: pd.DataFrame, limit: pd.Series) -> pd.DataFrame:
    names = ["ward", "patient_id", "infusion_id", "line_id"]
    return segments[[*names, "first_source", "last_source"]].assign(
        unit_id=segments["line_id"],
        due_at=_falls_in(segments, limit),
    )


def age_span(segments: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """Give the youngest and oldest a set can have been when last known in place [h].

    Parameters
    ----------
    segments : DataFrame
        As given by `line_segments`.

    Returns
    -------
    youngest, oldest : Series of float
        Hours; NaN where the time of fitting is not known.
    """
    until_min = segments["removed_min"].fillna(segments["seen_until"])
    until_max = segments["removed_max"].fillna(segments["seen_until"])
    youngest = (until_min - segments["inserted_max"]).dt.total_seconds() / 3600
    oldest = (until_max - segments["inserted_min"]).dt.total_seconds() / 3600
    return youngest.clip(lower=0), oldest.clip(lower=0)


def _outcomes(segments: pd.DataFrame, limit: pd.Series) -> pd.Series:
    youngest, oldest = age_span(segments)
    removed = segments["removed_max"].notna()
    replaced = removed & ~segments["is_ended"]
    within = oldest <= limit
    return first_true(
        segments.index,
        (
            segments["inserted_min"].isna() | _is_contradictory(segments),
            LineOutcome.NOT_EVALUABLE,
        ),
        (youngest > limit, LineOutcome.OVERDUE),
        (
            replaced & within & segments["is_fault"].astype(bool),
            LineOutcome.REPLACED_EARLY,
        ),
        (replaced & within, LineOutcome.IN_TIME),
        (segments["is_ended"] & within, LineOutcome.NEVER_DUE),
        (~removed & within, LineOutcome.UNDECIDED),
        default=LineOutcome.INDETERMINATE,
    )


def _is_contradictory(segments: pd.DataFrame) -> pd.Series:
    return segments["removed_max"] < segments["inserted_min"]


def _falls_in(segments: pd.DataFrame, limit: pd.Series) -> pd.Series:
    """Give the earliest of change, limit and end of observation, each at its latest."""
    until = segments["removed_max"].fillna(segments["seen_until"])
    at_limit = segments["inserted_max"] + pd.to_timedelta(limit * 3600, unit="s")
    return whole_seconds(until.where(~(at_limit < until), at_limit))


def line_findings(
    units: pd.DataFrame, segments: pd.DataFrame, piece: Piece, policy: Policy
) -> pd.DataFrame:
    """Give one finding for each overdue line.

    Parameters
    ----------
    units : DataFrame
        Units of `replaced_in_time`.
    segments : DataFrame
        As given by `line_segments`.
    piece : Piece
        The kind.
    policy : Policy
        Gives life and grace by ward.

    Returns
    -------
    DataFrame
        Findings without id and month; hours_equivalent is the time over the limit, at
        the least.
    """
    if not len(units):
        return pd.DataFrame()
    overdue = units["outcome"] == LineOutcome.OVERDUE
    late, segment = units[overdue], segments[overdue]
    limit = _limit(segment, piece, policy)
    youngest, _ = age_span(segment)
    state = np.where(segment["removed_max"].notna(), "removed", "last seen in place")
    return pd.DataFrame(
        {
            "ward": late["ward"],
            "patient_id": late["patient_id"],
            "infusion_id": "",
            "driver_id": "",
            "line_id": late["line_id"],
            "group": str(FindingGroup.LINE),
            "kind": str(_OVERDUE[piece]),
            "anchor": "",
            "happened_at": late["due_at"],
            "began_earliest": late["due_at"],
            "ended_latest": segment["removed_max"].fillna(segment["seen_until"]),
            "hours_equivalent": youngest - limit,
            "first_source": late["first_source"],
            "last_source": late["last_source"],
            "sentence": [
                f"{piece.name} {line} was {how} at {age_in_words(age, allowed)}; "
                f"the limit in force is {allowed:g} h."
                for line, how, age, allowed in zip(
                    late["line_id"], state, youngest, limit, strict=True
                )
            ],
        }
    )


def age_in_words(hours: float, limit: float) -> str:
    """Say the age that an overdue line has at the least; never as the limit itself.

    Parameters
    ----------
    hours, limit : float
        Age and limit [h]; the age is the larger.

    Returns
    -------
    str
        Hours and whole minutes, rounded down.

    Examples
    --------
    >>> age_in_words(81.84, 72.0)
    '81 h 50 min or more'
    """
    whole, minutes = divmod(int(round(hours * 3600) // 60), 60)
    if hours * 60 < limit * 60 + 1 - 1e-6:
        return f"more than {limit:g} h"
    return f"{whole} h {minutes} min or more" if minutes else f"{whole} h or more"


_OVERDUE = {
    EXTENSION_SET: FindingKind.LINE_OVERDUE,
    CANNULA: FindingKind.SITE_OVERDUE,
}


def _lacks(piece: Piece, what: str) -> Callable[[Log], str]:
    def lacks(log: Log) -> str:
        has_table = (log.lines["kind"] == piece.kind).any()
        if has_table or log.columns["checks"] & {piece.ids, piece.changed}:
            return ""
        return (
            f"Not in this export: it has no lines table with {what}, no {piece.ids} "
            f"and no {piece.changed} column."
        )

    return lacks


_SETTLED = (
    "One whose age cannot be settled (a date alone, a change between two checks) is "
    "indeterminate; one that ended with the treatment before the limit was never due; "
    "one in use within it is undecided; none of them is counted. Replaced early for a "
    "fault counts in time, and has its own outcome."
)

FAMILY = (
    Measure(
        name="lines_changed_in_time",
        family=Family.LINES,
        label="Extension sets changed in time",
        unit="sets",
        meaning="Of the extension sets that reached their limit or were replaced, "
        f"those replaced within it. {_SETTLED}",
        find=lambda basis: replaced_in_time(basis.sets, EXTENSION_SET, basis.policy),
        lacks=_lacks(EXTENSION_SET, "extension sets"),
    ),
    Measure(
        name="overdue_line_hours",
        family=Family.LINES,
        label="Overdue hours of extension sets",
        unit="h",
        meaning="Hours that extension sets were in place over their limit, at the "
        "least, out of all hours that sets were in place, at the least: both columns "
        "are hours, and the figure is given per 2,400 of them, which are 100 "
        "line-days. A set belongs to the month of the earliest of change, limit and "
        "end.",
        find=lambda basis: overdue_line_hours(basis.sets, EXTENSION_SET, basis.policy),
        lacks=_lacks(EXTENSION_SET, "extension sets"),
        in_hours=True,
        per=2400.0,
        per_unit="100 line-days",
    ),
    Measure(
        name="sites_rotated_in_time",
        family=Family.LINES,
        label="Cannula sites rotated in time",
        unit="sites",
        meaning="Of the cannulas that reached the limit the policy sets for a site or "
        f"were replaced, those replaced within it. {_SETTLED} A removal for a reaction "
        "is in time here, and an event among the site reactions.",
        find=lambda basis: replaced_in_time(basis.cannulas, CANNULA, basis.policy),
        lacks=_lacks(CANNULA, "cannulas"),
    ),
)
