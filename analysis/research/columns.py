"""Tables of a study and of its extract: names, units, types and meaning."""

from typing import Final

from analysis import terms
from analysis.columns import Column, Kind, Table


def _text(name: str, meaning: str) -> Column:
    return Column(name=name, meaning=meaning)


def _number(name: str, unit: str, meaning: str, decimals: int = 3) -> Column:
    return Column(
        name=name, meaning=meaning, unit=unit, kind=Kind.NUMBER, decimals=decimals
    )


def _count(name: str, meaning: str) -> Column:
    return Column(name=name, meaning=meaning, kind=Kind.COUNT, decimals=0)


def _choice(name: str, choices: tuple[str, ...], meaning: str) -> Column:
    return Column(name=name, meaning=meaning, kind=Kind.CHOICE, choices=choices)


_YES_NO = tuple(map(str, terms.YesNo))
_WARD = _text("ward", "ward, or all")
_EVENTS = _count("events", "first reactions")
_DAYS = _number("exposure_days", "d", "site-days at risk")
_PATIENTS = _count("patients", "patients with time at risk")
_P_NOTE = "taken as independent of each other"

DEFINITIONS = Table(
    "definitions",
    "one definition of a reaction",
    (
        _text("definition", "its name in this study"),
        _text("words", "what it counts as a reaction"),
        _count("at_risk", "sites at risk"),
        _count("prevalent", "sites already reacting when first seen, left out"),
        _count("not_judged", "sites left out for another reason"),
    ),
)

RATES = Table(
    "rates",
    "one rate by one definition of one ward in one period",
    (
        _text("definition", "as in definitions"),
        _WARD,
        _text("period", "a month (YYYY-MM) or all"),
        _EVENTS,
        _DAYS,
        _PATIENTS,
        _number("rate_per_1000", "per 1,000 d", "reactions per 1,000 site-days", 2),
        _number("low", "per 1,000 d", "lower 95 % limit that leads", 2),
        _number("high", "per 1,000 d", "upper 95 % limit that leads", 2),
        _choice(
            "interval",
            tuple(map(str, terms.RateInterval)),
            "which limits lead: those that know of patients, from five events and ten "
            "patients on, where patients differ at all",
        ),
        _number("exact_low", "per 1,000 d", f"exact lower limit, sites {_P_NOTE}", 2),
        _number("exact_high", "per 1,000 d", f"exact upper limit, sites {_P_NOTE}", 2),
        _number("clustered_low", "per 1,000 d", "lower limit, by patient", 2),
        _number("clustered_high", "per 1,000 d", "upper limit, by patient", 2),
    ),
)

CURVES = Table(
    "curves",
    "one point of a curve, at each quarter of a day while five sites are at risk",
    (
        _choice(
            "curve",
            (
                "free of reaction",
                "free of reaction, between looks",
                "in place",
                *(f"came to {end}" for end in ("reaction", "removal")),
                "came to end of treatment",
                "came to death",
            ),
            "what is estimated",
        ),
        _text("group", "all, or one group of sites"),
        _number("day", "d", "days since the placement", 2),
        _count("at_risk", "sites at risk just then"),
        _number("estimate", "", "share of sites; blank: not known there", 5),
        _number("low", "", f"lower 95 % limit, sites {_P_NOTE}", 5),
        _number("high", "", f"upper 95 % limit, sites {_P_NOTE}", 5),
    ),
)

DURATIONS = Table(
    "durations",
    "one median time",
    (
        _choice(
            "until", ("reaction", "failure", "removal"), "what a site is followed to"
        ),
        _text("group", "all, or one group of sites"),
        _count("sites", "sites"),
        _PATIENTS,
        _count("events", "sites that came to it; the others were still in place"),
        _number("median_days", "d", "median; blank: none, and note says why", 2),
        _number("low_days", "d", "lower 95 % limit; blank: none", 2),
        _number("high_days", "d", "upper 95 % limit; blank: none", 2),
        _text("note", "why there is no median; empty where there is one"),
    ),
)

TESTS = Table(
    "tests",
    "one comparison of the curves of groups",
    (
        _text("factor", "what makes the groups"),
        _text("groups", "groups compared; the others have too few patients"),
        _number("chi_square", "", "log-rank statistic", 3),
        _count("freedom", "degrees of freedom"),
        _number("p", "", f"P, sites {_P_NOTE}", 5),
        _text("note", "why it could not be tested; empty where it was"),
    ),
)

_RATIO = "95 % limit of it"
ASSOCIATIONS = Table(
    "associations",
    "one level of one thing that reactions may be associated with",
    (
        _text("factor", "what"),
        _text("level", "its level, or the step of a number"),
        _text("reference", "what the ratios are against"),
        _PATIENTS,
        _EVENTS,
        _DAYS,
        _number("exact_ratio", "", "ratio of the rates as counted"),
        _number("exact_low", "", f"lower exact limit, sites {_P_NOTE}"),
        _number("exact_high", "", f"upper exact limit, sites {_P_NOTE}"),
        _number("exact_p", "", "P that agrees with them", 5),
        _number(
            "ratio",
            "",
            "rate ratio by regression, at the same time in place from 40 reactions on",
        ),
        _number("low", "", f"lower {_RATIO}, by patient"),
        _number("high", "", f"upper {_RATIO}, by patient"),
        _number("p", "", "P of it, by patient", 5),
        _number("cox_ratio", "", "hazard ratio of what holds for the whole of a site"),
        _number("cox_low", "", f"lower {_RATIO}, by patient"),
        _number("cox_high", "", f"upper {_RATIO}, by patient"),
        _number("joint_ratio", "", "rate ratio with all the others at the same value"),
        _number("joint_low", "", f"lower {_RATIO}, by patient"),
        _number("joint_high", "", f"upper {_RATIO}, by patient"),
        _number("p_changes", "", "P that the ratio is the same early and late", 5),
        _text("note", "why there is no ratio, or why it is unsteady"),
    ),
)

FLOW = Table(
    "flow",
    "one step from the rows read to the sites studied",
    (
        _choice("unit", ("rows", "sites"), "what is counted"),
        _text("step", "what is done"),
        _text("reason", "why some are dropped"),
        _count("dropped", "dropped for this reason"),
        _count("kept", "left after it"),
    ),
)

_ENDS = tuple(map(str, terms.SiteEnd))

ENDS = Table(
    "ends",
    "one way in which the watching of sites at risk ended",
    (
        _choice("end", _ENDS, "why they were watched no longer"),
        _count("sites", "sites at risk that ended so"),
        _count("late", "of them, placed before the log began"),
        _count("not_placed", "of them, placed nobody knows when"),
        _DAYS,
        _count("never_clear", "of them, never known to have had no reaction"),
        _number(
            "median_gap_h",
            "h",
            "median of the hours from when a site was last known to have had no "
            "reaction to its end; a reaction lies between the two",
            1,
        ),
        _number("longest_gap_h", "h", "longest of them", 1),
    ),
)

#: What a study writes; no row is about a person.
STUDY: Final = (DEFINITIONS, RATES, CURVES, DURATIONS, TESTS, ASSOCIATIONS, FLOW, ENDS)
_TRADE = "words of the trade alone, anything else is other; coarsened"
_SITE = _text("site", "site, by a keyed hash")

EXTRACT_SITES = Table(
    "sites",
    "one cannula placement",
    (
        _SITE,
        _text("patient", "patient, by a keyed hash"),
        _count("site_of_patient", "first, second, ... site of the patient in the log"),
        _text("ward", "ward of its first row; coarsened"),
        _text("location", "where on the body; coarsened"),
        _text("drugs", f"drugs of its syringes, in order of name; {_TRADE}"),
        _text("material", f"cannula material; {_TRADE}"),
        _choice(
            "hours_from",
            ("placement", "first look"),
            "what hours count from: the first look where the placement is not known",
        ),
        _number(
            "entry_h", "h", "watched from; over 0: in place before the log began", 1
        ),
        _number("end_h", "h", "watched until", 1),
        _choice("end", _ENDS, "why it was watched no longer"),
        _choice("reaction", _YES_NO, "a reaction by the policy's definition"),
        _number(
            "clear_h",
            "h",
            "last known to have had no reaction: at a look that recorded none, a "
            "removal for another charted reason, or the placement; blank: at none",
            1,
        ),
        _number("gone_h", "h", "removed, or last seen in place", 1),
        _choice("gone", _ENDS[1:], "how it was lost from sight, but for a reaction"),
        _choice("derived", _YES_NO, "told apart by charted changes, not by an id"),
        _choice("at_risk", _YES_NO, "takes part in the rates"),
        _text("exclusion", "why not"),
    ),
)

EXTRACT_PERIODS = Table(
    "periods",
    "one stretch of a site at risk under one syringe",
    (
        _SITE,
        _number("from_h", "h", "from; counted as in sites", 1),
        _number("to_h", "h", "to", 1),
        _choice("reaction", _YES_NO, "ends with the reaction"),
        _text("ward", "ward then; coarsened"),
        _text("drugs", f"drugs of the syringe, in order of name; {_TRADE}"),
        _text("diluent", f"what it was made up with; {_TRADE}"),
        _number("volume_ml_24h", "mL", "volume for 24 h, to the whole mL", 0),
    ),
)

#: What the extract holds; each row is about a person.
EXTRACT: Final = (EXTRACT_SITES, EXTRACT_PERIODS)
