"""Texts of a log as codes: each different word once, and numbers for where it stands.

Millions of rows name few wards, patients, infusions and words. Sorting, matching and
keeping the numbers is quick and small, and the texts are written out at the end.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.intake import Log
from analysis.terms import BETWEEN_WARDS, NO_WARD

#: Columns that speak of the same things, and words that may be put into them.
_ALIKE: Mapping[str, str] = {
    "run_driver_id": "driver_id",
    "site_id": "line_id",
    "described_at": "source",
    "second_checked_by": "checked_by",
    "site_changed": "line_changed",
}
_WORDS: Mapping[str, tuple[str, ...]] = {
    "ward": ("", NO_WARD, BETWEEN_WARDS),
    "infusion_id": ("",),
}

#: Sources are told apart and never put in order.
_UNSORTED = "source"

#: Texts that no measure asks for row by row.
_PLAIN = (
    "file",
    "time_note",
    "alarm",
    "action",
    "amends",
    "note",
    "infusion_note",
    "diluent",
    "contents",
)

#: What a set-rate line calls source is a kind of reading, and no row of a file.
_OF_LINES = ("infusion_id", "ward")


def coded_log(log: Log, lines: pd.DataFrame) -> tuple[Log, pd.DataFrame]:
    """Give the tables of a log with their texts as codes.

    Parameters
    ----------
    log : Log
        Canonical tables.
    lines : DataFrame
        Set-rate line at each row, as given by `expected_lines`.

    Returns
    -------
    Log
        checks, infusions and lines with categorical columns in place of texts. Columns
        that speak of the same things share their categories, in alphabetical order but
        for sources; wards also have the words of `terms` that stand in place of one.
    DataFrame
        `lines`, with infusion_id and ward of the same categories.
    """
    infusions = log.infusions.reset_index()
    tables = [log.checks, infusions, log.lines, lines[list(_OF_LINES)]]
    tables = [table.copy(deep=False) for table in tables]
    columns: dict[str, list[tuple[pd.DataFrame, str]]] = {}
    for table in tables:
        for name in table.columns[
            (table.dtypes == "str") & ~table.columns.isin(_PLAIN)
        ]:
            columns.setdefault(_ALIKE.get(name, name), []).append((table, name))
    for name, places in columns.items():
        texts = [table[column] for table, column in places]
        found = coded(texts, _WORDS.get(name, ()), in_order=name != _UNSORTED)
        for (table, column), values in zip(places, found, strict=True):
            table[column] = values
    checks, infusions, sets, keys = tables
    own = replace(
        log,
        checks=checks,
        infusions=infusions.set_index("infusion_id"),
        lines=sets,
    )
    return own, lines.assign(**{name: keys[name] for name in _OF_LINES})


def coded(
    texts: Sequence[pd.Series], words: Iterable[str] = (), *, in_order: bool = True
) -> list[pd.Series]:
    """Give texts as categorical values that share their categories.

    Parameters
    ----------
    texts : sequence of Series of str
        Each of its own length.
    words : iterable of str
        Categories besides those that stand in `texts`.
    in_order : bool
        Categories in alphabetical order, so that values sort as their texts do; else
        in order of appearance.

    Returns
    -------
    list of Series
        On the index of each text; a missing value stays missing.

    Examples
    --------
    >>> one, two = coded([pd.Series(["b", "a"]), pd.Series(["c"])])
    >>> one.cat.codes.tolist(), two.cat.codes.tolist()
    ([1, 0], [2])
    """
    extra = pd.Series(list(words), dtype="str")
    every = pd.concat([*texts, extra], ignore_index=True)
    codes, different = pd.factorize(every)
    if in_order:
        order = different.argsort()
        place = np.empty(len(order) + 1, dtype=codes.dtype)
        place[order], place[-1] = np.arange(len(order)), -1
        codes, different = place[codes], different.take(order)
    kind = kind_of(different)
    ends = np.cumsum([len(text) for text in texts])
    return [
        pd.Series(
            pd.Categorical.from_codes(codes[end - len(text) : end], dtype=kind),
            index=text.index,
            name=text.name,
        )
        for text, end in zip(texts, ends, strict=True)
    ]


def kind_of(different: pd.Index) -> pd.CategoricalDtype:
    """Give the type that has these categories, without asking if each is there once.

    Parameters
    ----------
    different : Index of str
        Texts, each once, none missing.

    Returns
    -------
    CategoricalDtype
        Without order.

    Notes
    -----
    The answer is known, and pandas would keep every text a second time, in a table to
    look it up by, for as long as the type is in use. The quick way is not public: a
    pandas that has none does it the other way, with the same values.
    """
    quick = getattr(pd.CategoricalDtype, "_from_fastpath", pd.CategoricalDtype)
    kind: pd.CategoricalDtype = quick(different, ordered=False)
    return kind


_BLANK = pd.CategoricalDtype(pd.Index([""], dtype="str"))


def blank(index: pd.Index, kind: pd.CategoricalDtype = _BLANK) -> pd.Series:
    """Give the empty text for each row, as codes.

    Parameters
    ----------
    index : Index, shape (n,)
        Rows.
    kind : CategoricalDtype
        In alphabetical order, so that the empty text, if it is there, comes first.

    Returns
    -------
    Series of category, shape (n,)
        On `index`.
    """
    codes = np.zeros(len(index), dtype="int8")
    return pd.Series(pd.Categorical.from_codes(codes, dtype=kind), index=index)


def as_texts(table: pd.DataFrame) -> pd.DataFrame:
    """Write codes out again.

    Parameters
    ----------
    table : DataFrame
        With categorical columns.

    Returns
    -------
    DataFrame
        With texts in their place; a missing value stays missing.
    """
    names = table.select_dtypes("category").columns
    return table.astype(dict.fromkeys(names, "str"))


def together(parts: Sequence[pd.Series]) -> pd.Series:
    """Put columns under each other, as codes where any of them has codes.

    Parameters
    ----------
    parts : sequence of Series
        At least one; texts or categorical values if any of them is categorical.

    Returns
    -------
    Series
        On a new index; categories of several kinds become one, in alphabetical order.
    """
    first = parts[0].dtype
    if all(part.dtype == first for part in parts):
        if not isinstance(first, pd.CategoricalDtype):
            return pd.concat(parts, ignore_index=True)
        same = np.concatenate([part.array.codes for part in parts])
        return pd.Series(pd.Categorical.from_codes(same, dtype=first))
    some = [part if hasattr(part, "cat") else part.astype("category") for part in parts]
    lists = {id(part.cat.categories): part.cat.categories for part in some}
    every = next(iter(lists.values())).append([*lists.values()][1:])
    (words,) = coded([pd.Series(every).drop_duplicates()])
    kind = pd.CategoricalDtype(words.cat.categories)
    # The last code stands for a missing value.
    places = {
        which: np.append(kind.categories.get_indexer(own), -1)
        for which, own in lists.items()
    }
    codes = [places[id(part.cat.categories)][part.array.codes] for part in some]
    return pd.Series(pd.Categorical.from_codes(np.concatenate(codes), dtype=kind))


def in_runs(rows: pd.DataFrame) -> pd.DataFrame:
    """Sort rows by infusion, and those of one infusion by time.

    Parameters
    ----------
    rows : DataFrame
        With infusion_id as codes, and checked_at.

    Returns
    -------
    DataFrame
        Rows of one infusion at one moment in the order they stood in.
    """
    if not rows["checked_at"].is_monotonic_increasing:
        return rows.sort_values(["infusion_id", "checked_at"], kind="stable")
    # Rows of a log are in order of time: one number says where each belongs.
    code = rows["infusion_id"].cat.codes.to_numpy("int64")
    return rows.take(np.argsort(code * len(rows) + np.arange(len(rows))))


def in_order(units: pd.DataFrame) -> pd.DataFrame:
    """Sort units by unit_id, and what shares one by due_at.

    Parameters
    ----------
    units : DataFrame
        With unit_id as text.

    Returns
    -------
    DataFrame
        As it was where it is in order already: sorting texts is slow.
    """
    ids = pd.Index(units["unit_id"].astype("str"))
    if (ids[1:] > ids[:-1]).all():
        return units
    order = ids.argsort()
    ids = ids.take(order)
    if (ids[1:] > ids[:-1]).all():
        return units.take(order)
    return units.sort_values(["unit_id", "due_at"], kind="stable")
