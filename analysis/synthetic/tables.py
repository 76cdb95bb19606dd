"""What was simulated, cut to the days of the log, numbered and written."""

import pandas as pd

from analysis import columns
from analysis.synthetic.cells import local_times, number_text, text_frame
from analysis.synthetic.charting import minute_written
from analysis.synthetic.course import Line, Plan, Row, Service, Syringe
from analysis.synthetic.faults import spoil
from analysis.synthetic.log import SyntheticLog
from analysis.synthetic.truths import (
    courses,
    gaps,
    overdue_sets,
    truth_infusions_table,
    truth_other_table,
)
from analysis.terms import Entry, LineKind

_CONTENTS = (
    "morphine sulfate 20 mg; midazolam 10 mg",
    "morphine sulfate 15 mg; metoclopramide 30 mg",
    "oxycodone 20 mg; haloperidol 2.5 mg",
    "morphine sulfate 30 mg; glycopyrronium 0.6 mg; midazolam 15 mg",
    "oxycodone 10 mg; cyclizine 150 mg",
)


def tables_of(plan: Plan, service: Service) -> SyntheticLog:
    """Cut what was simulated to the days of the log, number it and write it.

    Parameters
    ----------
    plan : Plan
        What all steps need.
    service : Service
        All that was simulated.

    Returns
    -------
    SyntheticLog
        Tables and truth.
    """
    rows = [row for row in service.rows if _in_log(plan, row)]
    rows.sort(
        key=lambda row: (
            plan.wards[row.place].name,
            row.syringe.stay.patient,
            row.minute,
            row.syringe.driver.number,
        )
    )
    _name_lines(service.lines, rows)
    kept = {id(row.syringe): row.syringe for row in rows}
    syringes = [syringe for syringe in service.syringes if id(syringe) in kept]
    ids = _infusion_ids(plan, syringes)
    truths = service.truths + gaps(plan, rows) + overdue_sets(plan, service.lines)
    truths += courses(plan, syringes)
    _place_rows(plan, rows, ids)
    slips = {id(truth.row) for truth in truths if truth.written}
    truths += spoil(plan, rows, slips)
    file_lines = {id(row): k + 2 for k, row in enumerate(rows)}
    return SyntheticLog(
        checks=text_frame((row.cells for row in rows), columns.CHECKS.names),
        infusions=_infusions(plan, syringes, ids),
        lines=_lines(plan, service.lines),
        truth_infusions=truth_infusions_table(syringes, ids),
        truth_other=truth_other_table(plan, truths, ids, file_lines),
    )


def _in_log(plan: Plan, row: Row) -> bool:
    return row.syringe.start >= plan.first and row.written < plan.end


def _infusion_ids(plan: Plan, syringes: list[Syringe]) -> dict[int, str]:
    """Give ids to the syringes of each ward in order of their start."""
    counts = dict.fromkeys(range(len(plan.wards)), 0)
    ids = {}
    for syringe in sorted(syringes, key=lambda s: (s.start, s.driver.number)):
        place = syringe.stay.place_at(syringe.start)
        counts[place] += 1
        ids[id(syringe)] = f"{plan.wards[place].prefix}-{counts[place]:04d}"
    return ids


def _name_lines(lines: list[Line], rows: list[Row]) -> None:
    """Give ids to the lines that the log names, in order of fitting."""
    used = {row.cells.get(name, "") for row in rows for name in ("line_id", "site_id")}
    names = {}
    named = [line for line in lines if str(id(line)) in used]
    named.sort(key=lambda line: (line.fitted, line.stay.patient, str(line.kind)))
    counts = {LineKind.EXTENSION_SET: 0, LineKind.CANNULA: 0}
    for line in named:
        counts[line.kind] += 1
        letters = "XS" if line.kind is LineKind.EXTENSION_SET else "CN"
        line.line_id = names[str(id(line))] = f"{letters}{counts[line.kind]:04d}"
    for row in rows:
        for name in ("line_id", "site_id"):
            if name in row.cells:
                row.cells[name] = names[row.cells[name]]


def _place_rows(plan: Plan, rows: list[Row], ids: dict[int, str]) -> None:
    """Fill the cells that place a row: ward, patient, infusion, driver, entry, time."""
    times = local_times([row.written for row in rows])
    for row, time in zip(rows, times, strict=True):
        row.cells |= {
            "ward": plan.wards[row.place].name,
            "patient_id": row.syringe.stay.patient,
            "infusion_id": ids[id(row.syringe)],
            "driver_id": row.syringe.driver.number,
            "entry": str(row.entry),
            "checked_at": time,
        }
    filed = [row for row in rows if plan.wards[row.place].has_recorded_at]
    later = [
        row.minute
        + int(8 * plan.rng.standard_exponential())
        + (int(plan.between(120, 300)) if plan.chance(0.04) else 0)
        for row in filed
    ]
    for row, time in zip(filed, local_times(later), strict=True):
        row.cells["recorded_at"] = time


def _infusions(
    plan: Plan, syringes: list[Syringe], ids: dict[int, str]
) -> pd.DataFrame:
    """Write `infusions`, in order of id."""
    started, ended = [], []
    for syringe in syringes:
        ward = plan.wards[syringe.stay.place_at(syringe.start)]
        started.append(minute_written(plan, ward, syringe.start, Entry.START))
        end = minute_written(plan, ward, syringe.end, Entry.END)
        is_known = syringe.fate is not None and end < plan.end
        ended.append(end if is_known else None)
    rows: list[dict[str, str]] = []
    for syringe, start, over in zip(
        syringes, local_times(started), local_times(ended), strict=True
    ):
        ward = plan.wards[syringe.stay.place_at(syringe.start)]
        is_cyclizine = int(syringe.stay.patient[1:]) % len(_CONTENTS) == 4
        rows.append(
            {
                "infusion_id": ids[id(syringe)],
                "ward": ward.name,
                "patient_id": syringe.stay.patient,
                "driver_id": syringe.driver.number,
                "started_at": start,
                "planned_duration_h": number_text(syringe.planned_h),
                "start_volume_ml": number_text(syringe.start_ml),
                "made_up_to_ml": number_text(
                    min(syringe.start_ml + 0.5, syringe.size_ml)
                ),
                "syringe_size_ml": number_text(syringe.size_ml),
                "diluent": "water for injections"
                if is_cyclizine
                else "sodium chloride 0.9%",
                "contents": _CONTENTS[int(syringe.stay.patient[1:]) % len(_CONTENTS)],
                "ended_at": over,
                "end_reason": str(syringe.fate) if over else "",
            }
        )
    rows.sort(key=lambda row: row["infusion_id"])
    return text_frame(rows, columns.INFUSIONS.names)


def _lines(plan: Plan, lines: list[Line]) -> pd.DataFrame:
    """Write `lines`, in order of id; a line still in use has no removal."""
    named = sorted((line for line in lines if line.line_id), key=lambda n: n.line_id)
    fitted = local_times([line.fitted for line in named])
    is_out = [line.removed is not None and line.removed < plan.end for line in named]
    removed = local_times(
        [line.removed if out else None for line, out in zip(named, is_out, strict=True)]
    )
    rows: list[dict[str, str]] = []
    for k, line in enumerate(named):
        ward = plan.wards[line.place]
        digits = 10 if ward.has_dates_alone else None
        gauge = {"metal": "25", "plastic": "24"}.get(line.material, "")
        rows.append(
            {
                "line_id": line.line_id,
                "patient_id": line.stay.patient,
                "ward": ward.name,
                "kind": str(line.kind),
                "location": line.location,
                "material": line.material,
                "gauge": gauge,
                "inserted_at": fitted[k][:digits],
                "removed_at": removed[k][:digits],
                "removal_reason": line.reason if is_out[k] else "",
            }
        )
    return text_frame(rows, columns.LINES.names)
