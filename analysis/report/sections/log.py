"""How far to trust the log: rows, cells, noise and habits of charting."""

from collections.abc import Callable

import pandas as pd

from analysis.audit import AuditResult
from analysis.quality import habits
from analysis.report import facts, quality
from analysis.report.grid import Grid
from analysis.report.section import Section, section
from analysis.report.sections import words
from analysis.terms import ALL


def log_quality(result: AuditResult) -> Section:
    """Account for the log: rows and cells not read, notes, noise, habits of charting.

    Parameters
    ----------
    result : AuditResult
        The audit.

    Returns
    -------
    Section
        Reasons are counted, with one example each; the rest is in the tables folder.
    """
    record = quality.Record.of_result(result)
    return section(
        "log",
        account=_account_grid(result.account),
        not_read=quality.not_read(record),
        noise=_noise_grid(result.noise),
        record=_charting(result),
        absent=habits.not_in_export(result.readings),
        changes=quality.measurement_changes(record),
        notes=result.notes,
    )


def _account_grid(account: pd.DataFrame) -> Grid:
    names = (
        "rows_read",
        "accepted",
        "rejected",
        "superseded",
        "exact_duplicates",
        "other_lines",
    )
    rows = [
        (
            words.plain(row["file"]),
            words.plain(row["table"]),
            *(words.number(row[name], 0) for name in names),
            words.plain(row["sha256"])[:12],
        )
        for row in facts.rows_of(account)
    ]
    return Grid(
        caption="Every row of every file: rows read = accepted + rejected + superseded "
        "+ exact duplicates. Other lines are headers, totals and blank ones",
        head=(
            "file",
            "table",
            "rows read",
            "accepted",
            "rejected",
            "superseded by an amendment",
            "exact duplicates",
            "other lines",
            "SHA-256 (begins)",
        ),
        rows=rows,
        numeric=frozenset(range(2, 8)),
    )


def _noise_grid(noise: pd.DataFrame) -> Grid:
    numbers = (
        ("time_step_min", 0),
        ("reading_error_ml", 2),
        ("flow_sd", 3),
        ("slip_share", 3),
        ("event_share", 3),
        ("shortest_stall_h", 1),
    )
    rows = [
        (
            words.plain(row["ward"]),
            words.plain(row["source"]),
            words.number(row["readings"], 0),
            f"{words.number(row['reading_step_ml'], 2)}, "
            f"{words.number(row['start_step_ml'], 2)}",
            f"{words.number(row['offset_ml'], 2)}, "
            f"{words.number(row['offset_sd_ml'], 2)}",
            *(words.number(row[name], decimals) for name, decimals in numbers),
        )
        for row in facts.rows_of(noise)
    ]
    return Grid(
        caption="How fine the readings are, by ward, and the shortest stop they could "
        "have shown",
        head=(
            "ward",
            "volume charted",
            "readings",
            "steps of readings, of starts, mL",
            "start offset, its spread, mL",
            "time step, min",
            "reading error, mL",
            "spread of flow",
            "share of slips",
            "share of events",
            "shortest stop, h",
        ),
        rows=rows,
        numeric=frozenset(range(2, 11)),
    )


def _charting(result: AuditResult) -> list[Grid]:
    """Give all tables of how a log was charted that have something to show."""
    record = quality.Record.of_result(result)
    every: list[Callable[[quality.Record], Grid | None]] = [
        quality.qualified,
        _blanks,
        quality.round_times,
        quality.last_digits,
        quality.digit_preference,
        quality.bucket,
    ]
    made = [*(make(record) for make in every), quality.without_derived(result)]
    return [grid for grid in made if grid is not None and grid.rows]


def _blanks(record: quality.Record) -> Grid:
    """Show the empty cells of each column as the dry run does, but narrow."""
    missing = habits.missing_by_column(record.rows)
    rows = []
    for column, own in missing.groupby("column", sort=False):
        shares = {
            str(row["ward"]): quality.empty_share(row["missing"], row["rows"])
            for row in facts.rows_of(own)
        }
        total = shares.pop(ALL)
        lacking = [f"{ward} {share}" for ward, share in shares.items() if share != "0"]
        rows.append((str(column), total, "; ".join(lacking) or "none"))
    return Grid(
        caption="Cells not recorded, of the accepted rows: a blank is never normal",
        head=("column", "all wards", "wards with such cells"),
        rows=rows,
        numeric=frozenset({1}),
    )
