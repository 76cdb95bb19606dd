"""What each measure means, in a line, and what a reader must keep in mind."""

import re
from dataclasses import dataclass

import pandas as pd

from analysis.audit import AuditResult


@dataclass(frozen=True, slots=True, kw_only=True)
class Definition:
    """A measure in words: a short name, what is counted, and one line on how."""

    label: str
    unit: str
    meaning: str


_COVERED = Definition(
    label="Covered time",
    unit="h",
    meaning="Share of running time that lies within the interval and its grace of the "
    "check before it. Each gap between two checks adds at most interval + grace; "
    "paused time and gaps across a transfer are left out. Extra checks cannot "
    "flatter it.",
)
_ON_TIME = Definition(
    label="Checks on time",
    unit="checks",
    meaning="Of the checks that fell due, those made within the interval and its "
    "grace. A longer gap holds as many checks not on time as fell due in it: the last "
    "is late if it came soon enough, the others are missed.",
)

MEASURES: dict[str, Definition] = {
    "covered_time": _COVERED,
    "checks_on_time": _ON_TIME,
    "lines_changed_in_time": Definition(
        label="Extension sets changed in time",
        unit="sets",
        meaning="Of the extension sets that reached their limit or were replaced, "
        "those replaced within it. A set whose age cannot be settled (a date alone, a "
        "change between two checks) is indeterminate; one that ended with the "
        "treatment before the limit was never due; neither is counted.",
    ),
    "sites_rotated_in_time": Definition(
        label="Sites rotated in time",
        unit="sites",
        meaning="As for extension sets, where the policy sets a limit for sites.",
    ),
    "syringe_changed_in_time": Definition(
        label="Syringe changed in time",
        unit="changes",
        meaning="Of the changes in treatments that went on, those after which a "
        "syringe was running again without a gap.",
    ),
    "gap_hours": Definition(
        label="Hours without a running syringe",
        unit="h",
        meaning="Hours with no syringe running in a treatment that went on, per 100 "
        "treatment hours.",
    ),
    "set_rate_matches": Definition(
        label="Rate set as planned",
        unit="infusions",
        meaning="Of the infusions, those whose rate times planned duration gives the "
        "start volume within the policy's tolerance and rounding.",
    ),
    "start_volume_in_window": Definition(
        label="Start volume in its window",
        unit="infusions",
        meaning="Of the infusions whose volume before priming is known, those made up "
        "within the policy's window for that syringe size.",
    ),
    "syringe_size_ok": Definition(
        label="Syringe size in the policy",
        unit="infusions",
        meaning="Of the infusions, those in a syringe size that the policy names.",
    ),
    "first_check_in_time": Definition(
        label="First check in time",
        unit="infusions",
        meaning="Of the infusions, those first checked within the policy's time.",
    ),
    "second_checker_recorded": Definition(
        label="Second checker recorded",
        unit="starts",
        meaning="Of the starts, those with a second checker in the record.",
    ),
    "volume_recorded": Definition(
        label="Volume recorded", unit="checks", meaning="Of the checks made."
    ),
    "site_recorded": Definition(
        label="Site recorded", unit="checks", meaning="Of the checks made."
    ),
    "solution_recorded": Definition(
        label="Solution recorded", unit="checks", meaning="Of the checks made."
    ),
    "battery_recorded": Definition(
        label="Battery recorded", unit="checks", meaning="Of the checks made."
    ),
    "label_recorded": Definition(
        label="Label recorded", unit="checks", meaning="Of the checks made."
    ),
    "checker_recorded": Definition(
        label="Checker recorded", unit="checks", meaning="Of the checks made."
    ),
    "box_locked": Definition(
        label="Box locked",
        unit="checks",
        meaning="Of the checks with an answer, those that say yes. A blank is not an "
        "answer.",
    ),
    "site_reactions": Definition(
        label="Site reactions",
        unit="sites",
        meaning="Events per 1,000 site-days. One cannula placement is one site and has "
        "at most one reaction: the earliest of a sign the policy names, enough minor "
        "signs, or removal for a reaction. A site already showing one when first seen "
        "is left out; signs not recorded are not the same as none. Limits assume that "
        "sites are independent of each other.",
    ),
}

_GRACE = re.compile(r"(?P<measure>.+)_grace_(?P<hours>[0-9.]+)")


def definition(measure: str) -> Definition:
    """Give the definition of a measure.

    Parameters
    ----------
    measure : str
        Name as in measures.csv; with ``_grace_H`` at its end, the same measure at
        another grace.

    Returns
    -------
    Definition
        A measure not known here is called by its name.
    """
    varied = _GRACE.fullmatch(measure)
    if varied is not None and varied["measure"] in MEASURES:
        own = MEASURES[varied["measure"]]
        hours = float(varied["hours"])
        return Definition(
            label=f"{own.label}, grace {hours:g} h",
            unit=own.unit,
            meaning=f"The same with a grace of {hours:g} h.",
        )
    plain = Definition(
        label=measure.replace("_", " ").capitalize(),
        unit="units",
        meaning="Defined in the data dictionary.",
    )
    return MEASURES.get(measure, plain)


def cautions(result: AuditResult) -> list[str]:
    """Say what a reader must keep in mind, with the values of this audit.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    list of str
        One sentence or a few each.
    """
    policy, account = result.policy, result.account
    set_by = "the shipped example" if policy.is_example else f"{policy.name}"
    read, used = int(account["rows_read"].sum()), int(account["accepted"].sum())
    return [
        "This looks back at recorded values. It is not for watching a running "
        "infusion, for alarms or for dosing. If someone may be affected now, go to "
        "the patient.",
        "The volume column shows where the plunger stood, not what reached the "
        "patient. A leak, a dislodged cannula, or fluid stored behind a block and "
        "released later cannot be seen in it.",
        _shortest_stop(result.noise),
        "A flag is a reason to read the chart, not a finding of fault. The same "
        "pattern fits a block, a pause, a flat battery, transport or a copied reading.",
        "A row in the log is not proof that a check was made, and a missing row is not "
        "proof that none was.",
        f"Limits: checks every {policy.check_interval_h:g} h with {policy.grace_h:g} h "
        f"grace; extension sets {policy.extension_set_life_h:g} h with "
        f"{policy.extension_set_grace_h:g} h grace; flow accuracy "
        f"{policy.flow_accuracy_pct:g} %. Set by {set_by}; local policy decides.",
        f"Times are in {policy.time_zone}; hours between two times are true "
        "hours, also across a clock change.",
        f"{used:,} of {read:,} rows were used. What was not used is listed with its "
        "reason; nothing was corrected.",
        "Intervals treat units as independent (covered time: patients). Checks of one "
        "patient tend to resemble each other, so the truth may lie outside them more "
        "often than 1 time in 20.",
        f"With fewer than {policy.smallest_group_patients} patients there is no "
        "percentage. Wards are not ranked, and nothing here is about a single nurse.",
        "Rates of site reactions depend on how often and how well sites are looked at. "
        "An association with a drug or a site is no proof of a cause.",
        "The tables and this report hold rows about persons: keep them as you keep "
        "charts. They are not made to be shared outside the service.",
    ]


def _shortest_stop(noise: pd.DataFrame) -> str:
    shortest = noise["shortest_stall_h"].dropna()
    steps = noise["reading_step_ml"].dropna()
    if shortest.empty or steps.empty:
        return "Short stops cannot be seen between readings hours apart."
    return (
        f"Stops shorter than about {_span(shortest)} h (by formula, not by simulation) "
        "are easily missed with this log's readings, in steps of "
        f"{_span(steps)} mL, and its intervals between checks."
    )


def _span(values: pd.Series) -> str:
    low, high = f"{values.min():.3g}", f"{values.max():.3g}"
    return low if low == high else f"{low} to {high}"
