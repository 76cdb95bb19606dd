"""Wards with few patients are put together until each group has enough."""

from collections.abc import Mapping
from typing import Final

import pandas as pd

JOIN: Final = " + "


def pool_wards(people: pd.DataFrame, least: int) -> dict[str, str]:
    """Put wards together until every group has enough patients.

    Parameters
    ----------
    people : DataFrame
        ward and patient_id, a row an infusion or any other unit.
    least : int
        Patients a group must have.

    Returns
    -------
    dict of str to str
        Ward and name of its group. Empty where all wards together have fewer patients
        than `least`. A patient of two wards counts once in a group of both.

    Notes
    -----
    The two smallest groups are joined until the smallest has enough; equal ones by
    name. There is one partition for all figures, so that no two of them differ by a
    ward.

    Examples
    --------
    >>> wards = pd.DataFrame({"ward": list("AABCCC"), "patient_id": list("123456")})
    >>> pool_wards(wards, 3)
    {'A': 'A + B', 'B': 'A + B', 'C': 'C'}
    """
    patients: dict[tuple[str, ...], frozenset[str]] = {
        (str(ward),): frozenset(mine)
        for ward, mine in people.groupby("ward")["patient_id"]
    }
    while len(patients) > 1 and _smallest(patients)[0] < least:
        first, second = sorted(patients, key=lambda g: (len(patients[g]), g))[:2]
        both = patients.pop(first) | patients.pop(second)
        patients[tuple(sorted((*first, *second), key=str.casefold))] = both
    if not patients or _smallest(patients)[0] < least:
        return {}
    return {
        ward: JOIN.join(group) for group in sorted(patients) for ward in sorted(group)
    }


def _smallest(
    patients: Mapping[tuple[str, ...], frozenset[str]],
) -> tuple[int, tuple[str, ...]]:
    return min((len(mine), group) for group, mine in patients.items())
