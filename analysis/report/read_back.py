"""Published tables read back: the report is made from what was published.

Types and zones are those of `analysis.columns`; a cell is as it was before `tables.py`
wrote it.
"""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd

from analysis.audit import AuditResult
from analysis.columns import OUTPUT, REVIEW_OUTPUT, UNITS, Column, Kind, Table
from analysis.compliance import Units
from analysis.delivery import Threshold
from analysis.errors import OutputError
from analysis.policy import Policy
from analysis.report.cells import each
from analysis.report.manifest import read_manifest
from analysis.report.tables import FOLDER
from analysis.review import Review

# What `guarded` gives a text that starts like a formula.
_GUARDED = re.compile(r"'+[=+\-@\t\r]")


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


def _unguarded(text: str) -> str:
    return text[1:] if _GUARDED.match(text) else text
