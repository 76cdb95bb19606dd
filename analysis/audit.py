"""The monthly audit, start to end: the main path of the package."""

from dataclasses import dataclass

import pandas as pd

from analysis.policy import Policy


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditResult:
    """Everything an audit found; the frames have the columns of `analysis.columns`.

    Attributes
    ----------
    month : str
        Month the report is about, YYYY-MM.
    is_part_of_month : bool
        True where the log holds no whole month.
    log_start, log_end : Timestamp
        First and last accepted row, in the policy's time zone.
    policy : Policy
        The limits in force.
    account : DataFrame
        One row a file: file, table, sha256, rows_read, accepted, rejected, superseded,
        exact_duplicates, other_lines.
    noise : DataFrame
        One row a ward and kind of reading: ward, source (remaining or delivered),
        readings, reading_step_ml, start_step_ml, time_step_min, shortest_stall_h.
    not_in_export : mapping of str to str
        Measures that the export cannot give, and the sentence that says why.
    notes : tuple of str
        What had to be settled or assumed, in words.
    findings, infusions, readings, measures, exclusions, units, rates, comparisons, \
rejected, set_aside : DataFrame
        The output tables.
    """

    month: str
    is_part_of_month: bool
    log_start: pd.Timestamp
    log_end: pd.Timestamp
    policy: Policy
    account: pd.DataFrame
    noise: pd.DataFrame
    not_in_export: dict[str, str]
    notes: tuple[str, ...]
    findings: pd.DataFrame
    infusions: pd.DataFrame
    readings: pd.DataFrame
    measures: pd.DataFrame
    exclusions: pd.DataFrame
    units: pd.DataFrame
    rates: pd.DataFrame
    comparisons: pd.DataFrame
    rejected: pd.DataFrame
    set_aside: pd.DataFrame
