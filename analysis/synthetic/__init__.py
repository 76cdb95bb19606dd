"""Seeded check logs of an invented health service, and the truth planted in them.

Infusions are simulated on their true volume in true time; each ward then reads and
writes them by its own habits. What was planted stands in two truth tables beside the
log. Service, wards, patients, drivers and staff are invented; base rates are plausible
(trade usage, common practice, no source) and are not tuned to any way of detecting.

Every share and every error is an argument: `WardHabits` and `Planting` as they come are
a ward without error and a log with nothing planted in it. The main path is in `make`.
"""

from analysis.synthetic.course import ZONE
from analysis.synthetic.demo import (
    DEMO_DAYS,
    DEMO_FIRST_DAY,
    DEMO_PLANTING,
    DEMO_SEED,
    WARDS,
    demo_log,
)
from analysis.synthetic.habits import SHORTEST_WITH_EVENT_H, Planting, WardHabits
from analysis.synthetic.log import (
    NO_EVENT,
    SERVICE,
    TRUTH_INFUSIONS,
    TRUTH_OTHER,
    SyntheticLog,
    write_log,
)
from analysis.synthetic.make import make_log

__all__ = [
    "DEMO_DAYS",
    "DEMO_FIRST_DAY",
    "DEMO_PLANTING",
    "DEMO_SEED",
    "NO_EVENT",
    "SERVICE",
    "SHORTEST_WITH_EVENT_H",
    "TRUTH_INFUSIONS",
    "TRUTH_OTHER",
    "WARDS",
    "ZONE",
    "Planting",
    "SyntheticLog",
    "WardHabits",
    "demo_log",
    "make_log",
    "write_log",
]
