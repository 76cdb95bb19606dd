"""What happened when, as charted: every row, what was replaced, and what is missing."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from analysis.delivery.noise import LIMIT_SD
from analysis.incident.facts.said import said_of_row
from analysis.incident.review import Incident
from analysis.terms import CheckOutcome

#: Kinds of moments, in the order in which they stand at one time.
ROW, REPLACED, DUE, CHARTED, CALCULATED = (
    "row",
    "replaced",
    "due",
    "charted elsewhere",
    "calculated",
)
_ORDER = {CALCULATED: 0, DUE: 1, REPLACED: 2, CHARTED: 3, ROW: 4}

_HOUR = pd.Timedelta(hours=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """One line of the timeline.

    Attributes
    ----------
    at : Timestamp
        In the policy's zone.
    elapsed_h : float
        True hours since the start; NaN where no start is known.
    kind : str
        ``row``; ``replaced``, a row that an amendment replaced; ``due``, a check that
        was late or missed; ``charted elsewhere``, in the tables of infusions or lines;
        ``calculated``, from the readings.
    source : str
        file:line; empty for what is calculated.
    said : tuple of str
        What is charted, part by part.
    note : str
        Free text as charted.
    remaining_ml, expected_ml, off_ml : float
        Volume by the reading, by the set-rate line, and their difference (positive:
        behind); NaN where there is none.
    is_beyond : bool
        Further off than `LIMIT_SD` standard deviations of an honest reading.
    is_doubtful : bool
        More likely a charting slip than not.
    staff : str
        Pseudonym; empty where nobody is charted.
    is_staff_change : bool
        Another one than at the row before.
    replaced_by : str
        file:line of the row that replaced this one.
    amends : str
        file:line of the row that this one replaced.
    """

    at: pd.Timestamp
    elapsed_h: float
    kind: str
    source: str = ""
    said: tuple[str, ...] = ()
    note: str = ""
    remaining_ml: float = math.nan
    expected_ml: float = math.nan
    off_ml: float = math.nan
    is_beyond: bool = False
    is_doubtful: bool = False
    staff: str = ""
    is_staff_change: bool = False
    replaced_by: str = ""
    amends: str = ""


def timeline(incident: Incident) -> tuple[Moment, ...]:
    """Give the timeline of an infusion.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    tuple of Moment
        In order of time. Every accepted row and every replaced one is among them.
    """
    found = [
        *_rows(incident),
        *_replaced(incident),
        *_due(incident),
        *_charted(incident),
        *_calculated(incident),
    ]
    return tuple(sorted(found, key=lambda one: (one.at, _ORDER[one.kind])))


def staff_names(incident: Incident) -> dict[str, str]:
    """Give every code of staff on the infusion's rows a pseudonym.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    dict of str to str
        Code to ``Staff A``, ``Staff B`` and so on, in order of first appearance.
    """
    columns = ["checked_at", "checked_by", "second_checked_by"]
    parts = [incident.rows[columns], incident.superseded[columns]]
    every = pd.concat([part for part in parts if len(part)] or parts[:1])
    every = every.sort_values("checked_at", kind="stable")
    codes = [
        code
        for pair in zip(every["checked_by"], every["second_checked_by"], strict=True)
        for code in pair
        if code
    ]
    return {
        code: f"Staff {_letters(place)}"
        for place, code in enumerate(dict.fromkeys(codes))
    }


def _letters(place: int) -> str:
    """Count A to Z, AA, AB and so on."""
    more, last = divmod(place, 26)
    return (_letters(more - 1) if more else "") + chr(ord("A") + last)


def elapsed_h(incident: Incident, at: Any) -> float:
    """Give the true hours from the start to some time.

    Parameters
    ----------
    incident : Incident
        The infusion.
    at : Timestamp or NaT
        The time.

    Returns
    -------
    float
        Negative before the start; NaN where either is not known.
    """
    start = incident.known["started_at"]
    if pd.isna(at) or pd.isna(start):
        return math.nan
    return float((at - start) / _HOUR)


def _rows(incident: Incident) -> Iterator[Moment]:
    staff = staff_names(incident)
    unread = {
        str(source): [f"{row['column']} “{row['value']}” could not be read"
                      for row in rows.to_dict("records")]
        for source, rows in incident.set_aside.groupby("source")
    }  # fmt: skip
    before: Mapping[Any, Any] = {}
    by = ""
    for row in incident.rows.to_dict("records"):
        code = row["checked_by"]
        yield Moment(
            at=row["checked_at"],
            elapsed_h=elapsed_h(incident, row["checked_at"]),
            kind=ROW,
            source=row["source"],
            said=(
                *said_of_row(row, before, staff),
                *unread.get(row["source"], ()),
            ),
            note=row["note"],
            remaining_ml=_number(row, "observed_ml"),
            expected_ml=_number(row, "expected_ml"),
            off_ml=_number(row, "residual_ml"),
            is_beyond=_is_beyond(row),
            is_doubtful=row.get("is_doubtful") is True,
            staff=staff.get(code, ""),
            is_staff_change=bool(code and by and code != by),
            amends=row["amends"],
        )
        before, by = row, code or by


def _number(row: Mapping[Any, Any], name: str) -> float:
    value = row.get(name)
    return math.nan if value is None or pd.isna(value) else float(value)


def _is_beyond(row: Mapping[Any, Any]) -> bool:
    off, sd = _number(row, "residual_ml"), _number(row, "sd_ml")
    judged = not row.get("is_start") and not row.get("is_after_end")
    return bool(judged and abs(off) > LIMIT_SD * sd)


def _replaced(incident: Incident) -> Iterator[Moment]:
    staff = staff_names(incident)
    every = pd.concat(
        [incident.rows[["source", "amends"]], incident.superseded[["source", "amends"]]]
    )
    by = {row["amends"]: row["source"] for row in every.to_dict("records")}
    for row in incident.superseded.to_dict("records"):
        yield Moment(
            at=row["checked_at"],
            elapsed_h=elapsed_h(incident, row["checked_at"]),
            kind=REPLACED,
            source=row["source"],
            said=said_of_row(row, {}, staff),
            note=row["note"],
            remaining_ml=_number(row, "volume_remaining_ml"),
            staff=staff.get(row["checked_by"], ""),
            replaced_by=by.get(row["source"], ""),
            amends=row["amends"],
        )


def _due(incident: Incident) -> Iterator[Moment]:
    units = incident.units
    late = units["outcome"].isin([str(CheckOutcome.LATE), str(CheckOutcome.MISSED)])
    for unit in units[late & (units["measure"] == "checks_on_time")].to_dict("records"):
        is_late = unit["outcome"] == CheckOutcome.LATE
        what = "charted late, at the next row" if is_late else "none charted near it"
        yield Moment(
            at=unit["due_at"],
            elapsed_h=elapsed_h(incident, unit["due_at"]),
            kind=DUE,
            said=(f"check due; {what}",),
        )


def _charted(incident: Incident) -> Iterator[Moment]:
    """Give what the tables of infusions and lines say happened while it ran."""
    known = incident.known
    times = set(incident.rows["checked_at"])
    for name, said in (("started_at", "start"), ("ended_at", "end")):
        if pd.notna(known[name]) and known[name] not in times and known["described_at"]:
            reason = known["end_reason"] if name == "ended_at" else ""
            yield Moment(
                at=known[name],
                elapsed_h=elapsed_h(incident, known[name]),
                kind=CHARTED,
                source=known["described_at"],
                said=(f"{said} of the infusion" + (f", {reason}" if reason else ""),),
            )
    first, last = known["started_at"], known["observed_end"]
    for line in incident.lines.to_dict("records"):
        kind = str(line["kind"]).replace("_", " ")
        for name, said in (("inserted_at", "fitted"), ("removed_at", "removed")):
            at = line[name]
            is_day = pd.notna(at) and line[f"{name}_latest"] != at
            if pd.isna(at) or not first <= at <= last:
                continue
            reason = line["removal_reason"] if name == "removed_at" else ""
            yield Moment(
                at=at,
                elapsed_h=elapsed_h(incident, at),
                kind=CHARTED,
                source=line["source"],
                said=(
                    f"{kind} {line['line_id']} {said}"
                    + (f", {reason}" if reason else "")
                    + (" (a date alone: some time that day)" if is_day else ""),
                ),
            )


def _calculated(incident: Incident) -> Iterator[Moment]:
    known = incident.known
    if pd.notna(known["planned_end"]):
        yield Moment(
            at=known["planned_end"],
            elapsed_h=elapsed_h(incident, known["planned_end"]),
            kind=CALCULATED,
            said=("planned end: start and planned duration",),
        )
