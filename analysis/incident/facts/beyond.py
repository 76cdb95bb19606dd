"""What rows say of delivery to the patient that no volume shows: leaks and blocks."""

import math
from collections.abc import Iterator

import pandas as pd

from analysis.incident.facts.blind import STORED_ML, rate_ml_h
from analysis.incident.review import Incident
from analysis.report.sections.words import when
from analysis.terms import SiteSign

#: Words of an alarm that go with a block.
_BLOCK = r"occlu|block|pressure|obstruct|kink"


def beyond_the_plunger(incident: Incident) -> tuple[tuple[str, str], ...]:
    """Say what is charted that the volume column cannot show.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    tuple of (str, str)
        What it is, and what follows for the reviewer, with the rows; empty where
        neither leakage nor an alarm of a block is charted.
    """
    return (*_leak(incident.rows), *_blocks(incident))


def _leak(rows: pd.DataFrame) -> Iterator[tuple[str, str]]:
    """Tell since when at the earliest what the patient received is not known."""
    signs = rows["site_signs"].str.split(";")
    is_wet = signs.map(lambda said: str(SiteSign.LEAKAGE) in map(str.strip, said))
    if not is_wet.any():
        return
    first = rows[is_wet].iloc[0]
    dry = rows[(rows["site_signs"] != "") & (rows["checked_at"] < first["checked_at"])]
    since = "its start: no check before charted the site"
    if len(dry):
        last = dry.iloc[-1]
        since = (
            f"the last check that charted the site without it, "
            f"{when(last['checked_at'])} ({last['source']})"
        )
    yield (
        "leakage charted",
        f"{when(first['checked_at'])} ({first['source']}): the plunger moved, but how "
        f"much the patient received is not known from then back to {since}",
    )


def _blocks(incident: Incident) -> Iterator[tuple[str, str]]:
    rows = incident.rows
    alarms = rows[rows["alarm"].str.contains(_BLOCK, case=False, regex=True)]
    if alarms.empty:
        return
    named = "; ".join(
        f"{when(row['checked_at'])} ({row['source']})"
        for row in alarms.to_dict("records")
    )
    rate = rate_ml_h(incident)
    more = "for some time"
    if not math.isnan(rate):
        low, high = (ml / rate * 60 for ml in STORED_ML)
        more = f"for some {low:.0f} to {high:.0f} min (bench studies of other drivers)"
    yield (
        "alarm of a block charted",
        f"{named}: the line may have been blocked {more} before the plunger stopped, "
        "which no reading shows, and what was stored may have come at once afterwards",
    )
