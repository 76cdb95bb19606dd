"""Output tables to CSV and back: the report is made from what was published.

The order of columns, their types and their decimals are those of `analysis.columns`.
Nothing depends on the machine: UTF-8, a line feed after each row, times in whole
seconds with their offset, so that two audits of one log give the same bytes.
"""

import re
from collections.abc import Callable, Iterable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from analysis.audit import AuditResult
from analysis.columns import OUTPUT, REVIEW_OUTPUT, UNITS, Column, Kind, Table
from analysis.compliance import Units
from analysis.delivery import Threshold
from analysis.errors import OutputError
from analysis.policy import Policy
from analysis.report.cells import cells, each, lines, plain_cells
from analysis.report.manifest import read_manifest
from analysis.review import Review
from analysis.workers import Map, one_by_one

FOLDER = "tables"

# What `guarded` gives a text that starts like a formula.
_GUARDED = re.compile(r"'+[=+\-@\t\r]")

# Rows turned to text together: all of them at once would take gigabytes.
_ROWS_AT_ONCE = 250_000


def table_files() -> list[str]:
    """Name the files that `write_tables` writes.

    Returns
    -------
    list of str
        Relative to its folder.
    """
    return [f"{FOLDER}/{table.name}.csv" for table in OUTPUT]


def review_files() -> list[str]:
    """Name the files that `write_review` writes.

    Returns
    -------
    list of str
        Relative to its folder.
    """
    return [f"{FOLDER}/{table.name}.csv" for table in REVIEW_OUTPUT]


def write_tables(result: AuditResult, folder: Path, run: Map = one_by_one) -> None:
    """Write every output table to ``folder/tables``.

    Parameters
    ----------
    result : AuditResult
        What to write; missing values become empty cells.
    folder : Path
        Folder of the report; it must exist.
    run : Map
        Turns parts of a long table to text.

    Raises
    ------
    KeyError
        A frame lacks a column of the data dictionary.
    """
    (folder / FOLDER).mkdir(exist_ok=True)
    for table in OUTPUT:
        path = folder / FOLDER / f"{table.name}.csv"
        units, is_units = result.unit_tables, table is UNITS
        frames = units.tables() if is_units else iter([getattr(result, table.name)])
        rows = len(units) if is_units else len(getattr(result, table.name))
        # A short table is written before another process has it.
        texts_of = run if rows > _ROWS_AT_ONCE else one_by_one
        rows_of = partial(_rows, table=table, policy=result.policy)
        with path.open("wb") as file:
            file.write(_header(table.names).encode())
            file.writelines(texts_of(rows_of, _parts(frames)))


def _parts(frames: Iterator[pd.DataFrame]) -> Iterator[pd.DataFrame]:
    """Cut tables into parts that hold no words of the others."""
    for frame in frames:
        for first in range(0, len(frame), _ROWS_AT_ONCE):
            part = frame.iloc[first : first + _ROWS_AT_ONCE]
            coded = part.select_dtypes("category").columns
            yield part.assign(**{name: _own_words(part[name].array) for name in coded})


def _own_words(coded: pd.Categorical) -> pd.Categorical:
    """Leave out words that no row has; sorting codes to find them takes longer."""
    codes = coded.codes
    is_there = np.zeros(len(coded.categories) + 1, dtype=np.bool_)
    is_there[codes] = True  # the last place is that of -1, a missing value
    words = coded.categories[is_there[:-1]]
    place = np.cumsum(is_there, dtype=np.int32) - 1
    place[-1] = -1
    return pd.Categorical.from_codes(place.take(codes, mode="wrap"), words)


def _rows(part: pd.DataFrame, table: Table, policy: Policy) -> bytes:
    columns = [cells(part[c.name], c, policy, quoted=True) for c in table.columns]
    return lines(columns)


def write_review(review: Review, folder: Path, policy: Policy) -> None:
    """Write the tables of a review to ``folder/tables``, which must exist.

    Parameters
    ----------
    review : Review
        What was decided of an audit's findings.
    folder : Path
        Folder of the report.
    policy : Policy
        Of the audit.
    """
    for table in REVIEW_OUTPUT:
        text = as_text(getattr(review, table.name), table, policy)
        write_csv(text, folder / FOLDER / f"{table.name}.csv")


def read_review(folder: Path | str, policy: Policy) -> Review:
    """Read back what was decided of a published audit's findings.

    Parameters
    ----------
    folder : Path or str
        Folder of a report.
    policy : Policy
        Of the audit.

    Returns
    -------
    Review
        As published.

    Raises
    ------
    OutputError
        A table is missing or is not of this version.
    """
    return Review(
        **{
            table.name: read_table(Path(folder), table, policy)
            for table in REVIEW_OUTPUT
        }
    )


def write_csv(text: pd.DataFrame, path: Path, *, encoding: str = "utf-8") -> None:
    """Write texts to a CSV file: UTF-8, a line feed after each row.

    Parameters
    ----------
    text : DataFrame of str
        As `as_text` gives it.
    path : Path
        The file; it is replaced.
    encoding : str
        "utf-8-sig" puts a byte order mark in front.
    """
    with path.open("wb") as file:
        file.write(_header(text.columns).encode(encoding))
        if len(text.columns):
            file.write(lines([plain_cells(text[name]) for name in text]))


def as_text(frame: pd.DataFrame, table: Table, policy: Policy) -> pd.DataFrame:
    """Give a table as it stands in its file.

    Parameters
    ----------
    frame : DataFrame
        With the columns of `table`, in any order.
    table : Table
        Its entry in the data dictionary.
    policy : Policy
        Times are written in its zone.

    Returns
    -------
    DataFrame of str
        Columns in the dictionary's order; an empty text for a missing value. A text
        that a spreadsheet would take for a formula starts with an apostrophe.
    """
    return pd.DataFrame(
        {
            column.name: cells(frame[column.name], column, policy).to_pylist()
            for column in table.columns
        },
        columns=table.names,
        dtype="str",
    )


def read_tables(folder: Path | str) -> AuditResult:
    """Read a published audit back from its tables and ``run.json``.

    Parameters
    ----------
    folder : Path or str
        Folder of a report.

    Returns
    -------
    AuditResult
        As published: numbers to their printed decimals, times to the second, missing
        values NaN or NaT, text as it was before it was guarded.

    Raises
    ------
    OutputError
        The folder is not one of ours, or a table is missing.
    """
    folder = Path(folder)
    run = read_manifest(folder)
    try:
        policy = policy_of(run)
        tables = {table.name: read_table(folder, table, policy) for table in OUTPUT}
        units = Units.read(tables.pop(UNITS.name))
        return _result(run, policy, units, tables)
    except (AttributeError, KeyError, TypeError, ValueError):
        msg = f"{folder}: its run.json is not as this version writes it"
        raise OutputError(f"{msg}; audit again") from None


def _result(
    run: dict[str, Any], policy: Policy, units: Units, tables: dict[str, pd.DataFrame]
) -> AuditResult:
    return AuditResult(
        month=run["month"],
        is_part_of_month=run["is_part_of_month"],
        log_start=pd.Timestamp(run["log_start"]).tz_convert(policy.zone),
        log_end=pd.Timestamp(run["log_end"]).tz_convert(policy.zone),
        policy=policy,
        account=records(run["account"]),
        noise=records(run["noise"]),
        threshold=Threshold(**run["threshold"]),
        not_in_export=run["not_in_export"],
        notes=tuple(run["notes"]),
        qualifiers=records(run["qualifiers"]),
        unit_tables=units,
        **tables,
    )


def policy_of(run: dict[str, Any]) -> Policy:
    """Give the policy that stands in ``run.json``.

    Parameters
    ----------
    run : dict
        As `read_manifest` gives it.

    Returns
    -------
    Policy
        The limits that were in force.
    """
    return Policy.parse(
        run["policy"]["text"],
        run["policy"]["path"],
        is_example=run["policy"]["is_example"],
    )


def _header(names: Iterable[str]) -> str:
    return ",".join(names) + "\n"


def records(part: dict[str, list[object]]) -> pd.DataFrame:
    """Give a frame that stands in ``run.json``.

    Parameters
    ----------
    part : dict
        columns and rows.

    Returns
    -------
    DataFrame
        A missing value is None.
    """
    return pd.DataFrame(part["rows"], columns=pd.Index(part["columns"]))


def _unguarded(text: str) -> str:
    return text[1:] if _GUARDED.match(text) else text


def read_table(folder: Path, table: Table, policy: Policy) -> pd.DataFrame:
    """Read one table back from ``folder/tables``.

    Parameters
    ----------
    folder : Path
        Folder of a report.
    table : Table
        Its entry in the data dictionary.
    policy : Policy
        Times are given in its zone.

    Returns
    -------
    DataFrame
        As published.

    Raises
    ------
    OutputError
        The table is missing or is not of this version.
    """
    path = folder / FOLDER / f"{table.name}.csv"
    try:
        raw = pd.read_csv(
            path,
            dtype=str,
            keep_default_na=False,
            na_values=[],
            encoding="utf-8",
            lineterminator="\n",
        )
    except FileNotFoundError:
        raise OutputError(f"{path}: is not there; audit again") from None
    except OSError as error:
        msg = f"{path}: cannot be read ({error.strerror})"
        raise OutputError(f"{msg}; audit again") from None
    except ValueError:
        raise OutputError(f"{path}: is no table; audit again") from None
    if list(raw.columns) != table.names:
        msg = f"{path}: has other columns than this version writes"
        raise OutputError(f"{msg}; audit again")
    parsed = {}
    for column in table.columns:
        try:
            parsed[column.name] = _parsed(raw[column.name], column, policy)
        except ValueError:
            msg = f"{path}: {column.name} holds what was not written there, as where a"
            raise OutputError(f"{msg} spreadsheet saved it; audit again") from None
    return pd.DataFrame(parsed, columns=table.names)


def _parsed(cells: pd.Series, column: Column, policy: Policy) -> pd.Series:
    parse: dict[Kind, Callable[[pd.Series], pd.Series]] = {
        Kind.NUMBER: lambda cells: pd.to_numeric(cells).astype("float64"),
        Kind.COUNT: _whole,
        Kind.TIME: lambda cells: pd.to_datetime(
            cells, utc=True, format="ISO8601"
        ).dt.tz_convert(policy.zone),
    }
    if column.kind in parse:
        return parse[column.kind](cells.mask(cells == ""))
    text = pd.Series(each(cells, _unguarded), index=cells.index, dtype="str")
    return text.mask(text == "")


def _whole(cells: pd.Series) -> pd.Series:
    numbers = pd.to_numeric(cells)
    return numbers.astype("float64" if numbers.isna().any() else "int64")
