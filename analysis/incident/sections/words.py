"""How an incident review says times, readings and probabilities."""

import math

import pandas as pd

from analysis.incident import facts
from analysis.incident.review import Incident
from analysis.report.sections import words
from analysis.terms import EndKind

#: A longer text is cut, and said where the rest is.
LONGEST = 400

_ENDS = {
    EndKind.END_ROW: "end charted",
    EndKind.SYRINGE_CHANGE: "syringe changed",
    EndKind.ENDED_AT: "end charted, in the table of infusions",
    EndKind.NEXT_START: "when the next one began",
    EndKind.RUNNING: "still running when the log ended",
    EndKind.NOT_RECORDED: "last row; no end charted",
}


def end_said(incident: Incident) -> str:
    """Say until when the infusion is observed, and how that is known.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    str
        In words.
    """
    end = incident.known["observed_end"]
    said = words.date(end) if pd.notna(end) else words.UNKNOWN
    return f"{said} ({_ENDS[EndKind(incident.known['end_kind'])]})"


def wards_said(incident: Incident) -> str:
    """Name the wards of the infusion's rows, in order of time.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    str
        More than one after a transfer.
    """
    found = dict.fromkeys(w for w in incident.rows["ward"] if w)
    return ", then ".join(found) or str(incident.known["ward"])


def reading_said(reading: facts.Reading) -> str:
    """Say a reading beside its line.

    Parameters
    ----------
    reading : Reading
        The reading.

    Returns
    -------
    str
        Time, elapsed hours, volume, how far off, and its row.
    """
    return (
        f"{words.when(reading.at)}, {elapsed(reading.elapsed_h)}: "
        f"{volume_said(reading.observed_ml)}, {off_said(reading.off_ml)} "
        f"({reading.source})"
    )


def volume_said(observed_ml: float) -> str:
    """Say a volume; of volumes given only, which are drawn downwards, what was given.

    Parameters
    ----------
    observed_ml : float
        As in the expected line: negative for a volume given.

    Returns
    -------
    str
        With unit.
    """
    if observed_ml < 0:
        return f"{-observed_ml:.1f} mL given"
    return f"{observed_ml:.1f} mL"


def off_said(off_ml: float) -> str:
    """Say how far off the line, and which way.

    Parameters
    ----------
    off_ml : float
        Observed minus expected; NaN where not known.

    Returns
    -------
    str
        Empty where not known.
    """
    if math.isnan(off_ml):
        return ""
    if abs(off_ml) < 0.05:
        return "on the line"
    return f"{abs(off_ml):.1f} mL {'behind' if off_ml > 0 else 'ahead'}"


def elapsed(hours: float) -> str:
    """Say hours since the start, as hours and minutes.

    Parameters
    ----------
    hours : float
        Negative before the start; NaN where not known.

    Returns
    -------
    str
        As "8 h 05".

    Examples
    --------
    >>> elapsed(8.0833), elapsed(-0.5)
    ('8 h 05', '-0 h 30')
    """
    if math.isnan(hours):
        return ""
    minutes = round(abs(hours) * 60)
    sign = "-" if hours < 0 and minutes else ""
    return f"{sign}{minutes // 60} h {minutes % 60:02}"


def probability(value: float) -> str:
    """Say a probability; never as certain or impossible.

    Parameters
    ----------
    value : float
        From 0 to 1.

    Returns
    -------
    str
        Two decimals.
    """
    if value < 0.01:
        return "under 0.01"
    return "over 0.99" if value > 0.99 else f"{value:.2f}"


def cut(text: str, source: str) -> str:
    """Cut a long text, and say how much is left out and where it stands.

    Parameters
    ----------
    text : str
        As charted.
    source : str
        file:line.

    Returns
    -------
    str
        The text, or its beginning.
    """
    if len(text) <= LONGEST:
        return text
    more = len(text) - LONGEST
    return f"{text[:LONGEST]} … ({more:,} more characters in {source})"
