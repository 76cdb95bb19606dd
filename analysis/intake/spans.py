"""Times of infusions and lines that lie years from the checks they belong to.

A wrong year in a table of infusions or lines makes a start, an end or an age of a year
or more, and all that is due in between. The row is kept without that time.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.intake.alike import numbered
from analysis.intake.canonical import Typed, named_faults
from analysis.intake.cells import faults_of
from analysis.intake.far import FAR
from analysis.intake.turned import Turned
from analysis.terms import RejectReason

#: What is asked of the checks: few of their columns, as they are copied.
_NEEDED = ["patient_id", "infusion_id", "line_id", "site_id", "checked_at"]

#: Table to its times; of a check log, those beside the time of each check.
_TIMES = {
    "infusions": ("started_at", "ended_at"),
    "lines": ("inserted_at", "removed_at"),
    "checks": ("started_at", "ended_at", "recorded_at"),
}


def without_far_times(
    typed: Mapping[str, Typed], sheets: Mapping[str, Sequence[Turned]]
) -> dict[str, Typed]:
    """Set aside times of checks, infusions and lines far from the checks of the same.

    Parameters
    ----------
    typed : mapping of str to Typed
        Tables of checks, infusions and lines.
    sheets : mapping of str to sequence of Turned
        What each was typed from.

    Returns
    -------
    dict of str to Typed
        The same tables. A time is far where it is more than `FAR` before the first
        accepted check of its infusion or line, or after the last; for a line no check
        names, of its patient (such a line with both times on one side is of another
        year). Beside a check, other times are held against that of the check itself.
    """
    checks = typed["checks"]
    known = checks.rows.loc[~(checks.is_rejected | checks.is_superseded), _NEEDED]
    far_of: dict[str, Callable[[pd.DataFrame, pd.DataFrame], pd.DataFrame]] = {
        "infusions": _far_of_infusions,
        "lines": _far_of_lines,
        "checks": _far_in_checks,
    }
    return {
        name: _set_aside(table, sheets[name], far_of[name](table.rows, known))
        if _is_wide(table.rows, known, _TIMES[name])
        else table
        for name, table in typed.items()
    }


def _is_wide(rows: pd.DataFrame, known: pd.DataFrame, names: Sequence[str]) -> bool:
    """Tell that some of these times may be far; most logs are of a few months."""
    there = [rows[name] for name in names if name in rows]
    if not len(known) or not any(times.notna().any() for times in there):
        return False
    every = [t for t in (*there, known["checked_at"]) if t.notna().any()]
    return bool(max(t.max() for t in every) - min(t.min() for t in every) > FAR)


def _far_of_infusions(rows: pd.DataFrame, known: pd.DataFrame) -> pd.DataFrame:
    of_both = _spans(known, ["patient_id", "infusion_id"])
    of_id = of_both.groupby(level="infusion_id").agg(_WIDEST)
    # An id may stand under two patients, and the table need not name any.
    spans = _of_keys(rows, of_both, ["patient_id", "infusion_id"]).where(
        rows["patient_id"] != "", _of_keys(rows, of_id, ["infusion_id"])
    )
    before, after = _sides(rows, spans, "infusions")
    return before | after


def _far_of_lines(rows: pd.DataFrame, known: pd.DataFrame) -> pd.DataFrame:
    keys = ["patient_id", "line_id"]
    sites = known.drop(columns="line_id").rename(columns={"site_id": "line_id"})
    of_line = pd.concat([_spans(known, keys), _spans(sites, keys)])
    spans = _of_keys(rows, of_line.groupby(level=keys).agg(_WIDEST), keys)
    before, after = _sides(rows, spans, "lines")
    of_patient = _of_keys(rows, _spans(known, ["patient_id"]), ["patient_id"])
    early, late = _sides(rows, of_patient, "lines")
    is_of_another_year = early.all(axis=1) | late.all(axis=1)
    by_patient = (early | late).mask(is_of_another_year, other=False)
    return (before | after).where(spans["first"].notna(), by_patient)


#: The span of several spans.
_WIDEST = {"first": "min", "last": "max"}


def _of_keys(rows: pd.DataFrame, spans: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    return rows[keys].join(spans, on=keys)[["first", "last"]]


def _far_in_checks(rows: pd.DataFrame, known: pd.DataFrame) -> pd.DataFrame:
    own = rows["checked_at"].where(rows.index.isin(known.index))
    before, after = _sides(rows, pd.DataFrame({"first": own, "last": own}), "checks")
    return before | after


def _spans(known: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    """Give the first and the last check under each key that is charted."""
    is_named = np.ones(len(known), dtype=bool)
    for key in keys:
        is_named &= (known[key] != "").to_numpy()
    named = known.loc[is_named, [*keys, "checked_at"]]
    # By a number for each pair of names: pandas would write them out, row by row.
    number = pd.Series(numbered(named, keys), index=named.index)
    by = named["checked_at"].groupby(number, sort=False)
    once = named.loc[~number.duplicated(), keys]  # in the order that groups have
    return once.assign(first=by.min().array, last=by.max().array).set_index(keys)


def _sides(
    rows: pd.DataFrame, spans: pd.DataFrame, name: str
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Mark the times far before the span of their row, and far after it.

    An unknown span marks none.
    """
    times = rows[[column for column in _TIMES[name] if column in rows]]
    return times.lt(spans["first"] - FAR, axis=0), times.gt(spans["last"] + FAR, axis=0)


def _set_aside(table: Typed, sheets: Sequence[Turned], is_far: pd.DataFrame) -> Typed:
    if not is_far.to_numpy().any():
        return table
    rows, faults = table.rows.copy(), []
    for column in is_far:
        name = str(column)
        far = is_far[column]
        written = pd.concat([s.text[name] for s in sheets], ignore_index=True)
        sentence = (
            f"{name} reads '{{value}}', more than {FAR.days} days from every check it "
            "could belong to; the row is kept without it"
        )
        counts = far & ~(table.is_rejected | table.is_duplicate)
        faults.append(faults_of(written[counts], name, RejectReason.TIME_FAR, sentence))
        for part in (name, f"{name}_latest"):
            if part in rows:
                rows[part] = rows[part].mask(far)
    told = named_faults(faults, sheets, rows)
    every = [part for part in (table.set_aside, told) if len(part)]
    aside = pd.concat(every) if every else table.set_aside
    return replace(table, rows=rows, set_aside=aside.sort_index(kind="stable"))
