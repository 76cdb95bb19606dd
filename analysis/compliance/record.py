"""Record: what a check that was made recorded.

A check that was made is a visit: every accepted row of an infusion, whatever its entry,
rows at one moment together, since each of them counts as a check in covered time and
checks on time too. A blank is not recorded; it is never normal. A cell that could not
be read is neither: something is charted, and nobody can tell what, so that the check is
left out by name. So is a row charted after its infusion's end. "Recorded" says nothing
of what was seen, or whether anybody looked.
"""

from collections.abc import Callable

import pandas as pd

from analysis.compliance.measure import Basis, Family, Measure, lacks_columns
from analysis.compliance.verdicts import first_true, judged
from analysis.terms import BoxOutcome, Exclusion, RecordOutcome, YesNo


def recorded(basis: Basis, *columns: str) -> pd.DataFrame:
    """Tell which checks recorded a thing.

    Parameters
    ----------
    basis : Basis
        Log and visits.
    *columns : str
        Columns of the check log; a value in any of them, in any row of the visit, is
        a record.

    Returns
    -------
    DataFrame
        One unit a visit; excluded after the infusion's end, and where all that is
        charted could not be read.
    """
    visits = basis.visits.units
    has = basis.visits.any_of(_is_charted(basis, columns))
    outcome = first_true(
        visits.index,
        (has, RecordOutcome.RECORDED),
        default=RecordOutcome.NOT_RECORDED,
    )
    reason = first_true(
        visits.index,
        (visits["is_after_end"], Exclusion.AFTER_END),
        (~has & _is_unread(basis, columns), Exclusion.NOT_READABLE),
    )
    return judged(visits, outcome, RecordOutcome.RECORDED, reason)


def box_locked(basis: Basis) -> pd.DataFrame:
    """Tell how the locked case was found: yes out of yes and no.

    Parameters
    ----------
    basis : Basis
        Log and visits.

    Returns
    -------
    DataFrame
        One unit a visit; excluded where it is not recorded, and as in `recorded`. Of
        rows at one moment, one that says no decides.
    """
    visits, box = basis.visits.units, basis.log.checks["lockbox_locked"]
    is_no = basis.visits.any_of(box == YesNo.NO)
    is_blank = ~is_no & ~basis.visits.any_of(box == YesNo.YES)
    outcome = first_true(
        visits.index, (is_no, BoxOutcome.NOT_LOCKED), default=BoxOutcome.LOCKED
    )
    reason = first_true(
        visits.index,
        (visits["is_after_end"], Exclusion.AFTER_END),
        (is_blank & _is_unread(basis, ("lockbox_locked",)), Exclusion.NOT_READABLE),
        (is_blank, Exclusion.NOT_RECORDED),
    )
    return judged(visits, outcome, BoxOutcome.LOCKED, reason)


def _is_charted(basis: Basis, columns: tuple[str, ...]) -> pd.Series:
    """Tell which rows have a value in one of the columns."""
    rows = basis.log.checks
    found = pd.Series(data=False, index=rows.index)
    for name in columns:
        found |= rows[name].notna() & (rows[name] != "")
    return found


def _is_unread(basis: Basis, columns: tuple[str, ...]) -> pd.Series:
    """Tell which visits have a cell of the columns that was set aside."""
    unread = basis.log.unread
    sources = set(unread.loc[unread["column"].isin(columns), "source"])
    if not sources:
        return pd.Series(data=False, index=basis.visits.units.index)
    return basis.visits.any_of(basis.log.checks["source"].isin(sources))


def _finder(*columns: str) -> Callable[[Basis], pd.DataFrame]:
    def find(basis: Basis) -> pd.DataFrame:
        return recorded(basis, *columns)

    return find


def _recorded(name: str, label: str, meaning: str, *columns: str) -> Measure:
    return Measure(
        name=name,
        family=Family.RECORD,
        label=label,
        unit="checks",
        meaning=meaning,
        find=_finder(*columns),
        lacks=lacks_columns("checks", *columns),
    )


FAMILY = (
    _recorded(
        "volume_recorded",
        "Volume recorded",
        "Checks that recorded a volume, remaining or delivered. A cell that cannot be "
        "read is left out by name; a blank is not recorded.",
        "volume_remaining_ml",
        "volume_delivered_ml",
        "display_remaining_ml",
    ),
    _recorded(
        "site_recorded",
        "Site signs recorded",
        "Checks that recorded the look of the site, with or without signs. It says "
        "nothing of whether the site was looked at: where every check records none and "
        "reactions are known to occur, read the charts.",
        "site_signs",
    ),
    _recorded(
        "solution_recorded",
        "Look of the solution recorded",
        "Checks that recorded the look of the solution; a blank is not clear.",
        "solution_appearance",
    ),
    Measure(
        name="box_locked",
        family=Family.RECORD,
        label="Locked case found locked",
        unit="checks",
        meaning="Of the checks that recorded the locked case, those that found it "
        "locked. Checks that recorded nothing of it are left out by name.",
        find=box_locked,
        lacks=lacks_columns("checks", "lockbox_locked"),
    ),
    _recorded(
        "battery_recorded",
        "Battery recorded",
        "Checks that recorded the battery.",
        "battery_pct",
    ),
    _recorded(
        "label_recorded",
        "Label recorded",
        "Checks that recorded whether the syringe's label is in place, yes or no.",
        "label_present",
    ),
    _recorded(
        "checker_recorded",
        "Checker recorded",
        "Checks that name who made them, by initials or a pseudonym.",
        "checked_by",
    ),
)
