"""A log as it was read, whoever read it: an audit or a dry run."""

from dataclasses import dataclass
from typing import Self

import pandas as pd

from analysis.audit import AuditResult
from analysis.intake import Log
from analysis.quality import account
from analysis.terms import ALL


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """A log as it was read, before anything is judged.

    Attributes
    ----------
    rows : DataFrame
        Accepted rows with the columns of ``checks``.
    account, rejected, set_aside, qualifiers : DataFrame
        As in `AuditResult`.
    notes : tuple of str
        What was recognised, settled or derived, in words.
    """

    rows: pd.DataFrame
    account: pd.DataFrame
    rejected: pd.DataFrame
    set_aside: pd.DataFrame
    qualifiers: pd.DataFrame
    notes: tuple[str, ...]

    @classmethod
    def of_log(cls, log: Log) -> Self:
        """Take the record from a log that was read and not audited.

        Parameters
        ----------
        log : Log
            What intake made of the exports.

        Returns
        -------
        Record
            Of that log.
        """
        return cls(
            rows=log.checks,
            account=log.account,
            rejected=log.rejected,
            set_aside=log.set_aside,
            qualifiers=account.qualifiers(log.qualified),
            notes=log.notes,
        )

    @classmethod
    def of_result(cls, result: AuditResult) -> Self:
        """Take the record from an audit.

        Parameters
        ----------
        result : AuditResult
            The audit.

        Returns
        -------
        Record
            Of its log.
        """
        return cls(
            rows=result.readings,
            account=result.account,
            rejected=result.rejected,
            set_aside=result.set_aside,
            qualifiers=result.qualifiers,
            notes=result.notes,
        )

    @property
    def wards(self) -> list[str]:
        """Give its wards, sorted.

        Returns
        -------
        list of str
            In alphabetical order.
        """
        return sorted(map(str, self.rows["ward"].unique()))


def ward_said(ward: str) -> str:
    """Say a ward, or that all of them are meant.

    Parameters
    ----------
    ward : str
        Name of a ward, or the word of the tables for all.

    Returns
    -------
    str
        In words.
    """
    return "all wards" if ward == ALL else ward
