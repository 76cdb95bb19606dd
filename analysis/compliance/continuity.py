"""Continuity: whether a syringe was running all the time of a treatment.

A unit of `syringe_changed_in_time` is a change of syringe: an infusion and the next one
of the same patient (`succession`). The time between the end of delivery of the one and
the start of the other is a gap. A gap no longer than the ward's grace for checks, or
than the step that its times are charted in, is taken for the change itself; a longer
one counts in whole, in both measures and in the findings.

A treatment went on unless a stop is charted (stopped or died; transferred, where the
next start is on the same ward), the driver was on a documented pause, or the gap is
longer than a whole syringe, so that a stop may have gone without charting. A gap from
one ward to another belongs to neither.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from analysis.compliance.coded import as_texts, blank
from analysis.compliance.measure import (
    UNIT_COLUMNS,
    Family,
    Measure,
    no_units,
    tallied,
)
from analysis.compliance.succession import hours_between, next_syringes
from analysis.compliance.verdicts import first_true, judged
from analysis.lookup import by_key, clock
from analysis.terms import (
    BETWEEN_WARDS,
    ContinuityOutcome,
    EndKind,
    EndReason,
    Exclusion,
    FindingGroup,
    FindingKind,
)

_STOPPED = (str(EndReason.STOPPED), str(EndReason.DIED))


def syringe_changes(runs: pd.DataFrame) -> pd.DataFrame:
    """List every change of syringe, with the gap it left.

    Parameters
    ----------
    runs : DataFrame
        As given by `syringe_runs`.

    Returns
    -------
    DataFrame
        One row a pair of syringes, indexed by the earlier one's infusion_id: columns of
        `syringe_runs`, next_id, next_at, next_ward, next_source, gap_h, is_gap
        (longer than what a change may take), is_long (longer than a whole syringe),
        reason (empty, or why it takes no part), unit_ward (the ward, or between wards).
    """
    pairs = next_syringes(runs)
    out = runs.loc[pairs.index].join(pairs)
    out["next_ward"] = by_key(out["next_id"], runs["first_ward"])
    out["next_source"] = by_key(out["next_id"], runs["first_source"])
    out["gap_h"] = hours_between(out["ends_at"], out["next_at"])
    out["is_gap"] = out["gap_h"] > out["allowed_h"]
    out["is_long"] = out["gap_h"] > out["planned_s"] / 3600
    crosses = out["ward"] != out["next_ward"]
    is_stopped = out["end_reason"].isin(_STOPPED) | (
        (out["end_reason"] == EndReason.TRANSFERRED) & ~crosses
    )
    out["reason"] = first_true(
        out.index,
        (is_stopped, Exclusion.STOPPED),
        (crosses, Exclusion.HAND_OVER),
        (out["is_paused"], Exclusion.PAUSED),
        (out["is_long"], Exclusion.LONGER_THAN_SYRINGE),
    )
    out["unit_ward"] = out["ward"].mask(
        out["reason"] == Exclusion.HAND_OVER, BETWEEN_WARDS
    )
    return out


def syringe_changed_in_time(changes: pd.DataFrame) -> pd.DataFrame:
    """Judge changes of syringe: in time if they left no time without a running syringe.

    Parameters
    ----------
    changes : DataFrame
        As given by `syringe_changes`.

    Returns
    -------
    DataFrame
        One unit a change, due when delivery of the earlier syringe ended.
    """
    if not len(changes):
        return no_units()
    outcome = first_true(
        changes.index,
        (changes["is_gap"], ContinuityOutcome.GAP),
        default=ContinuityOutcome.IN_TIME,
    )
    units = _units(changes, "")
    return judged(units, outcome, ContinuityOutcome.IN_TIME, changes["reason"])


def gap_hours(runs: pd.DataFrame, changes: pd.DataFrame) -> pd.DataFrame:
    """Add up hours with no syringe running, out of treatment hours.

    Parameters
    ----------
    runs : DataFrame
        As given by `syringe_runs`.
    changes : DataFrame
        As given by `syringe_changes`.

    Returns
    -------
    DataFrame
        One unit a syringe, with its hours of delivery without pauses and no gap; and
        one a gap, with its hours on both sides.
    """
    if not len(runs):
        return no_units()
    last = runs.assign(unit_ward=runs["ward"], next_source=runs["last_source"])
    alone = ~last.index.isin(changes.index) & (last["end_kind"] == EndKind.NOT_RECORDED)
    # What nothing follows and nothing ends is observed to its last row.
    unseen = alone & ~(last["observed_end"] > last["ends_at"])
    last["ends_at"] = last["ends_at"].mask(unseen, last["observed_end"])
    hours = hours_between(last["started_at"], last["ends_at"]) - last["paused_s"] / 3600
    last["hours"] = hours.clip(lower=0)
    last["reason"] = first_true(
        last.index, (last["ends_at"].isna(), Exclusion.END_NOT_RECORDED)
    )
    last["ends_at"] = last["ends_at"].fillna(last["started_at"])
    gaps = changes[changes["is_gap"]]
    gaps = gaps.assign(hours=gaps["gap_h"])
    parts = [_in_hours(last, is_gap=False), _in_hours(gaps, is_gap=True)]
    return pd.concat([part for part in parts if len(part)], ignore_index=True)


def _in_hours(table: pd.DataFrame, *, is_gap: bool) -> pd.DataFrame:
    units = _units(table, " gap" if is_gap else "")
    word = ContinuityOutcome.GAP if is_gap else ContinuityOutcome.RUNNING
    excluded = table["reason"] != ""
    hours = table["hours"].mask(excluded)
    outcome = first_true(table.index, default=word)
    return units.assign(
        outcome=outcome.mask(excluded, table["reason"]),
        tally=tallied(~excluded, excluded),
        reason=table["reason"],
        numerator=hours if is_gap else hours * 0,
        denominator=hours,
    ).reset_index(drop=True)[UNIT_COLUMNS]


def _units(table: pd.DataFrame, ending: str) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "unit_id": table.index.astype("str") + ending,
            "ward": table["unit_ward"].array,
            "patient_id": table["patient_id"].array,
            "infusion_id": table.index.array,
            "line_id": blank(table.index).array,
            "due_at": table["ends_at"].array,
            "first_source": table["last_source"].array,
            "last_source": table["next_source"].array,
        },
        index=table.index,
    )


def gap_findings(changes: pd.DataFrame) -> pd.DataFrame:
    """Give one finding for each gap between two syringes.

    Parameters
    ----------
    changes : DataFrame
        As given by `syringe_changes`.

    Returns
    -------
    DataFrame
        Findings without id and month: gaps of treatments that went on, of either ward
        of a hand-over, and gaps longer than a whole syringe, which may be stops and
        have no hours.
    """
    # A pause that was on while the patient moved explains the gap too.
    is_explained = changes["is_paused"] | (changes["reason"] == Exclusion.STOPPED)
    gaps = as_texts(changes[changes["is_gap"] & ~is_explained])
    gaps = gaps.set_axis(gaps.index.astype("str"))
    waited = hours_between(gaps["observed_end"], gaps["next_at"])
    has_end = gaps["end_kind"].isin(_END_WORDS)
    is_late = gaps["is_by_line"] & (~has_end | (waited <= gaps["allowed_h"]))
    return pd.DataFrame(
        {
            "ward": gaps["unit_ward"],
            "patient_id": gaps["patient_id"],
            "infusion_id": gaps.index,
            "driver_id": gaps["driver_id"],
            "group": str(FindingGroup.CONTINUITY),
            "kind": np.where(
                is_late,
                str(FindingKind.CHANGED_LATE),
                str(FindingKind.NO_SYRINGE_RUNNING),
            ),
            "anchor": "next syringe",
            "happened_at": gaps["ends_at"],
            "began_earliest": gaps["ends_at"],
            "ended_latest": gaps["next_at"],
            "hours_equivalent": gaps["gap_h"].mask(gaps["is_long"]),
            "first_source": gaps["last_source"],
            "last_source": gaps["next_source"],
            "sentence": _sentences(gaps),
        }
    ).reset_index(drop=True)


_END_WORDS = {
    str(EndKind.END_ROW): "end row",
    str(EndKind.SYRINGE_CHANGE): "syringe_change row",
    str(EndKind.ENDED_AT): "ended_at",
}


def _sentences(gaps: pd.DataFrame) -> Sequence[str]:
    """Say when delivery ended, how that is known, and when the next syringe started."""
    wards = ", from " + gaps["ward"] + " to " + gaps["next_ward"]
    columns = [
        _ended(gaps),
        gaps["next_at"],
        gaps["gap_h"],
        wards.where(gaps["reason"] == Exclusion.HAND_OVER, ""),
        gaps["is_long"],
    ]
    return [
        _sentence(*row, is_long=is_long) for *row, is_long in zip(*columns, strict=True)
    ]


def _ended(gaps: pd.DataFrame) -> pd.Series:
    """Say when a syringe ended; by its line where that was before."""
    how = gaps["end_kind"].map(_END_WORDS).astype("str")
    # Named as text, since of no gap there is nothing to tell the type by.
    end, empty = (
        gaps[name].map(clock).astype("str") for name in ("observed_end", "ends_at")
    )
    ended = "ended " + end + " (" + how + ")"
    by_line = "was empty by its set rate " + empty
    both = by_line + " and " + ended
    said = ended.mask(gaps["is_by_line"], both.where(how.notna(), by_line))
    # Its driver was started for somebody else.
    return said.fillna("ended " + empty + " (next start on its driver)")


def _sentence(
    ended: str, next_at: pd.Timestamp, hours: float, wards: str, *, is_long: bool
) -> str:
    said = f"This syringe {ended}; the patient's next one started {clock(next_at)}"
    if is_long:
        return (
            f"{said}{wards}, {hours:.0f} h later, longer than a whole syringe lasts. "
            "No stop is charted; a stop and missing rows look the same, so it is not "
            "counted."
        )
    return f"{said}: {hours:.1f} h with no syringe running{wards}."


_ALLOWED = (
    "A gap no longer than the grace for checks, or than the step in which the ward's "
    "times are charted, is taken for the change itself."
)

FAMILY = (
    Measure(
        name="syringe_changed_in_time",
        family=Family.CONTINUITY,
        label="Syringe changed in time",
        unit="changes",
        meaning="Of the changes of syringe in a treatment that went on, those that "
        "left no time without a running syringe between the end of delivery of one "
        "(its observed end, or empty by its set rate and its last reading) and the "
        f"start of the next. {_ALLOWED} Left out: a charted stop, a documented pause, "
        "a change from one ward to another, and a gap longer than a whole syringe, "
        "which may be a stop that nobody charted.",
        find=lambda basis: syringe_changed_in_time(basis.changes),
    ),
    Measure(
        name="gap_hours",
        family=Family.CONTINUITY,
        label="Hours with no syringe running",
        unit="h",
        meaning="Hours between the end of delivery of one syringe and the start of the "
        "next in a treatment that went on, out of all treatment hours: those of "
        f"syringes running, without documented pauses, and those of gaps. {_ALLOWED} "
        "What is left out is the same as for changes in time. Two drivers at once give "
        "two hours an hour.",
        find=lambda basis: gap_hours(basis.runs, basis.changes),
        in_hours=True,
        per=100.0,
        per_unit="100 treatment hours",
    ),
)
