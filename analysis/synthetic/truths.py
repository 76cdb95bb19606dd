"""The truth that stands beside a log."""

import itertools

import pandas as pd

from analysis.synthetic.cells import local_times, text_frame
from analysis.synthetic.course import HOUR, SET_LIFE_H, Line, Plan, Row, Syringe, Truth
from analysis.synthetic.log import NO_EVENT, TRUTH_INFUSIONS, TRUTH_OTHER
from analysis.synthetic.volumes import event_volume_ml
from analysis.terms import Entry, LineKind


def gaps(plan: Plan, rows: list[Row]) -> list[Truth]:
    """List the times between two rows of a syringe that were longer than 4.5 h.

    Parameters
    ----------
    plan : Plan
        What all steps need.
    rows : list of Row
        Rows of the log.

    Returns
    -------
    list of Truth
        One a gap; pauses and visiting teams are left out.
    """
    truths = []
    by_syringe: dict[int, list[Row]] = {}
    for row in rows:
        by_syringe.setdefault(id(row.syringe), []).append(row)
    for group in by_syringe.values():
        group.sort(key=lambda row: row.minute)
        for one, two in itertools.pairwise(group):
            hours = (two.minute - one.minute) / HOUR
            is_paused = one.entry is Entry.PAUSE
            is_visit = plan.wards[two.place].is_visiting
            if hours > 4.5 and not is_paused and not is_visit:
                kind = "long_gap" if one.place == two.place else "hand_over_gap"
                truths.append(
                    Truth(
                        kind=kind,
                        row=two,
                        began=one.minute,
                        ended=two.minute,
                        hours=hours,
                    )
                )
    return truths


def overdue_sets(plan: Plan, lines: list[Line]) -> list[Truth]:
    """List the extension sets of the log that were in use for longer than 72 h.

    A team that writes no ids has them here without an id; those fitted before the log
    began are left out.

    Parameters
    ----------
    plan : Plan
        What all steps need.
    lines : list of Line
        All sets and cannulas.

    Returns
    -------
    list of Truth
        One a set whose removal is known.
    """
    truths = []
    for line in lines:
        is_seen = line.line_id or (
            not plan.wards[line.place].has_line_ids and line.fitted >= plan.first
        )
        if line.kind is LineKind.CANNULA or not is_seen:
            continue
        until = min(line.removed or plan.end, plan.end)
        hours = (until - line.fitted) / HOUR
        is_known = line.removed is not None
        if hours > SET_LIFE_H and is_known:
            truths.append(
                Truth(
                    kind="line_overdue",
                    line=line,
                    began=line.fitted,
                    ended=until,
                    hours=hours,
                )
            )
    return truths


def courses(plan: Plan, syringes: list[Syringe]) -> list[Truth]:
    """List what is charted or left out about the course of a syringe.

    Parameters
    ----------
    plan : Plan
        What all steps need.
    syringes : list of Syringe
        Those of the log.

    Returns
    -------
    list of Truth
        Pauses, rate changes, transfers and ends that are not charted.
    """
    truths = []
    for syringe in syringes:
        kinds = {
            "pause": syringe.pause is not None,
            "rate_change": syringe.new_rate is not None,
            "transfer": syringe.start < syringe.stay.moves_at <= syringe.end < plan.end,
            "end_not_recorded": syringe.fate is None and syringe.end < plan.end,
        }
        truths += [
            Truth(kind=kind, syringe=syringe) for kind, is_so in kinds.items() if is_so
        ]
    return truths


def truth_infusions_table(syringes: list[Syringe], ids: dict[int, str]) -> pd.DataFrame:
    """Write `truth_infusions`, in order of id.

    Parameters
    ----------
    syringes : list of Syringe
        Those of the log.
    ids : dict
        Infusion ids by ``id`` of a syringe.

    Returns
    -------
    DataFrame
        Columns `TRUTH_INFUSIONS`.
    """
    with_event = [(syringe, syringe.event) for syringe in syringes if syringe.event]
    onsets = local_times([s.start + round(e.onset_h * HOUR) for s, e in with_event])
    ends = local_times([s.start + round(e.end_h * HOUR) for s, e in with_event])
    events = {}
    for (syringe, event), onset, ended in zip(with_event, onsets, ends, strict=True):
        volume = event_volume_ml(syringe)
        events[id(syringe)] = {
            "kind": str(event.kind),
            "onset": onset,
            "ended": ended,
            "volume_ml": f"{volume:.3f}",
            "hours_equivalent": f"{abs(volume) / syringe.rate:.3f}",
            "factor": f"{event.factor:.3f}",
        }
    rows = [
        {
            "infusion_id": ids[id(syringe)],
            "flow_factor": f"{syringe.flow:.4f}",
            "start_offset_ml": f"{syringe.offset_ml:.3f}",
        }
        | events.get(id(syringe), {"kind": NO_EVENT})
        for syringe in syringes
    ]
    rows.sort(key=lambda row: row["infusion_id"])
    return text_frame(rows, TRUTH_INFUSIONS)


def truth_other_table(
    plan: Plan, truths: list[Truth], ids: dict[int, str], file_lines: dict[int, int]
) -> pd.DataFrame:
    """Write `truth_other`; leaves out what lies outside the log.

    Parameters
    ----------
    plan : Plan
        What all steps need.
    truths : list of Truth
        All that was planted and listed.
    ids : dict
        Infusion ids by ``id`` of a syringe.
    file_lines : dict
        Lines of ``checks.csv`` by ``id`` of a row.

    Returns
    -------
    DataFrame
        Columns `TRUTH_OTHER`.
    """
    kept = []
    for truth in truths:
        syringe = truth.row.syringe if truth.row else truth.syringe
        is_outside = truth.row is not None and id(truth.row) not in file_lines
        is_unknown = syringe is not None and id(syringe) not in ids
        is_later = truth.began is not None and truth.began >= plan.end
        if not (is_outside or is_unknown or is_later):
            kept.append(truth)
    began = local_times([truth.began for truth in kept])
    ended = local_times([truth.ended for truth in kept])
    rows = [
        _truth_row(plan, truth, ids, file_lines) | {"began": one, "ended": two}
        for truth, one, two in zip(kept, began, ended, strict=True)
    ]
    rows.sort(key=lambda row: (row["kind"], row["line"].zfill(9), row["infusion_id"]))
    return text_frame(rows, TRUTH_OTHER)


def _truth_row(
    plan: Plan, truth: Truth, ids: dict[int, str], file_lines: dict[int, int]
) -> dict[str, str]:
    syringe = truth.row.syringe if truth.row else truth.syringe
    if syringe:
        stay, minute = syringe.stay, syringe.start
        place = truth.row.place if truth.row else stay.place_at(minute)
    elif truth.line:
        stay, place = truth.line.stay, truth.line.place
    return {
        "kind": truth.kind,
        "file": "checks.csv" if truth.row else "",
        "line": str(file_lines[id(truth.row)]) if truth.row else "",
        "ward": plan.wards[place].name,
        "patient_id": stay.patient,
        "infusion_id": ids[id(syringe)] if syringe else "",
        "line_id": truth.line.line_id if truth.line else "",
        "hours": "" if truth.hours is None else f"{truth.hours:.2f}",
        "written": truth.written,
        "truth": truth.truth,
    }
