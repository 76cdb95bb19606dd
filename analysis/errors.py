"""Every exception raised on purpose.

::

    SteadyfallError              for the person at the keyboard: one sentence a point
    |-- InputError               a file that cannot be used as a whole
    |-- PolicyError              a policy file that is not complete and exact
    |-- LayoutError              a layout that is not exact, or leaves a question open
    |-- PeriodError              a month that the log does not hold
    |-- IncidentError            an infusion that the log does not hold, or not one only
    |-- WorkerError              workers that cannot be used, or were lost
    `-- OutputError              a folder that must not or cannot be written
        `-- NotebookError        the notebook did not finish; nothing is published
"""

from collections.abc import Sequence


def numbered(points: Sequence[str]) -> str:
    r"""Put the points of one message on lines of their own, where there are several.

    Parameters
    ----------
    points : sequence of str
        What was found and what to do, at least one; line breaks within are lost.

    Returns
    -------
    str
        To stand after a colon.

    Examples
    --------
    >>> numbered(["unknown key tea"])
    ' unknown key tea'
    >>> numbered(["unknown key tea", "unknown key cake"])
    '\n  1. unknown key tea\n  2. unknown key cake'
    """
    lines = [" ".join(point.split()) for point in points]
    if len(lines) == 1:
        return f" {lines[0]}"
    return "".join(f"\n  {n}. {line}" for n, line in enumerate(lines, 1))


class SteadyfallError(Exception):
    """Base of all errors whose text is meant for the person at the keyboard."""


class InputError(SteadyfallError):
    """A file cannot be used as a whole: says the file, what was found, what to do."""


class PolicyError(SteadyfallError):
    """A policy is not complete and exact: says the file, the key and what is wanted."""


class LayoutError(SteadyfallError):
    """A layout is not exact or leaves a question open: says the file and the key."""


class PeriodError(SteadyfallError):
    """The month asked for is not a month, or the log has no row in it."""


class IncidentError(SteadyfallError):
    """What is asked for is no infusion of the log, or more than one."""


class WorkerError(SteadyfallError):
    """Workers cannot be used, or were lost: says which, and what to do."""


class OutputError(SteadyfallError):
    """The output folder must not or cannot be written."""


class NotebookError(OutputError):
    """A notebook did not finish; nothing was published."""
