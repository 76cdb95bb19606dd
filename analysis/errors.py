"""Every exception raised on purpose.

::

    SteadyfallError              one sentence for the person at the keyboard
    |-- InputError               a file that cannot be used as a whole
    |-- PolicyError              a policy file that is not complete and exact
    |-- LayoutError              a layout that is not exact, or leaves a question open
    |-- PeriodError              a month that the log does not hold
    |-- IncidentError            an infusion that the log does not hold, or not one only
    `-- OutputError              a folder that must not or cannot be written
        `-- NotebookError        the notebook did not finish; nothing is published
"""


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


class OutputError(SteadyfallError):
    """The output folder must not or cannot be written."""


class NotebookError(OutputError):
    """A notebook did not finish; nothing was published."""
