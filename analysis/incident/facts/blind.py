"""What this log cannot show of this infusion."""

import math
from collections.abc import Iterator

import pandas as pd

from analysis.incident.review import Incident

#: Fluid that syringe, line and tissue may hold behind a block [mL]: bench studies of
#: other drivers (0.3 to 1.0 mL), not measured on any driver of the log.
STORED_ML = (0.3, 1.0)

#: Columns that an incident review asks for, and what is missing without each.
_ASKED = {
    "alarm": "alarms",
    "running": "the running light",
    "battery_pct": "the battery",
    "site_signs": "signs at the site",
    "solution_appearance": "the look of the solution",
    "line_id": "which extension set was in use",
    "site_id": "which cannula was in use",
    "recorded_at": "when rows were written",
    "checked_by": "who made the checks",
    "display_remaining_ml": "the driver's own display beside the scale",
}

#: Columns whose empty cell may say that there was nothing to record.
_MAY_BE_EMPTY = ("alarm", "display_remaining_ml")


def cannot_show(incident: Incident) -> tuple[str, ...]:
    """Say what the log cannot show of an infusion.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    tuple of str
        Sentences, with this log's own numbers.
    """
    return (
        "What reached the patient. The volume column shows where the plunger stood: a "
        "leak, a dislodged cannula or a wet dressing leaves a perfect line.",
        _stored(incident),
        _shortest(incident),
        *_absent(incident),
        *_blank(incident),
        "Whether a check that is charted was made, or one that is not charted was not.",
        "How the driver's own clock stood beside the clock on the wall: compare both "
        "when its log is read.",
        "Symptoms, doses given apart from the infusion, and who moved, stopped or "
        "opened the driver, unless somebody wrote it in a note.",
        "What happened before the first row of the log and after the last.",
    )


def _stored(incident: Incident) -> str:
    rate = rate_ml_h(incident)
    text = (
        "How long the patient went without behind a block: the plunger goes on until "
        "pressure stops it, and what is stored comes later, at once"
    )
    if math.isnan(rate):
        return f"{text}."
    low, high = (ml / rate * 60 for ml in STORED_ML)
    return (
        f"{text}. With {STORED_ML[0]:g} to {STORED_ML[1]:g} mL of storage (bench "
        f"studies of other drivers; not measured on this one) that is {low:.0f} to "
        f"{high:.0f} min more at {rate:.2g} mL/h than a plateau shows."
    )


def rate_ml_h(incident: Incident) -> float:
    """Give the rate of the infusion's line at its first row that has one.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    float
        mL/h; NaN where neither a rate nor a prescribed line is known.
    """
    rates = incident.rows["rate_ml_h"].dropna()
    rates = rates[rates > 0]
    return float(rates.iloc[0]) if len(rates) else math.nan


def _shortest(incident: Incident) -> str:
    hours = incident.noise["shortest_stall_h"].dropna()
    if hours.empty:
        return "Short stops: there are no readings that could show them."
    step = incident.noise["reading_step_ml"].max()
    return (
        f"Stops shorter than about {hours.max():.1f} h, in a ward that reads in steps "
        f"of {step:g} mL (by formula: eight of ten such stops would show)."
    )


def _absent(incident: Incident) -> Iterator[str]:
    absent = [word for name, word in _ASKED.items() if name not in incident.columns]
    if "alarm" in incident.columns:
        yield "Whether an empty alarm cell means no alarm, or one that nobody wrote."
    if absent:
        yield f"Not in this export: {', '.join(absent)}."


def _blank(incident: Incident) -> Iterator[str]:
    rows = incident.rows
    blanks = []
    for name, word in _ASKED.items():
        if name not in incident.columns or name in _MAY_BE_EMPTY:
            continue
        values = rows[name]
        empty = values.isna() | (values.astype("str") == "")
        count = int(empty.sum())
        if count:
            blanks.append(f"{word} at {_of(count, len(rows))}")
    if blanks:
        yield (
            "What was not recorded, which is not the same as normal: "
            f"{'; '.join(blanks)}."
        )


def _of(count: int, total: int) -> str:
    if count == total:
        return "any row" if total > 1 else "its row"
    return f"{count} of {total} rows"


def reading_step_said(noise: pd.DataFrame) -> str:
    """Say how fine readings and times are.

    Parameters
    ----------
    noise : DataFrame
        `Incident.noise`.

    Returns
    -------
    str
        Empty without a reading.
    """
    if noise.empty:
        return ""
    return (
        f"volumes in steps of {noise['reading_step_ml'].max():g} mL, times in steps "
        f"of {noise['time_step_min'].max():g} min"
    )
