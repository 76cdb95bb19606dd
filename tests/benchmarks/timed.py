"""Medians of warm runs, on the clock or in processor time."""

import statistics
import time
from collections.abc import Callable


def median_s(
    work: Callable[[], object],
    rounds: int = 5,
    timer: Callable[[], float] = time.process_time,
) -> float:
    """Give the median time of some warm runs [s].

    In processor time, of all threads, what else the machine does counts for little.
    """
    work()
    times = []
    for _ in range(rounds):
        began = timer()
        work()
        times.append(timer() - began)
    return statistics.median(times)
