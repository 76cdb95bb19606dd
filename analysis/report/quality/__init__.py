"""Tables of the record's quality: how the log was charted and what of it was read.

They are the same in the monthly report and in the dry run of the intake.
"""

from analysis.report.quality.charted import (
    completeness,
    digit_preference,
    empty_share,
    last_digits,
    measurement_changes,
    resolution,
    round_times,
)
from analysis.report.quality.derived import bucket, without_derived
from analysis.report.quality.read import not_read, qualified
from analysis.report.quality.record import Record

__all__ = [
    "Record",
    "bucket",
    "completeness",
    "digit_preference",
    "empty_share",
    "last_digits",
    "measurement_changes",
    "not_read",
    "qualified",
    "resolution",
    "round_times",
    "without_derived",
]
