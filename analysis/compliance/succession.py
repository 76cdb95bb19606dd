"""Which syringe followed which, and until when each one delivered.

A syringe delivers until its observed end, or until the line reaches zero: by the
set-rate line from the start volume and by the last reading of volume left at the most
its rounding allows, whichever is later, so that a syringe is called empty only where
both say so. Less than what a change
may take before the observed end, that is the same moment: lines and clocks are no
finer. What a change may take is the ward's grace for checks, or the step that its times
are charted in if that is longer. The next syringe of a
treatment is the patient's next start on the same driver; where no driver is charted, or
the driver was swapped, the patient's next start that follows no other syringe.
"""

import pandas as pd

from analysis.compliance.coded import in_runs
from analysis.delivery.noise import VOLUME_STEPS_ML, coarsest_step
from analysis.intake import Log
from analysis.lookup import by_key, by_keys, whole_seconds
from analysis.policy import Policy
from analysis.terms import NO_WARD, EndKind

#: A new driver may be started so long before the old one is charted as ended.
_OVERLAP = pd.Timedelta(hours=1)

#: Steps that times are charted in, coarsest first [min].
_STEPS_MIN = (60.0, 30.0, 15.0, 1.0)

#: A handful of rows shows no habit.
_FEWEST_ROWS = 20

#: Ends that are known otherwise than from a next start.
_OWN_END = (EndKind.END_ROW, EndKind.SYRINGE_CHANGE, EndKind.ENDED_AT, EndKind.RUNNING)


def syringe_runs(
    log: Log, ends: pd.DataFrame, lines: pd.DataFrame, policy: Policy
) -> pd.DataFrame:
    """Give until when each syringe delivered.

    Parameters
    ----------
    log : Log
        Canonical tables.
    ends : DataFrame
        As given by `observe`.
    lines : DataFrame
        Set-rate line at each row, as given by `expected_lines`.
    policy : Policy
        Gives the grace for checks by ward.

    Returns
    -------
    DataFrame
        One row an infusion whose start is known, indexed by infusion_id: patient_id,
        driver_id, started_at, first_ward, ward (of its last row), observed_end,
        end_kind, end_reason, allowed_h (what a change may take), empty_at (the line at
        zero, else the planned end), ends_at (when delivery ended: the earlier of that
        and the observed end; where only the next start gives the end, of that and the
        next start), is_by_line (it was the line), planned_s, paused_s, is_paused (a
        documented pause was on when it ended), first_source, last_source.
    """
    known = log.infusions[log.infusions["started_at"].notna()]
    end = by_keys(known.index, ends)
    names = ["infusion_id", "checked_at", "ward", "source", "is_paused_after"]
    rows = log.checks.loc[log.checks["infusion_id"] != "", names]
    by = rows.groupby("infusion_id", observed=False)
    own, start = end["end_kind"].isin(_OWN_END), known["started_at"]
    until = end["observed_end"].where(own, end["next_on_driver"])
    empty = by_key(known.index, _empty_at(log, lines, until))
    out = known[["patient_id", "driver_id", "started_at", "end_reason"]].copy()
    ward = known["ward"].mask(known["ward"] == "", NO_WARD)
    out["first_ward"] = by_key(known.index, by["ward"].first()).fillna(ward)
    out["ward"] = by_key(known.index, by["ward"].last()).fillna(ward)
    out["observed_end"], out["end_kind"] = end["observed_end"], end["end_kind"]
    out["allowed_h"] = _allowed(log, policy, out["ward"])
    out["empty_at"] = empty.fillna(end["planned_end"])
    left = (until - out["empty_at"]).dt.total_seconds() / 3600
    out["is_by_line"] = until.isna() | (left > out["allowed_h"])
    ends_at = until.mask(out["is_by_line"], out["empty_at"])
    out["ends_at"] = ends_at.where(ends_at > start, start)
    out["planned_s"] = (end["planned_end"] - start).dt.total_seconds()
    out["paused_s"] = by_key(known.index, _paused_seconds(rows, out["ends_at"]))
    out["paused_s"] = out["paused_s"].fillna(0.0)
    paused = by_key(known.index, by["is_paused_after"].last())
    out["is_paused"] = paused.eq(1)
    for name, source in (
        ("first", by["source"].first()),
        ("last", by["source"].last()),
    ):
        own_source = by_key(known.index, source)
        out[f"{name}_source"] = own_source.fillna(known["described_at"])
    return out


def _allowed(log: Log, policy: Policy, wards: pd.Series) -> pd.Series:
    """Give the ward's grace, or the step its times are charted in if that is longer."""
    at = log.checks["checked_at"].dt
    minutes = (at.hour * 60 + at.minute).astype("float64")
    by = minutes.groupby(log.checks["ward"])
    step = by.agg(lambda part: coarsest_step(part, _STEPS_MIN) / 60)
    own = by_key(wards, step.mask(by.size() < _FEWEST_ROWS))
    grace = policy.by_ward("grace_h", wards)
    return grace.mask(own > grace, own)


def _empty_at(log: Log, lines: pd.DataFrame, until: pd.Series) -> pd.Series:
    """Give when each syringe is empty by its line and by its last reading."""
    rows = lines[["infusion_id", "checked_at", "rate_ml_h"]].copy()
    # Where only delivered volumes are known the line has no zero.
    base = lines["base_ml"].where(lines["is_floored"])
    rows["left"] = base - lines["delivered_ml"]
    read = lines["observed_ml"].where(lines["observed_ml"] > 0)
    rows["read"] = (read + _half_step(lines)).clip(upper=base)
    is_paused = log.checks["is_paused_after"].reindex(rows.index)
    rows["rate_ml_h"] = rows["rate_ml_h"].where(rows["rate_ml_h"] > 0)
    rows = rows[~(rows["checked_at"] > by_key(rows["infusion_id"], until))]
    rows = in_runs(rows)
    is_paused = is_paused.reindex(rows.index)
    by = rows.groupby("infusion_id", observed=False)
    after = rows["left"] - by["left"].shift(-1)
    hours = (by["checked_at"].shift(-1) - rows["checked_at"]).dt.total_seconds() / 3600
    is_last = hours.isna()
    # Between two rows the line falls evenly; after the last one at the rate in force,
    # or, on a pause, nobody knows when.
    fall = (after / hours).where(~is_last, rows["rate_ml_h"].mask(is_paused))
    ahead = rows["left"] / fall.where(fall > 0)
    reaches = ahead[(is_last | (ahead <= hours)) & (rows["left"] >= 0)]
    at_line = _first_of(rows, reaches, keep="first")
    read = rows["read"] / rows["rate_ml_h"].mask(is_paused)
    at_reading = _first_of(rows, read[rows["read"].notna()], keep="last")
    both = pd.concat([at_line, at_reading], axis="columns")
    return both.max(axis="columns").astype(rows["checked_at"].dtype)


def _half_step(lines: pd.DataFrame) -> pd.Series:
    """Give half the step that each ward's volumes are read in [mL]."""
    by = lines["observed_ml"].groupby(lines["ward"])
    step = by.agg(lambda part: coarsest_step(part, VOLUME_STEPS_ML))
    return by_key(lines["ward"], step) / 2


def _first_of(rows: pd.DataFrame, hours: pd.Series, *, keep: str) -> pd.Series:
    """Give, by infusion, the moment so many hours after its first or last such row."""
    some = rows.loc[hours.index]
    at = some["checked_at"] + pd.to_timedelta((hours * 3600).round(), unit="s")
    by = at.groupby(some["infusion_id"], observed=False)
    # A last reading taken on a pause tells nothing, and none before it stands in.
    return by.first() if keep == "first" else by.last(skipna=False)


def _paused_seconds(rows: pd.DataFrame, ends_at: pd.Series) -> pd.Series:
    """Add up documented pauses of each infusion, up to its end."""
    end = by_key(rows["infusion_id"], ends_at)
    by = rows.groupby("infusion_id", observed=False)
    after = by["checked_at"].shift(-1)
    until = after.where(after < end, end)
    seconds = (until - rows["checked_at"]).dt.total_seconds().clip(lower=0)
    paused = seconds.where(rows["is_paused_after"], 0.0)
    return paused.groupby(rows["infusion_id"], observed=False).sum()


def next_syringes(runs: pd.DataFrame) -> pd.DataFrame:
    """Find the syringe that followed each one in its patient.

    Parameters
    ----------
    runs : DataFrame
        As given by `syringe_runs`.

    Returns
    -------
    DataFrame
        One row a pair, indexed by the infusion_id of the earlier one: next_id,
        next_at.
    """
    pairs = _on_same_driver(runs)
    pairs = pairs[~_is_swapped(runs, pairs)]
    while True:
        more = _swapped(runs, pairs)
        if not len(more):
            return pairs.sort_index()
        pairs = pd.concat([pairs, more])


def _on_same_driver(runs: pd.DataFrame) -> pd.DataFrame:
    keys = ["patient_id", "driver_id"]
    order = runs.sort_values([*keys, "started_at"], kind="stable")
    order = order[~order.duplicated([*keys, "started_at"], keep="last")]
    order["next_id"] = order.index
    by = order.groupby(keys)
    pairs = by[["next_id", "started_at"]].shift(-1)
    pairs = pairs.rename(columns={"started_at": "next_at"})
    # Without a driver, runs side by side are not each other's successors.
    follows = (order["driver_id"] != "") | (
        pairs["next_at"] >= order["ends_at"] - _OVERLAP
    )
    return pairs[follows & pairs["next_id"].notna()]


def _is_swapped(runs: pd.DataFrame, pairs: pd.DataFrame) -> pd.Series:
    """Mark pairs between which another driver ran for the patient."""
    earlier = runs.loc[pairs.index]
    waits = pairs["next_at"] - earlier["ends_at"] > _OVERLAP
    several = earlier["patient_id"].isin(
        runs.loc[runs.groupby("patient_id")["driver_id"].transform("nunique") > 1]
        ["patient_id"]
    )  # fmt: skip
    asked = earlier[waits & several][["patient_id", "driver_id", "ends_at"]]
    # Of these rows alone: an empty table would take on all rows of the other.
    asked = asked.assign(next_at=pairs.loc[asked.index, "next_at"], pair=asked.index)
    other = runs[["patient_id", "driver_id", "started_at", "ends_at"]]
    both = asked.merge(other, on="patient_id", suffixes=("", "_other"))
    between = (
        (both["driver_id"] != both["driver_id_other"])
        & (both["started_at"] >= both["ends_at"] - _OVERLAP)
        & (both["started_at"] < both["next_at"])
        & (both["ends_at_other"] <= both["next_at"] + _OVERLAP)
    )
    found = pairs.index.isin(both.loc[between, "pair"])
    return pd.Series(found, index=pairs.index)


def _swapped(runs: pd.DataFrame, pairs: pd.DataFrame) -> pd.DataFrame:
    """Pair starts that follow no syringe with the latest end that none follows."""
    runs = runs.assign(person=pd.factorize(runs["patient_id"])[0])
    heads = runs[~runs.index.isin(pairs["next_id"])]
    heads = heads[["person", "started_at"]].assign(next_id=heads.index)
    is_open = ~runs.index.isin(pairs.index) & (runs["end_kind"] != EndKind.RUNNING)
    tails = runs.loc[is_open, ["person", "started_at", "ends_at"]]
    tails = tails.reset_index(names="earlier_id")
    # A run shorter than the overlap must not be taken for its own successor.
    least = tails["started_at"] + _OVERLAP
    tails["key"] = tails["ends_at"].where(tails["ends_at"] > least, least)
    heads["key"] = heads["started_at"] + _OVERLAP
    # Of those that ended together the one that has run for longest.
    tails = tails.sort_values(
        ["key", "started_at", "earlier_id"], ascending=[True, False, False]
    )
    found = pd.merge_asof(
        heads.rename(columns={"started_at": "next_at"}).sort_values(["key", "next_id"]),
        tails.drop(columns="started_at"),
        on="key",
        by="person",
        allow_exact_matches=False,
    )
    found = found[found["earlier_id"].notna()]
    found = found[~found["earlier_id"].duplicated()].set_index("earlier_id")
    return found[["next_id", "next_at"]]


def hours_between(earlier: pd.Series, later: pd.Series) -> pd.Series:
    """Give whole-second hours from one time to another, none where it is before.

    Parameters
    ----------
    earlier, later : Series of datetime64, shape (n,)
        Times.

    Returns
    -------
    Series of float, shape (n,)
        Hours, 0 or more; NaN where a time is not known.
    """
    seconds = (whole_seconds(later) - whole_seconds(earlier)).dt.total_seconds()
    return seconds.clip(lower=0) / 3600
