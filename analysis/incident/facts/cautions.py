"""What a reader of an incident review must keep in mind."""

import pandas as pd

from analysis.incident.review import Incident
from analysis.intake.infusions import DERIVED


def cautions(incident: Incident) -> tuple[str, ...]:
    """Say what a reader must keep in mind, with the values of this log.

    Parameters
    ----------
    incident : Incident
        The infusion.

    Returns
    -------
    tuple of str
        A sentence or a few each.
    """
    policy, account = incident.policy, incident.account
    read, used = int(account["rows_read"].sum()), int(account["accepted"].sum())
    set_by = "the shipped example" if policy.is_example else policy.name
    return (
        "This looks back at recorded values. It is no medical device and not for "
        "watching a running infusion, for alarms or for dosing. If someone may be "
        "affected now, go to the patient.",
        "“Consistent with” says that the readings fit; it does not say what lay "
        "behind, and nothing here says who. A pattern of a stop fits a block, a pause, "
        "a flat battery, transport or a copied reading alike.",
        "A row in the log is no proof that a check was made, and a missing row no "
        "proof that none was. Nothing here is to be used to judge one member of staff.",
        "Probabilities rest on a model of readings, on stated shares of what may have "
        "happened, and on this log. They are an aid to reading the chart; the decision "
        "is the reviewer's.",
        "Amounts of drug are shares of what the chart says was made up. They are in "
        "the drug charted, not converted, and advise no dose. They assume that the "
        "syringe was made up as charted and well mixed.",
        f"Limits: checks every {policy.check_interval_h:g} h with {policy.grace_h:g} h "
        f"grace; extension sets {policy.extension_set_life_h:g} h; flow accuracy "
        f"{policy.flow_accuracy_pct:g} %. Set by {set_by}; local policy decides.",
        f"Times are in {policy.time_zone}; hours between two times are true hours."
        + _clock_change(incident),
        f"{used:,} of {read:,} rows were used; what was not is listed with its reason. "
        "Nothing was corrected: an amendment and what it replaced are both shown."
        + _derived(incident),
        "This document holds rows about a person: keep it as you keep charts. Members "
        "of staff stand under pseudonyms of this document; free text is as charted and "
        "may hold names.",
    )


def _clock_change(incident: Incident) -> str:
    """Say whether the clocks changed while the infusion ran."""
    first, last = incident.known["started_at"], incident.known["observed_end"]
    if pd.isna(first) or pd.isna(last) or first.utcoffset() == last.utcoffset():
        return ""
    return " The clocks changed while this infusion ran: see the zone beside each time."


def _derived(incident: Incident) -> str:
    if not incident.infusion_id.startswith(DERIVED):
        return ""
    return (
        " The log has no id for this infusion: which rows belong to it was derived "
        "from driver (else patient), start and end rows, volume rises and start "
        "times that differ."
    )
