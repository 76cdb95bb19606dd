"""Which infusion is meant: by its id, or by patient and time."""

from difflib import get_close_matches

import pandas as pd

from analysis.errors import IncidentError
from analysis.policy import Policy
from analysis.report.sections.words import when

#: Near matches named in a sentence.
_NAMED = 3

#: Characters of a date without a time of day.
_DATE_ALONE = 10


#: What to do about rows that were set aside.
_MEND = "mend these in the export, or how it is read with a layout, and ask again"


def infusion_by_id(ids: pd.Index, infusion_id: str, lost: str = "") -> str:
    """Give the infusion of that id.

    Parameters
    ----------
    ids : Index of str
        Infusions of the log.
    infusion_id : str
        As asked for; spaces around it and its case are not minded where only one id
        of the log is meant.
    lost : str
        What became of rows that name it (`lost_rows_of`); empty where there are none.

    Returns
    -------
    str
        As it stands in the log.

    Raises
    ------
    IncidentError
        There is none: says what became of its rows, else names the nearest ids.
    """
    found = _known(ids, infusion_id)
    if found is None and lost:
        msg = f"--infusion {infusion_id}: the export has rows of that id and the log"
        raise IncidentError(f"{msg} none, for {lost}; {_MEND}")
    if found is None:
        msg = f"--infusion {infusion_id}: no infusion of that id in the log"
        raise IncidentError(f"{msg}; {_nearest(ids, infusion_id)}")
    return found


def infusion_at(
    infusions: pd.DataFrame,
    patient_id: str,
    at: pd.Timestamp,
    lost: str = "",
) -> str:
    """Give the infusion of a patient that was running at some time.

    Parameters
    ----------
    infusions : DataFrame
        One row an infusion, indexed by infusion_id: patient_id, driver_id, started_at,
        observed_end.
    patient_id : str
        The patient.
    at : Timestamp
        With zone.
    lost : str
        What became of rows that may have been of it; empty where there are none.

    Returns
    -------
    str
        Its id. At the moment of a syringe change the one that begins.

    Raises
    ------
    IncidentError
        No such patient; the time falls in none of the patient's infusions, or in more
        than one.
    """
    patients = pd.Index(infusions["patient_id"].unique())
    known = _known(patients, patient_id)
    if known is None and lost:
        msg = f"--patient {patient_id}: the export has rows of that patient and the log"
        raise IncidentError(f"{msg} none, for {lost}; {_MEND}")
    if known is None:
        msg = f"--patient {patient_id}: no patient of that id in the log"
        raise IncidentError(f"{msg}; {_nearest(patients, patient_id)}")
    own = infusions[infusions["patient_id"] == known].sort_values("started_at")
    began, ended = own["started_at"] <= at, own["observed_end"]
    inside = own[began & (at < ended)]
    if inside.empty:
        inside = own[began & (at == ended)]
    if len(inside) == 1:
        return str(inside.index[0])
    if inside.empty:
        msg = f"--at {_said(at)}: falls in no infusion of patient {known}"
        also = f"; of the patient {lost}; {_MEND}" if lost else ""
        raise IncidentError(f"{msg}; {_around(own, at)}{also}")
    listed = ", ".join(
        f"{name} (driver {row['driver_id'] or 'not recorded'})"
        for name, row in inside.iterrows()
    )
    msg = f"--at {_said(at)}: falls in {len(inside)} infusions of patient {known}"
    raise IncidentError(f"{msg}: {listed}; ask for one of them with --infusion ID")


def parse_time(text: str, policy: Policy) -> pd.Timestamp:
    """Read the time asked for.

    Parameters
    ----------
    text : str
        Local time of the policy's zone, or with an offset.
    policy : Policy
        Gives the zone.

    Returns
    -------
    Timestamp
        In the policy's zone.

    Raises
    ------
    IncidentError
        It is no time, has no time of day, or is a local time that comes twice or never
        where the clocks change.
    """
    how = "write it as 2026-10-21T14:05"
    try:
        moment = pd.to_datetime(text.strip(), format="ISO8601")
    except ValueError:
        raise IncidentError(f"--at {text}: is no time; {how}") from None
    if len(text.strip()) <= _DATE_ALONE:
        raise IncidentError(f"--at {text}: has no time of day; {how}")
    if moment.tzinfo is not None:
        return moment.tz_convert(policy.zone)
    try:
        return moment.tz_localize(policy.zone, ambiguous="raise", nonexistent="raise")
    except ValueError:
        msg = f"--at {text}: the clocks of {policy.time_zone} change there, and that"
        raise IncidentError(
            f"{msg} time comes twice or never; write its offset, such as {text}+00:00"
        ) from None


def _known(ids: pd.Index, asked: str) -> str | None:
    """Find an id as it is, else by its letters whatever their case."""
    if asked in ids:
        return asked
    alike = [name for name in ids if _bare(name) == _bare(asked)]
    return str(alike[0]) if len(alike) == 1 else None


def _bare(name: str) -> str:
    return str(name).strip().casefold()


def _nearest(ids: pd.Index, asked: str) -> str:
    bare = {_bare(name): str(name) for name in sorted(ids, reverse=True)}
    near = get_close_matches(_bare(asked), bare, n=_NAMED, cutoff=0.5)
    if near:
        return f"did you mean {' or '.join(bare[name] for name in near)}?"
    first = ", ".join(sorted(map(str, ids))[:_NAMED])
    return f"the log holds {len(ids):,}, such as {first}"


def _around(own: pd.DataFrame, at: pd.Timestamp) -> str:
    """Name the infusions next before and next after a time."""
    before = own[own["observed_end"] <= at].tail(1)
    after = own[own["started_at"] > at].head(1)
    said = "; ".join(
        f"{where} is {name}, {when(row['started_at'])} to {when(row['observed_end'])}"
        for where, rows in (("the one before", before), ("the next", after))
        for name, row in rows.iterrows()
    )
    return said if said else "none of them has a start in the log"


def _said(at: pd.Timestamp) -> str:
    return f"{at:%Y-%m-%dT%H:%M}"
