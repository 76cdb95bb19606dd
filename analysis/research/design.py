"""Rows at risk as the numbers that a regression explains them by.

Rows that are alike in every column are added up, which changes nothing in a Poisson
model and leaves a hundredth of them.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from analysis.intervals import FEWEST_EVENTS
from analysis.research.factors import TIME_IN_PLACE, Factor
from analysis.research.risk import Risk

#: Numbers of cells beyond which they are numbered anew, so that none is too large.
_MOST_CODES: Final = 2**40


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """Rows at risk and the numbers that a regression explains them by.

    Attributes
    ----------
    columns : dict of str to array of float, shape (n,)
        Numbers of each row, by name.
    names : list of str
        Of the columns, in order.
    event, days : array of float, shape (n,)
        Reactions and days at risk.
    patient : array of int, shape (n,)
        Code of the patient.
    late : array of float, shape (n,)
        1 in the later half of reactions, by time in place.
    """

    columns: dict[str, np.ndarray]
    names: list[str]
    event: np.ndarray
    days: np.ndarray
    patient: np.ndarray
    late: np.ndarray


def design_of(risk: Risk, factors: tuple[Factor, ...]) -> Design:
    """Give the columns of a regression, of rows in which every factor is known.

    Parameters
    ----------
    risk : Risk
        Site-days at risk.
    factors : tuple of Factor
        What the reactions are explained by, beside bands of time in place.

    Returns
    -------
    Design
        Columns of a factor are named by it and its level, joined by a tab.
    """
    rows = risk.rows
    is_known = np.ones(len(rows), dtype=bool)
    columns: dict[str, np.ndarray] = {}
    if all(factor.name != TIME_IN_PLACE for factor in factors):
        for band in np.unique(rows["band"])[1:]:
            columns[f"band {band}"] = (rows["band"] == band).to_numpy(float)
    for factor in factors:
        is_known &= factor.values.notna().to_numpy()
        if factor.is_number:
            values = factor.values.to_numpy(float).round(4)
            columns[f"{factor.name}\t{factor.levels[0]}"] = values
            continue
        for level in factor.levels[1:]:
            flags = (factor.values == level).to_numpy(float)
            columns[f"{factor.name}\t{level}"] = flags
    middle = (rows["from_day"] + rows["to_day"]).to_numpy(float) / 2
    ends = rows.loc[rows["event"] > 0, "to_day"]
    late = (middle > (ends.median() if len(ends) else 0.0)).astype(float)
    return Design(
        columns={name: values[is_known] for name, values in columns.items()},
        names=list(columns),
        event=rows["event"].to_numpy(float)[is_known],
        days=rows["days"].to_numpy(float)[is_known],
        patient=pd.factorize(rows["patient_id"])[0][is_known],
        late=late[is_known],
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Cells:
    """Rows that are alike in every column, added up: what a Poisson model needs.

    Attributes
    ----------
    exog : array of float, shape (cells, columns + 1)
        A column of ones first.
    of_row : array of int, shape (n,)
        Cell of each row.
    event, days : array of float, shape (cells,)
        Sums.
    """

    exog: np.ndarray
    of_row: np.ndarray
    event: np.ndarray
    days: np.ndarray


def cells_of(design: Design, names: list[str]) -> Cells:
    """Add up rows that are alike.

    Parameters
    ----------
    design : Design
        Rows at risk.
    names : list of str
        Columns in which they must be alike.

    Returns
    -------
    Cells
        A column of ones first.
    """
    # In two halves of patients: as many cells as coefficients would be fitted without
    # any rest, and taken for separation.
    code, most = design.patient.astype("int64") % 2, 2
    for name in names:
        values = design.columns[name]
        if _is_flag(values):
            levels, different = values.astype("int64"), 2
        else:
            levels, found = pd.factorize(values)
            different = max(len(found), 1)
        if most * different > _MOST_CODES:
            code = pd.factorize(code)[0]
            most = int(code.max(initial=0)) + 1
        code, most = code * different + levels, most * different
    code = pd.factorize(code)[0]
    size = int(code.max()) + 1 if len(code) else 0
    first = np.full(size, len(code))
    np.minimum.at(first, code, np.arange(len(code)))
    ones = np.ones(size)
    exog = np.column_stack([ones, *(design.columns[n][first] for n in names)])
    return Cells(
        exog=exog,
        of_row=code,
        event=np.bincount(code, design.event, size),
        days=np.bincount(code, design.days, size),
    )


def different(codes: np.ndarray) -> int:
    """Count different codes.

    Parameters
    ----------
    codes : array of int, shape (n,)
        From 0.

    Returns
    -------
    int
        Of those that occur.
    """
    return int(np.count_nonzero(np.bincount(codes)))


def _is_flag(values: np.ndarray) -> bool:
    return bool(((values == 0.0) | (values == 1.0)).all())


def independent(design: Design, names: list[str]) -> tuple[list[str], list[str], Cells]:
    """Part the columns that tell something new from those the ones before give.

    Parameters
    ----------
    design : Design
        Rows at risk.
    names : list of str
        Columns, in order.

    Returns
    -------
    new : list of str
        Those that tell something new.
    given : list of str
        The others.
    cells : Cells
        Of the new ones.
    """
    cells = cells_of(design, names)
    exog = cells.exog
    scale = np.linalg.norm(exog, axis=0)
    scaled = exog / np.where(scale > 0, scale, 1.0)
    upper = np.asarray(np.linalg.qr(scaled, mode="r"))
    is_new = np.zeros(exog.shape[1], dtype=bool)
    size = min(upper.shape)
    is_new[:size] = np.abs(np.diag(upper)) > 1e-8
    kept = [name for name, new in zip(names, is_new[1:], strict=True) if new]
    given = [name for name in names if name not in kept]
    # What the others give parts no cell that they do not part.
    return kept, given, replace(cells, exog=exog[:, np.append(True, is_new[1:])])


def is_sparse(design: Design, names: list[str]) -> bool:
    """Tell whether a level, or what it is against, has too few events for a ratio.

    Parameters
    ----------
    design : Design
        Rows at risk.
    names : list of str
        Columns.

    Returns
    -------
    bool
        Of columns of 0 and 1 only.
    """
    total = design.event.sum()
    for name in names:
        values = design.columns[name]
        if _is_flag(values):
            on = design.event[values > 0].sum()
            if min(on, total - on) < FEWEST_EVENTS:
                return True
    return False
