"""What reactions may be associated with: levels and numbers of every row at risk."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from analysis.intervals import FEWEST_EVENTS
from analysis.research.risk import NOT_READABLE, NOT_RECORDED, Risk

#: Most drugs that are looked at, those in use for most days first.
_MOST_DRUGS: Final = 12

TIME_IN_PLACE: Final = "time in place"

POOLED: Final = "other levels"
PER_ML: Final = 5.0

_PLAIN: Final = {
    "material": "cannula material",
    "location": "location",
    "ward": "ward",
    "diluent": "diluent",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Factor:
    """One thing that reactions may be associated with.

    Attributes
    ----------
    name : str
        As it stands in tables.
    values : Series
        Of each row at risk: its level, or a number; missing where not known.
    is_number : bool
        Whether the ratio is per step of a number.
    levels : tuple of str
        The reference first; of a number, its one step.
    reference : str
        What a ratio is against.
    """

    name: str
    values: pd.Series
    is_number: bool
    levels: tuple[str, ...]
    reference: str


def factors_of(risk: Risk) -> tuple[Factor, ...]:
    """List what reactions may be associated with, as far as the log records it.

    Parameters
    ----------
    risk : Risk
        Site-days at risk.

    Returns
    -------
    tuple of Factor
        Time in place; material, location, ward, diluent; each of the drugs in use for
        most days; the volume of a day; and the concentration of each drug. Things with
        one level alone are left out.
    """
    rows = risk.rows
    plain = [_levels(name, rows[column], rows) for column, name in _PLAIN.items()]
    every = (_time_in_place(rows), *plain)
    found = [factor for factor in every if factor is not None]
    found += list(_drug_factors(risk))
    volume = rows["volume_ml_24h"] / PER_ML
    if _varies(volume):
        found.append(
            Factor(
                name="volume",
                values=volume,
                is_number=True,
                levels=(f"{PER_ML:g} mL more in 24 h",),
                reference=f"{PER_ML:g} mL less",
            )
        )
    return tuple(found)


def _varies(values: pd.Series) -> bool:
    known = values.dropna()
    return bool(len(known) and (known != known.iloc[0]).any())


def _time_in_place(rows: pd.DataFrame) -> Factor | None:
    """Make a factor of the bands of time in place, in order of time."""
    names = rows.sort_values("from_day")["in_place"].drop_duplicates().tolist()
    if len(names) < 2:
        return None
    return Factor(
        name=TIME_IN_PLACE,
        values=rows["in_place"],
        is_number=False,
        levels=tuple(names),
        reference=names[0],
    )


def _levels(name: str, values: pd.Series, rows: pd.DataFrame) -> Factor | None:
    """Make a factor of words; levels with few events are put together."""
    known = values.mask(values.isin([NOT_RECORDED, NOT_READABLE]))
    sums = rows.groupby(known)[["event", "days"]].sum()
    few = sums.index[sums["event"] < FEWEST_EVENTS]
    if len(few) > 1:
        known = known.mask(known.isin(few), POOLED)
        sums = rows.groupby(known)[["event", "days"]].sum()
    if len(sums) < 2:
        return None
    names = sums[sums.index != POOLED].sort_values(
        "days", ascending=False, kind="stable"
    )
    rest = [POOLED] if POOLED in sums.index else []
    ordered = (*map(str, names.index), *rest)
    return Factor(
        name=name,
        values=known,
        is_number=False,
        levels=ordered,
        reference=ordered[0],
    )


def _drug_factors(risk: Risk) -> Iterator[Factor]:
    """Give each drug as in the syringe or not, and its concentration where it is."""
    rows, drugs = risk.rows, risk.drugs
    # Each infusion is looked up once, and not for each of its rows.
    codes, different = pd.factorize(rows["infusion_id"])
    index = pd.Index(different)
    state = risk.contents.reindex(index).to_numpy()
    is_known = (state == "charted")[codes]
    days = np.bincount(codes, rows["days"], len(index))
    place = index.get_indexer(pd.Index(drugs["infusion_id"]))
    use = drugs.assign(place=place)[place >= 0]
    use["days"] = days[use["place"]]
    common = use.groupby("drug")["days"].sum().sort_values(ascending=False)
    strengths = []
    for drug in common[common > 0].index[:_MOST_DRUGS]:
        own = use[use["drug"] == drug]
        per_ml = np.full(len(index), np.nan)
        per_ml[own["place"]] = own["per_ml"]
        has = np.zeros(len(index), dtype=bool)
        has[own["place"]] = True
        words = pd.Series(np.where(has, "yes", "no")[codes], rows.index)
        if 0 < has[codes][is_known].mean() < 1:
            yield Factor(
                name=f"drug: {drug}",
                values=words.where(is_known),
                is_number=False,
                levels=("no", "yes"),
                reference="no",
            )
        strengths.append((drug, pd.Series(per_ml[codes], rows.index)))
    for drug, strength in strengths:
        some = strength.where(strength > 0)
        doubled = pd.Series(np.log2(some.to_numpy(float)), some.index)
        if _varies(doubled):
            yield Factor(
                name=f"concentration: {drug}",
                values=doubled,
                is_number=True,
                levels=("twice as strong",),
                reference="half",
            )
