"""Which syringe run a row belongs to, and what is known of each run.

Where the export has no infusion_id it is derived: one run on one driver (else one
patient) begins at a start or syringe_change row, after an end row, where the volume
rises by half a syringe, or where another start is named. A derived id hashes the driver
(else the patient) and the first charted time, never a counter, so that it stays the
same when more rows are exported.
"""

import numpy as np
import pandas as pd

from analysis.intake.described import DESCRIBING, by_infusion
from analysis.lookup import are_among, by_key, each_once, short_hash
from analysis.terms import Entry
from analysis.texts import same

DERIVED = "derived-"

#: A rise by this share of the run's largest reading is a new syringe; trade rule of
#: thumb, "jump of half of the start volume with no event" (common practice, no source).
NEW_SYRINGE_SHARE = 0.5

#: Four hours, the usual time between two checks, take a sixth of a syringe of 24 h: the
#: largest of two honest readings is less than this many times the other.
_NEAR = 1.25

#: A run that has shown less than this is taken to hold this much: the usual fill of the
#: smallest syringe in use (common practice, no source).
SMALLEST_FILL_ML = 7.0

#: Rows at whose own time a new rate, or running again, takes effect.
STEPS_HERE = (Entry.RATE_CHANGE, Entry.RESUME, Entry.START, Entry.SYRINGE_CHANGE)


def assign_infusions(checks: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """Give every row its infusion, and say what had to be derived.

    Parameters
    ----------
    checks : DataFrame
        Accepted rows in order of time, with infusion_id empty where none is charted.

    Returns
    -------
    checks : DataFrame
        The same rows with infusion_id filled where it can be, and infusion_note saying
        how; rows that nobody can assign keep an empty id.
    notes : list of str
        What was done, in words, with numbers of rows.
    """
    out = checks.assign(infusion_note=same("", len(checks)))
    notes: list[str] = []
    out = _split_by_syringe(_split_by_patient(out, notes), notes)
    blank = out["infusion_id"] == ""
    if not blank.any():
        return out, notes
    has_ids = out["patient_id"].isin(out.loc[~blank, "patient_id"])
    out = _place_between(out, blank & has_ids, notes)
    out = _derive(out, blank & ~has_ids, notes)
    return _split_by_patient(out, notes), notes


def _split_by_patient(checks: pd.DataFrame, notes: list[str]) -> pd.DataFrame:
    """Part infusions whose id stands under two patients; a run belongs to one."""
    named = checks["infusion_id"] != ""
    known = checks.loc[named, ["infusion_id", "patient_id"]]
    infusion, ids = pd.factorize(known["infusion_id"])
    patient = pd.factorize(known["patient_id"])[0]
    first = np.zeros(len(ids), dtype=np.int64)
    first[infusion[::-1]] = patient[::-1]
    differs = patient != first[infusion]
    shared = ids[np.unique(infusion[differs])].sort_values()
    if len(shared):
        rows = checks["infusion_id"].isin(shared)
        checks["infusion_id"] = checks["infusion_id"].mask(
            rows, checks["infusion_id"] + " of " + checks["patient_id"]
        )
        notes.append(
            f"{len(shared)} infusion ids stand under more than one patient (first: "
            f"{shared[0]}); each patient's rows are read as an infusion of their own."
        )
    return checks


def _split_by_syringe(checks: pd.DataFrame, notes: list[str]) -> pd.DataFrame:
    """Part infusions whose id goes on over a change of syringe, as that of a course.

    It has more than one start or syringe_change row (one alone may have a wrong time),
    and the volume rises by half a syringe there. What the old one had left may stand in
    the row of the change, and the row of a change that closes an infusion is its end.
    """
    opens = checks["entry"].isin(_OPENING) & (checks["infusion_id"] != "")
    ids = checks.loc[opens, "infusion_id"]
    again = ids[ids.duplicated()].unique()
    if not len(again):
        return checks
    rows = checks[are_among(checks["infusion_id"], pd.Index(again))]
    key = rows["infusion_id"]
    parts = _new_syringes(rows, key, opens.reindex(rows.index))
    if not parts.any():
        return checks
    run = parts.astype("int64").groupby(key).cumsum()
    begun = rows.groupby([key, run])["checked_at"].transform("first")
    own = key + " from " + begun.dt.strftime("%Y-%m-%d %H:%M")
    checks.loc[rows.index[run > 0], "infusion_id"] = own[run > 0]
    several = key[parts].unique()
    notes.append(
        f"{len(several)} infusion ids go on over a change of syringe (first: "
        f"{several[0]}); each syringe is read as an infusion of its own, and the later "
        "ones have the time they were set up in their id."
    )
    return checks


def _new_syringes(rows: pd.DataFrame, key: pd.Series, is_open: pd.Series) -> pd.Series:
    """Mark the row that each further syringe of a key begins with."""
    is_last = ~key.duplicated(keep="last")
    after_open = is_open.groupby(key).shift(fill_value=False).astype(bool)
    # The first row of an infusion begins it anyway.
    after_open &= key.duplicated() & ~is_open
    parts = pd.Series(data=False, index=rows.index)
    while True:
        run = parts.astype("int64").groupby(key).cumsum()
        rises = _jumps_up(rows["volume_remaining_ml"], key, run)
        rises |= _jumps_up(-rows["volume_delivered_ml"], key, run)
        begins = rises & (is_open | after_open) & ~is_last & ~parts
        if not begins.any():
            break
        parts |= begins
    has_none = rows[["volume_remaining_ml", "volume_delivered_ml"]].isna().all(axis=1)
    # A change that has no volume of its own begins what follows it.
    earlier = (parts & after_open).groupby(key).shift(-1, fill_value=False)
    moved = earlier.astype(bool) & has_none & key.duplicated()
    return (parts & ~moved.groupby(key).shift(fill_value=False).astype(bool)) | moved


def _place_between(
    checks: pd.DataFrame, rows: pd.Series, notes: list[str]
) -> pd.DataFrame:
    """Place rows without an id in the one charted infusion that surrounds them."""
    if not rows.any():
        return checks
    spans = by_infusion(checks.loc[checks["infusion_id"] != "", DESCRIBING])
    loose = checks.loc[rows, ["patient_id", "driver_id", "checked_at"]].reset_index()
    pairs = loose.merge(
        spans.reset_index(), on="patient_id", suffixes=("", "_of_infusion")
    )
    same_driver = (
        (pairs["driver_id"] == pairs["driver_id_of_infusion"])
        | (pairs["driver_id"] == "")
        | (pairs["driver_id_of_infusion"] == "")
    )
    inside = pairs["checked_at"].between(pairs["first_row"], pairs["last_row"])
    pairs = pairs[same_driver & inside]
    single = pairs[~pairs.duplicated("index", keep=False)].set_index("index")
    checks.loc[single.index, "infusion_id"] = single["infusion_id"]
    checks.loc[single.index, "infusion_note"] = "placed: within one charted infusion"
    left = int(rows.sum()) - len(single)
    if len(single):
        notes.append(
            f"{len(single)} rows without an infusion id lie within one charted "
            "infusion of their patient and are read as part of it."
        )
    if left:
        notes.append(
            f"{left} rows without an infusion id could belong to more than one "
            "infusion or to none; they are kept, and stand in no measure."
        )
    return checks


def _derive(checks: pd.DataFrame, rows: pd.Series, notes: list[str]) -> pd.DataFrame:
    """Derive infusions for patients whose rows carry no id at all."""
    if not rows.any():
        return checks
    loose = checks[rows]
    driver = _drivers_filled(loose)
    lost = driver.isna()
    nobodys = loose[lost]
    loose, driver = loose[~lost], driver[~lost]
    owner = driver.where(driver != "", "patient " + loose["patient_id"])
    owner = _told_by_contents(loose, owner, notes)
    key = owner + "\x1f" + loose["patient_id"]
    run = _runs(loose, key, nobodys)
    first = loose.groupby([key, run])["checked_at"].transform("min")
    stamp = first.dt.tz_convert("UTC").dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    ids = each_once(owner + "\x1f" + stamp, lambda pair: DERIVED + short_hash(pair))
    checks.loc[loose.index, "infusion_id"] = ids
    checks.loc[loose.index, "infusion_note"] = "derived"
    notes.append(
        f"{len(loose)} rows carry no infusion id; {ids.nunique()} infusions "
        "were derived from driver (else patient), start and end rows, volume rises and "
        f"start times that differ. Their ids begin with {DERIVED}."
    )
    if lost.any():
        notes.append(
            f"{int(lost.sum())} rows name no driver while their patient had more than "
            "one; nobody can say whose they are. They are kept, and stand in no "
            "measure. A start among them may be that of each of these drivers: the "
            "infusion of each is taken to begin anew there."
        )
    return checks


def _told_by_contents(
    rows: pd.DataFrame, owner: pd.Series, notes: list[str]
) -> pd.Series:
    """Tell syringes of a patient apart by what is in them, where no driver does.

    That is so where rows with one mixture and with another take turns: two syringes run
    at once.
    """
    if "contents" not in rows:
        return owner
    told = rows.loc[(rows["driver_id"] == "") & (rows["contents"] != ""),
                    ["patient_id", "contents"]]  # fmt: skip
    if told.empty:
        return owner
    by = told.groupby("patient_id")["contents"]
    is_turn = (told["contents"] != by.shift()).groupby(told["patient_id"]).sum()
    lacking = rows.loc[rows["contents"] == "", "patient_id"].unique()
    takes_turns = (is_turn > by.nunique() + 1) & (by.size() <= _ROWS_A_TURN * is_turn)
    found = takes_turns.index[takes_turns].difference(list(lacking))
    if not len(found):
        return owner
    mine = rows["patient_id"].isin(found) & (rows["driver_id"] == "")
    notes.append(
        f"{len(found)} patients without a driver number have syringes of different "
        f"contents at one time (first: {found[0]}); the contents tell them apart."
    )
    return owner.mask(mine, owner + " " + rows["contents"])


#: Rows of one mixture between those of another, on average, where two run at once.
_ROWS_A_TURN = 2.0


def _drivers_filled(rows: pd.DataFrame) -> pd.Series:
    """Give each row's driver: NaN where blank and the patient had several."""
    named = rows[rows["driver_id"] != ""].groupby("patient_id")["driver_id"]
    count = by_key(rows["patient_id"], named.nunique()).fillna(0)
    only = by_key(rows["patient_id"], named.first())
    blank = rows["driver_id"] == ""
    driver = rows["driver_id"].mask(blank & (count == 1), only)
    return driver.mask(blank & (count > 1))


def _runs(rows: pd.DataFrame, key: pd.Series, nobodys: pd.DataFrame) -> pd.Series:
    """Tell the syringe runs of each key apart, in order of time."""
    opens = rows["entry"].isin(_OPENING)
    is_end = rows["entry"] == Entry.END
    # An end that a second nurse charts ends nothing more.
    opens |= is_end.groupby(key).shift(fill_value=False).astype(bool) & ~is_end
    opens |= _started_anew(rows, key) | _after_starts(rows, key, nobodys)
    while True:
        run = opens.astype("int64").groupby(key).cumsum()
        rises = _jumps_up(rows["volume_remaining_ml"], key, run)
        rises |= _jumps_up(-rows["volume_delivered_ml"], key, run)
        if not (rises & ~opens).any():
            return run
        # Each rise ends a run; what is large for the next one is seen only then.
        opens |= rises


#: Entries that a new syringe begins with.
_OPENING = [Entry.START, Entry.SYRINGE_CHANGE]


def _after_starts(
    rows: pd.DataFrame, key: pd.Series, nobodys: pd.DataFrame
) -> pd.Series:
    """Mark the first row of a key after a start on no known driver of its patient."""
    starts = nobodys.loc[nobodys["entry"].isin(_OPENING), ["patient_id", "checked_at"]]
    if starts.empty:
        return pd.Series(data=False, index=rows.index)
    keys = pd.DataFrame({"key": key, "patient_id": rows["patient_id"]})
    starts = starts.merge(keys.drop_duplicates(), on="patient_id")
    both = pd.concat(
        [
            starts.assign(row=-1)[["key", "checked_at", "row"]],
            pd.DataFrame({"key": key, "checked_at": rows["checked_at"]}).assign(
                row=np.arange(len(rows))
            ),
        ],
        ignore_index=True,
    ).sort_values(["key", "checked_at", "row"], kind="stable")
    follows = (both["row"] == -1).groupby(both["key"]).shift(fill_value=False)
    place = both.loc[follows.astype(bool) & (both["row"] >= 0), "row"]
    opens = np.zeros(len(rows), dtype=bool)
    opens[place] = True
    return pd.Series(opens, index=rows.index)


def _started_anew(rows: pd.DataFrame, key: pd.Series) -> pd.Series:
    """Mark rows that name a start since the row before, other than the one named then.

    Where no more is left than before, or no less is given, the same syringe goes on.
    """
    if "started_at" not in rows:
        return pd.Series(data=False, index=rows.index)
    named = _before(rows["started_at"], key)
    is_since = rows["started_at"].between(_before(rows["checked_at"], key),
                                          rows["checked_at"])  # fmt: skip
    goes_on = rows["volume_remaining_ml"] <= _before(rows["volume_remaining_ml"], key)
    given = rows["volume_delivered_ml"]
    goes_on |= (given > 0) & (given >= _before(given, key))
    return named.notna() & (rows["started_at"] != named) & is_since & ~goes_on


def _before(values: pd.Series, key: pd.Series) -> pd.Series:
    """Give for each row the last value known before it."""
    return values.groupby(key).ffill().groupby(key).shift()


def _jumps_up(left: pd.Series, key: pd.Series, run: pd.Series) -> pd.Series:
    """Mark readings half a syringe above the one before.

    A smaller syringe than the last rises by less than half of that, but above the last
    two readings. One that is back below the last but one makes that between them a
    doubtful reading.
    """
    rise = left - _before(left, key)
    known = left.dropna()
    last_but_one = known.groupby(key[known.index]).shift(2).reindex(left.index)
    own = left.clip(lower=SMALLEST_FILL_ML)
    is_smaller = (left > last_but_one) & (left > 0) & (rise > NEW_SYRINGE_SHARE * own)
    syringe = _before(_syringe(left.abs(), [key, run]), key)
    return (rise > NEW_SYRINGE_SHARE * syringe) | is_smaller


def _syringe(volume: pd.Series, by: list[pd.Series]) -> pd.Series:
    """Give what the syringe of each run is taken to hold, by its readings so far.

    The largest of them, if another is not far below it: one misread volume makes no
    larger syringe. What is charted later must not change the runs, and so the ids, of
    rows that are there already.
    """
    largest = volume.groupby(by).cummax().groupby(by).ffill()
    before = largest.groupby(by).shift()
    # The second largest so far: of each reading and the largest before it, the smaller.
    smaller = volume.where(volume <= before, before.where(volume.notna()))
    second = smaller.groupby(by).cummax().groupby(by).ffill() * _NEAR
    return largest.where(~(largest > second), second).clip(lower=SMALLEST_FILL_ML)


def paused_after(rows: pd.DataFrame) -> pd.Series:
    """Tell whether the driver is on a documented pause after each row.

    A pause lasts until a resume, a rate change, a new syringe, or the first row that
    sees the driver running.

    Parameters
    ----------
    rows : DataFrame
        Accepted rows in order of time, with infusion_id.

    Returns
    -------
    Series of bool
        On the index of `rows`; false where no pause is charted.
    """
    paused = rows["entry"] == Entry.PAUSE
    if not paused.any():
        return paused
    state = pd.Series(np.nan, index=rows.index)
    state[(rows["running"] == "yes") | rows["entry"].isin(STEPS_HERE)] = 0.0
    state[paused] = 1.0
    return state.groupby(rows["infusion_id"]).ffill().fillna(0.0) == 1.0
