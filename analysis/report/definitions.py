"""What each measure means, in a line, and what a reader must keep in mind."""

import re
from dataclasses import dataclass

import pandas as pd

from analysis.audit import AuditResult
from analysis.compliance import measures_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Definition:
    """A measure in words: a short name, what is counted, and one line on how."""

    label: str
    unit: str
    meaning: str


_SITE_REACTIONS = Definition(
    label="Site reactions",
    unit="sites",
    meaning="Events per 1,000 site-days. One cannula placement is one site and has "
    "at most one reaction: the earliest of a sign the policy names, enough minor "
    "signs, or removal for a reaction. A site already showing one when first seen "
    "is left out; signs not recorded are not the same as none. Limits assume that "
    "sites are independent of each other.",
)


_GRACE = re.compile(r".+_grace_(?P<hours>[0-9.]+)")


def definition(measure: str) -> Definition:
    """Give the definition of a measure.

    Parameters
    ----------
    measure : str
        Name as in measures.csv or rates.csv.

    Returns
    -------
    Definition
        In words.
    """
    varied = _GRACE.fullmatch(measure)
    declared = measures_of([float(varied["hours"])] if varied else [])
    for own in declared:
        if own.name == measure:
            return Definition(label=own.label, unit=own.unit, meaning=own.meaning)
    return _SITE_REACTIONS


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
        "Intervals of adherence are widened because checks of one patient resemble "
        "each other, by one measure of that over all wards and months: where wards "
        "differ, they are somewhat wider than they need be. With fewer than ten "
        "patients in all there are none.",
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
