"""Findings of the set rate against volume over duration: two lines that part."""

import pandas as pd

from analysis.compliance.measure import Basis
from analysis.lookup import by_key
from analysis.terms import FindingGroup, FindingKind, StartRateOutcome, Tally

_MEASURE = "set_rate_matches"

#: Ratios of the rate charted to volume over duration, and what each is consistent with
#: (common practice, no source); a ratio fits within this share.
_BAND = 0.05
_CONSISTENT_WITH = (
    (24.0, "a rate per 24 h charted as one per hour"),
    (1 / 24, "a rate per hour divided by 24 once more"),
    (10.0, "a decimal slip"),
    (0.1, "a decimal slip"),
    (2.0, "a duration of half as long set on the driver"),
    (0.5, "a duration of twice as long set on the driver"),
)


def rate_findings(units: pd.DataFrame, basis: Basis) -> pd.DataFrame:
    """Write a set-up finding for each set rate that does not match.

    Parameters
    ----------
    units : DataFrame
        Units of `set_rate_matches`.
    basis : Basis
        Gives rate, start volume and planned duration.

    Returns
    -------
    DataFrame
        Findings without id and month; delivery is judged against the set rate and not
        by this.
    """
    off = units[units["tally"] == Tally.NOT_COUNTED]
    if not len(off):
        return pd.DataFrame()
    known = basis.log.infusions.loc[off["infusion_id"]]
    planned = known["planned_duration_h"].fillna(
        basis.policy.by_ward("planned_duration_h", known["ward"])
    )
    # The unit's first row is the one that charts the rate.
    rows = basis.log.checks
    rate = rows["set_rate_ml_h"].set_axis(rows["source"].cat.codes)
    rate = by_key(off["first_source"].cat.codes, rate[~rate.index.duplicated()])
    told = zip(
        rate,
        known["start_volume_ml"],
        planned,
        off["outcome"] == StartRateOutcome.BEFORE_PRIMING,
        strict=True,
    )
    return pd.DataFrame(
        {
            "ward": off["ward"],
            "patient_id": off["patient_id"],
            "infusion_id": off["infusion_id"],
            "driver_id": known["driver_id"].to_numpy(),
            "group": str(FindingGroup.SET_UP),
            "kind": str(FindingKind.SET_RATE_DIFFERS),
            "anchor": _MEASURE,
            "happened_at": known["started_at"].to_numpy(),
            "first_source": off["first_source"],
            "last_source": off["last_source"],
            "sentence": pd.Series(
                [rate_in_words(*each[:3], is_primed=each[3]) for each in told],
                index=off.index,
                dtype="str",
            ),
        }
    ).astype({"happened_at": known["started_at"].dtype})


def rate_in_words(
    rate: float, volume_ml: float, planned_h: float, *, is_primed: bool
) -> str:
    """Say how a set rate and volume over duration part.

    Parameters
    ----------
    rate : float
        First rate charted [mL/h].
    volume_ml : float
        Start volume [mL].
    planned_h : float
        Planned duration [h].
    is_primed : bool
        The rate fits the volume made up, before priming.

    Returns
    -------
    str
        One or two sentences.
    """
    due = volume_ml / planned_h
    ratio = rate / due
    said = (
        f"Rate set {rate:g} mL/h; {volume_ml:g} mL over {planned_h:g} h is "
        f"{due:.3g} mL/h: {ratio:.3g} times."
    )
    if is_primed:
        return f"{said} It fits the volume made up, before priming."
    for fold, words in _CONSISTENT_WITH:
        if abs(ratio / fold - 1) <= _BAND:
            return f"{said} Consistent with {words}."
    way = "empty early" if ratio > 1 else "not be empty in time"
    return f"{said} At that rate the syringe would {way}."
