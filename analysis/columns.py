"""The data dictionary: name, unit, type and meaning of every column, once.

Canonical tables are what intake makes of the exports; output tables are what an audit
writes. Documentation tables are made from here (``steadyfall dictionary``), and so are
the types, the decimals and the order of columns of every file that is written.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from analysis import terms


class Kind(StrEnum):
    """How the cells of a column are read and written."""

    TEXT = "text"
    NUMBER = "number"
    COUNT = "whole number"
    TIME = "date-time"
    DAY_OR_TIME = "date or date-time"
    CHOICE = "one of a list"
    CHOICES = "some of a list"


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column.

    Attributes
    ----------
    name, unit, meaning : str
        As printed; ``unit`` is empty where there is none.
    kind : Kind
        How cells are read and written.
    choices : tuple of str
        The closed list of a ``CHOICE`` or ``CHOICES`` column.
    low, high : float or None
        Hard limits, both inclusive: a number outside is impossible and is set aside.
        Common practice, no source (trade ranges).
    decimals : int
        Digits after the point in output tables.
    required : bool
        A canonical file without this column is refused.
    """

    name: str
    meaning: str
    kind: Kind = Kind.TEXT
    unit: str = ""
    choices: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    decimals: int = 3
    required: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """One table: its name, what a row is, and its columns in order."""

    name: str
    row: str
    columns: tuple[Column, ...]

    @property
    def names(self) -> list[str]:
        """Names of the columns, in order.

        Returns
        -------
        list of str
            As they stand in a file's header.
        """
        return [column.name for column in self.columns]

    def __getitem__(self, name: str) -> Column:
        """Give the column called `name`.

        Parameters
        ----------
        name : str
            Name of a column.

        Returns
        -------
        Column
            The column.

        Raises
        ------
        KeyError
            There is none of that name.
        """
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(name)


def _text(name: str, meaning: str, *, required: bool = False) -> Column:
    return Column(name=name, meaning=meaning, required=required)


def _number(  # noqa: PLR0913 - a row of the dictionary, written as one
    name: str,
    unit: str,
    meaning: str,
    *,
    low: float | None = None,
    high: float | None = None,
    decimals: int = 3,
) -> Column:
    return Column(
        name=name,
        meaning=meaning,
        kind=Kind.NUMBER,
        unit=unit,
        low=low,
        high=high,
        decimals=decimals,
    )


def _count(name: str, meaning: str) -> Column:
    return Column(name=name, meaning=meaning, kind=Kind.COUNT, decimals=0)


def _time(name: str, meaning: str, *, required: bool = False) -> Column:
    return Column(name=name, meaning=meaning, kind=Kind.TIME, required=required)


def _choice(name: str, choices: Iterable[str], meaning: str) -> Column:
    return Column(
        name=name, meaning=meaning, kind=Kind.CHOICE, choices=tuple(map(str, choices))
    )


def _yes_no(name: str, meaning: str) -> Column:
    return _choice(name, terms.YesNo, meaning)


_WARD = _text("ward", "ward or team", required=True)
_PATIENT = _text("patient_id", "patient; a pseudonym is enough", required=True)
_INFUSION = _text("infusion_id", "one syringe run")
_DRIVER = _text("driver_id", "number of the syringe driver")
_MONTH = _text("month", "month the item belongs to, YYYY-MM, in the policy's time zone")
_MEASURE = _text("measure", "name of the measure")
_PERIOD = _text("period", "a month (YYYY-MM) or all")

CHECKS = Table(
    "checks",
    "one check of one driver",
    (
        _WARD,
        _PATIENT,
        _text(
            "infusion_id",
            "one syringe run; where absent it is derived from driver (else patient), "
            "start, syringe_change and end rows, volume rises and times of start that "
            "differ, and marked as derived",
        ),
        _DRIVER,
        _choice(
            "entry",
            terms.Entry,
            "what the row records; empty means check. syringe_change ends one infusion "
            "and starts the next",
        ),
        _time(
            "checked_at",
            "when the check was made: local time in the policy's zone, or with offset",
            required=True,
        ),
        _number("set_rate_ml_h", "mL/h", "rate shown by the driver", low=0, high=10),
        _number(
            "volume_remaining_ml", "mL", "volume left, barrel scale", low=0, high=60
        ),
        _number(
            "volume_delivered_ml", "mL", "volume given since the start", low=0, high=60
        ),
        _number(
            "display_remaining_ml",
            "mL",
            "volume left by the driver's display, where the scale is charted too",
            low=0,
            high=60,
        ),
        _number("battery_pct", "%", "battery as shown", low=0, high=100, decimals=0),
        _yes_no("running", "running light seen"),
        _text("alarm", "alarm found"),
        _text("action", "action taken"),
        _text("line_id", "extension set in use; points at lines.line_id"),
        _text("site_id", "cannula in use; points at lines.line_id"),
        _yes_no("line_changed", "extension set changed at this check, where no ids"),
        _yes_no("site_changed", "cannula re-sited at this check, where no ids"),
        _choice("site_location", terms.SiteLocation, "where the cannula is"),
        Column(
            name="site_signs",
            kind=Kind.CHOICES,
            choices=tuple(terms.SiteSign),
            meaning="signs seen at the site, several with ;. Empty means not recorded, "
            "which is not none",
        ),
        _choice(
            "solution_appearance", terms.SolutionAppearance, "look of the solution"
        ),
        _yes_no("lockbox_locked", "locked case closed"),
        _yes_no("label_present", "syringe label in place"),
        _time("recorded_at", "when the row was written, if the export has it"),
        _text("checked_by", "initials or staff pseudonym"),
        _text("second_checked_by", "second checker's initials or pseudonym"),
        _text("amends", "row that this one corrects, as FILE:LINE"),
        _text("note", "free text"),
    ),
)

INFUSIONS = Table(
    "infusions",
    "one syringe run",
    (
        Column(name="infusion_id", meaning="one syringe run", required=True),
        _text("ward", "ward or team where it was started"),
        _text("patient_id", "patient; a pseudonym is enough"),
        _DRIVER,
        _time("started_at", "when the driver was started"),
        _number("planned_duration_h", "h", "planned duration", low=0.5, high=72),
        _number(
            "start_volume_ml", "mL", "in the barrel after priming", low=0.5, high=60
        ),
        _number("made_up_to_ml", "mL", "made up to, before priming", low=0.5, high=60),
        _number("syringe_size_ml", "mL", "nominal syringe size", low=1, high=100),
        _text("diluent", "what the syringe was made up with"),
        _text("contents", "drug amount unit; drug amount unit"),
        _time("ended_at", "when it ended"),
        _choice("end_reason", terms.EndReason, "why it ended"),
    ),
)

LINES = Table(
    "lines",
    "one extension set or one cannula",
    (
        Column(name="line_id", meaning="extension set or cannula", required=True),
        Column(
            name="patient_id", meaning="patient; a pseudonym is enough", required=True
        ),
        _text("ward", "ward or team where it was fitted"),
        Column(
            name="kind",
            kind=Kind.CHOICE,
            choices=tuple(terms.LineKind),
            meaning="extension set or cannula",
            required=True,
        ),
        _choice("location", terms.SiteLocation, "where the cannula is"),
        _text("material", "cannula material"),
        _text("gauge", "cannula gauge"),
        Column(
            name="inserted_at",
            kind=Kind.DAY_OR_TIME,
            meaning="when fitted; a date alone is any moment of that local day",
            required=True,
        ),
        Column(
            name="removed_at",
            kind=Kind.DAY_OR_TIME,
            meaning="when removed; a date alone is any moment of that local day",
        ),
        _choice("removal_reason", terms.RemovalReason, "why removed"),
    ),
)

CANONICAL = (CHECKS, INFUSIONS, LINES)

FINDINGS = Table(
    "findings",
    "one thing to look at in a chart",
    (
        _text("finding_id", "stable id: the same finding keeps it from run to run"),
        _MONTH,
        _WARD,
        _PATIENT,
        _INFUSION,
        _DRIVER,
        _choice("group", terms.FindingGroup, "what the finding is about"),
        _choice("kind", terms.FindingKind, "what it says"),
        _number("event_probability", "", "P(any delivery event); blank: not computed"),
        _number("kind_probability", "", "P(this kind); blank: not computed"),
        _text("rival_kind", "next best explanation; blank: not computed"),
        _number("rival_probability", "", "P(rival kind); blank: not computed"),
        _time("began_earliest", "earliest possible onset"),
        _time("began_latest", "latest possible onset"),
        _time("ended_earliest", "earliest possible end"),
        _time("ended_latest", "latest possible end"),
        _time("first_visible", "first check that could have shown it"),
        _number(
            "volume_ml",
            "mL",
            "delivered minus set-rate line at its largest; negative: behind",
            decimals=2,
        ),
        _number("volume_low_ml", "mL", "lower 95 % limit of volume_ml", decimals=2),
        _number("volume_high_ml", "mL", "upper 95 % limit of volume_ml", decimals=2),
        _number(
            "hours_equivalent",
            "h",
            "volume_ml as hours of delivery, or the hours concerned",
            decimals=2,
        ),
        _text("first_source", "first row behind the finding, file:line"),
        _text("last_source", "last row behind the finding, file:line"),
        _text("sentence", "the finding in words"),
    ),
)

INFUSION_RESULTS = Table(
    "infusions",
    "one syringe run, judged",
    (
        _INFUSION,
        _MONTH,
        _WARD,
        _PATIENT,
        _DRIVER,
        _time("started_at", "start charted, else the first row"),
        _time("observed_end", "until when it is observed"),
        _choice("end_kind", terms.EndKind, "how the observed end is known"),
        _number("start_volume_ml", "mL", "volume in the barrel at the start"),
        _number("set_rate_ml_h", "mL/h", "first rate charted", decimals=4),
        _count("checks", "accepted rows"),
        _yes_no("evaluable", "volumes can be compared with an expected line"),
        _text("reason", "why it is not evaluable, or what its expected line rests on"),
        _number("event_probability", "", "P(any delivery event); blank: not computed"),
        _text("kind", "delivery finding, if any"),
        _number("flow_factor", "", "delivered over expected at the last reading"),
        _number("flow_factor_low", "", "lower 95 % limit of flow_factor"),
        _number("flow_factor_high", "", "upper 95 % limit of flow_factor"),
    ),
)

READINGS = Table(
    "readings",
    "one accepted row of the check log",
    (
        _text("source", "file:line"),
        _MONTH,
        *CHECKS.columns,
        _text("time_note", "what had to be settled about the time"),
        _number("elapsed_h", "h", "true hours since the start", decimals=4),
        _number(
            "expected_ml", "mL", "volume remaining by the expected line", decimals=3
        ),
        _number(
            "residual_ml", "mL", "observed minus expected; positive: behind", decimals=3
        ),
        _number("sd_ml", "mL", "standard deviation of an honest residual", decimals=3),
        _number("slip_probability", "", "P(charting slip); blank: not computed"),
        _yes_no("doubtful", "listed as a doubtful reading"),
    ),
)

DRIVERS = Table(
    "drivers",
    "one driver, over all its infusions",
    (
        _DRIVER,
        _count("infusions", "infusions pooled"),
        _count("with_event", "infusions with a delivery finding, which are not pooled"),
        _count("not_pooled", "infusions whose readings tell nothing of the flow"),
        _number(
            "pooled_factor", "", "delivered over set volume, pooled; blank: none pooled"
        ),
        _number("flow_factor", "", "the same, drawn towards the mean of all drivers"),
        _number("flow_factor_low", "", "lower 95 % limit of flow_factor"),
        _number("flow_factor_high", "", "upper 95 % limit of flow_factor"),
        _yes_no("outside", "the interval lies outside the policy's flow accuracy"),
        _text("sentence", "the driver in words"),
    ),
)

MEASURES = Table(
    "measures",
    "one measure of one ward in one period",
    (
        _MEASURE,
        _WARD,
        _PERIOD,
        _count("units", "all units, excluded ones among them"),
        _number("numerator", "units or h", "units counted, or hours covered"),
        _number("denominator", "units or h", "units or hours judged"),
        _count("excluded", "units excluded; reasons in exclusions.csv"),
        _count("patients", "patients with a unit judged"),
        _number(
            "design_effect", "", "widening for clustering in patients; blank: none used"
        ),
        _number("proportion", "", "numerator / denominator", decimals=6),
        _number("low", "", "lower 95 % limit", decimals=6),
        _number("high", "", "upper 95 % limit", decimals=6),
    ),
)

EXCLUSIONS = Table(
    "exclusions",
    "one reason for exclusion in one ward and period",
    (
        _MEASURE,
        _WARD,
        _PERIOD,
        _choice("reason", terms.Exclusion, "why the units take no part"),
        _count("units", "units excluded for this reason"),
    ),
)

UNITS = Table(
    "units",
    "one unit of one measure",
    (
        _MEASURE,
        _text("unit_id", "stable id of the unit within its measure"),
        _MONTH,
        _WARD,
        _PATIENT,
        _INFUSION,
        _text("line_id", "extension set or cannula"),
        _time("due_at", "when it fell due; this decides the month"),
        _text("outcome", "outcome, from the measure's closed list"),
        _choice("tally", terms.Tally, "what the unit adds to"),
        _text("reason", "why excluded; empty where it is not"),
        _number("numerator", "units or h", "what it adds to the numerator", decimals=4),
        _number(
            "denominator", "units or h", "what it adds to the denominator", decimals=4
        ),
        _text("first_source", "first row behind the unit, file:line"),
        _text("last_source", "last row behind the unit, file:line"),
    ),
)

RATES = Table(
    "rates",
    "one rate of one ward in one period",
    (
        _MEASURE,
        _WARD,
        _PERIOD,
        _count("events", "events"),
        _number("exposure_days", "d", "days at risk"),
        _count("patients", "patients with exposure"),
        _number("rate_per_1000", "per 1,000 d", "events per 1,000 days", decimals=2),
        _number("low", "per 1,000 d", "lower 95 % limit", decimals=2),
        _number("high", "per 1,000 d", "upper 95 % limit", decimals=2),
        _choice(
            "interval",
            terms.RateInterval,
            "what the limits are: exact ones take sites as independent; with five "
            "events and ten patients or more they know of patients",
        ),
    ),
)

COMPARISONS = Table(
    "comparisons",
    "what may be said of one ward in one period",
    (
        _MEASURE,
        _WARD,
        _PERIOD,
        _choice(
            "shown",
            terms.Shown,
            "counts only: too few patients or units for a percentage",
        ),
        _number("numerator", "units or h", "units counted, or hours covered"),
        _number("denominator", "units or h", "units or hours judged"),
        _count("patients", "patients with a unit judged"),
        _number("proportion", "", "blank unless shown as a proportion", decimals=6),
        _number("low", "", "lower 95 % limit", decimals=6),
        _number("high", "", "upper 95 % limit", decimals=6),
        _number(
            "change",
            "",
            "proportion less that of the month before; blank where one of the two is "
            "not shown or they are not comparable",
            decimals=6,
        ),
        _number("change_low", "", "lower 95 % limit of change", decimals=6),
        _number("change_high", "", "upper 95 % limit of change", decimals=6),
        _number(
            "limit_low",
            "",
            "lower 99.8 % funnel limit: exact from ten wards, with the spread between "
            "wards from twelve; blank with fewer",
            decimals=6,
        ),
        _number("limit_high", "", "upper 99.8 % funnel limit, likewise", decimals=6),
        _yes_no(
            "different",
            "outside the 99.8 % limits that know of the spread between wards; blank "
            "with fewer than twelve wards",
        ),
    ),
)

TRENDS = Table(
    "trends",
    "one measure or rate of one ward in one month, as a point of its line",
    (
        _text(
            "measure",
            "name of the measure or rate, or delivery_findings: infusions with a "
            "delivery finding out of those evaluable",
        ),
        _WARD,
        _MONTH,
        _count("part", "part of the line; a new one begins where it is split"),
        _text("split", "why a new part begins in this month; blank where none does"),
        _number("numerator", "units or h", "units counted, hours or events"),
        _number("denominator", "units, h or d", "units, hours or days judged"),
        _number(
            "proportion",
            "",
            "numerator / denominator; blank: too few, or none due: a gap in the line",
            decimals=6,
        ),
        _number("centre", "", "median of a run chart, mean of the others", decimals=6),
        _number("low", "", "lower limit of the chart; blank: it has none", decimals=6),
        _number("high", "", "upper limit of the chart", decimals=6),
        _choice("chart", terms.Chart, "how the part of the line may be read"),
        Column(
            name="signal",
            kind=Kind.CHOICES,
            choices=tuple(terms.Signal),
            meaning="shift at each month of a long run on one side of the centre; few "
            "crossings at the last month of its part; several with ;",
        ),
    ),
)

_LEDGER = (
    _text("source", "file:line"),
    _text("column", "column, or (row) for the whole row"),
    _text("value", "what was found"),
    _choice("reason", terms.RejectReason, "reason code"),
    _text("sentence", "the reason in words, and what to do"),
    _text("row", "the whole row as it stands in the file"),
)
REJECTED = Table("rejected", "one row that could not be placed", _LEDGER)
SET_ASIDE = Table("set_aside", "one cell that could not be read", _LEDGER)

_DECIDED = (
    _choice("decision", terms.Decision, "what the reviewer decided; blank: nothing"),
    _text("note", "the reviewer's words"),
    _text("initials", "the reviewer's initials"),
    _text("decided_in", "file:row of the decision; several with ;"),
)
DECISIONS = Table(
    "decisions",
    "one finding and what was decided of it",
    (
        *FINDINGS.columns[:3],
        _INFUSION,
        *FINDINGS.columns[6:9],
        _choice("state", terms.ReviewState, "new: in no list that was given back"),
        _text("said", "every decision given, where two contradict"),
        _text("before", "the decision that this one replaced, and its file:row"),
        _text("heard", "what each list that was given said last"),
        *_DECIDED,
    ),
)
UNMATCHED = Table(
    "unmatched",
    "one decision whose finding is not in this log, as it was given back",
    (
        *FINDINGS.columns[:3],
        _INFUSION,
        *FINDINGS.columns[6:9],
        _text("sentence", "the finding in words"),
        _choice("reason", terms.Unmatched, "why it has no finding"),
        *_DECIDED,
    ),
)

#: What a review adds to an audit; a person decided it, no log.
REVIEW_OUTPUT = (DECISIONS, UNMATCHED)

OUTPUT = (
    FINDINGS,
    INFUSION_RESULTS,
    READINGS,
    DRIVERS,
    MEASURES,
    EXCLUSIONS,
    UNITS,
    RATES,
    COMPARISONS,
    TRENDS,
    REJECTED,
    SET_ASIDE,
)


def dictionary_markdown(tables: Iterable[Table]) -> str:
    """Write tables of the dictionary as Markdown, for README and DEVELOPERS.

    Parameters
    ----------
    tables : iterable of Table
        The tables to write, in order.

    Returns
    -------
    str
        One heading and one Markdown table for each.
    """
    parts = []
    for table in tables:
        lines = [
            f"### `{table.name}`: {table.row}",
            "",
            "| column | type | unit | needed | meaning |",
            "|---|---|---|---|---|",
        ]
        for column in table.columns:
            choices = f": {', '.join(column.choices)}" if column.choices else ""
            needed = "yes" if column.required else ""
            lines.append(
                f"| `{column.name}` | {column.kind}{choices} | {column.unit} "
                f"| {needed} | {column.meaning} |"
            )
        parts.append("\n".join(lines))
    return "\n\n".join(parts) + "\n"
