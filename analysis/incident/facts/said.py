"""What one row of the chart says, in words: every cell that holds something."""

import math
from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from analysis.intake.infusions import DERIVED
from analysis.report.sections.words import when
from analysis.terms import Entry

#: A row written so long after the time it is about is said to be [h].
_WRITTEN_LATE_H = 0.5

_ENTRIES = {
    Entry.START: "start",
    Entry.CHECK: "check",
    Entry.RATE_CHANGE: "rate change",
    Entry.SYRINGE_CHANGE: "syringe change",
    Entry.PAUSE: "pause",
    Entry.RESUME: "resumed",
    Entry.END: "end",
}

_NUMBERS = (
    ("set_rate_ml_h", "rate {:g} mL/h"),
    ("volume_remaining_ml", "{:g} mL left"),
    ("volume_delivered_ml", "{:g} mL given"),
    ("display_remaining_ml", "display {:g} mL left"),
    ("battery_pct", "battery {:g} %"),
)

_ANSWERS = (
    ("running", "running light seen", "not running"),
    ("lockbox_locked", "box locked", "box not locked"),
    ("label_present", "label in place", "no label"),
    ("line_changed", "extension set changed", ""),
    ("site_changed", "cannula re-sited", ""),
)

_TEXTS = (
    ("alarm", "alarm: {}"),
    ("action", "action: {}"),
    ("solution_appearance", "solution {}"),
)


def said_of_row(
    row: Mapping[Any, Any], before: Mapping[Any, Any], staff: Mapping[str, str]
) -> tuple[str, ...]:
    """Say what a row charts, the entry first.

    Parameters
    ----------
    row : mapping
        A row of the check log.
    before : mapping
        The row before it, whose line, site and driver are not said again; empty for
        none.
    staff : mapping of str to str
        Pseudonyms by code.

    Returns
    -------
    tuple of str
        What is not recorded is not said; the free text is not among it.
    """
    return (
        _ENTRIES.get(row["entry"] or Entry.CHECK, str(row["entry"])),
        *_numbers(row),
        *_answers(row),
        *(form.format(row[name]) for name, form in _TEXTS if row[name]),
        *_places(row, before),
        *_about_the_row(row, staff),
    )


def _numbers(row: Mapping[Any, Any]) -> Iterator[str]:
    for name, form in _NUMBERS:
        if not math.isnan(row[name]):
            yield form.format(row[name])


def _answers(row: Mapping[Any, Any]) -> Iterator[str]:
    for name, yes, no in _ANSWERS:
        said = {"yes": yes, "no": no}.get(row[name], "")
        if said:
            yield said


def _places(row: Mapping[Any, Any], before: Mapping[Any, Any]) -> Iterator[str]:
    """Say driver, line and site where they are new, and what was seen at the site."""
    for name, word in (
        ("driver_id", "driver"),
        ("line_id", "extension set"),
        ("site_id", "cannula"),
    ):
        if row[name] and row[name] != before.get(name):
            yield f"{word} {row[name]}"
    where = row["site_location"]
    signs = str(row["site_signs"]).replace(";", ", ")
    if where and where != before.get("site_location"):
        yield f"site: {where}"
    if signs:
        yield "site signs: " + signs


def _about_the_row(row: Mapping[Any, Any], staff: Mapping[str, str]) -> Iterator[str]:
    second = row["second_checked_by"]
    if second:
        same = second == row["checked_by"]
        yield f"second checker {staff.get(second, '')}" + (", the same" if same else "")
    written = row["recorded_at"]
    if pd.notna(written):
        late = (written - row["checked_at"]) / pd.Timedelta(hours=1)
        if late > _WRITTEN_LATE_H:
            yield f"written {when(written)}, {late:.1f} h later"
    if row.get("time_note"):
        yield str(row["time_note"])
    # Of an infusion that was derived, all rows are: the review says so once.
    if row.get("infusion_note") and not str(row["infusion_id"]).startswith(DERIVED):
        yield str(row["infusion_note"])
