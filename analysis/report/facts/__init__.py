"""Facts of a report: from an audit's result to small tables and numbers, no wording.

Everything a section of the report prints is taken from here, so that tests can ask for
facts and not for HTML. Wards stand in alphabetical order and are never ranked; only
findings are put in an order, by what a reader should look at first.
"""

from analysis.report.facts.action import (
    ActNow,
    Pull,
    PullList,
    act_now,
    charts_to_pull,
)
from analysis.report.facts.changes import Changes, changes
from analysis.report.facts.figures import (
    LEADING,
    NO_RULE_SET,
    NOTHING_DUE,
    REACTIONS,
    Measured,
    Rate,
    Standing,
    all_measured,
    all_rates,
    exclusions,
    is_one_ward,
    is_part,
    lacking,
    late_and_missed,
    measures,
    periods,
    standings,
    wards,
)
from analysis.report.facts.findings import (
    KIND_WORDS,
    SETTLES,
    delivery_findings,
    in_order,
    month_findings,
    other_findings,
    rows_of,
    seen_at,
    unseen_h,
    words,
)
from analysis.report.facts.infusions import only_infusions, readings_of, started_at
from analysis.report.facts.rhythm import Rhythm, other_rhythms
from analysis.report.facts.trust import Trust, trust
from analysis.report.facts.ward_log import WardLog, ward_log

__all__ = [
    "KIND_WORDS",
    "LEADING",
    "NOTHING_DUE",
    "NO_RULE_SET",
    "REACTIONS",
    "SETTLES",
    "ActNow",
    "Changes",
    "Measured",
    "Pull",
    "PullList",
    "Rate",
    "Rhythm",
    "Standing",
    "Trust",
    "WardLog",
    "act_now",
    "all_measured",
    "all_rates",
    "changes",
    "charts_to_pull",
    "delivery_findings",
    "exclusions",
    "in_order",
    "is_one_ward",
    "is_part",
    "lacking",
    "late_and_missed",
    "measures",
    "month_findings",
    "only_infusions",
    "other_findings",
    "other_rhythms",
    "periods",
    "readings_of",
    "rows_of",
    "seen_at",
    "standings",
    "started_at",
    "trust",
    "unseen_h",
    "ward_log",
    "wards",
    "words",
]
