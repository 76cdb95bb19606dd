"""Extension sets and cannulas: when fitted, how each ended, until when observed.

The lines table leads. One named in the checks only is fitted and removed between two
checks. Where no ids are charted, the rows that chart a change are the changes; a
cannula that is found in another place was moved between two checks.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from analysis.compliance.coded import blank, together
from analysis.intake import Log
from analysis.intake.infusions import DERIVED
from analysis.lookup import by_key, iso_times, short_hash
from analysis.terms import NO_WARD, EndKind, LineKind, RemovalReason

_ENDED = (str(RemovalReason.END_OF_TREATMENT), str(RemovalReason.DIED))

_FAULTS = (
    str(RemovalReason.REACTION),
    str(RemovalReason.BLOCKAGE),
    str(RemovalReason.LEAK),
    str(RemovalReason.DISLODGED),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """One kind of line, and where the log and the policy speak of it.

    Attributes
    ----------
    kind : LineKind
        Its rows of the lines table.
    name : str
        As a sentence begins with it.
    ids, changed, place : str
        Columns of the check log: the one in use, that it was changed, where it is
        (empty for none).
    life, grace : str
        Limits of the policy.
    """

    kind: LineKind
    name: str
    ids: str
    changed: str
    place: str
    life: str
    grace: str


EXTENSION_SET = Piece(
    kind=LineKind.EXTENSION_SET,
    name="Extension set",
    ids="line_id",
    changed="line_changed",
    place="",
    life="extension_set_life_h",
    grace="extension_set_grace_h",
)
CANNULA = Piece(
    kind=LineKind.CANNULA,
    name="Cannula",
    ids="site_id",
    changed="site_changed",
    place="site_location",
    life="site_life_h",
    grace="site_grace_h",
)


def line_segments(log: Log, ends: pd.DataFrame, piece: Piece) -> pd.DataFrame:
    """List every line of one kind.

    Parameters
    ----------
    log : Log
        Canonical tables.
    ends : DataFrame
        As given by `observe`.
    piece : Piece
        The kind.

    Returns
    -------
    DataFrame
        One row a line: line_id, ward, patient_id, infusion_id (empty), inserted_min,
        inserted_max (NaT where not known), removed_min, removed_max (NaT while in use),
        seen_until, is_ended (it ended with the treatment), is_fault (removed for a
        fault), first_source, last_source.
    """
    frames = [
        _from_table(log, piece),
        _from_ids(log, piece),
        _from_changes(log, piece),
    ]
    some = [frame for frame in frames if len(frame)]
    if not some:
        return frames[0]
    segments = _under_each_other(some)
    ids = pd.CategoricalDtype(log.checks["infusion_id"].cat.categories)
    segments["infusion_id"] = blank(segments.index, ids)
    return _with_end_of_treatment(segments, log, ends)


def _under_each_other(frames: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Put frames of the same columns together; `pd.concat` would look every code up."""
    coded = [
        str(name)
        for name in frames[0]
        if any(isinstance(frame[name].dtype, pd.CategoricalDtype) for frame in frames)
    ]
    plain = [frame.drop(columns=coded) for frame in frames]
    own = {name: together([frame[name] for frame in frames]) for name in coded}
    out = pd.concat(plain, ignore_index=True).assign(**own)
    return out[list(frames[0].columns)]


def _from_table(log: Log, piece: Piece) -> pd.DataFrame:
    table = log.lines[log.lines["kind"] == piece.kind]
    if not len(table):
        return pd.DataFrame()
    rows = log.checks[[piece.ids, "checked_at", "source"]]
    named = rows[rows[piece.ids] != ""].groupby(piece.ids)
    ids, last_ward = table["line_id"], _last_of(log, "ward")
    ward = table["ward"]
    ward = ward.where(ward != "", by_key(table["patient_id"], last_ward).fillna(""))
    ward = ward.mask(ward == "", NO_WARD)
    label = ids.astype("str")
    label = label.where(
        label != "", DERIVED + table["source"].astype("str").map(short_hash)
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
            "is_fault": table["removal_reason"].isin(_FAULTS),
            "is_unsaid": table["removal_reason"] == "",
            "first_source": by_key(ids, named["source"].first()),
            "last_source": by_key(ids, named["source"].last()),
        }
    )
    for name in ("first_source", "last_source"):
        out[name] = out[name].fillna(table["source"])
    return out


def _last_of(log: Log, column: str) -> pd.Series:
    return log.checks.groupby("patient_id")[column].last()


#: What is asked of every row.
_NAMES = ["patient_id", "run_driver_id", "checked_at", "ward", "source"]


def _from_ids(log: Log, piece: Piece) -> pd.DataFrame:
    """Give lines that only the checks name, in the order they were seen on a driver."""
    listed = log.lines.loc[log.lines["kind"] == piece.kind, "line_id"].unique()
    rows = log.checks[[*_NAMES, piece.ids, piece.changed]]
    rows = rows[rows[piece.ids] != ""]
    if not len(rows) or rows[piece.ids].isin(listed).all():
        return pd.DataFrame()
    # Neighbours by driver: a patient's two drivers have a line each, and one line may
    # go on from one driver to the next.
    by = rows.groupby(["patient_id", "run_driver_id"])
    rows = rows.assign(
        before=by["checked_at"].shift(),
        after=by["checked_at"].shift(-1),
        change_after=by[piece.changed].shift(-1) == "yes",
    )
    keys = ["patient_id", piece.ids]
    last = rows.drop_duplicates(keys, keep="last").sort_values(keys)
    first = rows.drop_duplicates(keys).sort_values(keys).set_axis(last.index)
    before, after = first["before"], last["after"]
    fitted_here = first[piece.changed] == "yes"
    gone = last["checked_at"].mask(last["change_after"], after)
    out = pd.DataFrame(
        {
            "line_id": last[piece.ids].astype("str"),
            "ward": last["ward"],
            "patient_id": last["patient_id"],
            "inserted_min": before.mask(fitted_here, first["checked_at"]),
            "inserted_max": first["checked_at"].where(before.notna() | fitted_here),
            "removed_min": gone.where(after.notna()),
            "removed_max": after,
            "seen_until": last["checked_at"],
            "is_ended": False,
            "is_fault": False,
            "is_unsaid": False,
            "first_source": first["source"],
            "last_source": last["source"],
        }
    )
    return out[~out["line_id"].isin(listed)]


def _from_changes(log: Log, piece: Piece) -> pd.DataFrame:
    """Give lines known only by their changes; the first of a patient is undated."""
    place = [piece.place] if piece.place else []
    rows, lines = log.checks[[*_NAMES, piece.ids, piece.changed, *place]], log.lines
    listed = lines.loc[lines["kind"] == piece.kind, "patient_id"]
    named = rows.loc[rows[piece.ids] != "", "patient_id"]
    told = pd.concat([listed, named]).unique()
    rows = rows[~rows["patient_id"].isin(told)]
    if not len(rows) or piece.changed not in log.columns["checks"]:
        return pd.DataFrame()
    owner = ["patient_id", "run_driver_id"]
    rows = rows.sort_values([*owner, "checked_at"], kind="stable")
    # One number for each driver of each patient: rows of one stand together.
    is_first = ~rows.duplicated(owner)
    whose = is_first.cumsum()
    is_marked = rows[piece.changed] == "yes"
    is_new = is_marked | _is_moved(rows, whose, piece)
    begins = is_new | is_first
    before = rows["checked_at"].shift().mask(is_first)
    first = rows[begins]
    last = rows[begins.shift(-1, fill_value=True)].set_axis(first.index)
    runs = first.assign(
        dated=is_new[begins],
        earliest=rows["checked_at"].where(is_marked, before)[begins],
        ward=last["ward"],
        last_at=last["checked_at"],
        last_source=last["source"],
    ).rename(columns={"checked_at": "first_at", "source": "first_source"})
    runs = runs.reset_index(drop=True)
    dated = runs["dated"]
    by = runs.groupby(owner)
    label = runs["patient_id"].astype("str") + "\x1f"
    label += runs["run_driver_id"].astype("str") + "\x1f"
    stamp = iso_times(runs["first_at"])
    return pd.DataFrame(
        {
            "line_id": DERIVED + (label + stamp).map(short_hash),
            "ward": runs["ward"],
            "patient_id": runs["patient_id"],
            "inserted_min": runs["earliest"].where(dated),
            "inserted_max": runs["first_at"].where(dated),
            "removed_min": by["earliest"].shift(-1),
            "removed_max": by["first_at"].shift(-1),
            "seen_until": runs["last_at"],
            "is_ended": False,
            "is_fault": False,
            "is_unsaid": False,
            "first_source": runs["first_source"],
            "last_source": runs["last_source"],
        }
    )


def _is_moved(rows: pd.DataFrame, whose: pd.Series, piece: Piece) -> pd.Series:
    """Mark rows that find the line in another place than the row before.

    A change that is charted in the old place, as one may that speaks of what it found,
    is seen in the new place by the next row: that is the same change.
    """
    if not piece.place:
        return pd.Series(data=False, index=rows.index)
    code = rows[piece.place].cat.codes.astype("float64")
    charted = code.mask(rows[piece.place] == "")
    place = charted.groupby(whose).ffill()
    before = place.groupby(whose).shift()
    moved: pd.Series = place.notna() & before.notna() & (place != before)
    is_old = ((rows[piece.changed] == "yes") & (charted == before)).astype("float64")
    said = is_old.where(charted.notna()).groupby(whose).ffill().groupby(whose).shift()
    return moved & (said != 1)


def _with_end_of_treatment(
    segments: pd.DataFrame, log: Log, ends: pd.DataFrame
) -> pd.DataFrame:
    """Settle lines without a charted removal: still in use, or ended with treatment.

    One removed for no charted reason, after which nothing of its patient is charted,
    ended with the treatment too. Where no check names the line it is observed to its
    patient's last row.
    """
    patient = segments["patient_id"]
    last_row = by_key(patient, _last_of(log, "checked_at"))
    still = log.infusions["patient_id"][ends["end_kind"] == EndKind.RUNNING]
    out = segments.copy()
    seen = out["seen_until"].fillna(last_row)
    seen = seen.mask(seen < out["inserted_min"], out["inserted_min"])
    # A line of somebody without any row is dated by what there is, at last the log.
    seen = seen.fillna(out["inserted_min"])
    out["seen_until"] = seen.fillna(log.checks["checked_at"].iloc[-1])
    open_ = out["removed_max"].isna()
    is_last = out["inserted_max"].groupby(patient).transform("max")
    is_last = ~(is_last > out["inserted_max"]) & ~(last_row > out["removed_max"])
    unsaid = out["is_unsaid"].astype(bool) & is_last
    out["is_ended"] |= (open_ | unsaid) & ~patient.isin(still)
    return out.drop(columns="is_unsaid")
