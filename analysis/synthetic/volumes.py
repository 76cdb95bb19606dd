"""The true volume in the barrel, and what an event made of it."""

import itertools

import numpy as np

from analysis.synthetic.course import Event, Syringe
from analysis.terms import FindingKind


def volume_curve(
    syringe: Syringe, event: Event | None
) -> tuple[np.ndarray, np.ndarray]:
    """Give the true volume in the barrel as corners of a line.

    Parameters
    ----------
    syringe : Syringe
        The run.
    event : Event or None
        The event to take into account.

    Returns
    -------
    hours, ml : arrays of float, shape (n,)
        Corners, in order of time; between them the volume falls evenly.
    """
    corners = {0.0, min(syringe.lag_h, syringe.hours), syringe.hours}
    for pair in (syringe.pause, syringe.new_rate and (syringe.new_rate[0],)):
        corners.update(pair or ())
    if event:
        corners.update((event.onset_h, event.end_h))
    volume = full = syringe.start_ml + syringe.offset_ml
    hours, volumes = [0.0], [volume]
    for begin, end in itertools.pairwise(sorted(corners)):
        middle = (begin + end) / 2
        rate = syringe.rate_at(middle) * syringe.flow
        if event and event.onset_h <= middle < event.end_h:
            rate *= event.factor
        if rate * (end - begin) > volume:
            hours.append(begin + volume / rate)
            volumes.append(0.0)
        volume = max(0.0, volume - rate * (end - begin))
        hours.append(end)
        volumes.append(volume)
        if event and event.kind is FindingKind.VOLUME_RISE and end == event.onset_h:
            volume = full
            hours.append(end + 1e-6)
            volumes.append(volume)
    return np.array(hours), np.array(volumes)


def event_volume_ml(syringe: Syringe) -> float:
    """Give the largest departure that the event alone made [mL]; negative: behind.

    Parameters
    ----------
    syringe : Syringe
        The run, with its event.

    Returns
    -------
    float
        [mL]; negative: behind.
    """
    with_hours, with_ml = volume_curve(syringe, syringe.event)
    without_hours, without_ml = volume_curve(syringe, None)
    both = np.union1d(with_hours, without_hours)
    departure = np.interp(both, without_hours, without_ml) - np.interp(
        both, with_hours, with_ml
    )
    return float(departure[np.argmax(np.abs(departure))])
