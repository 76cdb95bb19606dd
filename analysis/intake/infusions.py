"""Which syringe run a row belongs to, and what is known of each run.

Where the export has no infusion_id it is derived: one run on one driver (else one
patient) begins at a start or syringe_change row, after an end row, where the volume
rises by half a syringe, or where another start is named. A derived id hashes the driver
(else the patient) and the first charted time, never a counter, so that it stays the
same when more rows are exported.
"""

import base64
import hashlib

import numpy as np
import pandas as pd

from analysis.lookup import are_among, by_key, each_once
from analysis.terms import Entry

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


def short_hash(*parts: str) -> str:
    """Give the first 12 base32 characters of a SHA-256.

    Parameters
    ----------
    *parts : str
        What is hashed, joined by U+001F.

    Returns
    -------
    str
        Twelve characters.

    Examples
    --------
    >>> short_hash("delivery", "SP001/26", "")
    'CNSW4RDKAX5W'
    """
    digest = hashlib.sha256("\x1f".join(parts).encode()).digest()
    return base64.b32encode(digest).decode()[:12]


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
    out = checks.assign(infusion_note=pd.Series("", index=checks.index, dtype="str"))
    notes: list[str] = []
    out = _split_by_patient(out, notes)
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


def _place_between(
    checks: pd.DataFrame, rows: pd.Series, notes: list[str]
) -> pd.DataFrame:
    """Place rows without an id in the one charted infusion that surrounds them."""
    if not rows.any():
        return checks
    spans = _by_infusion(checks.loc[checks["infusion_id"] != "", _DESCRIBING])
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
    loose, driver = loose[~lost], driver[~lost]
    owner = driver.where(driver != "", "patient " + loose["patient_id"])
    key = owner + "\x1f" + loose["patient_id"]
    run = _runs(loose, key)
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
            "measure."
        )
    return checks


def _drivers_filled(rows: pd.DataFrame) -> pd.Series:
    """Give each row's driver: NaN where blank and the patient had several."""
    named = rows[rows["driver_id"] != ""].groupby("patient_id")["driver_id"]
    count = by_key(rows["patient_id"], named.nunique()).fillna(0)
    only = by_key(rows["patient_id"], named.first())
    blank = rows["driver_id"] == ""
    driver = rows["driver_id"].mask(blank & (count == 1), only)
    return driver.mask(blank & (count > 1))


def _runs(rows: pd.DataFrame, key: pd.Series) -> pd.Series:
    """Tell the syringe runs of each key apart, in order of time."""
    opens = rows["entry"].isin([Entry.START, Entry.SYRINGE_CHANGE])
    is_end = rows["entry"] == Entry.END
    # An end that a second nurse charts ends nothing more.
    opens |= is_end.groupby(key).shift(fill_value=False).astype(bool) & ~is_end
    opens |= _started_anew(rows, key)
    while True:
        run = opens.astype("int64").groupby(key).cumsum()
        rises = _jumps_up(rows["volume_remaining_ml"], key, run)
        rises |= _jumps_up(-rows["volume_delivered_ml"], key, run)
        if not (rises & ~opens).any():
            return run
        # Each rise ends a run; what is large for the next one is seen only then.
        opens |= rises


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

    The syringe is the largest reading of the run so far, if another is not far below
    it: one misread volume makes no larger syringe. What is charted later must not
    change the runs, and so the ids, of rows that are there already.
    """
    by = [key, run]
    size = left.abs()
    largest = size.groupby(by).cummax().groupby(by).ffill()
    # The second largest: of each reading and the largest before it, the smaller one.
    smaller = np.fmin(size, largest.groupby(by).shift())
    second = smaller.where(size.notna()).groupby(by).cummax().groupby(by).ffill()
    syringe = np.fmin(largest, _NEAR * second).clip(lower=SMALLEST_FILL_ML)
    rise = left - _before(left, key)
    # A smaller syringe rises by less, but above the last two readings: one that is back
    # below the last but one makes that between them a doubtful reading.
    known = left.dropna()
    own = key[known.index]
    is_above = (known > known.groupby(own).shift(2)).reindex(
        left.index, fill_value=False
    )
    smaller = left.clip(lower=SMALLEST_FILL_ML)
    return (rise > NEW_SYRINGE_SHARE * _before(syringe, key)) | (
        is_above & (left > 0) & (rise > NEW_SYRINGE_SHARE * smaller)
    )


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


def describe_infusions(checks: pd.DataFrame, table: pd.DataFrame) -> pd.DataFrame:
    """Bring together what checks and the infusions table say of each syringe run.

    Parameters
    ----------
    checks : DataFrame
        Accepted rows in order of time, with infusion_id.
    table : DataFrame
        Accepted rows of the infusions table; may be empty.

    Returns
    -------
    DataFrame
        One row an infusion, indexed by infusion_id: the columns of the infusions table,
        first_row, last_row (times of its first and last row), checks, has_start_row,
        described_at (the row that first describes it, as file:line). The table leads;
        the rows fill what it leaves empty. started_at is the start row's time, else the
        first row's; start_volume_ml the start row's reading. Empty text, NaN and NaT
        are "not known".
    """
    known = checks.loc[checks["infusion_id"] != "", _DESCRIBING]
    by_row = _by_infusion(known)
    given = _merged_table(_under_own_ids(table, by_row.index))
    out = given.reindex(given.index.union(by_row.index))
    for name in ("ward", "patient_id", "driver_id"):
        own = out[name].astype("str").fillna("")
        out[name] = own.where(own != "", by_row[name].reindex(out.index).fillna(""))
    for name in ("diluent", "contents", "end_reason", "described_at"):
        out[name] = out[name].astype("str").fillna("")
    for name in ("first_row", "last_row"):
        out[name] = by_row[name].reindex(out.index)
    out["checks"] = by_row["checks"].reindex(out.index, fill_value=0)
    start = _start_rows(known)
    out["has_start_row"] = are_among(out.index.to_series(), start.index)
    start_time = start["checked_at"].reindex(out.index)
    out["started_at"] = out["started_at"].fillna(start_time).fillna(out["first_row"])
    out["start_volume_ml"] = out["start_volume_ml"].fillna(
        start["volume_remaining_ml"].reindex(out.index)
    )
    return out.rename_axis("infusion_id")


def _under_own_ids(table: pd.DataFrame, known: pd.Index) -> pd.DataFrame:
    """Give an infusion the id it has after two patients under one id were parted."""
    own = table["infusion_id"] + " of " + table["patient_id"]
    return table.assign(
        infusion_id=table["infusion_id"].mask(are_among(own, known), own)
    )


def _merged_table(table: pd.DataFrame) -> pd.DataFrame:
    """Give one row an infusion: the first value charted for each column."""
    names = [n for n in table.columns if n not in _PROVENANCE and n != "infusion_id"]
    text = [n for n in names if pd.api.types.is_string_dtype(table[n])]
    frame = table.copy()
    frame[text] = frame[text].replace("", np.nan)
    frame["described_at"] = frame["source"]
    return frame.groupby("infusion_id")[[*names, "described_at"]].first()


#: What rows say of the infusion they belong to.
_DESCRIBING = ["infusion_id", "ward", "patient_id", "driver_id", "entry", "checked_at",
               "volume_remaining_ml"]  # fmt: skip
_PROVENANCE = ("source", "file", "line")


def _start_rows(checks: pd.DataFrame) -> pd.DataFrame:
    """Give the row each infusion starts with, where one is charted."""
    opens = checks["entry"] == Entry.START
    changed = checks["entry"] == Entry.SYRINGE_CHANGE
    if changed.any():
        opens |= changed & ~checks["infusion_id"].duplicated()
    starts = checks[opens]
    return starts[~starts.duplicated("infusion_id")].set_index("infusion_id")


def _by_infusion(rows: pd.DataFrame) -> pd.DataFrame:
    """Bring rows in order of time together: one a syringe run, by infusion_id.

    Ward and patient of its first row, the first driver that is named, the times of its
    first and last row, and how many there are.
    """
    codes, ids = pd.factorize(rows["infusion_id"], sort=True)
    checks = np.bincount(codes, minlength=len(ids))
    together, ends = np.argsort(codes, kind="stable"), np.cumsum(checks)
    first = rows.iloc[together[ends - checks]]
    driver = np.full(len(ids), "", dtype=object)
    is_named = (rows["driver_id"] != "").to_numpy()
    of, at = np.unique(codes[is_named], return_index=True)
    driver[of] = rows.loc[is_named, "driver_id"].iloc[at]
    return pd.DataFrame(
        {
            "ward": first["ward"].array,
            "patient_id": first["patient_id"].array,
            "driver_id": pd.array(driver, dtype="str"),
            "first_row": first["checked_at"].array,
            "last_row": rows["checked_at"].iloc[together[ends - 1]].array,
            "checks": checks,
        },
        index=pd.Index(ids, name="infusion_id"),
    )
