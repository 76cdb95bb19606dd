"""Charts below each other in one table, each under a line that says whose it is.

``Patient: K1`` above the header holds until the next line of that kind. Were it taken
for the whole file, the rows of one patient would be read as those of another.
"""

import re
from collections.abc import Sequence
from dataclasses import replace

import pandas as pd

from analysis.intake import synonyms
from analysis.intake.given import is_label_of, label_of, labels_above
from analysis.intake.raw import RawTable
from analysis.intake.sheet import first_filled
from analysis.lookup import each_once

#: What such a line may say of the rows below it.
_WIDE = ("ward", "patient_id", "driver_id", "infusion_id")


def with_labels(raw: RawTable) -> RawTable:
    """Give rows a column of each label that lines among them say anew.

    Parameters
    ----------
    raw : RawTable
        A file or a sheet.

    Returns
    -------
    RawTable
        The same where no line below the header has a label of one above it, or of the
        first line below it. Else those lines are no rows, and each of their labels is
        a column; what a line does not say again is blank below it.
    """
    above = _said([*raw.preamble])
    first = _said([tuple(raw.cells.iloc[0])]) if len(raw.cells) else {}
    labels = {synonyms.normal(k) for k in (above, first)[not above]}
    if not labels or (not above and len(first) < _SEVERAL):
        return raw
    begins = first_filled(raw.cells)
    is_line = each_once(
        begins, lambda c: _label(c) in labels or bool(_LABELLED.match(c)), "bool"
    )
    if is_line.any():
        lines = raw.cells[is_line]
        is_line.loc[is_line] = _are_labels_alone(lines) & _say_whose(lines, labels)
    if not is_line.any():
        return raw
    block = (is_line & ~is_line.shift(fill_value=False)).cumsum()
    said: dict[int, dict[str, str]] = {0: above}
    for number, lines in raw.cells[is_line].groupby(block[is_line]):
        said[int(number)] = _said(list(lines.itertuples(index=False, name=None)))
    said = _by_one_name(said)
    names = list(dict.fromkeys(
        k for number, told in said.items() if number for k in told
    ))  # fmt: skip
    if set(names) & set(raw.cells.columns):
        return raw
    rows = raw.cells[~is_line]
    told = {
        name: block[~is_line].map({n: t.get(name, "") for n, t in said.items()})
        for name in names
    }
    text = (
        f"{raw.file}: {int(is_line.sum())} lines such as "
        f"'{begins[is_line].iloc[0]}' say whose the rows below them are: read under "
        f"{', '.join(names)}."
    )
    return replace(
        raw,
        cells=rows.assign(**told)[[*names, *rows.columns]]
        .reset_index(drop=True)
        .astype("str"),
        lines=raw.lines[~is_line].reset_index(drop=True),
        other_lines=raw.other_lines + int(is_line.sum()),
        notes=(*raw.notes, text),
    )


def _are_labels_alone(lines: pd.DataFrame) -> pd.Series:
    """Mark lines that hold labels and a value for each at the most.

    A check whose first cell is a remark such as ``Ward: round at noon`` has more.
    """
    is_label = lines.apply(
        lambda cells: each_once(
            cells.astype("str"),
            lambda c: bool(_LABELLED.match(c)) or _is_wide(_label(c)), "bool",
        )
    )  # fmt: skip
    return (lines != "").sum(axis=1) <= 2 * is_label.sum(axis=1)


def _say_whose(lines: pd.DataFrame, labels: set[str]) -> pd.Series:
    """Mark lines of which a cell says whose the rows below are, wherever it stands."""

    def says(cell: str) -> bool:
        name = _label(cell)
        return name in labels or (":" in cell and _is_wide(name))

    return lines.apply(lambda c: each_once(c.astype("str"), says, "bool")).any(axis=1)


_LABELLED = re.compile(r"[^\W\d][^:=]{0,39}[:=]")


def _by_one_name(said: dict[int, dict[str, str]]) -> dict[int, dict[str, str]]:
    """Give what names the same thing in several lines the label it has in the first."""
    first: dict[str, str] = {}
    out = {}
    for number, told in said.items():
        column = {k: next(c for c in _WIDE if is_label_of(k, c)) for k in told}
        out[number] = {first.setdefault(column[k], k): v for k, v in told.items()}
    return out


#: Labels that a line has at least where none stands above the header.
_SEVERAL = 2


def _label(cell: str) -> str:
    label, _, told = cell.partition(":")
    return synonyms.normal(label if told else label_of(cell)[0] or label)


def _said(lines: Sequence[Sequence[str]]) -> dict[str, str]:
    """Give what lines say of ward, patient, driver and infusion, by their own labels.

    A label has a colon behind it, or every second cell of its line is one.
    """
    told = labels_above(lines)
    for line in lines:
        filled = [cell for cell in line if cell]
        pairs = dict(zip(filled[::2], filled[1::2], strict=False))
        is_bare = not any(":" in label for label in pairs)
        if is_bare and len(filled) == 2 * len(pairs) and all(map(_is_wide, pairs)):
            told = {**pairs, **told}
    return {k: v for k, v in told.items() if _is_wide(k)}


def _is_wide(label: str) -> bool:
    return any(is_label_of(label, column) for column in _WIDE)
