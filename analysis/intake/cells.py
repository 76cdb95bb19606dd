"""Cells of one column to values; the unreadable is told apart from the empty."""

import math
import re

import numpy as np
import pandas as pd

from analysis.columns import Column, Kind
from analysis.lookup import each_once
from analysis.terms import RejectReason

#: Words for yes and no that mean nothing else.
_YES_NO = {
    "y": "yes", "true": "yes", "1": "yes", "n": "no", "false": "no", "0": "no",
}  # fmt: skip

_FAULT_COLUMNS = ["column", "value", "reason", "sentence"]
_NO_FAULTS = pd.DataFrame(columns=_FAULT_COLUMNS, dtype="str")


def no_faults() -> pd.DataFrame:
    """Give an empty frame of faults.

    Returns
    -------
    DataFrame
        Columns column, value, reason, sentence.
    """
    return _NO_FAULTS.copy()


def faults_of(
    bad: pd.Series, column: str, reason: RejectReason, sentence: str
) -> pd.DataFrame:
    """Give one fault for each cell that cannot be read.

    Parameters
    ----------
    bad : Series of str
        The cells.
    column : str
        Their column.
    reason : RejectReason
        Reason code.
    sentence : str
        The reason in words; {value} is filled in.

    Returns
    -------
    DataFrame
        Faults on the index of `bad`.
    """
    if not len(bad):
        return no_faults()
    return pd.DataFrame(
        {
            "column": column,
            "value": bad,
            "reason": str(reason),
            "sentence": [sentence.replace("{value}", value) for value in bad],
        },
        index=bad.index,
    )


def read_numbers(text: pd.Series, column: Column) -> tuple[pd.Series, pd.DataFrame]:
    """Read plain decimal numbers within the column's hard limits.

    Parameters
    ----------
    text : Series of str, shape (n,)
        Cells; empty where nothing is charted.
    column : Column
        Its limits are inclusive.

    Returns
    -------
    values : Series of float, shape (n,)
        NaN where the cell is empty or set aside.
    faults : DataFrame
        One row a cell set aside, on the index of `text`.
    """
    if (text == "").all():
        return pd.Series(np.nan, index=text.index, dtype="float64"), no_faults()
    codes, different = pd.factorize(text, use_na_sentinel=False)
    read = pd.Series([_number_of(str(cell)) for cell in different], dtype="float64")
    low = -float("inf") if column.low is None else column.low
    high = float("inf") if column.high is None else column.high
    is_word = read.isna().to_numpy() & np.asarray(different != "")
    is_out = (read.notna() & ~read.between(low, high)).to_numpy()
    values = pd.Series(read.mask(is_out).to_numpy().take(codes), index=text.index)
    if not is_word.any() and not is_out.any():
        return values, no_faults()
    unit = f" {column.unit}" if column.unit else ""
    word = faults_of(
        text[is_word.take(codes)],
        column.name,
        RejectReason.NOT_A_NUMBER,
        f"{column.name} reads '{{value}}', which is not a number; the row is kept "
        "without it",
    )
    out = faults_of(
        text[is_out.take(codes)],
        column.name,
        RejectReason.IMPOSSIBLE_NUMBER,
        f"{column.name} of {{value}}{unit} is outside {low:g} to {high:g}{unit}; the "
        "row is kept without it",
    )
    return values, _joined(word, out)


_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)", re.ASCII)


def _number_of(cell: str) -> float:
    return float(cell) if _NUMBER.fullmatch(cell) else math.nan


def read_choices(text: pd.Series, column: Column) -> tuple[pd.Series, pd.DataFrame]:
    """Read words of a closed list, whatever their case; several where allowed.

    Parameters
    ----------
    text : Series of str, shape (n,)
        Cells; empty where nothing is charted.
    column : Column
        Its closed list.

    Returns
    -------
    values : Series of str, shape (n,)
        Words of the list, several joined by ``;``; empty where nothing was read.
    faults : DataFrame
        One row a word set aside, on the index of `text`.
    """
    if (text == "").all():
        return text, no_faults()
    found = {
        cell: _words_of(cell, column) for cell in text.unique() if cell
    }  # few different cells, many rows
    nothing: tuple[list[str], list[str]] = ([], [])
    values = each_once(text, lambda cell: ";".join(found.get(cell, nothing)[0]))
    if not any(rest for _, rest in found.values()):
        return values, no_faults()
    bad = each_once(text, lambda cell: ";".join(found.get(cell, nothing)[1]))
    with_none = bad.isin([cell for cell in found if _says_none(cell, column)])
    strange = faults_of(
        bad[(bad != "") & ~with_none],
        column.name,
        RejectReason.NOT_IN_LIST,
        f"{column.name} reads '{{value}}', which is none of: "
        f"{', '.join(column.choices)}; the row is kept without it",
    )
    contradictory = faults_of(
        bad[with_none],
        column.name,
        RejectReason.CONTRADICTION,
        f"{column.name} reads '{{value}}', none and something else at once; the row "
        "is kept without it",
    )
    return values, _joined(strange, contradictory)


def _says_none(cell: str, column: Column) -> bool:
    """Tell whether a cell of several words has ``none`` among them."""
    words = {part.strip().casefold() for part in cell.split(";")}
    return column.kind is Kind.CHOICES and "none" in words


def _words_of(cell: str, column: Column) -> tuple[list[str], list[str]]:
    parts = cell.split(";") if column.kind is Kind.CHOICES else [cell]
    words = [word for part in parts if (word := part.strip().casefold())]
    if set(column.choices) == {"yes", "no"}:
        words = [_YES_NO.get(word, word) for word in words]
    known = list(dict.fromkeys(word for word in words if word in column.choices))
    if _says_none(cell, column) and len(set(words)) > 1:
        return [], [cell]  # nothing seen, and something seen
    return known, [word for word in words if word not in column.choices]


def _joined(*frames: pd.DataFrame) -> pd.DataFrame:
    some = [frame for frame in frames if len(frame)]
    return pd.concat(some) if some else no_faults()
