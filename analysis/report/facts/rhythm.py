"""Wards whose checks follow another rhythm than the policy expects of them."""

from dataclasses import dataclass

import pandas as pd

from analysis.audit import AuditResult

#: Gaps between checks from which a median says something of a ward.
_FEWEST = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Rhythm:
    """A ward, and how far apart its checks are.

    Attributes
    ----------
    ward : str
        The ward.
    median_h : float
        Half of the gaps between its checks are this long or longer [h].
    interval_h : float
        Interval that the policy sets for it [h].
    """

    ward: str
    median_h: float
    interval_h: float


def other_rhythms(result: AuditResult) -> list[Rhythm]:
    """Find wards where most checks come later than the policy expects.

    A ward or a team at home that looks in once a shift has most of its checks late by
    the limit of a ward with four-hourly rounds: then it is the limit that is in doubt
    before the checks are.

    Parameters
    ----------
    result : AuditResult
        The audit; rows of its month are looked at.

    Returns
    -------
    list of Rhythm
        Wards in alphabetical order of which half of the gaps or more are longer than
        interval and grace; wards without a rule are not among them.
    """
    rows = result.readings[result.readings["month"] == result.month]
    rows = rows[rows["infusion_id"].notna() & rows["checked_at"].notna()]
    rows = rows.sort_values(["infusion_id", "checked_at"], kind="stable")
    gaps = rows.groupby("infusion_id", observed=True)["checked_at"].diff()
    hours = gaps.dt.total_seconds() / 3600
    by_ward = hours[hours > 0].groupby(rows["ward"].astype("str"))
    median, count = by_ward.median(), by_ward.count()
    names = pd.Series(median.index, index=median.index)
    interval = result.policy.by_ward("check_interval_h", names)
    grace = result.policy.by_ward("grace_h", names)
    is_other = (count >= _FEWEST) & (median > interval + grace)
    return [
        Rhythm(
            ward=str(ward),
            median_h=float(median[ward]),
            interval_h=float(interval[ward]),
        )
        for ward in sorted(median.index[is_other], key=str.casefold)
    ]
