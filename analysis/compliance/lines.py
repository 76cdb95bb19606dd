"""Extension sets changed in time, by interval arithmetic.

A date alone is anywhere in that local day, and a change seen only as a new id lies
between two checks, so an age is a span [min, max]. With the limit L (life plus grace):
replaced with max <= L is in time; min > L is overdue, whether changed, ended or in use;
replaced with neither true is indeterminate; ended with the treatment at max <= L was
never due; in use at max <= L is undecided; fitted before the log with no date is not
evaluable.
"""

import numpy as np
import pandas as pd

from analysis.compliance.measure import UNIT_COLUMNS, Family, Measure
from analysis.intake import Log
from analysis.intake.infusions import DERIVED, short_hash
from analysis.lookup import by_key, whole_seconds
from analysis.policy import Policy
from analysis.terms import (
    NO_WARD,
    EndKind,
    Exclusion,
    LineKind,
    LineOutcome,
    RemovalReason,
    Tally,
)

_ENDED = (str(RemovalReason.END_OF_TREATMENT), str(RemovalReason.DIED))

_EXCLUSION = {
    LineOutcome.INDETERMINATE: Exclusion.INDETERMINATE,
    LineOutcome.NEVER_DUE: Exclusion.NEVER_DUE,
    LineOutcome.UNDECIDED: Exclusion.UNDECIDED,
    LineOutcome.NOT_EVALUABLE: Exclusion.FITTED_BEFORE_LOG,
}


def line_segments(log: Log, ends: pd.DataFrame) -> pd.DataFrame:
    """List every extension set: when fitted, how it ended, until when observed.

    The lines table leads. A set named in the checks only is fitted and removed between
    two checks. Where no ids are charted, line_changed rows are the changes.

    Parameters
    ----------
    log : Log
        Canonical tables.
    ends : DataFrame
        As given by `observe`.

    Returns
    -------
    DataFrame
        One row a set: line_id, ward, patient_id, inserted_min, inserted_max (NaT where
        not known), removed_min, removed_max (NaT while in use), seen_until, is_ended
        (it ended with the treatment), first_source, last_source.
    """
    frames = [
        _from_table(log),
        _from_ids(log),
        _from_changes(log),
    ]
    segments = pd.concat([f for f in frames if len(f)] or frames[:1], ignore_index=True)
    return _with_end_of_treatment(segments, log, ends)


def _from_table(log: Log) -> pd.DataFrame:
    table = log.lines[log.lines["kind"] == LineKind.EXTENSION_SET]
    named = log.checks[log.checks["line_id"] != ""].groupby("line_id")
    ids = table["line_id"]
    ward = table["ward"].where(
        table["ward"] != "",
        by_key(table["patient_id"], _last_of(log, "ward")).astype("str").fillna(""),
    )
    ward = ward.mask(ward == "", NO_WARD)
    label = table["line_id"].where(
        table["line_id"] != "", DERIVED + table["source"].map(short_hash)
    )
    out = pd.DataFrame(
        {
            "line_id": label,
            "ward": ward,
            "patient_id": table["patient_id"],
            "inserted_min": table["inserted_at"],
            "inserted_max": table["inserted_at_latest"],
            "removed_min": table["removed_at"],
            "removed_max": table["removed_at_latest"],
            "seen_until": by_key(ids, named["checked_at"].max()),
            "is_ended": table["removal_reason"].isin(_ENDED),
            "first_source": by_key(ids, named["source"].first()),
            "last_source": by_key(ids, named["source"].last()),
        }
    )
    for name in ("first_source", "last_source"):
        out[name] = out[name].astype("str").where(out[name].notna(), table["source"])
    return out


def _last_of(log: Log, column: str) -> pd.Series:
    return log.checks.groupby("patient_id")[column].last()


def _from_ids(log: Log) -> pd.DataFrame:
    """Give sets that only the checks name, in the order they were seen on a driver."""
    listed = set(log.lines.loc[log.lines["kind"] == LineKind.EXTENSION_SET, "line_id"])
    rows = log.checks[log.checks["line_id"] != ""]
    if not len(rows) or rows["line_id"].isin(listed).all():
        return pd.DataFrame()
    # Neighbours by driver: a patient's two drivers have a set each, and one set may
    # go on from one driver to the next.
    by = rows.groupby(["patient_id", "run_driver_id"])
    rows = rows.assign(
        before=by["checked_at"].shift(),
        after=by["checked_at"].shift(-1),
        change_after=by["line_changed"].shift(-1) == "yes",
    )
    keys = ["patient_id", "line_id"]
    last = rows.drop_duplicates(keys, keep="last").sort_values(keys)
    first = rows.drop_duplicates(keys).sort_values(keys).set_axis(last.index)
    before, after = first["before"], last["after"]
    fitted_here = first["line_changed"] == "yes"
    gone = last["checked_at"].mask(last["change_after"], after)
    out = pd.DataFrame(
        {
            "line_id": last["line_id"],
            "ward": last["ward"],
            "patient_id": last["patient_id"],
            "inserted_min": before.mask(fitted_here, first["checked_at"]),
            "inserted_max": first["checked_at"].where(before.notna() | fitted_here),
            "removed_min": gone.where(after.notna()),
            "removed_max": after,
            "seen_until": last["checked_at"],
            "is_ended": False,
            "first_source": first["source"],
            "last_source": last["source"],
        }
    )
    return out[~out["line_id"].isin(listed)]


def _from_changes(log: Log) -> pd.DataFrame:
    """Give sets known only by line_changed rows; the first of a patient is undated."""
    rows, lines = log.checks, log.lines
    sets = lines.loc[lines["kind"] == LineKind.EXTENSION_SET, "patient_id"]
    named = rows.loc[rows["line_id"] != "", "patient_id"]
    rows = rows[~rows["patient_id"].isin(sets) & ~rows["patient_id"].isin(named)]
    if not len(rows) or "line_changed" not in log.columns["checks"]:
        return pd.DataFrame()
    rows = rows.sort_values(
        ["patient_id", "run_driver_id", "checked_at"], kind="stable"
    )
    keys = [rows["patient_id"], rows["run_driver_id"]]
    number = (rows["line_changed"] == "yes").astype("int64").groupby(keys).cumsum()
    runs = (
        rows.groupby([*keys, number.rename("number")])
        .agg(
            ward=("ward", "last"),
            first_at=("checked_at", "first"),
            last_at=("checked_at", "last"),
            first_source=("source", "first"),
            last_source=("source", "last"),
        )
        .reset_index()
    )
    after = runs.groupby(["patient_id", "run_driver_id"])["first_at"].shift(-1)
    dated = runs["number"] > 0
    label = runs["patient_id"] + "\x1f" + runs["run_driver_id"] + "\x1f"
    stamp = runs["first_at"].map(lambda t: t.tz_convert("UTC").isoformat())
    return pd.DataFrame(
        {
            "line_id": DERIVED + (label + stamp).map(short_hash),
            "ward": runs["ward"],
            "patient_id": runs["patient_id"],
            "inserted_min": runs["first_at"].where(dated),
            "inserted_max": runs["first_at"].where(dated),
            "removed_min": after,
            "removed_max": after,
            "seen_until": runs["last_at"],
            "is_ended": False,
            "first_source": runs["first_source"],
            "last_source": runs["last_source"],
        }
    )


def _with_end_of_treatment(
    segments: pd.DataFrame, log: Log, ends: pd.DataFrame
) -> pd.DataFrame:
    """Settle sets without a charted removal: still in use, or ended with treatment.

    Where no check names the set it is observed to its patient's last row.
    """
    if not len(segments):
        return segments
    patient = segments["patient_id"]
    last_row = by_key(patient, _last_of(log, "checked_at"))
    still = log.infusions["patient_id"][ends["end_kind"] == EndKind.RUNNING]
    out = segments.copy()
    seen = out["seen_until"].fillna(last_row)
    seen = seen.mask(seen < out["inserted_min"], out["inserted_min"])
    # A set of somebody without any row is dated by what there is, at last the log.
    seen = seen.fillna(out["inserted_min"])
    out["seen_until"] = seen.fillna(log.checks["checked_at"].iloc[-1])
    open_ = out["removed_max"].isna()
    out["is_ended"] |= open_ & ~patient.isin(still)
    return out


def lines_changed_in_time(segments: pd.DataFrame, policy: Policy) -> pd.DataFrame:
    """Extension sets replaced within their life.

    Proportion = in time / (in time + overdue). Replaced early for a fault counts in
    time. The month is that of the earliest of change, limit, end and end of
    observation.

    Parameters
    ----------
    segments : DataFrame
        As given by `line_segments`.
    policy : Policy
        Gives life and grace by ward.

    Returns
    -------
    DataFrame
        One unit a set.
    """
    if not len(segments):
        return pd.DataFrame(columns=UNIT_COLUMNS)
    life = policy.by_ward("extension_set_life_h", segments["ward"])
    limit = life + policy.by_ward("extension_set_grace_h", segments["ward"])
    outcome = _outcomes(segments, limit)
    counted = outcome == LineOutcome.IN_TIME
    judged = counted | (outcome == LineOutcome.OVERDUE)
    reason = outcome.map({str(k): str(v) for k, v in _EXCLUSION.items()})
    reason = reason.astype("str").fillna("")
    reason = reason.mask(_is_contradictory(segments), str(Exclusion.CONTRADICTORY))
    reason = reason.mask(limit.isna(), str(Exclusion.NO_RULE_SET))
    judged &= limit.notna()
    units = segments[["ward", "patient_id", "line_id", "first_source", "last_source"]]
    units = units.assign(
        unit_id=segments["line_id"],
        infusion_id="",
        due_at=_falls_in(segments, limit),
        outcome=outcome.mask(limit.isna(), str(Exclusion.NO_RULE_SET)),
        tally=np.select(
            [~judged, counted],
            [str(Tally.EXCLUDED), str(Tally.COUNTED)],
            default=str(Tally.NOT_COUNTED),
        ),
        reason=reason,
        numerator=counted.astype("float64").where(judged),
        denominator=pd.Series(1.0, index=segments.index).where(judged),
    )
    return units[UNIT_COLUMNS]


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
    return pd.Series(
        np.select(
            [
                segments["inserted_min"].isna() | _is_contradictory(segments),
                youngest > limit,
                replaced & within,
                segments["is_ended"] & within,
                ~removed & within,
            ],
            [
                str(LineOutcome.NOT_EVALUABLE),
                str(LineOutcome.OVERDUE),
                str(LineOutcome.IN_TIME),
                str(LineOutcome.NEVER_DUE),
                str(LineOutcome.UNDECIDED),
            ],
            default=str(LineOutcome.INDETERMINATE),
        ),
        index=segments.index,
        dtype="str",
    )


def _is_contradictory(segments: pd.DataFrame) -> pd.Series:
    return segments["removed_max"] < segments["inserted_min"]


def _falls_in(segments: pd.DataFrame, limit: pd.Series) -> pd.Series:
    """Give the earliest of change, limit and end of observation, each at its latest."""
    until = segments["removed_max"].fillna(segments["seen_until"])
    at_limit = segments["inserted_max"] + pd.to_timedelta(limit * 3600, unit="s")
    return whole_seconds(until.where(~(at_limit < until), at_limit))


def line_findings(
    units: pd.DataFrame, segments: pd.DataFrame, policy: Policy
) -> pd.DataFrame:
    """Give one finding for each overdue extension set.

    Parameters
    ----------
    units : DataFrame
        Units of `lines_changed_in_time`.
    segments : DataFrame
        As given by `line_segments`.
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
    life = policy.by_ward("extension_set_life_h", late["ward"])
    limit = life + policy.by_ward("extension_set_grace_h", late["ward"])
    youngest, _ = age_span(segment)
    state = np.where(segment["removed_max"].notna(), "removed", "last seen in place")
    return pd.DataFrame(
        {
            "ward": late["ward"],
            "patient_id": late["patient_id"],
            "infusion_id": "",
            "driver_id": "",
            "line_id": late["line_id"],
            "group": "line",
            "kind": "line_overdue",
            "anchor": "",
            "happened_at": late["due_at"],
            "began_earliest": late["due_at"],
            "ended_latest": segment["removed_max"].fillna(segment["seen_until"]),
            "hours_equivalent": youngest - limit,
            "first_source": late["first_source"],
            "last_source": late["last_source"],
            "sentence": [
                f"Extension set {line} was {how} at {np.floor(10 * age) / 10:g} h or "
                f"more; the limit in force is {allowed:g} h."
                for line, how, age, allowed in zip(
                    late["line_id"], state, youngest, limit, strict=True
                )
            ],
        }
    )


def _lacks_sets(log: Log) -> str:
    has_table = (log.lines["kind"] == LineKind.EXTENSION_SET).any()
    if has_table or log.columns["checks"] & {"line_id", "line_changed"}:
        return ""
    return (
        "Not in this export: it has no lines table with extension sets, no line_id and "
        "no line_changed column."
    )


FAMILY = (
    Measure(
        name="lines_changed_in_time",
        family=Family.LINES,
        label="Extension sets changed in time",
        unit="sets",
        meaning="Of the extension sets that reached their limit or were replaced, "
        "those replaced within it. A set whose age cannot be settled (a date alone, a "
        "change between two checks) is indeterminate; one that ended with the "
        "treatment before the limit was never due; neither is counted.",
        find=lambda basis: lines_changed_in_time(basis.sets, basis.policy),
        lacks=_lacks_sets,
    ),
)
