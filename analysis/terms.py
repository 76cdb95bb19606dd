"""Closed lists: every word a canonical or output column may hold, and nothing else.

The trade's own terms (trade usage, common practice). Each list is an enum, so that a
misspelt outcome fails where it is written and not in a report.
"""

from enum import StrEnum


class Entry(StrEnum):
    """What a row of the check log records."""

    START = "start"
    CHECK = "check"
    RATE_CHANGE = "rate_change"
    SYRINGE_CHANGE = "syringe_change"
    PAUSE = "pause"
    RESUME = "resume"
    END = "end"


class YesNo(StrEnum):
    """An answered question; an empty cell is "not recorded", which is neither."""

    YES = "yes"
    NO = "no"


class SiteLocation(StrEnum):
    """Where on the body the cannula sits."""

    ABDOMEN = "abdomen"
    UPPER_ARM = "upper arm"
    THIGH = "thigh"
    CHEST = "chest"
    BACK = "back"
    OTHER = "other"


class SiteSign(StrEnum):
    """What was seen at the site; empty means not recorded, which is not ``none``."""

    NONE = "none"
    REDNESS = "redness"
    SWELLING = "swelling"
    HARDNESS = "hardness"
    PAIN = "pain"
    LEAKAGE = "leakage"
    BRUISING = "bruising"
    BLEEDING = "bleeding"
    BLISTERING = "blistering"
    OTHER = "other"


class SolutionAppearance(StrEnum):
    """The look of the solution in the syringe."""

    CLEAR = "clear"
    CLOUDY = "cloudy"
    CRYSTALS = "crystals"
    DISCOLOURED = "discoloured"


class EndReason(StrEnum):
    """Why an infusion ended, as charted."""

    COMPLETED = "completed"
    CHANGED_EARLY = "changed early"
    STOPPED = "stopped"
    DIED = "died"
    TRANSFERRED = "transferred"
    OTHER = "other"


class LineKind(StrEnum):
    """The two things a row of ``lines`` may be about."""

    EXTENSION_SET = "extension_set"
    CANNULA = "cannula"


class RemovalReason(StrEnum):
    """Why an extension set or a cannula came out."""

    ROUTINE = "routine"
    REACTION = "reaction"
    BLOCKAGE = "blockage"
    LEAK = "leak"
    DISLODGED = "dislodged"
    END_OF_TREATMENT = "end_of_treatment"
    DIED = "died"
    OTHER = "other"


class FindingGroup(StrEnum):
    """What a finding is about."""

    DELIVERY = "delivery"
    CHARTING = "charting"
    SET_UP = "set_up"
    CONTINUITY = "continuity"
    CHECK = "check"
    LINE = "line"
    SITE = "site"


class FindingKind(StrEnum):
    """What a finding says; each kind belongs to one group."""

    STALL = "stall"
    STALL_TO_END = "stall_to_end"
    SLOW = "slow"
    OVER_DELIVERY = "over_delivery"
    SURGE = "surge"
    VOLUME_RISE = "volume_rise"
    DOUBTFUL_READING = "doubtful_reading"
    DOUBTFUL_RATE = "doubtful_rate"
    VOLUMES_DISAGREE = "volumes_disagree"
    ROW_AFTER_END = "row_after_end"
    ENTRY_ERROR = "entry_error"
    NEAR_DUPLICATE = "near_duplicate"
    START_OFFSET = "start_offset"
    SET_RATE_DIFFERS = "set_rate_differs"
    SCALE_AND_DISPLAY = "scale_and_display"
    MAY_STILL_BE_RUNNING = "may_still_be_running"
    NO_SYRINGE_RUNNING = "no_syringe_running"
    CHANGED_LATE = "changed_late"
    CHECK_MISSED = "check_missed"
    LINE_OVERDUE = "line_overdue"
    SITE_OVERDUE = "site_overdue"
    SITE_REACTION = "site_reaction"


class EntryError(StrEnum):
    """What a charted value that cannot be right is consistent with."""

    COPIED_ROW = "copied whole row"
    COPIED_READING = "copied reading"
    MISSING_CODE = "missing code as number"
    SWAPPED_RATE = "volume and rate swapped"
    SWAPPED_VOLUMES = "remaining and delivered swapped"
    DECIMAL_SLIP = "decimal slip"
    TRANSPOSED_DIGITS = "transposed digits"
    TIME_OFF = "time off"
    OTHER_OF_PATIENT = "another driver of the patient"
    OTHER_OF_WARD = "another patient's driver"
    WHOLE_ML = "misread by whole mL"
    RATE_PER_24_H = "rate per 24 h"
    NOMINAL_SIZE = "nominal size as start volume"
    SWAPPED_COLUMN = "remaining and delivered swapped in every row"


class EndKind(StrEnum):
    """How the end of an infusion is known (design: observed end)."""

    END_ROW = "end row"
    SYRINGE_CHANGE = "syringe change"
    ENDED_AT = "ended_at"
    NEXT_START = "next start"
    RUNNING = "running at the end of the log"
    NOT_RECORDED = "end not recorded"


class NotEvaluable(StrEnum):
    """Why an infusion cannot be compared with its expected line."""

    NO_VOLUME = "no volume reading"
    NO_LINE = "no rate and no planned duration"
    NO_START = "no start volume and one reading only"
    NO_READING_AFTER_START = "no volume reading after the start"
    TOO_MANY_READINGS = "more readings than a chart of one infusion holds"


class Tally(StrEnum):
    """What a unit of a measure adds to: one polarity, and nothing left out."""

    COUNTED = "counted"
    NOT_COUNTED = "not counted"
    EXCLUDED = "excluded"


class CheckOutcome(StrEnum):
    """What became of a check that was due."""

    ON_TIME = "on time"
    LATE = "late"
    MISSED = "missed"


class GapOutcome(StrEnum):
    """What a gap between checks contributes to covered time."""

    COVERED = "covered"
    PARTLY_COVERED = "partly covered"


class ContinuityOutcome(StrEnum):
    """What became of a change of syringe, or of an hour of treatment."""

    IN_TIME = "in time"
    GAP = "no syringe running"
    RUNNING = "syringe running"


class LineOutcome(StrEnum):
    """What became of an extension set or a cannula against its life."""

    IN_TIME = "in time"
    REPLACED_EARLY = "replaced early"
    WITHIN = "within the limit"
    OVERDUE = "overdue"
    INDETERMINATE = "indeterminate"
    NEVER_DUE = "never due"
    UNDECIDED = "undecided"
    NOT_EVALUABLE = "not evaluable"


class SiteOutcome(StrEnum):
    """What became of a cannula site while it was watched."""

    REACTION = "reaction"
    NO_REACTION = "no reaction"
    PREVALENT = "prevalent"
    NOT_RECORDED = "signs not recorded"


class SiteEnd(StrEnum):
    """Why a cannula site was no longer at risk of a first reaction."""

    REACTION = "reaction"
    REMOVAL = "removal"
    END_OF_TREATMENT = "end of treatment"
    DEATH = "death"
    TRANSFER = "transfer"
    END_OF_OBSERVATION = "end of observation"


class RateInterval(StrEnum):
    """What an interval of a rate knows of patients."""

    EXACT = "exact"
    CLUSTERED = "clustered by patient"


class StartRateOutcome(StrEnum):
    """How the rate first charted compares with volume over duration."""

    MATCHES = "matches"
    BEFORE_PRIMING = "matches the volume before priming"
    DIFFERS = "does not match"


class StartVolumeOutcome(StrEnum):
    """Where the volume made up lies against its window."""

    INSIDE = "in the window"
    BELOW = "below the window"
    ABOVE = "above the window"


class SyringeSizeOutcome(StrEnum):
    """Whether the syringe size has a window in the policy."""

    KNOWN = "size of the policy"
    OTHER = "another size"


class FirstCheckOutcome(StrEnum):
    """What became of the first check after the start."""

    IN_TIME = "in time"
    LATE = "late"
    NOT_MADE = "not made"


class RecordOutcome(StrEnum):
    """What a check recorded of one thing, or a start row of its second checker."""

    RECORDED = "recorded"
    NOT_RECORDED = "not recorded"
    SAME_CODE = "same code as the first checker"


class BoxOutcome(StrEnum):
    """How the locked case was found."""

    LOCKED = "locked"
    NOT_LOCKED = "not locked"


class HabitOutcome(StrEnum):
    """What shows in how a time, a reading or an infusion was charted."""

    EXACT_HOUR = "on the exact hour"
    OTHER_TIME = "another minute"
    ROUND_VOLUME = "ends in .0 or .5"
    OTHER_VOLUME = "another ending"
    SAME_READING = "same as the reading before"
    MOVED = "not the same"
    SAME_ROW = "whole row as the one before"
    TOO_CLOSE = "closer to the line than readings are"
    AS_READ = "as far from the line as readings are"
    IN_BATCH = "written late in a batch"
    NOT_IN_BATCH = "not written late in a batch"


class Shown(StrEnum):
    """What may be shown of a measure of one ward in one period."""

    PROPORTION = "proportion"
    COUNTS_ONLY = "counts only"
    NOTHING_DUE = "nothing due"


class Decision(StrEnum):
    """What a reviewer decided of a finding, the chart in hand."""

    CONFIRMED = "confirmed"
    CHARTING_ERROR = "charting error"
    EXPLAINED = "explained"
    UNCLEAR = "unclear"


class ReviewState(StrEnum):
    """How far a finding has come in review."""

    DECIDED = "decided"
    OPEN = "open"
    NEW = "new"
    CONTRADICTING = "contradicting"
    UNMATCHED = "unmatched"


class Unmatched(StrEnum):
    """Why a decision has no finding any more."""

    OTHER_LOG = "its month is not in this log"
    GONE = "this log gives no such finding"


class Chart(StrEnum):
    """How a line of months may be read; the more months, the more can be said."""

    NONE = "none"
    POINT = "point"
    LINE = "line"
    RUN = "run chart"
    TRIAL_P = "trial p' chart"
    P = "p' chart"
    TRIAL_U = "trial u' chart"
    U = "u' chart"


class Signal(StrEnum):
    """What in a line of months is more than chance would bring."""

    OUTSIDE = "outside limits"
    SHIFT = "shift"
    FEW_CROSSINGS = "few crossings"


class Exclusion(StrEnum):
    """Why a unit takes no part in a measure."""

    NO_RULE_SET = "no rule set"
    PAUSED = "paused"
    HAND_OVER = "hand-over between wards"
    STOPPED = "stopped, as charted"
    LONGER_THAN_SYRINGE = "longer than a whole syringe, no stop charted"
    INDETERMINATE = "indeterminate"
    NEVER_DUE = "never due"
    UNDECIDED = "undecided"
    FITTED_BEFORE_LOG = "fitted before the log, date not known"
    CONTRADICTORY = "removed before it was fitted"
    REACTION_BEFORE_FITTED = "reaction charted before it was fitted"
    PREVALENT = "reaction already present when first seen"
    SIGNS_NOT_RECORDED = "site signs never recorded"
    NO_EXPOSURE = "not seen again after the first look"
    RATE_NOT_CHARTED = "set rate not charted"
    START_VOLUME_NOT_CHARTED = "start volume not charted"
    MADE_UP_NOT_CHARTED = "volume made up not charted"
    SIZE_NOT_CHARTED = "syringe size not charted"
    NO_WINDOW = "no window for this syringe size"
    START_NOT_CHARTED = "no start row in the log"
    ENDED_BEFORE_DUE = "ended before it was due"
    END_NOT_RECORDED = "end not recorded"
    NOT_RECORDED = "not recorded"
    NOT_READABLE = "charted, but not readable"
    AFTER_END = "charted after the infusion's end"
    COARSE_SCALE = "read in steps of 0.5 mL or coarser"
    EMPTY_SYRINGE = "syringe empty"
    NOT_SHOWN_RUNNING = "driver not shown running"
    NO_RATE_LINE = "no set-rate line"
    MOVED_TOO_LITTLE = "too soon to have moved by a step"
    TOO_FEW_READINGS = "fewer than three readings"
    LINE_ON_MARKS = "line lies on the marks at its readings"
    WRITING_NOT_TIMED = "time of writing not charted"


class RejectReason(StrEnum):
    """Why a row could not be placed, or a cell could not be read."""

    BROKEN_RECORD = "broken record"
    NO_TIME = "no time"
    TIME_NOT_READABLE = "time not readable"
    TIME_FAR = "time far from the rest"
    NO_WARD = "no ward"
    NO_PATIENT = "no patient"
    NO_INFUSION = "no infusion"
    NO_LINE_KIND = "no line kind"
    NOT_A_NUMBER = "not a number"
    IMPOSSIBLE_NUMBER = "impossible number"
    NOT_IN_LIST = "not in the list"
    CONTRADICTION = "contradiction"
    NO_UNIT = "no unit"
    OTHER_UNIT = "another unit"
    ERROR_VALUE = "error of a sheet"


#: Word used for "all wards" and "all months" in the tables.
ALL = "all"

#: Ward written for a line or site whose ward nothing in the export tells.
NO_WARD = "ward not recorded"

#: Ward written for a unit that belongs to neither of two wards.
BETWEEN_WARDS = "between wards"
