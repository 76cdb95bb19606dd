"""Quality of the record: what may be a slip of the pen, and how the log was charted."""

from collections.abc import Sequence

import pandas as pd

from analysis.delivery import Delivery
from analysis.delivery.sentences import FINDING_COLUMNS
from analysis.intake import Log
from analysis.policy import Policy
from analysis.quality.entry_errors import entry_errors
from analysis.quality.suspects import impossible_numbers
from analysis.quality.twins import near_duplicates
from analysis.quality.wording import put_into_findings

__all__ = ["explain_findings"]


def explain_findings(
    parts: Sequence[pd.DataFrame], log: Log, policy: Policy, delivery: Delivery
) -> list[pd.DataFrame]:
    """Pass findings through the quality of the record.

    Parameters
    ----------
    parts : sequence of DataFrame
        Findings of the stages before, without id and month.
    log : Log
        Canonical tables.
    policy : Policy
        The limits in force.
    delivery : Delivery
        The delivery stage: lines, and which readings are doubtful.

    Returns
    -------
    list of DataFrame
        The same findings, those about a suspect value with the explanation that fits;
        suspected entry errors that no finding has yet; near-duplicates. One finding a
        reading, and nothing corrected.
    """
    # Columns without a value are left out: they would take the type from the others.
    some = [part.dropna(axis="columns", how="all") for part in parts if len(part)]
    nothing = pd.DataFrame(columns=FINDING_COLUMNS, dtype="str")
    before = pd.concat(some, ignore_index=True) if some else nothing
    errors = entry_errors(log, policy, delivery, before)
    after, added = put_into_findings(before, errors, log, impossible_numbers(log))
    return [after, added, near_duplicates(log)]
